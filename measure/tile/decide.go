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

// Call is a tile's state in a photo, how sure that is (0..1) and in short words why ("" = nothing to add).
type Call struct {
	State      string  `json:"state"`
	Confidence float64 `json:"confidence"`
	Reason     string  `json:"reason,omitempty"`
}

// Scores of the explanations of a tile: logarithms of likelihoods times priors, up to a constant common to all.
type Scores struct {
	Own   float64 // its own glaze under some light, scale, dirt
	Bed   float64 // the bare bed
	Other float64 // another glaze evenly inside the same outline
	Front float64 // something in front
}

// lost is the log odds that the tile is gone or another, against its being there.
func (s Scores) lost() float64 {
	return math.Max(s.Bed, s.Other) + math.Log1p(math.Exp(-math.Abs(s.Bed-s.Other))) - s.Own
}

// rest is the best explanation but something in front.
func (s Scores) rest() float64 { return max(s.Own, s.Bed, s.Other) }

// unit limits x to [0,1].
func unit(x float64) float64 { return math.Max(0, math.Min(1, x)) }

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

// sunk is how far scale on tile and joint explains that nothing is left of a dark glaze: 0 not at all, 1 wholly.
func (e *Evidence) sunk() float64 {
	return unit((0.7-e.Contrast)/0.4) * unit(1-e.Change/4) * unit(e.Veil/(0.5*math.Max(e.Alpha, e.Thick)+0.01))
}

// believed is the share of thick scale on a tile that is believed: as far as the joint is scaled too, half of it where scale
// lies in patches, all of it where it covers the tile evenly, for such scale does not end at the tile's outline.
func (e *Evidence) believed() float64 {
	even := unit((0.25-(e.Deep-e.Thin))/0.15) * unit((e.Thin-0.3)/0.2)
	return math.Min(1, math.Max(0, e.Veil)/(0.5*(1+even)*math.Max(0.1, e.Alpha)))
}

// Score weighs the explanations of one tile against each other, before its neighbours are heard. The constants are set by
// what the figures are, seen on rendered scenes and real photographs without change; none was fitted by a search.
func (e *Evidence) Score() Scores {
	// the surroundings: as in the reference, or on most sides at least, or not to be seen; what they can tell hangs on their
	// contrast in the reference
	sight := e.Relief * e.Relief / (e.Relief*e.Relief + 0.15*0.15)
	visible := math.Max(1.5*sight*miss((0.7-e.Around)/0.2), 1.5*sight*miss((0.6-e.Seen)/0.2)-0.5)
	// the joint's own mottling on most sides: changed neighbours do not touch it, and what stands in front, coming from a
	// side, covers it too; scale and light spoil it, so that its lack tells less
	if e.Rim > 0 {
		visible = math.Max(visible, 2*miss((0.65-e.Hem)/0.2)-0.5)
	}

	// under thick scale on tile and joint alike neither structure nor glaze is left to be seen; white things in front are
	// smoother, a bed is darker
	buried := unit((e.Alpha-0.3)/0.4) * unit(1-e.Change/4) * unit(e.Veil/(0.5*e.Alpha+0.01)) * unit((e.Coarse+0.5)/0.5)
	open := 1 - buried

	// where the joint has changed as much as the tile, light or a film explains both
	film := math.Max(0, e.Joint-2)
	change := math.Max(0, math.Min(e.Change, 2*e.Clean)-film)
	clean := e.Clean
	believed := e.believed()
	if e.Alpha > 0.1 {
		clean -= math.Max(0, clean-e.Change) * believed
	}
	clean = math.Max(0, clean-film)
	noise := 1.5 * (1 + e.Noise)
	kept := e.Whole - e.Usual
	// where scale could make the colour too, it takes more to tell a bed from scale, and another glaze is unlikely
	alike := math.Max(0, 1-e.Change/4) * (1 - (1-believed)*unit((e.Alpha-0.3)/0.3))
	own := 5 + miss(change/noise) + open*((2.5-alike)*miss(clean/noise)+1.5*miss(-kept/0.2)+miss((e.Rough-0.3)/0.25))

	// a change of the tile alone leaves the joint as it was and nothing of the tile's pattern
	alone := 2 * miss((e.Joint-1)/3)
	bed := 2 - 4*buried + alone + miss((e.Own-0.2)/0.2) +
		(1+alike)*(1.5*miss(e.Bed/4)-over(e.Bed-6, 2.5)) - 3*math.Max(0, 1-e.Odd/6) + // of the joint's colour, which the tile was not
		1.5*(1+alike)*miss((0.4-e.Coarse)/0.2) + // rough
		(1+alike)*(miss((kept+0.3)/0.1)+miss((e.Contrast-0.3+0.15*alike)/0.3)) + // no step from the joint
		miss((e.Uneven-1)/1.5)
	// another tile is shaped, and shaded, like the one before
	other := alone + miss((e.Own-0.45)/0.2) - 2.5*alike - 2*buried - 1.5*unit((5-e.Bed)/3)*unit(e.Odd/10-1) + // seldom just of the joint's colour
		miss((e.Rough-0.2)/0.3) + miss((kept+0.15)/0.1) + miss((e.Uneven-3)/3) + miss((e.Patchy-0.4)/0.3)
	// another glaze keeps the outline: with neither it nor the joint in sight there may be anything
	other -= 3 * unit((0.12-e.Outline)/0.1) * unit((0.35-e.Hem)/0.25)
	// beside what is clipped the rest is seldom as it should be
	glare := 6 * math.Max(0, 0.85-e.Usable)
	bed, other = bed-glare, other-glare
	front := 1.5*sight*miss((e.Around-0.05)/0.2) + 2.5*miss((e.Hem-0.1)/0.25) + 2*miss((e.Outline-0.1)/0.1)
	return Scores{Own: own + open*visible, Bed: bed + visible, Other: other + visible, Front: front}
}

// A loss is stated from sure on; from certain on it upholds a weaker finding in another photo; from likely on it is a
// finding; below doubtful the tile is present. Probabilities.
const (
	doubtful = 0.2
	likely   = 0.5
	sure     = 0.66
	certain  = 0.9
)

// inPlainSight is the Hem from which on nothing can stand in front of a whole tile. Behind things Rim stays under 0.15 in
// 95 of 100 cases, here and there at 0.36 (rendered scenes).
const inPlainSight = 0.65

// bared says that nothing stands in front, because a thing that comes from a side and covers all of a tile would cover
// its joint too, and nothing of the tile's own colour is left.
func (e *Evidence) bared() bool {
	return (e.Rim > 0.4 && e.Hem >= inPlainSight || e.Outline >= 0.2) && e.Clean >= 6 && e.Uneven < 6
}

const inDoubt = "changed or not: in doubt"

// Decide tells every tile's state in every photo, ev and calls being photos x tiles. The order of the photos does not
// matter. A photo's own pixels make a finding; the others may only withdraw it: a loss of which the photo itself is not
// sure stands only where another photo is certain of the same, else the tile is unreadable.
func (s *Surface) Decide(ev [][]Evidence) [][]Call {
	calls := make([][]Call, len(ev))
	lost := make([][]float64, len(ev))
	for p := range ev {
		calls[p], lost[p] = s.decide(ev[p])
	}
	withdrawn := make([][]bool, len(ev))
	for p := range calls {
		withdrawn[p] = make([]bool, len(calls[p]))
		for t, c := range calls[p] {
			if c.State != Missing && c.State != OffPalette || lost[p][t] >= sure {
				continue
			}
			withdrawn[p][t] = true
			for q := range calls {
				if q != p && calls[q][t].State == c.State && lost[q][t] >= certain {
					withdrawn[p][t] = false
				}
			}
		}
	}
	for p := range calls {
		for t := range calls[p] {
			if withdrawn[p][t] {
				calls[p][t] = Call{Unreadable, lost[p][t], inDoubt}
			}
			c := &calls[p][t]
			c.Confidence = math.Round(c.Confidence*1e4) / 1e4
		}
	}
	return calls
}

// decide tells the states of one photo from itself, and for each tile the probability that it is lost.
func (s *Surface) decide(ev []Evidence) (calls []Call, lost []float64) {
	sc := make([]Scores, len(ev))
	for t := range ev {
		sc[t] = ev[t].Score()
	}
	front := s.front(ev, sc)
	calls, lost = make([]Call, len(ev)), make([]float64, len(ev))
	for t := range ev {
		calls[t], lost[t] = s.call(t, ev, sc[t], front)
	}
	s.spill(ev, calls, lost)
	s.crowd(ev, calls)
	return calls, lost
}

// crowd doubts beds that scale could explain too where many tiles around have changed like that: scale comes in fields,
// and losses of so many tiles show colours that scale does not make, or leave the joints as they were.
func (s *Surface) crowd(ev []Evidence, calls []Call) {
	const (
		around   = 24
		most     = 0.3 // share of the tiles around
		scalable = 4   // Change that scale explains
	)
	var doubt []int
	for t := range calls {
		if calls[t].State != Missing || ev[t].Change > scalable || ev[t].Veil <= 0.05 && ev[t].Rim >= 0.6 {
			continue
		}
		n, k := 0, 0
		for _, u := range s.lay.hood[t][:min(around, len(s.lay.hood[t]))] {
			if !ev[u].Read {
				continue
			}
			n++
			if calls[u].State != Present && ev[u].Change <= scalable {
				k++
			}
		}
		if float64(k) > most*float64(n) {
			doubt = append(doubt, t)
		}
	}
	for _, t := range doubt {
		calls[t] = Call{Unreadable, calls[t].Confidence, "scale or bed: in doubt"}
	}
}

// alikeLab is the CIELAB distance within which two neighbouring tiles may show one and the same thing.
const alikeLab = 6

// spill hides lost tiles of one colour with what stands in front right beside them, and on from there: a thing's edge
// leaves part of the surroundings in sight.
func (s *Surface) spill(ev []Evidence, calls []Call, lost []float64) {
	var queue []int
	for t := range calls {
		if calls[t].State == Hidden {
			queue = append(queue, t)
		}
	}
	for ; len(queue) > 0; queue = queue[1:] {
		t := queue[0]
		for _, u := range s.lay.nbr[t] {
			if st := calls[u].State; st != Missing && st != OffPalette || ev[u].bared() {
				continue
			}
			var d float64
			for c := range 3 {
				x := ev[t].Lab[c] - ev[u].Lab[c]
				d += x * x
			}
			if d < alikeLab*alikeLab {
				calls[u], lost[u] = Call{Hidden, 0.5, "like what stands in front beside it"}, 0
				queue = append(queue, u)
			}
		}
	}
}

// front is the probability that something stands in front of each tile, its neighbours heard: what stands in front seldom
// covers one tile alone.
func (s *Surface) front(ev []Evidence, sc []Scores) []float64 {
	const rounds = 5
	front := make([]float64, len(ev))
	for t := range ev {
		if ev[t].Read {
			front[t] = chance(sc[t].Front - sc[t].rest())
		}
	}
	for range rounds {
		next := make([]float64, len(ev))
		for t := range ev {
			if !ev[t].Read {
				continue
			}
			var sum, n float64
			for _, u := range s.lay.nbr[t] {
				if ev[u].Read {
					sum += front[u]
					n++
				}
			}
			prior := -2.0
			if n > 0 {
				prior = -3 + 10*sum/n
			}
			next[t] = chance(prior + sc[t].Front - sc[t].rest())
		}
		front = next
	}
	return front
}

// call tells a tile's state from its own photo and the probability that it is lost, whatever kind of loss it is.
func (s *Surface) call(t int, ev []Evidence, sc Scores, front []float64) (c Call, lost float64) {
	gap := s.gaps != nil && s.gaps[t]
	if s.scaled != nil && s.scaled[t] {
		sc.Own += 3 // its glaze was never seen clean: it may well look another once the scale is off
	}
	lost = chance(sc.lost())
	covered, edge, torn := 0.0, false, false
	for _, u := range s.lay.nbr[t] {
		if front[u] > 0.5 {
			covered += 1 / float64(len(s.lay.nbr[t]))
		}
		edge = edge || front[u] > 0.5 || s.partly(u, &ev[u])
		torn = torn || s.partly(u, &ev[u]) && s.faces(u, t, &ev[u])
	}
	e := &ev[t]
	switch {
	case e.InFrame < 0.5:
		return Call{Outside, 1, "less than half in frame"}, 0
	case e.Usable < 0.4 || !e.Read:
		return Call{Unreadable, 1, "clipped, glare or not aligned"}, 0
	case front[t] > 0.5:
		return Call{Hidden, front[t], "something stands in front"}, 0
	case gap && (lost < likely || sc.Bed >= sc.Other):
		return Call{Missing, 1 - chance(sc.Other-math.Max(sc.Own, sc.Bed)), "gone already in the reference"}, 1
	case gap && lost >= sure:
		return Call{Present, lost, "filled since the reference"}, 0
	case gap:
		return Call{Unreadable, lost, inDoubt}, 0
	case lost < doubtful:
		return Call{Present, 1 - lost, ""}, lost
	case lost < likely:
		return Call{Unreadable, lost, inDoubt}, lost
	case !e.bared() && (covered > 0.3 || torn || edge && sc.Front > math.Max(sc.Bed, sc.Other)-2):
		return Call{Hidden, 0.5, "beside what stands in front"}, 0
	case sc.Bed >= sc.Other && e.sunk() > 0.3 && e.Veil > 0.1:
		return Call{Unreadable, lost, "scale or bed: in doubt"}, 0
	case sc.Bed >= sc.Other:
		return Call{Missing, lost, "the bed shows"}, lost
	default:
		return Call{OffPalette, lost, "another glaze, outline intact"}, lost
	}
}
