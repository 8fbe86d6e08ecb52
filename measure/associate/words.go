package associate

import (
	"fmt"
	"math"
	"strings"
)

// Wordings holds every sentence of this package, by key; another language replaces it. Gaps are fmt verbs, each filled
// with a ready number or word.
var Wordings = map[string]string{
	"scope": "Association in these photographs; not a cause.",

	WhitenedBefore + ".question": "Were the tiles that were lost later more whitened before?",
	WhitenedBefore + ".method":   "Every tile seen on a visit is followed to its next reading. Its whitening is taken from a visit earlier than that. Tiles more whitened than the middle one of their group are held against the others of the group: one zone, one height band, one pair of visits. Exact conditional test over the groups, two-sided; common odds ratio with exact interval. Both are widened for tiles that resemble their neighbours (after Clifford, Richardson and Hemon, 1989).",
	WhitenedBefore + ".found":    "In these photographs the more whitened tiles were lost more often",
	WhitenedBefore + ".reverse":  "In these photographs the more whitened tiles were lost less often",
	WhitenedBefore + ".nottold":  "These photographs do not tell whether more whitened tiles were lost more often",
	WhitenedBefore + ".numbers":  ": %s of %s sightings of more whitened tiles ended in a loss, %s of %s of the others; odds %s",

	BesideGap + ".question": "Did losses lie next to earlier gaps?",
	BesideGap + ".method":   "Every tile seen on a visit is followed to its next reading. Tiles with a neighbour already known to be missing on that visit are held against the others of their group: one zone, one height band, one pair of visits. Losses are permuted within the groups; the exact law of all permutations is used, two-sided; common odds ratio with exact interval.",
	BesideGap + ".found":    "In these photographs tiles beside a gap were lost more often",
	BesideGap + ".reverse":  "In these photographs tiles beside a gap were lost less often",
	BesideGap + ".nottold":  "These photographs do not tell whether tiles beside a gap were lost more often",
	BesideGap + ".numbers":  ": %s of %s sightings of tiles beside a gap ended in a loss, %s of %s of the others; odds %s",

	InGroups + ".question": "Did tiles lost between the same two visits lie next to each other?",
	InGroups + ".method":   "Neighbouring pairs lost at the same reading are counted and held against random permutations of the losses within zone, height band and pair of visits (fixed seed), two-sided.",
	InGroups + ".found":    "In these photographs losses of the same time lay next to each other more often than by chance",
	InGroups + ".reverse":  "In these photographs losses of the same time lay next to each other less often than by chance",
	InGroups + ".nottold":  "These photographs do not tell whether losses of the same time lay together",
	InGroups + ".numbers":  ": %s neighbouring pairs among %s losses; by chance %s on average, %s to %s in 95 of 100 permutations",

	StayedShorter + ".question": "How long did tiles stay, by how whitened they were at first?",
	StayedShorter + ".method":   "Tiles are parted by their first reading of whitening, above and not above the middle of their zone, height band and visit, and followed from the next sighting. Log-rank test within these groups, p by permutation (fixed seed), two-sided; ratio of hazards with interval. Both are widened for tiles that resemble their neighbours (after Clifford, Richardson and Hemon, 1989). A loss is dated to the visit that missed the tile.",
	StayedShorter + ".found":    "In these photographs tiles more whitened at first stayed for a shorter time",
	StayedShorter + ".reverse":  "In these photographs tiles more whitened at first stayed for a longer time",
	StayedShorter + ".nottold":  "These photographs do not tell whether tiles more whitened at first stayed for a shorter time",
	StayedShorter + ".numbers":  ": %s of %s more whitened tiles and %s of %s others were lost in the time followed; hazard %s",

	GrowthUpkeep + ".question": "Did whitening grow otherwise in times without an entry of work than in times with one?",
	GrowthUpkeep + ".method":   "Growth between visits in a row, on tiles read in both, of times for which the upkeep file states that it covers them. Compared within zones by the sum of ranks, exact or by permutation (fixed seed), two-sided; median difference with interval. Times with a cleaning include what it removed.",
	GrowthUpkeep + ".found":    "In these photographs whitening grew faster in times without an entry of work in the file than in times with one",
	GrowthUpkeep + ".reverse":  "In these photographs whitening grew more slowly in times without an entry of work in the file than in times with one",
	GrowthUpkeep + ".nottold":  "These photographs do not tell whether growth differed between times without and with an entry of work in the file",
	GrowthUpkeep + ".numbers":  ": %s times without and %s with an entry; difference %s percentage points a year%s",

	"p":           "; %s, corrected for %s tests %s.",
	"times":       "%s times as high%s",
	"interval":    " (95 %% interval %s to %s)",
	"nointerval":  " (these numbers bound no 95 %% interval)",
	"unbounded":   "no upper bound",
	"infinite":    "more times as high than can be said",
	"none.losses": "Not made: no loss was photographed that could be compared within its group.",
	"none.pairs":  "Not made: too few losses for neighbouring pairs to be told from chance.",
	"none.follow": "Not made: no tile whose whitening was read was seen again and followed further, with a loss to compare.",
	"none.growth": "Not made: the series hold no times both with an entry of work and, covered by the file, without one in the same zone.",

	"limit.untold":   "%s losses lie in groups without a tile to compare with and are not in these numbers.",
	"limit.few":      "Only %s losses: one more or less can change the finding.",
	"limit.alike":    "Neighbouring tiles resemble each other: the variance taken here is %s times that of tiles on their own; as if on their own, %s.",
	"limit.repeat":   "One tile counts once for every pair of readings; tiles that fell together are no independent losses.",
	"limit.hidden":   "Tiles hidden or unreadable on a visit are followed to their next reading; gaps behind something are not known.",
	"limit.band":     "Groups even out zone, height and time, not water flow, repairs or glaze within them.",
	"limit.interval": "A loss happened between two visits; its day is not known.",
	"limit.edge":     "Neighbours are tiles that share a joint in the drawing; its errors are errors here.",
	"limit.regress":  "Neighbouring times share a visit: an error in it raises one growth and lowers the next.",
	"limit.file":     "The file says what was entered, not what was done.",
	"limit.state":    "A tile in another colour than before is not counted as a loss; it may have been replaced.",

	"weaken.once":   "Every cluster of neighbouring losses counted once: %s.",
	"weaken.common": "Both whitening and loss may follow from the same wet place.",
	"weaken.prone":  "A stretch of wall that sheds tiles for another reason gives the same picture without one gap leading to the next.",
	"weaken.near":   "Held only against tiles two or three joints from a gap, which stand in the same stretch: odds %s; %s.",
	"weaken.look":   "Whitening may be counted on tiles that were already loose: a tapping record from before would tell.",
	"weaken.photo":  "The finding resting on one photo (see the runs with each photo left out).",
	"weaken.work":   "Losses taken out on purpose during recorded work.",
	"weaken.season": "Times without an entry falling in other seasons than times with one.",
	"weaken.chosen": "Work done where and when growth had been noticed.",
}

func words(key string, args ...any) string {
	w, ok := Wordings[key]
	if !ok {
		return key
	}
	return fmt.Sprintf(w, args...)
}

// word fills in the texts of a result, for a number of tests made in all.
func (r *Result) word(made int) {
	r.Question, r.Method = words(r.ID+".question"), words(r.ID+".method")
	r.Limits = append(r.Limits, words("scope"))
	if r.ID != GrowthUpkeep {
		r.Limits = append(r.Limits, words("limit.band"), words("limit.hidden"), words("limit.interval"), words("limit.state"))
		if r.Untold > 0 {
			r.Limits = append(r.Limits, words("limit.untold", whole(r.Untold)))
		}
		if r.Losses > 0 && r.Losses < 10 {
			r.Limits = append(r.Limits, words("limit.few", whole(r.Losses)))
		}
		r.Weaken = append(r.Weaken, words("weaken.photo"), words("weaken.work"))
	}
	switch r.ID {
	case WhitenedBefore, StayedShorter:
		r.Limits = append(r.Limits, words("limit.repeat"))
		if r.Finding != NotMade {
			r.Limits = append(r.Limits, words("limit.alike", figure(r.Inflation), Probability(r.PAlone)))
		}
		r.Weaken = append(r.Weaken, words("weaken.common"), words("weaken.look"))
	case BesideGap, InGroups:
		r.Limits = append(r.Limits, words("limit.edge"))
		r.Weaken = append(r.Weaken, words("weaken.prone"))
		if !math.IsNaN(r.Near.P) {
			r.Weaken = append(r.Weaken, words("weaken.near", times(r.Near.Value, r.Near.Lo, r.Near.Hi), Probability(r.Near.P)))
		}
	case GrowthUpkeep:
		r.Limits = append(r.Limits, words("limit.file"), words("limit.regress"))
		r.Weaken = append(r.Weaken, words("weaken.season"), words("weaken.chosen"))
	}
	if !math.IsNaN(r.POnceEach) {
		r.Weaken = append([]string{words("weaken.once", Probability(r.POnceEach))}, r.Weaken...)
	}
	r.Answer = r.answer(made)
}

func (r *Result) answer(made int) string {
	if r.Finding == NotMade {
		switch r.ID {
		case InGroups:
			return words("none.pairs")
		case StayedShorter:
			return words("none.follow")
		case GrowthUpkeep:
			return words("none.growth")
		}
		return words("none.losses")
	}
	key := map[Finding]string{NotTold: ".nottold", Found: ".found", Reverse: ".reverse"}[r.Finding]
	s := words(r.ID + key)
	switch r.ID {
	case WhitenedBefore, BesideGap:
		c := r.Counts
		s += words(r.ID+".numbers", whole(c.ExposedLost), whole(c.ExposedLost+c.ExposedKept), whole(c.OtherLost), whole(c.OtherLost+c.OtherKept), times(r.Effect, r.Lo, r.Hi))
	case InGroups:
		t := r.Together
		s += words(r.ID+".numbers", whole(t.Pairs), whole(r.Losses), figure(t.Expected), whole(t.Lo), whole(t.Hi))
	case StayedShorter:
		o, n := r.Survival.LogRank.Observed, r.Survival.N
		s += words(r.ID+".numbers", whole(int(o[1])), whole(n[1]), whole(int(o[0])), whole(n[0]), times(r.Effect, r.Lo, r.Hi))
	case GrowthUpkeep:
		s += words(r.ID+".numbers", whole(r.Shift.N[0]), whole(r.Shift.N[1]), figure(r.Effect), interval(r.Lo, r.Hi))
	}
	return s + words("p", Probability(r.P), whole(made), Probability(r.Holm))
}

func times(v, lo, hi float64) string {
	switch {
	case math.IsNaN(v):
		return words("nointerval")
	case math.IsInf(v, 1):
		return words("infinite") + interval(lo, hi)
	}
	return words("times", figure(v), interval(lo, hi))
}

func interval(lo, hi float64) string {
	if math.IsNaN(lo) || math.IsNaN(hi) {
		return words("nointerval")
	}
	end := figure(hi)
	if math.IsInf(hi, 1) {
		end = words("unbounded")
	}
	return words("interval", figure(lo), end)
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
func Probability(p float64) string {
	switch {
	case math.IsNaN(p):
		return "p not available"
	case p < 0.0001:
		return "p < 0.0001"
	case p < 0.01:
		return fmt.Sprintf("p = %.4f", p)
	}
	return fmt.Sprintf("p = %.3f", p)
}
