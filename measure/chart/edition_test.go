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
