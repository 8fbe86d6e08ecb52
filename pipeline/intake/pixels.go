package intake

import (
	"fmt"
	"image"
	"tilelapse/pipeline/intake/icc"
	"unsafe"
)

// samples returns an image's pixels as interleaved RGB, 8 or 16 bit, and how many were not opaque. Those become black,
// which counts as unreadable: what shows through them is not of the photo. The image's own memory is reused where it
// can be, and must not be used afterwards. Nil slices mean a kind of image that is not known.
func samples(m image.Image) (pix []uint8, pix16 []uint16, holes int) {
	w, h := m.Bounds().Dx(), m.Bounds().Dy()
	n := w * h
	switch m := m.(type) {
	case *image.Gray:
		pix = make([]uint8, 0, 3*n)
		for y := range h {
			for _, v := range m.Pix[y*m.Stride : y*m.Stride+w] {
				pix = append(pix, v, v, v)
			}
		}
	case *image.Gray16:
		pix16 = make([]uint16, 0, 3*n)
		for y := range h {
			row := m.Pix[y*m.Stride : y*m.Stride+2*w]
			for x := 0; x < len(row); x += 2 {
				v := uint16(row[x])<<8 | uint16(row[x+1])
				pix16 = append(pix16, v, v, v)
			}
		}
	case *image.Paletted:
		pix = make([]uint8, 0, 3*n)
		var table [256][3]uint8
		var hole [256]bool
		for i, c := range m.Palette {
			r, g, b, a := c.RGBA()
			if hole[i] = a != 0xffff; !hole[i] {
				table[i] = [3]uint8{uint8(r >> 8), uint8(g >> 8), uint8(b >> 8)}
			}
		}
		for y := range h {
			for _, i := range m.Pix[y*m.Stride : y*m.Stride+w] {
				c := &table[i]
				if hole[i] {
					holes++
				}
				pix = append(pix, c[0], c[1], c[2])
			}
		}
	case *image.RGBA:
		pix, holes = packed(m.Pix, m.Stride, w, h)
	case *image.NRGBA:
		pix, holes = packed(m.Pix, m.Stride, w, h)
	case *image.RGBA64:
		pix16, holes = packed16(m.Pix, m.Stride, w, h)
	case *image.NRGBA64:
		pix16, holes = packed16(m.Pix, m.Stride, w, h)
	}
	return pix, pix16, holes
}

// packed drops the fourth of four bytes a pixel, in place.
func packed(b []uint8, stride, w, h int) (pix []uint8, holes int) {
	o := 0
	for y := range h {
		row := b[y*stride : y*stride+4*w]
		for x := 0; x < len(row); x += 4 {
			r, g, bl := row[x], row[x+1], row[x+2]
			if row[x+3] != 0xff {
				r, g, bl = 0, 0, 0
				holes++
			}
			b[o], b[o+1], b[o+2] = r, g, bl
			o += 3
		}
	}
	return b[:o:o], holes
}

// packed16 turns four big-endian 16 bit samples a pixel into three of the machine's order, in place: a second buffer
// would cost 600 MB for 100 megapixels.
func packed16(b []uint8, stride, w, h int) (pix []uint16, holes int) {
	if w*h == 0 {
		return []uint16{}, 0
	}
	// Go's allocator aligns blocks of 8 bytes and more to 8, and image allocates Pix as one block; what is written at
	// 6*i has been read at 8*i or before.
	out := unsafe.Slice((*uint16)(unsafe.Pointer(&b[0])), 3*w*h)
	o := 0
	for y := range h {
		row := b[y*stride : y*stride+8*w]
		for x := 0; x < len(row); x += 8 {
			r, g, bl := uint16(row[x])<<8|uint16(row[x+1]), uint16(row[x+2])<<8|uint16(row[x+3]), uint16(row[x+4])<<8|uint16(row[x+5])
			if row[x+6] != 0xff || row[x+7] != 0xff {
				r, g, bl = 0, 0, 0
				holes++
			}
			out[o], out[o+1], out[o+2] = r, g, bl
			o += 3
		}
	}
	return out, holes
}

// decoded joins a decoded image and a space, and notes what was see-through.
func (j *job) decoded(m image.Image, s *icc.Space) (*Picture, error) {
	w, h := m.Bounds().Dx(), m.Bounds().Dy()
	pix, pix16, holes := samples(m)
	if pix == nil && pix16 == nil {
		return nil, refuse(NotRGB, "%T", m)
	}
	j.noteHoles(holes, w*h)
	return picture(w, h, pix, pix16, s), nil
}

// noteHoles notes that some of n pixels are see-through.
func (j *job) noteHoles(holes, n int) {
	if holes > 0 {
		j.facts.note("%.1f %% of the picture is see-through: not measured there", 100*float64(holes)/float64(n))
	}
}

// recovered turns a panic of a decoder on damaged bytes into an error.
func recovered(err *error) {
	if r := recover(); r != nil {
		*err = fmt.Errorf("can't be read: %v", r)
	}
}
