// Package glaze tells a glaze's own colour apart from what lies on it and from the light it is seen in.
package glaze

import (
	"math"
	"slices"

	"tilelapse/measure/middle"
)

// LowMode returns the place where values crowd at the low end: the mode of what is left after the upper part has been
// set aside. Values need not be sorted; they are not changed. NaN when there are none.
//
// Scale can only add whiteness: of a tile's whitenesses the clean glaze is the lowest crowd, with noise on both sides,
// and scale a tail above it. The crowd is found by halving (half-sample mode, Bickel & Frühwirth (2006), Comput. Stat.
// Data Anal. 50(12), 3500-3530), at a window no narrower than width.
func LowMode(values []float64, width float64) float64 {
	v := slices.Clone(values)
	v = slices.DeleteFunc(v, math.IsNaN)
	if len(v) == 0 {
		return math.NaN()
	}
	slices.Sort(v)
	for len(v) > 3 {
		n := (len(v) + 1) / 2
		best, at := math.Inf(1), 0
		for i := 0; i+n <= len(v); i++ {
			// the lower of equally crowded halves
			if d := v[i+n-1] - v[i]; d < best-1e-12 {
				best, at = d, i
			}
		}
		v = v[at : at+n]
		if best <= width {
			break
		}
	}
	return Median(v)
}

// Median returns the median, the mean of the two middle values for even counts; NaN for none. v is not changed.
func Median(v []float64) float64 { return middle.Of(v) }

// Quantile returns the p-quantile of sorted values (Hyndman & Fan type 7); NaN for none.
func Quantile(sorted []float64, p float64) float64 {
	n := len(sorted)
	if n == 0 {
		return math.NaN()
	}
	h := p * float64(n-1)
	i := int(math.Floor(h))
	if i+1 >= n {
		return sorted[n-1]
	}
	return sorted[i] + (h-float64(i))*(sorted[i+1]-sorted[i])
}
