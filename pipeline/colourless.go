package pipeline

import (
	"tilelapse/measure/plane"
	"tilelapse/pipeline/intake"
)

// A reference photo without colours serves for alignment and for looking, not for measuring: its view's photos, with colours
// or without, are brought onto it and shown, and every tile is unreadable. In other views a photo without colours is
// refused, so that nobody takes its silence for a reading.

// shownOnly is what is said of photos of a view whose reference has no colours.
const shownOnly = "the view's reference photo has no colours: photos are aligned and shown, nothing is measured"

// limitsFor returns what is taken in of a photo: references without colours, and photos without when there is such a reference.
func (r *run) limitsFor(rel string) intake.Limits {
	l := limits(r.survey)
	l.Colourless = r.colourless
	for i := range r.survey.Views {
		l.Colourless = l.Colourless || r.survey.Views[i].Reference == rel
	}
	return l
}

// blind makes a picture unreadable everywhere.
func blind(img *plane.Image) {
	for i := range img.Flags {
		img.Flags[i] |= plane.High
	}
}
