package intake

import (
	"bytes"
	"encoding/binary"
	"errors"
	"image"
	"io"

	"golang.org/x/image/webp"
)

// webpHead is what the chunks of a WebP file (RFC 9649) tell before its pixels.
type webpHead struct {
	animated bool
	frames   int
	profile  []byte
	exif     []byte // without the "Exif" that some programs put before it
	bytes    uint64 // of the whole file, as its header says
	cut      bool   // a chunk is longer than the file
}

func readWebPHead(b []byte) *webpHead {
	h := &webpHead{}
	if len(b) < 12 {
		h.cut = true
		return h
	}
	h.bytes = uint64(binary.LittleEndian.Uint32(b[4:])) + 8
	h.cut = h.bytes > uint64(len(b))
	for at := 12; at+8 <= len(b); {
		n := int64(binary.LittleEndian.Uint32(b[at+4:]))
		d := b[at+8:]
		if n > int64(len(d)) {
			h.cut = true
			return h
		}
		d = d[:n]
		switch string(b[at : at+4]) {
		case "VP8X":
			h.animated = n > 0 && d[0]&2 != 0
		case "ICCP":
			h.profile = d
		case "EXIF":
			h.exif = bytes.TrimPrefix(d, []byte("Exif\x00\x00"))
		case "ANMF":
			h.frames++
		}
		at += 8 + int(n+n&1)
	}
	return h
}

func (j *job) webp() (*Picture, error) {
	h := readWebPHead(j.b)
	cfg, err := decodeWebPConfig(j.b)
	if err == nil {
		j.facts.W, j.facts.H = cfg.Width, cfg.Height
	}
	if h.animated {
		return nil, refuse(Animated, "WebP of %d frames", h.frames)
	}
	if h.bytes > uint64(len(j.b)) {
		return nil, refuse(CutShort, "%d of %d bytes are there", len(j.b), h.bytes)
	}
	if h.cut {
		return nil, broken(io.ErrUnexpectedEOF)
	}
	if err != nil {
		return nil, broken(err)
	}
	s, err := j.space(h.profile, false)
	if err != nil {
		return nil, err
	}
	// Lossy: planes of 1.5 bytes a pixel, 1 more of transparency, and the result. Without loss 4, in place.
	if err := j.admit(cfg.Width, cfg.Height, 6); err != nil {
		return nil, err
	}
	m, err := decodeWebP(j.b)
	if err != nil {
		return nil, broken(err)
	}
	if m.Bounds().Dx() != cfg.Width || m.Bounds().Dy() != cfg.Height {
		return nil, refuse(Damaged, "%d x %d px came out where %d x %d were announced", m.Bounds().Dx(), m.Bounds().Dy(), cfg.Width, cfg.Height)
	}
	switch v := m.(type) {
	case *image.YCbCr:
		return picture(cfg.Width, cfg.Height, studioRGB(v), nil, s), nil
	case *image.NYCbCrA:
		pix, holes := studioRGB(&v.YCbCr), 0
		for y := range cfg.Height {
			for x, a := range v.A[y*v.AStride : y*v.AStride+cfg.Width] {
				if a != 0xff {
					o := 3 * (y*cfg.Width + x)
					pix[o], pix[o+1], pix[o+2] = 0, 0, 0
					holes++
				}
			}
		}
		j.noteHoles(holes, cfg.Width*cfg.Height)
		return picture(cfg.Width, cfg.Height, pix, nil, s), nil
	}
	return j.decoded(m, s)
}

// studioRGB converts the planes of lossy WebP, which are of limited range: black at 16, white at 235 (RFC 6386, 9.2;
// ITU-R BT.601). The image package takes every YCbCr for full range and would show it washed out. Arithmetic of 14 bits
// and the interpolation of the half-size chroma planes (9:3:3:1) are those of the reference decoder libwebp.
func studioRGB(m *image.YCbCr) []uint8 {
	w, h := m.Rect.Dx(), m.Rect.Dy()
	pix := make([]uint8, 3*w*h)
	cw, ch := (w+1)/2, (h+1)/2
	for y := range h {
		c0 := y / 2
		// The chroma rows: the nearer one counts three times.
		c1 := c0 - 1
		if y&1 == 1 {
			c1 = c0 + 1
		}
		c1 = min(max(c1, 0), ch-1)
		near, far := c0*m.CStride, c1*m.CStride
		for x := range w {
			d0 := x / 2
			d1 := d0 - 1
			if x&1 == 1 {
				d1 = d0 + 1
			}
			d1 = min(max(d1, 0), cw-1)
			cb := chroma(m.Cb, near+d0, near+d1, far+d0, far+d1)
			cr := chroma(m.Cr, near+d0, near+d1, far+d0, far+d1)
			yy := int(m.Y[y*m.YStride+x]) * 19077 >> 8
			o := 3 * (y*w + x)
			pix[o] = clip6(yy + cr*26149>>8 - 14234)
			pix[o+1] = clip6(yy - cb*6419>>8 - cr*13320>>8 + 8708)
			pix[o+2] = clip6(yy + cb*33050>>8 - 17685)
		}
	}
	return pix
}

// chroma interpolates a chroma sample from the nearest (9/16), its neighbours along the row and the column (3/16 each)
// and the diagonal one (1/16).
func chroma(p []uint8, nearest, row, column, diagonal int) int {
	return (9*int(p[nearest]) + 3*int(p[row]) + 3*int(p[column]) + int(p[diagonal]) + 8) >> 4
}

// clip6 drops 6 fractional bits and clamps to 0..255.
func clip6(v int) uint8 { return uint8(min(max(v>>6, 0), 255)) }

func decodeWebPConfig(b []byte) (c image.Config, err error) {
	defer recovered(&err)
	return webp.DecodeConfig(bytes.NewReader(b))
}

func decodeWebP(b []byte) (m image.Image, err error) {
	defer recovered(&err)
	m, err = webp.Decode(bytes.NewReader(b))
	if err == nil && m == nil {
		err = errors.New("no picture")
	}
	return m, err
}
