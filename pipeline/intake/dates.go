package intake

import (
	"regexp"
	"strconv"
	"strings"
	"time"
)

// pathDate finds runs that may be a date; which of them are is decided by the digits around and by the calendar.
var pathDate = regexp.MustCompile(`[0-9]+(?:-[0-9]+)*`)

// DateFromPath returns the last date in a path as YYYY-MM-DD: written YYYY-MM-DD or YYYYMMDD, a day of the calendar
// from 1900 to 2099, not part of a longer number. A YYYYMMDD may be followed at once by the time as HHMMSS, as cameras
// name files.
func DateFromPath(rel string) (string, bool) {
	found := ""
	for _, run := range pathDate.FindAllString(rel, -1) {
		parts := strings.Split(run, "-")
		for i, p := range parts {
			switch {
			case len(p) == 4 && i+2 < len(parts) && len(parts[i+1]) == 2 && len(parts[i+2]) == 2:
				if d, ok := day(p, parts[i+1], parts[i+2]); ok {
					found = d
				}
			case len(p) == 8, len(p) == 14 && timeOfDay(p[8:]):
				if d, ok := day(p[:4], p[4:6], p[6:8]); ok {
					found = d
				}
			}
		}
	}
	return found, found != ""
}

// day returns an ISO date if the digits name a day from 1900 to 2099.
func day(y, m, d string) (string, bool) {
	iso := y + "-" + m + "-" + d
	if y < "1900" || y > "2099" {
		return "", false
	}
	if _, err := time.Parse(time.DateOnly, iso); err != nil {
		return "", false
	}
	return iso, true
}

// timeOfDay reports whether six digits are a time HHMMSS.
func timeOfDay(s string) bool {
	h, _ := strconv.Atoi(s[:2])
	m, _ := strconv.Atoi(s[2:4])
	sec, _ := strconv.Atoi(s[4:6])
	return h < 24 && m < 60 && sec < 61
}
