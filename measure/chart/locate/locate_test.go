package locate

import (
	"image"
	_ "image/jpeg"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tilelapse/measure/chart"
	"tilelapse/measure/plane"
)

// shared returns the folder of shared photos: TILELAPSE_SHARED, else the nearest folder `shared` beside one of the
// folders above. The test is skipped without it.
func shared(t *testing.T, path string) string {
	dir := os.Getenv("TILELAPSE_SHARED")
	if dir == "" {
		at, err := os.Getwd()
		require.NoError(t, err)
		for ; filepath.Dir(at) != at; at = filepath.Dir(at) {
			if d := filepath.Join(filepath.Dir(at), "shared"); isDir(d) {
				dir = d
				break
			}
		}
	}
	p := filepath.Join(dir, filepath.FromSlash(path))
	if _, err := os.Stat(p); dir == "" || err != nil {
		t.Skipf("no shared photos here: %s is not there; TILELAPSE_SHARED names their folder", path)
	}
	return p
}

func isDir(p string) bool {
	s, err := os.Stat(p)
	return err == nil && s.IsDir()
}

func TestChartsInPhotosAreFound(t *testing.T) {
	// fields by eye, to about 10 px: centres of the first and the last patch, px
	for _, c := range []struct {
		photo       string
		first, last plane.Point
		mean, half  float64
	}{
		{"three-lamps/d65", plane.Point{X: 725, Y: 736}, plane.Point{X: 1948, Y: 1461}, 2.2, 2.6},
		{"three-lamps/tl84", plane.Point{X: 725, Y: 736}, plane.Point{X: 1948, Y: 1461}, 2.4, 3.3},
		{"three-lamps/cwf", plane.Point{X: 725, Y: 736}, plane.Point{X: 1948, Y: 1461}, 2.4, 2.9},
		{"outdoor-card/photo", plane.Point{X: 1344, Y: 985}, plane.Point{X: 1685, Y: 1186}, 4, 6},
	} {
		t.Run(c.photo, func(t *testing.T) {
			f, err := os.Open(shared(t, "realdata/chart/"+c.photo+".jpg"))
			require.NoError(t, err)
			defer f.Close()
			im, _, err := image.Decode(f)
			require.NoError(t, err)
			q, ok, err := Find(im)
			require.NoError(t, err)
			require.True(t, ok)
			p, err := chart.Patches(linear(shrink(im, 1)), q)
			require.NoError(t, err)
			assert.InDelta(t, c.first.X, p[0].Centre.X, 25)
			assert.InDelta(t, c.first.Y, p[0].Centre.Y, 25)
			assert.InDelta(t, c.last.X, p[23].Centre.X, 25)
			assert.InDelta(t, c.last.Y, p[23].Centre.Y, 25)
			fit, err := chart.FitPatches(p, chart.Untold)
			require.NoError(t, err)
			t.Logf("mean %.2f max %.2f (%s) left out %.2f half %.2f %v odds %.3g %v", fit.Mean, fit.Max, chart.Name(fit.Worst),
				fit.LeftOut, fit.Half, fit.Edition, fit.Odds, fit.Notes)
			assert.Less(t, fit.Mean, c.mean)
			assert.Less(t, fit.Half, c.half)
		})
	}
}

func TestLimits(t *testing.T) {
	_, _, err := Find(image.NewGray(image.Rect(0, 0, 20, 3000)))
	require.ErrorContains(t, err, "sides of")
	_, ok, err := Find(image.NewGray(image.Rect(0, 0, 100, 9000))) // shrinks to a strip
	require.NoError(t, err)
	require.False(t, ok)
}

func TestNoChartIsNoError(t *testing.T) {
	im := image.NewRGBA(image.Rect(0, 0, 900, 700))
	for y := range 700 {
		for x := range 900 {
			o := im.PixOffset(x, y) // a wall of tiles in four glazes
			g := (x/60*7 + y/60*5) % 4
			if x%60 < 4 || y%60 < 4 {
				g = 4
			}
			copy(im.Pix[o:], [][]uint8{{40, 70, 130, 255}, {60, 120, 90, 255}, {200, 190, 170, 255}, {150, 60, 40, 255}, {90, 90, 90, 255}}[g])
		}
	}
	_, ok, err := Find(im)
	require.NoError(t, err)
	require.False(t, ok)
}
