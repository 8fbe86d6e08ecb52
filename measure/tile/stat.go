package tile

import (
	"cmp"
	"math"
	"slices"
)

// nth puts v's k-th smallest (k from 0) in its place and returns it: Hoare's selection with the middle of three as pivot.
// v is reordered.
func nth[T cmp.Ordered](v []T, k int) T {
	lo, hi := 0, len(v)-1
	for hi-lo > 8 {
		a, b, c := v[lo], v[(lo+hi)/2], v[hi]
		p := max(min(a, b), min(max(a, b), c))
		i, j := lo, hi
		for i <= j {
			for v[i] < p {
				i++
			}
			for p < v[j] {
				j--
			}
			if i <= j {
				v[i], v[j] = v[j], v[i]
				i++
				j--
			}
		}
		switch {
		case k <= j:
			hi = j
		case k >= i:
			lo = i
		default:
			return v[k]
		}
	}
	slices.Sort(v[lo : hi+1])
	return v[k]
}

// quantile returns the q quantile of v (Hyndman & Fan type 7), reordering v; NaN of nothing.
func quantile(v []float64, q float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	p := q * float64(len(v)-1)
	i := int(math.Floor(p))
	a := nth(v, i)
	f := p - float64(i)
	if i >= len(v)-1 || f == 0 {
		return a
	}
	return a*(1-f) + slices.Min(v[i+1:])*f
}

// median returns the median of v, reordering v; NaN of nothing.
func median(v []float64) float64 { return quantile(v, 0.5) }

// middle is the median of v, of an even number the upper one, reordering v; NaN of nothing.
func middle(v []float32) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	return float64(nth(v, len(v)/2))
}

// kth returns the k-th smallest of v (k from 0), the largest when there are fewer, NaN of nothing. v is reordered.
func kth(v []float64, k int) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	return nth(v, min(k, len(v)-1))
}

// chance is the probability that goes with a log odds.
func chance(odds float64) float64 { return 1 / (1 + math.Exp(-odds)) }
