package measure

import (
	"fmt"
	"math"
	"math/rand"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tilelapse/measure/chart"
	"tilelapse/measure/colour"
	"tilelapse/measure/plane"
)

// camera is what a camera in some light makes of colours: linear sRGB in, the photo's light out.
type camera [3][3]float64

var cameras = map[string]camera{
	"daylight":  {{0.8, 0.06, 0}, {0.04, 0.75, 0.03}, {0, 0.06, 0.7}},
	"dusk":      {{0.45, 0.1, 0.02}, {0.06, 0.5, 0.08}, {0.02, 0.14, 0.7}},
	"lamp":      {{0.85, 0.12, 0}, {0.1, 0.55, 0.04}, {0.02, 0.1, 0.3}},
	"dull mode": {{0.5, 0.2, 0.05}, {0.14, 0.5, 0.1}, {0.06, 0.2, 0.5}},
}

func (m camera) see(c [3]float64) (o [3]float64) {
	for k := range 3 {
		o[k] = m[k][0]*c[0] + m[k][1]*c[1] + m[k][2]*c[2]
	}
	return o
}

// take replaces the light of a made photo by what a camera sees of it.
func (m camera) take(im *plane.Image) *plane.Image {
	for i := range im.Flags {
		c := m.see([3]float64{float64(im.RGB[3*i]), float64(im.RGB[3*i+1]), float64(im.RGB[3*i+2])})
		for k := range 3 {
			im.RGB[3*i+k] = float32(math.Min(1, c[k]))
		}
	}
	return im
}

// chart returns the fit of a chart in light of the given level, each patch seen a little off.
func (m camera) chart(t *testing.T, level float64, seed int64) *chart.Fit {
	t.Helper()
	rng := rand.New(rand.NewSource(seed))
	var p [chart.Count]chart.Patch
	for i, c := range chart.Reference(chart.FromNov2014) {
		l := m.see(c)
		for k := range l {
			l[k] = math.Max(0, level*l[k]*(1+0.01*rng.NormFloat64()))
		}
		p[i] = chart.Patch{Light: l, Pixels: 100}
	}
	f, err := chart.FitPatches(p, chart.Untold)
	require.NoError(t, err)
	return &f
}

// charted measures one photo of a wall whose glaze was changed, with charts in both photos or without.
func (s *wall) charted(t *testing.T, was, now camera, o shot, level float64, charts bool) (*View, *PhotoResult, *Reading) {
	t.Helper()
	spec := s.spec
	if charts {
		spec.Chart = was.chart(t, 1, 5)
	}
	v, err := NewView(spec, was.take(s.photo(shot{seed: 1})))
	require.NoError(t, err)
	im := now.take(s.photo(o))
	ph := Photo{Key: "a", Visit: "2020-01-01", Kind: "digital", PxPerRef: 1, Sharpness: 1}
	obs := v.Observe(im, ph)
	r := v.Read(im, ph, v.Solve([]*Observation{obs})[0])
	if charts {
		r.Chart = now.chart(t, level, 6)
	}
	return v, v.Close([]*Reading{r}, -1)[0], r
}

// faded takes chroma from every glaze and darkens it a little.
func faded(_ int, c [3]float64) [3]float64 {
	l := colour.RGB(c).Lab()
	l.L, l.A, l.B = l.L-2, 0.8*l.A, 0.8*l.B
	return l.RGB()
}

// driftErrors are the distances of tiles' drifts from the truth, ΔE76 of the signed differences, and their mean.
func (s *wall) driftError(v *View, res *PhotoResult, glaze func(int, [3]float64) [3]float64) float64 {
	sum, n := 0.0, 0.0
	for k := range s.colour {
		x := res.Tiles[k]
		if math.IsNaN(x.DL) {
			continue
		}
		a, b := colour.RGB(s.colour[k]).Lab(), colour.RGB(glaze(k, s.colour[k])).Lab()
		sum += math.Sqrt(sq(x.DL-b.L+a.L) + sq(x.DA-b.A+a.A) + sq(x.DB-b.B+a.B))
		n++
	}
	return sum / n
}

func unchanged(_ int, c [3]float64) [3]float64 { return c }

func TestChartsMakeDriftTrueUnderAnotherLight(t *testing.T) {
	for _, c := range []struct {
		name, camera string
		controls     bool
		glaze        func(int, [3]float64) [3]float64
	}{
		{"same light, nothing changed", "daylight", true, unchanged},
		{"other colours of light, faded", "dusk", true, faded},
		{"dull colours, nothing changed", "dull mode", true, unchanged},
		{"no controls, lamp, nothing changed", "lamp", false, unchanged},
		{"no controls, same light, faded", "daylight", false, faded},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := makeWall()
			want := BasisControl
			if !c.controls {
				s.spec.Controls, want = nil, BasisSurface
			}
			was, now, o := cameras["daylight"], cameras[c.camera], shot{seed: 3, glaze: c.glaze, alpha: drips}
			v, plain, rp := s.charted(t, was, now, o, 1, false)
			_, by, rc := s.charted(t, was, now, o, 1, true)
			assert.Equal(t, want, plain.Basis)
			require.Equal(t, BasisChart, by.Basis, "%v", by.Notes)
			assert.Equal(t, rp.Opacity, rc.Opacity, "a chart changes no opacity")
			for z := range plain.Zones {
				a, b := plain.Zones[z], by.Zones[z]
				assert.Equal(t, fmt.Sprint(a.ScalePct, a.ScaleLo, a.ScaleHi, a.OpacityPct), fmt.Sprint(b.ScalePct, b.ScaleLo, b.ScaleHi, b.OpacityPct))
				assert.Equal(t, BasisChart, b.Basis)
			}
			without, with := s.driftError(v, plain, c.glaze), s.driftError(v, by, c.glaze)
			t.Logf("drift off by %.2f without, %.2f with charts (Lab units)", without, with)
			assert.Less(t, with, 1.5)
			if c.camera != "daylight" || !c.controls {
				assert.Less(t, with, without/2, "better with charts")
			}
			for z := range by.Zones {
				truth := s.drift(v, z, c.glaze)
				assert.LessOrEqual(t, by.Zones[z].DriftLo, truth+0.01)
				assert.GreaterOrEqual(t, by.Zones[z].DriftHi, truth)
			}
		})
	}
}

// drift is the true drift of a zone: the median of its tiles'.
func (s *wall) drift(v *View, z int, glaze func(int, [3]float64) [3]float64) float64 {
	var d []float64
	for k, c := range s.colour {
		if v.tiles[k].zone == z {
			d = append(d, colour.CIEDE2000(colour.RGB(c).Lab(), colour.RGB(glaze(k, c)).Lab()))
		}
	}
	return median(d)
}

// TestPaletteIsMetByChart gives the palette the glazes' own colours, shifted by a known amount: what is told is that
// amount, within the interval.
func TestPaletteIsMetByChart(t *testing.T) {
	s := makeWall()
	ids := []string{"blue", "amber", "green", "red"}
	glazes := []colour.Lab{{L: 45, A: -5, B: -35}, {L: 60, A: 12, B: 50}, {L: 48, A: -30, B: 15}, {L: 40, A: 42, B: 30}}
	want := map[string]float64{}
	for i, g := range glazes {
		meant := colour.Lab{L: g.L + 2, A: g.A + float64(3*(i%2)), B: g.B - 2}
		s.spec.Palette = append(s.spec.Palette, Glaze{Name: ids[i], Lab: meant})
		want[ids[i]] = colour.CIEDE2000(g, meant)
	}
	v, res, _ := s.charted(t, cameras["daylight"], cameras["lamp"], shot{seed: 3}, 1, true)
	told := 0
	for _, x := range res.Tiles {
		if _, ok := want[x.Glaze]; !ok || math.IsNaN(x.DriftDE00) {
			assert.True(t, math.IsNaN(x.PaletteDE00), "no glaze intended, none told")
			continue
		}
		require.False(t, math.IsNaN(x.PaletteDE00+x.PaletteLo+x.PaletteHi))
		assert.LessOrEqual(t, x.PaletteLo, x.PaletteDE00)
		assert.GreaterOrEqual(t, x.PaletteHi, x.PaletteDE00)
		told++
	}
	assert.Greater(t, told, 100)
	seen := 0
	for _, g := range v.Glazes(res) {
		d, ok := want[g.Name]
		if !ok {
			continue
		}
		seen++
		t.Logf("%s: %.2f (%.2f to %.2f), truth %.2f", g.Name, g.PaletteDE00, g.PaletteLo, g.PaletteHi, d)
		assert.InDelta(t, d, g.PaletteDE00, 1.5)
		assert.LessOrEqual(t, g.PaletteLo, d)
		assert.GreaterOrEqual(t, g.PaletteHi, d)
	}
	assert.Equal(t, 4, seen)
	_, plain, _ := s.charted(t, cameras["daylight"], cameras["lamp"], shot{seed: 3}, 1, false)
	for _, x := range plain.Tiles {
		assert.True(t, math.IsNaN(x.PaletteDE00), "nothing is told of the palette without charts")
	}
}

// TestChartsThatDisagreeAreNotUsed has charts that tell something else than the surface does.
func TestChartsThatDisagreeAreNotUsed(t *testing.T) {
	for _, c := range []struct {
		name  string
		chart camera
		level float64
		kind  string
		basis ColourBasis
		note  string
	}{
		{"in shade", cameras["daylight"], 0.3, "digital", BasisControl, "other light than the surface"},
		{"of another colour", cameras["lamp"], 1, "digital", BasisControl, "disagree"},
		{"a print", cameras["daylight"], 1, "print", BasisNone, "copying"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := makeWall()
			spec := s.spec
			spec.Chart = cameras["daylight"].chart(t, 1, 5)
			v, err := NewView(spec, cameras["daylight"].take(s.photo(shot{seed: 1})))
			require.NoError(t, err)
			im := cameras["daylight"].take(s.photo(shot{seed: 2}))
			ph := Photo{Key: "a", Visit: "2020-01-01", Kind: c.kind, PxPerRef: 1, Sharpness: 1}
			r := v.Read(im, ph, v.Solve([]*Observation{v.Observe(im, ph)})[0])
			before := v.Close([]*Reading{r}, -1)[0]
			r.Chart = c.chart.chart(t, c.level, 6)
			res := v.Close([]*Reading{r}, -1)[0]
			assert.Equal(t, c.basis, res.Basis)
			require.Len(t, res.Notes, 1)
			assert.Contains(t, res.Notes[0], c.note)
			for k := range res.Tiles {
				assert.True(t, math.IsNaN(res.Tiles[k].PaletteDE00))
				assert.Equal(t, fmt.Sprint(before.Tiles[k]), fmt.Sprint(res.Tiles[k]), "it changes nothing")
			}
		})
	}
}

// TestBaselinePhotoNeedsAChartToo counts drift from a photo with and without a chart.
func TestBaselinePhotoNeedsAChartToo(t *testing.T) {
	s := makeWall()
	spec := s.spec
	spec.Chart = cameras["daylight"].chart(t, 1, 5)
	v, err := NewView(spec, cameras["daylight"].take(s.photo(shot{seed: 1})))
	require.NoError(t, err)
	var rs []*Reading
	for i, c := range []camera{cameras["dusk"], cameras["lamp"]} {
		im := c.take(s.photo(shot{seed: int64(2 + i)}))
		ph := Photo{Key: string(rune('a' + i)), Visit: "2020-01-01", Kind: "digital", PxPerRef: 1, Sharpness: 1}
		rs = append(rs, v.Read(im, ph, v.Solve([]*Observation{v.Observe(im, ph)})[0]))
		rs[i].Chart = c.chart(t, 1, int64(6+i))
	}
	res := v.Close(rs, 0)
	assert.Equal(t, BasisChart, res[1].Basis)
	for _, z := range res[1].Zones {
		assert.Less(t, z.DriftDE00, 1.0)
	}
	rs[0].Chart = nil
	res = v.Close(rs, 0)
	assert.Equal(t, BasisControl, res[1].Basis)
	assert.Contains(t, res[1].Notes[0], "baseline")
}
