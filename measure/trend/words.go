package trend

import (
	"fmt"
	"strings"
)

// Note is a remark on a result: a code for tables in other languages, and what fills its wording's gaps.
type Note struct {
	Code Code
	Args []any
}

// Code names a wording.
type Code string

// The remarks of this package.
const (
	NoReading        Code = "no-reading"
	TooFewVisits     Code = "too-few-visits"
	Overlapping      Code = "overlapping"
	NoOrder          Code = "no-order"
	NoTestAtFour     Code = "no-test-at-four"
	FewVisits        Code = "few-visits"
	NoInterval       Code = "no-interval"
	Widened          Code = "widened"
	NoForecastFew    Code = "no-forecast-few"
	NoForecastFlat   Code = "no-forecast-flat"
	BeyondHorizon    Code = "beyond-horizon"
	CentreBeyond     Code = "centre-beyond"
	OpenEnd          Code = "open-end"
	Forecast         Code = "forecast"
	AlwaysAbove      Code = "always-above"
	Crossed          Code = "crossed"
	CrossedUnsure    Code = "crossed-unsure"
	ByDifference     Code = "by-difference"
	OneVisit         Code = "one-visit"
	NoVisit          Code = "no-visit"
	SameTime         Code = "same-time"
	SeveralEntries   Code = "several-entries"
	NotTold          Code = "not-told-from-none"
	NotBack          Code = "not-back"
	BackBetween      Code = "back-between"
	Resemble         Code = "resemble"
	NotComparable    Code = "not-comparable"
	VisitsDropped    Code = "visits-dropped"
	WorkWithinSeries Code = "work-within"
)

// Wordings holds the English wording of every remark, with fmt verbs for its gaps. Another language replaces it.
var Wordings = map[Code]string{
	NoReading:        "not measured on any of %d visits",
	TooFewVisits:     "too few visits: %d measured, %d needed for a slope",
	Overlapping:      "%d pairs of visits have dates that overlap: no order claimed between them",
	NoOrder:          "all dates overlap: no order in time can be claimed",
	NoTestAtFour:     "four visits: no order of four values is rare enough to be told from chance",
	FewVisits:        "only %d visits: read the p-value with care (%d or more are usual)",
	NoInterval:       "these visits do not bound the slope at 95 %%",
	Widened:          "interval widened to the measuring error",
	NoForecastFew:    "no date worked out: %d visits measured, %d needed",
	NoForecastFlat:   "no date worked out: the visits do not show a rise that can be told from none",
	BeyondHorizon:    "not reached within a time as long as the record; further ahead nothing is said",
	CentreBeyond:     "most likely date lies further ahead than the record is long: not stated",
	OpenEnd:          "latest date lies further ahead than the record is long: not stated",
	Forecast:         "date holds only if things go on as over these visits",
	AlwaysAbove:      "at or above the threshold since the first visit, %v",
	Crossed:          "crossed between the visits of %v and %v",
	CrossedUnsure:    "the interval of the reading that crossed it includes the threshold",
	ByDifference:     "change from %.2f to %.2f (%.2f to %.2f) in %d days; too few visits for a slope",
	OneVisit:         "one visit in this time: no growth can be told",
	NoVisit:          "no visit in this time",
	SameTime:         "%d visits fall on the dates of an entry: before or after it is not known",
	SeveralEntries:   "%d entries lie between the same two visits: what each did cannot be told apart",
	NotTold:          "the change cannot be told from none here",
	NotBack:          "not back at the earlier level by %v",
	BackBetween:      "back at the earlier level between %v and %v",
	Resemble:         "visits resemble the ones before: p and interval are widened (p as if they did not: %.4f)",
	NotComparable:    "not comparable: under half of the tile area was read in enough visits",
	VisitsDropped:    "%d visits left out: too few of the tiles were read in them",
	WorkWithinSeries: "entries that change growth within these visits: %d; the slope runs across them",
}

// String returns the wording in the language of Wordings.
func (n Note) String() string {
	w, ok := Wordings[n.Code]
	if !ok {
		return string(n.Code)
	}
	return fmt.Sprintf(w, n.Args...)
}

func (t *Trend) note(c Code, args ...any) { t.Notes = append(t.Notes, Note{c, args}) }

// Join returns the wordings of several remarks as one cell of a table.
func Join(notes []Note) string {
	s := make([]string, len(notes))
	for i, n := range notes {
		s[i] = n.String()
	}
	return strings.Join(s, "; ")
}

// Across adds the remark that recorded work lies within the visits, if it does. Nothing measured changes by it.
func (t *Trend) Across(entries []Entry) {
	if n := WorkWithin(entries, Span{t.From.From, t.To.To}); n > 0 && t.Visits > 1 {
		t.note(WorkWithinSeries, n)
	}
}
