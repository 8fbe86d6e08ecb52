package survey

import (
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"
)

// dayLayout is an ISO 8601 calendar date.
const dayLayout = "2006-01-02"

// Years a date may lie in: photographs are not older, and visits are not planned further ahead.
const (
	firstYear = 1826
	lastYear  = 2199
)

var (
	isoDate   = regexp.MustCompile(`^(\d{4})(?:-(\d{1,2})(?:-(\d{1,2}))?)?$`)
	clockTail = regexp.MustCompile(`[T ]\d{1,2}:\d{2}(?::\d{2}(?:\.\d+)?)?Z?$`)
	foreign   = regexp.MustCompile(`^(\d{1,2})[./-](\d{1,2})[./-](\d{4}|\d{2})$`)
	yearFirst = regexp.MustCompile(`^(\d{4})[./](\d{1,2})[./](\d{1,2})$`)
	compact   = regexp.MustCompile(`^(\d{4})(\d{2})(\d{2})$`)
	guessed   = regexp.MustCompile(`(?i)^(?:(?:c|ca|circa|about|around|approx)\.?\s*|~\s*)?(\d{4})\s*(?:'?s|\?)?$`)
	serial    = regexp.MustCompile(`^\d{5}$`)
)

// ParseDate reads a date as the survey's files write it: a day (2021-03-04), a month (1998-06), a year (1998) or a
// span of them (1998/2001). A time of day behind a day is dropped. Anything that can be read in two ways is an error
// with an example of a clear date.
func ParseDate(s string) (DateRange, error) {
	s = strings.TrimSpace(s)
	if s == "" {
		return DateRange{}, errors.New("no date: write it like 2021-03-04, 1998-06, 1998 or 1998/2001")
	}
	a, b, span := strings.Cut(s, "/")
	if span && isoDate.MatchString(strings.TrimSpace(a)) && isoDate.MatchString(strings.TrimSpace(b)) && len(a) >= 4 {
		from, err := oneDate(strings.TrimSpace(a))
		if err != nil {
			return DateRange{}, err
		}
		to, err := oneDate(strings.TrimSpace(b))
		if err != nil {
			return DateRange{}, err
		}
		if from.From > to.From {
			return DateRange{}, fmt.Errorf("the span %s ends before it begins: write the earlier date first", quote(s))
		}
		return DateRange{From: from.From, To: max(from.To, to.To)}, nil
	}
	return oneDate(clockTail.ReplaceAllString(s, ""))
}

func oneDate(s string) (DateRange, error) {
	m := isoDate.FindStringSubmatch(s)
	if m == nil {
		return DateRange{}, unclear(s)
	}
	y, _ := strconv.Atoi(m[1])
	if y < firstYear || y > lastYear {
		return DateRange{}, fmt.Errorf("the year of %s is not between %d and %d", quote(s), firstYear, lastYear)
	}
	month, lastMonth := 1, 12
	if m[2] != "" {
		month, _ = strconv.Atoi(m[2])
		lastMonth = month
	}
	if month < 1 || month > 12 {
		return DateRange{}, fmt.Errorf("%s has no month %d: write year-month-day, like 2021-03-04", quote(s), month)
	}
	if m[3] == "" {
		return DateRange{
			From: time.Date(y, time.Month(month), 1, 0, 0, 0, 0, time.UTC).Format(dayLayout),
			To:   time.Date(y, time.Month(lastMonth)+1, 0, 0, 0, 0, 0, time.UTC).Format(dayLayout),
		}, nil
	}
	day, _ := strconv.Atoi(m[3])
	t := time.Date(y, time.Month(month), day, 0, 0, 0, 0, time.UTC)
	if t.Day() != day || int(t.Month()) != month {
		return DateRange{}, fmt.Errorf("%s is no day of the calendar", quote(s))
	}
	d := t.Format(dayLayout)
	return DateRange{From: d, To: d}, nil
}

// unclear words the refusal of what is not an ISO date: with both readings where there are two.
func unclear(s string) error {
	if m := foreign.FindStringSubmatch(s); m != nil {
		a, _ := strconv.Atoi(m[1])
		b, _ := strconv.Atoi(m[2])
		y := m[3]
		if len(y) == 2 {
			return fmt.Errorf("%s is ambiguous (its year has two digits): write year-month-day, like 2021-03-04", quote(s))
		}
		switch {
		case a == b && a >= 1 && a <= 12:
			return fmt.Errorf("%s is not in the order year-month-day: write %s-%02d-%02d", quote(s), y, a, b)
		case a >= 1 && a <= 12 && b >= 1 && b <= 12:
			return fmt.Errorf("%s is ambiguous: write %s-%02d-%02d or %s-%02d-%02d (year-month-day)", quote(s), y, b, a, y, a, b)
		case a > 12 && a <= 31 && b >= 1 && b <= 12:
			return fmt.Errorf("%s is not in the order year-month-day: write %s-%02d-%02d", quote(s), y, b, a)
		case b > 12 && b <= 31 && a >= 1 && a <= 12:
			return fmt.Errorf("%s is not in the order year-month-day: write %s-%02d-%02d", quote(s), y, a, b)
		}
	}
	for _, re := range []*regexp.Regexp{yearFirst, compact} {
		if m := re.FindStringSubmatch(s); m != nil {
			return fmt.Errorf("%s is not clear: write year-month-day with hyphens, like %s-%02s-%02s", quote(s), m[1], m[2], m[3])
		}
	}
	if serial.MatchString(s) {
		return fmt.Errorf("%s is a spreadsheet's day number: format the column as text and write dates like 2021-03-04", quote(s))
	}
	if m := guessed.FindStringSubmatch(s); m != nil {
		y, _ := strconv.Atoi(m[1])
		if strings.HasSuffix(s, "s") && y%10 == 0 {
			return fmt.Errorf("%s is not clear: write the span, like %d/%d", quote(s), y, y+9)
		}
		return fmt.Errorf("%s is a guess: write the span it surely lies in, like %d/%d", quote(s), y-2, y+2)
	}
	return fmt.Errorf("%s is no date: write it like 2021-03-04, 1998-06, 1998 or 1998/2001", quote(s))
}

// parseDay reads a date that must be a single day.
func parseDay(s string) (string, error) {
	d, err := ParseDate(s)
	if err != nil {
		return "", err
	}
	if !d.Exact() {
		return "", fmt.Errorf("%s is not a single day: a day like 2021-03-04 is needed", quote(s))
	}
	return d.From, nil
}

// maxShift bounds the correction of a camera clock: beyond it the figure is a slip of the pen.
const maxShift = 60 * 366 * 24 * time.Hour

// parseShift reads the correction of a camera clock: days, hours, minutes and seconds such as 365d, -1h or 1d2h30m.
func parseShift(s string) (time.Duration, error) {
	bad := fmt.Errorf("%s is no length of time: write it like 365d, -1h or 1d2h30m", quote(s))
	t := strings.TrimSpace(s)
	sign := time.Duration(1)
	if rest, ok := strings.CutPrefix(t, "-"); ok {
		sign, t = -1, rest
	} else {
		t = strings.TrimPrefix(t, "+")
	}
	if t == "" || strings.ContainsAny(t, "+-") {
		return 0, bad
	}
	var total time.Duration
	if d, rest, ok := strings.Cut(t, "d"); ok {
		n, err := strconv.ParseFloat(d, 64)
		if err != nil || !(n >= 0 && n <= 60*366) {
			return 0, bad
		}
		total, t = time.Duration(n*24*float64(time.Hour)), rest
	}
	if t != "" {
		h, err := time.ParseDuration(t)
		if err != nil || h < 0 || h > maxShift {
			return 0, bad
		}
		total += h
	}
	if total > maxShift {
		return 0, fmt.Errorf("%s is more than 60 years", quote(s))
	}
	return sign * total, nil
}
