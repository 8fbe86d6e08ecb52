// Package cv holds every OpenCV call of package register, each behind a C++ function of ours that catches what OpenCV
// throws (an uncaught cv::Exception kills the process) and returns it as an error. Arguments and results are Go slices;
// the Mats in between are made and closed here.
package cv

/*
#cgo pkg-config: opencv4
#cgo CXXFLAGS: -std=c++11 -O3
#include "cv.h"
*/
import "C"

import (
	"errors"
	"fmt"
	"image"
	"math"
	"unsafe"

	"gocv.io/x/gocv"
)

// largeBlock is the size from which on a block of C memory goes back to the system when it is freed, bytes. Left alone,
// glibc raises that size to 32 MB after the first large blocks, and the planes of a detector stay in its arenas. Measured
// 2026 on six photos of 12 Mpx: 2.4 GB at the peak without, 1.3 GB with, in the same time.
const largeBlock = 1 << 20

// init holds OpenCV to one thread: photos are what runs side by side, and Debian's build ignores the environment
// variable that would say so.
func init() {
	C.tl_threads(1)
	C.tl_give_back(largeBlock)
}

// Point is a key point: position in px of the picture it was found in (pixel centres at whole numbers), diameter in px,
// angle in degrees, strength.
type Point struct{ X, Y, Size, Angle, Response float32 }

// Methods of robust fitting that Homography takes, with OpenCV's values; both repeat exactly. USACMagsac is the
// marginalising sample consensus (Baráth, Noskova, Ivashechkin and Matas, 2020, CVPR), which gocv v0.31.0 has no name
// for.
const (
	RANSAC     = 8
	USACMagsac = 38
)

const errSize = 512

func guard(f func(e *C.char, n C.int) C.int) error {
	var b [errSize]C.char
	if f(&b[0], errSize) != 0 {
		return errors.New("opencv: " + C.GoString(&b[0]))
	}
	return nil
}

func ptr(m *gocv.Mat) unsafe.Pointer { return unsafe.Pointer(m.Ptr()) }

// mat copies a grey picture into a Mat of its own. The caller closes it.
func mat(im *image.Gray) (gocv.Mat, error) {
	w, h := im.Rect.Dx(), im.Rect.Dy()
	if w < 1 || h < 1 {
		return gocv.Mat{}, errors.New("empty picture")
	}
	m := gocv.NewMatWithSize(h, w, gocv.MatTypeCV8U)
	d, err := m.DataPtrUint8()
	if err != nil {
		m.Close()
		return gocv.Mat{}, err
	}
	for y := 0; y < h; y++ {
		o := im.PixOffset(im.Rect.Min.X, im.Rect.Min.Y+y)
		copy(d[y*w:(y+1)*w], im.Pix[o:o+w])
	}
	return m, nil
}

// detect runs a detector of ours and copies out what it found.
func detect(im *image.Gray, f func(img, pts, des *gocv.Mat) error) ([]Point, gocv.Mat, error) {
	m, err := mat(im)
	if err != nil {
		return nil, gocv.Mat{}, err
	}
	defer m.Close()
	pts := gocv.NewMat()
	defer pts.Close()
	des := gocv.NewMat()
	if err := f(&m, &pts, &des); err != nil {
		des.Close()
		return nil, gocv.Mat{}, err
	}
	if pts.Rows() == 0 {
		return nil, des, nil
	}
	v, err := pts.DataPtrFloat32()
	if err != nil {
		des.Close()
		return nil, gocv.Mat{}, err
	}
	out := make([]Point, pts.Rows())
	for i := range out {
		r := v[5*i : 5*i+5]
		out[i] = Point{r[0], r[1], r[2], r[3], r[4]}
	}
	return out, des, nil
}

// SIFTDim is the length of a SIFT descriptor.
const SIFTDim = 128

// rootScale brings the Hellinger root of a unit descriptor to 16-bit integers: the squared length is about 2^18 and
// sums stay far inside 32 bits.
const rootScale = 512

// root turns SIFT descriptors into their Hellinger roots (Arandjelović and Zisserman, 2012), as integers so that
// matching is exact on every machine.
func root(des *gocv.Mat, n int) ([]int16, error) {
	if n == 0 {
		return nil, nil
	}
	v, err := des.DataPtrFloat32()
	if err != nil {
		return nil, err
	}
	if len(v) != n*SIFTDim {
		return nil, fmt.Errorf("descriptors: %d numbers for %d points", len(v), n)
	}
	out := make([]int16, len(v))
	for i := 0; i < n; i++ {
		r := v[i*SIFTDim : (i+1)*SIFTDim]
		var s float64
		for _, x := range r {
			s += float64(x)
		}
		if s <= 0 {
			continue
		}
		for k, x := range r {
			out[i*SIFTDim+k] = int16(math.Round(rootScale * math.Sqrt(float64(x)/s)))
		}
	}
	return out, nil
}

// SIFT finds at most count key points (0 = all) of the given contrast threshold, strongest first, and their root
// descriptors of length SIFTDim. Lowe (2004), IJCV 60(2).
func SIFT(im *image.Gray, count int, contrast float64) ([]Point, []int16, error) {
	pts, des, err := detect(im, func(img, p, d *gocv.Mat) error {
		return guard(func(e *C.char, n C.int) C.int {
			return C.tl_sift(ptr(img), C.int(count), C.double(contrast), 10, ptr(p), ptr(d), e, n)
		})
	})
	if err != nil {
		return nil, nil, err
	}
	defer des.Close()
	d, err := root(&des, len(pts))
	return pts, d, err
}

// AffineSIFT is SIFT on a set of simulated tilts (Morel and Yu, 2009, SIAM J. Imaging Sci. 2(2)), count points each:
// dear, for very flat viewpoints only.
func AffineSIFT(im *image.Gray, count int, contrast float64, maxTilt int) ([]Point, []int16, error) {
	pts, des, err := detect(im, func(img, p, d *gocv.Mat) error {
		return guard(func(e *C.char, n C.int) C.int {
			return C.tl_affine(ptr(img), C.int(count), C.double(contrast), C.int(maxTilt), ptr(p), ptr(d), e, n)
		})
	})
	if err != nil {
		return nil, nil, err
	}
	defer des.Close()
	d, err := root(&des, len(pts))
	return pts, d, err
}

// bits copies a binary descriptor Mat out.
func bits(des *gocv.Mat, n int) ([]byte, error) {
	if n == 0 {
		return nil, nil
	}
	v, err := des.DataPtrUint8()
	if err != nil {
		return nil, err
	}
	return append([]byte(nil), v...), nil
}

// AKAZE finds at most count key points with binary descriptors; bytes a descriptor is len(descriptors)/len(points).
// Alcantarilla, Nuevo and Bartoli (2013), BMVC.
func AKAZE(im *image.Gray, count int, threshold float64) ([]Point, []byte, error) {
	pts, des, err := detect(im, func(img, p, d *gocv.Mat) error {
		return guard(func(e *C.char, n C.int) C.int {
			return C.tl_akaze(ptr(img), C.double(threshold), C.int(count), ptr(p), ptr(d), e, n)
		})
	})
	if err != nil {
		return nil, nil, err
	}
	defer des.Close()
	d, err := bits(&des, len(pts))
	return pts, d, err
}

// ORB finds at most count key points with binary descriptors. Rublee, Rabaud, Konolige and Bradski (2011), ICCV.
func ORB(im *image.Gray, count int) ([]Point, []byte, error) {
	pts, des, err := detect(im, func(img, p, d *gocv.Mat) error {
		return guard(func(e *C.char, n C.int) C.int {
			return C.tl_orb(ptr(img), C.int(count), ptr(p), ptr(d), e, n)
		})
	})
	if err != nil {
		return nil, nil, err
	}
	defer des.Close()
	d, err := bits(&des, len(pts))
	return pts, d, err
}

// CLAHE evens contrast out in tiles × tiles fields, limited by clip.
func CLAHE(im *image.Gray, clip float64, tiles int) (*image.Gray, error) {
	m, err := mat(im)
	if err != nil {
		return nil, err
	}
	defer m.Close()
	d := gocv.NewMat()
	defer d.Close()
	err = guard(func(e *C.char, n C.int) C.int {
		return C.tl_clahe(ptr(&m), ptr(&d), C.double(clip), C.int(tiles), e, n)
	})
	if err != nil {
		return nil, err
	}
	v, err := d.DataPtrUint8()
	if err != nil {
		return nil, err
	}
	out := image.NewGray(image.Rect(0, 0, d.Cols(), d.Rows()))
	copy(out.Pix, v)
	return out, nil
}

// Homography fits to[i] ~ H from[i] (x, y alternating) robustly; threshold in units of to. ok is false when no model
// was found. inlier says which pairs agree.
func Homography(from, to []float32, method int, threshold float64, iterations int) (h [9]float64, inlier []bool, ok bool, err error) {
	n := len(from) / 2
	if len(from) != len(to) || len(from)%2 != 0 {
		return h, nil, false, errors.New("pairs of different number")
	}
	if n < 4 {
		return h, nil, false, nil
	}
	a, b := gocv.NewMatWithSize(n, 2, gocv.MatTypeCV32F), gocv.NewMatWithSize(n, 2, gocv.MatTypeCV32F)
	defer a.Close()
	defer b.Close()
	pa, err := a.DataPtrFloat32()
	if err != nil {
		return h, nil, false, err
	}
	pb, err := b.DataPtrFloat32()
	if err != nil {
		return h, nil, false, err
	}
	copy(pa, from)
	copy(pb, to)
	m, mask := gocv.NewMat(), gocv.NewMat()
	defer m.Close()
	defer mask.Close()
	err = guard(func(e *C.char, size C.int) C.int {
		return C.tl_homography(ptr(&a), ptr(&b), C.int(method), C.double(threshold), C.int(iterations), ptr(&m), ptr(&mask), e, size)
	})
	if err != nil {
		return h, nil, false, err
	}
	if m.Empty() || m.Rows() != 3 || m.Cols() != 3 || mask.Total() != n {
		return h, nil, false, nil
	}
	v, err := m.DataPtrFloat64()
	if err != nil {
		return h, nil, false, err
	}
	copy(h[:], v)
	k, err := mask.DataPtrUint8()
	if err != nil {
		return h, nil, false, err
	}
	inlier = make([]bool, n)
	for i := range inlier {
		inlier[i] = k[i] != 0
	}
	return h, inlier, true, nil
}

// Match says for every row of one set its nearest row in the other, and the ratio of that distance to the second
// nearest (1 when there is none), both ways.
type Match struct {
	AB, BA           []int32
	RatioAB, RatioBA []float32
}

func newMatch(na, nb int) Match {
	return Match{make([]int32, na), make([]int32, nb), make([]float32, na), make([]float32, nb)}
}

// Match16 matches integer descriptors of length dim by Euclidean distance.
func Match16(a, b []int16, dim int) (Match, error) {
	na, nb := len(a)/dim, len(b)/dim
	m := newMatch(na, nb)
	if na == 0 || nb == 0 {
		return newMatch(0, 0), nil
	}
	err := guard(func(e *C.char, n C.int) C.int {
		return C.tl_match16((*C.short)(&a[0]), C.int(na), (*C.short)(&b[0]), C.int(nb), C.int(dim),
			(*C.int)(&m.AB[0]), (*C.float)(&m.RatioAB[0]), (*C.int)(&m.BA[0]), (*C.float)(&m.RatioBA[0]), e, n)
	})
	return m, err
}

// MatchBits matches binary descriptors of the given bytes by Hamming distance.
func MatchBits(a, b []byte, bytes int) (Match, error) {
	na, nb := len(a)/bytes, len(b)/bytes
	m := newMatch(na, nb)
	if na == 0 || nb == 0 {
		return newMatch(0, 0), nil
	}
	err := guard(func(e *C.char, n C.int) C.int {
		return C.tl_match_bits((*C.uchar)(&a[0]), C.int(na), (*C.uchar)(&b[0]), C.int(nb), C.int(bytes),
			(*C.int)(&m.AB[0]), (*C.float)(&m.RatioAB[0]), (*C.int)(&m.BA[0]), (*C.float)(&m.RatioBA[0]), e, n)
	})
	return m, err
}

// Correlate sums ref·img over the window of the given radius round every centre (x, y alternating), for every shift of
// img by up to search px in both directions: (2·search+1)² sums a centre, row by row. Both pictures have w × h px of
// the given channels, interleaved. A centre nearer to the border than radius+search is an error.
func Correlate(ref, img []int16, w, h, channels int, centres []int32, radius, search int) ([]float32, error) {
	if len(ref) != w*h*channels || len(img) != w*h*channels || radius < 0 || search < 0 {
		return nil, errors.New("correlate: sizes do not agree")
	}
	m := int32(radius + search)
	for i := 0; i+1 < len(centres); i += 2 {
		if centres[i] < m || centres[i+1] < m || centres[i]+m >= int32(w) || centres[i+1]+m >= int32(h) {
			return nil, errors.New("correlate: window outside the picture")
		}
	}
	n := len(centres) / 2
	if n == 0 {
		return nil, nil
	}
	side := 2*search + 1
	out := make([]float32, n*side*side)
	err := guard(func(e *C.char, size C.int) C.int {
		return C.tl_correlate((*C.short)(&ref[0]), (*C.short)(&img[0]), C.int(w), C.int(h), C.int(channels),
			(*C.int)(&centres[0]), C.int(n), C.int(radius), C.int(search), (*C.float)(&out[0]), e, size)
	})
	return out, err
}

// constant returns OpenCV's own value of a constant, for the test.
func constant(which int) int { return int(C.tl_constant(C.int(which))) }

// throw makes the guard catch an OpenCV exception, for the test.
func throw() error { return guard(func(e *C.char, n C.int) C.int { return C.tl_throw(e, n) }) }
