package words

import (
	"math"
	"strconv"
	"strings"

	"tilelapse/measure/trend"
)

// Note words one remark of trend.
func (t Table) Note(n trend.Note) string {
	key := "note." + string(n.Code)
	if n.Code != trend.ByDifference {
		return t.Say(key, n.Args...)
	}
	// Counts have no measuring error of their own: no range is stated for their change.
	var bare []any
	for _, a := range n.Args {
		if v, ok := a.(float64); !ok || !math.IsNaN(v) {
			bare = append(bare, a)
		}
	}
	if len(bare) < len(n.Args) {
		return t.Say(key+"-bare", bare...)
	}
	return t.Say(key, n.Args...)
}

// Notes words remarks one by one.
func (t Table) Notes(ns []trend.Note) []string {
	var w []string
	for _, n := range ns {
		w = append(w, t.Note(n))
	}
	return w
}

// NoEntry words silence: what the file holds, never what was done or not done.
func (t Table) NoEntry(r trend.Record) string {
	switch from, to := trend.ISO(r.Covers.From), trend.ISO(r.Covers.To); {
	case !r.Stated():
		return t.Say("record.none")
	case r.Source == "":
		return t.Say("record.covers", from, to)
	default:
		return t.Say("record.covers.from", from, to, r.Source)
	}
}

// Since words the last entry of work up to a day, or that the file holds none.
func (t Table) Since(s trend.Since, r trend.Record, day int) string {
	if math.IsNaN(s.Days) {
		return t.NoEntry(r)
	}
	w := t.Say("record.last", s.Last.When)
	if s.Last.Work != "" {
		w = t.Say("record.last.work", s.Last.When, s.Last.Work)
	}
	if r.Stated() && day > r.Covers.To {
		w += t.Say("record.upto", trend.ISO(r.Covers.To))
	}
	return w
}

// Between words the upkeep entries at the ends of a stretch, "" when it has none.
func (t Table) Between(s trend.Stretch) string {
	var w []string
	if len(s.After) > 0 {
		w = append(w, t.Say("piece.after", t.Entries(s.After)))
	}
	if len(s.Before) > 0 {
		w = append(w, t.Say("piece.before", t.Entries(s.Before)))
	}
	return strings.Join(w, ", ")
}

// Entries lists upkeep entries with their dates, in the user's words.
func (t Table) Entries(es []trend.Entry) string {
	var w []string
	for _, e := range es {
		w = append(w, strings.TrimSpace(e.When.String()+" "+e.Work))
	}
	return strings.Join(w, t.Say("piece.and"))
}

// Cleaning words what a cleaning removed and how fast it came back.
func (t Table) Cleaning(c trend.Cleaning) string {
	w := []string{t.Say("cleaning.removed", t.Entries(c.Entries), t.tenth(c.Removed), t.tenth(c.Lo), t.tenth(c.Hi))}
	if c.Removed < 0 {
		w[0] = t.Say("cleaning.more", t.Entries(c.Entries), t.tenth(-c.Removed), t.tenth(-c.Hi), t.tenth(-c.Lo))
	}
	switch {
	case !math.IsNaN(c.Regrowth.PerUnit):
		w = append(w, t.Say("cleaning.slope"))
	case !math.IsNaN(c.PerYear):
		w = append(w, t.Say("cleaning.bydifference", t.tenth(c.PerYear), t.tenth(c.PerLo), t.tenth(c.PerHi)))
	default:
		w = append(w, t.Say("cleaning.toofew"))
	}
	return strings.Join(append(w, t.Notes(c.Notes)...), "; ")
}

// tenth writes a figure with one decimal, in words when it is not known.
func (t Table) tenth(v float64) string {
	if math.IsNaN(v) {
		return t.Say("figure.unknown")
	}
	if s := strconv.FormatFloat(v, 'f', 1, 64); s != "-0.0" {
		return s
	}
	return "0.0"
}
