package trend

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// ExactVisits is the largest number of visits for which the reported p-value is exact; above it the normal
// approximation is used (Gilbert, 1987, Statistical Methods for Environmental Pollution Monitoring, section 16.4).
const ExactVisits = 10

// enumerateVisits is the largest number of visits whose orders are all tried one by one (8! = 40 320), needed where
// dates overlap.
const enumerateVisits = 8

// Words for how a p-value was found.
const (
	Exact  = "exact"
	Normal = "normal" // corrected for ties
)

// Kendall is the outcome of a Mann-Kendall test. NaN = not available.
type Kendall struct {
	N       int
	S       int     // pairs that rise minus pairs that fall
	Pairs   int     // pairs whose order in time is known
	VarS    float64 // variance of S over all orders of the values, ties corrected
	Z       float64 // with continuity correction
	PNormal float64 // two-sided, from Z
	PExact  float64 // two-sided, over all orders of the values
	P       float64 // the one to report
	How     string  // how P was found: Exact or Normal
	TauA    float64 // 2S/(n(n-1))
	TauB    float64 // S over the geometric mean of the untied pairs in time and in value
}

// MannKendall tests whether y goes one way with x, both of the same length, without NaN; pairs with equal x are not
// ordered. P is exact up to ExactVisits values (with ties too), else normal. Fewer than 2 values give NaN.
//
// Mann (1945), Econometrica 13, 245-259; Kendall (1975), Rank Correlation Methods. The variance is that of the general
// rank correlation under permutation, Daniels (1944), Biometrika 33, 129-135 (formula from memory; it reproduces the
// tie-corrected variance of the published examples).
func MannKendall(x, y []float64) Kendall {
	return kendall(signsOf(x), y)
}

// signs holds, for every pair i, j, +1 when j comes after i, -1 before, 0 where the order is not known.
type signs [][]int8

func signsOf(x []float64) signs {
	return newSigns(len(x), func(i, j int) bool { return x[i] < x[j] })
}

func newSigns(n int, before func(i, j int) bool) signs {
	s := make(signs, n)
	for i := range s {
		s[i] = make([]int8, n)
		for j := range s[i] {
			switch {
			case i == j:
			case before(i, j):
				s[i][j] = 1
			case before(j, i):
				s[i][j] = -1
			}
		}
	}
	return s
}

func kendall(time signs, y []float64) Kendall {
	n := len(y)
	nan := math.NaN()
	k := Kendall{N: n, VarS: nan, Z: nan, PNormal: nan, PExact: nan, P: nan, TauA: nan, TauB: nan}
	if n < 2 {
		return k
	}
	value := signsOf(y)
	untied := 0
	for i := range y {
		for j := i + 1; j < n; j++ {
			k.S += int(time[i][j]) * int(value[i][j])
			k.Pairs += abs(int(time[i][j]))
			untied += abs(int(value[i][j]))
		}
	}
	k.VarS = permutationVariance(time, value)
	k.TauA = 2 * float64(k.S) / float64(n*(n-1))
	if k.Pairs > 0 && untied > 0 {
		k.TauB = float64(k.S) / math.Sqrt(float64(k.Pairs)*float64(untied))
	}
	k.Z, k.PNormal = normalScore(k.S, k.VarS)
	k.P, k.How = k.PNormal, Normal
	if d := exactS(time, value); d != nil {
		k.PExact = d.twoSided(k.S)
		if n <= ExactVisits {
			k.P, k.How = k.PExact, Exact
		}
	}
	return k
}

// normalScore returns Z with continuity correction and its two-sided p. Without variance nothing can be told: p = 1.
func normalScore(s int, variance float64) (z, p float64) {
	if !(variance > 0) {
		return 0, 1
	}
	switch {
	case s > 0:
		z = float64(s-1) / math.Sqrt(variance)
	case s < 0:
		z = float64(s+1) / math.Sqrt(variance)
	}
	return z, math.Min(1, 2*distuv.UnitNormal.Survival(math.Abs(z)))
}

// permutationVariance is the variance of S over all permutations of the values against the times.
func permutationVariance(a, b signs) float64 {
	n := float64(len(a))
	rowsA, allA := squares(a)
	rowsB, allB := squares(b)
	v := 2 * allA * allB / (n * (n - 1))
	if n > 2 {
		v += 4 * (rowsA - allA) * (rowsB - allB) / (n * (n - 1) * (n - 2))
	}
	return v / 4 // the formula counts each pair twice
}

// squares returns the sum over rows of the squared row sum, and the sum of all squared entries.
func squares(a signs) (rows, all float64) {
	for i := range a {
		sum := 0
		for _, v := range a[i] {
			sum += int(v)
			all += float64(int(v) * int(v))
		}
		rows += float64(sum * sum)
	}
	return rows, all
}

func abs(i int) int {
	if i < 0 {
		return -i
	}
	return i
}
