// Package middle holds the median, which every part of measuring takes of something.
package middle

import (
	"math"
	"slices"
)

// Of returns the median of values in any order, the mean of the two middle ones for even counts; NaN for none, or when
// one of them is NaN. v is not changed.
func Of(v []float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	s := slices.Clone(v)
	slices.Sort(s) // NaN first
	if math.IsNaN(s[0]) {
		return s[0]
	}
	n := len(s)
	if n%2 == 1 {
		return s[n/2]
	}
	return (s[n/2-1] + s[n/2]) / 2
}
