package trend

import "math"

// Stretch is the time between two upkeep entries that cut a series, or before the first, or after the last.
type Stretch struct {
	After, Before []Entry // the entries at its ends, empty = the series begins or ends here
	Points        []Point // visits inside, order claimed against the entries
	Trend         Trend   // with a slope only from MinVisits on
	// Change from the first to the last visit inside, and per year; NaN under two visits.
	Change, ChangeLo, ChangeHi float64
	PerYear, PerLo, PerHi      float64
}

// Stretches cuts a series at the entries that cut, and describes each piece. Visits whose date touches an entry's are
// in no piece: before or after is not known. Entries with no visit between them end the same stretch.
// With no such entry there is one stretch, the whole series. The threshold is asked of the last stretch only.
func Stretches(points []Point, entries []Entry, threshold float64) []Stretch {
	var r []Stretch
	ps := pieces(points, entries)
	for i, p := range ps {
		if i == 0 && len(p.points) == 0 && len(p.before) > 0 {
			continue // before the first photo: the entries stay in the next stretch
		}
		ahead := threshold
		if i < len(ps)-1 {
			ahead = math.NaN() // what came after it ended it
		}
		s := Stretch{After: p.after, Before: p.before, Points: p.points, Trend: Summarise(p.points, ahead)}
		s.Change, s.ChangeLo, s.ChangeHi = math.NaN(), math.NaN(), math.NaN()
		s.PerYear, s.PerLo, s.PerHi = math.NaN(), math.NaN(), math.NaN()
		t := &s.Trend
		switch n := len(p.points); {
		case n == 0:
			t.note(NoVisit)
		case n == 1:
			t.note(OneVisit)
		default:
			a, b := p.points[0], p.points[n-1]
			s.Change, s.ChangeLo, s.ChangeHi = Difference(a, b)
			if a.When.Before(b.When) {
				years := (b.When.Mid() - a.When.Mid()) / YearDays
				s.PerYear, s.PerLo, s.PerHi = s.Change/years, s.ChangeLo/years, s.ChangeHi/years
			}
			if n < MinVisits {
				t.note(ByDifference, a.Value, b.Value, s.ChangeLo, s.ChangeHi, int(math.Round(b.When.Mid()-a.When.Mid())))
			}
		}
		if p.touching > 0 {
			t.note(SameTime, p.touching)
		}
		r = append(r, s)
	}
	return r
}

// Difference returns b minus a with its interval at Level, the two readings' errors taken as independent: each end
// joins the nearer half widths in quadrature. NaN ends where an error is not known.
func Difference(a, b Point) (change, lo, hi float64) {
	change = b.Value - a.Value
	lo = change - math.Hypot(b.Value-b.Lo, a.Hi-a.Value)
	hi = change + math.Hypot(b.Hi-b.Value, a.Value-a.Lo)
	return change, lo, hi
}

// piece is a run of visits between cutting entries.
type piece struct {
	after, before []Entry
	points        []Point
	touching      int // visits on the dates of the entries at its start
}

func pieces(points []Point, entries []Entry) []piece {
	pts := usable(points)
	var cuts []Entry
	for _, e := range entries {
		if e.Cuts() {
			cuts = append(cuts, e)
		}
	}
	sortEntries(cuts)
	r := []piece{{}}
	done := make([]bool, len(pts))
	for _, e := range cuts {
		cur := &r[len(r)-1]
		touching := 0
		for i, p := range pts {
			if done[i] {
				continue
			}
			switch {
			case p.When.Before(e.When):
				cur.points = append(cur.points, p)
				done[i] = true
			case !e.When.Before(p.When):
				touching++
				done[i] = true
			}
		}
		if len(cur.points) == 0 && len(r) > 1 && touching == 0 {
			// Nothing was seen between this entry and the one before: they end the same stretch together.
			cur.after = append(cur.after, e)
			r[len(r)-2].before = cur.after
			continue
		}
		cur.before = []Entry{e}
		r = append(r, piece{after: []Entry{e}, touching: touching})
	}
	cur := &r[len(r)-1]
	for i, p := range pts {
		if !done[i] {
			cur.points = append(cur.points, p)
		}
	}
	return r
}

// WorkWithin counts the cutting entries strictly inside a span: a slope over the span runs across them.
func WorkWithin(entries []Entry, s Span) int {
	n := 0
	for _, e := range entries {
		if e.Cuts() && e.When.To > s.From && e.When.From < s.To {
			n++
		}
	}
	return n
}
