package associate

import (
	"cmp"
	"math"
	"slices"

	"tilelapse/measure/middle"
	"tilelapse/measure/trend"
)

// The fixed list of tests, in the order of Tests.
const (
	WhitenedBefore = "whitened-before" // lost tiles were more whitened on an earlier visit
	BesideGap      = "beside-gap"      // losses lay next to earlier gaps
	InGroups       = "in-groups"       // losses of the same time lay next to each other
	StayedShorter  = "stayed-shorter"  // survival by whitening
	GrowthUpkeep   = "growth-upkeep"   // growth without and with recorded work
)

// IDs lists the tests in their fixed order.
func IDs() []string {
	return []string{WhitenedBefore, BesideGap, InGroups, StayedShorter, GrowthUpkeep}
}

// Finding is what a test told.
type Finding int

// The findings: the direction its question asks about, the other one, no difference told, or not made.
const (
	NotMade Finding = iota
	NotTold
	Found
	Reverse
)

// Result is one test with its numbers. NaN = not available.
type Result struct {
	ID        string
	Finding   Finding
	P         float64 // two-sided, for itself
	Made      int     // tests of the list that could be made
	Holm      float64 // corrected for the number of tests made: decides Finding at 1-Level
	BH        float64
	Effect    float64 // odds ratio, ratio of pairs, hazard ratio, or difference in growth a year
	Lo, Hi    float64
	PAlone    float64 // two-sided, as if every tile were on its own
	Inflation float64 // variance with tiles that resemble their neighbours over that with tiles on their own, at least 1
	POnceEach float64 // the same with every cluster of neighbouring losses counted once
	Near      Ratio   // beside-gap: against tiles two or three joints from a gap only
	Losses    int     // losses the test could use
	Untold    int     // losses in groups without comparison
	Counts    Table
	Together  Together
	Survival  Survival
	Shift     Shift
	Cleaned   int        // growth-upkeep: times with an entry that hold a cleaning
	Uncleaned Shift      // growth-upkeep: the same without these
	Medians   [2]float64 // whitening on the earlier visit, percent: kept [0] and lost [1] tiles
}

// Ratio is an odds ratio with its exact interval and two-sided p; NaN = not available.
type Ratio struct{ Value, Lo, Hi, P float64 }

// Tests runs the fixed list of tests, always all of them in the order of IDs; those that cannot be made say so.
// Same inputs, same results.
func Tests(views []View, growths []Growth, o Options) []Result {
	r := []Result{
		whitenedBefore(views),
		besideGap(views),
		inGroups(views, o),
		stayedShorter(views, o),
		growthUpkeep(growths, o),
	}
	p := make([]float64, len(r))
	for i := range r {
		p[i] = r[i].P
	}
	holm, bh := Holm(p), BenjaminiHochberg(p)
	made := 0
	for i := range r {
		if !math.IsNaN(p[i]) {
			made++
		}
	}
	for i := range r {
		r[i].Holm, r[i].BH, r[i].Made = holm[i], bh[i], made
		r[i].decide()
	}
	return r
}

// decide sets the finding from the corrected p-value and the side of the effect.
func (r *Result) decide() {
	none := 1.0
	if r.ID == GrowthUpkeep {
		none = 0
	}
	switch {
	case math.IsNaN(r.P):
		r.Finding = NotMade
	case r.Holm > 1-Level:
		r.Finding = NotTold
	case r.Effect > none:
		r.Finding = Found
	default:
		r.Finding = Reverse
	}
}

func newResult(id string) Result {
	nan := math.NaN()
	return Result{ID: id, P: nan, Holm: nan, BH: nan, Effect: nan, Lo: nan, Hi: nan, POnceEach: nan, PAlone: nan, Inflation: nan, Near: Ratio{nan, nan, nan, nan}, Medians: [2]float64{nan, nan}}
}

func whitenedBefore(views []View) Result {
	r := newResult(WhitenedBefore)
	groups := byGroup(cases(views, true))
	exposeByScale(groups)
	var scale [2][]float64
	for _, g := range groups {
		for _, c := range g {
			i := 0
			if c.lost {
				i = 1
			}
			scale[i] = append(scale[i], c.scale)
		}
	}
	r.Medians = [2]float64{middle.Of(scale[0]), middle.Of(scale[1])}
	r.exact(views, groups)
	return r
}

func besideGap(views []View) Result {
	r := newResult(BesideGap)
	groups := byGroup(cases(views, false))
	exposeByGap(views, groups)
	r.exact(views, groups)
	if near, _, _ := tables(nearGaps(views, groups)); len(near) > 0 {
		e := NewExact(near...)
		r.Near = Ratio{P: e.TwoSided(), Value: e.OddsRatio()}
		r.Near.Lo, r.Near.Hi = e.Interval(Level)
	}
	return r
}

// exact runs the exact test over the groups, and again with clusters of losses counted once.
func (r *Result) exact(views []View, groups [][]atRisk) {
	strata, sum, untold := tables(groups)
	r.Counts, r.Untold = sum, untold
	r.Losses = sum.ExposedLost + sum.OtherLost
	if len(strata) == 0 {
		return
	}
	e := NewExact(strata...)
	r.P, r.Effect = e.TwoSided(), e.OddsRatio()
	r.PAlone = r.P
	r.Lo, r.Hi = e.Interval(Level)
	if r.ID == WhitenedBefore {
		centre := r.Effect
		if centre == 0 || math.IsInf(centre, 1) {
			centre, _, _ = sum.Woolf(Level)
		}
		r.alike(views, residualsOfGroups(views, groups), centre)
	}
	if once, _, _ := tables(onceEach(views, groups)); len(once) > 0 {
		r.POnceEach = NewExact(once...).TwoSided()
	}
}

// alike corrects p and interval for tiles that resemble their neighbours in whitening and in loss: without that, any two
// patchy things seem to go together. The larger p stands.
func (r *Result) alike(views []View, s residuals, centre float64) {
	r.Inflation = math.Max(1, s.variance(views)/s.alone)
	r.P = math.Max(r.PAlone, normalP(s.sum, s.alone*r.Inflation))
	wide := math.Sqrt(r.Inflation)
	r.Lo = centre * math.Pow(r.Lo/centre, wide)
	r.Hi = centre * math.Pow(r.Hi/centre, wide)
}

func inGroups(views []View, o Options) Result {
	r := newResult(InGroups)
	groups := byGroup(cases(views, false))
	for _, g := range groups {
		lost := 0
		for _, c := range g {
			if c.lost {
				lost++
			}
		}
		if lost < len(g) {
			r.Losses += lost
		} else {
			r.Untold += lost
		}
	}
	if r.Losses < 2 {
		return r
	}
	r.Together = together(views, groups, o)
	if r.Together.Hi == 0 && r.Together.Pairs == 0 {
		return r // no arrangement of these losses puts two side by side often enough to tell
	}
	r.P = r.Together.P
	r.Effect = float64(r.Together.Pairs) / r.Together.Expected
	return r
}

// stayedShorter follows every tile from the second visit that saw it, in two groups by its whitening on the first.
func stayedShorter(views []View, o Options) Result {
	r := newResult(StayedShorter)
	type start struct {
		group group
		tile  int
		scale float64
		follow
	}
	var all []start
	for vi, v := range views {
		band := v.bandOf()
		spells := v.spells()
		for len(spells) > 0 {
			n := 1
			for n < len(spells) && spells[n].tile == spells[0].tile {
				n++
			}
			own := spells[:n]
			spells = spells[n:]
			t := v.Tiles[own[0].tile]
			// The first reading with a scale that is followed by another sighting.
			for i := range own {
				k := own[i].from
				if own[i].lost || i+1 == n || math.IsNaN(t.Scale[k]) {
					continue
				}
				end := own[n-1]
				s := start{group: group{vi, t.Zone, band[own[0].tile], 0, own[i].to, k}, tile: own[i].tile, scale: t.Scale[k]}
				s.from, s.seen, s.to, s.lost = v.Visits[own[i].to], v.Visits[end.to], v.Visits[end.to], end.lost
				if end.lost {
					s.seen = v.Visits[end.from]
				}
				all = append(all, s)
				break
			}
		}
	}
	slices.SortStableFunc(all, func(a, b start) int { return compareGroups(a.group, b.group) })
	var members []Member
	var stay [2][]span
	for i := 0; i < len(all); {
		j := i
		var scale []float64
		for ; j < len(all) && all[j].group == all[i].group; j++ {
			scale = append(scale, all[j].scale)
		}
		m := middle.Of(scale)
		stratum := i
		for ; i < j; i++ {
			members = append(members, Member{
				Follow:  Follow{(all[i].to.Mid() - all[i].from.Mid()) / trend.YearDays, all[i].lost},
				Exposed: all[i].scale > m, Stratum: stratum, view: all[i].group.view, tile: all[i].tile,
			})
			g := 0
			if all[i].scale > m {
				g = 1
			}
			stay[g] = append(stay[g], all[i].span())
			if all[i].lost {
				r.Losses++
			}
		}
	}
	if len(members) == 0 {
		return r
	}
	r.Survival = newSurvival(members, o)
	r.Survival.Curves = [2]Curve{newCurve(stay[0]), newCurve(stay[1])}
	r.P, r.Effect, r.Lo, r.Hi = r.Survival.P, r.Survival.Ratio, r.Survival.Lo, r.Survival.Hi
	r.PAlone = r.P
	if !math.IsNaN(r.P) {
		r.alike(views, residualsOfMembers(views, members), r.Effect)
	}
	return r
}

// follow is a tile's time under observation, dated: seen from the visit from on, last seen on seen, and missed on to
// when it was lost, else seen on to.
type follow struct {
	from, seen, to trend.Span
	lost           bool
}

// span is the time in years, as wide as dates that are ranges leave it.
func (f follow) span() span {
	years := func(from, to int) float64 { return math.Max(0, float64(to-from)) / trend.YearDays }
	s := span{least: years(f.from.To, f.seen.From), most: years(f.from.From, f.to.To), lost: f.lost}
	if !f.lost {
		s.most = years(f.from.From, f.seen.To)
	}
	return s
}

func growthUpkeep(growths []Growth, o Options) Result {
	r := newResult(GrowthUpkeep)
	use := slices.DeleteFunc(slices.Clone(growths), func(g Growth) bool { return math.IsNaN(g.PerYear) || g.Work == g.Silent })
	slices.SortStableFunc(use, func(a, b Growth) int {
		return cmp.Or(cmp.Compare(a.View, b.View), cmp.Compare(a.Zone, b.Zone), cmp.Compare(a.From.From, b.From.From))
	})
	r.Shift = NewShift(byZone(use), o)
	r.P, r.Effect, r.Lo, r.Hi = r.Shift.P, r.Shift.Estimate, r.Shift.Lo, r.Shift.Hi
	n := len(use)
	use = slices.DeleteFunc(use, func(g Growth) bool { return g.Work && g.Cleaned })
	r.Cleaned = n - len(use)
	r.Uncleaned = NewShift(byZone(use), o)
	return r
}

// byZone parts growths, sorted by view and zone, into those of times without [0] and with [1] an entry of each zone.
func byZone(gs []Growth) [][2][]float64 {
	var strata [][2][]float64
	for i, g := range gs {
		if i == 0 || g.View != gs[i-1].View || g.Zone != gs[i-1].Zone {
			strata = append(strata, [2][]float64{})
		}
		k := 0
		if g.Work {
			k = 1
		}
		s := &strata[len(strata)-1]
		s[k] = append(s[k], g.PerYear)
	}
	return strata
}
