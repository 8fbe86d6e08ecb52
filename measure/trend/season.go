package trend

import (
	"math"
	"slices"
	"time"

	"tilelapse/measure/middle"
)

// Visits of like season lie close together in the year: groups are split where the year has a hole of more than
// seasonGap days without any visit. A group wider than seasonWidth is no season; then calendar quarters counted from
// December are used. Both limits are our choice; dates alone decide, never the values.
const (
	seasonGap   = 31
	seasonWidth = 92
)

// Season is a comparison within like seasons only: light, water level and growth change with the time of year.
type Season struct {
	Visits  int     // visits with a season that has at least two years
	Seasons int     // seasons with at least two years
	S       int     // rising minus falling pairs within seasons
	P       float64 // two-sided, NaN = fewer than four visits
	How     string
	Slope   float64 // median of the slopes of pairs within seasons, per year
}

// SameSeason runs the Mann-Kendall test within seasons and adds the seasons up; exact by adding the exact laws up to
// 40 visits, else normal. Points within one season of one year count as one, their mean. Points whose date is a range
// wider than seasonWidth have no season and are left out.
//
// Hirsch, Slack and Smith (1982), Water Resources Research 18, 107-121.
func SameSeason(points []Point) Season {
	nan := math.NaN()
	r := Season{P: nan, Slope: nan}
	var slopes []float64
	var total *law
	variance, exact := 0.0, true
	for _, g := range seasons(usable(points)) {
		x, y := yearly(g)
		if len(x) < 2 {
			continue
		}
		sg := signsOf(x)
		k := kendall(sg, y)
		r.Visits += len(x)
		r.Seasons++
		r.S += k.S
		variance += k.VarS
		slopes = append(slopes, pairSlopes(sg, x, y)...)
		if l := exactS(sg, signsOf(y)); l == nil || r.Visits > 40 {
			exact = false
		} else if total == nil {
			total = l
		} else if exact {
			total = total.plus(l)
		}
	}
	r.Slope = middle.Of(slopes) * YearDays
	if r.Visits < MinVisits {
		return r
	}
	if exact {
		r.P, r.How = total.twoSided(r.S), Exact
	} else {
		_, r.P = normalScore(r.S, variance)
		r.How = Normal
	}
	return r
}

// seasons groups points by time of the year, in the order of the year.
func seasons(points []Point) [][]Point {
	type dated struct {
		p   Point
		day int // of the year, 0..365
	}
	var all []dated
	for _, p := range points {
		if p.When.To-p.When.From < seasonWidth {
			t := time.Unix(int64(p.When.Mid()*86400), 0).UTC()
			all = append(all, dated{p, t.YearDay() - 1})
		}
	}
	if len(all) == 0 {
		return nil
	}
	slices.SortStableFunc(all, func(a, b dated) int { return a.day - b.day })
	// The year is a circle: start behind the first hole.
	start := -1
	for i := range all {
		prev := all[(i+len(all)-1)%len(all)].day
		gap := all[i].day - prev
		if i == 0 {
			gap += 366
		}
		if gap > seasonGap {
			start = i
			break
		}
	}
	var groups [][]Point
	if start >= 0 {
		first, last := 0, 0
		for n := range all {
			d := all[(start+n)%len(all)]
			day := d.day
			if start+n >= len(all) {
				day += 366
			}
			if n == 0 || day-last > seasonGap {
				groups, first = append(groups, nil), day
			}
			if day-first > seasonWidth {
				groups = nil
				break
			}
			groups[len(groups)-1] = append(groups[len(groups)-1], d.p)
			last = day
		}
	}
	if groups == nil {
		groups = make([][]Point, 4)
		for _, d := range all {
			t := time.Unix(int64(d.p.When.Mid()*86400), 0).UTC()
			q := int(t.Month()) % 12 / 3
			groups[q] = append(groups[q], d.p)
		}
	}
	for _, g := range groups {
		slices.SortStableFunc(g, comparePoints)
	}
	return groups
}

// yearly returns day and value of each year's points of a season, those of one year averaged.
func yearly(season []Point) (x, y []float64) {
	for i := 0; i < len(season); {
		sumX, sumY, n := 0.0, 0.0, 0
		for first := season[i].When.Mid(); i < len(season) && season[i].When.Mid()-first < 183; i++ {
			sumX += season[i].When.Mid()
			sumY += season[i].Value
			n++
		}
		x, y = append(x, sumX/float64(n)), append(y, sumY/float64(n))
	}
	return x, y
}
