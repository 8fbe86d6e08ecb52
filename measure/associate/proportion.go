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

// ClopperPearson returns the exact interval of a proportion of k out of n independent trials, which holds its level at
// every true proportion and is therefore wider than Wilson's. NaN for n = 0.
//
// Clopper and Pearson (1934), Biometrika 26, 404-413; NIST/SEMATECH e-Handbook 7.2.4.2.
func ClopperPearson(k, n int, level float64) (lo, hi float64) {
	if n <= 0 {
		return math.NaN(), math.NaN()
	}
	tail, hi := (1-level)/2, 1.0
	if k > 0 {
		lo = distuv.Beta{Alpha: float64(k), Beta: float64(n - k + 1)}.Quantile(tail)
	}
	if k < n {
		hi = distuv.Beta{Alpha: float64(k + 1), Beta: float64(n - k)}.Quantile(1 - tail)
	}
	return lo, hi
}
