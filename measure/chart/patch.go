package chart

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"tilelapse/measure/plane"
)

// Why a chart can't be read.
var (
	ErrCorners  = errors.New("the chart's four corners do not span a quadrangle")
	ErrOutside  = errors.New("the chart is not wholly in the picture")
	ErrSmall    = errors.New("the chart is too small in the picture")
	ErrNotChart = errors.New("the colours there are not those of a 24-patch chart")
	ErrPoor     = errors.New("the chart's colours are too far from the published ones to correct by")
	ErrTurn     = errors.New("which way up the chart stands can't be told")
	ErrMirrored = errors.New("the chart is seen mirrored")
	ErrClipped  = errors.New("too many of the chart's patches are clipped or covered")
)

// Patch is one patch of the chart in a photo.
type Patch struct {
	Light   [3]float64  // linear light of its inner part: mean of the middle half of the readable px, where there are enough
	Spread  [3]float64  // 1.4826 times the median absolute deviation there
	Clipped float64     // share of its inner part at the ends of the photo's codes or otherwise unreadable, 0..1
	Pixels  int         // px of its inner part
	Centre  plane.Point // where it was read, px of the image given
}

// inner is the half-width of a patch's inner part, in pitches: a bit more than half of a patch's width is read, away from
// what blur and chromatic aberration carry over from the gaps.
const inner = 0.22

// MinPitch is the least distance between patch centres, px. Below it the inner part has under 9 px.
const MinPitch = 7

// Patches reads the 24 patches of a chart, patch 1 first, from its four corners in the picture's px, in any order:
// those of the patches, of the printed crosses or of the card; the field of patches is settled from the evenness of the
// patches. Which way the chart is turned is told by the colours. The picture is not changed.
//
// Errors: ErrCorners, ErrOutside, ErrSmall, ErrNotChart, ErrTurn, ErrMirrored, each with what was found.
func Patches(img *plane.Image, corners [4]plane.Point) ([Count]Patch, error) {
	var none [Count]Patch
	p, ok := round(corners)
	if !ok {
		return none, ErrCorners
	}
	for _, q := range p {
		if q.X < -1 || q.Y < -1 || q.X > float64(img.W) || q.Y > float64(img.H) {
			return none, fmt.Errorf("%w: corner at (%.0f, %.0f) px of %d x %d", ErrOutside, q.X, q.Y, img.W, img.H)
		}
	}
	box, q, root := crop(img, p)
	type turn struct {
		patches  [Count]Patch
		cost     float64
		mirrored bool
	}
	var turns []turn
	small := 0.0
	for _, quad := range [2][4]plane.Point{q, {q[1], q[2], q[3], q[0]}} {
		field, cost := settle(box.img, root, quad)
		g, ok := gridOf(field)
		if !ok || math.IsInf(cost, 1) {
			continue
		}
		if s := g.pitch(); s < MinPitch {
			small = math.Max(small, s)
			continue
		}
		read := box.read(g)
		for _, half := range [2]bool{false, true} {
			for _, mirrored := range [2]bool{false, true} {
				var t turn
				for i := range Count {
					c, r := i%Cols, i/Cols
					if half {
						c, r = Cols-1-c, Rows-1-r
					}
					if mirrored {
						c = Cols - 1 - c
					}
					t.patches[i] = read[r*Cols+c]
				}
				t.cost, t.mirrored = likeness(&t.patches), mirrored
				turns = append(turns, t)
			}
		}
	}
	if len(turns) == 0 {
		if small > 0 {
			return none, fmt.Errorf("%w: %.0f px from patch to patch, %d are needed", ErrSmall, small, MinPitch)
		}
		return none, ErrOutside
	}
	slices.SortStableFunc(turns, func(a, b turn) int {
		switch {
		case a.cost < b.cost:
			return -1
		case a.cost > b.cost:
			return 1
		}
		return 0
	})
	const clear = 1.4 // times: the next best way up has to fit that much worse. Made charts: 2 and more
	best := turns[0]
	switch {
	case best.cost > maxMean:
		return none, fmt.Errorf("%w: mean difference %.1f ΔE00 after the best fit, limit %.0f", ErrNotChart, best.cost, maxMean)
	case best.mirrored:
		return none, ErrMirrored
	case turns[1].cost < clear*best.cost:
		return none, fmt.Errorf("%w: %.1f and %.1f ΔE00 after the best fits", ErrTurn, best.cost, turns[1].cost)
	}
	return best.patches, nil
}

// likeness returns how well patches can be brought to the published colours, mean ΔE00, with the file's curve or another.
func likeness(p *[Count]Patch) float64 {
	x, w := numbers(p)
	t := targetOf(FromNov2014)
	least := math.Inf(1)
	for _, k := range []curve{asDecoded, asIs, asPowers} {
		m, ok := t.robust(&x, &w, k)
		if !ok {
			continue
		}
		d, sum, n := t.differences(m.model, &x), 0.0, 0
		for i := range d {
			if w[i] > 0 {
				sum, n = sum+d[i], n+1
			}
		}
		least = math.Min(least, sum/float64(n))
	}
	return least
}

// numbers returns the light of the patches and their weight: 0 for those not to be used.
func numbers(p *[Count]Patch) (x [Count][3]float64, w [Count]float64) {
	const maxClipped = 0.2
	for i := range p {
		x[i] = p[i].Light
		if p[i].Pixels > 0 && p[i].Clipped <= maxClipped {
			w[i] = 1
		}
	}
	return x, w
}

// cutout is the part of a picture around the chart, brightened to a scale of its own for the search only.
type cutout struct {
	img    *plane.Image
	dx, dy float64 // position of its px (0,0) in the picture
}

// crop cuts out the chart and returns the corners in the cut-out and its cube roots of light.
func crop(img *plane.Image, p [4]plane.Point) (cutout, [4]plane.Point, []float32) {
	x0, y0, x1, y1 := p[0].X, p[0].Y, p[0].X, p[0].Y
	for _, q := range p {
		x0, y0, x1, y1 = math.Min(x0, q.X), math.Min(y0, q.Y), math.Max(x1, q.X), math.Max(y1, q.Y)
	}
	m := 0.05 * math.Max(x1-x0, y1-y0) // room for corners marked a little inside
	l, t := max(0, int(x0-m)), max(0, int(y0-m))
	r, b := min(img.W, int(x1+m)+2), min(img.H, int(y1+m)+2)
	c := cutout{plane.New(r-l, b-t), float64(l), float64(t)}
	for y := t; y < b; y++ {
		copy(c.img.RGB[3*(y-t)*c.img.W:], img.RGB[3*(y*img.W+l):3*(y*img.W+r)])
		copy(c.img.Flags[(y-t)*c.img.W:], img.Flags[y*img.W+l:y*img.W+r])
	}
	root := make([]float32, len(c.img.RGB))
	for i, v := range c.img.RGB {
		root[i] = float32(math.Cbrt(float64(v)))
	}
	for k := range p {
		p[k].X -= c.dx
		p[k].Y -= c.dy
	}
	return c, p, root
}

// read takes the patches of a grid.
func (c cutout) read(g grid) (o [Count]Patch) {
	for i := range o {
		q := g.square(i%Cols, i/Cols, inner)
		at := g.at(float64(i%Cols)+0.5, float64(i/Cols)+0.5)
		o[i] = c.patch(q)
		o[i].Centre = plane.Point{X: at.X + c.dx, Y: at.Y + c.dy}
	}
	return o
}

// patch reads the px whose centres are inside a convex quadrangle.
func (c cutout) patch(q [4]plane.Point) (p Patch) {
	x0, y0, x1, y1 := c.img.W, c.img.H, -1, -1
	for _, v := range q {
		x0, y0 = min(x0, int(math.Floor(v.X))), min(y0, int(math.Floor(v.Y)))
		x1, y1 = max(x1, int(math.Ceil(v.X))), max(y1, int(math.Ceil(v.Y)))
	}
	x0, y0, x1, y1 = max(x0, 0), max(y0, 0), min(x1, c.img.W-1), min(y1, c.img.H-1)
	var all, good []int
	for y := y0; y <= y1; y++ {
		for x := x0; x <= x1; x++ {
			if !inside(q, float64(x), float64(y)) {
				continue
			}
			i := y*c.img.W + x
			all = append(all, i)
			if c.img.Flags[i] == 0 {
				good = append(good, i)
			}
		}
	}
	p.Pixels = len(all)
	if p.Pixels == 0 {
		p.Clipped = 1
		return p
	}
	p.Clipped = 1 - float64(len(good))/float64(len(all))
	if len(good) < 5 || 2*len(good) < len(all) {
		good = all
	}
	v := make([]float64, len(good))
	for k := range 3 {
		for n, i := range good {
			v[n] = float64(c.img.RGB[3*i+k])
		}
		m := middle(v)
		for n := range v {
			v[n] = math.Abs(v[n] - m)
		}
		p.Light[k], p.Spread[k] = m, 1.4826*median(v)
	}
	return p
}

func inside(q [4]plane.Point, x, y float64) bool {
	sign := 0.0
	for k := range 4 {
		a, b := q[k], q[(k+1)%4]
		s := (b.X-a.X)*(y-a.Y) - (b.Y-a.Y)*(x-a.X)
		if s*sign < 0 {
			return false
		}
		if s != 0 {
			sign = s
		}
	}
	return true
}

// middle sorts v and returns the mean of its middle half: as proof against gloss and dirt as a median, near enough, without
// its rounding to whole codes in the darkest patches.
func middle(v []float64) float64 {
	slices.Sort(v)
	sum := 0.0
	lo, hi := len(v)/4, len(v)-len(v)/4
	for _, x := range v[lo:hi] {
		sum += x
	}
	return sum / float64(hi-lo)
}

// median sorts v and returns its median, the mean of the two in the middle for even numbers; 0 without any.
func median(v []float64) float64 {
	slices.Sort(v)
	n := len(v)
	if n == 0 {
		return 0
	}
	return (v[(n-1)/2] + v[n/2]) / 2
}
