package associate

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Wilson returns the score interval of a proportion of k out of n independent trials, without continuity correction, at
// a level such as 0.95. Tiles may be counted so, pixels may not: neighbouring pixels are not independent. NaN for n = 0.
//
// Wilson (1927), J. Am. Stat. Assoc. 22, 209-212; NIST/SEMATECH e-Handbook 7.2.4.1.
func Wilson(k, n int, level float64) (lo, hi float64) {
	if n <= 0 {
		return math.NaN(), math.NaN()
	}
	z := distuv.UnitNormal.Quantile((1 + level) / 2)
	m, p := float64(n), float64(k)/float64(n)
	d := 1 + z*z/m
	c := (p + z*z/(2*m)) / d
	h := z / d * math.Sqrt(p*(1-p)/m+z*z/(4*m*m))
	lo, hi = c-h, c+h
	if k == 0 {
		lo = 0
	}
	if k == n {
		hi = 1
	}
	return lo, hi
}
