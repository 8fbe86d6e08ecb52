package outline

import (
	"math"
	"sort"
)

// material is the colour of the joints over the sheet: a lattice of CIELAB colours, read bilinearly.
type material struct {
	step   float64
	nx, ny int
	lab    [][3]float64
	spread float64 // median distance of joint pixels from it
}

type candidate struct {
	x, y  float64
	lab   [3]float64
	w     float64
	block int
}

// lightWeight scales lightness against chroma when joint colours are compared: joints lie deep and are shaded unevenly.
const lightWeight = 0.7

func labDist2(p, q [3]float64) float64 {
	dl, da, db := lightWeight*(p[0]-q[0]), p[1]-q[1], p[2]-q[2]
	return dl*dl + da*da + db*db
}

// learn finds the colour that thin lines have most often, counted over the area and not by pixels, so that a motif drawn
// with a brush does not win; then follows it over the sheet, because light varies.
func learn(s *sheet, smooth [3][]float32, strength []float32, step int) *material {
	gw := (s.w + step - 1) / step
	// lines: the strongest part of the samples in use
	var vals []float64
	for gy := 0; gy*step < s.h; gy++ {
		for gx := range gw {
			if s.use[gy*step*s.w+gx*step] {
				vals = append(vals, float64(strength[gy*gw+gx]))
			}
		}
	}
	if len(vals) == 0 {
		return nil
	}
	sort.Float64s(vals)
	limit := max(vals[len(vals)*80/100], 2)
	cell := max(16, math.Sqrt(float64(s.w*s.h))/14)
	nx, ny := int(float64(s.w)/cell)+1, int(float64(s.h)/cell)+1
	var cand []candidate
	count := make([]float64, nx*ny)
	for gy := 0; gy*step < s.h; gy++ {
		for gx := range gw {
			v := float64(strength[gy*gw+gx])
			i := gy*step*s.w + gx*step
			if v < limit || !s.use[i] {
				continue
			}
			b := int(float64(gy*step)/cell)*nx + int(float64(gx*step)/cell)
			w := min(v, 15)
			count[b] += w
			cand = append(cand, candidate{float64(gx * step), float64(gy * step), [3]float64{float64(smooth[0][i]), float64(smooth[1][i]), float64(smooth[2][i])}, w, b})
		}
	}
	if len(cand) < 20 {
		return nil
	}
	// every block has one vote, thin blocks less
	var full float64
	for _, c := range count {
		full = max(full, c)
	}
	type bin [3]int
	votes := map[bin]float64{}
	perBlock := map[bin]map[int]float64{}
	key := func(l [3]float64) bin {
		return bin{int(math.Floor(l[0] * lightWeight / 5)), int(math.Floor(l[1] / 5)), int(math.Floor(l[2] / 5))}
	}
	for i := range cand {
		c := &cand[i]
		k := key(c.lab)
		if perBlock[k] == nil {
			perBlock[k] = map[int]float64{}
		}
		perBlock[k][c.block] += c.w / max(count[c.block], 0.2*full)
	}
	keys := make([]bin, 0, len(perBlock))
	for k := range perBlock {
		keys = append(keys, k)
	}
	sort.Slice(keys, func(i, j int) bool {
		for c := range 3 {
			if keys[i][c] != keys[j][c] {
				return keys[i][c] < keys[j][c]
			}
		}
		return false
	})
	for _, k := range keys {
		bl := make([]int, 0, len(perBlock[k]))
		for b := range perBlock[k] {
			bl = append(bl, b)
		}
		sort.Ints(bl)
		for _, b := range bl {
			votes[k] += min(perBlock[k][b], 0.15)
		}
	}
	var best bin
	top := -1.0
	for _, k := range keys {
		var v float64
		for a := -1; a <= 1; a++ {
			for b := -1; b <= 1; b++ {
				for c := -1; c <= 1; c++ {
					v += votes[bin{k[0] + a, k[1] + b, k[2] + c}] / float64(1+a*a+b*b+c*c)
				}
			}
		}
		if v > top {
			top, best = v, k
		}
	}
	mode := [3]float64{(float64(best[0]) + .5) * 5 / lightWeight, (float64(best[1]) + .5) * 5, (float64(best[2]) + .5) * 5}
	for i := range cand {
		cand[i].w /= max(count[cand[i].block], 0.2*full)
	}
	mode = shift(mode, cand, 10, func(*candidate) float64 { return 1 })
	m := &material{step: cell, nx: nx + 1, ny: ny + 1}
	sig := 1.5 * cell
	byBlock := make([][]candidate, nx*ny)
	for _, c := range cand {
		byBlock[c.block] = append(byBlock[c.block], c)
	}
	const far = 4
	for j := range m.ny {
		for i := range m.nx {
			px, py := float64(i)*cell, float64(j)*cell
			var near []candidate
			for bj := max(0, j-far); bj < min(ny, j+far); bj++ {
				for bi := max(0, i-far); bi < min(nx, i+far); bi++ {
					near = append(near, byBlock[bj*nx+bi]...)
				}
			}
			m.lab = append(m.lab, shift(mode, near, 8, func(c *candidate) float64 {
				return math.Exp(-((c.x-px)*(c.x-px) + (c.y-py)*(c.y-py)) / (2 * sig * sig))
			}))
		}
	}
	var ds []float64
	for i := range cand {
		d := math.Sqrt(labDist2(cand[i].lab, m.at(cand[i].x, cand[i].y)))
		if d < 15 {
			ds = append(ds, d)
		}
	}
	sort.Float64s(ds)
	if len(ds) > 0 {
		m.spread = ds[len(ds)/2]
	}
	return m
}

// shift moves mode to the centre of the candidates around it: mean shift with a Gaussian kernel of bandwidth h,
// Comaniciu and Meer (2002), IEEE Trans. PAMI 24(5), 603-619 (from memory).
func shift(mode [3]float64, cand []candidate, h float64, weight func(*candidate) float64) [3]float64 {
	ws := make([]float64, len(cand))
	for i := range cand {
		ws[i] = cand[i].w * weight(&cand[i])
	}
	for range 25 {
		var sum [3]float64
		var sw float64
		for i := range cand {
			d := labDist2(cand[i].lab, mode)
			if d > 9*h*h {
				continue
			}
			w := ws[i] * math.Exp(-d/(2*h*h))
			sw += w
			for c := range 3 {
				sum[c] += w * cand[i].lab[c]
			}
		}
		if sw < 1e-9 {
			return mode
		}
		var next [3]float64
		for c := range 3 {
			next[c] = sum[c] / sw
		}
		done := labDist2(next, mode) < 1e-3
		mode = next
		if done {
			break
		}
	}
	return mode
}

// at returns the joint colour at a sheet position.
func (m *material) at(x, y float64) [3]float64 {
	u, v := min(max(x/m.step, 0), float64(m.nx-1)-1e-9), min(max(y/m.step, 0), float64(m.ny-1)-1e-9)
	i, j := int(u), int(v)
	fu, fv := u-float64(i), v-float64(j)
	var out [3]float64
	for c := range 3 {
		a := m.lab[j*m.nx+i][c]*(1-fu) + m.lab[j*m.nx+i+1][c]*fu
		b := m.lab[(j+1)*m.nx+i][c]*(1-fu) + m.lab[(j+1)*m.nx+i+1][c]*fu
		out[c] = a*(1-fv) + b*fv
	}
	return out
}

// distance returns every pixel's distance from the joint colour in the light or in the shade, CIELAB units with lightness
// weighted.
func (m *material) distance(s *sheet, smooth [3][]float32) []float32 {
	out := make([]float32, s.w*s.h)
	rows(s.h, func(a, b int) {
		for y := a; y < b; y++ {
			var c [len(shades)][3]float64
			for x := range s.w {
				if x%8 == 0 {
					c[0] = m.at(float64(x)+4, float64(y))
					for k := 1; k < len(c); k++ {
						c[k] = shaded(c[0], shades[k])
					}
				}
				i := y*s.w + x
				p := [3]float64{float64(smooth[0][i]), float64(smooth[1][i]), float64(smooth[2][i])}
				d := math.Sqrt(labDist2(p, c[0]))
				for k := 1; k < len(c); k++ {
					d = min(d, math.Sqrt(labDist2(p, c[k]))+shadePrice*float64(k))
				}
				out[i] = float32(d)
			}
		}
	})
	return out
}

// shades are the shares of the light under which the joint colour is known again: a cast shadow leaves less than half of
// it. Brighter ones would take pale tiles for joints.
var shades = [5]float64{1, 0.8, 0.64, 0.51, 0.41}

// shadePrice is what every step of shade adds to the distance, CIELAB units, so that a dark neutral tile is not taken for a
// joint in the shade. Measured on rendered views in even light and under cast shadows: 0.7 finds most tiles in
// both; 1.5 and 2.5 lose some in shadows, 0.35 some grey tiles.
const shadePrice = 0.7

// shaded returns a CIELAB colour under the share k of the light: X, Y and Z all scale.
func shaded(c [3]float64, k float64) [3]float64 {
	f := math.Cbrt(k)
	return [3]float64{(c[0]+16)*f - 16, c[1] * f, c[2] * f}
}
