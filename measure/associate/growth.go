package associate

import (
	"cmp"
	"math"
	"math/rand"
	"slices"

	"tilelapse/measure/middle"
	"tilelapse/measure/trend"
)

// Growth is how fast one zone's whitening grew between two visits in a row, on the tiles read in both.
type Growth struct {
	View, Zone string
	From, To   trend.Span
	PerYear    float64 // of the measure, NaN = not comparable
	Work       bool    // the file has an entry of work between the two visits
	Cleaned    bool    // one of these is a cleaning: the growth is net of what it removed
	Silent     bool    // the file covers all the time between and has no entry of work; neither = not used
}

// Growths lists the growth between the visits of a zone's series, in order of date, with what the upkeep file holds
// about each time. Pairs whose dates overlap, or that an entry's date touches, are not used.
func Growths(view, zone string, points []trend.Point, entries []trend.Entry, record trend.Record) []Growth {
	var p []trend.Point
	for _, q := range points {
		if !math.IsNaN(q.Value) {
			p = append(p, q)
		}
	}
	slices.SortStableFunc(p, func(a, b trend.Point) int {
		return cmp.Or(cmp.Compare(a.When.From, b.When.From), cmp.Compare(a.When.To, b.When.To))
	})
	var r []Growth
	for i := 1; i < len(p); i++ {
		a, b := p[i-1].When, p[i].When
		if !a.Before(b) {
			continue
		}
		g := Growth{View: view, Zone: zone, From: a, To: b, PerYear: (p[i].Value - p[i-1].Value) / (b.Mid() - a.Mid()) * trend.YearDays}
		g.Silent = record.Silent(entries, trend.Span{From: a.From, To: b.To})
		for _, e := range entries {
			between := e.IsWork() && a.Before(e.When) && e.When.Before(b)
			g.Work = g.Work || between
			g.Cleaned = g.Cleaned || between && e.Kind == "clean"
		}
		r = append(r, g)
	}
	return r
}

// Shift is how much more the first group's values are than the second's, compared within strata.
type Shift struct {
	N        [2]int  // of the first and the second group, in strata that hold both
	Estimate float64 // median of all differences within strata (Hodges and Lehmann, 1963, Ann. Math. Stat. 34, 598-611)
	Lo, Hi   float64 // at Level, by the exact law of the rank sum; NaN = these numbers bound nothing
	P        float64 // two-sided; exact without ties, else by seeded permutation within strata
	Exact    bool
}

// NewShift compares the values of two groups within strata: the count of pairs in which the first group's is the larger,
// added over strata (van Elteren, 1960, in its unweighted form; from memory). strata[i] holds the two groups' values.
func NewShift(strata [][2][]float64, o Options) Shift {
	nan := math.NaN()
	s := Shift{Estimate: nan, Lo: nan, Hi: nan, P: nan}
	law := []float64{1}
	var diffs []float64
	count, ties := 0.0, false
	var use [][2][]float64
	for _, st := range strata {
		a, b := st[0], st[1]
		if len(a) == 0 || len(b) == 0 {
			continue
		}
		use = append(use, st)
		s.N[0] += len(a)
		s.N[1] += len(b)
		law = convolve(law, trend.Inversions(len(a)+len(b), len(a)))
		for _, x := range a {
			for _, y := range b {
				diffs = append(diffs, x-y)
				ties = ties || x == y
			}
		}
		count += wins(a, b)
	}
	if len(diffs) == 0 {
		return s
	}
	slices.Sort(diffs)
	s.Estimate = middle.Of(diffs)
	tail, sum := (1-Level)/2, 0.0
	for k, p := range law {
		if sum += p; sum > tail {
			if k > 0 {
				s.Lo, s.Hi = diffs[k-1], diffs[len(diffs)-k]
			}
			break
		}
	}
	half := float64(len(diffs)) / 2
	if !ties {
		s.Exact = true
		s.P = 0
		for k, p := range law {
			if math.Abs(float64(k)-half) >= math.Abs(count-half)-1e-9 {
				s.P += p
			}
		}
		s.P = math.Min(s.P, 1)
		return s
	}
	rng := rand.New(rand.NewSource(o.Seed))
	as := 1
	for range o.Permutations {
		c := 0.0
		for _, st := range use {
			all := slices.Concat(st[0], st[1])
			rng.Shuffle(len(all), func(i, j int) { all[i], all[j] = all[j], all[i] })
			c += wins(all[:len(st[0])], all[len(st[0]):])
		}
		if math.Abs(c-half) >= math.Abs(count-half)-1e-9 {
			as++
		}
	}
	s.P = float64(as) / float64(o.Permutations+1)
	return s
}

// wins counts the pairs in which a is larger, ties as half.
func wins(a, b []float64) float64 {
	c := 0.0
	for _, x := range a {
		for _, y := range b {
			switch {
			case x > y:
				c++
			case x == y:
				c += 0.5
			}
		}
	}
	return c
}
