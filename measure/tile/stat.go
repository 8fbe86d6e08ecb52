package tile

import (
	"cmp"
	"math"
	"slices"
	"sort"
)

func sortInts(v []int)    { slices.Sort(v) }
func sortInt32(v []int32) { slices.Sort(v) }

// sortedKeys returns a map's keys in the order of less: no result may hang on map order.
func sortedKeys[K comparable, V any](m map[K]V, less func(a, b K) bool) []K {
	keys := make([]K, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	sort.Slice(keys, func(i, j int) bool { return less(keys[i], keys[j]) })
	return keys
}

// quantile returns the q quantile of v (Hyndman & Fan type 7), reordering v; NaN of nothing.
func quantile[T cmp.Ordered](v []T, q float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	slices.Sort(v)
	p := q * float64(len(v)-1)
	i := int(math.Floor(p))
	if i >= len(v)-1 {
		return num(v[len(v)-1])
	}
	f := p - float64(i)
	return num(v[i])*(1-f) + num(v[i+1])*f
}

func num[T cmp.Ordered](v T) float64 {
	switch x := any(v).(type) {
	case float64:
		return x
	case float32:
		return float64(x)
	}
	return math.NaN()
}

// median returns the median of v, reordering v; NaN of nothing.
func median[T cmp.Ordered](v []T) float64 { return quantile(v, 0.5) }

// kth returns the k-th smallest of v (k from 0), the largest when there are fewer, NaN of nothing. v is reordered.
func kth(v []float64, k int) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	slices.Sort(v)
	return v[min(k, len(v)-1)]
}
