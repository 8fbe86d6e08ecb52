package report

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"tilelapse/measure/associate"
	"tilelapse/pipeline/report/words"
	"tilelapse/pipeline/table"
)

// stayChart shows how long tiles stayed, a curve for each of two groups, in SVG user units.
type stayChart struct {
	Desc                     string
	W, H                     float64
	Left, Right, Top, Bottom float64
	YTicks, XTicks           []Tick
	Groups                   []stayGroup
	Rows                     []stayRow
	Broken                   bool // the axis does not begin at 0
}

// TickEnd is how far down a tick of the time axis reaches.
func (c stayChart) TickEnd() float64 { return c.Bottom + 5 }

// stayGroup is one group's curve: the strip that the dates leave open, and the interval's ends.
type stayGroup struct {
	Label, Kind         string
	Strip, Line, Lo, Hi string
}

// stayRow is what both curves say of one time.
type stayRow struct {
	Time  string
	Cells []string
}

// stayKinds tell the groups apart without colour: a solid and a dashed line.
var (
	stayKinds = [2]string{"solid", "dashed"}
	stayNames = [2]string{"stay.others", "stay.whitened"}
)

// newStay draws the curves, nil when no tile of either group was followed.
func newStay(curves [2]associate.Curve, w words.Table) *stayChart {
	until := math.Max(curves[0].Until(), curves[1].Until())
	if !(until > 0) {
		return nil
	}
	c := &stayChart{W: chartW, H: chartTop + plotH + 40, Left: 56, Right: chartW - 12, Top: chartTop, Bottom: chartTop + plotH + 18}
	low := 1.0
	for _, g := range curves {
		for _, s := range g.Early {
			low = math.Min(low, s.Lo)
		}
	}
	if low = math.Floor(low*10) / 10; low < 0.5 {
		low = 0
	}
	low = math.Min(low, 0.9)
	c.Broken = low > 0
	x := func(t float64) float64 { return c.Left + t/until*(c.Right-c.Left) }
	y := func(s float64) float64 { return c.Bottom - math.Max(0, (s-low)/(1-low))*(c.Bottom-c.Top) }
	for s, step := low, niceStep((1-low)*100, 4)/100; s < 1+step/2; s += step {
		c.YTicks = append(c.YTicks, Tick{y(math.Min(s, 1)), trim(100*s) + " %"})
	}
	step := niceStep(until, 6)
	for t := 0.0; t <= until+1e-9; t += step {
		c.XTicks = append(c.XTicks, Tick{x(t), trim(t)})
	}
	for i, g := range curves {
		if g.N == 0 {
			continue
		}
		name := w.Say(stayNames[i], g.N, g.Lost)
		late := stairs(g.Late, until, x, y, func(s associate.Step) float64 { return s.Surviving })
		early := stairs(g.Early, until, x, y, func(s associate.Step) float64 { return s.Surviving })
		c.Groups = append(c.Groups, stayGroup{
			Label: name, Kind: stayKinds[i], Line: path(late), Strip: path(slices.Concat(late, reversed(early))) + " Z",
			Lo: path(stairs(g.Early, until, x, y, func(s associate.Step) float64 { return s.Lo })),
			Hi: path(stairs(g.Late, until, x, y, func(s associate.Step) float64 { return s.Hi })),
		})
	}
	for t := step; t <= until+1e-9; t += step {
		r := stayRow{Time: trim(t)}
		for _, g := range curves {
			if g.N > 0 {
				r.Cells = append(r.Cells, stands(g.Stand(t), w))
			}
		}
		c.Rows = append(c.Rows, r)
	}
	for i, g := range c.Groups {
		var told []string
		for _, r := range c.Rows {
			told = append(told, w.Say("stay.after", r.Time, r.Cells[i]))
		}
		c.Desc += g.Label + ": " + strings.Join(told, "; ") + ". "
	}
	c.Desc = strings.TrimSpace(c.Desc)
	return c
}

// stands writes what a curve says of one time.
func stands(s associate.Stand, w words.Table) string {
	if math.IsNaN(s.Least) {
		return w.Say("stay.beyond")
	}
	pct := func(v float64) string { return table.Number(100*v, 1) }
	share := pct(s.Most)
	if pct(s.Least) != share {
		share = w.Say("stay.range", pct(s.Least), share)
	}
	return w.Say("stay.stands", share, pct(s.Lo), pct(s.Hi), s.AtRisk)
}

// stairs are the corners of a step function from its first step to a time.
func stairs(steps []associate.Step, until float64, x, y func(float64) float64, of func(associate.Step) float64) [][2]float64 {
	var at [][2]float64
	for i, s := range steps {
		if i > 0 {
			at = append(at, [2]float64{x(s.Time), at[len(at)-1][1]})
		}
		at = append(at, [2]float64{x(s.Time), y(of(s))})
	}
	return append(at, [2]float64{x(until), at[len(at)-1][1]})
}

func reversed(at [][2]float64) [][2]float64 {
	out := make([][2]float64, len(at))
	for i, p := range at {
		out[len(at)-1-i] = p
	}
	return out
}

// path writes corners as an SVG path, those on one spot once.
func path(at [][2]float64) string {
	var out []string
	for _, p := range at {
		s := fmt.Sprintf("%.1f,%.1f", p[0], p[1])
		if len(out) == 0 || out[len(out)-1] != s {
			out = append(out, s)
		}
	}
	return "M" + strings.Join(out, " L")
}
