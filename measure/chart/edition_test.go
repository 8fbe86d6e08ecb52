package chart

import (
	"fmt"
	"math"
	"math/rand"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tilelapse/measure/colour"
)

// camera draws a camera that sees each colour a little differently, with a tone curve of its own, and returns what it
// makes of the chart.
type camera struct {
	colours float64 // spread of what it sees of colours, ΔE76 a direction
	greys   float64 // the same of greys: uneven light, noise
	tone    float64 // how much contrast its tone curve adds to the file's, 0 = none
}

func (c camera) see(e Edition, rng *rand.Rand) (p [Count]Patch) {
	m := lamps["crosstalk"]
	for i, ref := range Reference(e) {
		l, s := ref.Lab(), c.colours
		if i >= firstGrey {
			s = c.greys
		}
		l.L, l.A, l.B = l.L+s*rng.NormFloat64(), l.A+s*rng.NormFloat64(), l.B+s*rng.NormFloat64()
		v := l.RGB()
		for k := range 3 {
			for j := range 3 {
				p[i].Light[k] += m[k][j] * v[j]
			}
			code := math.Max(0, math.Min(1, colour.Encode(p[i].Light[k])))
			code += c.tone * code * (1 - code) * (2*code - 0.9)
			p[i].Light[k] = colour.Decode(math.Round(255*code) / 255)
		}
		p[i].Pixels = 100
	}
	return p
}

// TestEditionIsSeldomNamedWrongly draws cameras with spreads and tone curves as photos of charts show them (residuals of
// 1 to 5 ΔE00): a wrong edition is worse than none.
func TestEditionIsSeldomNamedWrongly(t *testing.T) {
	for _, c := range []camera{{0.5, 0.3, 0}, {1.5, 0.5, 0.3}, {3, 0.5, 0.6}} {
		t.Run(fmt.Sprintf("%+v", c), func(t *testing.T) {
			rng := rand.New(rand.NewSource(4))
			const n = 20
			right, wrong, mean := 0, 0, 0.0
			for i := range n {
				e := [2]Edition{Before2014, FromNov2014}[i%2]
				f, err := FitPatches(c.see(e, rng), Untold)
				require.NoError(t, err)
				mean += f.Mean / n
				switch f.Edition {
				case e:
					right++
				case Untold:
				default:
					wrong++
				}
			}
			t.Logf("mean %.2f ΔE00: named rightly %d, wrongly %d, not told %d", mean, right, wrong, n-right-wrong)
			assert.LessOrEqual(t, wrong, n/20)
		})
	}
}

// TestShuffledPatchesAreNoChart draws colours of the chart in other orders. Of 300 the closest to a chart came out at 22
// ΔE00 after the fit.
func TestShuffledPatchesAreNoChart(t *testing.T) {
	rng := rand.New(rand.NewSource(5))
	for range 100 {
		p := camera{1, 0.5, 0}.see(FromNov2014, rng)
		rng.Shuffle(Count, func(i, j int) { p[i], p[j] = p[j], p[i] })
		require.Greater(t, likeness(&p), 2*maxMean)
		_, err := FitPatches(p, Untold)
		require.ErrorIs(t, err, ErrNotChart)
	}
}

// TestEditionGivenIsKept fits to the edition that is known, and says so when the colours contradict it.
func TestEditionGivenIsKept(t *testing.T) {
	p := camera{0.3, 0.2, 0}.see(FromNov2014, rand.New(rand.NewSource(8)))
	for _, e := range []Edition{FromNov2014, Before2014} {
		f, err := FitPatches(p, e)
		require.NoError(t, err)
		assert.Equal(t, e, f.Edition)
		assert.True(t, f.Given)
		assert.Equal(t, e == FromNov2014, f.Odds > 1)
		if e == Before2014 {
			assert.Contains(t, f.Notes[len(f.Notes)-1], "other edition")
		}
	}
}

// TestLightUndoesColour goes from colours to light and back.
func TestLightUndoesColour(t *testing.T) {
	f, err := FitPatches(camera{0.5, 0.3, 0}.see(FromNov2014, rand.New(rand.NewSource(9))), Untold)
	require.NoError(t, err)
	for _, c := range []colour.RGB{{0.2, 0.2, 0.2}, {0.4, 0.1, 0.05}, {0.05, 0.1, 0.3}} {
		x, ok := f.Light(c)
		require.True(t, ok)
		back := f.Colour(x)
		for k := range c {
			assert.InDelta(t, c[k], back[k], 1e-6)
		}
	}
}
