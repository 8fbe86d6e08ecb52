package tile

import (
	"math"
	"slices"

	"tilelapse/measure/colour"
)

// sample is a colour seen at a tile or in the joint around it, now and in the reference, in linear light.
type sample struct {
	now, ref [3]float64
}

func (a sample) ok() bool { return !math.IsNaN(a.now[0]) && !math.IsNaN(a.ref[0]) }

// gain is the light at the sample over the reference's, a factor a channel.
func (a sample) gain() (g [3]float64) {
	for c := range g {
		g[c] = (math.Max(0, a.now[c]) + floor) / (math.Max(0, a.ref[c]) + floor)
	}
	return g
}

// undo takes a light from a colour.
func undo(now, gain [3]float64) (o colour.RGB) {
	for c := range o {
		o[c] = math.Max(0, (math.Max(0, now[c])+floor)/gain[c]-floor)
	}
	return o
}

// scaleSteps is the number of opacities tried between bare glaze and thick scale.
const scaleSteps = 20

// scaled lists the colours of a glaze under more and more scale.
func scaled(glaze, deposit [3]float64) (v [scaleSteps]colour.Lab) {
	for k := range v {
		a := float64(k) / scaleSteps
		var m colour.RGB
		for c := range m {
			m[c] = (1-a)*math.Max(0, glaze[c]) + a*deposit[c]
		}
		v[k] = m.Lab()
	}
	return v
}

// apart is a quick colour difference, weighted by chroma as in CIE94 (kL = kC = kH = 1, the chroma of q).
func apart(p, q colour.Lab) float64 {
	cp, cq := p.Chroma(), q.Chroma()
	dl, dc := p.L-q.L, cp-cq
	da, db := p.A-q.A, p.B-q.B
	dh2 := math.Max(0, da*da+db*db-dc*dc)
	sc, sh := 1+0.045*cq, 1+0.015*cq
	return math.Sqrt(dl*dl + dc*dc/(sc*sc) + dh2/(sh*sh))
}

// explain is how far a colour, freed of a light, lies from the glaze under any amount of scale, and that amount.
func explain(now [3]float64, gain [3]float64, under *[scaleSteps]colour.Lab) (de, opacity float64) {
	lab := undo(now, gain).Lab()
	de = math.Inf(1)
	for k := range under {
		if d := apart(lab, under[k]); d < de {
			de, opacity = d, float64(k)/scaleSteps
		}
	}
	return de, opacity
}

// kth returns the k-th smallest of v (k from 0), the largest when there are fewer, NaN of nothing. v is reordered.
func kth(v []float64, k int) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	slices.Sort(v)
	return v[min(k, len(v)-1)]
}
