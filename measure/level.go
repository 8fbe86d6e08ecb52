package measure

import (
	"cmp"
	"math"
	"slices"

	"tilelapse/measure/glaze"
	"tilelapse/measure/light"
	"tilelapse/measure/plane"
)

// ownLead is how far a tile's own level may lie above that of the joints around it, ln: beyond it is scale.
const ownLead = 0.3

// levels finds the light's level at every tile, photo over reference, from the joints: they do not fade, and of the
// joints around a few tiles some bear no scale. Without cast shadows the level is smooth over the frame: a quadratic in
// x and y with a little freedom, mostly downwards, because scale brightens joints and nothing but shade and water
// darkens them. With cast shadows it is that of the shaded or of the lit side (see sides) or, near their edges, what the joints
// next to the tile say. For the glaze's colour, in light without cast
// shadows, the tile tells the level itself, as far as its glaze did not fade.
func (v *View) levels(img *plane.Image, o *Observation) []float64 {
	n := len(v.tiles)
	joint := make([]float64, n)
	var all []float64
	for k := range v.tiles {
		joint[k], o.Tiles[k].Uneven = v.jointLevel(img, v.tiles[k].ring)
		if joint[k] > 0 {
			all = append(all, joint[k])
		}
	}
	out := make([]float64, n)
	mid := 1.0
	if len(all) > 0 {
		mid = median(all)
	} else if o.HasLine {
		mid = (o.Line.Lo + o.Line.Hi) / 2
	}
	own := make([]float64, n)
	for k := range v.tiles {
		own[k] = v.ownLevel(img, k)
	}
	lower, middle := make([]float64, n), make([]float64, n)
	for k := range v.tiles {
		lower[k], middle[k] = math.NaN(), math.NaN()
		var l []float64
		if joint[k] > 0 {
			l = append(l, joint[k])
		}
		for j, q := range v.near[k] {
			if joint[q] > 0 {
				l = append(l, joint[q])
			}
			if j == 12 {
				break
			}
		}
		var m []float64
		for j, q := range append([]int32{int32(k), int32(k)}, v.near[k]...) {
			if joint[q] > 0 {
				m = append(m, joint[q])
			}
			if own[q] > 0 {
				m = append(m, own[q])
			}
			if j == 7 {
				break
			}
		}
		if len(m) >= 3 {
			slices.Sort(m)
			middle[k] = math.Log(glaze.Quantile(m, 0.3))
		}
		if len(l) >= 3 {
			slices.Sort(l)
			lower[k] = math.Log(unscaled(l, 0.25, 0.08))
		}
		if math.IsNaN(middle[k]) {
			middle[k] = lower[k]
		}
	}
	fit := v.quadratic(lower, v.anchors(o))
	far, seen := 0, 0
	for k := range v.tiles {
		if joint[k] > 0 && !math.IsNaN(lower[k]) {
			seen++
			if math.Log(joint[k])-fit(k) < -0.35 {
				far++
			}
		}
	}
	beyond := 0
	for _, y := range all {
		if o.HasLine && (y < 0.55*o.Line.Lo || y > 2*o.Line.Hi) {
			beyond++
		}
	}
	o.Shadows = seen > 0 && float64(far) > 0.12*float64(seen) || o.controlsCut() || float64(beyond) > 0.12*float64(len(all))
	if o.Shadows && o.HasLine && float64(beyond) > 0.05*float64(len(all)) {
		v.lineFromJoints(img, o)
	}
	var fade []float64 // in the shade a tile's own level is no better than the joints'
	if !o.Shadows {
		fade = v.fades(joint, own)
	}
	var side []float64
	if o.Shadows {
		side = v.sides(joint)
	}
	for k := range v.tiles {
		switch {
		case math.IsNaN(lower[k]):
			out[k] = mid
		case o.Shadows && !math.IsNaN(side[k]):
			o.Tiles[k].Told = true
			out[k] = math.Exp(side[k] + math.Min(0.04, math.Max(-0.15, lower[k]-side[k])))
		case o.Shadows:
			out[k] = math.Exp(middle[k])
		default:
			f := fit(k)
			out[k] = math.Exp(f + math.Min(0.04, math.Max(-0.15, lower[k]-f)))
		}
		o.Tiles[k].Level, o.Tiles[k].GlazeLevel = out[k], out[k]
		if o.Tiles[k].Told && !math.IsNaN(middle[k]) { // measured on made scenes: nearer for colours than the side's fit
			o.Tiles[k].GlazeLevel = math.Exp(middle[k])
		}
		if fade != nil && own[k] > 0 && !math.IsNaN(middle[k]) {
			o.Tiles[k].GlazeLevel = math.Exp(math.Min(math.Log(own[k])-fade[k], middle[k]+ownLead))
		}
	}
	return out
}

// lineFromJoints learns the photo's two lights anew from controls and joints together: the controls all lie in one of
// them.
func (v *View) lineFromJoints(img *plane.Image, o *Observation) {
	var samples []light.Sample
	for _, c := range o.Controls {
		samples = append(samples, c.Samples...)
	}
	n := len(samples)
	for k := range v.tiles {
		if g, ok := v.jointGain(img, v.tiles[k].ring); ok {
			samples = append(samples, light.Sample{Gain: g, Group: len(v.controls) + k})
		}
	}
	if len(samples) == n {
		return
	}
	w := 2 * float64(len(v.controls)) / float64(len(samples)-n)
	for j := n; j < len(samples); j++ {
		samples[j].Weight = w
	}
	o.Line, _ = light.Fit(samples)
}

// jointGain returns the gain of each channel on the joint pixels between the lower tenth and the middle of the levels.
func (v *View) jointGain(img *plane.Image, ring []int32) (g [3]float64, ok bool) {
	type px struct {
		y float64
		i int32
	}
	var all []px
	for _, i := range ring {
		if img.Flags[i]&(unread|plane.Low) == 0 {
			all = append(all, px{light.Y(v.px(img.RGB, i)) / math.Max(light.Y(v.px(v.ref.RGB, i)), 1e-3), i})
		}
	}
	if len(all) < 30 {
		return g, false
	}
	slices.SortStableFunc(all, func(a, b px) int { return cmp.Compare(a.y, b.y) })
	all = all[len(all)/10 : len(all)/2]
	var a, b [3]float64
	for _, p := range all {
		x, r := v.px(img.RGB, p.i), v.px(v.ref.RGB, p.i)
		for c := range 3 {
			a[c], b[c] = a[c]+x[c], b[c]+r[c]
		}
	}
	for c := range 3 {
		g[c] = a[c] / math.Max(b[c], 1e-6)
	}
	return g, true
}

// ownLevel returns the light's level on a tile as if its glaze had not changed: a lower quantile, as on joints.
// 0 = unknown.
func (v *View) ownLevel(img *plane.Image, k int) float64 {
	t := &v.tiles[k]
	if t.dark || light.Y(t.mean) < 0.06 {
		return 0
	}
	var y []float64
	step, high := 1+len(t.inner)/150, 0
	for j := 0; j < len(t.inner); j += step {
		i := t.inner[j]
		if (img.Flags[i]|v.ref.Flags[i])&plane.High != 0 {
			high++
		}
		if img.Flags[i]&unread == 0 && v.ref.Flags[i]&unread == 0 {
			y = append(y, light.Y(v.px(img.RGB, i))/math.Max(light.Y(v.px(v.glaze, i)), 1e-3))
		}
	}
	if len(y) < 12 || high > len(y) { // those that tell are the darkest then
		return 0
	}
	slices.Sort(y)
	return unscaled(y, 0.3, 0.1)
}

// unscaled returns the middle that sorted values would have without those that scale has brightened: a lower quantile
// plus its way to the middle, told by a still lower one as if the values were normally distributed.
func unscaled(sorted []float64, p, q float64) float64 {
	a, b := glaze.Quantile(sorted, p), glaze.Quantile(sorted, q)
	za, zb := math.Sqrt2*math.Erfinv(1-2*p), math.Sqrt2*math.Erfinv(1-2*q)
	return a + math.Min(0.15*a, (a-b)*za/(zb-za))
}

// controlsCut reports whether a shadow's edge crosses a control: the light's level on it differs by half and more.
func (o *Observation) controlsCut() bool {
	for _, c := range o.Controls {
		lo, hi := math.Inf(1), 0.0
		for _, s := range c.Samples {
			y := light.Y(s.Gain)
			lo, hi = math.Min(lo, y), math.Max(hi, y)
		}
		if hi > 1.5*lo && len(c.Samples) >= 4 {
			return true
		}
	}
	return false
}

// anchor is a place where the light's level is known from a control.
type anchor struct{ x, y, value float64 }

// anchors gives the middle level of every control, at its middle.
func (v *View) anchors(o *Observation) []anchor {
	var out []anchor
	for k, c := range o.Controls {
		var y []float64
		for _, s := range c.Samples {
			y = append(y, light.Y(s.Gain))
		}
		if m := median(y); m > 0 && c.InFrame > 0.3 {
			cx, cy := v.spec.Controls[k].Centroid()
			out = append(out, anchor{cx, cy, math.Log(m)})
		}
	}
	return out
}

// quadratic fits a quadratic in position to the tiles' values, NaN left out, and to anchors, each worth a twentieth of
// the tiles. Cauchy weights, narrower above than below: what disagrees upwards is scale.
func (v *View) quadratic(y []float64, anchors []anchor) func(k int) float64 {
	sx, sy := float64(v.spec.Frame.RefW)/2, float64(v.spec.Frame.RefH)/2
	row := func(x, y float64) [6]float64 {
		a, b := x/sx-1, y/sy-1
		return [6]float64{1, a, b, a * a, a * b, b * b}
	}
	var coef [6]float64
	var vals []float64
	for _, x := range y {
		if !math.IsNaN(x) {
			vals = append(vals, x)
		}
	}
	if len(vals) == 0 {
		return func(int) float64 { return 0 }
	}
	coef[0] = median(vals)
	dot := func(r [6]float64) float64 {
		s := 0.0
		for j := range r {
			s += coef[j] * r[j]
		}
		return s
	}
	at := func(k int) float64 { return dot(row(v.tiles[k].x, v.tiles[k].y)) }
	for range 12 {
		var m [6][7]float64
		add := func(r [6]float64, x, w float64) {
			for i := range r {
				for j := range r {
					m[i][j] += w * r[i] * r[j]
				}
				m[i][6] += w * r[i] * x
			}
		}
		for k, x := range y {
			if math.IsNaN(x) {
				continue
			}
			d := x - at(k)
			if d > 0 {
				d /= 0.05
			} else {
				d /= 0.10
			}
			add(row(v.tiles[k].x, v.tiles[k].y), x, 1/(1+d*d))
		}
		for _, a := range anchors {
			r := row(a.x, a.y)
			d := (a.value - dot(r)) / 0.15
			add(r, a.value, 0.05*float64(len(vals))/(1+d*d))
		}
		for i := 1; i < 6; i++ {
			m[i][i] += 0.5 // few tiles say little about slopes
		}
		c, ok := solve6(m)
		if !ok {
			break
		}
		coef = c
	}
	return at
}

// solve6 solves six linear equations by elimination with row exchange.
func solve6(m [6][7]float64) (x [6]float64, ok bool) {
	for i := range 6 {
		p := i
		for r := i + 1; r < 6; r++ {
			if math.Abs(m[r][i]) > math.Abs(m[p][i]) {
				p = r
			}
		}
		m[i], m[p] = m[p], m[i]
		if math.Abs(m[i][i]) < 1e-12 {
			return x, false
		}
		for r := i + 1; r < 6; r++ {
			f := m[r][i] / m[i][i]
			for c := i; c < 7; c++ {
				m[r][c] -= f * m[i][c]
			}
		}
	}
	for i := 5; i >= 0; i-- {
		s := m[i][6]
		for c := i + 1; c < 6; c++ {
			s -= m[i][c] * x[c]
		}
		x[i] = s / m[i][i]
	}
	return x, true
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
	level = unscaled(y, 0.3, 0.1)
	return level, (glaze.Quantile(y, 0.75) - glaze.Quantile(y, 0.25)) / 2 / math.Max(glaze.Quantile(y, 0.5), 1e-4)
}
