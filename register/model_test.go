package register

import (
	"encoding/json"
	"math"
	"math/rand"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestFourPointsExact: the quadrilateral of the unit square; matrix and crossing of the diagonals worked out exactly in
// the square-to-quad formula of P. Heckbert, Fundamentals of Texture Mapping and Image Warping, 1989.
func TestFourPointsExact(t *testing.T) {
	h, ok := direct4([]Pair{{0, 0, 10, 20}, {1, 0, 110, 30}, {1, 1, 90, 120}, {0, 1, 20, 100}})
	require.True(t, ok)
	want := mat3{5270. / 67, 1170. / 67, 10, 280. / 67, 7860. / 67, 20, -13. / 67, 25. / 67, 1}
	for i := range want {
		assert.InDelta(t, want[i], h[i], 1e-8)
	}
	x, y, ok := apply3(h, .5, .5)
	require.True(t, ok)
	assert.InDelta(t, 53.287671233, x, 1e-8)
	assert.InDelta(t, 74.109589041, y, 1e-8)
}

// noisy12 are twelve pairs with 0.5 px noise; a least-squares homography leaves 0.4540 px RMS or less (normalised direct
// linear transformation 0.4537, OpenCV 4.6 findHomography 0.4526, computed outside this program).
var noisy12 = []Pair{
	{40, 60, 235.33, -3.24}, {400, 30, 458.84, 77.09}, {760, 50, 625.04, 179.82}, {60, 320, 172.95, 263.25},
	{410, 300, 394.32, 319.87}, {740, 330, 552.81, 404}, {50, 600, 83.58, 544.18}, {390, 610, 302.66, 596.33},
	{750, 590, 496.61, 616.63}, {200, 180, 304.53, 161.66}, {600, 470, 451.74, 499.5}, {300, 500, 278.61, 483.62},
}

func TestLeastSquaresOfNoisyPairs(t *testing.T) {
	h, ok := direct4(noisy12)
	require.True(t, ok)
	var s float64
	for _, p := range noisy12 {
		x, y, _ := apply3(h, p.RefX, p.RefY)
		s += (x-p.PhotoX)*(x-p.PhotoX) + (y-p.PhotoY)*(y-p.PhotoY)
	}
	assert.LessOrEqual(t, math.Sqrt(s/12), .46) // algebraic, not geometric, least squares: a little above 0.4540
}

func TestInverse(t *testing.T) {
	m := mat3{.93, .04, 30, -.03, .95, 25, -6e-5, 4e-5, 1}
	inv, ok := inv3(m)
	require.True(t, ok)
	p := mul3(m, inv)
	for i, v := range (mat3{1, 0, 0, 0, 1, 0, 0, 0, 1}) {
		assert.InDelta(t, v, p[i], 1e-12)
	}
	_, ok = inv3(mat3{})
	assert.False(t, ok)
}

// made returns votes of a known homography and lens bend, with noise and a share of nonsense.
func made(n int, h mat3, k float64, noise, wrong float64, seed int64) ([]vote, func(x, y float64) (float64, float64)) {
	r := rand.New(rand.NewSource(seed))
	l := newLens(800, 600, 800, 600)
	l.k[0] = k
	truth := func(x, y float64) (float64, float64) {
		dx, dy := l.at(h, x, y)
		px, py, _ := apply3(h, x+dx, y+dy)
		return px, py
	}
	var out []vote
	for i := 0; i < n; i++ {
		x, y := 800*r.Float64(), 600*r.Float64()
		px, py := truth(x, y)
		px, py = px+noise*r.NormFloat64(), py+noise*r.NormFloat64()
		if r.Float64() < wrong {
			px, py = px+20*r.Float64(), py-20*r.Float64()
		}
		out = append(out, vote{X: x, Y: y, PX: px, PY: py, Info: [3]float64{1, 0, 1}, Scale: 1})
	}
	return out, truth
}

func TestPolishFindsHomographyAndLensThroughNonsense(t *testing.T) {
	h := mat3{.93, .04, 30, -.03, .95, 25, -6e-5, 4e-5, 1}
	votes, truth := made(500, h, .02, .3, .25, 1)
	start := mul3(h, mat3{1.01, 0, 3, .005, 1, -2, 0, 0, 1})
	got, l := polish(start, newLens(800, 600, 800, 600), true, votes, .1)
	s := surface{h: got, lens: l}
	m := s.mapping(800, 600)
	var worst float64
	for y := 0.; y < 600; y += 50 {
		for x := 0.; x < 800; x += 50 {
			px, py := truth(x, y)
			qx, qy := m.Photo(x, y)
			worst = math.Max(worst, math.Hypot(px-qx, py-qy))
		}
	}
	assert.Less(t, worst, .5)
}

func TestPlainestSurfaceIsChosen(t *testing.T) {
	h := mat3{.93, .04, 30, -.03, .95, 25, -6e-5, 4e-5, 1}
	from := surface{h: h, lens: newLens(800, 600, 800, 600)}
	votes, _ := made(400, h, 0, .2, .1, 2)
	s := choose(from, votes, 1, 60, 800, 600)
	assert.False(t, s.bent, "a plain homography needs no lens")
	assert.Nil(t, s.bend)
	votes, _ = made(400, h, .03, .2, .1, 3)
	s = choose(from, votes, 1, 60, 800, 600)
	assert.True(t, s.bent)
	assert.Nil(t, s.bend)
	// A wall that bulges.
	for i := range votes {
		v := &votes[i]
		v.PX += 8 * math.Exp(-((v.X-250)*(v.X-250)+(v.Y-300)*(v.Y-300))/(2*120*120))
	}
	s = choose(from, votes, 1, 60, 800, 600)
	require.NotNil(t, s.bend)
	_, mid := trimmed(s.errs, 1)
	assert.Less(t, mid, .6)
}

func TestLatticeReproducesAPlaneAndSpansGaps(t *testing.T) {
	l := latticeFor(800, 600, 20)
	var all []sample
	for i := 0; i < 300; i++ {
		x, y := hash(1, i, 0, 0)*800, hash(1, i, 1, 0)*600
		if x > 300 && x < 500 {
			continue // a gap without votes
		}
		all = append(all, sample{x, y, .01*x - .02*y + 1, .005 * y, [3]float64{1, 0, 1}})
	}
	require.True(t, l.fit(all, 1, 1e-7))
	for _, p := range [][2]float64{{50, 50}, {400, 300}, {750, 550}, {450, 100}} {
		x, y := l.at(p[0], p[1])
		assert.InDelta(t, .01*p[0]-.02*p[1]+1, x, .05)
		assert.InDelta(t, .005*p[1], y, .05)
	}
}

func TestBandedSolves(t *testing.T) {
	const n, b = 12, 3
	r := rand.New(rand.NewSource(4))
	m := newBanded(n, b)
	full := make([][]float64, n)
	for i := range full {
		full[i] = make([]float64, n)
	}
	for i := 0; i < n; i++ {
		for j := max(0, i-b); j <= i; j++ {
			v := r.NormFloat64()
			if i == j {
				v = 12 + r.Float64()
			}
			m.add(i, j, v)
			full[i][j], full[j][i] = v, v
		}
	}
	want := make([]float64, n)
	rhs := make([]float64, n)
	for i := range want {
		want[i] = r.NormFloat64()
	}
	for i := range rhs {
		for j := range want {
			rhs[i] += full[i][j] * want[j]
		}
	}
	require.True(t, m.solve(rhs))
	for i := range want {
		assert.InDelta(t, want[i], rhs[i], 1e-9)
	}
	bad := newBanded(2, 1)
	assert.False(t, bad.solve(make([]float64, 2)))
}

func TestQuantile(t *testing.T) {
	assert.True(t, math.IsNaN(median(nil)))
	assert.Equal(t, 3., median([]float64{3}))
	assert.Equal(t, 2.5, median([]float64{4, 1, 2, 3}))
	assert.Equal(t, 1.75, quantile([]float64{1, 2, 3, 4}, .25)) // type 7 by hand: 1 + 0.75
}

func TestMappingJSONIsExactAndSmall(t *testing.T) {
	h := mat3{.93, .04, 30, -.03, .95, 25, -6e-5, 4e-5, 1}
	s := surface{h: h, lens: newLens(4000, 3000, 4000, 3000)}
	s.lens.k[0] = .02
	m := s.mapping(4000, 3000).rounded()
	require.NoError(t, m.Valid())
	b, err := json.Marshal(m)
	require.NoError(t, err)
	assert.Less(t, len(b), 12000)
	var back Mapping
	require.NoError(t, json.Unmarshal(b, &back))
	assert.Equal(t, m, back)
	assert.Equal(t, m, m.rounded(), "rounding twice changes nothing")
	again, err := json.Marshal(back)
	require.NoError(t, err)
	assert.Equal(t, string(b), string(again))
}

func TestMappingRowEqualsPhoto(t *testing.T) {
	h := mat3{.93, .04, 30, -.03, .95, 25, -6e-5, 4e-5, 1}
	s := surface{h: h, lens: newLens(800, 600, 800, 600)}
	s.lens.k[0] = .05
	m := s.mapping(800, 600)
	row := m.row()
	for _, y := range []float64{0, 17.5, 300, 599} {
		row.start(y)
		for _, x := range []float64{0, 3.25, 400, 799} {
			ax, ay := m.Photo(x, y)
			bx, by := row.at(x)
			assert.InDelta(t, ax, bx, 1e-9)
			assert.InDelta(t, ay, by, 1e-9)
		}
	}
	x, _ := Mapping{PhotoFromRef: mat3{1, 0, 0, 0, 1, 0, -1, 0, 1}}.Photo(5, 0)
	assert.True(t, math.IsNaN(x), "behind the camera")
}

func TestValidMapping(t *testing.T) {
	id := mat3{1, 0, 0, 0, 1, 0, 0, 0, 1}
	d := make([]float32, 9)
	for _, tc := range []struct {
		name string
		m    Mapping
		ok   bool
	}{
		{"identity", Mapping{PhotoFromRef: id}, true},
		{"zero", Mapping{}, false},
		{"not a number", Mapping{PhotoFromRef: mat3{math.NaN(), 0, 0, 0, 1, 0, 0, 0, 1}}, false},
		{"field", Mapping{PhotoFromRef: id, Field: &Field{0, 0, 10, 3, 3, d, d}}, true},
		{"field too short", Mapping{PhotoFromRef: id, Field: &Field{0, 0, 10, 3, 3, d[:8], d}}, false},
		{"no step", Mapping{PhotoFromRef: id, Field: &Field{0, 0, 0, 3, 3, d, d}}, false},
		{"one column", Mapping{PhotoFromRef: id, Field: &Field{0, 0, 10, 1, 9, d, d}}, false},
	} {
		t.Run(tc.name, func(t *testing.T) {
			if tc.ok {
				assert.NoError(t, tc.m.Valid())
			} else {
				assert.Error(t, tc.m.Valid())
			}
		})
	}
}

func TestShape(t *testing.T) {
	for _, tc := range []struct {
		name string
		h    mat3
		want Reason
	}{
		{"straight on", mat3{1, 0, 0, 0, 1, 0, 0, 0, 1}, Accepted},
		{"close-up", mat3{6, 0, -1500, 0, 6, -1000, 0, 0, 1}, Accepted},
		{"mirrored", mat3{-1, 0, 799, 0, 1, 0, 0, 0, 1}, Folded},
		{"squeezed", mat3{1, 0, 0, 0, .05, 100, 0, 0, 1}, Extreme},
		{"elsewhere", mat3{1, 0, 9000, 0, 1, 0, 0, 0, 1}, SmallOverlap},
	} {
		t.Run(tc.name, func(t *testing.T) {
			got, _ := shape(Mapping{PhotoFromRef: tc.h}, 800, 600, 800, 600)
			assert.Equal(t, tc.want, got)
		})
	}
}

func TestReduceKeepsPlaces(t *testing.T) {
	// A ramp: level = x of the source, so a reduced pixel must hold its own centre in the source.
	g := upright(front(mosaic).shoot(), 1)
	for y := 0; y < g.Rect.Dy(); y++ {
		for x := 0; x < g.Rect.Dx(); x++ {
			g.Pix[y*g.Stride+x] = uint8(x % 256)
		}
	}
	p := reduce(g, 300, 200)
	for _, x := range []int{3, 40, 90} { // below 256 source px
		assert.InDelta(t, 816./300*(float64(x)+.5)-.5, float64(p.v[10*p.w+x]), .05) // areas of a stepped ramp
	}
	q := newHalved(g).at(2)
	assert.InDelta(t, 4*(10+.5)-.5, float64(q.v[5*q.w+10]), .01)
}

func FuzzMapping(f *testing.F) {
	f.Add([]byte(`{"photo_from_ref":[1,0,0,0,1,0,0,0,1]}`))
	f.Add([]byte(`{"photo_from_ref":[1,0,0,0,1,0,0,0,1],"field":{"x0":0,"y0":0,"step":10,"nx":2,"ny":2,"dx":[1,2,3,4],"dy":[0,0,0,0]}}`))
	f.Add([]byte(`{"photo_from_ref":[1,0,0,0,1,0,0,0,1],"field":{"nx":-1,"ny":99999999}}`))
	f.Fuzz(func(t *testing.T, b []byte) {
		var m Mapping
		if json.Unmarshal(b, &m) != nil || m.Valid() != nil {
			return
		}
		for _, p := range [][2]float64{{0, 0}, {1e6, -1e6}, {math.MaxFloat64, 1}} {
			m.Photo(p[0], p[1]) // must not panic
		}
	})
}
