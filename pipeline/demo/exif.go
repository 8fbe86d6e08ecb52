package demo

import (
	"bytes"
	"encoding/binary"
	"image"
	"image/jpeg"
)

// exif is what the invented camera notes in a photo. No position is ever written.
type exif struct {
	model       string
	taken       string // "2006:01:02 15:04:05", local time; "" = the camera's clock was not set
	orientation int    // 1 to 8
}

// segment returns the APP1 segment: big-endian TIFF with IFD0 (make, model, orientation) and the Exif IFD. Layout after
// CIPA DC-008 (Exif 2.3), 4.5 and 4.6; tag numbers from there.
func (e exif) segment() []byte {
	type entry struct {
		tag, kind uint16
		count     uint32
		data      []byte
	}
	text := func(tag uint16, s string) entry { return entry{tag, 2, uint32(len(s) + 1), append([]byte(s), 0)} }
	short := func(tag, v uint16) entry { return entry{tag, 3, 1, []byte{byte(v >> 8), byte(v), 0, 0}} }
	pointer := func(tag uint16, v uint32) entry {
		return entry{tag, 4, 1, binary.BigEndian.AppendUint32(nil, v)}
	}
	ifd := func(at uint32, list []entry) []byte {
		head := binary.BigEndian.AppendUint16(nil, uint16(len(list)))
		var tail []byte
		free := at + 2 + 12*uint32(len(list)) + 4
		for _, t := range list {
			head = binary.BigEndian.AppendUint16(head, t.tag)
			head = binary.BigEndian.AppendUint16(head, t.kind)
			head = binary.BigEndian.AppendUint32(head, t.count)
			if len(t.data) <= 4 {
				head = append(head, append(t.data, make([]byte, 4-len(t.data))...)...)
				continue
			}
			head = binary.BigEndian.AppendUint32(head, free+uint32(len(tail)))
			tail = append(tail, t.data...)
			if len(tail)%2 == 1 {
				tail = append(tail, 0)
			}
		}
		return append(append(head, 0, 0, 0, 0), tail...)
	}
	first := []entry{text(0x010F, "Demo"), text(0x0110, e.model), short(0x0112, uint16(max(e.orientation, 1)))}
	if e.taken != "" {
		first = append(first, pointer(0x8769, 0))
	}
	zero := ifd(8, first)
	tiff := append([]byte("MM\x00\x2a\x00\x00\x00\x08"), zero...)
	if e.taken != "" {
		first[len(first)-1] = pointer(0x8769, uint32(len(tiff)))
		tiff = append([]byte("MM\x00\x2a\x00\x00\x00\x08"), ifd(8, first)...)
		tiff = append(tiff, ifd(uint32(len(tiff)), []entry{
			{0x9000, 7, 4, []byte("0230")}, text(0x9003, e.taken), text(0x9004, e.taken),
		})...)
	}
	body := append([]byte("Exif\x00\x00"), tiff...)
	out := []byte{0xFF, 0xE1}
	out = binary.BigEndian.AppendUint16(out, uint16(len(body)+2))
	return append(out, body...)
}

// picture writes an upright picture as a camera would: turned as it was held, with the camera's notes.
func (e exif) picture(img *image.RGBA) ([]byte, error) {
	var b bytes.Buffer
	if err := jpeg.Encode(&b, turned(img, e.orientation), &jpeg.Options{Quality: 92}); err != nil {
		return nil, err
	}
	raw := b.Bytes()
	return append(append(append([]byte{}, raw[:2]...), e.segment()...), raw[2:]...), nil
}

// turned stores an upright picture so that a reader who obeys the orientation sees it upright again. Orientations 1 and
// 3, 6 and 8 are the turns that cameras write.
func turned(img *image.RGBA, orientation int) *image.RGBA {
	w, h := img.Rect.Dx(), img.Rect.Dy()
	var from func(x, y int) (int, int) // upright position of a stored one
	out := image.NewRGBA(image.Rect(0, 0, w, h))
	switch orientation {
	case 3:
		from = func(x, y int) (int, int) { return w - 1 - x, h - 1 - y }
	case 6:
		out = image.NewRGBA(image.Rect(0, 0, h, w))
		from = func(x, y int) (int, int) { return w - 1 - y, x }
	case 8:
		out = image.NewRGBA(image.Rect(0, 0, h, w))
		from = func(x, y int) (int, int) { return y, h - 1 - x }
	default:
		return img
	}
	for y := 0; y < out.Rect.Dy(); y++ {
		for x := 0; x < out.Rect.Dx(); x++ {
			sx, sy := from(x, y)
			copy(out.Pix[out.PixOffset(x, y):][:4], img.Pix[img.PixOffset(sx, sy):][:4])
		}
	}
	return out
}
