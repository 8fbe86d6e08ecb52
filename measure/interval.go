package measure

import (
	"math"

	"tilelapse/measure/glaze"
)

// What is not known of a tile's opacities, as standard errors common to a zone. Calibrated on made scenes against the
// shift of the threshold that would have given the true share.
const (
	baseSigma   = 0.0155 // of the clean place, in even light
	shadowBase  = 0.037  // the same under cast shadows
	noiseShare  = 0.7    // of a pixel's noise that a zone's tiles have in common
	surfaceBase = 0.030  // added where no control is marked
	alignSigma  = 0.010  // per px of alignment error
	upward      = 1.62   // standard errors of the upper bound: the share grows steeply towards lower thresholds, errors less so
	floorDown   = 0.9    // percentage points: pixels taken for scale at joints, flaws and patterns where there is none
	floorUp     = 0.35   // the same, overlooked
)

// likeLeast and likeMost bound how much more or less errors weigh on a glaze by how like the deposit it is.
const (
	likeLeast = 0.85
	likeMost  = 2
)

// likeDeposit is how an error of the deposit's level weighs on a glaze, per likeness to it: on white glaze it is an error of the
// small way from glaze to deposit. Calibrated on made scenes.
const likeDeposit = 0.6

// shift returns the standard errors of a zone's opacities near the threshold: what every photo of the view shares (the
// deposit's level) and what is this photo's own (light, noise, alignment). t sums up the tiles they are for.
func (v *View) shift(r *Reading, t total) (shared, own float64) {
	shared = r.DepositSigma * v.spec.Opacity * (1 - v.spec.Opacity/2)
	shared *= math.Max(1, likeDeposit*t.like)
	b := baseSigma
	if r.Shadows {
		b = shadowBase
	}
	b *= math.Min(likeMost, math.Max(likeLeast, math.Sqrt(t.like)))
	own = b*b + sq(noiseShare*t.noise) + sq(alignSigma*r.Photo.AlignRMS)
	if r.Basis == BasisSurface {
		own += sq(surfaceBase)
	}
	return shared, math.Sqrt(own)
}

// likeness tells how an error of the light's level acts on a tile's opacity: its glaze's light over the way from it to
// the deposit, both as lengths in linear light. About 0.1 for near-black glaze, over 2 for white.
func (v *View) likeness(k int) float64 {
	g, way := v.tiles[k].mean, 0.0
	for c := range g {
		way += sq(v.deposit[c] - g[c])
	}
	return math.Min(4, norm(g)/math.Max(math.Sqrt(way), 1e-3))
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

// widest is the width of an interval, percentage points, from which on a share is not told when the interval also begins
// near nothing: "from hardly any to a third" is no answer (our choice).
const widest = 30

// told reports whether an interval of a share, percent, says anything.
func told(lo, hi float64) bool { return hi-lo <= widest || lo >= hi/4 }

// total is what the read tiles of a zone or of a set add up to.
type total struct {
	shares
	read  float64 // measuring px
	noise float64 // mean standard error of a pixel's opacity
	like  float64 // mean likeness of the glazes to the deposit
}

// sum adds up the tiles that use keeps.
func (v *View) sum(r *Reading, use func(k int) bool) (s total) {
	for k := range v.tiles {
		if !use(k) {
			continue
		}
		t := &r.Tiles[k]
		s.read, s.noise, s.like = s.read+t.Read, s.noise+t.Read*t.Sigma, s.like+t.Read*v.likeness(k)
		for j := range s.shares {
			s.shares[j] += t.Counts[j]
		}
	}
	if s.read == 0 {
		return s
	}
	for j := range s.shares {
		s.shares[j] *= 100 / s.read
		if j > 0 {
			s.shares[j] = math.Min(s.shares[j], s.shares[j-1]) // a higher threshold never counts more
		}
	}
	s.noise, s.like = s.noise/s.read, s.like/s.read
	return s
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

// spreadBelow returns a robust standard deviation of what lies below a middle: 1.4826 times its median distance. 0 for none.
func spreadBelow(v []float64, middle float64) float64 {
	var d []float64
	for _, x := range v {
		if x < middle {
			d = append(d, middle-x)
		}
	}
	if len(d) == 0 {
		return 0
	}
	return 1.4826 * median(d)
}
