package register

import (
	"math"
	"sort"

	"tilelapse/register/internal/cv"
)

func sortFloats(v []float64) { sort.Float64s(v) }

// grid says where windows stand in a frame and how far they look, px of the frame.
type grid struct {
	spacing, radius, search int
}

// Windows that say nothing are left out.
const (
	minTexture = 0.02 // mean square of the oriented picture over the window, of the largest possible
	minSeen    = 0.7  // share of the window inside reference and photo
)

// places returns where windows stand: with texture in the reference, and inside both pictures. centres are the same in
// the padded pictures, as cv.Correlate takes them.
func places(ref, img *oriented, f frame, g grid) (at [][2]int, centres []int32) {
	return placesIn(ref, img, f, g, nil)
}

// placesIn is places where keep says so of a reference position; nil keeps all.
func placesIn(ref, img *oriented, f frame, g grid, keep func(x, y float64) bool) (at [][2]int, centres []int32) {
	n := float64((2*g.radius + 1) * (2*g.radius + 1))
	x0, y0 := (f.w-1)%g.spacing/2, (f.h-1)%g.spacing/2
	for y := y0; y < f.h; y += g.spacing {
		for x := x0; x < f.w; x += g.spacing {
			if ref.share(x, y, g.radius) < minSeen || img.share(x, y, g.radius) < minSeen {
				continue
			}
			if ref.energy(x, y, g.radius) < minTexture*n*orientUnit*orientUnit {
				continue
			}
			if keep != nil && !keep(f.ref(float64(x), float64(y))) {
				continue
			}
			at = append(at, [2]int{x, y})
			centres = append(centres, int32(x+orientPad), int32(y+orientPad))
		}
	}
	return at, centres
}

// slid is what sliding one picture over the other says: how well windows fit where the mapping puts them, and at the
// best other place.
type slid struct {
	windows     int
	here, there float64 // mean correlation
	middle      float64 // median over the windows of the correlation here
	dx, dy      int     // of the other place, px of the frame
	// forHere and forThere count the windows that speak clearly for one place against the other.
	forHere, forThere int
}

// outside marks shifts that take a window out of the photo.
const outside = -2

// clearly is by how much a window's correlation at one place must exceed that at the other to count.
const clearly = 0.1

// slide correlates all windows at every shift. A place nearer than apart px is the same place; within it the best of
// shifts up to near px counts, because the mapping need not be exact yet. Windows stand where keep says so of a reference
// position; nil keeps all.
func slide(ref, img *oriented, f frame, g grid, near, apart int, keep func(x, y float64) bool) (s slid, err error) {
	at, centres := placesIn(ref, img, f, g, keep)
	sums, err := cv.Correlate(ref.v, img.v, ref.w, ref.h, ref.ch, centres, g.radius, g.search)
	if err != nil || len(at) < 4 {
		return slid{windows: len(at), middle: 1}, err
	}
	side := 2*g.search + 1
	total, count := make([]float64, side*side), make([]float64, side*side)
	one := make([]float32, len(at)*side*side)
	for k, c := range at {
		er := ref.energy(c[0], c[1], g.radius)
		for i := range total {
			x, y := c[0]+i%side-g.search, c[1]+i/side-g.search
			one[k*side*side+i] = outside
			if img.share(x, y, g.radius) < minSeen {
				continue
			}
			count[i]++
			v := 0.0
			if e := er * img.energy(x, y, g.radius); e > 0 {
				v = float64(sums[k*side*side+i]) / math.Sqrt(e)
			}
			one[k*side*side+i] = float32(v)
			total[i] += v
		}
	}
	for i := range total {
		if count[i] < math.Max(4, float64(len(at))/4) {
			total[i] = outside // too little of the picture is there to speak of a place
			continue
		}
		total[i] /= count[i]
	}
	best, other := -1, -1
	for i, v := range total {
		dx, dy := abs(i%side-g.search), abs(i/side-g.search)
		switch {
		case dx <= near && dy <= near:
			if best < 0 || v > total[best] {
				best = i
			}
		case dx > apart || dy > apart:
			if other < 0 || v > total[other] {
				other = i
			}
		}
	}
	own := make([]float64, len(at))
	for k := range own {
		own[k] = float64(one[k*side*side+best])
	}
	middle := median(own)
	if total[other] == outside {
		return slid{windows: len(at), here: math.Max(0, total[best]), middle: middle, forHere: len(at)}, nil // no other place can be seen
	}
	s = slid{windows: len(at), middle: middle, here: total[best], there: total[other], dx: other%side - g.search, dy: other/side - g.search}
	// A window's own best within a px of a place: the surface need not be flat.
	top := func(k, i int) float64 {
		m := float32(-1)
		x, y := i%side, i/side
		for v := max(0, y-1); v <= min(side-1, y+1); v++ {
			for u := max(0, x-1); u <= min(side-1, x+1); u++ {
				m = max(m, one[k*side*side+v*side+u])
			}
		}
		return float64(m)
	}
	for k := range at {
		if one[k*side*side+best] == outside || one[k*side*side+other] == outside {
			continue
		}
		d := top(k, best) - top(k, other)
		if d > clearly {
			s.forHere++
		}
		if d < -clearly {
			s.forThere++
		}
	}
	return s, nil
}

// windows compares the reference's oriented picture with the warped photo's, window by window, and returns the votes
// in reference px and photo px; also the places of all windows of the reference that had texture inside the overlap.
func windows(ref, img *oriented, f frame, m Mapping, g grid) (votes []vote, asked [][2]float64, err error) {
	return windowsIn(ref, img, f, m, g, nil)
}

// windowsIn is windows where keep says so of a reference position; nil keeps all.
func windowsIn(ref, img *oriented, f frame, m Mapping, g grid, keep func(x, y float64) bool) (votes []vote, asked [][2]float64, err error) {
	at, centres := placesIn(ref, img, f, g, keep)
	if len(at) == 0 {
		return nil, nil, nil
	}
	sums, err := cv.Correlate(ref.v, img.v, ref.w, ref.h, ref.ch, centres, g.radius, g.search)
	if err != nil {
		return nil, nil, err
	}
	return read(sums, at, ref, img, f, m, g), f.refs(at), nil
}

// refs returns the reference positions of places.
func (f frame) refs(at [][2]int) [][2]float64 {
	out := make([][2]float64, len(at))
	for i, p := range at {
		out[i][0], out[i][1] = f.ref(float64(p[0]), float64(p[1]))
	}
	return out
}

// read turns the correlations of windows at places into votes.
func read(sums []float32, at [][2]int, ref, img *oriented, f frame, m Mapping, g grid) (votes []vote) {
	side := 2*g.search + 1
	score := make([]float64, side*side)
	for k, c := range at {
		er := ref.energy(c[0], c[1], g.radius)
		for i := range score {
			e := er * img.energy(c[0]+i%side-g.search, c[1]+i/side-g.search, g.radius)
			score[i] = 0
			if e > 0 {
				score[i] = float64(sums[k*side*side+i]) / math.Sqrt(e)
			}
		}
		v, ok := peak(score, side)
		if !ok {
			continue
		}
		dx, dy := v.X-float64(g.search), v.Y-float64(g.search)
		v.X, v.Y = f.ref(float64(c[0]), float64(c[1]))
		qx, qy := f.ref(float64(c[0])+dx, float64(c[1])+dy)
		v.PX, v.PY = m.Photo(qx, qy)
		if math.IsNaN(v.PX) {
			continue
		}
		votes = append(votes, v)
	}
	weigh(votes)
	return votes
}

// peak finds the highest score to a fraction of a px by the quadratic through its 3 × 3 neighbours; false when it lies
// on the border of the search or is no peak.
func peak(s []float64, side int) (vote, bool) {
	b := 0
	for i, v := range s {
		if v > s[b] {
			b = i
		}
	}
	x, y := b%side, b/side
	if x == 0 || y == 0 || x == side-1 || y == side-1 || s[b] <= 0 {
		return vote{}, false
	}
	// Least squares over the nine values.
	var gx, gy, hxx, hyy, hxy float64
	for j := -1; j <= 1; j++ {
		for i := -1; i <= 1; i++ {
			v := s[b+j*side+i]
			gx += float64(i) * v / 6
			gy += float64(j) * v / 6
			hxy += float64(i*j) * v / 4
			hxx += (float64(i*i) - 2./3) * v
			hyy += (float64(j*j) - 2./3) * v
		}
	}
	det := hxx*hyy - hxy*hxy
	if hxx >= 0 || hyy >= 0 || det <= 1e-12 {
		return vote{}, false
	}
	dx, dy := -(hyy*gx-hxy*gy)/det, -(hxx*gy-hxy*gx)/det
	if math.Abs(dx) > 1 || math.Abs(dy) > 1 {
		return vote{}, false
	}
	other := 0.0
	for i, v := range s {
		if v > other && (abs(i%side-x) > 2 || abs(i/side-y) > 2) {
			other = v
		}
	}
	p := s[b]
	k := 1 / (1.02 - math.Min(1, p*p))
	return vote{X: float64(x) + dx, Y: float64(y) + dy, Info: [3]float64{-hxx * k, -hxy * k, -hyy * k}, Peak: p, Lone: p - other, Scale: 1}, true
}

func abs(v int) int {
	if v < 0 {
		return -v
	}
	return v
}

// weigh brings the certainties to 1 in the middle and 4 at most, and lowers what is hardly better than another place.
func weigh(votes []vote) {
	if len(votes) == 0 {
		return
	}
	t := make([]float64, len(votes))
	for i, v := range votes {
		t[i] = (v.Info[0] + v.Info[2]) / 2
	}
	m := median(append([]float64(nil), t...))
	for i := range votes {
		k := 1 / m
		if t[i] > 4*m {
			k = 4 / t[i]
		}
		for c := range votes[i].Info {
			votes[i].Info[c] *= k
		}
		votes[i].Scale = math.Max(0, math.Min(1, votes[i].Lone/.05)) * math.Min(1, votes[i].Peak/.5)
	}
}
