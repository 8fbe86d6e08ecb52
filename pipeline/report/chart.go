package report

import (
	"fmt"
	"math"
	"strings"
	"time"

	"tilelapse/pipeline/report/words"
	"tilelapse/pipeline/table"
)

// Chart is a curve over time in SVG user units: a point a visit, a bar for its interval, and lanes below the axis for
// what the upkeep file holds.
type Chart struct {
	Title, Desc  string
	W, H         float64
	Left, Bottom float64 // of the plot area
	Right, Top   float64
	Points       []ChartPoint
	Line         string // path through the points
	Band         string // closed path through the interval's ends
	YTicks       []Tick
	XTicks       []Tick
	Cuts         []Mark // recorded work, drawn through the plot
	Lanes        []Lane
	Unit         string
	Empty        bool

	span func(v, lo, hi float64, unit string) string
}

// ChartPoint is one visit's figure.
type ChartPoint struct {
	X, Y, YLo, YHi float64
	XFrom, XTo     float64 // the days it may have been taken on; equal = one day
	Text           string
}

// TickEnd is how far down a tick of the time axis reaches.
func (c Chart) TickEnd() float64 { return c.Bottom + 5 }

// Ranged reports whether the visit's day is known as a range only.
func (p ChartPoint) Ranged() bool { return p.XTo-p.XFrom > 3 }

// Tick is a labelled place on an axis.
type Tick struct {
	At    float64
	Label string
}

// Mark is an upkeep entry on the time axis.
type Mark struct {
	X     float64
	Sign  string // letter by kind, so that it is read without colour
	Label string
}

// Lane is one row of entries below a chart.
type Lane struct {
	Y        float64
	Label    string
	Marks    []Mark
	From, To float64 // a bar, 0 0 = none
}

// sample is a figure to plot; day to until is when it was taken, days since 1970.
type sample struct {
	day, until float64
	v, lo, hi  float64
	visit      string
}

// entry is an upkeep entry to plot.
type entry struct {
	day, until float64
	lane       int // 0 due, 1 asked, 2 answered, 3 done or seen
	sign       string
	label      string
	work       bool // recorded work: drawn through the plot
}

// frame is what all charts of a report have in common.
type frame struct {
	from, to float64 // days since 1970
	lanes    [4]string
	covers   [2]float64 // what the upkeep file covers, NaN = not stated
	coverage string
	words    words.Table
}

// days counts days since 1970 of an ISO date, NaN when it is none.
func days(iso string) float64 {
	t, err := time.Parse(time.DateOnly, iso)
	if err != nil {
		return math.NaN()
	}
	return float64(t.Unix()) / 86400
}

// niceStep returns a round step that divides span into about n parts.
func niceStep(span float64, n int) float64 {
	raw := span / float64(n)
	mag := math.Pow(10, math.Floor(math.Log10(raw)))
	for _, m := range []float64{1, 2, 5} {
		if raw <= m*mag {
			return m * mag
		}
	}
	return 10 * mag
}

const (
	chartW   = 480
	plotH    = 132
	laneH    = 17
	axisH    = 26
	chartTop = 14
)

// newChart lays samples out over the frame's time. low is the least top value of the axis, so that noise is not blown up.
func newChart(title, unit string, ss []sample, f frame, low float64, entries []entry) Chart {
	c := Chart{span: func(v, lo, hi float64, unit string) string { return span(f.words, v, lo, hi, unit) }, Title: title, Unit: unit, W: chartW, Left: 70, Right: chartW - 12, Top: chartTop, Bottom: chartTop + plotH}
	top := low
	for _, s := range ss {
		if !math.IsNaN(s.v) {
			top = math.Max(top, math.Max(s.v, nanless(s.hi, s.v)))
		}
	}
	step := niceStep(top, 4)
	if unit == "" {
		step = math.Max(1, math.Ceil(step)) // counts
	}
	top = math.Ceil(top/step-1e-9) * step
	from, to := f.from, f.to
	if !(to > from) {
		from, to = from-180, from+180
	}
	pad := (to - from) * 0.03
	x := func(d float64) float64 { return c.Left + (d-from+pad)/(to-from+2*pad)*(c.Right-c.Left) }
	in := func(d float64) float64 { return math.Min(math.Max(x(d), c.Left), c.Right) }
	y := func(v float64) float64 { return c.Bottom - math.Min(math.Max(v, 0), top)/top*(c.Bottom-c.Top) }
	for v := 0.0; v <= top+step/2; v += step {
		c.YTicks = append(c.YTicks, Tick{y(v), trim(v)})
	}
	c.XTicks = yearTicks(from-pad, to+pad, x)
	c.plot(ss, x, in, y)
	c.H = c.Bottom + axisH
	if len(entries) > 0 || !math.IsNaN(f.covers[0]) {
		c.lanes(entries, f, from-pad, to+pad, x, in)
	}
	return c
}

// yearTicks puts a tick at the beginning of every year, or of every n-th when they are many.
func yearTicks(from, to float64, x func(float64) float64) []Tick {
	day := func(d float64) time.Time { return time.Unix(int64(d*86400), 0).UTC() }
	first, last := day(from).Year(), day(to).Year()
	every := max(1, (last-first+7)/8)
	var ts []Tick
	for yr := (first + every - 1) / every * every; yr <= last; yr += every {
		if d := float64(time.Date(yr, 1, 1, 0, 0, 0, 0, time.UTC).Unix()) / 86400; d >= from && d <= to {
			ts = append(ts, Tick{x(d), fmt.Sprint(yr)})
		}
	}
	if len(ts) == 0 {
		ts = append(ts, Tick{x((from + to) / 2), day((from + to) / 2).Format(time.DateOnly)})
	}
	return ts
}

func (c *Chart) plot(ss []sample, x, in, y func(float64) float64) {
	var line, up, down, told []string
	for _, s := range ss {
		if math.IsNaN(s.v) || math.IsNaN(s.day) {
			continue
		}
		mid, until := s.day, nanless(s.until, s.day)
		if until > s.day {
			mid = (s.day + until) / 2
		}
		p := ChartPoint{X: in(mid), XFrom: in(s.day), XTo: in(until), Y: y(s.v), YLo: y(nanless(s.lo, s.v)), YHi: y(nanless(s.hi, s.v))}
		p.Text = s.visit + ": " + c.span(s.v, s.lo, s.hi, c.Unit)
		told = append(told, p.Text)
		c.Points = append(c.Points, p)
		line = append(line, fmt.Sprintf("%.1f,%.1f", p.X, p.Y))
		up = append(up, fmt.Sprintf("%.1f,%.1f", p.X, p.YHi))
		down = append([]string{fmt.Sprintf("%.1f,%.1f", p.X, p.YLo)}, down...)
	}
	c.Empty = len(c.Points) == 0
	if len(c.Points) > 1 {
		c.Line = "M" + strings.Join(line, " L")
		c.Band = "M" + strings.Join(append(up, down...), " L") + " Z"
	}
	c.Desc = strings.Join(told, "; ")
}

// lanes lays the entries out below the axis, a row for each kind that occurs, and a bar for what the file covers.
func (c *Chart) lanes(entries []entry, f frame, from, to float64, x, in func(float64) float64) {
	y := c.Bottom + axisH + 8
	for k, label := range f.lanes {
		l := Lane{Label: label, Y: y}
		last := -99.0
		for _, e := range entries {
			if e.lane != k || math.IsNaN(e.day) || e.day > to || math.Max(e.day, nanless(e.until, e.day)) < from {
				continue
			}
			at := in(e.day)
			if e.work {
				c.Cuts = append(c.Cuts, Mark{X: at, Sign: e.sign, Label: e.label})
			}
			if at-last < 9 && len(l.Marks) > 0 { // entries too near to each other share a place
				m := &l.Marks[len(l.Marks)-1]
				m.Label += "; " + e.label
				if !strings.Contains(m.Sign, e.sign) && len(m.Sign) < 2 {
					m.Sign += e.sign
				}
				continue
			}
			l.Marks = append(l.Marks, Mark{X: at, Sign: e.sign, Label: e.label})
			last = at
		}
		if len(l.Marks) > 0 {
			c.Lanes = append(c.Lanes, l)
			y += laneH
		}
	}
	if !math.IsNaN(f.covers[0]) && f.covers[1] >= from && f.covers[0] <= to {
		c.Lanes = append(c.Lanes, Lane{Label: f.coverage, Y: y, From: in(f.covers[0]), To: in(f.covers[1])})
		y += laneH
	}
	c.H = y - 6
	for _, l := range c.Lanes {
		for _, m := range l.Marks {
			c.Desc += "; " + l.Label + ": " + m.Label
		}
	}
	c.Desc = strings.TrimPrefix(c.Desc, "; ")
}

// Spark is a chart in a line of text: no axes, the curve only.
type Spark struct {
	Line string
	Dots []ChartPoint
}

// newSpark draws samples into 120 x 28 units, from 0 to the largest value or low.
func newSpark(ss []sample, f frame, low float64) Spark {
	top := low
	for _, s := range ss {
		if !math.IsNaN(s.v) {
			top = math.Max(top, s.v)
		}
	}
	var sp Spark
	var line []string
	for _, s := range ss {
		if math.IsNaN(s.v) || math.IsNaN(s.day) {
			continue
		}
		at := 0.5
		if f.to > f.from {
			at = math.Min(math.Max((s.day-f.from)/(f.to-f.from), 0), 1)
		}
		p := ChartPoint{X: 4 + 112*at, Y: 24 - 20*s.v/top}
		sp.Dots = append(sp.Dots, p)
		line = append(line, fmt.Sprintf("%.1f,%.1f", p.X, p.Y))
	}
	if len(line) > 1 {
		sp.Line = "M" + strings.Join(line, " L")
	}
	return sp
}

func nanless(v, other float64) float64 {
	if math.IsNaN(v) {
		return other
	}
	return v
}

// span writes a figure with its interval: "12.3 % (9.8 to 15.1)".
func span(w words.Table, v, lo, hi float64, unit string) string {
	if math.IsNaN(v) {
		return "–"
	}
	digits := 1
	if unit == "" && v == math.Trunc(v) && math.IsNaN(lo) {
		digits = 0
	}
	s := table.Number(v, digits)
	if unit != "" {
		s += " " + unit
	}
	if !math.IsNaN(lo) && !math.IsNaN(hi) {
		return w.Say("span", s, table.Number(lo, digits), table.Number(hi, digits))
	}
	return s
}

// trim writes a number without needless decimals.
func trim(v float64) string {
	return strings.TrimSuffix(fmt.Sprintf("%.1f", v), ".0")
}
