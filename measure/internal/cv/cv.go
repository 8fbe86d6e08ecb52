// Package cv holds every OpenCV call of package measure, each behind a C++ function of ours that catches what OpenCV
// throws (an uncaught cv::Exception kills the process) and returns it as an error. The Mats in between are made and
// closed here. No figure is measured with it: it only looks for where a chart stands.
package cv

/*
#cgo pkg-config: opencv4
#cgo CXXFLAGS: -std=c++11 -O2
#include "cv.h"
*/
import "C"

import (
	"errors"
	"fmt"
	"image"
	"unsafe"

	"gocv.io/x/gocv"
)

// init holds OpenCV to one thread: photos are what runs side by side, and Debian's build ignores the environment
// variable that would say so.
func init() { C.tlm_threads(1) }

const errSize = 512

func guard(f func(e *C.char, n C.int) C.int) error {
	var b [errSize]C.char
	if f(&b[0], errSize) != 0 {
		return errors.New("opencv: " + C.GoString(&b[0]))
	}
	return nil
}

// Sides of a picture Charts takes, px.
const (
	MinSide = 64
	MaxSide = 4096
)

// Box is the corners of a chart, x and y in px of the picture, pixel centres at whole numbers.
type Box [4][2]float32

// Charts returns at most `most` 24-patch charts of a picture, alpha ignored, in the detector's order. The shorter side
// of smaller pictures is brought to leastPx for the search.
//
// OpenCV 4.6, module mcc, without its neural network.
func Charts(im *image.RGBA, most, leastPx int) ([]Box, error) {
	w, h := im.Rect.Dx(), im.Rect.Dy()
	if min(w, h) < MinSide || max(w, h) > MaxSide {
		return nil, fmt.Errorf("a picture of %d x %d px: sides of %d to %d px are needed", w, h, MinSide, MaxSide)
	}
	if most < 1 || most > 16 || leastPx < 0 || leastPx > MaxSide {
		return nil, fmt.Errorf("charts: %d of them, least side %d px", most, leastPx)
	}
	m := gocv.NewMatWithSize(h, w, gocv.MatTypeCV8UC3)
	defer m.Close()
	d, err := m.DataPtrUint8()
	if err != nil {
		return nil, err
	}
	for y := range h {
		row := im.Pix[im.PixOffset(im.Rect.Min.X, im.Rect.Min.Y+y):]
		for x := range w {
			o := 3 * (y*w + x)
			d[o], d[o+1], d[o+2] = row[4*x+2], row[4*x+1], row[4*x]
		}
	}
	boxes := make([]C.float, 8*most)
	var count C.int
	err = guard(func(e *C.char, n C.int) C.int {
		return C.tlm_charts(unsafe.Pointer(m.Ptr()), C.int(most), C.int(leastPx), &boxes[0], &count, e, n)
	})
	if err != nil {
		return nil, err
	}
	out := make([]Box, int(count))
	for i := range out {
		for k := range 4 {
			out[i][k] = [2]float32{float32(boxes[8*i+2*k]), float32(boxes[8*i+2*k+1])}
		}
	}
	return out, nil
}

// throw makes OpenCV throw, for the test of the guard.
func throw() error { return guard(func(e *C.char, n C.int) C.int { return C.tlm_throw(e, n) }) }
