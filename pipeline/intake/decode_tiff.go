package intake

import (
	"bytes"
	"encoding/binary"
	"errors"
	"image"
	"io"

	"golang.org/x/image/tiff"
)

// Tags of TIFF 6.0 (1992) and its supplements that decide how a file is read.
const (
	tiffNewSubfileType = 254
	tiffWidth          = 256
	tiffHeight         = 257
	tiffBits           = 258
	tiffCompression    = 259
	tiffPhotometric    = 262
	tiffSamples        = 277
	tiffPlanar         = 284
	tiffExtraSamples   = 338
	tiffSampleFormat   = 339
	tiffProfile        = 34675
	tiffDNGVersion     = 50706
)

// tiffHead is the first directory of a TIFF file.
type tiffHead struct {
	values  map[uint16]uint32 // first value of numeric tags
	profile []byte
	pages   int
}

// maxPages bounds the walk over directories.
const maxPages = 1000

// readTIFFHead reads the first directory and counts the others.
func readTIFFHead(b []byte) (*tiffHead, error) {
	if len(b) < 8 {
		return nil, io.ErrUnexpectedEOF
	}
	var bo binary.ByteOrder = binary.LittleEndian
	if b[0] == 'M' {
		bo = binary.BigEndian
	}
	h := &tiffHead{values: map[uint16]uint32{}}
	seen := map[uint32]bool{}
	for at := bo.Uint32(b[4:]); at != 0 && h.pages < maxPages; {
		if seen[at] {
			return nil, errors.New("directories that lead in a circle")
		}
		seen[at] = true
		if uint64(at)+2 > uint64(len(b)) {
			if h.pages > 0 {
				break // the first page is what counts; the decoder judges whether it is whole
			}
			return nil, io.ErrUnexpectedEOF
		}
		n := uint64(bo.Uint16(b[at:]))
		end := uint64(at) + 2 + 12*n
		if end > uint64(len(b)) {
			if h.pages > 0 {
				break
			}
			return nil, io.ErrUnexpectedEOF
		}
		if h.pages == 0 {
			if err := h.directory(b, b[at+2:end], bo); err != nil {
				return nil, err
			}
		}
		h.pages++
		if end+4 > uint64(len(b)) {
			break
		}
		at = bo.Uint32(b[end:])
	}
	if h.pages == 0 {
		return nil, errors.New("no directory")
	}
	return h, nil
}

func (h *tiffHead) directory(b, entries []byte, bo binary.ByteOrder) error {
	for ; len(entries) >= 12; entries = entries[12:] {
		tag, kind, n, field := bo.Uint16(entries), bo.Uint16(entries[2:]), uint64(bo.Uint32(entries[4:])), entries[8:12]
		width, ok := map[uint16]uint64{1: 1, 3: 2, 4: 4, 7: 1}[kind]
		if !ok || n == 0 {
			continue
		}
		v := field
		if n*width > 4 {
			at := uint64(bo.Uint32(field))
			if at+n*width > uint64(len(b)) {
				if tag == tiffProfile {
					return io.ErrUnexpectedEOF
				}
				continue
			}
			v = b[at : at+n*width]
		}
		switch width {
		case 1:
			h.values[tag] = uint32(v[0])
		case 2:
			h.values[tag] = uint32(bo.Uint16(v))
		case 4:
			h.values[tag] = bo.Uint32(v)
		}
		if tag == tiffProfile {
			h.profile = v[:min(uint64(len(v)), n*width)]
		}
	}
	return nil
}

// get returns a tag's first value, or what the standard says when it is absent.
func (h *tiffHead) get(tag uint16, silent uint32) uint32 {
	if v, ok := h.values[tag]; ok {
		return v
	}
	return silent
}

// readable refuses the kinds of TIFF that are not decoded, by the first directory.
func (h *tiffHead) readable() error {
	photometric, bits, n := h.get(tiffPhotometric, 0), h.get(tiffBits, 1), h.get(tiffSamples, 1)
	switch {
	case h.values[tiffDNGVersion] != 0, photometric == 32803, photometric == 34892:
		return refuse(RawFile, "sensor data within TIFF")
	case h.get(tiffNewSubfileType, 0)&1 != 0:
		return refuse(RawFile, "its first picture is a small preview only")
	case photometric == 5:
		return refuse(NotRGB, "CMYK, which is for printing")
	case photometric == 8 || photometric == 9 || photometric == 10:
		return refuse(NotRGB, "CIELAB")
	case photometric == 6:
		return refuse(NotRGB, "YCbCr within TIFF")
	case photometric > 3:
		return refuse(NotRGB, "TIFF photometric interpretation %d", photometric)
	case bits > 16:
		return refuse(TooDeep, "%d bits a sample", bits)
	case h.get(tiffSampleFormat, 1) != 1 && h.get(tiffSampleFormat, 1) != 4:
		return refuse(TooDeep, "samples that are not unsigned whole numbers")
	case photometric == 2 && (n < 3 || n > 4 || n == 4 && h.get(tiffExtraSamples, 0) != 1 && h.get(tiffExtraSamples, 0) != 2):
		return refuse(NotRead, "TIFF with %d channels, of which red, green, blue and transparency are read", n)
	case photometric < 2 && n != 1:
		return refuse(NotRead, "grey TIFF with %d channels", n)
	case h.get(tiffPlanar, 1) != 1 && n > 1:
		return refuse(NotRead, "TIFF with its colours in separate planes")
	}
	switch c := h.get(tiffCompression, 1); c {
	case 1, 2, 3, 4, 5, 8, 32773, 32946:
		return nil
	case 6, 7:
		return refuse(NotRead, "TIFF compressed as JPEG; no compression, LZW and deflate are read")
	default:
		return refuse(NotRead, "TIFF of compression %d; none, LZW and deflate are read", c)
	}
}

func (j *job) tiff() (*Picture, error) {
	h, err := readTIFFHead(j.b)
	if err != nil {
		return nil, broken(err)
	}
	w, ht := int(h.values[tiffWidth]), int(h.values[tiffHeight])
	j.facts.W, j.facts.H = w, ht
	if err := h.readable(); err != nil {
		return nil, err
	}
	if h.pages > 1 {
		j.facts.note("%d pages: the first is read", h.pages)
	}
	s, err := j.space(h.profile, h.get(tiffPhotometric, 0) < 2)
	if err != nil {
		return nil, err
	}
	perPixel := 14 // a strip grows while it is unpacked, and one may hold the whole picture
	if h.get(tiffBits, 1) == 16 {
		perPixel = 28
	}
	if err := j.admit(w, ht, perPixel); err != nil {
		return nil, err
	}
	m, err := decodeTIFF(j.b)
	if err != nil {
		var unsupported tiff.UnsupportedError
		if errors.As(err, &unsupported) {
			return nil, refuse(NotRead, "TIFF with %s", string(unsupported))
		}
		return nil, broken(err)
	}
	if m.Bounds().Dx() != w || m.Bounds().Dy() != ht {
		return nil, refuse(Damaged, "%d x %d px came out where %d x %d were announced", m.Bounds().Dx(), m.Bounds().Dy(), w, ht)
	}
	return j.decoded(m, s)
}

// decodeTIFF is tiff.Decode with a panic on damaged bytes turned into an error.
func decodeTIFF(b []byte) (m image.Image, err error) {
	defer recovered(&err)
	return tiff.Decode(bytes.NewReader(b))
}
