package trend

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"

	"tilelapse/measure/middle"
)

// Ranks is the convention by which the ends of the slope's interval are picked from the sorted slopes of all pairs.
// With ten visits the convention matters more than the last digit of the data, so it is named beside the interval.
type Ranks string

// The rank conventions.
const (
	// ExactRanks takes whole ranks from the exact law of S, so that the level is at least the one stated (Hollander and
	// Wolfe, 1973, Nonparametric Statistical Methods, section 9.3; from memory). No interval exists under five visits.
	ExactRanks Ranks = "exact"
	// GilbertRanks takes the ranks (N-C)/2 and (N+C)/2+1, C = z sqrt(var S), and interpolates between neighbouring slopes
	// (Gilbert, 1987, section 16.5, as published with worked examples).
	GilbertRanks Ranks = "interpolated"
)

// Slope is a Theil-Sen slope with its interval. NaN = not available.
type Slope struct {
	PerUnit float64 // of y for one unit of x
	Lo, Hi  float64 // at Level
	Centre  struct{ X, Y float64 }
	Pairs   int // slopes the median was taken of
	Ranks   Ranks
}

// At returns the line's value at x: the line goes through the medians of x and y (Conover's intercept).
func (s Slope) At(x float64) float64 { return s.Centre.Y + s.PerUnit*(x-s.Centre.X) }

// RanksFor returns the convention used for a number of visits: exact up to ExactVisits, interpolated above.
func RanksFor(visits int) Ranks {
	if visits <= ExactVisits {
		return ExactRanks
	}
	return GilbertRanks
}

// TheilSen returns the median of the slopes of all pairs with different x, and its interval by the given convention.
// x and y have the same length and no NaN. Without any pair the slope is NaN.
//
// Theil (1950), Proc. Kon. Ned. Akad. Wetensch. A 53; Sen (1968), J. Am. Stat. Assoc. 63, 1379-1389.
func TheilSen(x, y []float64, ranks Ranks) Slope {
	return theilSen(signsOf(x), x, y, ranks)
}

func theilSen(time signs, x, y []float64, ranks Ranks) Slope {
	nan := math.NaN()
	s := Slope{PerUnit: nan, Lo: nan, Hi: nan, Ranks: ranks}
	if len(x) == 0 {
		return s
	}
	s.Centre.X, s.Centre.Y = middle.Of(x), middle.Of(y)
	slopes := pairSlopes(time, x, y)
	s.Pairs = len(slopes)
	if s.Pairs == 0 {
		return s
	}
	s.PerUnit = middle.Of(slopes)
	slices.Sort(slopes)
	n := float64(s.Pairs)
	tail := (1 - Level) / 2
	if ranks == ExactRanks {
		// The interval's law is that of values without ties.
		distinct := make([]float64, len(y))
		for i := range distinct {
			distinct[i] = float64(i)
		}
		if law := exactS(time, signsOf(distinct)); law != nil {
			if k, ok := law.critical(tail); ok {
				c := float64(k - 2)
				// With ordered pairs only in part, S and their number may differ in parity: round outwards.
				s.Lo = at(slopes, math.Floor((n-c)/2))
				s.Hi = at(slopes, math.Ceil((n+c)/2)+1)
			}
			return s
		}
		s.Ranks = GilbertRanks
	}
	c := distuv.UnitNormal.Quantile(1-tail) * math.Sqrt(permutationVariance(time, signsOf(y)))
	s.Lo = at(slopes, (n-c)/2)
	s.Hi = at(slopes, (n+c)/2+1)
	return s
}

func pairSlopes(time signs, x, y []float64) []float64 {
	var slopes []float64
	for i := range x {
		for j := i + 1; j < len(x); j++ {
			if time[i][j] != 0 {
				slopes = append(slopes, (y[j]-y[i])/(x[j]-x[i]))
			}
		}
	}
	return slopes
}

// at returns the sorted value of a 1-based rank, interpolated; NaN when the rank lies outside: then the data do not
// bound the slope at this level.
func at(sorted []float64, rank float64) float64 {
	if rank < 1-slack || rank > float64(len(sorted))+slack {
		return math.NaN()
	}
	lo := int(math.Floor(rank + slack))
	f := rank - float64(lo)
	if lo >= len(sorted) || f <= slack {
		return sorted[min(max(lo, 1), len(sorted))-1]
	}
	return sorted[lo-1] + f*(sorted[lo]-sorted[lo-1])
}
