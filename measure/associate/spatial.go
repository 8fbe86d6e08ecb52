package associate

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// residuals holds, for every tile of every view, what is left of outcome and exposure after each group's mean is taken
// off; used marks tiles that take part.
type residuals struct {
	outcome, exposure [][]float64
	used              [][]bool
	sum               float64 // of outcome times exposure
	alone             float64 // its variance if every tile were on its own
}

func newResiduals(views []View) residuals {
	var r residuals
	for _, v := range views {
		r.outcome = append(r.outcome, make([]float64, len(v.Tiles)))
		r.exposure = append(r.exposure, make([]float64, len(v.Tiles)))
		r.used = append(r.used, make([]bool, len(v.Tiles)))
	}
	return r
}

// residualsOfGroups takes loss against exposure in each group. A tile followed more than once has its losses' residuals
// added and its exposures' averaged.
func residualsOfGroups(views []View, groups [][]atRisk) residuals {
	r := newResiduals(views)
	times := newResiduals(views).exposure
	for _, g := range groups {
		lost, exposed, n := 0.0, 0.0, float64(len(g))
		for _, c := range g {
			lost += one(c.lost)
			exposed += one(c.exposed)
		}
		if lost == 0 || exposed == 0 || lost == n || exposed == n {
			continue
		}
		r.alone += lost * exposed * (n - lost) * (n - exposed) / (n * n * (n - 1))
		for _, c := range g {
			a, b := one(c.lost)-lost/n, one(c.exposed)-exposed/n
			r.add(c.group.view, c.tile, a, b)
			times[c.group.view][c.tile]++
		}
	}
	for k := range times {
		for i, n := range times[k] {
			if n > 0 {
				r.exposure[k][i] /= n
			}
		}
	}
	return r
}

// residualsOfMembers takes log-rank scores against exposure in each stratum.
func residualsOfMembers(views []View, members []Member) residuals {
	r := newResiduals(views)
	for _, m := range byStratum(members) {
		scores, exposed := scoresOf(m)
		n, q := float64(len(m)), float64(exposed)
		if q == 0 || q == n {
			continue
		}
		squares := 0.0
		for i, x := range m {
			r.add(x.view, x.tile, scores[i], one(x.Exposed)-q/n)
			squares += scores[i] * scores[i]
		}
		r.alone += squares * q * (n - q) / (n * (n - 1))
	}
	return r
}

func (r *residuals) add(view, tile int, outcome, exposure float64) {
	r.sum += outcome * exposure
	r.used[view][tile] = true
	r.outcome[view][tile] += outcome
	r.exposure[view][tile] += exposure
}

func one(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// variance estimates the variance of the sum over tiles of outcome times exposure when the two have nothing to do with
// each other but neighbouring tiles resemble each other in both: products at each distance, in steps of the usual
// distance of neighbours, are averaged for both and multiplied.
//
// Clifford, Richardson and Hemon (1989), Biometrics 45, 123-134; Dutilleul (1993), Biometrics 49, 305-314 (from memory).
func (r residuals) variance(views []View) float64 {
	total := 0.0
	for vi, v := range views {
		unit := v.spacing()
		var pairs, out, exp []float64
		for i := range v.Tiles {
			if !r.used[vi][i] {
				continue
			}
			for j := i; j < len(v.Tiles); j++ {
				if !r.used[vi][j] {
					continue
				}
				k, w := 0, 1.0
				if i != j {
					k, w = 1, 2
					if unit > 0 {
						k = max(1, int(math.Hypot(v.Tiles[i].X-v.Tiles[j].X, v.Tiles[i].Y-v.Tiles[j].Y)/unit+0.5))
					}
				}
				for k >= len(pairs) {
					pairs, out, exp = append(pairs, 0), append(out, 0), append(exp, 0)
				}
				pairs[k] += w
				out[k] += w * r.outcome[vi][i] * r.outcome[vi][j]
				exp[k] += w * r.exposure[vi][i] * r.exposure[vi][j]
			}
		}
		for k, n := range pairs {
			if n > 0 {
				total += out[k] * exp[k] / n
			}
		}
	}
	return total
}

// spacing returns the median distance of neighbouring tiles' centroids, px; 0 without neighbours.
func (v View) spacing() float64 {
	var d []float64
	for i, t := range v.Tiles {
		for _, n := range t.Neighbours {
			if n > i {
				d = append(d, math.Hypot(t.X-v.Tiles[n].X, t.Y-v.Tiles[n].Y))
			}
		}
	}
	if len(d) == 0 {
		return 0
	}
	return middle(d)
}

// normalP returns the two-sided p of a sum with mean 0 and this variance.
func normalP(u, variance float64) float64 {
	return math.Min(1, 2*distuv.UnitNormal.Survival(math.Abs(u)/math.Sqrt(variance)))
}
