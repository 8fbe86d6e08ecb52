// Package moving finds what moves between two frames of one visit: people, leaves, running water, foam. What differs
// between them by more than noise, the light's slow change and the alignment's error did not stand still, and can't be
// read in either.
package moving

import (
	"math"
	"sort"

	"tilelapse/measure/plane"
)

// Settings, all our choice and measured on made frames (see the tests).
const (
	block     = 48   // px; the light's change is taken as even over a block
	floor     = 0.12 // relative difference that is never counted: fine focus and sharpening differ that much
	ceiling   = 0.5  // relative difference that is always counted: where all of a block flickers its spread says nothing of noise
	sigmas    = 5.0  // differences under so many standard errors of the block are noise
	slack     = 1.0  // px of misalignment allowed for: an edge seen twice differs by its slope times this
	smallest  = 24   // px; smaller spots are noise or grit
	surround  = 3    // px around what moved that are not trusted either
	dark      = 0.02 // linear light; darker pixels have no reliable ratio
	mostMoved = 0.4  // share of the common frame beyond which the two are not two frames of one scene
)

// Mark sets plane.Moving in a where it differs from b, a picture of the same view on the same frame, taken on the same
// visit. b is only looked at. It reports the share of the common frame that moved; with over mostMoved nothing is marked
// and ok is false: the light changed, or one frame is another scene.
func Mark(a, b *plane.Image) (share float64, ok bool) {
	if a.W != b.W || a.H != b.H {
		return 0, false
	}
	w, h := a.W, a.H
	la, lb := luma(a), luma(b)
	sa, sb := smooth(la, w, h), smooth(lb, w, h)
	n := w * h
	ratio := make([]float32, n)
	nan := float32(math.NaN())
	for i := range ratio {
		ratio[i] = nan
		if (a.Flags[i]|b.Flags[i])&(plane.Outside|plane.High|plane.Loose) == 0 && (sa[i] > dark || sb[i] > dark) {
			ratio[i] = float32(math.Log(float64(max(sa[i], dark/4)) / float64(max(sb[i], dark/4))))
		}
	}
	moved := make([]bool, n)
	common, hits := 0, 0
	for y0 := 0; y0 < h; y0 += block {
		for x0 := 0; x0 < w; x0 += block {
			mid, spread, ok := blockLight(ratio, w, h, x0, y0)
			if !ok {
				continue
			}
			for y := y0; y < min(y0+block, h); y++ {
				for x := x0; x < min(x0+block, w); x++ {
					i := y*w + x
					r := ratio[i]
					if r != r {
						continue
					}
					common++
					limit := min(max(floor, sigmas*spread), ceiling) + slack*slope(sa, sb, w, h, x, y)
					if math.Abs(float64(r)-mid) > limit {
						moved[i] = true
						hits++
					}
				}
			}
		}
	}
	if common == 0 {
		return 0, false
	}
	if float64(hits) > mostMoved*float64(common) {
		return float64(hits) / float64(common), false
	}
	keep := large(moved, w, h)
	count := 0
	for i, m := range keep {
		if m {
			a.Flags[i] |= plane.Moving
			count++
		}
	}
	return float64(count) / float64(common), true
}

func luma(im *plane.Image) []float32 {
	out := make([]float32, im.W*im.H)
	for i := range out {
		out[i] = 0.2126*im.RGB[3*i] + 0.7152*im.RGB[3*i+1] + 0.0722*im.RGB[3*i+2]
	}
	return out
}

// smooth is the mean over 3 x 3 px.
func smooth(p []float32, w, h int) []float32 {
	rows := make([]float32, len(p))
	for y := range h {
		for x := range w {
			l, r := max(x-1, 0), min(x+1, w-1)
			rows[y*w+x] = (p[y*w+l] + p[y*w+x] + p[y*w+r]) / 3
		}
	}
	out := make([]float32, len(p))
	for y := range h {
		u, d := max(y-1, 0), min(y+1, h-1)
		for x := range w {
			out[y*w+x] = (rows[u*w+x] + rows[y*w+x] + rows[d*w+x]) / 3
		}
	}
	return out
}

// blockLight is the middle of the log ratios around a block and their spread (MAD): from three by three blocks, so that
// what moves can't be most of it unless it is very large.
func blockLight(ratio []float32, w, h, x0, y0 int) (mid, spread float64, ok bool) {
	var v []float64
	for y := max(0, y0-block); y < min(h, y0+2*block); y += 3 {
		for x := max(0, x0-block); x < min(w, x0+2*block); x += 3 {
			if r := ratio[y*w+x]; r == r {
				v = append(v, float64(r))
			}
		}
	}
	if len(v) < 60 {
		return 0, 0, false
	}
	sort.Float64s(v)
	mid = v[len(v)/2]
	for i := range v {
		v[i] = math.Abs(v[i] - mid)
	}
	sort.Float64s(v)
	return mid, 1.4826 * v[len(v)/2], true
}

// slope is the larger relative difference to a neighbour 2 px away in either frame: an edge there may be seen a pixel off.
func slope(a, b []float32, w, h, x, y int) float64 {
	i := y*w + x
	worst := float32(0)
	for _, p := range [2][]float32{a, b} {
		for _, j := range [4]int{y*w + max(x-2, 0), y*w + min(x+2, w-1), max(y-2, 0)*w + x, min(y+2, h-1)*w + x} {
			d := p[i] - p[j]
			if d < 0 {
				d = -d
			}
			worst = max(worst, d/max(min(p[i], p[j]), dark/4))
		}
	}
	return math.Log1p(float64(worst))
}

// large keeps connected spots of at least smallest px (8 neighbours) and widens them by surround.
func large(m []bool, w, h int) []bool {
	seen, keep := make([]bool, len(m)), make([]bool, len(m))
	var stack, spot []int
	for s := range m {
		if !m[s] || seen[s] {
			continue
		}
		stack, spot = append(stack[:0], s), spot[:0]
		seen[s] = true
		for len(stack) > 0 {
			i := stack[len(stack)-1]
			stack = stack[:len(stack)-1]
			spot = append(spot, i)
			x, y := i%w, i/w
			for dy := -1; dy <= 1; dy++ {
				for dx := -1; dx <= 1; dx++ {
					nx, ny := x+dx, y+dy
					if nx < 0 || ny < 0 || nx >= w || ny >= h {
						continue
					}
					if j := ny*w + nx; m[j] && !seen[j] {
						seen[j] = true
						stack = append(stack, j)
					}
				}
			}
		}
		if len(spot) < smallest {
			continue
		}
		for _, i := range spot {
			x, y := i%w, i/w
			for ny := max(0, y-surround); ny <= min(h-1, y+surround); ny++ {
				for nx := max(0, x-surround); nx <= min(w-1, x+surround); nx++ {
					keep[ny*w+nx] = true
				}
			}
		}
	}
	return keep
}
