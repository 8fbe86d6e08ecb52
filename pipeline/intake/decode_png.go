package intake

import (
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"errors"
	"image/png"
	"io"

	"tilelapse/pipeline/intake/icc"
)

// pngHead is what stands before the pixels of a PNG file (W3C PNG, third edition).
type pngHead struct {
	w, h, bits int
	kind       int  // colour type
	frames     int  // of acTL, 0 = not animated
	srgb       bool // sRGB chunk
	profile    []byte
	badProfile bool
	gamma      float64 // gAMA as written / 100000, 0 = none
	chroma     *[8]float64
	coded      *[4]byte // cICP: primaries, transfer, matrix, full range
}

// maxProfile bounds an embedded profile after inflating, bytes.
const maxProfile = 4 << 20

// readPNGHead reads the chunks before the first IDAT.
func readPNGHead(b []byte) (*pngHead, error) {
	h := &pngHead{}
	for at := 8; ; {
		if at+8 > len(b) {
			return nil, io.ErrUnexpectedEOF
		}
		n, kind := int64(binary.BigEndian.Uint32(b[at:])), string(b[at+4:at+8])
		if at == 8 && kind != "IHDR" {
			return nil, errors.New("no header chunk")
		}
		if kind == "IDAT" || kind == "IEND" {
			return h, nil
		}
		if n > int64(len(b)-at-12) {
			return nil, io.ErrUnexpectedEOF
		}
		h.chunk(kind, b[at+8:at+8+int(n)])
		at += 12 + int(n)
	}
}

// pngEnds reports whether a PNG file goes on to its end chunk.
func pngEnds(b []byte) bool {
	for at := 8; at+12 <= len(b); {
		n := int64(binary.BigEndian.Uint32(b[at:]))
		if n > int64(len(b)-at-12) {
			return false
		}
		if string(b[at+4:at+8]) == "IEND" {
			return true
		}
		at += 12 + int(n)
	}
	return false
}

func (h *pngHead) chunk(kind string, d []byte) {
	be := binary.BigEndian
	switch {
	case kind == "IHDR" && len(d) >= 13:
		h.w, h.h, h.bits, h.kind = int(be.Uint32(d)), int(be.Uint32(d[4:])), int(d[8]), int(d[9])
	case kind == "acTL" && len(d) >= 8:
		h.frames = int(be.Uint32(d))
	case kind == "sRGB":
		h.srgb = true
	case kind == "gAMA" && len(d) >= 4:
		h.gamma = float64(be.Uint32(d)) / 1e5
	case kind == "cHRM" && len(d) >= 32:
		var c [8]float64
		for i := range c {
			c[i] = float64(be.Uint32(d[4*i:])) / 1e5
		}
		h.chroma = &c
	case kind == "cICP" && len(d) >= 4:
		h.coded = &[4]byte{d[0], d[1], d[2], d[3]}
	case kind == "iCCP":
		name := bytes.IndexByte(d, 0)
		if name < 0 || name+2 > len(d) {
			h.badProfile = true
			return
		}
		z, err := zlib.NewReader(bytes.NewReader(d[name+2:]))
		if err != nil {
			h.badProfile = true
			return
		}
		p, err := io.ReadAll(io.LimitReader(z, maxProfile+1))
		h.profile, h.badProfile = p, err != nil || len(p) > maxProfile
	}
}

// pngSpace follows the order of W3C PNG, third edition, 4.3: cICP, iCCP, sRGB, then gAMA and cHRM.
func (j *job) pngSpace(h *pngHead) (*icc.Space, error) {
	grey := h.kind == 0 || h.kind == 4
	switch {
	case h.coded != nil:
		s, ok := icc.Coded(int(h.coded[0]), int(h.coded[1]))
		if !ok || h.coded[3] != 1 {
			return nil, refuse(Profile, "code points %v, such as of high dynamic range", *h.coded)
		}
		j.facts.Colour = s.Name
		return s, nil
	case h.badProfile:
		return nil, refuse(Profile, "it can't be unpacked")
	case h.profile != nil:
		return j.space(h.profile, grey)
	case h.srgb:
		j.facts.Colour = icc.SRGB().Name
		return icc.SRGB(), nil
	case h.gamma > 0:
		c := icc.ChromaticitiesSRGB
		if h.chroma != nil {
			c = *h.chroma
		}
		s, ok := icc.Measured(h.gamma, c)
		if !ok {
			return nil, refuse(Profile, "gamma %g and primaries that make no colour space", h.gamma)
		}
		j.facts.Colour = s.Name
		return s, nil
	}
	return j.space(nil, grey)
}

func (j *job) png() (*Picture, error) {
	h, err := readPNGHead(j.b)
	if err != nil {
		return nil, broken(err)
	}
	if h.frames > 1 {
		j.facts.W, j.facts.H = h.w, h.h
		return nil, refuse(Animated, "PNG of %d frames", h.frames)
	}
	j.facts.W, j.facts.H = h.w, h.h
	switch {
	case h.kind == 3:
		return nil, fewColours(uint32(h.bits))
	case h.bits < 8:
		return nil, depth(h.bits, "8 or 16")
	}
	s, err := j.pngSpace(h)
	if err != nil {
		j.facts.W, j.facts.H = h.w, h.h
		return nil, err
	}
	perPixel := 4
	if h.bits == 16 {
		perPixel = 8
	}
	if err := j.admit(h.w, h.h, perPixel); err != nil {
		return nil, err
	}
	if !pngEnds(j.b) {
		return nil, broken(io.ErrUnexpectedEOF)
	}
	m, err := png.Decode(bytes.NewReader(j.b))
	if err != nil {
		return nil, broken(err)
	}
	return j.decoded(m, s)
}

// broken tells a decoder's error as cut short or damaged.
func broken(err error) *Error {
	if errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, io.EOF) {
		return refuse(CutShort, "the file ends before the picture does")
	}
	return refuse(Damaged, "%v", err)
}
