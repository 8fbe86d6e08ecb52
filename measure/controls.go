package measure

import (
	"math"

	"tilelapse/measure/colour"
	"tilelapse/measure/light"
)

// ControlCheck is what one control gave in one photo when it was left out of the light model: how far its colour, light
// cancelled by the other controls, is from its colour in the reference. The light's level is taken from the control
// itself, because shadows make it differ from place to place; so this tells the error of colour, not of brightness.
type ControlCheck struct {
	Control    int // index into Spec.Controls
	DE00       float64
	DL, DA, DB float64 // CIELAB D65, photo minus reference
	Note       string
}

// CheckControls leaves each control out in turn. NaN with a note where a control can't be seen or is the only one.
func (v *View) CheckControls(o *Observation) []ControlCheck {
	var out []ControlCheck
	for k, rec := range o.Controls {
		c := ControlCheck{Control: k, DE00: math.NaN(), DL: math.NaN(), DA: math.NaN(), DB: math.NaN()}
		var others []light.Sample
		for j, r := range o.Controls {
			if j != k {
				others = append(others, r.Samples...)
			}
		}
		line, ok := light.Fit(others)
		switch {
		case len(rec.Samples) == 0:
			c.Note = "not seen, or clipped"
		case !ok:
			c.Note = "the only control seen: nothing to check it with"
		default:
			got := leftOver(rec, line)
			a, b := colour.RGB(rec.RefColor).Lab(), colour.RGB(got).Lab()
			c.DE00 = colour.CIEDE2000(a, b)
			c.DL, c.DA, c.DB = b.L-a.L, b.A-a.A, b.B-a.B
		}
		out = append(out, c)
	}
	return out
}

// leftOver is a control's reference colour times what its gains have beyond the line's, at their own level.
func leftOver(rec ControlRecord, line light.Line) [3]float64 {
	var got [3]float64
	sum := 0.0
	for _, s := range rec.Samples {
		g := line.At(light.Y(s.Gain))
		y := light.Y(g)
		if y <= 0 || s.Weight <= 0 {
			continue
		}
		sum += s.Weight
		for c := range 3 {
			if g[c] > 0 {
				got[c] += s.Weight * rec.RefColor[c] * s.Gain[c] / g[c] * y / light.Y(s.Gain)
			}
		}
	}
	for c := range 3 {
		got[c] /= sum
	}
	return got
}
