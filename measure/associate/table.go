package associate

import (
	"math"

	"gonum.org/v1/gonum/stat/combin"
	"gonum.org/v1/gonum/stat/distuv"
)

// Table counts tiles by exposure and outcome.
type Table struct {
	ExposedLost, ExposedKept int
	OtherLost, OtherKept     int
}

// Plus returns the sum of two tables.
func (t Table) Plus(o Table) Table {
	return Table{t.ExposedLost + o.ExposedLost, t.ExposedKept + o.ExposedKept, t.OtherLost + o.OtherLost, t.OtherKept + o.OtherKept}
}

// Informative reports whether the table can tell anything: both exposures and both outcomes occur.
func (t Table) Informative() bool {
	return t.ExposedLost+t.ExposedKept > 0 && t.OtherLost+t.OtherKept > 0 && t.ExposedLost+t.OtherLost > 0 && t.ExposedKept+t.OtherKept > 0
}

// OddsRatio returns the sample odds ratio: 0, +Inf or NaN where cells are empty.
func (t Table) OddsRatio() float64 {
	return float64(t.ExposedLost) * float64(t.OtherKept) / (float64(t.ExposedKept) * float64(t.OtherLost))
}

// Woolf returns the odds ratio and its interval from the logarithm's standard error; when a cell is empty, 0.5 is added
// to each (Woolf, 1955, Ann. Hum. Genet. 19, 251-253; Haldane, 1956, ibid. 20, 309-311). For large counts only: Exact
// serves small ones.
func (t Table) Woolf(level float64) (ratio, lo, hi float64) {
	a, b, c, d := float64(t.ExposedLost), float64(t.ExposedKept), float64(t.OtherLost), float64(t.OtherKept)
	if a == 0 || b == 0 || c == 0 || d == 0 {
		a, b, c, d = a+0.5, b+0.5, c+0.5, d+0.5
	}
	l := math.Log(a * d / (b * c))
	h := distuv.UnitNormal.Quantile((1+level)/2) * math.Sqrt(1/a+1/b+1/c+1/d)
	return math.Exp(l), math.Exp(l - h), math.Exp(l + h)
}

// Exact is the exact conditional law of the number of exposed tiles lost, over one table or several strata.
type Exact struct {
	observed, min int
	p             []float64 // p[k] of min+k when exposure makes no difference
}

// NewExact prepares the exact test of a common odds ratio over strata, each with its own margins held: with one table
// Fisher's test. The law is the convolution of the strata's hypergeometric laws, which is also what an endless number of
// random permutations of the losses within the strata would give.
//
// Fisher (1935); for strata Gart (1970), Biometrika 57, 471-475; Mehta, Patel and Gray (1985), J. Am. Stat. Assoc. 80,
// 969-973 (the last two from memory).
func NewExact(strata ...Table) Exact {
	e := Exact{p: []float64{1}}
	for _, t := range strata {
		e.observed += t.ExposedLost
		exposed, other := t.ExposedLost+t.ExposedKept, t.OtherLost+t.OtherKept
		lost := t.ExposedLost + t.OtherLost
		lo, hi := max(0, lost-other), min(lost, exposed)
		h := make([]float64, hi-lo+1)
		all := combin.LogGeneralizedBinomial(float64(exposed+other), float64(lost))
		for x := lo; x <= hi; x++ {
			h[x-lo] = math.Exp(combin.LogGeneralizedBinomial(float64(exposed), float64(x)) +
				combin.LogGeneralizedBinomial(float64(other), float64(lost-x)) - all)
		}
		e.min += lo
		e.p = convolve(e.p, h)
	}
	return e
}

func convolve(a, b []float64) []float64 {
	r := make([]float64, len(a)+len(b)-1)
	for i, x := range a {
		for j, y := range b {
			r[i+j] += x * y
		}
	}
	return r
}

// Expected returns the mean number of exposed tiles lost if exposure made no difference.
func (e Exact) Expected() float64 { return e.mean(0) }

// Greater returns the chance of as many exposed tiles lost or more, if exposure made no difference.
func (e Exact) Greater() float64 { return math.Min(1, e.upper(0)) }

// Less returns the chance of as many or fewer.
func (e Exact) Less() float64 { return math.Min(1, e.lower(0)) }

// TwoSided returns the chance of an outcome no likelier than the one seen (relative slack 1e-7 between probabilities,
// common practice).
func (e Exact) TwoSided() float64 {
	seen := e.p[e.observed-e.min] * (1 + 1e-7)
	sum := 0.0
	for _, p := range e.p {
		if p <= seen {
			sum += p
		}
	}
	return math.Min(1, sum)
}

// OddsRatio returns the conditional maximum likelihood estimate of the common odds ratio; 0 or +Inf at the ends, NaN
// when the margins leave no choice.
func (e Exact) OddsRatio() float64 {
	switch {
	case len(e.p) == 1:
		return math.NaN()
	case e.observed == e.min:
		return 0
	case e.observed == e.min+len(e.p)-1:
		return math.Inf(1)
	}
	return math.Exp(root(func(l float64) float64 { return e.mean(l) - float64(e.observed) }))
}

// Interval returns the exact interval of the odds ratio, each end by its own tail of (1-level)/2, from 0 to +Inf when
// the margins leave no choice.
func (e Exact) Interval(level float64) (lo, hi float64) {
	tail := (1 - level) / 2
	lo, hi = 0, math.Inf(1)
	if e.observed > e.min {
		lo = math.Exp(root(func(l float64) float64 { return e.upper(l) - tail }))
	}
	if e.observed < e.min+len(e.p)-1 {
		hi = math.Exp(root(func(l float64) float64 { return tail - e.lower(l) }))
	}
	return lo, hi
}

// tilted returns the law when the logarithm of the odds ratio is l.
func (e Exact) tilted(l float64) []float64 {
	if l == 0 {
		return e.p
	}
	w := make([]float64, len(e.p))
	top := math.Inf(-1)
	for k, p := range e.p {
		w[k] = math.Log(p) + l*float64(k)
		top = math.Max(top, w[k])
	}
	sum := 0.0
	for k := range w {
		w[k] = math.Exp(w[k] - top)
		sum += w[k]
	}
	for k := range w {
		w[k] /= sum
	}
	return w
}

func (e Exact) upper(l float64) float64 {
	sum := 0.0
	for k, p := range e.tilted(l) {
		if e.min+k >= e.observed {
			sum += p
		}
	}
	return sum
}

func (e Exact) lower(l float64) float64 {
	sum := 0.0
	for k, p := range e.tilted(l) {
		if e.min+k <= e.observed {
			sum += p
		}
	}
	return sum
}

func (e Exact) mean(l float64) float64 {
	sum := float64(e.min)
	for k, p := range e.tilted(l) {
		sum += p * float64(k)
	}
	return sum
}

// root bisects a rising function of the logarithm of an odds ratio between e^-50 and e^50.
func root(f func(l float64) float64) float64 {
	lo, hi := -50.0, 50.0
	for range 200 {
		m := (lo + hi) / 2
		if f(m) < 0 {
			lo = m
		} else {
			hi = m
		}
	}
	return (lo + hi) / 2
}
