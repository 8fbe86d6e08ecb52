// Package jpeg decodes JPEG with the system's libjpeg and keeps its warnings: a file that is cut short or damaged
// decodes to a whole-looking picture with most decoders, and must not be measured.
package jpeg

/*
#cgo pkg-config: libjpeg
#cgo CFLAGS: -O2
#include <stdlib.h>
#include "jpeg.h"
*/
import "C"

import (
	"errors"
	"runtime"
	"unsafe"
)

// Header is what a file tells before its pixels.
type Header struct {
	W, H        int // px, as stored
	Channels    int // 1 = grey, 3 = colour, 4 = CMYK
	Bits        int // a sample
	BlockH      int // px of a row of blocks, all planes together
	Progressive bool
	CMYK        bool
	Profile     []byte // ICC, nil = none
}

// Damage is what libjpeg warned of while decoding.
type Damage struct {
	Warnings   int    // all but the following
	Extraneous int    // places with stray bytes before a marker; some cameras write a few
	Cut        bool   // the data ended before the end mark
	Starved    int    // places where pixel data was missing
	Leftover   int    // bytes of pixel data behind the last block, other than filling: what came before was misread
	Percent    int    // of the picture's rows read at the first warning, -1 = not known
	Message    string // libjpeg's words for the first warning that is not of extraneous bytes
}

// Unread is a whole file, for all that is known, of a kind that libjpeg does not read.
type Unread struct {
	Bits int    // the depth of samples that is not read; 0 = it is the process, such as lossless JPEG
	Says string // libjpeg's words
}

func (u *Unread) Error() string { return u.Says }

// Read reads the header of a JPEG file; keep(header) decides whether the pixels are wanted, and is called once. The
// pixels are interleaved RGB, 3*W*H bytes; nil when keep said no. An error means that libjpeg gave up: an *Unread of a
// kind that it does not read, else of damage, which is then told as far as it was seen.
func Read(b []byte, keep func(*Header) bool) (*Header, []uint8, *Damage, error) {
	if len(b) == 0 {
		return nil, nil, nil, errors.New("no bytes")
	}
	// libjpeg keeps the address of the data over several calls: the bytes must not move.
	var pin runtime.Pinner
	pin.Pin(&b[0])
	defer pin.Unpin()

	var head C.tl_jpeg_head
	d := C.tl_jpeg_open(unsafe.Pointer(&b[0]), C.size_t(len(b)), &head)
	if d == nil {
		return nil, nil, nil, errors.New("out of memory")
	}
	defer C.tl_jpeg_close(d)
	if m := C.GoString(&head.message[0]); m != "" {
		if head.unread != 0 {
			return nil, nil, nil, &Unread{Bits: int(head.bits), Says: m}
		}
		return nil, nil, &Damage{Cut: head.cut != 0, Percent: -1, Message: m}, errors.New(m)
	}
	h := &Header{
		W: int(head.width), H: int(head.height), Channels: int(head.channels), Bits: int(head.bits),
		BlockH: int(head.block_height), Progressive: head.progressive != 0, CMYK: head.cmyk != 0,
	}
	var n C.uint
	if p := C.tl_jpeg_profile(d, &n); p != nil && n > 0 {
		h.Profile = C.GoBytes(unsafe.Pointer(p), C.int(n))
	}
	if !keep(h) {
		return h, nil, nil, nil
	}
	pix := make([]uint8, 3*h.W*h.H)
	var dm C.tl_jpeg_damage
	failed := C.tl_jpeg_decode(d, (*C.uchar)(&pix[0]), &dm)
	damage := &Damage{
		Warnings: int(dm.warnings), Extraneous: int(dm.extraneous), Cut: dm.cut != 0, Starved: int(dm.starved),
		Leftover: int(dm.leftover), Percent: int(dm.percent),
		Message: C.GoString(&dm.message[0]),
	}
	if failed != 0 {
		return h, nil, damage, errors.New(damage.Message)
	}
	return h, pix, damage, nil
}
