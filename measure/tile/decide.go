package tile

import "math"

// States of a tile in a photo: the contract's words.
const (
	Present    = "present"
	Missing    = "missing"
	OffPalette = "offpalette"
	Hidden     = "hidden"
	Unreadable = "unreadable"
	Outside    = "outside"
)

// Call is a tile's state in a photo, how sure that is (0..1) and in short words why.
type Call struct {
	State      string  `json:"state"`
	Confidence float64 `json:"confidence"`
	Reason     string  `json:"reason,omitempty"`
}

// Scores of the explanations of a tile: logarithms of likelihoods, up to a constant common to all.
type Scores struct {
	Own, Bed, Other, Front float64
}

// miss is the log likelihood of a figure z deviations beyond what is usual: heavy-tailed (Student, 2 degrees of
// freedom), so that no single figure settles a case. Nothing below 0 counts.
func miss(z float64) float64 {
	if !(z > 0) {
		return 0
	}
	return -1.5 * math.Log1p(z*z/2)
}

// Score weighs the explanations of one tile against each other, before its neighbours are heard.
func (e *Evidence) Score() Scores {
	// how much the surroundings can tell hangs on their contrast in the reference
	sight := e.Relief * e.Relief / (e.Relief*e.Relief + 0.15*0.15)
	visible := 1.5 * sight * miss((0.7-e.Around)/0.2)
	gone := miss((e.Own - 0.2) / 0.2)
	noise := 1 + e.Noise
	// where the joint has changed as much as the tile, light or a film explains both
	change := math.Max(0, math.Min(e.Change, 2*e.Clean)-math.Max(0, e.Joint-2))
	clean := e.Clean
	if e.Alpha > 0.1 {
		// thick scale on the tile is believed as far as the joint is scaled too
		clean -= math.Max(0, clean-e.Change) * math.Min(1, math.Max(0, e.Veil)/(0.5*e.Alpha))
	}
	clean = math.Max(0, clean-math.Max(0, e.Joint-2))
	kept := e.Whole - e.Usual
	own := 5 + miss(change/(1.5*noise)) + 2.5*miss(clean/(1.5*noise)) + 1.5*miss(-kept/0.2) + miss((e.Rough-0.3)/0.25)
	intact := 2 * miss((e.Joint-1)/3)
	bed := 2 + 2.5*miss(e.Bed/5) + miss((0.4-e.Coarse)/0.3) + gone + intact + miss((kept+0.3)/0.1) + miss((e.Contrast-0.3)/0.3) + miss((e.Uneven-1)/1.5)
	other := miss((e.Rough-0.2)/0.3) + gone + intact + miss((kept+0.15)/0.1) + miss((e.Uneven-3)/3) + miss((e.Patchy-0.4)/0.3)
	front := -1 + 1.5*sight*miss((e.Around-0.05)/0.2)
	// one changed tile leaves some sides as they were, a group of them at least a few
	open := 1.5*sight*miss((0.6-e.Seen)/0.2) - 0.5
	visible = math.Max(visible, open)
	return Scores{Own: own + visible, Bed: bed + visible, Other: other + visible, Front: front}
}

// Decide tells every tile's state in every photo, ev and calls being photos x tiles. The order of the photos does not
// matter.
func (s *Surface) Decide(ev [][]Evidence) [][]Call {
	calls := make([][]Call, len(ev))
	for p := range ev {
		calls[p] = s.decide(ev[p])
	}
	return calls
}

func (s *Surface) decide(ev []Evidence) []Call {
	calls := make([]Call, len(ev))
	sc := make([]Scores, len(ev))
	front := make([]float64, len(ev))
	for t := range ev {
		sc[t] = ev[t].Score()
		front[t] = chance(sc[t].Front - math.Max(sc[t].Own, math.Max(sc[t].Bed, sc[t].Other)))
	}
	// what stands in front seldom covers one tile alone
	for range 4 {
		next := make([]float64, len(ev))
		for t := range ev {
			var sum float64
			for _, u := range s.lay.nbr[t] {
				sum += front[u]
			}
			prior := -1.0
			if n := len(s.lay.nbr[t]); n > 0 {
				prior = -2 + 8*sum/float64(n)
			}
			next[t] = chance(prior + sc[t].Front - math.Max(sc[t].Own, math.Max(sc[t].Bed, sc[t].Other)))
		}
		front = next
	}
	for t := range ev {
		calls[t] = s.call(t, &ev[t], sc[t], front)
	}
	return calls
}

// sure is the least probability with which a state is stated; in between a tile is unreadable.
const sure = 0.8

func (s *Surface) call(t int, e *Evidence, sc Scores, front []float64) Call {
	lost := math.Max(sc.Bed, sc.Other)
	p := chance(lost - sc.Own)
	var covered float64
	for _, u := range s.lay.nbr[t] {
		if front[u] > 0.5 {
			covered += 1 / float64(len(s.lay.nbr[t]))
		}
	}
	switch {
	case e.InFrame < 0.5:
		return Call{Outside, 1, "less than half in frame"}
	case e.Usable < 0.4 || math.IsNaN(e.Change):
		return Call{Unreadable, 1, "clipped or glare"}
	case front[t] > 0.5:
		return Call{Hidden, front[t], "something stands in front"}
	case p < 1-sure:
		return Call{Present, 1 - p, ""}
	case p < sure:
		return Call{Unreadable, 1, "changed or not, in doubt"}
	case covered > 0.3:
		return Call{Hidden, 0.5, "beside what stands in front"}
	case sc.Bed >= sc.Other:
		return Call{Missing, p, "the bed shows"}
	default:
		return Call{OffPalette, p, "another glaze, outline intact"}
	}
}

// chance is the probability that goes with a log odds.
func chance(odds float64) float64 { return 1 / (1 + math.Exp(-odds)) }
