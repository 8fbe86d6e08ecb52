package register

// Reason says why a photo was refused; "" is accepted. Words gives the sentence, Result.Detail the numbers.
type Reason string

// Reasons.
const (
	Accepted      Reason = ""
	NoTexture     Reason = "no-texture"
	TooFewMatches Reason = "too-few-matches"
	Crowded       Reason = "crowded"
	Folded        Reason = "folded"
	Extreme       Reason = "extreme"
	SmallOverlap  Reason = "small-overlap"
	WrongView     Reason = "wrong-view"
	Repeat        Reason = "repeat"
	Imprecise     Reason = "imprecise"
	Blurred       Reason = "blurred"
	OverExposed   Reason = "over-exposed"
	UnderExposed  Reason = "under-exposed"
	TooFewPoints  Reason = "too-few-points"
	PointsApart   Reason = "points-apart"
	TooSmall      Reason = "too-small"
	Stopped       Reason = "stopped"
	Broken        Reason = "broken"
)

// words is the one table of wordings.
var words = map[Reason]string{
	Accepted:      "aligned",
	NoTexture:     "the picture shows nothing to hold on to: no edges, no texture",
	TooFewMatches: "too little in it matches the view: taken from elsewhere, or changed too much; add pairs to points.csv if it is the view",
	Crowded:       "what matches lies crowded in one spot of the view, so the rest would be a guess",
	Folded:        "the fit folds or mirrors the picture: no photo of this view can look like that",
	Extreme:       "the fit stretches or tilts the picture beyond what a photo of this view can show",
	SmallOverlap:  "too little of the view is in the picture",
	WrongView:     "another place: the surface does not look like this view, although some of it matches",
	Repeat:        "a repeated pattern fits as well one step further on, so the place can't be told",
	Imprecise:     "the fit is not exact enough to compare tiles",
	Blurred:       "too blurred against the reference to compare tiles",
	OverExposed:   "over-exposed: too much of the view is burnt out to white",
	UnderExposed:  "under-exposed: too much of the view is black",
	TooFewPoints:  "fewer than six pairs set by hand, or they lie on one line",
	PointsApart:   "the pairs set by hand do not fit one another",
	TooSmall:      "the picture is too small",
	Stopped:       "stopped before it was done",
	Broken:        "the picture could not be compared",
}

// Words returns the reason as a sentence for people, with what to do where something can be done.
func (r Reason) Words() string {
	if w, ok := words[r]; ok {
		return w
	}
	return string(r)
}

// Reasons lists every reason there is, in the order of the table above, Accepted first.
func Reasons() []Reason {
	return []Reason{Accepted, NoTexture, TooFewMatches, Crowded, Folded, Extreme, SmallOverlap, WrongView, Repeat, Imprecise,
		Blurred, OverExposed, UnderExposed, TooFewPoints, PointsApart, TooSmall, Stopped, Broken}
}
