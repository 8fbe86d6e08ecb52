package measure

import (
	"math"

	"tilelapse/measure/chart"
	"tilelapse/measure/light"
	"tilelapse/measure/plane"
	"tilelapse/measure/scale"
)

// Reading is what the second look at a photo leaves.
type Reading struct {
	Photo        Photo       `json:"photo"`
	Basis        ColourBasis `json:"basis"`
	From         string      `json:"deposit_from"`
	Line         light.Line  `json:"line"`
	Opacity      []uint8     `json:"-"` // the opacity plane: codes in measure.go, measuring frame
	Tiles        []TileRead  `json:"tiles"`
	Shadows      bool        `json:"shadows"`
	DepositSigma float64     `json:"deposit_sigma"` // relative standard error of the deposit's level
	Signs        coverRecord `json:"signs"`         // evidence for the tiles' states
	Chart        *chart.Fit  `json:"-"`             // colour chart in the photo, nil = none that can be trusted; Close alone uses it
}

// offsets of the thresholds at which whitened pixels are counted, from Spec.Opacity: an error of opacity acts like a shifted
// threshold, so the counts beside it give the interval.
var offsets = [...]float64{-0.15, -0.11, -0.08, -0.05, -0.025, 0, 0.025, 0.05, 0.08, 0.11, 0.15}

// TileRead is a tile's sums in one photo.
type TileRead struct {
	In      float64               `json:"in"`   // measuring px in frame
	Read    float64               `json:"read"` // of them read
	Other   float64               `json:"other"`
	Counts  [len(offsets)]float64 `json:"counts"`
	At10    float64               `json:"at10"`
	At40    float64               `json:"at40"`
	Alpha   float64               `json:"alpha"` // sum of opacity
	Sigma   float64               `json:"sigma"` // mean standard error of a pixel's opacity
	Gain    [3]float64            `json:"gain"`  // clean glaze, photo over reference
	Ref     [3]float64            `json:"ref"`   // reference colour of the same pixels
	CleanPx float64               `json:"clean_px"`
	Level   float64               `json:"level"`  // the light's level there, for the glaze's colour
	Told    bool                  `json:"told"`   // under cast shadows: clearly on one side of their edges
	Around  float64               `json:"around"` // the same, told by the surface around it alone
}

// Read takes the second look at a photo, with the light that Solve found for it.
func (v *View) Read(img *plane.Image, p Photo, l *Light) *Reading {
	r := &Reading{Photo: p, Basis: l.Basis, From: l.From, Line: l.Line, Shadows: l.Shadows, DepositSigma: l.DepositSigma}
	r.Opacity = make([]uint8, v.w*v.h)
	for i := range r.Opacity {
		r.Opacity[i] = PixElsewhere
	}
	r.Signs = v.cover.evidence(v, img, l)
	r.Tiles = make([]TileRead, len(v.tiles))
	for k := range v.tiles {
		r.Tiles[k] = v.readTile(img, k, l, r.Opacity)
		if r.blind(k) { // an opacity that can't be told is not shown either
			for _, i := range v.tiles[k].pix {
				if r.Opacity[i] <= OpacityMax {
					r.Opacity[i] = PixUnread
				}
			}
		}
	}
	return r
}

// blindSigma is the noise of whiteness at the first look from which on a glaze's clean place can't be told.
const blindSigma = 0.17

func (v *View) readTile(img *plane.Image, k int, l *Light, out []uint8) TileRead {
	t := &v.tiles[k]
	tl := l.Tiles[k]
	var r TileRead
	colourful := l.Basis != BasisNone && light.Y(tl.Gain) > 0 && tl.Noise <= blindSigma
	kg := l.Line.At(tl.Level)
	var base [3]float64
	for c := range 3 {
		base[c] = tl.Gain[c] / math.Max(kg[c], 1e-6)
	}
	var s, g [3]float64
	inside, mute := 0.0, 0.0
	var h scale.Histogram
	for _, i := range t.pix {
		if img.Flags[i]&plane.Outside != 0 {
			out[i] = PixUnread
			continue
		}
		r.In++
		high, ok := v.channels(img, i)
		if !colourful || !ok || high.any()&^t.spare != 0 {
			out[i] = PixUnread
			continue
		}
		p, gl := v.px(img.RGB, i), v.px(v.glaze, i)
		m := splitLit(p, mulv(base, gl), l.Deposit, l.Line, tl.Level, tl.Sigma, l.Noise, high)
		if math.IsNaN(m.Alpha) || m.Sigma > 0.3 {
			out[i] = PixUnread
			continue
		}
		if m.Residual > 12 {
			out[i] = PixOther
			r.Other++
			continue
		}
		r.Read++
		if v.depth[i] <= t.rim {
			continue // seen, but the tile's inside stands for it: not shown either
		}
		inside++
		a := math.Min(math.Max(m.Alpha, -0.5), 1.2)
		h.Add(a, m.Sigma)
		r.Alpha += a
		r.Sigma += m.Sigma
		out[i] = uint8(math.Round(OpacityMax * math.Min(1, math.Max(0, a))))
		switch {
		case math.Abs(a) >= 0.05+m.Sigma:
		case high.any() != 0:
			mute++
		default:
			r.CleanPx++
			for c := range 3 {
				s[c], g[c] = s[c]+p[c], g[c]+gl[c]
			}
		}
	}
	at := make([]float64, 0, len(offsets)+2)
	for _, d := range offsets {
		at = append(at, math.Max(0.01, v.spec.Opacity+d))
	}
	at = append(at, 0.1, 0.4)
	above := h.Above(at)
	copy(r.Counts[:], above)
	r.At10, r.At40 = above[len(offsets)], above[len(offsets)+1]
	r.Level, r.Around, r.Told = tl.GlazeLevel, tl.Level, tl.Told
	if inside == 0 {
		r.Read = 0 // nothing but rim
		return r
	}
	r.Sigma /= inside
	r.scale(r.Read / inside)
	if mute > r.CleanPx { // those that tell the glaze's colour are the darkest: not the tile's
		r.CleanPx = 0
	}
	if r.CleanPx > 0 {
		for c := range 3 {
			r.Gain[c] = s[c] / math.Max(g[c], 1e-6)
			r.Ref[c] = g[c] / r.CleanPx
		}
	}
	return r
}

// scale lets the counts of a tile's inside stand for all of it that was read.
func (r *TileRead) scale(f float64) {
	for j := range r.Counts {
		r.Counts[j] = digits(f*r.Counts[j], 6)
	}
	r.At10, r.At40, r.Alpha = digits(f*r.At10, 6), digits(f*r.At40, 6), digits(f*r.Alpha, 6)
}
