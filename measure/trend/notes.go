package trend

// Note is a remark on a result: a code that is put into words elsewhere, and what fills the gaps of its wording: numbers
// and Spans.
type Note struct {
	Code Code
	Args []any
}

// Code names a remark.
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
	Unchanging       Code = "unchanging"
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
	CommonTiles      Code = "common-tiles"
)

func (t *Trend) note(c Code, args ...any) { t.Notes = append(t.Notes, Note{c, args}) }

// Across adds the remark that recorded work lies within the visits, if it does. Nothing measured changes by it.
func (t *Trend) Across(entries []Entry) {
	if n := WorkWithin(entries, Span{t.From.From, t.To.To}); n > 0 && t.Visits > 1 {
		t.note(WorkWithinSeries, n)
	}
}
