package associate

import (
	"math"
	"slices"
)

// Holm returns p-values adjusted for their number, in the order given: the chance of any false finding among all of
// them stays under the level the adjusted value is held against. NaN entries are tests not made and do not count.
//
// Holm (1979), Scand. J. Stat. 6, 65-70.
func Holm(p []float64) []float64 {
	order := ascending(p)
	r := nans(len(p))
	worst := 0.0
	for rank, i := range order {
		worst = math.Max(worst, float64(len(order)-rank)*p[i])
		r[i] = math.Min(worst, 1)
	}
	return r
}

// BenjaminiHochberg returns p-values adjusted so that the expected share of false findings among the findings stays
// under the level, in the order given. NaN entries do not count.
//
// Benjamini and Hochberg (1995), J. R. Stat. Soc. B 57, 289-300.
func BenjaminiHochberg(p []float64) []float64 {
	order := ascending(p)
	r := nans(len(p))
	best := 1.0
	for rank := len(order) - 1; rank >= 0; rank-- {
		i := order[rank]
		best = math.Min(best, p[i]*float64(len(order))/float64(rank+1))
		r[i] = best
	}
	return r
}

func ascending(p []float64) []int {
	var order []int
	for i, v := range p {
		if !math.IsNaN(v) {
			order = append(order, i)
		}
	}
	slices.SortStableFunc(order, func(a, b int) int {
		switch {
		case p[a] < p[b]:
			return -1
		case p[a] > p[b]:
			return 1
		}
		return 0
	})
	return order
}

func nans(n int) []float64 {
	r := make([]float64, n)
	for i := range r {
		r[i] = math.NaN()
	}
	return r
}
