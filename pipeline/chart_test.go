package pipeline

import (
	"context"
	"encoding/csv"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tilelapse/measure/chart"
	"tilelapse/measure/colour"
)

// chartWall is a made tiled wall with a stone margin and, if wanted, a colour chart; positions are px of the reference.
const (
	wallW, wallH           = 800, 610
	fieldX, fieldY         = 270, 190
	tileCols, tileRows     = 10, 8
	tileStep, tileW        = 50, 44
	chartPitch, chartWidth = 34.0, 0.84
)

var wallGlazes = []struct {
	name string
	lab  colour.Lab
}{
	{"slate blue", colour.Lab{L: 42, A: -4, B: -33}}, {"barley", colour.Lab{L: 66, A: 8, B: 52}},
	{"pond green", colour.Lab{L: 48, A: -30, B: 14}}, {"brick", colour.Lab{L: 42, A: 40, B: 30}},
}

// chartShot is a photo of the wall.
type chartShot struct {
	camera   [3][3]float64 // light from colours
	x, y     float64       // where the chart's field begins, NaN = no chart
	chroma   float64       // of every glaze, times that of the reference
	move     float64       // px, how far the camera has moved, and turned and gone back a bit
	shade    float64       // of the light on the chart, 1 = none
	scramble bool          // patches in another order
	tiles    [][3]float64  // set when drawn
}

// hash is a number in 0..1 that looks random, the same for the same arguments.
func hash(a, b, c int) float64 {
	h := uint32(a)*374761393 + uint32(b)*668265263 + uint32(c)*2246822519
	h = (h ^ h>>13) * 1274126177
	return float64((h^h>>16)&0xffffff) / 0xffffff
}

var (
	chartColours = chart.Reference(chart.FromNov2014)
	wallScale    = colour.Lab{L: 84, A: 0.5, B: 5}.RGB()
)

// tileGlaze is a tile's colour with the chroma times that of the reference.
func tileGlaze(col, row int, chroma float64) colour.Lab {
	g := wallGlazes[int(4*hash(col, row, 2))%4].lab
	return colour.Lab{L: g.L + 6*(hash(col, row, 3)-0.5), A: g.A * chroma, B: g.B * chroma}
}

// at returns the wall's colour at a position, linear sRGB.
func (s chartShot) at(x, y float64) (c [3]float64) {
	u, v := (x-s.x)/chartPitch, (y-s.y)/chartPitch
	if u > -0.25 && v > -0.25 && u < chart.Cols+0.25 && v < chart.Rows+0.25 {
		const edge = (1 - chartWidth) / 2
		fu, fv := u-math.Floor(u), v-math.Floor(v)
		c = [3]float64{0.03, 0.03, 0.03}
		if u > 0 && v > 0 && u < chart.Cols && v < chart.Rows && fu > edge && fu < 1-edge && fv > edge && fv < 1-edge {
			i := int(v)*chart.Cols + int(u)
			if s.scramble {
				i = (7*i + 5) % chart.Count
			}
			c = chartColours[i]
		}
		for k := range c {
			c[k] *= s.shade
		}
		return c
	}
	ix, iy := int(math.Floor(x)), int(math.Floor(y))
	grain := 1 + 0.06*(hash(ix, iy, 1)-0.5)
	col, row := int(math.Floor((x-fieldX)/tileStep)), int(math.Floor((y-fieldY)/tileStep))
	in := x >= fieldX && y >= fieldY && col < tileCols && row < tileRows
	switch fx, fy := x-fieldX-float64(col*tileStep), y-fieldY-float64(row*tileStep); {
	case in && fx < tileW && fy < tileW:
		c = s.tiles[row*tileCols+col]
		if hash(col, row, 4) < 0.25 && math.Hypot(fx-30, fy-12) < 9 { // a drop of scale on every fourth tile
			for k := range c {
				c[k] = 0.3*c[k] + 0.7*wallScale[k]
			}
		}
	case in:
		c = [3]float64{0.22, 0.21, 0.19}
	default: // stone in blocks, so that there is something to align by
		b := 0.7 + 0.6*hash(int(math.Floor(x/13)), int(math.Floor(y/11)), 5)
		c = [3]float64{0.33 * b, 0.30 * b, 0.25 * b}
	}
	for k := range c {
		c[k] *= grain
	}
	return c
}

func (s chartShot) draw() image.Image {
	for row := range tileRows {
		for col := range tileCols {
			s.tiles = append(s.tiles, tileGlaze(col, row, s.chroma).RGB())
		}
	}
	im := image.NewNRGBA(image.Rect(0, 0, wallW, wallH))
	sin, cos := math.Sincos(s.move / 4000)
	scale := 1 + s.move/200 // it stands farther off: more of the surroundings is in
	for y := range wallH {
		for x := range wallW {
			var c [3]float64
			for q := range 2 { // two samples a px
				dx, dy := float64(x)+0.5*float64(q)-0.25-wallW/2, float64(y)+0.5*float64(q)-0.25-wallH/2
				p := s.at(wallW/2+scale*(cos*dx-sin*dy)-s.move, wallH/2+scale*(sin*dx+cos*dy))
				for k := range c {
					c[k] += p[k] / 2
				}
			}
			var o [3]uint8
			for k := range o {
				v := s.camera[k][0]*c[0] + s.camera[k][1]*c[1] + s.camera[k][2]*c[2]
				o[k] = uint8(255*colour.Encode(math.Min(1, math.Max(0, v))) + hash(x, y, 6+k))
			}
			im.SetNRGBA(x, y, color.NRGBA{o[0], o[1], o[2], 255})
		}
	}
	return im
}

var (
	dayCamera  = [3][3]float64{{0.8, 0.06, 0}, {0.04, 0.75, 0.03}, {0, 0.06, 0.7}}
	lampCamera = [3][3]float64{{0.8, 0.12, 0.01}, {0.1, 0.55, 0.04}, {0.02, 0.12, 0.36}}
	duskCamera = [3][3]float64{{0.45, 0.1, 0.02}, {0.06, 0.5, 0.08}, {0.02, 0.14, 0.7}}
)

// chartSurvey writes a survey of the wall and measures it.
func chartSurvey(t *testing.T, reference chartShot, photos map[string]chartShot, settings, drawn string) (out string) {
	t.Helper()
	dir := t.TempDir()
	write := func(rel string, b []byte) {
		p := filepath.Join(dir, filepath.FromSlash(rel))
		require.NoError(t, os.MkdirAll(filepath.Dir(p), 0o755))
		require.NoError(t, os.WriteFile(p, b, 0o644))
	}
	save := func(rel string, s chartShot) {
		write(rel, nil)
		f, err := os.Create(filepath.Join(dir, filepath.FromSlash(rel)))
		require.NoError(t, err)
		require.NoError(t, png.Encode(f, s.draw()))
		require.NoError(t, f.Close())
	}
	var svg, palette strings.Builder
	fmt.Fprintf(&svg, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %d"><rect class="zone" id="wall" x="%d" y="%d" width="%d" height="%d"/>`,
		wallW, wallH, fieldX-3, fieldY-3, tileCols*tileStep, tileRows*tileStep)
	fmt.Fprintf(&svg, `<rect class="control" id="top" x="300" y="15" width="480" height="150"/><rect class="control" id="left" x="30" y="240" width="210" height="340"/>%s`, drawn)
	for row := range tileRows {
		for col := range tileCols {
			fmt.Fprintf(&svg, `<rect class="tile" id="t%02d-%02d" x="%d" y="%d" width="%d" height="%d"/>`, row, col, fieldX+col*tileStep, fieldY+row*tileStep, tileW, tileW)
		}
	}
	palette.WriteString("glaze,L,a,b\n")
	for _, g := range wallGlazes {
		fmt.Fprintf(&palette, "%s,%g,%g,%g\n", g.name, g.lab.L, g.lab.A, g.lab.B)
	}
	write("survey.yaml", []byte("site: Made Wall\nviews:\n  - {id: wall, reference: reference/wall.png, regions: regions/wall.svg}\n"+settings))
	write("regions/wall.svg", []byte(svg.String()+"</svg>"))
	write("palette.csv", []byte(palette.String()))
	save("reference/wall.png", reference)
	for day, s := range photos {
		save("photos/"+day+".png", s)
	}
	out = filepath.Join(dir, "out")
	_, err := Run(context.Background(), Options{Survey: dir, Out: out, Jobs: 2})
	require.NoError(t, err)
	return out
}

// rowsOf reads a table by its columns' names.
func rowsOf(t *testing.T, out, name string) (rows []map[string]string) {
	t.Helper()
	f, err := os.Open(filepath.Join(out, name))
	require.NoError(t, err)
	defer f.Close()
	all, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	for _, r := range all[1:] {
		m := map[string]string{}
		for i, c := range all[0] {
			m[c] = r[i]
		}
		rows = append(rows, m)
	}
	return rows
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	require.NoError(t, err)
	return v
}

// TestChartsInTheChain runs the whole program on a wall photographed with and without charts.
func TestChartsInTheChain(t *testing.T) {
	none := math.NaN()
	with := func(s chartShot) chartShot {
		if s.shade == 0 {
			s.shade = 1
		}
		if s.chroma == 0 {
			s.chroma = 1
		}
		return s
	}
	reference := with(chartShot{camera: dayCamera, x: 30, y: 30})
	photos := map[string]chartShot{
		"2020-06-01": with(chartShot{camera: duskCamera, x: -25, y: 30, move: 18}), // partly out of the reference's frame
		"2021-06-01": with(chartShot{camera: lampCamera, x: 30, y: 30, chroma: 0.8, move: 6}),
		"2022-06-01": with(chartShot{camera: dayCamera, x: 30, y: 30, scramble: true, move: 8}),
		"2023-06-01": with(chartShot{camera: dayCamera, x: 30, y: 30, shade: 0.3, move: 4}),
	}
	plain := map[string]chartShot{}
	for day, s := range photos {
		s.x, s.y = none, none
		plain[day] = s
	}
	bare := reference
	bare.x, bare.y = none, none
	out, outPlain := chartSurvey(t, reference, photos, "", ""), chartSurvey(t, bare, plain, "", "")
	zones, zonesPlain := rowsOf(t, out, "zones.csv"), rowsOf(t, outPlain, "zones.csv")
	require.Len(t, zones, len(photos))
	require.Len(t, zonesPlain, len(plain))
	rows := rowsOf(t, out, "photos.csv")
	for i, c := range []struct {
		visit, basis, noted, zoneNoted string
		chroma                         float64
	}{
		{"2020-06-01", "chart", "colour chart read, made from November 2014", "", 1},
		{"2021-06-01", "chart", "colour chart read, made from November 2014", "", 0.8},
		{"2022-06-01", "control", "", "", 1},
		{"2023-06-01", "control", "colour chart read", "other light than the surface", 1},
	} {
		z := zones[i]
		require.Equal(t, c.visit, z["visit"])
		assert.Equal(t, c.basis, z["colour_basis"], "%s: %s; %s", c.visit, z["notes"], rows[i]["notes"])
		assert.Contains(t, z["notes"], c.zoneNoted)
		assert.Contains(t, rows[i]["notes"], c.noted)
		if c.noted == "" {
			assert.NotContains(t, rows[i]["notes"], "chart read")
		}
		t.Logf("%s %s: drift %s (%s to %s); scale %s; %s; %s", c.visit, c.basis, z["drift_de00"], z["drift_de00_lo"], z["drift_de00_hi"], z["scale_pct"],
			z["notes"], rows[i]["notes"])
		p := zonesPlain[i]
		assert.Equal(t, "control", p["colour_basis"])
		t.Logf("without: drift %s; scale %s", p["drift_de00"], p["scale_pct"])
		if require.Equal(t, p["scale_pct"] == "", z["scale_pct"] == ""); p["scale_pct"] != "" {
			assert.InDelta(t, number(t, p["scale_pct"]), number(t, z["scale_pct"]), 0.5, "%s: a chart changes no scale figure", c.visit)
		}
		if c.basis != "chart" {
			assert.InDelta(t, number(t, p["drift_de00"]), number(t, z["drift_de00"]), 0.3, "%s: a refused chart changes nothing", c.visit)
			continue
		}
		a, b := tileError(t, out, c.visit, c.chroma), tileError(t, outPlain, c.visit, c.chroma)
		t.Logf("tiles' drift off by %.2f with charts, %.2f without (Lab units)", a, b)
		assert.Less(t, a, 3.5)
		fade := trueDrift(c.chroma)
		t.Logf("zone's true drift %.2f", fade)
		assert.InDelta(t, fade, number(t, z["drift_de00"]), 2.0)
		assert.LessOrEqual(t, number(t, z["drift_de00_lo"]), fade+0.01)
		assert.GreaterOrEqual(t, number(t, z["drift_de00_hi"]), fade)
		assert.Less(t, a, b/1.5, "%s: drift is truer with charts", c.visit)
	}
	told := map[string]int{}
	for _, r := range rowsOf(t, out, "tiles.csv") {
		if r["palette_de00"] == "" {
			continue
		}
		told[r["visit"]]++
		assert.LessOrEqual(t, number(t, r["palette_de00_lo"]), number(t, r["palette_de00"]))
		assert.GreaterOrEqual(t, number(t, r["palette_de00_hi"]), number(t, r["palette_de00"]))
	}
	assert.Len(t, told, 2, "the palette is met on charted visits only")
	assert.Greater(t, told["2020-06-01"], tileCols*tileRows/2)
	for _, r := range rowsOf(t, out, "glazes.csv") {
		if r["visit"] == "2020-06-01" && r["palette_de00"] != "" {
			t.Log(r["glaze"], r["palette_de00"], r["palette_de00_lo"], r["palette_de00_hi"])
			assert.Less(t, number(t, r["palette_de00"]), 2.5, r["glaze"])
		}
	}
	for _, r := range rowsOf(t, outPlain, "tiles.csv") {
		assert.Empty(t, r["palette_de00"])
	}
}

// trueDrift is the median of the tiles' true drifts, ΔE00.
func trueDrift(chroma float64) float64 {
	var d []float64
	for row := range tileRows {
		for col := range tileCols {
			d = append(d, colour.CIEDE2000(tileGlaze(col, row, 1), tileGlaze(col, row, chroma)))
		}
	}
	slices.Sort(d)
	return d[len(d)/2]
}

// tileError is the mean distance of the tiles' drifts from the truth, Lab units.
func tileError(t *testing.T, out, visit string, chroma float64) float64 {
	t.Helper()
	sum, n := 0.0, 0.0
	for _, r := range rowsOf(t, out, "tiles.csv") {
		if r["visit"] != visit || r["dl"] == "" {
			continue
		}
		var row, col int
		_, err := fmt.Sscanf(r["tile"], "t%d-%d", &row, &col)
		require.NoError(t, err)
		a, b := tileGlaze(col, row, 1), tileGlaze(col, row, chroma)
		dl, da, db := number(t, r["dl"])-b.L+a.L, number(t, r["da"])-b.A+a.A, number(t, r["db"])-b.B+a.B
		sum, n = sum+math.Sqrt(dl*dl+da*da+db*db), n+1
	}
	require.Greater(t, n, 50.0)
	return sum / n
}
