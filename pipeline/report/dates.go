package report

import "strings"

// dates finds the photos whose day is known as a range only: whatever is told of such a visit is told with the range.
func (p *page) dates() {
	p.ranges = map[[2]string][2]string{}
	for _, ph := range p.Set.Photos {
		if ph.Status == "used" && ph.Visit != "" && ph.TakenTo != "" && ph.TakenFrom != ph.TakenTo {
			p.ranges[[2]string{ph.View, ph.Visit}] = [2]string{ph.TakenFrom, ph.TakenTo}
		}
	}
}

// day writes the day of a view's visit, or the two ends of the range it lies in.
func (p *page) day(view, visit string) string {
	if r, ok := p.ranges[[2]string{view, visit}]; ok {
		return r[0] + " – " + r[1]
	}
	return visit
}

// until is the last day that a view's visit may have been.
func (p *page) until(view, visit string) string {
	if r, ok := p.ranges[[2]string{view, visit}]; ok {
		return r[1]
	}
	return visit
}

// yearsOf writes the year of a day or of both ends of a range.
func yearsOf(day string) string {
	from, to, ranged := strings.Cut(day, " – ")
	if !ranged || year(from) == year(to) {
		return year(from)
	}
	return year(from) + "–" + year(to)
}
