package order

import (
	"fmt"
	"math"
	"strings"
)

// reason is why a zone got its place.
type reason struct {
	class   class
	share   bool
	tied    int  // zones that could not be told from the largest left
	largest bool // it is the largest left
	first   bool
	byRisk  bool // it has more tiles beside gaps than the largest left
}

// Wordings holds every sentence of the reasons; another language replaces it.
var Wordings = map[string]string{
	"first":       "largest whitened area",
	"largest":     "largest whitened area of those left",
	"risk":        "its area cannot be told from the largest of those left; %d tiles beside gaps decide",
	"growth":      "its area cannot be told from the largest of those left, tiles beside gaps are as many; growth decides",
	"ahead":       "largest whitened area; %d more cannot be told from it and have no more tiles beside gaps",
	"area":        "%s cm² (%s to %s)",
	"share":       "%s %% of its tiles' area (%s to %s)",
	"grows":       "grows by %s %s a year",
	"grows.range": "grows by %s %s a year (%s to %s)",
	"grows.none":  "growth not known",
	"unit.area":   "cm²",
	"unit.share":  "percentage points",
	"beside":      "%d tiles beside gaps",
	"missing":     "%d tiles missing",
	"tiles.cost":  "cost includes setting %d missing tiles",
	"nottold":     "whitening cannot be told from none here: no cleaning to plan from these photographs",
	"notmeasured": "not measured: a place in the order cannot be given",
	"unknown":     "not known",
}

func say(key string, args ...any) string { return fmt.Sprintf(Wordings[key], args...) }

func (r reason) words(z Zone, rates Rates) string {
	var s []string
	add := func(key string, args ...any) { s = append(s, say(key, args...)) }
	switch {
	case r.class == notMeasured:
		add("notmeasured")
	case r.class == notTold:
		add("nottold")
	case r.largest && r.tied > 0:
		add("ahead", r.tied)
	case r.largest && r.first:
		add("first")
	case r.largest:
		add("largest")
	case r.byRisk:
		add("risk", z.AtRisk)
	default:
		add("growth")
	}
	unit := "unit.area"
	if r.class != notMeasured {
		if r.share {
			unit = "unit.share"
			add("share", number(z.Pct), number(z.PctLo), number(z.PctHi))
		} else {
			add("area", number(z.Cm2), number(z.Cm2Lo), number(z.Cm2Hi))
		}
		switch {
		case math.IsNaN(z.Growth):
			add("grows.none")
		case math.IsNaN(z.GrowthLo) || math.IsNaN(z.GrowthHi):
			add("grows", number(z.Growth), say(unit))
		default:
			add("grows.range", number(z.Growth), say(unit), number(z.GrowthLo), number(z.GrowthHi))
		}
	}
	if z.AtRisk > 0 && !(r.byRisk && !r.largest) {
		add("beside", z.AtRisk)
	}
	if z.Missing > 0 {
		if rates.TileEach > 0 && rates.M2PerHour > 0 && rates.CostPerHour > 0 && r.class == toClean && !r.share {
			add("tiles.cost", z.Missing)
		} else {
			add("missing", z.Missing)
		}
	}
	if z.Since != "" {
		s = append(s, z.Since)
	}
	return strings.Join(s, "; ")
}

func number(v float64) string {
	switch a := math.Abs(v); {
	case math.IsNaN(v):
		return say("unknown")
	case a >= 10 || a == 0:
		return fmt.Sprintf("%.0f", v)
	case a >= 0.95:
		return fmt.Sprintf("%.1f", v)
	}
	return fmt.Sprintf("%.2g", v)
}
