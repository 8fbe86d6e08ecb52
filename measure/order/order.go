package order

import (
	"cmp"
	"math"
	"slices"
)

// Zone is what is known of a zone on its last measured visit. NaN = not known.
type Zone struct {
	View, ID  string
	Title     string  // shown to people, "" = ID
	Visit     string  // ISO date the figures are of
	Cm2       float64 // whitened area, and its interval at 95 %
	Cm2Lo     float64
	Cm2Hi     float64
	Pct       float64 // whitened share of the read tile area, and its interval
	PctLo     float64
	PctHi     float64
	Told      float64 // smallest share that can be told from none, percent
	Growth    float64 // cm² a year; of the share when areas are not known
	GrowthLo  float64
	GrowthHi  float64
	AtRisk    int     // present tiles with a missing neighbour
	Missing   int     // tiles
	Blind     bool    // no tile's state is known: AtRisk and Missing say nothing
	SinceDays float64 // since the last recorded work
}

// Rates are the user's, 0 = not given.
type Rates struct {
	M2PerHour   float64 // whitened area cleaned in an hour
	CostPerHour float64
	SetupHours  float64 // a zone
	TileEach    float64 // cost of one tile set again
	Currency    string
}

// Place is a zone's place in the order. NaN = not known, or no rate given.
type Place struct {
	Order            int // from 1
	Zone             Zone
	HoursLo, HoursHi float64 // work on the whitened area and setting up
	CostLo, CostHi   float64 // of these hours, and of the missing tiles when their rate is given
	Reason           Reason
	TilesCosted      bool // the cost includes setting the missing tiles
}

// Reason is why a zone got its place.
type Reason struct {
	Class   Class
	Share   bool // ordered by share, not by area
	Tied    int  // zones that could not be told from the largest left
	Largest bool // it is the largest left
	ByRisk  bool // it has more tiles beside gaps than the largest left
}

// Plan is the whole order.
type Plan struct {
	Places []Place
	Share  bool // ordered by share, not by area: not every zone's area is known
	Last   bool // some zones stand last because their whitening cannot be told from none or was not measured
}

// Class parts the zones that have something to clean from the others.
type Class int

// The classes, in their order.
const (
	ToClean     Class = iota
	NotTold           // whitening cannot be told from none
	NotMeasured       // no whitening was read
)

func (z Zone) class() Class {
	switch {
	case math.IsNaN(z.Pct) && math.IsNaN(z.Cm2):
		return NotMeasured
	case z.Pct < z.Told, z.PctLo <= 0, math.IsNaN(z.PctLo) && z.Cm2Lo <= 0:
		return NotTold
	}
	return ToClean
}

func (z Zone) area(share bool) (v, lo, hi float64) {
	if share {
		v, lo, hi = z.Pct, z.PctLo, z.PctHi
	} else {
		v, lo, hi = z.Cm2, z.Cm2Lo, z.Cm2Hi
	}
	if math.IsNaN(lo) {
		lo = 0
	}
	if math.IsNaN(hi) {
		hi = math.Inf(1) // nothing known of the error: it cannot be told from any larger one
	}
	return v, lo, hi
}

// New puts the zones in order. The order of the input makes no difference; view and zone id decide between equals.
func New(zones []Zone, rates Rates) Plan {
	zones = slices.Clone(zones)
	slices.SortStableFunc(zones, func(a, b Zone) int { return cmp.Or(cmp.Compare(a.View, b.View), cmp.Compare(a.ID, b.ID)) })
	p := Plan{}
	var left [3][]Zone
	for _, z := range zones {
		left[z.class()] = append(left[z.class()], z)
		if z.class() != NotMeasured && math.IsNaN(z.Cm2) {
			p.Share = true
		}
	}
	p.Last = len(left[NotTold])+len(left[NotMeasured]) > 0
	for todo := left[ToClean]; len(todo) > 0; {
		i, tied := next(todo, p.Share)
		l := largest(todo, p.Share)
		p.add(todo[i], rates, Reason{Share: p.Share, Tied: tied, Largest: l == i, ByRisk: todo[i].AtRisk > todo[l].AtRisk})
		todo = slices.Delete(todo, i, i+1)
	}
	for c := NotTold; c <= NotMeasured; c++ {
		slices.SortStableFunc(left[c], func(a, b Zone) int { return cmp.Compare(b.AtRisk, a.AtRisk) })
		for _, z := range left[c] {
			p.add(z, rates, Reason{Share: p.Share, Class: c})
		}
	}
	return p
}

func largest(z []Zone, share bool) int {
	best := 0
	for i := range z {
		a, _, _ := z[i].area(share)
		b, _, _ := z[best].area(share)
		if a > b {
			best = i
		}
	}
	return best
}

// toldApart reports whether one zone's area is larger than another's by more than both readings' errors: the interval of
// the difference, half widths joined in quadrature, lies above zero. That two intervals overlap would not be enough to say
// that the two cannot be told apart.
func toldApart(larger, other Zone, share bool) bool {
	v, lo, _ := larger.area(share)
	w, _, hi := other.area(share)
	return v-w > math.Hypot(v-lo, hi-w)
}

// next returns the zone that the rule takes, and how many others could not be told from the largest.
func next(z []Zone, share bool) (best, tied int) {
	l := largest(z, share)
	best = l
	for i := range z {
		if i == l || toldApart(z[l], z[i], share) {
			continue
		}
		tied++
		if before(z[i], z[best], share) {
			best = i
		}
	}
	return best, tied
}

// before compares two zones that cannot be told apart by area.
func before(a, b Zone, share bool) bool {
	x, _, _ := a.area(share)
	y, _, _ := b.area(share)
	c := cmp.Or(cmp.Compare(b.AtRisk, a.AtRisk), cmp.Compare(growthOf(b), growthOf(a)), cmp.Compare(y, x),
		cmp.Compare(a.View, b.View), cmp.Compare(a.ID, b.ID))
	return c < 0
}

// growthOf places a zone of unknown growth behind those that grow, and before those that shrink.
func growthOf(z Zone) float64 {
	if math.IsNaN(z.Growth) {
		return 0
	}
	return z.Growth
}

func (p *Plan) add(z Zone, r Rates, why Reason) {
	pl := Place{Order: len(p.Places) + 1, Zone: z, Reason: why}
	pl.HoursLo, pl.HoursHi, pl.CostLo, pl.CostHi = math.NaN(), math.NaN(), math.NaN(), math.NaN()
	if r.M2PerHour > 0 && why.Class == ToClean && !math.IsNaN(z.Cm2Lo) && !math.IsNaN(z.Cm2Hi) {
		const cm2PerM2 = 10000
		pl.HoursLo = r.SetupHours + math.Max(0, z.Cm2Lo)/cm2PerM2/r.M2PerHour
		pl.HoursHi = r.SetupHours + z.Cm2Hi/cm2PerM2/r.M2PerHour
		if r.CostPerHour > 0 {
			tiles := float64(z.Missing) * r.TileEach
			pl.TilesCosted = tiles > 0
			pl.CostLo, pl.CostHi = pl.HoursLo*r.CostPerHour+tiles, pl.HoursHi*r.CostPerHour+tiles
		}
	}
	p.Places = append(p.Places, pl)
}
