package plan

import (
	"fmt"
	"math"
	"math/rand"
	"sort"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tilelapse/measure/plane"
)

// camera projects places of a plane (mm, its own axes u, v) into a picture: written apart from the package's own
// geometry, by a rotation matrix, so that a slip in one is not repeated in the other.
type camera struct {
	w, h   int
	focal  float64
	rot    [3][3]float64
	centre [3]float64
}

func newCamera(w, h int, focal, pan, tilt, dist float64) camera {
	cp, sp, ct, st := math.Cos(pan), math.Sin(pan), math.Cos(tilt), math.Sin(tilt)
	return camera{w, h, focal, [3][3]float64{{cp, 0, sp}, {sp * st, ct, -cp * st}, {-sp * ct, st, cp * ct}}, [3]float64{0, 0, dist}}
}

func (c camera) see(u, v float64) plane.Point {
	var x [3]float64
	for i := range 3 {
		x[i] = c.rot[i][0]*u + c.rot[i][1]*v + c.centre[i]
	}
	return plane.Point{X: float64(c.w-1)/2 + c.focal*x[0]/x[2], Y: float64(c.h-1)/2 + c.focal*x[1]/x[2]}
}

func (c camera) seeAll(uv ...[2]float64) []plane.Point {
	var out []plane.Point
	for _, p := range uv {
		out = append(out, c.see(p[0], p[1]))
	}
	return out
}

// frameLines are six lines over a surface of 3 x 2 m: along the edges and across.
var frameLines = [][4]float64{
	{-1400, -900, -200, -900}, {300, 900, 1300, 900}, {-1400, -700, -1400, 500}, {1400, -800, 1400, 300},
	{-900, -600, 200, 400}, {-300, 500, 1000, -500},
}

func lengths(c camera, lines [][4]float64, rnd *rand.Rand, endPx, tapePct float64) []Length {
	var out []Length
	for i, l := range lines {
		a, b := c.see(l[0], l[1]), c.see(l[2], l[3])
		mm := math.Hypot(l[0]-l[2], l[1]-l[3])
		if rnd != nil {
			a.X += endPx * rnd.NormFloat64()
			a.Y += endPx * rnd.NormFloat64()
			b.X += endPx * rnd.NormFloat64()
			b.Y += endPx * rnd.NormFloat64()
			mm *= 1 + tapePct/100*rnd.NormFloat64()
		}
		out = append(out, Length{fmt.Sprintf("l%d", i), a, b, mm})
	}
	return out
}

func TestAreaOfObliquePlanes(t *testing.T) {
	deg := math.Pi / 180
	for _, tc := range []struct {
		name             string
		focal, pan, tilt float64
		lines            int
	}{
		{"square on", 3000, 0, 0, 4},
		{"from the left", 3000, 30 * deg, 0, 4},
		{"from below", 2400, 0, -35 * deg, 4},
		{"both", 3500, 25 * deg, 20 * deg, 4},
		{"wide lens", 2000, -30 * deg, 10 * deg, 6},
		{"long lens", 8000, 40 * deg, -15 * deg, 6},
	} {
		t.Run(tc.name, func(t *testing.T) {
			c := newCamera(4000, 3000, tc.focal, tc.pan, tc.tilt, 4200*tc.focal/3000)
			p, err := Rectify(c.w, c.h, lengths(c, frameLines[:tc.lines], nil, 0, 0), 0, DefaultOptions())
			require.NoError(t, err)
			assert.Equal(t, Rectified, p.Basis)
			whole := p.Area([][]plane.Point{c.seeAll([2]float64{-1400, -900}, [2]float64{1400, -900}, [2]float64{1400, 900}, [2]float64{-1400, 900})})
			corner := p.Area([][]plane.Point{c.seeAll([2]float64{1000, 500}, [2]float64{1400, 500}, [2]float64{1400, 900}, [2]float64{1000, 900})})
			t.Logf("tilt %.1f°, whole %.0f cm² (true 50400) [%.0f %.0f], corner %.0f (true 1600) [%.0f %.0f]",
				p.TiltDeg, whole.CM2, whole.Lo, whole.Hi, corner.CM2, corner.Lo, corner.Hi)
			assert.InEpsilon(t, 50400, whole.CM2, 0.03)
			assert.InEpsilon(t, 1600, corner.CM2, 0.03)
			assert.False(t, whole.Approximate)
			assert.True(t, whole.Lo <= 50400 && 50400 <= whole.Hi, "interval holds the truth")
			assert.Less(t, whole.Hi-whole.Lo, 0.25*50400)
		})
	}
}

// TestIntervalHoldsTheTruth draws views, lines and drawing errors at random: the area's error stays small and the 95 %
// interval does its work.
func TestIntervalHoldsTheTruth(t *testing.T) {
	rnd := rand.New(rand.NewSource(7))
	const n = 200
	held := 0
	var errs []float64
	for range n {
		focal := 4000 * math.Exp(rnd.NormFloat64()*0.4)
		c := newCamera(4000, 3000, focal, rnd.NormFloat64()*0.35, rnd.NormFloat64()*0.35, 4800*focal/4000*(1+0.1*rnd.NormFloat64()))
		p, err := Rectify(c.w, c.h, lengths(c, frameLines, rnd, 1.5, 0.5), 0, DefaultOptions())
		require.NoError(t, err)
		a := p.Area([][]plane.Point{c.seeAll([2]float64{-1200, -800}, [2]float64{1200, -800}, [2]float64{1200, 800}, [2]float64{-1200, 800})})
		if a.Lo <= 38400 && 38400 <= a.Hi {
			held++
		}
		errs = append(errs, math.Abs(a.CM2/38400-1))
	}
	sort.Float64s(errs)
	t.Logf("held %d of %d; error median %.2f %%, 95th percentile %.2f %%", held, n, 100*errs[n/2], 100*errs[n*95/100])
	assert.GreaterOrEqual(t, held, n*90/100)
	assert.Less(t, errs[n*95/100], 0.03)
}

func TestFewLinesAreApproximate(t *testing.T) {
	c := newCamera(4000, 3000, 3500, 0.4, 0.2, 4500)
	sq := [][]plane.Point{c.seeAll([2]float64{-1400, -900}, [2]float64{1400, -900}, [2]float64{1400, 900}, [2]float64{-1400, 900})}
	width := math.Inf(1)
	for n := 1; n <= 6; n++ {
		p, err := Rectify(c.w, c.h, lengths(c, frameLines[:n], nil, 0, 0), 0, DefaultOptions())
		require.NoError(t, err)
		a := p.Area(sq)
		assert.Equal(t, n < 4, a.Approximate, "%d lines", n)
		assert.True(t, a.Lo <= 50400 && 50400 <= a.Hi, "%d lines: %.0f [%.0f %.0f]", n, a.CM2, a.Lo, a.Hi)
		t.Logf("%d lines: %.0f cm² [%.0f %.0f]", n, a.CM2, a.Lo, a.Hi)
		if n == 1 || n == 6 {
			assert.Less(t, a.Hi-a.Lo, width)
			width = a.Hi - a.Lo
		}
	}
}

func TestFourLinesInOneRowAreApproximate(t *testing.T) {
	c := newCamera(4000, 3000, 3500, 0.4, 0.2, 4500)
	row := [][4]float64{{-1400, 850, -1200, 850}, {-1100, 850, -900, 850}, {-800, 850, -600, 850}, {-500, 850, -300, 850}}
	p, err := Rectify(c.w, c.h, lengths(c, row, nil, 0, 0), 0, DefaultOptions())
	require.NoError(t, err)
	a := p.Area([][]plane.Point{c.seeAll([2]float64{-1400, -900}, [2]float64{1400, -900}, [2]float64{1400, 900}, [2]float64{-1400, 900})})
	assert.True(t, a.Approximate)
	assert.True(t, a.Lo <= 50400 && 50400 <= a.Hi, "%.0f [%.0f %.0f]", a.CM2, a.Lo, a.Hi)
}

func TestScaleAlone(t *testing.T) {
	p, err := Rectify(1000, 800, nil, 2, DefaultOptions())
	require.NoError(t, err)
	assert.Equal(t, Flat, p.Basis)
	a := p.Area([][]plane.Point{{{X: 400, Y: 300}, {X: 500, Y: 300}, {X: 500, Y: 400}, {X: 400, Y: 400}}})
	assert.InDelta(t, 100*100*4/100.0, a.CM2, 1e-6)
	assert.True(t, a.Approximate)
	assert.Less(t, a.Lo, a.CM2)
	assert.Greater(t, a.Hi, 1.1*a.CM2, "an oblique surface is larger than it looks")
	assert.InDelta(t, 0.04, p.Density(plane.Point{X: 10, Y: 700}), 1e-9)
}

func TestNothingKnown(t *testing.T) {
	p, err := Rectify(1000, 800, nil, 0, DefaultOptions())
	require.NoError(t, err)
	assert.Equal(t, Unknown, p.Basis)
	assert.True(t, math.IsNaN(p.Area([][]plane.Point{{{X: 1, Y: 1}, {X: 9, Y: 1}, {X: 9, Y: 9}}}).CM2))
}

func TestHoleIsTakenOff(t *testing.T) {
	p, err := Rectify(1000, 800, nil, 10, DefaultOptions())
	require.NoError(t, err)
	sq := func(a, b float64) []plane.Point {
		return []plane.Point{{X: a, Y: a}, {X: b, Y: a}, {X: b, Y: b}, {X: a, Y: b}}
	}
	assert.InDelta(t, 10000-100, p.Area([][]plane.Point{sq(100, 200), sq(140, 150)}).CM2, 1e-6)
	assert.InDelta(t, 20000, p.Area([][]plane.Point{sq(100, 200)}, [][]plane.Point{sq(300, 400)}).CM2, 1e-6)
}

func TestWrongLengthIsNamed(t *testing.T) {
	c := newCamera(4000, 3000, 3500, 0.2, 0.1, 4500)
	ls := lengths(c, frameLines, nil, 0, 0)
	good, err := Rectify(c.w, c.h, ls, 0, DefaultOptions())
	require.NoError(t, err)
	ls[4].MM *= 1.15
	bad, err := Rectify(c.w, c.h, ls, 0, DefaultOptions())
	require.NoError(t, err)
	assert.Less(t, good.MisfitPct, 0.3)
	assert.Greater(t, bad.MisfitPct, 2.0)
	assert.Equal(t, "l4", bad.WorstLine)
	sq := [][]plane.Point{c.seeAll([2]float64{-1400, -900}, [2]float64{1400, -900}, [2]float64{1400, 900}, [2]float64{-1400, 900})}
	assert.Greater(t, bad.Area(sq).Hi-bad.Area(sq).Lo, 2*(good.Area(sq).Hi-good.Area(sq).Lo))
}

func TestRefusals(t *testing.T) {
	ok := Length{"a", plane.Point{X: 10, Y: 10}, plane.Point{X: 400, Y: 10}, 1000}
	for name, f := range map[string]func() error{
		"short line": func() error {
			_, err := Rectify(1000, 800, []Length{{"b", plane.Point{X: 10, Y: 10}, plane.Point{X: 12, Y: 10}, 1000}}, 0, DefaultOptions())
			return err
		},
		"no length": func() error {
			l := ok
			l.MM = 0
			_, err := Rectify(1000, 800, []Length{l}, 0, DefaultOptions())
			return err
		},
		"NaN scale":  func() error { _, err := Rectify(1000, 800, nil, math.NaN(), DefaultOptions()); return err },
		"no picture": func() error { _, err := Rectify(0, 800, nil, 1, DefaultOptions()); return err },
		"options":    func() error { o := DefaultOptions(); o.EndPx = 0; _, err := Rectify(10, 10, nil, 1, o); return err },
	} {
		assert.Error(t, f(), name)
	}
	p, err := Rectify(1000, 800, []Length{ok}, 0, DefaultOptions())
	require.NoError(t, err)
	q, err := Rectify(1000, 800, []Length{ok}, 0, DefaultOptions())
	require.NoError(t, err)
	assert.Equal(t, p.draws, q.draws, "the same lines give the same interval")
}
