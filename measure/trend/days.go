package trend

import (
	"fmt"
	"time"
)

// YearDays is the length of a year in days: the mean of the Julian calendar, common practice for rates.
const YearDays = 365.25

const isoDay = "2006-01-02"

// Span is the day or the range of days something happened on, in days since 1970-01-01, both ends included.
type Span struct{ From, To int }

// Day returns the number of an ISO date (2021-05-30) counted from 1970-01-01 = 0, or an error for anything else.
func Day(iso string) (int, error) {
	t, err := time.Parse(isoDay, iso)
	if err != nil {
		return 0, fmt.Errorf("date %q is not a day written as 2021-05-30", iso)
	}
	return int(t.Unix() / 86400), nil
}

// ISO returns the ISO date of a day counted from 1970-01-01.
func ISO(day int) string { return time.Unix(int64(day)*86400, 0).UTC().Format(isoDay) }

// ParseSpan returns the span between two ISO dates; an empty second one means one day. Ends in the wrong order are an
// error.
func ParseSpan(from, to string) (Span, error) {
	a, err := Day(from)
	if err != nil {
		return Span{}, err
	}
	if to == "" {
		return Span{a, a}, nil
	}
	b, err := Day(to)
	if err != nil {
		return Span{}, err
	}
	if b < a {
		return Span{}, fmt.Errorf("range %s to %s ends before it starts", from, to)
	}
	return Span{a, b}, nil
}

// Before reports whether all of s lies before all of o: only then is an order claimed.
func (s Span) Before(o Span) bool { return s.To < o.From }

// Mid returns the middle of the span in days.
func (s Span) Mid() float64 { return float64(s.From+s.To) / 2 }

// String returns the day, or the two ends joined by a slash (ISO 8601 interval).
func (s Span) String() string {
	if s.From == s.To {
		return ISO(s.From)
	}
	return ISO(s.From) + "/" + ISO(s.To)
}

// compareSpans orders spans for display: by start, then by end.
func compareSpans(a, b Span) int {
	if a.From != b.From {
		return a.From - b.From
	}
	return a.To - b.To
}
