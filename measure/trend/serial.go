package trend

import "math"

// serialInflation returns by how much the variance of S grows when every visit's deviation from the trend resembles the
// one before, at least 1. The likeness is the first autocorrelation of the deviations from the Theil-Sen line in order
// of date, its small-sample bias taken off and only positive values used; it dies away from visit to visit by its own
// power. Under ClaimVisits visits it cannot be told from none and 1 is returned.
//
// Yue and Wang (2004), Water Resources Management 18, 201-218; bias of the autocorrelation of a series with its trend
// taken off: Matalas and Sankarasubramanian (2003), Water Resources Research 39, 1101 (both from memory).
func serialInflation(deviation []float64) float64 {
	n := len(deviation)
	if n < ClaimVisits {
		return 1
	}
	mean := 0.0
	for _, d := range deviation {
		mean += d / float64(n)
	}
	num, den := 0.0, 0.0
	for i, d := range deviation {
		den += (d - mean) * (d - mean)
		if i > 0 {
			num += (d - mean) * (deviation[i-1] - mean)
		}
	}
	if den == 0 {
		return 1
	}
	m := float64(n)
	r := (m*num/den + 2) / (m - 4)
	r = math.Min(math.Max(r, 0), 0.9)
	sum, power := 0.0, 1.0
	for k := 1; k < n; k++ {
		power *= r
		sum += (1 - float64(k)/m) * power
	}
	return 1 + 2*sum
}
