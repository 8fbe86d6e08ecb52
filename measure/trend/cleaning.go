package trend

import "math"

// Cleaning is what the visits around an entry of cleaning show. Values in the measure's unit; NaN = not available.
type Cleaning struct {
	Entries               []Entry // more than one when no visit lies between them
	BeforeVisit           Span
	AfterVisit            Span
	Before, After         Point
	DaysBefore, DaysAfter int // from the visits to the entry; growth in these days is in the figure
	Removed, Lo, Hi       float64
	Regrowth              Slope   // per year, on the visits after it up to the next cutting entry; NaN under MinVisits
	PerYear, PerLo, PerHi float64 // the same from the first and last of these visits, NaN under two
	// BackFrom and BackTo bound the days from the entry until the earlier level was seen again: it was below on the visit
	// BackFrom days after, at or above it on the one BackTo days after. NaN BackTo = not back by the last visit.
	BackFrom, BackTo float64
	Notes            []Note
}

// Told reports whether something was removed by more than the readings' error.
func (c Cleaning) Told() bool { return c.Lo > 0 }

// Cleanings describes every entry of cleaning that has a visit before and after it and no other cutting entry but
// cleanings between these two. change, if not nil, gives the change between two visits on the tiles read in both (later
// minus earlier, with its interval at Level; ok false = not comparable); nil takes the difference of the values.
func Cleanings(points []Point, entries []Entry, change func(before, after Point) (d, lo, hi float64, ok bool)) []Cleaning {
	ps := pieces(points, entries)
	var r []Cleaning
	for i := 1; i < len(ps); i++ {
		cleanings := 0
		for _, e := range ps[i].after {
			if e.Kind == "clean" {
				cleanings++
			}
		}
		if cleanings == 0 || cleanings != len(ps[i].after) || len(ps[i-1].points) == 0 || len(ps[i].points) == 0 {
			continue
		}
		r = append(r, cleaning(ps, i, change))
	}
	return r
}

func cleaning(ps []piece, i int, change func(before, after Point) (d, lo, hi float64, ok bool)) Cleaning {
	nan := math.NaN()
	p := ps[i]
	before := ps[i-1].points[len(ps[i-1].points)-1]
	after := p.points[0]
	first, last := p.after[0].When, p.after[len(p.after)-1].When
	c := Cleaning{
		Entries: p.after, Before: before, After: after, BeforeVisit: before.When, AfterVisit: after.When,
		DaysBefore: first.From - before.When.To, DaysAfter: after.When.From - last.To,
		PerYear: nan, PerLo: nan, PerHi: nan, BackFrom: nan, BackTo: nan,
	}
	note := func(code Code, args ...any) { c.Notes = append(c.Notes, Note{code, args}) }
	d, lo, hi := Difference(before, after)
	if change != nil {
		var ok bool
		if d, lo, hi, ok = change(before, after); !ok {
			note(NotComparable)
			d, lo, hi = nan, nan, nan
		}
	}
	c.Removed, c.Lo, c.Hi = -d, -hi, -lo
	if len(p.after) > 1 {
		note(SeveralEntries, len(p.after))
	}
	if p.touching > 0 {
		note(SameTime, p.touching)
	}
	if c.Lo <= 0 && c.Hi >= 0 {
		note(NotTold)
	}
	st := Summarise(p.points, nan)
	c.Regrowth = Slope{PerUnit: st.Slope, Lo: st.Lo, Hi: st.Hi, Ranks: st.Ranks}
	end := p.points[len(p.points)-1]
	if len(p.points) > 1 && after.When.Before(end.When) {
		y := (end.When.Mid() - after.When.Mid()) / YearDays
		d, lo, hi := Difference(after, end)
		c.PerYear, c.PerLo, c.PerHi = d/y, lo/y, hi/y
	}
	if c.Told() {
		c.back(last, p.points, note)
	}
	return c
}

// back looks for the first visit that shows the level before the cleaning again.
func (c *Cleaning) back(entry Span, points []Point, note func(Code, ...any)) {
	for i, q := range points {
		if q.Value < c.Before.Value {
			c.BackFrom = float64(q.When.From - entry.To)
			continue
		}
		c.BackTo = float64(q.When.To - entry.To)
		if i > 0 {
			note(BackBetween, points[i-1].When, q.When)
		}
		return
	}
	note(NotBack, points[len(points)-1].When)
}
