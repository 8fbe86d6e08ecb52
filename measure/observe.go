package measure

import (
	"math"
	"slices"

	"tilelapse/measure/glaze"
	"tilelapse/measure/light"
	"tilelapse/measure/plane"
)

// Observation is what the first look at a photo leaves: gains on the controls and on each tile's cleanest part.
type Observation struct {
	Photo    Photo           `json:"photo"`
	Controls []ControlRecord `json:"controls"`
	Line     light.Line      `json:"line"`
	HasLine  bool            `json:"has_line"`
	Shadows  bool            `json:"shadows"` // cast shadows lie over the tiles
	Noise    float64         `json:"noise"`   // relative noise of one channel of one pixel
	Tiles    []TileRecord    `json:"tiles"`
}

// ControlRecord is a control in one photo.
type ControlRecord struct {
	Samples  []light.Sample `json:"samples"`
	InFrame  float64        `json:"in_frame"` // share of its area read
	RefColor [3]float64     `json:"ref"`
}

// TileRecord is a tile at first look: photo over reference on its cleanest pixels.
type TileRecord struct {
	N          int        `json:"n"` // pixels looked at
	Gain       [3]float64 `json:"gain"`
	Level      float64    `json:"level"`       // the light's level there, photo over reference
	GlazeLevel float64    `json:"glaze_level"` // the same, told by the tile itself as far as its glaze did not fade
	Told       bool       `json:"told"`        // under cast shadows: it lies, with its neighbours, clearly on one side of their edges
	Uneven     float64    `json:"uneven"`      // how uneven the light is on the joints around it, relative
	Clean      float64    `json:"clean"`       // share of pixels at the clean place
	Spread     float64    `json:"spread"`      // relative spread of the light's level over clean pixels
	Sigma      float64    `json:"sigma"`       // standard error of a pixel's whiteness there
	Base       float64    `json:"base"`        // whiteness of the clean place against the reference glaze in the light of the controls
	Doubt      bool       `json:"doubt"`       // the clean place can't be told from light
	Mixed      int        `json:"mixed"`       // pixels clearly whitened
	From       [3]float64 `json:"from"`        // clean glaze at those pixels, light cancelled
	To         [3]float64 `json:"to"`          // their colour, light cancelled: the line From-To points to the deposit
	Own        bool       `json:"own"`         // Gain is the tile's own; else that of tiles alike
}

// unread are the flags that keep a pixel out of every figure.
const unread = plane.Outside | plane.High | plane.Moving | plane.Loose

// Observe takes the first look at a photo. img lies on the measuring frame.
func (v *View) Observe(img *plane.Image, p Photo) *Observation {
	o := &Observation{Photo: p}
	var all []light.Sample
	for k, pix := range v.controls {
		rec := v.control(img, pix, k)
		o.Controls = append(o.Controls, rec)
		all = append(all, rec.Samples...)
	}
	o.Line, o.HasLine = light.Fit(all)
	if !o.HasLine {
		o.Line, _ = light.Fit(v.surface(img))
	}
	v.look(img, o)
	roundObservation(o)
	return o
}

// control samples the gain on one control: blocks of pixels, sorted by level, in up to 8 groups, so that both lights are
// seen where a shadow crosses it.
func (v *View) control(img *plane.Image, pix []int32, group int) ControlRecord {
	const block = 6
	type cell struct {
		p, r [3]float64
		n    float64
	}
	cells := map[int]*cell{}
	var keys []int
	var rec ControlRecord
	read := 0
	for _, i := range pix {
		if img.Flags[i]&(unread|plane.Low) != 0 || v.ref.Flags[i] != 0 {
			continue
		}
		read++
		x, y := int(i)%v.w, int(i)/v.w
		key := (y/block)*v.w + x/block
		c := cells[key]
		if c == nil {
			c = &cell{}
			cells[key], keys = c, append(keys, key)
		}
		a, b := v.px(img.RGB, i), v.px(v.ref.RGB, i)
		for k := range 3 {
			c.p[k], c.r[k], rec.RefColor[k] = c.p[k]+a[k], c.r[k]+b[k], rec.RefColor[k]+b[k]
		}
		c.n++
	}
	if len(pix) > 0 {
		rec.InFrame = float64(read) / float64(len(pix))
	}
	if read == 0 {
		return rec
	}
	for k := range 3 {
		rec.RefColor[k] /= float64(read)
	}
	slices.Sort(keys)
	type gain struct {
		g    [3]float64
		y, n float64
	}
	var gains []gain
	for _, key := range keys {
		c := cells[key]
		if c.n < block*block/3 {
			continue
		}
		var g [3]float64
		for k := range 3 {
			g[k] = c.p[k] / math.Max(c.r[k], 1e-4)
		}
		gains = append(gains, gain{g, light.Y(g), c.n})
	}
	slices.SortStableFunc(gains, func(a, b gain) int {
		switch {
		case a.y < b.y:
			return -1
		case a.y > b.y:
			return 1
		}
		return 0
	})
	groups := min(8, max(1, len(gains)/6))
	for q := range groups {
		part := gains[q*len(gains)/groups : (q+1)*len(gains)/groups]
		if len(part) == 0 {
			continue
		}
		var s light.Sample
		for k := range 3 {
			var vals []float64
			for _, g := range part {
				vals = append(vals, g.g[k])
			}
			s.Gain[k] = median(vals)
		}
		s.Weight, s.Group = 1/float64(groups), group
		rec.Samples = append(rec.Samples, s)
	}
	return rec
}

// surface samples the gain on the tiles themselves, for views without controls: the middle of each tile's ratios.
func (v *View) surface(img *plane.Image) []light.Sample {
	var out []light.Sample
	for k := range v.tiles {
		var g [3][]float64
		for _, i := range v.tiles[k].inner {
			if img.Flags[i]&unread != 0 || v.ref.Flags[i] != 0 {
				continue
			}
			a, b := v.px(img.RGB, i), v.px(v.glaze, i)
			for c := range 3 {
				g[c] = append(g[c], a[c]/math.Max(b[c], 1e-3))
			}
		}
		if len(g[0]) >= 16 {
			out = append(out, light.Sample{Gain: [3]float64{median(g[0]), median(g[1]), median(g[2])}, Weight: 1, Group: k})
		}
	}
	return out
}

func mulv(a, b [3]float64) [3]float64 { return [3]float64{a[0] * b[0], a[1] * b[1], a[2] * b[2]} }

func median(v []float64) float64 { return glaze.Median(v) }

// digits rounds to n significant digits, so that records are the same on every machine that agrees to that many.
func digits(x float64, n int) float64 {
	if math.Abs(x) < 1e-30 || math.IsNaN(x) || math.IsInf(x, 0) { // the power of ten would not be finite far below
		return 0
	}
	p := math.Pow(10, float64(n-1)-math.Floor(math.Log10(math.Abs(x))))
	return math.Round(x*p) / p
}

func round3(v *[3]float64) {
	for c := range v {
		v[c] = digits(v[c], 6)
	}
}

func roundLine(l *light.Line) {
	round3(&l.A)
	round3(&l.B)
	round3(&l.Sigma)
	l.Lo, l.Hi = digits(l.Lo, 6), digits(l.Hi, 6)
}

func roundObservation(o *Observation) {
	roundLine(&o.Line)
	for k := range o.Controls {
		c := &o.Controls[k]
		c.InFrame = digits(c.InFrame, 4)
		round3(&c.RefColor)
		for j := range c.Samples {
			round3(&c.Samples[j].Gain)
		}
	}
	o.Noise = digits(o.Noise, 4)
	for k := range o.Tiles {
		t := &o.Tiles[k]
		round3(&t.Gain)
		t.Clean, t.Spread, t.Sigma, t.Base = digits(t.Clean, 4), digits(t.Spread, 4), digits(t.Sigma, 4), digits(t.Base, 4)
		round3(&t.From)
		round3(&t.To)
		t.Level, t.GlazeLevel, t.Uneven = digits(t.Level, 5), digits(t.GlazeLevel, 5), digits(t.Uneven, 4)
	}
}
