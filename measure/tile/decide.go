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

// over is half the square of x in deviations d, 0 below 0: for figures without a tail.
func over(x, d float64) float64 {
	x = math.Max(0, x) / d
	return x * x / 2
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
	bed := 2 + 1.5*miss(e.Bed/4) - over(e.Bed-6, 2.5) + miss((0.4-e.Coarse)/0.3) + gone + intact + miss((kept+0.3)/0.1) + miss((e.Contrast-0.3)/0.3) + miss((e.Uneven-1)/1.5)
	other := miss((e.Rough-0.2)/0.3) + gone + intact + miss((kept+0.15)/0.1) + miss((e.Uneven-3)/3) + miss((e.Patchy-0.4)/0.3)
	front := 0 + 1.5*sight*miss((e.Around-0.05)/0.2)
	// one changed tile leaves some sides as they were, a group of them at least a few
	open := 1.5*sight*miss((0.6-e.Seen)/0.2) - 0.5
	visible = math.Max(visible, open)
	return Scores{Own: own + visible, Bed: bed + visible, Other: other + visible, Front: front}
}

// Decide tells every tile's state in every photo, ev and calls being photos x tiles. The order of the photos does not
// matter. A photo's own pixels make a finding; the others may only withdraw it: a loss of which the photo itself is not
// sure stands only where another photo is sure of the same, else it is unreadable.
func (s *Surface) Decide(ev [][]Evidence) [][]Call {
	calls := make([][]Call, len(ev))
	lost := make([][]float64, len(ev))
	for p := range ev {
		calls[p], lost[p] = s.decide(ev[p])
	}
	for p := range calls {
		for t := range calls[p] {
			c := &calls[p][t]
			if c.State != Missing && c.State != OffPalette || c.Confidence >= sure {
				continue
			}
			upheld := false
			for q := range calls {
				upheld = upheld || q != p && calls[q][t].State == c.State && lost[q][t] >= certain
			}
			if !upheld {
				*c = Call{Unreadable, 1 - math.Abs(2*c.Confidence-1), "changed or not: in doubt"}
			}
		}
	}
	return calls
}

// A loss is stated from sure on; from certain on it upholds a weaker finding in another photo; under likely it is no
// finding. Probabilities.
const (
	likely  = 0.5
	sure    = 0.85
	certain = 0.9
)

func (s *Surface) decide(ev []Evidence) (calls []Call, lost []float64) {
	calls, lost = make([]Call, len(ev)), make([]float64, len(ev))
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
		calls[t], lost[t] = s.call(t, &ev[t], sc[t], front)
	}
	return calls, lost
}

// call tells a tile's state from its own photo and the probability that it is lost, whatever kind of loss it is.
func (s *Surface) call(t int, e *Evidence, sc Scores, front []float64) (c Call, lost float64) {
	lost = chance(math.Max(sc.Bed, sc.Other) + math.Log1p(math.Exp(-math.Abs(sc.Bed-sc.Other))) - sc.Own)
	var covered float64
	for _, u := range s.lay.nbr[t] {
		if front[u] > 0.5 {
			covered += 1 / float64(len(s.lay.nbr[t]))
		}
	}
	switch {
	case e.InFrame < 0.5:
		return Call{Outside, 1, "less than half in frame"}, 0
	case e.Usable < 0.4 || math.IsNaN(e.Change):
		return Call{Unreadable, 1, "clipped or glare"}, 0
	case front[t] > 0.5:
		return Call{Hidden, front[t], "something stands in front"}, 0
	case lost < 0.2:
		return Call{Present, 1 - lost, ""}, lost
	case lost < likely:
		return Call{Unreadable, 2 * lost, "changed or not: in doubt"}, lost
	case covered > 0.3:
		return Call{Hidden, 0.5, "beside what stands in front"}, 0
	case sc.Bed >= sc.Other:
		return Call{Missing, lost, "the bed shows"}, lost
	default:
		return Call{OffPalette, lost, "another glaze, outline intact"}, lost
	}
}

// chance is the probability that goes with a log odds.
func chance(odds float64) float64 { return 1 / (1 + math.Exp(-odds)) }
