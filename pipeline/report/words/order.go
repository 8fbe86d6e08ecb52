package words

import (
	"fmt"
	"math"
	"strings"

	"tilelapse/measure/order"
)

// Area writes an area in the units of who asks, with its interval unless lo or hi is NaN.
type Area func(cm2, lo, hi float64) string

// SquareCentimetres writes areas in cm², as the tables do.
func (t Table) SquareCentimetres(cm2, lo, hi float64) string {
	if math.IsNaN(lo) || math.IsNaN(hi) {
		return t.Say("why.area.bare", t.size(cm2))
	}
	return t.Say("why.area", t.size(cm2), t.size(lo), t.size(hi))
}

// Rule words the rule of a cleaning order, with the sentences that apply.
func (t Table) Rule(p order.Plan) string {
	s := t.Say("rule.order")
	if p.Share {
		s += " " + t.Say("rule.share")
	}
	if p.Last {
		s += " " + t.Say("rule.last")
	}
	return s
}

// Why words why a zone stands at its place. since says when work was last recorded, "" = nothing is said of it.
func (t Table) Why(p order.Place, area Area, since string) string {
	z, r := p.Zone, p.Reason
	var s []string
	add := func(key string, args ...any) { s = append(s, t.Say("why."+key, args...)) }
	switch {
	case r.Class == order.NotMeasured:
		add("notmeasured")
	case r.Class == order.NotTold:
		add("nottold")
	case r.Largest && r.Tied > 0:
		add("ahead", r.Tied)
	case r.Largest && p.Order == 1:
		add("first")
	case r.Largest:
		add("largest")
	case r.ByRisk:
		add("risk", z.AtRisk)
	default:
		add("growth")
	}
	if r.Class != order.NotMeasured {
		if r.Share {
			add("share", t.size(z.Pct), t.size(z.PctLo), t.size(z.PctHi))
		} else {
			s = append(s, area(z.Cm2, z.Cm2Lo, z.Cm2Hi))
		}
		switch {
		case math.IsNaN(z.Growth):
			add("grows.none")
		case r.Share && (math.IsNaN(z.GrowthLo) || math.IsNaN(z.GrowthHi)):
			add("grows", t.Say("why.points.bare", t.size(z.Growth)))
		case r.Share:
			add("grows", t.Say("why.points", t.size(z.Growth), t.size(z.GrowthLo), t.size(z.GrowthHi)))
		default:
			add("grows", area(z.Growth, z.GrowthLo, z.GrowthHi))
		}
	}
	if z.AtRisk > 0 && !(r.ByRisk && !r.Largest) {
		add("beside", z.AtRisk)
	}
	if z.Missing > 0 && p.TilesCosted {
		add("tiles.cost", z.Missing)
	} else if z.Missing > 0 {
		add("missing", z.Missing)
	}
	if since != "" {
		s = append(s, since)
	}
	return strings.Join(s, "; ")
}

// size writes a number with two digits that mean something.
func (t Table) size(v float64) string {
	switch a := math.Abs(v); {
	case math.IsNaN(v):
		return t.Say("figure.unknown")
	case a >= 10 || a == 0:
		return fmt.Sprintf("%.0f", v)
	case a >= 0.95:
		return fmt.Sprintf("%.1f", v)
	}
	return fmt.Sprintf("%.2g", v)
}

// Caution is a sentence that stands beside every work, and where it comes from.
type Caution struct{ Key, Text, Source string }

// Cautions words what stands beside every cleaning order, in its order.
func (t Table) Cautions() []Caution {
	var c []Caution
	for _, k := range order.Cautions() {
		c = append(c, Caution{k, t.Say("caution." + k), t.Say("caution." + k + ".source")})
	}
	return c
}

// Steps words the permitted work of a trade, mildest first.
func (t Table) Steps(trade string) []string {
	var s []string
	for n := 1; ; n++ {
		text, ok := t[fmt.Sprintf("step.%s.%d", trade, n)]
		if !ok {
			return s
		}
		s = append(s, text)
	}
}
