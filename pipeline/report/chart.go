package report

import (
	"fmt"
	"math"
	"strings"
	"time"

	"tilelapse/pipeline/table"
)

// Chart is a curve over time in SVG user units: a point a visit, a bar for its interval, marks for upkeep entries.
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
	Marks        []Mark
	Unit         string
	Empty        bool
}

// ChartPoint is one visit's figure.
type ChartPoint struct {
	X, Y, YLo, YHi float64
	Text           string
}

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

type sample struct {
	day       float64
	v, lo, hi float64
	visit     string
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

// newChart lays samples out between two days. low is the least top value of the axis, so that noise is not blown up.
func newChart(title, unit string, ss []sample, from, to, low float64, marks []Mark) Chart {
	c := Chart{Title: title, Unit: unit, W: 640, H: 220, Left: 48, Right: 628, Top: 26, Bottom: 178}
	top := low
	for _, s := range ss {
		if !math.IsNaN(s.v) {
			top = math.Max(top, math.Max(s.v, nanless(s.hi, s.v)))
		}
	}
	step := niceStep(top, 4)
	top = math.Ceil(top/step) * step
	if to <= from {
		to = from + 365
	}
	pad := (to - from) * 0.03
	x := func(d float64) float64 { return c.Left + (d-from+pad)/(to-from+2*pad)*(c.Right-c.Left) }
	y := func(v float64) float64 { return c.Bottom - math.Min(math.Max(v, 0), top)/top*(c.Bottom-c.Top) }
	for v := 0.0; v <= top+step/2; v += step {
		c.YTicks = append(c.YTicks, Tick{y(v), trim(v)})
	}
	first, last := time.Unix(int64(from*86400), 0).UTC().Year(), time.Unix(int64(to*86400), 0).UTC().Year()
	every := max(1, (last-first+9)/10)
	for yr := first; yr <= last+1; yr += every {
		if d := float64(time.Date(yr, 1, 1, 0, 0, 0, 0, time.UTC).Unix()) / 86400; d >= from-pad && d <= to+pad {
			c.XTicks = append(c.XTicks, Tick{x(d), fmt.Sprint(yr)})
		}
	}
	if len(c.XTicks) == 0 {
		c.XTicks = append(c.XTicks, Tick{x(from), time.Unix(int64(from*86400), 0).UTC().Format(time.DateOnly)})
	}
	var line, up, down []string
	var told []string
	for _, s := range ss {
		if math.IsNaN(s.v) || math.IsNaN(s.day) {
			continue
		}
		p := ChartPoint{X: x(s.day), Y: y(s.v), YLo: y(nanless(s.lo, s.v)), YHi: y(nanless(s.hi, s.v))}
		p.Text = fmt.Sprintf("%s: %s", s.visit, span(s.v, s.lo, s.hi, unit))
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
	for _, m := range marks {
		if m.X >= from-pad && m.X <= to+pad {
			m.X = x(m.X)
			c.Marks = append(c.Marks, m)
		}
	}
	return c
}

func nanless(v, other float64) float64 {
	if math.IsNaN(v) {
		return other
	}
	return v
}

// span writes a figure with its interval: "12.3 % (9.8 to 15.1)".
func span(v, lo, hi float64, unit string) string {
	if math.IsNaN(v) {
		return "–"
	}
	s := table.Number(v, 1)
	if unit != "" {
		s += " " + unit
	}
	if !math.IsNaN(lo) && !math.IsNaN(hi) {
		s += " (" + table.Number(lo, 1) + " to " + table.Number(hi, 1) + ")"
	}
	return s
}

func trim(v float64) string {
	s := table.Number(v, 2)
	s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	if s == "" {
		return "0"
	}
	return s
}
