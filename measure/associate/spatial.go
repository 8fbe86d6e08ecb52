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

// reach is how many joints apart tiles are still told apart by their distance; all further pairs are one class (our
// choice: more than twice the patches of the made-up walls it was tried on).
const reach = 20

// variance estimates the variance of the sum over tiles of outcome times exposure when the two have nothing to do with
// each other but neighbouring tiles resemble each other in both: products at each distance, in joints from tile to tile,
// are averaged for both and multiplied.
//
// Clifford, Richardson and Hemon (1989), Biometrics 45, 123-134; Dutilleul (1993), Biometrics 49, 305-314 (from memory).
func (r residuals) variance(views []View) float64 {
	total := 0.0
	for vi, v := range views {
		const far = reach + 1
		var pairs, out, exp [far + 1]float64
		n, sumOut, sumExp := 0.0, 0.0, 0.0
		joints := make([]int, len(v.Tiles)) // 1 + distance from the tile in hand, 0 = not come to
		var queue []int
		for i := range v.Tiles {
			if !r.used[vi][i] {
				continue
			}
			n++
			sumOut += r.outcome[vi][i]
			sumExp += r.exposure[vi][i]
			queue = append(queue[:0], i)
			joints[i] = 1
			for at := 0; at < len(queue); at++ {
				j := queue[at]
				k := joints[j] - 1
				if r.used[vi][j] {
					pairs[k]++
					out[k] += r.outcome[vi][i] * r.outcome[vi][j]
					exp[k] += r.exposure[vi][i] * r.exposure[vi][j]
				}
				if k == reach {
					continue
				}
				for _, next := range v.Tiles[j].Neighbours {
					if joints[next] == 0 {
						joints[next] = joints[j] + 1
						queue = append(queue, next)
					}
				}
			}
			for _, j := range queue {
				joints[j] = 0
			}
		}
		pairs[far], out[far], exp[far] = n*n, sumOut*sumOut, sumExp*sumExp
		for k := range far {
			pairs[far] -= pairs[k]
			out[far] -= out[k]
			exp[far] -= exp[k]
		}
		for k, n := range pairs {
			if n > 0 {
				total += out[k] * exp[k] / n
			}
		}
	}
	return total
}

// normalP returns the two-sided p of a sum with mean 0 and this variance. Student's t with the number of tiles that
// would tell as much on their own (Dutilleul, 1993) was tried and changed nothing: losses are rare, that number is large.
func normalP(u, variance float64) float64 {
	return math.Min(1, 2*distuv.UnitNormal.Survival(math.Abs(u)/math.Sqrt(variance)))
}
