package measure

import (
	"fmt"
	"math"
	"slices"

	"tilelapse/measure/chart"
	"tilelapse/measure/colour"
	"tilelapse/measure/glaze"
	"tilelapse/measure/light"
)

// Limits of a pair of charts that makes colours absolute (our choice).
const (
	chartShaded  = 1.7  // times: how far the chart's light may lie beyond the light levels seen on the surface
	chartApart   = 5.0  // ΔE00: how far chart and controls may disagree about the controls' colour
	chartLevel   = 0.05 // standard error of the light's level on a tile against that on the chart, relative
	perDirection = 1.6  // mean length of an error over its standard error in one of three directions (Maxwell)
)

// charted turns the light of a photo and of the reference into colours by the charts in both.
//
// The charts tell the light's colour and what the camera makes of saturated colours; the light's level on each tile
// comes from the surface around it, as without charts, because a chart stands in one place and may be held at any angle.
type charted struct {
	now, ref *chart.Fit
	line     light.Line
	stable   [3]float64 // light, in the reference photo, of the controls; of a grey where there are none
	white    [3]float64 // the surface's gain, in chart colours, in the chart's own light
	drift    float64    // standard error of drift, a direction, CIELAB units: the same patches in both photos
	apart    float64    // ΔE00 between the controls' colours by both charts, NaN without controls
}

// chartedBy ties a photo's chart to the reference's. It is nil without two charts that can be trusted, with the reason
// for the reader where there is at least the photo's.
func (v *View) chartedBy(r *Reading) (*charted, string) {
	switch {
	case r.Chart == nil || v.spec.Chart == nil:
		return nil, ""
	case r.Basis == BasisNone:
		return nil, "what it corrects is the copying, not the light on the surface"
	}
	c := &charted{now: r.Chart, ref: v.spec.Chart, line: r.Line, stable: v.stable, apart: math.NaN()}
	lo, hi := r.Line.Lo, r.Line.Hi
	if r.Basis != BasisControl {
		// a line learned from the glazes themselves knows nothing of light's colour: the charts' greys do
		was, ok := greyLight(c.ref)
		now, fine := greyLight(c.now)
		if !ok || !fine {
			return nil, "it says nothing of greys"
		}
		c.stable, c.line = was, light.Line{}
		for k := range 3 {
			c.line.B[k] = now[k] / was[k]
		}
		lo, hi = r.levels()
	}
	n := 0.0
	for i, a := range c.now.Left {
		if b := c.ref.Left[i]; c.now.Read[i] && c.ref.Read[i] {
			c.drift += colour.CIEDE2000(a, b)
			n++
		}
	}
	c.drift /= math.Max(n, 1) * perDirection
	// the level at which the surface has the luminance that it has in the reference is that of the chart's light
	y := math.Sqrt(math.Max(lo, 1e-6) * math.Max(hi, 1e-6))
	for range 20 {
		s := light.Y(c.gain(y))
		if !(s > 1e-3 && s < 1e3) {
			return nil, "the surface's light can't be brought to the chart's"
		}
		y /= s
	}
	if y < lo/chartShaded || y > hi*chartShaded {
		return nil, fmt.Sprintf("it stands in other light than the surface, %.2f times the reference's where the surface has %.2f to %.2f",
			y, lo, hi)
	}
	g := c.gain(y)
	for k := range g {
		c.white[k] = g[k] / light.Y(g)
	}
	if r.Basis == BasisControl {
		was := c.ref.Colour(c.stable)
		c.apart = colour.CIEDE2000(was.Lab(), colour.RGB(mulv(was, g)).Lab())
		if c.apart > chartApart {
			return nil, fmt.Sprintf("chart and controls disagree by %.1f ΔE00, limit %.0f", c.apart, chartApart)
		}
	}
	return c, ""
}

// greyLight returns the light of a middle grey in the photo of a chart; false where a channel has none.
func greyLight(f *chart.Fit) ([3]float64, bool) {
	g, ok := f.Light(colour.RGB{0.2, 0.2, 0.2})
	return g, ok && g[0] > 1e-4 && g[1] > 1e-4 && g[2] > 1e-4
}

// levels bounds the middle nine tenths of the light's levels on the tiles, photo over reference.
func (r *Reading) levels() (lo, hi float64) {
	var y []float64
	for k := range r.Tiles {
		if r.Tiles[k].Around > 0 {
			y = append(y, r.Tiles[k].Around)
		}
	}
	if len(y) == 0 {
		return 0, 0
	}
	slices.Sort(y)
	return glaze.Quantile(y, 0.05), glaze.Quantile(y, 0.95)
}

// gain returns what happens to the surface's colour from the reference to the photo, in chart colours, where the light
// has the level y: (1, 1, 1) in the chart's own light when charts and surface agree.
func (c *charted) gain(y float64) (g [3]float64) {
	kg := c.line.At(y)
	now, was := c.now.Colour(mulv(c.stable, kg)), c.ref.Colour(c.stable)
	for k := range g {
		g[k] = now[k] / math.Max(was[k], 1e-4)
	}
	return g
}

// colour returns the colour of light seen on a tile at light level y, in the level that it had in the reference.
func (c *charted) colour(seen [3]float64, y float64) colour.RGB {
	now, g := c.now.Colour(seen), c.gain(y)
	level := light.Y(g)
	for k := range now {
		// where the light's colour differs from that on the chart (shade), the surface tells by how much
		own := level
		if c.white[k] > 0.05 && g[k] > 0 {
			own = g[k] / c.white[k]
		}
		now[k] /= math.Max(own, 1e-6)
	}
	return now
}

// chartColour returns the colour of a tile's unwhitened glaze in a photo by its chart.
func (v *View) chartColour(c *charted, r *Reading, k int) (colour.RGB, bool) {
	if _, ok := v.glazeNow(r, k); !ok {
		return colour.RGB{}, false
	}
	return c.colour(mulv(v.tiles[k].mean, r.Tiles[k].Gain), r.Tiles[k].Around), true
}

// chartOrigin returns the colours that drift by chart is counted from, nil when reference or baseline photo have no chart
// that can be trusted; NaN for tiles not read there.
func (v *View) chartOrigin(readings []*Reading, calls [][]call, baseline int) []colour.Lab {
	if v.spec.Chart == nil {
		return nil
	}
	from := make([]colour.Lab, len(v.tiles))
	for k := range v.tiles {
		from[k] = v.tiles[k].colour
	}
	if baseline < 0 || baseline >= len(readings) {
		return from
	}
	r := readings[baseline]
	c, _ := v.chartedBy(r)
	if c == nil {
		return nil
	}
	for k := range v.tiles {
		from[k] = colour.Lab{L: math.NaN(), A: math.NaN(), B: math.NaN()}
		if now, ok := v.chartColour(c, r, k); ok && calls[baseline][k].state == Present {
			from[k] = now.Lab()
		}
	}
	return from
}

// takeChart makes the colours of a photo those of its chart where that can be done, and notes why not otherwise.
func (p *PhotoResult) takeChart(v *View, r *Reading, from []colour.Lab) *charted {
	c, why := v.chartedBy(r)
	if c != nil && from == nil {
		c, why = nil, "the baseline photo has none that can be used"
	}
	if why != "" {
		p.Notes = append(p.Notes, chart.NotUsed+": "+why)
	}
	if c == nil {
		return nil
	}
	p.chart, p.Basis, p.light = c, BasisChart, math.Hypot(p.light, c.light())
	return c
}

// colourByChart puts a tile's drift by chart in the place of that by the light alone, and compares it with the glaze
// intended. light is the standard error that all tiles of the photo share.
func (x *TileResult) colourByChart(v *View, r *Reading, c *charted, from colour.Lab, light float64) {
	now, ok := v.chartColour(c, r, x.Tile)
	if !ok {
		return
	}
	lab := now.Lab()
	x.ChartNow = now
	x.drifted(from, lab)
	if want, ok := v.intended(x.Glaze); ok {
		x.PaletteDE00 = colour.CIEDE2000(lab, want)
		x.PaletteLo, x.PaletteHi = c.paletteBounds(x.PaletteDE00, lab, light)
	}
}

// paletteBounds is the 95 % interval of a difference from an intended colour.
func (c *charted) paletteBounds(de float64, at colour.Lab, shared float64) (lo, hi float64) {
	s := c.paletteSigma(at, shared)
	return math.Max(0, de-1.96*s), de + 1.96*s
}

// paletteSigma is the standard error of the difference between a colour by chart and an intended one, ΔE00: the chart's
// own misfit, the light's level on the surface against that on the chart, and the light's error that all tiles share.
func (c *charted) paletteSigma(at colour.Lab, shared float64) float64 {
	s := math.Hypot(c.now.LeftOut, c.ref.LeftOut) / math.Sqrt2 / perDirection
	rgb := at.RGB()
	for k := range rgb {
		rgb[k] *= 1 + chartLevel
	}
	return math.Hypot(math.Hypot(s, colour.CIEDE2000(at, rgb.Lab())), shared)
}

// light is the standard error that the charts add to what all tiles of a photo have in common.
func (c *charted) light() float64 {
	s := c.drift
	if !math.IsNaN(c.apart) {
		s = math.Hypot(s, c.apart/2)
	}
	return s
}

// setStable finds the mean light of the controls in the reference; 0 without any.
func (v *View) setStable() {
	var s [3]float64
	n := 0.0
	for _, pix := range v.controls {
		for _, i := range pix {
			if v.ref.Flags[i] == 0 {
				p := v.px(v.ref.RGB, i)
				for c := range 3 {
					s[c] += p[c]
				}
				n++
			}
		}
	}
	v.stable = scaled(s, 1/math.Max(n, 1))
}

// intended returns a palette glaze by name.
func (v *View) intended(name string) (colour.Lab, bool) {
	for _, g := range v.spec.Palette {
		if g.Name == name {
			return g.Lab, true
		}
	}
	return colour.Lab{}, false
}

// setColours tells every tile's colour in the reference: by its chart, else as photographed.
func (v *View) setColours() {
	for k := range v.tiles {
		t := &v.tiles[k]
		t.colour = t.lab
		if v.spec.Chart != nil {
			t.colour = v.spec.Chart.Colour(t.mean).Lab()
		}
	}
}
