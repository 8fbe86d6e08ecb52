package outline

import (
	"math"
	"math/rand"
	"runtime"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tilelapse/measure/plane"
)

// Invented colours, linear light.
var (
	barley = [3]float64{0.55, 0.36, 0.10}
	slate  = [3]float64{0.06, 0.13, 0.24}
	chalk  = [3]float64{0.72, 0.70, 0.62}
	peat   = [3]float64{0.025, 0.020, 0.015}
	teal   = [3]float64{0.05, 0.30, 0.30}
	mortar = [3]float64{0.20, 0.19, 0.17}
	pale   = [3]float64{0.60, 0.58, 0.53}
	soot   = [3]float64{0.03, 0.03, 0.03}
)

const sceneW, sceneH = 520, 400

var tilings = []struct {
	name  string
	lay   layout
	joint float64
	look  look
}{
	{"rectangles, joints darker", rectangles(44, 34), 5, look{glazes: [][3]float64{barley, chalk, teal}, joint: mortar, rough: .05}},
	{"rectangles, joints lighter", rectangles(44, 34), 4, look{glazes: [][3]float64{slate, peat}, joint: pale, rough: .05}},
	{"hexagons, glazes fading", hexagons(sceneW, sceneH, 42), 5, look{glazes: [][3]float64{barley, teal, slate}, joint: mortar, rough: .05}},
	{"fish-scale", fishScale(27), 5, look{glazes: [][3]float64{teal, chalk}, joint: mortar, rough: .05}},
	{"fish-scale, light joints", fishScale(30), 5, look{glazes: [][3]float64{slate, teal}, joint: pale, rough: .05}},
	{"broken tile", broken(sceneW, sceneH, 44, 3), 6, look{glazes: [][3]float64{barley, chalk, teal}, joint: mortar, rough: .05}},
	{"broken tile, near-black on mortar", broken(sceneW, sceneH, 44, 4), 6, look{glazes: [][3]float64{peat, slate}, joint: mortar, rough: .05}},
	{"curved bands", bands(40, 32, 260, -500), 5, look{glazes: [][3]float64{slate, teal, chalk}, joint: mortar, rough: .05}},
	{"motif light across", rectangles(44, 40), 5, look{glazes: [][3]float64{barley, teal}, joint: mortar, motif: &chalk, rough: .05}},
	{"motif dark across", hexagons(sceneW, sceneH, 46), 5, look{glazes: [][3]float64{barley, chalk}, joint: mortar, motif: &peat, rough: .05}},
	{"black joints", rectangles(40, 40), 4, look{glazes: [][3]float64{barley, chalk, teal}, joint: soot, rough: .05}},
	{"uneven light", hexagons(sceneW, sceneH, 42), 5, look{glazes: [][3]float64{barley, teal}, joint: mortar, rough: .05,
		light: func(x, y float64) [3]float64 { k := 1 - 0.6*x; return [3]float64{k, k * (1 + 0.1*x), k * (1 + 0.3*x)} }}},
}

func find(t *testing.T, s *scene, opt Options) []Tile {
	t.Helper()
	tiles, err := Find(s.img, plane.Frame{RefW: s.w, RefH: s.h, K: 1}, nil, nil, nil, nil, opt)
	require.NoError(t, err)
	return tiles
}

func TestTilingsAreFound(t *testing.T) {
	for _, tc := range tilings {
		t.Run(tc.name, func(t *testing.T) {
			s := render(sceneW, sceneH, tc.lay, tc.joint, tc.look)
			truth, found, hits, iou := s.score(find(t, s, DefaultOptions()))
			f1 := 2 * float64(hits) / float64(truth+found)
			t.Logf("true %d, found %d, F1 %.3f, IoU %.3f", truth, found, f1, iou)
			assert.LessOrEqual(t, math.Abs(float64(found-truth)), 0.05*float64(truth))
			assert.GreaterOrEqual(t, f1, 0.90)
			assert.GreaterOrEqual(t, iou, 0.80)
		})
	}
}

// TestNoTilesInAPlainSurface: rough stone without joints gives no tiles, or hardly any.
func TestNoTilesInAPlainSurface(t *testing.T) {
	s := render(sceneW, sceneH, func(x, y float64) (int, float64) { return 0, 99 }, 1, look{glazes: [][3]float64{mortar, mortar}, rough: .08})
	tiles, err := Find(s.img, plane.Frame{RefW: s.w, RefH: s.h, K: 1}, nil, nil, nil, nil, DefaultOptions())
	if err != nil {
		assert.ErrorIs(t, err, ErrNoJoints)
		return
	}
	var area float64
	for _, tl := range tiles {
		area += tl.AreaPx
	}
	assert.Less(t, area, 0.05*sceneW*sceneH, "%d tiles", len(tiles))
}

// TestTurnedAndScaled: the same tiles in a picture turned by 90°, reduced to 0.7, or under another light.
func TestTurnedAndScaled(t *testing.T) {
	base := render(sceneW, sceneH, rectangles(48, 40), 6, look{glazes: [][3]float64{barley, teal, chalk}, joint: mortar, rough: .05})
	home := find(t, base, DefaultOptions())
	for _, tc := range []struct {
		name string
		make func() (*scene, func(plane.Point) plane.Point)
	}{
		{"turned", func() (*scene, func(plane.Point) plane.Point) {
			s := &scene{w: base.h, h: base.w, img: plane.New(base.h, base.w)}
			for y := range base.h {
				for x := range base.w {
					copy(s.img.RGB[3*(x*s.w+s.w-1-y):][:3], base.img.RGB[3*(y*base.w+x):][:3])
				}
			}
			return s, func(p plane.Point) plane.Point { return plane.Point{X: float64(s.w-1) - p.Y, Y: p.X} }
		}},
		{"reduced", func() (*scene, func(plane.Point) plane.Point) {
			s := &scene{w: base.w * 7 / 10, h: base.h * 7 / 10}
			s.img = plane.New(s.w, s.h)
			for y := range s.h {
				for x := range s.w {
					for c := range 3 {
						var v float32
						for k := range 100 {
							sx := int((float64(x) + (float64(k%10)+.5)/10) / 0.7)
							sy := int((float64(y) + (float64(k/10)+.5)/10) / 0.7)
							v += base.img.RGB[3*(sy*base.w+sx)+c]
						}
						s.img.RGB[3*(y*s.w+x)+c] = v / 100
					}
				}
			}
			return s, func(p plane.Point) plane.Point { return plane.Point{X: (p.X+.5)*.7 - .5, Y: (p.Y+.5)*.7 - .5} }
		}},
		{"other light", func() (*scene, func(plane.Point) plane.Point) {
			s := &scene{w: base.w, h: base.h, img: plane.New(base.w, base.h)}
			rnd := rand.New(rand.NewSource(5))
			for i := range s.img.RGB {
				x := float64(i/3%s.w) / float64(s.w)
				k := []float64{0.62, 0.55, 0.42}[i%3] * (1 - 0.5*x)
				s.img.RGB[i] = base.img.RGB[i]*float32(k) + float32(0.003*rnd.NormFloat64())
			}
			return s, func(p plane.Point) plane.Point { return p }
		}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			s, to := tc.make()
			tiles := find(t, s, DefaultOptions())
			assert.InDelta(t, len(home), len(tiles), 0.05*float64(len(home)))
			f := plane.Frame{RefW: s.w, RefH: s.h, K: 1}
			var sum float64
			n := 0
			for _, a := range home {
				r := plane.Region{Rings: [][]plane.Point{nil}}
				for _, p := range a.Rings[0] {
					r.Rings[0] = append(r.Rings[0], to(p))
				}
				best := 0.0
				for _, b := range tiles {
					if c := to(a.Centroid); math.Hypot(b.Centroid.X-c.X, b.Centroid.Y-c.Y) < 20 {
						best = max(best, overlap(r, b.Region, f))
					}
				}
				if best >= 0.5 {
					n++
					sum += best
				}
			}
			t.Logf("%d of %d again, IoU %.3f", n, len(home), sum/float64(n))
			assert.GreaterOrEqual(t, float64(n), 0.95*float64(len(home)))
			assert.GreaterOrEqual(t, sum/float64(n), 0.80)
		})
	}
}

func overlap(a, b plane.Region, f plane.Frame) float64 {
	m, k := make([]bool, f.RefW*f.RefH), make([]bool, f.RefW*f.RefH)
	fill(m, f.RefW, f.RefH, a, f)
	fill(k, f.RefW, f.RefH, b, f)
	var both, either float64
	for i := range m {
		if m[i] && k[i] {
			both++
		}
		if m[i] || k[i] {
			either++
		}
	}
	return both / max(either, 1)
}

// TestSameWhateverTheProcessors: same tiles, same bytes.
func TestSameWhateverTheProcessors(t *testing.T) {
	s := render(260, 200, broken(260, 200, 40, 9), 5, look{glazes: [][3]float64{barley, slate}, joint: mortar, rough: .05})
	many := find(t, s, DefaultOptions())
	old := runtime.GOMAXPROCS(1)
	one := find(t, s, DefaultOptions())
	runtime.GOMAXPROCS(old)
	assert.Equal(t, many, one)
	assert.NotEmpty(t, one)
}

func TestZonesIgnoreGapsAndGiven(t *testing.T) {
	s := render(sceneW, sceneH, rectangles(40, 40), 5, look{glazes: [][3]float64{barley, teal}, joint: mortar, rough: .05})
	f := plane.Frame{RefW: s.w, RefH: s.h, K: 1}
	box := func(id string, x0, y0, x1, y1 float64) plane.Region {
		return plane.Region{ID: id, Rings: [][]plane.Point{{{X: x0, Y: y0}, {X: x1, Y: y0}, {X: x1, Y: y1}, {X: x0, Y: y1}}}}
	}
	zone := []plane.Region{box("z", 100, 100, 420, 300)}
	all := find(t, s, DefaultOptions())
	in, err := Find(s.img, f, zone, nil, nil, nil, DefaultOptions())
	require.NoError(t, err)
	want := 0
	for _, a := range all {
		if contains(zone[0].Rings, a.Centroid) {
			want++
		}
	}
	assert.InDelta(t, want, len(in), 2, "tiles of the zone are those whose centroid it holds")
	for _, a := range in {
		assert.True(t, contains(zone[0].Rings, a.Centroid))
	}
	hole := box("h", 200, 150, 300, 250)
	for name, tiles := range map[string]func() ([]Tile, error){
		"ignore": func() ([]Tile, error) {
			return Find(s.img, f, zone, []plane.Region{hole}, nil, nil, DefaultOptions())
		},
		"gap": func() ([]Tile, error) {
			return Find(s.img, f, zone, nil, []plane.Region{hole}, nil, DefaultOptions())
		},
	} {
		got, err := tiles()
		require.NoError(t, err)
		assert.NotEmpty(t, got)
		for _, a := range got {
			assert.False(t, contains(hole.Rings, a.Centroid), "%s: tile %s lies in it", name, a.ID)
		}
	}
	// a given outline, drawn carelessly, replaces the found one and only that
	old := in[len(in)/2]
	c := old.Centroid
	mine := box("My-Tile", c.X-12, c.Y-12, c.X+12, c.Y+12)
	got, err := Find(s.img, f, zone, nil, nil, []plane.Region{mine}, DefaultOptions())
	require.NoError(t, err)
	assert.Len(t, got, len(in))
	given := 0
	names := map[string]bool{}
	for _, a := range got {
		assert.False(t, names[fold(a.ID)], "id twice: %s", a.ID)
		names[fold(a.ID)] = true
		if a.Given {
			given++
			assert.Equal(t, "My-Tile", a.ID)
			assert.Equal(t, mine.Rings, a.Rings)
			assert.InDelta(t, 576, a.AreaPx, 1e-9)
			continue
		}
		assert.Less(t, overlap(a.Region, mine, f), 0.05, "found tile %s takes the given one's place", a.ID)
	}
	assert.Equal(t, 1, given)
	// the others keep their names
	kept := 0
	for _, a := range in {
		if names[a.ID] {
			kept++
		}
	}
	assert.GreaterOrEqual(t, kept, len(in)-3)
}

// TestLargeTiles: few tiles with joints of 24 px, far wider than the lines that are looked for at full size.
func TestLargeTiles(t *testing.T) {
	s := render(1000, 800, rectangles(190, 150), 24, look{glazes: [][3]float64{barley, teal, chalk}, joint: mortar, rough: .05})
	truth, found, hits, iou := s.score(find(t, s, DefaultOptions()))
	t.Logf("true %d, found %d, hits %d, IoU %.3f", truth, found, hits, iou)
	assert.InDelta(t, truth, found, 1)
	assert.GreaterOrEqual(t, hits, truth-1)
	assert.GreaterOrEqual(t, iou, 0.85)
}

// TestSmallTiles: tiles of 13 by 12 px with joints of 2.
func TestSmallTiles(t *testing.T) {
	s := render(300, 240, rectangles(15, 14), 2.2, look{glazes: [][3]float64{slate, teal, barley}, joint: chalk, rough: .03})
	truth, found, hits, iou := s.score(find(t, s, DefaultOptions()))
	t.Logf("true %d, found %d, hits %d, IoU %.3f", truth, found, hits, iou)
	assert.GreaterOrEqual(t, 2*float64(hits)/float64(truth+found), 0.9)
	assert.GreaterOrEqual(t, iou, 0.75)
}

// TestThinJoints: joints of 1.5 px have no colour of their own in the picture, the glazes' light spills over them.
func TestThinJoints(t *testing.T) {
	for name, joint := range map[string][3]float64{"dark": soot, "light": {0.9, 0.88, 0.85}} {
		s := render(400, 320, rectangles(28, 24), 1.5, look{glazes: [][3]float64{barley, teal, slate}, joint: joint, rough: .03})
		truth, found, hits, iou := s.score(find(t, s, DefaultOptions()))
		t.Logf("%s: true %d, found %d, hits %d, IoU %.3f", name, truth, found, hits, iou)
		assert.InDelta(t, truth, found, 0.05*float64(truth), name)
		assert.GreaterOrEqual(t, 2*float64(hits)/float64(truth+found), 0.9, name)
		assert.GreaterOrEqual(t, iou, 0.8, name)
	}
}

func TestRefusals(t *testing.T) {
	img := plane.New(40, 30)
	f := plane.Frame{RefW: 40, RefH: 30, K: 1}
	_, err := Find(img, f, nil, nil, nil, nil, DefaultOptions())
	assert.ErrorIs(t, err, ErrNoJoints)
	_, err = Find(img, plane.Frame{RefW: 80, RefH: 30, K: 1}, nil, nil, nil, nil, DefaultOptions())
	assert.ErrorContains(t, err, "does not fit")
	_, err = Find(img, f, nil, nil, nil, nil, Options{})
	assert.ErrorContains(t, err, "LeastArea")
	_, err = Find(img, f, nil, nil, nil, nil, Options{LeastArea: 60, Tolerance: 9})
	assert.ErrorContains(t, err, "Tolerance")
	given := []plane.Region{{ID: "a", Rings: [][]plane.Point{{{X: 5, Y: 5}, {X: 15, Y: 5}, {X: 15, Y: 15}}}}}
	tiles, err := Find(img, f, nil, nil, nil, given, DefaultOptions())
	require.NoError(t, err)
	require.Len(t, tiles, 1)
	assert.True(t, tiles[0].Given)
}
