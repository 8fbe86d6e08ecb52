package associate

import "math"

// Sensitivity is how one test stands when each key (a photo, a visit, a kind of picture) is left out in turn.
type Sensitivity struct {
	ID               string
	All              Result // with everything
	PLo, PHi         float64
	EffectLo         float64 // smallest and largest effect over the runs, NaN = none made
	EffectHi         float64
	EffectLoWithout  string // the key left out in that run
	EffectHiWithout  string
	Changes, NotMade []string // keys without which the finding is another one, or the test can't be made
}

// LeaveOut runs the tests with everything ("") and with each key left out, in the order of keys, and gathers what that
// changes. run must be a pure function of the key.
func LeaveOut(keys []string, run func(without string) []Result) []Sensitivity {
	var r []Sensitivity
	nan := math.NaN()
	for _, a := range run("") {
		r = append(r, Sensitivity{ID: a.ID, All: a, PLo: nan, PHi: nan, EffectLo: nan, EffectHi: nan})
	}
	for _, k := range keys {
		byID := map[string]Result{}
		for _, x := range run(k) {
			byID[x.ID] = x
		}
		for i := range r {
			s := &r[i]
			x, ok := byID[s.ID]
			if !ok || x.Finding == NotMade {
				if s.All.Finding != NotMade {
					s.NotMade = append(s.NotMade, k)
				}
				continue
			}
			if x.Finding != s.All.Finding {
				s.Changes = append(s.Changes, k)
			}
			if !(x.P >= s.PLo) {
				s.PLo = x.P
			}
			if !(x.P <= s.PHi) {
				s.PHi = x.P
			}
			if !(x.Effect >= s.EffectLo) {
				s.EffectLo, s.EffectLoWithout = x.Effect, k
			}
			if !(x.Effect <= s.EffectHi) {
				s.EffectHi, s.EffectHiWithout = x.Effect, k
			}
		}
	}
	return r
}
