package measure

import (
	"math"

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
	Level   float64               `json:"level"` // the light level there
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
	alpha := make([]float32, v.w*v.h)
	for i := range alpha {
		alpha[i] = float32(math.NaN())
	}
	for k := range v.tiles {
		r.Tiles[k] = v.readTile(img, k, l, r.Opacity, alpha)
	}
	return r
}

// blindSigma is the noise of whiteness at the first look from which on a glaze's clean place can't be told.
const blindSigma = 0.13

func (v *View) readTile(img *plane.Image, k int, l *Light, out []uint8, alpha []float32) TileRead {
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
	var h scale.Histogram
	for _, i := range t.pix {
		if img.Flags[i]&plane.Outside != 0 {
			out[i] = PixUnread
			continue
		}
		r.In++
		if !colourful || img.Flags[i]&unread != 0 || v.ref.Flags[i]&unread != 0 {
			out[i] = PixUnread
			continue
		}
		p, gl := v.px(img.RGB, i), v.px(v.glaze, i)
		m := splitLit(p, mulv(base, gl), l.Deposit, l.Line, tl.Level, tl.Sigma, l.Noise)
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
		a := math.Min(math.Max(m.Alpha, -0.5), 1.2)
		h.Add(a, m.Sigma)
		alpha[i] = float32(a)
		r.Alpha += a
		r.Sigma += m.Sigma
		out[i] = uint8(math.Round(OpacityMax * math.Min(1, math.Max(0, a))))
		if math.Abs(a) < 0.05+m.Sigma {
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
	above := v.sharpened(t.pix, alpha, &h, at)
	for j := range offsets {
		r.Counts[j] = digits(above[j], 6)
	}
	r.At10, r.At40 = digits(above[len(offsets)], 6), digits(above[len(offsets)+1], 6)
	r.Level = tl.Level
	if r.Read > 0 {
		r.Sigma /= r.Read
	}
	if r.CleanPx > 0 {
		for c := range 3 {
			r.Gain[c] = s[c] / math.Max(g[c], 1e-6)
			r.Ref[c] = g[c] / r.CleanPx
		}
	}
	return r
}

// lostBlur is the variance of the blur that mapping, lens, compression and the measuring frame put on the opacities, over
// that of the 3 x 3 mean it is compared with: some 0.4 over 0.67 px².
const lostBlur = 0.6

// sharpened returns how many pixels reach each threshold at the reference's own resolution. Blur smears fine scale below
// the threshold: the opacities are blurred once more, and what that takes away is given back in proportion to the
// variances (the count is taken to go with the blur's variance, which it does while the blur is small against the
// scale's texture).
func (v *View) sharpened(pix []int32, alpha []float32, h *scale.Histogram, at []float64) []float64 {
	above := h.Above(at)
	if h.N() == 0 {
		return above
	}
	var soft scale.Histogram
	sigma := 0.45 * h.Sigma() // noise of neighbouring pixels is partly shared
	for _, i := range pix {
		if math.IsNaN(float64(alpha[i])) {
			continue
		}
		x, y := int(i)%v.w, int(i)/v.w
		s, n := 0.0, 0.0
		for b := max(0, y-1); b <= min(v.h-1, y+1); b++ {
			for a := max(0, x-1); a <= min(v.w-1, x+1); a++ {
				j := b*v.w + a
				if v.labels[j] == v.labels[i] && !math.IsNaN(float64(alpha[j])) {
					s, n = s+float64(alpha[j]), n+1
				}
			}
		}
		soft.Add(s/n, sigma)
	}
	for j, b := range soft.Above(at) {
		above[j] = math.Min(h.N(), math.Max(0, above[j]+lostBlur*(above[j]-b)))
	}
	return above
}
