package intake

import (
	"encoding/binary"
	"errors"
	"io"

	"tilelapse/pipeline/intake/icc"
)

// Tags of TIFF 6.0 (1992) and its supplements that decide how a file is read.
const (
	tiffNewSubfileType = 254
	tiffWidth          = 256
	tiffHeight         = 257
	tiffBits           = 258
	tiffCompression    = 259
	tiffPhotometric    = 262
	tiffFillOrder      = 266
	tiffStripOffsets   = 273
	tiffSamples        = 277
	tiffRowsPerStrip   = 278
	tiffStripBytes     = 279
	tiffPlanar         = 284
	tiffPredictor      = 317
	tiffTileWidth      = 322
	tiffTileHeight     = 323
	tiffTileOffsets    = 324
	tiffTileBytes      = 325
	tiffExtraSamples   = 338
	tiffSampleFormat   = 339
	tiffProfile        = 34675
	tiffDNGVersion     = 50706
)

// tiffHead is the first directory of a TIFF file.
type tiffHead struct {
	order   binary.ByteOrder
	values  map[uint16]uint32   // first value of numeric tags
	lists   map[uint16][]uint32 // all values of those that place the pixels
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
	h := &tiffHead{order: binary.LittleEndian, values: map[uint16]uint32{}, lists: map[uint16][]uint32{}}
	if b[0] == 'M' {
		h.order = binary.BigEndian
	}
	bo := h.order
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
			if err := h.directory(b, b[at+2:end]); err != nil {
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

func (h *tiffHead) directory(b, entries []byte) error {
	bo := h.order
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
				switch tag {
				case tiffProfile, tiffStripOffsets, tiffStripBytes, tiffTileOffsets, tiffTileBytes:
					return io.ErrUnexpectedEOF
				}
				continue
			}
			v = b[at : at+n*width]
		}
		v = v[:n*width]
		h.values[tag] = h.number(v, width)
		switch tag {
		case tiffProfile:
			h.profile = v
		case tiffBits, tiffStripOffsets, tiffStripBytes, tiffTileOffsets, tiffTileBytes:
			list := make([]uint32, n)
			for i := range list {
				list[i] = h.number(v[uint64(i)*width:], width)
			}
			h.lists[tag] = list
		}
	}
	return nil
}

func (h *tiffHead) number(v []byte, width uint64) uint32 {
	switch width {
	case 1:
		return uint32(v[0])
	case 2:
		return uint32(h.order.Uint16(v))
	}
	return h.order.Uint32(v)
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
	case photometric == 3:
		return fewColours(bits)
	case photometric == 5:
		return refuse(NotRGB, "CMYK, which is for printing")
	case photometric == 8 || photometric == 9 || photometric == 10:
		return refuse(NotRGB, "CIELAB")
	case photometric == 6:
		return refuse(NotRGB, "YCbCr within TIFF")
	case photometric > 3:
		return refuse(NotRGB, "TIFF photometric interpretation %d", photometric)
	case bits != 8 && bits != 16:
		return depth(int(bits), "8 or 16")
	case h.get(tiffSampleFormat, 1) != 1 && h.get(tiffSampleFormat, 1) != 4:
		return refuse(TooDeep, "samples that are not unsigned whole numbers")
	case photometric == 2 && (n < 3 || n > 4 || n == 4 && h.get(tiffExtraSamples, 0) != 1 && h.get(tiffExtraSamples, 0) != 2):
		return refuse(NotRead, "TIFF with %d channels, of which red, green, blue and transparency are read", n)
	case photometric < 2 && n != 1:
		return refuse(NotRead, "grey TIFF with %d channels", n)
	case h.get(tiffFillOrder, 1) != 1:
		return refuse(NotRead, "TIFF with its bits in reversed order")
	}
	for _, other := range h.lists[tiffBits] {
		if other != bits {
			return refuse(NotRead, "TIFF with channels of %d and %d bits", bits, other)
		}
	}
	switch c := h.get(tiffCompression, 1); c {
	case tiffPlain, tiffLZW, tiffDeflate, tiffDeflateOld, tiffPackBits:
		return nil
	case 6, 7:
		return refuse(NotRead, "TIFF compressed as JPEG; no compression, LZW, deflate and PackBits are read")
	default:
		return refuse(NotRead, "TIFF of compression %d; none, LZW, deflate and PackBits are read", c)
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
	j.upright = true
	if err := j.admit(w, ht, 3*int(h.get(tiffBits, 8))/8); err != nil {
		return nil, err
	}
	return j.tiffPixels(h, s)
}

// tiffPixels decodes row by row into the upright picture: a whole-picture decoder would hold it two or three times, which
// 100 megapixels of 16 bits leave no room for.
func (j *job) tiffPixels(h *tiffHead, s *icc.Space) (*Picture, error) {
	w, ht := int(h.values[tiffWidth]), int(h.values[tiffHeight])
	to := newUpright(w, ht, j.facts.Orientation)
	var pix []uint8
	var pix16 []uint16
	var holes int
	var err error
	if h.get(tiffBits, 8) == 16 {
		pix16 = make([]uint16, 3*w*ht)
		holes, err = tiffSamplesInto(h, j.b, to, pix16)
	} else {
		pix = make([]uint8, 3*w*ht)
		holes, err = tiffSamplesInto(h, j.b, to, pix)
	}
	if err != nil {
		return nil, broken(err)
	}
	j.noteHoles(holes, w*ht)
	return picture(to.w, to.h, pix, pix16, s), nil
}
