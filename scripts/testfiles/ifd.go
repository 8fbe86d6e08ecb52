package main

import (
	"encoding/binary"
)

// Field types of TIFF 6.0.
const (
	tByte      = 1
	tASCII     = 2
	tShort     = 3
	tLong      = 4
	tRational  = 5
	tUndefined = 7
)

// field is an entry of a directory: its bytes, or a directory it points to.
type field struct {
	tag, kind uint16
	count     uint32
	data      []byte
	sub       []field
}

func ascii(tag uint16, s string) field {
	return field{tag: tag, kind: tASCII, count: uint32(len(s) + 1), data: append([]byte(s), 0)}
}

func shorts(tag uint16, v ...uint16) field {
	f := field{tag: tag, kind: tShort, count: uint32(len(v))}
	for _, x := range v {
		f.data = binary.LittleEndian.AppendUint16(f.data, x)
	}
	return f
}

func longs(tag uint16, v ...uint32) field {
	f := field{tag: tag, kind: tLong, count: uint32(len(v))}
	for _, x := range v {
		f.data = binary.LittleEndian.AppendUint32(f.data, x)
	}
	return f
}

func rationals(tag uint16, v ...uint32) field {
	f := longs(tag, v...)
	f.kind, f.count = tRational, uint32(len(v)/2)
	return f
}

func undefined(tag uint16, b ...byte) field {
	return field{tag: tag, kind: tUndefined, count: uint32(len(b)), data: b}
}

func directory(tag uint16, f ...field) field {
	return field{tag: tag, kind: tLong, count: 1, sub: f}
}

// stripOffsets is the tag whose value is filled in with the position of the pixels.
const stripOffsets = 273

// tiffFile writes directories one after another, little endian; pixels[i] belongs to pages[i]. Tags must be ascending.
func tiffFile(pages [][]field, pixels [][]byte) []byte {
	le := binary.LittleEndian
	b := []byte("II*\x00\x08\x00\x00\x00")
	var dir func(fields []field, pix []byte)
	dir = func(fields []field, pix []byte) {
		start := len(b)
		b = append(b, make([]byte, 2+12*len(fields)+4)...)
		le.PutUint16(b[start:], uint16(len(fields)))
		for i, f := range fields {
			at := start + 2 + 12*i
			le.PutUint16(b[at:], f.tag)
			le.PutUint16(b[at+2:], f.kind)
			le.PutUint32(b[at+4:], f.count)
			switch {
			case f.sub != nil:
				le.PutUint32(b[at+8:], uint32(len(b)))
				dir(f.sub, nil)
			case f.tag == stripOffsets && pix != nil:
				le.PutUint32(b[at+8:], uint32(len(b)))
				b = append(b, pix...)
			case len(f.data) <= 4:
				copy(b[at+8:], f.data)
			default:
				le.PutUint32(b[at+8:], uint32(len(b)))
				b = append(b, f.data...)
			}
			if len(b)%2 == 1 {
				b = append(b, 0)
			}
		}
	}
	next := 0
	for i, p := range pages {
		if i > 0 {
			le.PutUint32(b[next:], uint32(len(b)))
		}
		next = len(b) + 2 + 12*len(p)
		dir(p, pixels[i])
	}
	return b
}

// exifBlock is the EXIF of a file: one directory.
func exifBlock(f ...field) []byte { return tiffFile([][]field{f}, [][]byte{nil}) }

// page describes a picture of a TIFF file, 8 or 16 bit interleaved, in one strip without compression.
func page(w, h, bits, samples, photometric int, more ...field) []field {
	b := make([]uint16, samples)
	for i := range b {
		b[i] = uint16(bits)
	}
	f := []field{
		longs(256, uint32(w)), longs(257, uint32(h)), shorts(258, b...), shorts(259, 1), shorts(262, uint16(photometric)),
		longs(stripOffsets, 0), shorts(277, uint16(samples)), longs(278, uint32(h)), longs(279, uint32(w*h*samples*bits/8)),
	}
	return merge(f, more)
}

// merge puts more into f, ascending by tag; a tag given again takes the other's place.
func merge(f, more []field) []field {
	for _, m := range more {
		i := 0
		for i < len(f) && f[i].tag < m.tag {
			i++
		}
		if i < len(f) && f[i].tag == m.tag {
			f[i] = m
			continue
		}
		f = append(f[:i], append([]field{m}, f[i:]...)...)
	}
	return f
}
