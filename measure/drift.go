package measure

import (
	"math"

	"tilelapse/measure/colour"
)

// Standard errors of a zone's drift that its tiles have in common, CIELAB units: the light's level (lightness) and
// colour. Calibrated on made scenes.
const (
	driftEven   = 1.2
	driftShadow = 2.0
)

// driftBias is how many of those standard errors, added as squares, a distance gains by them: it can only grow.
const driftBias = 1.0

// driftLimit is the standard error, CIEDE2000, from which on no drift is told: the interval then spans a change anybody sees.
const driftLimit = 2.5

// What lies on a clean place unseen and is not drift: stray light as a share of the photo's white, and of the opacity of
// scale around it the share that is on the cleanest places, too. Measured on made scenes.
const (
	strayLight = 0.006
	veilLeft   = 0.1
)

// leastGlaze is how many tiles of a glaze are worth as much as all of its zone in telling its drift.
const leastGlaze = 5

// driftSigma is the standard error of drift that all tiles of a photo have in common.
func driftSigma(r *Reading) float64 {
	s := driftEven
	if r.Shadows {
		s = driftShadow
	}
	if r.Basis == BasisSurface {
		s *= 1.5
	}
	return s
}

// drift is the drift of a set of tiles. NaN = not measured.
type drift struct {
	tiles                          int
	de, lo, hi, dl, da, db, detect float64
	tooHazy                        bool // it can't be told through what lies on these glazes
}

// driftOf makes the drift of the tiles that use keeps. Drift is the same over all tiles of a glaze, so each glaze's is the
// median over its tiles, held towards that of all where they are few; the figure is the median over the tiles of their
// glazes' distance, less what errors of light add to a distance.
func (v *View) driftOf(res *PhotoResult, use func(k int) bool) drift {
	nan := math.NaN()
	out := drift{0, nan, nan, nan, nan, nan, nan, nan, false}
	type diffs struct{ l, a, b, opacity []float64 }
	of := map[string]*diffs{}
	all := &diffs{}
	var names []string
	for k := range v.tiles {
		x := &res.Tiles[k]
		if x.State != Present || math.IsNaN(x.DriftDE00) || !use(k) {
			continue
		}
		g := of[v.names[k]]
		if g == nil {
			g = &diffs{}
			of[v.names[k]] = g
			names = append(names, v.names[k])
		}
		for _, d := range []*diffs{g, all} {
			d.l, d.a, d.b, d.opacity = append(d.l, x.DL), append(d.a, x.DA), append(d.b, x.DB), append(d.opacity, x.OpacityPct/100)
		}
	}
	out.tiles = len(all.l)
	if out.tiles < 3 {
		return out
	}
	mid := colour.Lab{L: median(all.l), A: median(all.a), B: median(all.b)}
	var de, haze, noise []float64
	for _, name := range names {
		g := of[name]
		n := float64(len(g.l))
		share := n / (n + leastGlaze)
		c := v.centreOf(name, use)
		held := func(own, zone float64) float64 { return share*own + (1-share)*zone }
		d := shifted(c, [3]float64{held(median(g.l), mid.L), held(median(g.a), mid.A), held(median(g.b), mid.B)})
		h := v.haze(c, math.Max(0, median(g.opacity)))
		e := shifted(c, [3]float64{spreadOf(g.l), spreadOf(g.a), spreadOf(g.b)}) * 1.25 / math.Sqrt(n+1)
		for range g.l {
			de, haze, noise = append(de, d), append(haze, h), append(noise, e)
		}
	}
	s := math.Hypot(math.Hypot(res.light, median(haze)), median(noise))
	if s > driftLimit {
		out.tooHazy = true
		return out
	}
	out.dl, out.da, out.db = mid.L, mid.A, mid.B
	raw := median(de)
	out.de = unbiased(raw, s)
	out.lo, out.hi = math.Max(0, out.de-1.96*s), math.Max(raw, out.de+1.96*s)
	out.detect = 1.96 * math.Sqrt2 * s
	return out
}

// unbiased takes off a distance what errors of standard error s add to it.
func unbiased(distance, s float64) float64 {
	return math.Sqrt(math.Max(0, sq(distance)-sq(driftBias*s)))
}

// centreOf returns the middle of the reference colours of a glaze's tiles among those that use keeps.
func (v *View) centreOf(name string, use func(k int) bool) colour.Lab {
	var l, a, b []float64
	for k := range v.tiles {
		if v.names[k] == name && use(k) && !v.tiles[k].dark {
			c := v.tiles[k].colour
			l, a, b = append(l, c.L), append(a, c.A), append(b, c.B)
		}
	}
	return colour.Lab{L: median(l), A: median(a), B: median(b)}
}

// haze returns the CIEDE2000 by which a glaze is expected to look other than it is, by stray light and by scale of a mean
// opacity.
func (v *View) haze(glaze colour.Lab, opacity float64) float64 {
	rgb := glaze.RGB()
	var stray, veiled colour.RGB
	for c := range rgb {
		stray[c] = rgb[c] + strayLight
		veiled[c] = rgb[c] + veilLeft*opacity*(v.deposit[c]-rgb[c])
	}
	return math.Hypot(colour.CIEDE2000(glaze, stray.Lab()), colour.CIEDE2000(glaze, veiled.Lab()))
}

// between returns CIEDE2000 between a tile's unwhitened glaze in two photos; NaN when either is unknown.
func (v *View) between(k int, a, b *TileResult) float64 {
	if !math.IsNaN(a.ChartNow[0]) && !math.IsNaN(b.ChartNow[0]) {
		return colour.CIEDE2000(colour.RGB(a.ChartNow).Lab(), colour.RGB(b.ChartNow).Lab())
	}
	if math.IsNaN(a.GlazeNow[0]) || math.IsNaN(b.GlazeNow[0]) {
		return math.NaN()
	}
	return colour.CIEDE2000(colour.RGB(a.GlazeNow).Lab(), colour.RGB(b.GlazeNow).Lab())
}
