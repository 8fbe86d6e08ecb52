// Package resample brings a photo onto the measuring frame, in linear light, in one pass: no float copy of the whole
// photo ever exists.
package resample

import (
	"math"

	"tilelapse/measure/plane"
	"tilelapse/pipeline/intake"
)

// step is the mesh of the lattice on which the mapping is evaluated, in frame px; between its nodes positions are
// interpolated linearly. A homography that halves one side of a 4000 px reference at k = 2 bends by 0.005 px between
// nodes 4 px apart (0.020 at 8), which is far below what alignment reaches.
const step = 4

// maxSplit bounds the samples a reference px is split into when the photo is finer, along each side.
const maxSplit = 8

// Codes at or beyond these (of 255) count as the dark and the bright end of a channel.
const (
	lowCode  = 2
	highCode = 253
)

// Onto returns the photo on the frame f. photo tells where a reference position (px) lies in the photo (px); positions
// that are not finite are outside.
//
// A measuring px is the mean, in linear light, of samples spread evenly over its K x K reference px: one at the centre
// of each, or m x m of them where the photo is m times finer than the reference; each is bilinear between four photo
// pixels. Flags: Outside when any sample lies out of the photo, Low when any channel of a photo px that takes part is at
// that end of its codes, HighR, HighG and HighB when that channel is. Where Outside is set the colour is black.
func Onto(p *intake.Picture, f plane.Frame, photo func(x, y float64) (px, py float64)) *plane.Image {
	w, h := f.Size()
	out := plane.New(w, h)
	l := newLattice(w, h, f, photo)
	if p.Pix16 != nil {
		fill(out, l, f.K, p, p.Pix16, 257)
	} else {
		fill(out, l, f.K, p, p.Pix, 1)
	}
	return out
}

// lattice holds photo positions of frame positions (i*step - 0.5, j*step - 0.5): cell (i, j) covers step x step whole
// frame px, fewer at the right and bottom: no position beyond the frame is asked for.
type lattice struct {
	nx, ny int
	x, y   []float64
}

func newLattice(w, h int, f plane.Frame, photo func(x, y float64) (float64, float64)) *lattice {
	l := &lattice{nx: (w+step-1)/step + 1, ny: (h+step-1)/step + 1}
	l.x, l.y = make([]float64, l.nx*l.ny), make([]float64, l.nx*l.ny)
	for j := range l.ny {
		for i := range l.nx {
			rx, ry := f.Ref(float64(min(i*step, w))-0.5, float64(min(j*step, h))-0.5)
			l.x[j*l.nx+i], l.y[j*l.nx+i] = photo(rx, ry)
		}
	}
	return l
}

// cell returns the four corners of cell (i, j): top left, top right, bottom left, bottom right.
func (l *lattice) cell(i, j int) (x, y [4]float64) {
	a := j*l.nx + i
	b := a + l.nx
	return [4]float64{l.x[a], l.x[a+1], l.x[b], l.x[b+1]}, [4]float64{l.y[a], l.y[a+1], l.y[b], l.y[b+1]}
}

// split returns how many samples a reference px is split into along each side, for a cell of the given corners and
// size in reference px: the greatest length of a reference px in photo px along its sides, rounded up when it exceeds a whole number by a quarter.
func split(x, y [4]float64, refW, refH int) int {
	along := func(a, b int) float64 { return math.Hypot(x[b]-x[a], y[b]-y[a]) }
	across := max(along(0, 1), along(2, 3)) / float64(refW)
	down := max(along(0, 2), along(1, 3)) / float64(refH)
	m := int(math.Ceil(max(across, down) - 0.25))
	return min(max(m, 1), maxSplit)
}

func fill[T uint8 | uint16](out *plane.Image, l *lattice, k int, p *intake.Picture, pix []T, scale int) {
	for j := range l.ny - 1 {
		for i := range l.nx - 1 {
			cx, cy := l.cell(i, j)
			x1, y1 := min((i+1)*step, out.W), min((j+1)*step, out.H)
			whole := true
			for c := range 4 {
				whole = whole && finite(cx[c]) && finite(cy[c])
			}
			if !whole || beyond(cx[:], p.W) || beyond(cy[:], p.H) {
				for y := j * step; y < y1; y++ {
					for x := i * step; x < x1; x++ {
						out.Flags[y*out.W+x] = plane.Outside
					}
				}
				continue
			}
			n := k * split(cx, cy, k*(x1-i*step), k*(y1-j*step))
			fillCell(out, i*step, j*step, x1, y1, n, cx, cy, p, pix, scale)
		}
	}
}

// beyond reports whether all positions lie on one side out of a photo of n px.
func beyond(v []float64, n int) bool {
	lo, hi := v[0], v[0]
	for _, x := range v[1:] {
		lo, hi = min(lo, x), max(hi, x)
	}
	return hi < -0.5 || lo > float64(n)-0.5
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// fillCell fills frame px [x0,x1) x [y0,y1) of one cell with n x n samples each.
func fillCell[T uint8 | uint16](out *plane.Image, x0, y0, x1, y1, n int, cx, cy [4]float64, p *intake.Picture, pix []T, scale int) {
	low, high := T(lowCode*scale), T(highCode*scale)
	span := high - low - 1 // codes above low and below high, less one: one comparison tells both ends
	w, h := p.W, p.H
	right, bottom := float64(w)-0.5, float64(h)-0.5
	c0, c1, c2 := p.Curve[0], p.Curve[1], p.Curve[2]
	m := &p.Matrix
	inv := 1 / float32(n*n)
	subX, subY := 1/float64(n*(x1-x0)), 1/float64(n*(y1-y0)) // a sample's distance in cell units
	for y := y0; y < y1; y++ {
		for x := x0; x < x1; x++ {
			var r, g, b float32
			var flags uint8
		samples:
			for sy := range n {
				v := (float64((y-y0)*n+sy) + 0.5) * subY
				lx, rx := cx[0]+v*(cx[2]-cx[0]), cx[1]+v*(cx[3]-cx[1])
				ly, ry := cy[0]+v*(cy[2]-cy[0]), cy[1]+v*(cy[3]-cy[1])
				dx, dy := rx-lx, ry-ly
				for sx := range n {
					u := (float64((x-x0)*n+sx) + 0.5) * subX
					px, py := lx+u*dx, ly+u*dy
					// A photo px reaches half a px beyond its centre.
					if !(px >= -0.5 && px <= right && py >= -0.5 && py <= bottom) {
						flags = plane.Outside
						break samples
					}
					px, py = max(px, 0), max(py, 0)
					ix, iy := int(px), int(py)
					fx, fy := float32(px-float64(ix)), float32(py-float64(iy))
					at := 3 * (iy*w + ix)
					ex, ey := 3, 3*w
					if ix >= w-1 {
						ex = 0
					}
					if iy >= h-1 {
						ey = 0
					}
					q0 := pix[at : at+3 : at+3]
					q1 := pix[at+ex : at+ex+3 : at+ex+3]
					q2 := pix[at+ey : at+ey+3 : at+ey+3]
					q3 := pix[at+ey+ex : at+ey+ex+3 : at+ey+ex+3]
					w3 := fx * fy
					w1, w2 := fx-w3, fy-w3
					w0 := 1 - fx - w2
					r += w0*c0[q0[0]] + w1*c0[q1[0]] + w2*c0[q2[0]] + w3*c0[q3[0]]
					g += w0*c1[q0[1]] + w1*c1[q1[1]] + w2*c1[q2[1]] + w3*c1[q3[1]]
					b += w0*c2[q0[2]] + w1*c2[q1[2]] + w2*c2[q2[2]] + w3*c2[q3[2]]
					if atEnd(q0, low, span) || (w1 > 0 && atEnd(q1, low, span)) || (w2 > 0 && atEnd(q2, low, span)) || (w3 > 0 && atEnd(q3, low, span)) {
						flags |= ends(q0, low, high)
						if w1 > 0 {
							flags |= ends(q1, low, high)
						}
						if w2 > 0 {
							flags |= ends(q2, low, high)
						}
						if w3 > 0 {
							flags |= ends(q3, low, high)
						}
					}
				}
			}
			o := y*out.W + x
			out.Flags[o] = flags
			if flags&plane.Outside != 0 {
				continue
			}
			r, g, b = r*inv, g*inv, b*inv
			out.RGB[3*o] = m[0]*r + m[1]*g + m[2]*b
			out.RGB[3*o+1] = m[3]*r + m[4]*g + m[5]*b
			out.RGB[3*o+2] = m[6]*r + m[7]*g + m[8]*b
		}
	}
}

// atEnd reports whether a channel is at either end: c-low-1 wraps around for codes up to low.
func atEnd[T uint8 | uint16](q []T, low, span T) bool {
	return q[0]-low-1 >= span || q[1]-low-1 >= span || q[2]-low-1 >= span
}

// ends returns the flags of a photo px.
func ends[T uint8 | uint16](q []T, low, high T) uint8 {
	var f uint8
	for i, c := range q[:3] {
		if c <= low {
			f |= plane.Low
		}
		if c >= high {
			f |= plane.HighR << i
		}
	}
	return f
}
