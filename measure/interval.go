package measure

import (
	"math"

	"tilelapse/measure/glaze"
)

// What is not known of a tile's opacities, as standard errors common to a zone. Calibrated on made scenes against the
// shift of the threshold that would have given the true share.
const (
	baseSigma   = 0.024 // of the clean place, in even light
	shadowBase  = 0.052 // the same under cast shadows
	noiseShare  = 0.7   // of a pixel's noise that a zone's tiles have in common
	surfaceBase = 0.030 // added where no control is marked
	alignSigma  = 0.010 // per px of alignment error
	upward      = 1.62  // standard errors of the upper bound: the share grows steeply towards lower thresholds, errors less so
	floorDown   = 0.9   // percentage points: pixels taken for scale at joints, flaws and patterns where there is none
	floorUp     = 0.35  // the same, overlooked
)

// shift returns the standard errors of a zone's opacities near the threshold: what every photo of the view shares (the
// deposit's level) and what is this photo's own (light, noise, alignment).
func (v *View) shift(r *Reading, noise float64) (shared, own float64) {
	shared = r.DepositSigma * v.spec.Opacity * (1 - v.spec.Opacity/2)
	b := baseSigma
	if r.Shadows {
		b = shadowBase
	}
	own = b*b + sq(noiseShare*noise) + sq(alignSigma*r.Photo.AlignRMS)
	if r.Basis == BasisSurface {
		own += sq(surfaceBase)
	}
	return shared, math.Sqrt(own)
}

// shares are a zone's or a tile set's whitened shares, in percent, at Spec.Opacity plus each of offsets.
type shares [len(offsets)]float64

// at interpolates the share at a shifted threshold; beyond the last offsets it goes on in their slope, within 0 to 100.
func (s shares) at(d float64) float64 {
	n := len(offsets)
	i := 0
	for i < n-2 && d > offsets[i+1] {
		i++
	}
	f := (d - offsets[i]) / (offsets[i+1] - offsets[i])
	return math.Min(100, math.Max(0, s[i]+f*(s[i+1]-s[i])))
}

// bounds returns the share's bounds for a standard error of the opacities.
func (s shares) bounds(sigma float64) (lo, hi float64) {
	mid := s.at(0)
	lo, hi = math.Min(mid, s.at(1.96*sigma)), math.Max(mid, s.at(-upward*sigma))
	lo = math.Max(0, mid-math.Hypot(mid-lo, floorDown))
	hi = math.Min(100, mid+math.Hypot(hi-mid, floorUp))
	return lo, hi
}

// sum adds up the counts of the tiles that use keeps, and says how many px were read, at what mean noise.
func (v *View) sum(r *Reading, use func(k int) bool) (s shares, read, noise float64) {
	for k := range v.tiles {
		if !use(k) {
			continue
		}
		t := &r.Tiles[k]
		read, noise = read+t.Read, noise+t.Read*t.Sigma
		for j := range s {
			s[j] += t.Counts[j]
		}
	}
	if read == 0 {
		return s, 0, 0
	}
	for j := range s {
		s[j] *= 100 / read
		if j > 0 {
			s[j] = math.Min(s[j], s[j-1]) // a higher threshold never counts more
		}
	}
	return s, read, noise / read
}

// spreadOf returns a robust standard deviation: 1.4826 times the median distance from the median. 0 for none.
func spreadOf(v []float64) float64 {
	if len(v) == 0 {
		return 0
	}
	m := median(v)
	d := make([]float64, len(v))
	for i, x := range v {
		d[i] = math.Abs(x - m)
	}
	return 1.4826 * glaze.Median(d)
}
