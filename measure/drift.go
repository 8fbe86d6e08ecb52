package measure

import (
	"math"

	"tilelapse/measure/colour"
)

// Standard errors of a zone's drift that its tiles have in common, CIELAB units: the light's level (lightness) and
// colour. Calibrated on made scenes.
const (
	driftEven   = 1.4
	driftShadow = 2.2
)

// lightNoise is what the light and the camera add to the colour differences of single tiles in one photo: the smallest
// spread among the zones. Glaze that drifts unevenly only adds to it.
func (v *View) lightNoise(res *PhotoResult) [3]float64 {
	best := [3]float64{math.Inf(1), math.Inf(1), math.Inf(1)}
	for z := range v.spec.Zones {
		var d [3][]float64
		for k := range v.tiles {
			if x := &res.Tiles[k]; v.tiles[k].zone == z && !math.IsNaN(x.DriftDE00) {
				d[0], d[1], d[2] = append(d[0], x.DL), append(d[1], x.DA), append(d[2], x.DB)
			}
		}
		if len(d[0]) < 12 {
			continue
		}
		for c := range d {
			best[c] = math.Min(best[c], spreadOf(d[c]))
		}
	}
	for c := range best {
		if math.IsInf(best[c], 1) {
			best[c] = 0
		}
	}
	return best
}

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
}

// driftOf makes the drift of the tiles that use keeps: the median over them, less what the light's noise adds to a
// distance, which can only grow by it.
func (v *View) driftOf(r *Reading, res *PhotoResult, noise [3]float64, use func(k int) bool) drift {
	nan := math.NaN()
	out := drift{0, nan, nan, nan, nan, nan, nan, nan}
	var de, dl, da, db, add []float64
	for k := range v.tiles {
		x := &res.Tiles[k]
		if x.State != Present || math.IsNaN(x.DriftDE00) || !use(k) {
			continue
		}
		de, dl, da, db = append(de, x.DriftDE00), append(dl, x.DL), append(da, x.DA), append(db, x.DB)
		l := v.tiles[k].lab
		add = append(add, colour.CIEDE2000(l, colour.Lab{L: l.L + noise[0], A: l.A + noise[1], B: l.B + noise[2]}))
	}
	out.tiles = len(de)
	if len(de) < 3 {
		return out
	}
	out.dl, out.da, out.db = median(dl), median(da), median(db)
	out.de = math.Sqrt(math.Max(0, sq(median(de))-sq(0.9*median(add))))
	s := math.Hypot(driftSigma(r), 0.3*median(add))
	s = math.Hypot(s, 1.25*spreadOf(de)/math.Sqrt(float64(len(de))))
	out.lo, out.hi = math.Max(0, out.de-1.96*s), out.de+1.96*s
	out.detect = 1.96 * math.Sqrt2 * s
	return out
}

// between returns CIEDE2000 between a tile's unwhitened glaze in two photos; NaN when either is unknown.
func (v *View) between(k int, a, b *TileResult) float64 {
	if math.IsNaN(a.GlazeNow[0]) || math.IsNaN(b.GlazeNow[0]) {
		return math.NaN()
	}
	return colour.CIEDE2000(colour.RGB(a.GlazeNow).Lab(), colour.RGB(b.GlazeNow).Lab())
}
