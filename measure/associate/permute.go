package associate

import (
	"math"
	"math/rand"
	"slices"
)

// Options of the tests that draw permutations.
type Options struct {
	Permutations int   // at least 99; 9999 resolves p to 0.0001
	Seed         int64 // fixed, so that a run can be repeated
}

// DefaultOptions returns 9999 permutations and a fixed seed.
func DefaultOptions() Options { return Options{Permutations: 9999, Seed: 20} }

// Together is how often losses of the same reading were neighbours.
type Together struct {
	Pairs    int     // neighbouring pairs lost at the same reading
	Expected float64 // mean over permutations
	Lo, Hi   int     // the middle 95 % of the permutations
	P        float64 // two-sided: twice the smaller tail, at most 1
}

// together permutes the losses within their groups and counts neighbouring pairs lost at the same reading.
func together(views []View, groups [][]atRisk, o Options) Together {
	lostAt := make([][]int, len(views))
	for i, v := range views {
		lostAt[i] = make([]int, len(v.Tiles))
	}
	var losses []atRisk
	lost := make([]int, len(groups))
	for i, g := range groups {
		for _, c := range g {
			if c.lost {
				losses = append(losses, c)
				lost[i]++
			}
		}
	}
	count := func(l []atRisk) int {
		for _, c := range l {
			lostAt[c.group.view][c.tile] = c.group.to + 1
		}
		n := 0
		for _, c := range l {
			for _, k := range views[c.group.view].Tiles[c.tile].Neighbours {
				if k > c.tile && lostAt[c.group.view][k] == c.group.to+1 {
					n++
				}
			}
		}
		for _, c := range l {
			lostAt[c.group.view][c.tile] = 0
		}
		return n
	}
	t := Together{Pairs: count(losses)}
	rng := rand.New(rand.NewSource(o.Seed))
	counts := make([]int, o.Permutations)
	more, fewer := 1, 1
	draw := make([]atRisk, 0, len(losses))
	pool := make([][]atRisk, len(groups))
	for i, g := range groups {
		pool[i] = slices.Clone(g)
	}
	for p := range counts {
		draw = draw[:0]
		for i, g := range pool {
			for k := 0; k < lost[i]; k++ {
				j := k + rng.Intn(len(g)-k)
				g[k], g[j] = g[j], g[k]
				draw = append(draw, g[k])
			}
		}
		// One tile can be drawn for two readings; it counts at the later one. Rare, and the same on both sides of no
		// difference.
		counts[p] = count(draw)
		t.Expected += float64(counts[p]) / float64(o.Permutations)
		if counts[p] >= t.Pairs {
			more++
		}
		if counts[p] <= t.Pairs {
			fewer++
		}
	}
	slices.Sort(counts)
	t.Lo, t.Hi = counts[int(0.025*float64(o.Permutations))], counts[int(0.975*float64(o.Permutations))]
	t.P = math.Min(1, 2*float64(min(more, fewer))/float64(o.Permutations+1))
	return t
}

// Survival compares how long two groups of tiles stayed.
type Survival struct {
	LogRank LogRank
	Ratio   float64 // of the hazards, exposed over others: exp((O-E)/V), Yusuf et al. (1985), from memory
	Lo, Hi  float64
	Curves  [2]Curve // of the other [0] and the exposed [1] tiles, all strata together; set by the test
	N       [2]int
	P       float64 // two-sided, by permutation of the exposure within strata
}

// newSurvival runs the stratified log-rank test with a permutation p-value, which also holds for few losses: observed
// minus expected is the sum over exposed tiles of loss minus pooled cumulative hazard.
func newSurvival(members []Member, o Options) Survival {
	s := Survival{LogRank: NewLogRank(members), Ratio: math.NaN(), Lo: math.NaN(), Hi: math.NaN(), P: math.NaN()}
	for _, m := range members {
		g := 0
		if m.Exposed {
			g = 1
		}
		s.N[g]++
	}
	if !(s.LogRank.Variance > 0) {
		return s
	}
	u, v := s.LogRank.Observed[1]-s.LogRank.Expected[1], s.LogRank.Variance
	s.Ratio = math.Exp(u / v)
	s.Lo, s.Hi = math.Exp(u/v-1.959964/math.Sqrt(v)), math.Exp(u/v+1.959964/math.Sqrt(v))

	rng := rand.New(rand.NewSource(o.Seed))
	var scores [][]float64
	var exposed []int
	for _, m := range byStratum(members) {
		sc, n := scoresOf(m)
		if n > 0 && n < len(m) && m[len(m)-1].Time > 0 {
			scores, exposed = append(scores, sc), append(exposed, n)
		}
	}
	as := 1
	for range o.Permutations {
		sum := 0.0
		for i, sc := range scores {
			for k := 0; k < exposed[i]; k++ {
				j := k + rng.Intn(len(sc)-k)
				sc[k], sc[j] = sc[j], sc[k]
				sum += sc[k]
			}
		}
		if math.Abs(sum) >= math.Abs(u)-1e-9 {
			as++
		}
	}
	s.P = float64(as) / float64(o.Permutations+1)
	return s
}

// scoresOf returns loss minus Nelson-Aalen cumulative hazard of each member of a stratum in order of time, and how many
// are exposed.
func scoresOf(m []Member) (scores []float64, exposed int) {
	hazard := 0.0
	for i := 0; i < len(m); {
		d, j := 0.0, i
		for ; j < len(m) && m[j].Time == m[i].Time; j++ {
			if m[j].Lost {
				d++
			}
		}
		hazard += d / float64(len(m)-i)
		for ; i < j; i++ {
			sc := -hazard
			if m[i].Lost {
				sc++
			}
			scores = append(scores, sc)
			if m[i].Exposed {
				exposed++
			}
		}
	}
	return scores, exposed
}
