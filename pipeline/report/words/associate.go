package words

import (
	"fmt"
	"math"
	"strings"

	"tilelapse/measure/associate"
)

// Finding is one test of the fixed list in words.
type Finding struct {
	Question, Answer, Method string
	Limits                   []string // its own, beside those of Shared
	Weaken                   []string // what would weaken it, with the counter-check's number where there is one
	Shared                   Shared
}

// Shared are the limits that a test has in common with others, to be told once for all of them.
type Shared struct{ Limits, Weaken []string }

// Finding words a test's result.
func (t Table) Finding(r associate.Result) Finding {
	say := func(key string, a ...any) string { return t.Say("test."+key, a...) }
	f := Finding{Question: say(r.ID + ".question"), Method: say(r.ID + ".method"), Answer: t.answer(r)}
	if r.ID != associate.GrowthUpkeep {
		f.Shared.Limits = []string{say("limit.band"), say("limit.hidden"), say("limit.interval"), say("limit.state"), say("limit.repeat")}
		f.Shared.Weaken = []string{say("weaken.photo"), say("weaken.work")}
		if r.Untold > 0 {
			f.Limits = append(f.Limits, say("limit.untold", whole(r.Untold)))
		}
		if r.Losses > 0 && r.Losses < 10 {
			f.Limits = append(f.Limits, say("limit.few", whole(r.Losses)))
		}
	}
	if !math.IsNaN(r.POnceEach) {
		f.Weaken = append(f.Weaken, say("weaken.once", t.Probability(r.POnceEach)))
	}
	switch r.ID {
	case associate.WhitenedBefore, associate.StayedShorter:
		switch {
		case r.Finding == associate.NotMade:
		case r.Inflation > 1:
			f.Limits = append(f.Limits, say("limit.alike", figure(r.Inflation), t.Probability(r.PAlone)))
		default:
			f.Limits = append(f.Limits, say("limit.notalike"))
		}
		f.Weaken = append(f.Weaken, say("weaken.common"), say("weaken.look"))
	case associate.BesideGap, associate.InGroups:
		f.Limits = append(f.Limits, say("limit.edge"))
		f.Weaken = append(f.Weaken, say("weaken.prone"))
		if !math.IsNaN(r.Near.P) {
			f.Weaken = append(f.Weaken, say("weaken.near", t.times(r.Near.Value, r.Near.Lo, r.Near.Hi), t.Probability(r.Near.P)))
		}
	case associate.GrowthUpkeep:
		f.Limits = append(f.Limits, say("limit.file"), say("limit.regress"))
		switch u := r.Uncleaned; {
		case r.Cleaned == 0:
		case math.IsNaN(u.P):
			f.Limits = append(f.Limits, say("limit.net", whole(r.Cleaned)))
			f.Weaken = append(f.Weaken, say("weaken.net.none"))
		default:
			f.Limits = append(f.Limits, say("limit.net", whole(r.Cleaned)))
			f.Weaken = append(f.Weaken, say("weaken.net", whole(u.N[1]), figure(u.Estimate), t.interval(u.Lo, u.Hi), t.Probability(u.P)))
		}
		f.Weaken = append(f.Weaken, say("weaken.season"), say("weaken.early"), say("weaken.chosen"))
	}
	return f
}

// answer words the finding with its numbers.
func (t Table) answer(r associate.Result) string {
	say := func(key string, a ...any) string { return t.Say("test."+key, a...) }
	if r.Finding == associate.NotMade {
		switch r.ID {
		case associate.InGroups:
			return say("none.pairs")
		case associate.StayedShorter:
			return say("none.follow")
		case associate.GrowthUpkeep:
			return say("none.growth")
		}
		return say("none.losses")
	}
	s := say(r.ID + "." + map[associate.Finding]string{associate.NotTold: "nottold", associate.Found: "found", associate.Reverse: "reverse"}[r.Finding])
	numbers := func(a ...any) { s += say(r.ID+".numbers", a...) }
	switch r.ID {
	case associate.WhitenedBefore, associate.BesideGap:
		c := r.Counts
		numbers(t.share(c.ExposedLost, c.ExposedLost+c.ExposedKept), t.share(c.OtherLost, c.OtherLost+c.OtherKept), t.times(r.Effect, r.Lo, r.Hi))
	case associate.InGroups:
		g := r.Together
		numbers(whole(g.Pairs), whole(r.Losses), figure(g.Expected), whole(g.Lo), whole(g.Hi))
	case associate.StayedShorter:
		o, n := r.Survival.LogRank.Observed, r.Survival.N
		numbers(t.share(int(o[1]), n[1]), t.share(int(o[0]), n[0]), t.times(r.Effect, r.Lo, r.Hi))
	case associate.GrowthUpkeep:
		numbers(whole(r.Shift.N[0]), whole(r.Shift.N[1]), figure(r.Effect), t.interval(r.Lo, r.Hi))
	}
	return s + say("p", t.Probability(r.P), whole(r.Made), t.Probability(r.Holm))
}

// share writes k of n with the interval of their share, as if they were independent.
func (t Table) share(k, n int) string {
	lo, hi := associate.Wilson(k, n, associate.Level)
	if math.IsNaN(lo) {
		return t.Say("test.share.bare", whole(k), whole(n))
	}
	return t.Say("test.share", whole(k), whole(n), figure(100*float64(k)/float64(n)), figure(100*lo), figure(100*hi))
}

func (t Table) times(v, lo, hi float64) string {
	switch {
	case math.IsNaN(v):
		return t.Say("test.nointerval")
	case math.IsInf(v, 1):
		return t.Say("test.infinite") + t.interval(lo, hi)
	}
	return t.Say("test.times", figure(v), t.interval(lo, hi))
}

func (t Table) interval(lo, hi float64) string {
	if math.IsNaN(lo) || math.IsNaN(hi) {
		return t.Say("test.nointerval")
	}
	end := figure(hi)
	if math.IsInf(hi, 1) {
		end = t.Say("test.unbounded")
	}
	return t.Say("test.interval", figure(lo), end)
}

func whole(n int) string { return fmt.Sprintf("%d", n) }

// figure writes a number with two or three digits that mean something.
func figure(v float64) string {
	switch a := math.Abs(v); {
	case a >= 100:
		return fmt.Sprintf("%.0f", v)
	case a >= 10:
		return fmt.Sprintf("%.1f", v)
	case a >= 0.095 || a == 0:
		return strings.Replace(fmt.Sprintf("%.2f", v), "-0.00", "0.00", 1)
	}
	return fmt.Sprintf("%.2g", v)
}

// Probability writes a p-value: three decimals, four under 0.01, never as nothing.
func (t Table) Probability(p float64) string {
	switch {
	case math.IsNaN(p):
		return t.Say("test.p.none")
	case p < 0.0001:
		return t.Say("test.p.below")
	case p < 0.01:
		return t.Say("test.p.is", fmt.Sprintf("%.4f", p))
	}
	return t.Say("test.p.is", fmt.Sprintf("%.3f", p))
}
