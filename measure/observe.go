package measure

import (
	"math"
	"slices"

	"tilelapse/measure/glaze"
	"tilelapse/measure/light"
	"tilelapse/measure/plane"
	"tilelapse/measure/scale"
)

// Observation is what the first look at a photo leaves: gains on the controls and on each tile's cleanest part.
type Observation struct {
	Photo    Photo           `json:"photo"`
	Controls []ControlRecord `json:"controls"`
	Line     light.Line      `json:"line"`
	HasLine  bool            `json:"has_line"`
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
	N      int        `json:"n"` // pixels read
	Gain   [3]float64 `json:"gain"`
	Clean  float64    `json:"clean"`  // share of pixels at the clean mode
	Spread float64    `json:"spread"` // relative spread of the light's level over clean pixels
	Sigma  float64    `json:"sigma"`  // median standard error of a pixel's whiteness
	Tail   float64    `json:"tail"`   // clean mode minus the 5 % quantile of whiteness
	High   float64    `json:"high"`   // 90 % quantile of whiteness minus the clean mode
	Joint  float64    `json:"joint"`  // the light's level on the joints around it, photo over reference; 0 = unknown
	Uneven float64    `json:"uneven"` // half the middle half of the joints' levels, relative
}

// unread are the flags that keep a pixel out of every figure.
const unread = plane.Outside | plane.High | plane.Moving

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
	o.Tiles = make([]TileRecord, len(v.tiles))
	for k := range v.tiles {
		o.Tiles[k] = v.look(img, k, o.Line)
	}
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

// noiseOf returns the standard error of each channel of one pixel: a floor for dark noise and stray light, and a share
// of the light for texture, misfit and shot noise.
func noiseOf(i [3]float64, rel float64) (n [3]float64) {
	for c := range 3 {
		n[c] = math.Hypot(0.004, rel*math.Max(i[c], 0))
	}
	return n
}

// look finds the cleanest part of a tile and its gain.
func (v *View) look(img *plane.Image, k int, line light.Line) TileRecord {
	t := &v.tiles[k]
	var rec TileRecord
	if t.dark {
		return rec
	}
	var use []int32
	var ys []float64
	for _, i := range t.inner {
		if img.Flags[i]&unread == 0 && v.ref.Flags[i]&unread == 0 {
			use = append(use, i)
			ys = append(ys, light.Y(v.px(img.RGB, i))/math.Max(light.Y(v.px(v.glaze, i)), 1e-4))
		}
	}
	rec.N = len(use)
	if len(use) < 12 {
		rec.N = 0
		return rec
	}
	slices.Sort(ys)
	gain := line.At(glaze.Quantile(ys, 0.4))
	level := light.Y(gain)
	if l, _ := v.jointLevel(img, t.ring); l > 0 {
		level = math.Min(math.Max(l, 0.6*level), 1.25*level)
	}
	w := make([]float64, len(use))
	lev := make([]float64, len(use))
	sig := make([]float64, len(use))
	const rel = 0.04
	var mode float64
	for range 3 {
		dep := mulv(line.At(level), v.deposit)
		for j, i := range use {
			p := v.px(img.RGB, i)
			m := scale.Split(p, mulv(gain, v.px(v.glaze, i)), dep, noiseOf(p, rel), scale.Prior{Level: 1, Sigma: 0.3})
			w[j], lev[j], sig[j] = m.Alpha, m.A+m.B, m.Sigma
		}
		ms := median(sig)
		mode = glaze.LowMode(w, 0.5*math.Min(ms, 0.05))
		var s, r [3]float64
		var n float64
		var levels []float64
		for j, i := range use {
			if math.Abs(w[j]-mode) > 1.2*math.Min(ms, 0.06)+0.005 {
				continue
			}
			n++
			levels = append(levels, lev[j])
			p, g := v.px(img.RGB, i), v.px(v.glaze, i)
			for c := range 3 {
				s[c], r[c] = s[c]+p[c], r[c]+g[c]
			}
		}
		if n < 6 {
			break
		}
		for c := range 3 {
			gain[c] = s[c] / math.Max(r[c], 1e-6)
		}
		rec.Clean = n / float64(len(use))
		slices.Sort(levels)
		m := glaze.Quantile(levels, 0.5)
		rec.Spread = (glaze.Quantile(levels, 0.84) - glaze.Quantile(levels, 0.16)) / 2 / math.Max(m, 1e-3)
	}
	rec.Gain = gain
	w = slices.DeleteFunc(w, math.IsNaN)
	slices.Sort(w)
	rec.Tail, rec.High = mode-glaze.Quantile(w, 0.05), glaze.Quantile(w, 0.9)-mode
	rec.Sigma = median(sig)
	rec.Joint, rec.Uneven = v.jointLevel(img, t.ring)
	return rec
}

// jointLevel returns the light's level on joint pixels: a lower quantile, because scale and dried grout brighten part of
// them and nothing brightens all.
func (v *View) jointLevel(img *plane.Image, ring []int32) (level, uneven float64) {
	var y []float64
	for _, i := range ring {
		if img.Flags[i]&unread == 0 {
			y = append(y, light.Y(v.px(img.RGB, i))/math.Max(light.Y(v.px(v.ref.RGB, i)), 1e-3))
		}
	}
	if len(y) < 20 {
		return 0, 0
	}
	slices.Sort(y)
	level = glaze.Quantile(y, 0.3)
	return level, (glaze.Quantile(y, 0.75) - glaze.Quantile(y, 0.25)) / 2 / math.Max(glaze.Quantile(y, 0.5), 1e-4)
}

func mulv(a, b [3]float64) [3]float64 { return [3]float64{a[0] * b[0], a[1] * b[1], a[2] * b[2]} }

func median(v []float64) float64 { return glaze.Median(v) }

// digits rounds to n significant digits, so that records are the same on every machine that agrees to that many.
func digits(x float64, n int) float64 {
	if x == 0 || math.IsNaN(x) || math.IsInf(x, 0) {
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
	for k := range o.Tiles {
		t := &o.Tiles[k]
		round3(&t.Gain)
		t.Clean, t.Spread, t.Sigma, t.Tail, t.High = digits(t.Clean, 4), digits(t.Spread, 4), digits(t.Sigma, 4), digits(t.Tail, 4), digits(t.High, 4)
		t.Joint, t.Uneven = digits(t.Joint, 5), digits(t.Uneven, 4)
	}
}
