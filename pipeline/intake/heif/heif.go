// Package heif decodes HEIF and AVIF through a libheif found at run time, so that building and most users need none.
package heif

/*
#cgo LDFLAGS: -ldl
#include <stdlib.h>
#include "heif.h"
*/
import "C"

import (
	"errors"
	"fmt"
	"runtime"
	"sync"
	"unsafe"
)

// ErrNoLibrary says that libheif is missing or too old; the message says which.
var ErrNoLibrary = errors.New("libheif")

// ErrNoCodec says that libheif is there but can't decode this kind of file: a decoder plugin is missing, or it is too
// old for a feature. Wraps libheif's own words.
var ErrNoCodec = errors.New("libheif can't decode this kind of file")

// failure tells an error of libheif by its code (heif_error_code: 3 unsupported file type, 4 unsupported feature, 11
// plugin not loaded).
func failure(r *C.tl_heif) error {
	words := C.GoString(&r.message[0])
	switch r.code {
	case 3, 4, 11:
		return fmt.Errorf("%w: %s", ErrNoCodec, words)
	}
	return errors.New(words)
}

var load = sync.OnceValue(func() error {
	if m := C.tl_heif_load(); m != nil {
		return fmt.Errorf("%w: %s", ErrNoLibrary, C.GoString(m))
	}
	return nil
})

// OldestGood is the version from which libheif reads what phones have written since 2023 (grids with tone maps).
// Measured: 1.15.1 refuses such a file, 1.19.7 reads it.
const OldestGood = "1.17.0"

// Old reports whether the libheif found is older than OldestGood, and so may refuse whole files.
func Old() bool {
	v, err := Version()
	var a, b, x, y int
	if err != nil {
		return true
	}
	fmt.Sscanf(v, "%d.%d", &a, &b)
	fmt.Sscanf(OldestGood, "%d.%d", &x, &y)
	return a < x || (a == x && b < y)
}

// Version returns libheif's version, or an error that wraps ErrNoLibrary.
func Version() (string, error) {
	if err := load(); err != nil {
		return "", err
	}
	return C.GoString(C.tl_heif_version()), nil
}

// Header is what a file tells before its pixels.
type Header struct {
	W, H      int    // px, upright: libheif applies the file's own rotation
	Bits      int    // a sample
	Pictures  int    // top-level pictures in the file; the primary one is read
	Profile   []byte // ICC, nil = none
	Coded     bool   // Primaries and Transfer are given
	Primaries int    // code points of ITU-T H.273
	Transfer  int
}

// maxProfile bounds the profile that is read, bytes: the largest in use are some MB (common practice, no source).
const maxProfile = 4 << 20

// Read reads the header; keep(header) decides whether the pixels are wanted, and is called once. The pixels are
// interleaved RGB of 8 bits, W*H*3 bytes of the header's size, upright; nil when keep said no.
func Read(b []byte, keep func(*Header) bool) (*Header, []uint8, error) {
	if err := load(); err != nil {
		return nil, nil, err
	}
	if len(b) == 0 {
		return nil, nil, errors.New("no bytes")
	}
	// libheif keeps the address of the data over several calls: the bytes must not move.
	var pin runtime.Pinner
	pin.Pin(&b[0])
	defer pin.Unpin()

	r := (*C.tl_heif)(C.calloc(1, C.sizeof_tl_heif))
	if r == nil {
		return nil, nil, errors.New("out of memory")
	}
	defer C.free(unsafe.Pointer(r))
	defer C.tl_heif_close(r)
	if C.tl_heif_open(r, unsafe.Pointer(&b[0]), C.size_t(len(b))) != 0 {
		return nil, nil, failure(r)
	}
	h := &Header{
		W: int(r.width), H: int(r.height), Bits: int(r.bits), Pictures: int(r.pictures),
		Coded: r.has_nclx != 0, Primaries: int(r.primaries), Transfer: int(r.transfer),
	}
	if n := int(r.icc_size); n > 0 && n <= maxProfile {
		h.Profile = make([]byte, n)
		if C.tl_heif_icc(r, unsafe.Pointer(&h.Profile[0])) != 0 {
			return h, nil, failure(r)
		}
	} else if n > maxProfile {
		return h, nil, fmt.Errorf("a colour profile of %d bytes", n)
	}
	if !keep(h) {
		return h, nil, nil
	}
	if C.tl_heif_decode(r) != 0 {
		return h, nil, failure(r)
	}
	if w, ht := int(r.width), int(r.height); w == h.H && ht == h.W {
		h.W, h.H = w, ht // libheif 1.15 announces some turned pictures as they are stored
	} else if w != h.W || ht != h.H {
		return h, nil, fmt.Errorf("%d x %d px came out where %d x %d were announced", w, ht, h.W, h.H)
	}
	pix := make([]uint8, 3*h.W*h.H)
	stride := int(r.stride)
	src := unsafe.Slice((*byte)(unsafe.Pointer(r.rgb)), (h.H-1)*stride+3*h.W)
	for y := range h.H {
		copy(pix[3*h.W*y:3*h.W*(y+1)], src[y*stride:])
	}
	return h, pix, nil
}
