package associate

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// Follow is one tile's time under observation, in any unit: until it was first missed, or until it was last seen.
type Follow struct {
	Time float64
	Lost bool
}

// Step is a point of a survival curve: from Time on the share Surviving holds.
type Step struct {
	Time      float64
	AtRisk    int // just before
	Lost      int
	Surviving float64
	SE        float64 // Greenwood's
	Lo, Hi    float64 // at Level, by the log-log transform
}

// KaplanMeier returns the survival curve, one step a time with a loss.
//
// Kaplan and Meier (1958), J. Am. Stat. Assoc. 53, 457-481; Greenwood (1926); interval by Kalbfleisch and Prentice
// (1980), from memory.
func KaplanMeier(all []Follow) []Step {
	f := sorted(all)
	z := distuv.UnitNormal.Quantile((1 + Level) / 2)
	var steps []Step
	s, g := 1.0, 0.0
	for i := 0; i < len(f); {
		n, d, j := len(f)-i, 0, i
		for ; j < len(f) && f[j].Time == f[i].Time; j++ {
			if f[j].Lost {
				d++
			}
		}
		if d > 0 {
			s *= 1 - float64(d)/float64(n)
			g += float64(d) / (float64(n) * float64(n-d))
			st := Step{Time: f[i].Time, AtRisk: n, Lost: d, Surviving: s, SE: s * math.Sqrt(g), Lo: math.NaN(), Hi: math.NaN()}
			if s > 0 && s < 1 {
				h := z * math.Sqrt(g) / math.Abs(math.Log(s))
				st.Lo, st.Hi = math.Pow(s, math.Exp(h)), math.Pow(s, math.Exp(-h))
			} else if s == 0 {
				st.SE = math.NaN()
			}
			steps = append(steps, st)
		}
		i = j
	}
	return steps
}

// MedianTime returns the first time at which half or fewer survive, NaN when that was not reached.
func MedianTime(curve []Step) float64 {
	for _, s := range curve {
		if s.Surviving <= 0.5+1e-12 {
			return s.Time
		}
	}
	return math.NaN()
}

// At returns the share surviving at a time, 1 before the first step.
func At(curve []Step, time float64) Step {
	last := Step{Surviving: 1, Lo: 1, Hi: 1}
	for _, s := range curve {
		if s.Time > time {
			break
		}
		last = s
	}
	return last
}

func sorted(all []Follow) []Follow {
	f := slices.Clone(all)
	slices.SortStableFunc(f, func(a, b Follow) int { return cmp.Compare(a.Time, b.Time) })
	return f
}

// Member is a tile in a comparison of two groups.
type Member struct {
	Follow
	Exposed bool
	Stratum int // compared only within the same number

	view, tile int // where it stands, for the likeness of neighbours
}

// LogRank compares how long two groups survive.
type LogRank struct {
	Observed, Expected [2]float64 // losses of the other [0] and the exposed [1] tiles
	Variance           float64
	ChiSquared         float64 // one degree of freedom; NaN without variance
	P                  float64 // from ChiSquared
}

// NewLogRank runs the log-rank test, stratified: risk sets are formed within each stratum.
//
// Mantel (1966), Cancer Chemother. Rep. 50, 163-170; Peto and Peto (1972), J. R. Stat. Soc. A 135, 185-207.
func NewLogRank(members []Member) LogRank {
	r := LogRank{ChiSquared: math.NaN(), P: math.NaN()}
	for _, m := range byStratum(members) {
		for i := 0; i < len(m); {
			n := float64(len(m) - i)
			n1, d, d1, j := 0.0, 0.0, 0.0, i
			for _, x := range m[i:] {
				if x.Exposed {
					n1++
				}
			}
			for ; j < len(m) && m[j].Time == m[i].Time; j++ {
				if m[j].Lost {
					d++
					if m[j].Exposed {
						d1++
					}
				}
			}
			r.Observed[1] += d1
			r.Observed[0] += d - d1
			r.Expected[1] += d * n1 / n
			r.Expected[0] += d * (n - n1) / n
			if n > 1 {
				r.Variance += d * (n1 / n) * (1 - n1/n) * (n - d) / (n - 1)
			}
			i = j
		}
	}
	if r.Variance > 0 {
		u := r.Observed[1] - r.Expected[1]
		r.ChiSquared = u * u / r.Variance
		r.P = distuv.ChiSquared{K: 1}.Survival(r.ChiSquared)
	}
	return r
}

// byStratum returns the members of each stratum in order of time, strata in order of number.
func byStratum(members []Member) [][]Member {
	m := slices.Clone(members)
	slices.SortStableFunc(m, func(a, b Member) int {
		return cmp.Or(cmp.Compare(a.Stratum, b.Stratum), cmp.Compare(a.Time, b.Time))
	})
	var r [][]Member
	for i, x := range m {
		if i == 0 || x.Stratum != m[i-1].Stratum {
			r = append(r, nil)
		}
		r[len(r)-1] = append(r[len(r)-1], x)
	}
	return r
}
