package intake

import (
	"encoding/binary"
	"errors"
	"math"

	"tilelapse/pipeline/intake/heif"
	"tilelapse/pipeline/intake/icc"
)

// readHEIF is replaced in a test.
var readHEIF = heif.Read

func (j *job) heif() (*Picture, error) {
	if end := boxesEnd(j.b); end > uint64(len(j.b)) {
		return nil, refuse(CutShort, "%d of %d bytes are there", len(j.b), end)
	}
	var s *icc.Space
	var no error
	h, pix, err := readHEIF(j.b, func(h *heif.Header) bool {
		if s, no = j.heifSpace(h); no != nil {
			j.facts.W, j.facts.H = h.W, h.H
			return false
		}
		if h.Pictures > 1 {
			j.facts.note("%d pictures in the file: the main one is read", h.Pictures)
		}
		no = j.admit(h.W, h.H, 9) // the codec's planes, libheif's RGB and the result
		return no == nil
	})
	switch {
	case no != nil:
		return nil, no
	case errors.Is(err, heif.ErrNoLibrary):
		return nil, refuse(NoDecoder, "%v", err)
	case err != nil && (heif.Old() || errors.Is(err, heif.ErrNoCodec)):
		v, _ := heif.Version()
		return nil, refuse(NoDecoder, "libheif %s can't read it (%v)", v, err)
	case err != nil:
		return nil, refuse(Damaged, "%v", err)
	}
	j.facts.W, j.facts.H = h.W, h.H
	if h.Bits > 8 {
		j.facts.note("%d bits a sample, read as 8", h.Bits)
	}
	return picture(h.W, h.H, pix, nil, s), nil
}

// boxesEnd returns where the last of the top-level boxes of an ISO base media file (ISO/IEC 14496-12, 4.2) says that it
// ends: beyond the file when it is cut short.
func boxesEnd(b []byte) uint64 {
	at := uint64(0)
	for at+8 <= uint64(len(b)) {
		n := uint64(binary.BigEndian.Uint32(b[at:]))
		switch {
		case n == 0: // up to the end of the file
			return uint64(len(b))
		case n == 1 && at+16 <= uint64(len(b)):
			n = binary.BigEndian.Uint64(b[at+8:])
		}
		if n < 8 || n > math.MaxUint64-at {
			return at // no box: what follows is not of the picture
		}
		at += n
	}
	return at
}

// heifSpace takes the embedded profile, else the code points of ITU-T H.273, else sRGB.
func (j *job) heifSpace(h *heif.Header) (*icc.Space, error) {
	if len(h.Profile) == 0 && h.Coded {
		s, ok := icc.Coded(h.Primaries, h.Transfer)
		if !ok {
			return nil, refuse(Profile, "code points %d and %d, such as of high dynamic range", h.Primaries, h.Transfer)
		}
		j.facts.Colour = s.Name
		return s, nil
	}
	return j.space(h.Profile, false)
}
