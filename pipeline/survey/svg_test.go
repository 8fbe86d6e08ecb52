package survey

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tilelapse/measure/plane"
)

// drawn reads a drawing of 200 × 100 user units around the given elements.
func drawn(t *testing.T, inside string) *Drawing {
	t.Helper()
	d, err := ParseDrawing([]byte(`<svg xmlns="http://www.w3.org/2000/svg" xmlns:x="urn:other" viewBox="0 0 200 100">`+inside+`</svg>`), "r.svg")
	require.NoError(t, err)
	return d
}

func TestShapesOfEveryKind(t *testing.T) {
	square := []plane.Point{{X: 9.5, Y: 19.5}, {X: 39.5, Y: 19.5}, {X: 39.5, Y: 49.5}, {X: 9.5, Y: 49.5}}
	for _, c := range []struct{ name, svg string }{
		{"rect", `<rect class="zone" x="10" y="20" width="30px" height="30"/>`},
		{"polygon", `<polygon class="zone" points="10,20 40,20 40,50 10,50"/>`},
		{"polyline", `<polyline class="zone" points="10 20,40 20,40 50,10 50,10 20"/>`},
		{"path, absolute", `<path class="zone" d="M10 20L40 20L40 50L10 50Z"/>`},
		{"path, relative", `<path class="zone" d="m10,20 30,0 0,30 -30,0z"/>`},
		{"path, horizontal and vertical", `<path class="zone" d="M10 20H40V50h-30z"/>`},
		{"path, left open", `<path class="zone" d="M10 20 40 20 40 50 10 50"/>`},
		{"path, numbers run together", `<path class="zone" d="M10 20l30-.0.0 30-30 0z"/>`},
		{"path, exponents", `<path class="zone" d="M1e1 2E+1 4e1,20 40 50 10 50"/>`},
		{"group moved", `<g transform="translate(8 19)"><g transform="scale(2,1)"><rect class="zone" x="1" y="1" width="15" height="30"/></g></g>`},
		{"transforms in a row", `<rect transform="translate(10,20) scale(3)" class="zone" width="10" height="10"/>`},
		{"matrix", `<rect transform="matrix(3 0 0 3 10 20)" class="zone" width="10" height="10"/>`},
		{"turned", `<rect transform="rotate(90 40 20)" class="zone" x="40" y="20" width="30" height="30"/>`},
		{"skewed and back", `<rect transform="skewX(30) skewX(-30)" class="zone" x="10" y="20" width="30" height="30"/>`},
		{"class on the group", `<g class="zone"><rect x="10" y="20" width="30" height="30"/></g>`},
		{"class on the group around", `<g class="zone"><g class="st0"><rect class="cls-1" x="10" y="20" width="30" height="30"/></g></g>`},
		{"own class before the group's", `<g class="tile"><rect class="zone" x="10" y="20" width="30" height="30"/></g>`},
		{"a link around", `<a><rect class="zone" x="10" y="20" width="30" height="30"/></a>`},
		{"hidden ones apart", `<g display="none"><rect class="zone" width="9" height="9"/></g><rect class="zone" style="fill:none; display: none" width="9" height="9"/>` +
			`<defs><rect class="zone" width="9" height="9"/></defs><x:rect class="zone" width="9" height="9"/><rect class="zone" x="10" y="20" width="30" height="30"/>`},
	} {
		t.Run(c.name, func(t *testing.T) {
			d := drawn(t, c.svg)
			require.Len(t, d.Zones, 1)
			require.Len(t, d.Zones[0].Rings, 1)
			got := d.Zones[0].Rings[0]
			require.Len(t, got, 4)
			if c.name == "turned" { // same corners, begun elsewhere
				got = append(got[3:], got[:3]...)
			}
			for i := range got {
				if c.name == "turned" {
					assert.InDelta(t, 900, math.Abs(area(got)), 1e-9)
					x0, y0, _, _ := bounds(d.Zones[0].Rings)
					assert.InDelta(t, 9.5, x0, 1e-9)
					assert.InDelta(t, 19.5, y0, 1e-9)
					continue
				}
				assert.InDelta(t, square[i].X, got[i].X, 1e-9)
				assert.InDelta(t, square[i].Y, got[i].Y, 1e-9)
			}
			assert.Equal(t, "zone-1", d.Zones[0].ID, "a made-up id")
		})
	}
}

// Curves with a known circle: every way of drawing it must stay within the stated flatness.
func TestCurvesAreFlatEnough(t *testing.T) {
	const k = 0.5522847498307936 // 4(√2−1)/3: a cubic quarter circle, off by 2.7e-4 of the radius at most
	cub := fmt.Sprintf("M 80 50 C 80 %[1]v %[2]v 80 50 80 S 20 %[1]v 20 50 S %[3]v 20 50 20 S 80 %[3]v 80 50 z", 50+30*k, 50+30*k, 50-30*k)
	for _, c := range []struct {
		name, svg string
		tol       float64
	}{
		{"circle", `<circle class="zone" cx="50" cy="50" r="30"/>`, flatness},
		{"ellipse", `<ellipse class="zone" cx="50" cy="50" rx="30" ry="30"/>`, flatness},
		{"arcs", `<path class="zone" d="M20 50A30 30 0 0 1 80 50a30 30 0 01-60 0z"/>`, flatness},
		{"large arc", `<path class="zone" d="M50 20A30 30 0 1 1 20 50A30,30,0,0,1,50,20"/>`, flatness},
		{"radii too small", `<path class="zone" d="M20 50A3 3 0 0 1 80 50A1 1 0 0 1 20 50z"/>`, flatness},
		{"enlarged by its group", `<circle transform="scale(30)" class="zone" cx="1.6666666666666667" cy="1.6666666666666667" r="1"/>`, flatness},
		{"rounded rectangle", `<rect class="zone" x="20" y="20" width="60" height="60" rx="30"/>`, flatness},
		{"cubic", `<path class="zone" d="` + cub + `"/>`, flatness + 2.8e-4*30},
	} {
		t.Run(c.name, func(t *testing.T) {
			d := drawn(t, c.svg)
			require.Len(t, d.Zones, 1)
			ring := d.Zones[0].Rings[0]
			for i, p := range ring {
				q := ring[(i+1)%len(ring)]
				for _, s := range []float64{0, 0.25, 0.5, 0.75} {
					x, y := p.X+s*(q.X-p.X), p.Y+s*(q.Y-p.Y)
					assert.InDelta(t, 30, math.Hypot(x-49.5, y-49.5), c.tol)
				}
			}
			assert.InDelta(t, math.Pi*900, math.Abs(area(ring)), 2*math.Pi*30*c.tol)
		})
	}
}

func TestQuadraticCurve(t *testing.T) {
	// A parabola's segment has two thirds of the area of its control triangle (Archimedes).
	d := drawn(t, `<path class="zone" d="M 10 10 Q 50 90 90 10 T 170 10 L 170 5 L 10 5 Z"/>`)
	ring := d.Zones[0].Rings[0]
	// Both parabolas cancel around y = 10; the strip of 160 × 5 remains.
	assert.InDelta(t, 160*5, math.Abs(area(ring)), 160*flatness)
	_, _, _, low := bounds(d.Zones[0].Rings)
	assert.InDelta(t, 50-0.5, low, 2*flatness, "the apex lies half-way to the control point")
}

func TestHolesByBothFillRules(t *testing.T) {
	in := func(d *Drawing, x, y float64) bool {
		n := 0
		for _, r := range d.Zones[0].Rings {
			if winding(r, plane.Point{X: x, Y: y})%2 != 0 {
				n++
			}
		}
		return n%2 == 1
	}
	const same = `d="M0 0H90V90H0Z M30 30H60V60H30Z"`
	const opposite = `d="M0 0H90V90H0Z M30 30V60H60V30Z"`
	for _, c := range []struct {
		name, svg string
		hole      bool
	}{
		{"even-odd, same direction", `<path class="zone" fill-rule="evenodd" ` + same + `/>`, true},
		{"even-odd in the style", `<path class="zone" style="fill-rule: evenodd" ` + same + `/>`, true},
		{"non-zero, same direction", `<path class="zone" ` + same + `/>`, false},
		{"non-zero, opposite direction", `<path class="zone" ` + opposite + `/>`, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			d := drawn(t, c.svg)
			assert.True(t, in(d, 10, 10))
			assert.Equal(t, !c.hole, in(d, 45, 45))
		})
	}
}

func TestTitlesIdsAndNotes(t *testing.T) {
	d := drawn(t, `
<g><title>not a shape's</title>
<rect class="zone" id="weir" width="50" height="50"><title>The   upper
 weir</title><desc>x</desc></rect></g>
<rect class="tile" width="9" height="9"/><rect class="tile" id="tile-1" width="9" height="9"/>
<rect class="tile" id="_x31_a" width="9" height="9"/>
<rect class="control" id="grey card é" width="9" height="9"/>
<rect id="frame" width="9" height="9"/><text>words</text>`)
	assert.Equal(t, "weir", d.Zones[0].ID)
	assert.Equal(t, "The upper weir", d.Zones[0].Title)
	var ids, titles []string
	for _, x := range d.Tiles {
		ids, titles = append(ids, x.ID), append(titles, x.Title)
	}
	assert.Equal(t, []string{"tile-2", "tile-1", "1a"}, ids, "made-up ids avoid drawn ones")
	assert.Equal(t, ids, titles)
	assert.Equal(t, "grey card é", d.Controls[0].ID)
	require.Len(t, d.Notes, 1)
	assert.Contains(t, d.Notes[0], `r.svg:8: <rect id="frame"> has none of the classes`)
}

func TestCrossed(t *testing.T) {
	d := drawn(t, `<path class="zone" d="M0 0H90V60H50V20H60V30H40V10H30V50H20V90H0Z"/>`)
	require.Len(t, d.Notes, 1)
	assert.Contains(t, d.Notes[0], "crosses itself")
	assert.False(t, crossed([]plane.Point{{X: 0, Y: 0}, {X: 9, Y: 0}, {X: 9, Y: 9}, {X: 5, Y: 2}}))
	assert.False(t, crossed([]plane.Point{{X: 0, Y: 0}, {X: 9, Y: 0}, {X: 9, Y: 9}}))
	assert.True(t, crossed([]plane.Point{{X: 0, Y: 0}, {X: 9, Y: 9}, {X: 9, Y: 0}, {X: 0, Y: 8}}))
	assert.Empty(t, drawn(t, `<circle class="zone" cx="50" cy="50" r="30"/><rect class="zone" id="r" width="50" height="50" rx="9"/>`).Notes)
}

func TestEveryClassHasItsPlace(t *testing.T) {
	svg := ""
	for _, c := range Classes {
		if c != "length" {
			svg += fmt.Sprintf(`<rect class="%s" id="%s-x" width="9" height="9"/>`, c, c)
		}
	}
	d := drawn(t, svg+`<line class="length" id="1200mm" x1="10.5" y1="10.5" x2="110.5" y2="10.5"/><line class="length" id="path7" x2="50"><title>4ft</title></line>`)
	for class, list := range map[string][]Shape{"zone": d.Zones, "tile": d.Tiles, "control": d.Controls, "deposit": d.Deposits,
		"scaled": d.Scaled, "gap": d.Gaps, "ignore": d.Ignore, "glaze": d.Glazes, "chart": d.Chart} {
		require.Len(t, list, 1, class)
		assert.Equal(t, class+"-x", list[0].ID)
	}
	assert.Equal(t, []Length{{A: plane.Point{X: 10, Y: 10}, B: plane.Point{X: 110, Y: 10}, MM: 1200},
		{A: plane.Point{X: -0.5, Y: -0.5}, B: plane.Point{X: 49.5, Y: -0.5}, MM: 1219.2}}, d.Lengths)
}

func TestParseLength(t *testing.T) {
	for s, want := range map[string]float64{"1200mm": 1200, "1,2m": 1200, "1.2 m": 1200, "120cm": 1200, "4ft": 1219.2, "48in": 1219.2,
		"4ft6in": 1371.6, "4'6\"": 1371.6, "1200mm-2": 1200, "1200mm_b": 1200} {
		mm, err := ParseLength(s)
		assert.NoError(t, err, s)
		assert.InDelta(t, want, mm, 1e-9, s)
	}
	for _, s := range []string{"", "1200", "mm", "-5mm", "1200 yards", "1200mmm", "0mm", "1200000m", "2m3in", "1e3mm"} {
		_, err := ParseLength(s)
		assert.Error(t, err, s)
	}
}

func TestCheckSizeAndWhole(t *testing.T) {
	v := View{ID: "v", Reference: "r.jpg"}
	assert.NoError(t, CheckSize(&v, 10, 10), "no drawing, nothing to check")
	w := v.Whole(200, 100)
	require.Len(t, w.Zones, 1)
	assert.Equal(t, "v", w.Zones[0].ID)
	assert.InDelta(t, 200*100, area(w.Zones[0].Rings[0]), 1e-9)
	v.Drawing = drawn(t, `<rect class="control" width="9" height="9"/>`)
	assert.NoError(t, CheckSize(&v, 200, 100))
	assert.ErrorContains(t, CheckSize(&v, 100, 200), "turned by 90°")
	assert.ErrorContains(t, CheckSize(&v, 4000, 2000), "same shape, other size")
	assert.ErrorContains(t, CheckSize(&v, 200, 101), "200 × 101 px")
	assert.Len(t, v.Whole(200, 100).Controls, 1)
	assert.Len(t, v.Whole(200, 100).Zones, 1)
	assert.Empty(t, v.Drawing.Zones, "the drawing itself stays as drawn")
}

func TestWriteOutlinesReadsBack(t *testing.T) {
	tiles := []plane.Region{
		{ID: "b", Rings: [][]plane.Point{{{X: 0, Y: 0}, {X: 9.25, Y: 0}, {X: 9.25, Y: 9}}}},
		{ID: "a", Rings: [][]plane.Point{{{X: 20, Y: 20}, {X: 60, Y: 20}, {X: 60, Y: 60}}, {{X: 50, Y: 30}, {X: 52, Y: 30}, {X: 52, Y: 32}}}},
	}
	var one, two bytes.Buffer
	require.NoError(t, WriteOutlines(&one, 200, 100, tiles))
	require.NoError(t, WriteOutlines(&two, 200, 100, []plane.Region{tiles[1], tiles[0]}))
	assert.Equal(t, one.String(), two.String(), "the order of the tiles does not matter")
	assert.Contains(t, one.String(), `viewBox="0 0 200 100"`)
	assert.Contains(t, one.String(), `<polygon class="tile" id="b" points="0.5,0.5 9.75,0.5 9.75,9.5"/>`)
	d, err := ParseDrawing(one.Bytes(), "o.svg")
	require.NoError(t, err)
	require.Len(t, d.Tiles, 2)
	assert.Equal(t, tiles[1], d.Tiles[0].Region)
	assert.Equal(t, tiles[0], d.Tiles[1].Region)
}

func TestWriteDrawingReadsBack(t *testing.T) {
	d := drawn(t, `<rect class="zone" id="z" width="50" height="50"><title>A &lt;b&gt; &amp; "c"</title></rect>
<path class="ignore" id="i" fill-rule="evenodd" d="M0 0H90V90H0Z M30 30H60V60H30Z"><title>pond</title></path>
<line class="length" id="500mm" x1="1" y1="2" x2="90" y2="4"/><line class="length" id="500mm-b" x1="1" y1="2" x2="90" y2="40"/>`)
	var b bytes.Buffer
	require.NoError(t, WriteDrawing(&b, d, "../reference/a & b.jpg"))
	again, err := ParseDrawing(b.Bytes(), "r.svg")
	require.NoError(t, err, b.String())
	for _, x := range []*Drawing{d, again} {
		for _, l := range [][]Shape{x.Zones, x.Ignore} {
			l[0].Line, l[0].Col = 0, 0
		}
	}
	assert.Equal(t, d, again)
}

func FuzzParseDrawing(f *testing.F) {
	f.Add([]byte(plainRegions))
	f.Add([]byte(`<svg viewBox="0 0 9 9"><g class="tile" transform="rotate(5 1 1)"><path d="M1 1a3 3 0 01 2 2q1 1 2 2t3 3s1 1 2 2c1 1 2 2 3 3z"/></g></svg>`))
	f.Add([]byte(`<svg width="9" height="9"><line class="length" id="4ft" x2="9e9"/><title>x</title></svg>`))
	f.Fuzz(func(t *testing.T, data []byte) {
		d, err := ParseDrawing(data, "f.svg")
		if err != nil {
			for _, m := range err.(Mistakes) {
				require.NotEmpty(t, m.Text)
				require.Equal(t, "f.svg", m.File)
			}
			return
		}
		for _, list := range [][]Shape{d.Zones, d.Tiles, d.Controls} {
			for _, s := range list {
				require.NotEmpty(t, s.ID)
				for _, r := range s.Rings {
					require.GreaterOrEqual(t, len(r), 3)
					for _, p := range r {
						require.False(t, math.IsNaN(p.X) || math.IsNaN(p.Y) || math.Abs(p.X) > maxCoord+1 || math.Abs(p.Y) > maxCoord+1)
					}
				}
			}
		}
		var b bytes.Buffer
		require.NoError(t, WriteDrawing(&b, d, ""))
	})
}

func FuzzParsePath(f *testing.F) {
	for _, s := range []string{"M1 1L2 2", "m0 0a1 1 0 11 2 2z", "M1,1c1 1 2 2 3 3s1 1 2 2q1 1 2 2t1 1H3V4Z", "M1e5-5.5.5", strings.Repeat("M0 0", 3)} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		rings, err := parsePath(s, flatness)
		if err == nil {
			for _, r := range rings {
				require.Greater(t, len(r), 1)
			}
		}
		_, _ = parseTransform(s)
		_, _ = ParseLength(s)
	})
}

// Points inside and outside of made paths with every command and transform, as another program tells them: isPointInFill
// of Chromium 156, at points whose answer holds within 0.1 user units around.
func TestPathsAsAnotherProgramFillsThem(t *testing.T) {
	svg, err := os.ReadFile("testdata/fill.svg")
	require.NoError(t, err)
	d, err := ParseDrawing(svg, "fill.svg")
	require.NoError(t, err)
	shapes := map[string]Shape{}
	for _, z := range d.Zones {
		shapes[z.ID] = z
	}
	file, err := os.Open("testdata/fill.csv")
	require.NoError(t, err)
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	require.NoError(t, err)
	require.Greater(t, len(rows), 1000)
	for _, r := range rows[1:] {
		x, e1 := strconv.ParseFloat(r[1], 64)
		y, e2 := strconv.ParseFloat(r[2], 64)
		require.NoError(t, errors.Join(e1, e2))
		require.Contains(t, shapes, r[0])
		n := 0
		for _, ring := range shapes[r[0]].Rings {
			n += oddTurns(ring, plane.Point{X: x - 0.5, Y: y - 0.5})
		}
		assert.Equal(t, r[3] == "1", n%2 == 1, "%s at %s, %s", r[0], r[1], r[2])
	}
}

// oddTurns is 1 when p lies inside a ring by the even-odd rule, else 0.
func oddTurns(ring []plane.Point, p plane.Point) int {
	return (winding(ring, p)%2 + 2) % 2
}
