package register

import (
	"errors"
	"fmt"
	"image"
	"sync"

	"tilelapse/register/internal/cv"
)

// kind names a way to describe key points.
type kind int

const (
	siftPlain  kind = iota // root SIFT at the first size
	siftWide               // root SIFT at the second size, contrast evened out, fainter points too
	akazePlain             // AKAZE at the second size
	orbPlain               // ORB at the second size
	siftTilted             // root SIFT on simulated tilts
)

func (k kind) String() string {
	return [...]string{"sift", "sift-wide", "akaze", "orb", "sift-tilted"}[k]
}

// features are key points in px of the whole picture with their descriptors: roots or bits.
type features struct {
	x, y  []float32
	root  []int16
	bits  []byte
	bytes int // of one binary descriptor
	unit  float64
}

// large lets one of the dear detectors work at a time, whatever the number of photos worked on: the pyramid of a picture
// of 1600 px takes some 450 MB.
var large sync.Mutex

// detect finds key points of one kind in a picture.
func detect(im *image.Gray, k kind, opt Options) (*features, error) {
	w, h := im.Rect.Dx(), im.Rect.Dy()
	side := opt.WideSide
	switch k {
	case siftPlain:
		side = opt.MaxSide
	case siftTilted:
		side = min(opt.WideSide, 640)
	}
	if k == siftWide || k == akazePlain {
		large.Lock()
		defer large.Unlock()
	}
	rw, rh := fit(w, h, side)
	small := reduce(im, rw, rh).gray()
	var pts []cv.Point
	f := &features{}
	var err error
	switch k {
	case siftPlain:
		pts, f.root, err = cv.SIFT(small, opt.Features, .02)
	case siftWide:
		if small, err = cv.CLAHE(small, 3, 8); err == nil {
			pts, f.root, err = cv.SIFT(small, 2*opt.Features, .01)
		}
	case siftTilted:
		pts, f.root, err = cv.AffineSIFT(small, 400, .02, 3)
	case akazePlain:
		if small, err = cv.CLAHE(small, 3, 8); err == nil {
			pts, f.bits, err = cv.AKAZE(small, opt.Features, .0005)
		}
	case orbPlain:
		pts, f.bits, err = cv.ORB(small, opt.Features)
	}
	if err != nil {
		return nil, fmt.Errorf("%s: %w", k, err)
	}
	if len(f.bits) > 0 {
		f.bytes = len(f.bits) / len(pts)
	}
	sx, sy := float64(w)/float64(rw), float64(h)/float64(rh)
	f.unit = (sx + sy) / 2
	f.x, f.y = make([]float32, len(pts)), make([]float32, len(pts))
	for i, p := range pts {
		f.x[i] = float32(sx*(float64(p.X)+.5) - .5)
		f.y[i] = float32(sy*(float64(p.Y)+.5) - .5)
	}
	return f, nil
}

// level is the reference at one size, as windows compare it.
type level struct {
	frame
	grid     grid
	grey     plane
	oriented *oriented
}

// Reference is one view's reference photo, prepared once. It holds no Mats and is safe for concurrent use.
type Reference struct {
	ID     string
	W, H   int // px, upright
	grey   *image.Gray
	opt    Options
	frames []level   // coarse to fine
	shades *oriented // of the coarse frame
	first  *features

	mu    sync.Mutex
	other map[kind]*features
}

// minReferencePx is the smallest side of a reference that windows can work in.
const minReferencePx = 200

// NewReference prepares a view's reference photo: upright 8-bit luma in the file's encoding. It keeps the picture for
// the features that only failing photos need.
func NewReference(id string, grey *image.Gray, opt Options) (*Reference, error) {
	if err := opt.Validate(); err != nil {
		return nil, err
	}
	if grey == nil {
		return nil, errors.New("no picture")
	}
	r := &Reference{ID: id, W: grey.Rect.Dx(), H: grey.Rect.Dy(), grey: grey, opt: opt, other: map[kind]*features{}}
	if min(r.W, r.H) < minReferencePx {
		return nil, fmt.Errorf("%d × %d px: a reference needs at least %d px on its shorter side", r.W, r.H, minReferencePx)
	}
	var err error
	if r.first, err = detect(grey, siftPlain, opt); err != nil {
		return nil, err
	}
	fine := min(opt.FineSide, max(r.W, r.H))
	for n, g := range []grid{{16, 14, 10}, {20, 16, 5}, {32, 20, 4}} {
		f := newFrame(r.W, r.H, max(fine>>(2-n), minReferencePx))
		p := reduce(grey, f.w, f.h)
		r.frames = append(r.frames, level{f, g, p, orient(p, nil)})
	}
	r.shades = shades(r.frames[0].grey, nil)
	return r, nil
}

// features returns the reference's key points of one kind, found when first asked for.
func (r *Reference) features(k kind) (*features, error) {
	if k == siftPlain {
		return r.first, nil
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	if f := r.other[k]; f != nil {
		return f, nil
	}
	f, err := detect(r.grey, k, r.opt)
	if err == nil {
		r.other[k] = f
	}
	return f, err
}
