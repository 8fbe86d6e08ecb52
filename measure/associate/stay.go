package associate

import "math"

// Curve is the share of a group of tiles still there by the time they were followed, in years. A loss happened between
// two visits, so that the curve is worked out twice: Early dates every loss to the last visit that saw the tile, Late to
// the first that missed it, both as wide as dates that are ranges leave them. What lies between the two the dates leave
// open. Intervals hold for tiles on their own; neighbours resemble each other, which makes them too narrow.
type Curve struct {
	N, Lost     int
	Early, Late []Step
}

// span is a tile's time under observation: it was there for at least Least and, when lost, gone after at most Most.
type span struct {
	least, most float64
	lost        bool
}

func newCurve(spans []span) Curve {
	c := Curve{N: len(spans)}
	early, late := make([]Follow, len(spans)), make([]Follow, len(spans))
	for i, s := range spans {
		early[i], late[i] = Follow{s.least, s.lost}, Follow{s.most, s.lost}
		if s.lost {
			c.Lost++
		}
	}
	c.Early, c.Late = stepsOf(early), stepsOf(late)
	return c
}

// stepsOf is Kaplan and Meier's curve, one step a time at which a tile was lost or last followed, from 0 on, with an
// interval also where the formula has none: before the first loss and after the last tile it is the exact one of the
// tiles at risk (Clopper and Pearson, 1934), for none lost says little when few are left.
func stepsOf(all []Follow) []Step {
	if len(all) == 0 {
		return nil
	}
	f := sorted(all)
	lowest, _ := ClopperPearson(len(f), len(f), Level)
	steps := []Step{{AtRisk: len(f), Surviving: 1, Lo: lowest, Hi: 1}}
	losses := KaplanMeier(f)
	for i := 0; i < len(f); {
		t, j := f[i].Time, i
		for ; j < len(f) && f[j].Time == t; j++ {
		}
		last := steps[len(steps)-1]
		next := Step{Time: t, AtRisk: len(f) - i, Surviving: last.Surviving, SE: last.SE, Lo: last.Lo, Hi: last.Hi}
		switch {
		case len(losses) > 0 && losses[0].Time == t:
			next, losses = losses[0], losses[1:]
			if next.Surviving == 0 {
				_, hi := ClopperPearson(0, next.AtRisk, Level)
				next.Lo, next.Hi = 0, last.Surviving*hi
			}
		case last.Surviving == 1:
			next.Lo, _ = ClopperPearson(len(f)-i, len(f)-i, Level)
		}
		if next.Time == last.Time {
			steps = steps[:len(steps)-1]
		}
		steps = append(steps, next)
		i = j
	}
	return steps
}

// Until returns the longest time followed, 0 for no tiles.
func (c Curve) Until() float64 {
	t := 0.0
	for _, s := range [][]Step{c.Early, c.Late} {
		if len(s) > 0 {
			t = math.Max(t, s[len(s)-1].Time)
		}
	}
	return t
}

// Stand is what a curve says of one time: the share still there lies between Least and Most, whatever day each tile went
// on, the interval of both from Lo to Hi; AtRisk tiles were followed for longer.
type Stand struct {
	Least, Most, Lo, Hi float64
	AtRisk              int
}

// Stand reads the curve at a time. NaN beyond the last one followed.
func (c Curve) Stand(time float64) Stand {
	nan := math.NaN()
	if c.N == 0 || time > c.Until()+1e-9 {
		return Stand{nan, nan, nan, nan, 0}
	}
	a, b := At(c.Early, time), At(c.Late, time)
	s := Stand{math.Min(a.Surviving, b.Surviving), math.Max(a.Surviving, b.Surviving), math.Min(a.Lo, b.Lo), math.Max(a.Hi, b.Hi), 0}
	for _, l := range c.Late {
		if l.Time > time {
			s.AtRisk = l.AtRisk
			break
		}
	}
	return s
}
