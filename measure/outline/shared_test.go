package outline

import (
	"encoding/json"
	"image"
	"image/jpeg"
	"math"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tilelapse/measure/plane"
)

// sharedFolder is where the rendered scenes lie: TILELAPSE_SHARED, else a folder named shared beside the project.
func sharedFolder(t *testing.T) string {
	t.Helper()
	if d := os.Getenv("TILELAPSE_SHARED"); d != "" {
		return d
	}
	d, err := os.Getwd()
	require.NoError(t, err)
	for d != filepath.Dir(d) {
		d = filepath.Dir(d)
		if s := filepath.Join(d, "shared"); isFolder(filepath.Join(s, "scenes")) {
			return s
		}
	}
	t.Skip("no rendered scenes: set TILELAPSE_SHARED to their folder")
	return ""
}

func isFolder(p string) bool {
	i, err := os.Stat(p)
	return err == nil && i.IsDir()
}

type sceneTruth struct {
	Views []struct {
		ID    string
		Zones []struct {
			ID      string
			Polygon [][2]float64
		}
		Tiles struct {
			Zone    []*string
			X, Y    []float64
			Polygon [][][2]float64
		}
	}
}

func ringOf(a [][2]float64) []plane.Point {
	out := make([]plane.Point, len(a))
	for i, p := range a {
		out[i] = plane.Point{X: p[0], Y: p[1]}
	}
	return out
}

// loadLinear reads an upright sRGB JPEG onto the measuring frame, averaged in linear light.
func loadLinear(t *testing.T, path string) (*plane.Image, plane.Frame) {
	t.Helper()
	file, err := os.Open(path)
	require.NoError(t, err)
	defer file.Close()
	pic, err := jpeg.Decode(file)
	require.NoError(t, err)
	ycc, ok := pic.(*image.YCbCr)
	require.True(t, ok, "a colour JPEG")
	f := plane.FrameOf(pic.Bounds().Dx(), pic.Bounds().Dy())
	w, h := f.Size()
	var curve [256]float32
	for i := range curve {
		v := float64(i) / 255
		if v <= 0.04045 {
			curve[i] = float32(v / 12.92)
		} else {
			curve[i] = float32(math.Pow((v+0.055)/1.055, 2.4))
		}
	}
	out := plane.New(w, h)
	for y := range h * f.K {
		for x := range w * f.K {
			r, g, b, _ := ycc.YCbCrAt(x, y).RGBA()
			o := 3 * (y/f.K*w + x/f.K)
			n := float32(f.K * f.K)
			out.RGB[o] += curve[r>>8] / n
			out.RGB[o+1] += curve[g>>8] / n
			out.RGB[o+2] += curve[b>>8] / n
		}
	}
	return out, f
}

// sampledIoU compares two outlines on a grid of 32 x 32 points.
func sampledIoU(a, b [][]plane.Point) float64 {
	x0, y0, x1, y1 := math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	for _, rs := range [][][]plane.Point{a, b} {
		for _, p := range rs[0] {
			x0, y0, x1, y1 = min(x0, p.X), min(y0, p.Y), max(x1, p.X), max(y1, p.Y)
		}
	}
	var both, either float64
	for j := range 32 {
		for i := range 32 {
			p := plane.Point{X: x0 + (float64(i)+.5)*(x1-x0)/32, Y: y0 + (float64(j)+.5)*(y1-y0)/32}
			s, t := contains(a, p), contains(b, p)
			if s && t {
				both++
			}
			if s || t {
				either++
			}
		}
	}
	return both / max(either, 1)
}

// TestRenderedScenes measures count, F1 at IoU 0.5 and mean IoU on the rendered scenes whose drawings hold no outlines.
func TestRenderedScenes(t *testing.T) {
	dir := sharedFolder(t)
	if testing.Short() {
		t.Skip("takes some seconds a scene")
	}
	for _, scene := range []string{"harbour-wall", "tram-stop-cascade", "ferry-steps"} {
		t.Run(scene, func(t *testing.T) {
			raw, err := os.ReadFile(filepath.Join(dir, "scenes", scene, "truth.json"))
			require.NoError(t, err)
			var truth sceneTruth
			require.NoError(t, json.Unmarshal(raw, &truth))
			v := truth.Views[0]
			img, f := loadLinear(t, filepath.Join(dir, "scenes", scene, "reference", v.ID+".jpg"))
			var zones []plane.Region
			for _, z := range v.Zones {
				zones = append(zones, plane.Region{ID: z.ID, Rings: [][]plane.Point{ringOf(z.Polygon)}})
			}
			tiles, err := Find(img, f, zones, nil, nil, nil, DefaultOptions())
			require.NoError(t, err)
			n, hits, sum := 0, 0, 0.0
			for k, p := range v.Tiles.Polygon {
				if v.Tiles.Zone[k] == nil {
					continue
				}
				n++
				best := 0.0
				for _, tile := range tiles {
					if math.Hypot(tile.Centroid.X-v.Tiles.X[k], tile.Centroid.Y-v.Tiles.Y[k]) < 100 {
						best = max(best, sampledIoU(tile.Rings, [][]plane.Point{ringOf(p)}))
					}
				}
				if best >= 0.5 {
					hits++
					sum += best
				}
			}
			f1 := 2 * float64(hits) / float64(n+len(tiles))
			t.Logf("true %d, found %d, F1 %.3f, mean IoU %.3f", n, len(tiles), f1, sum/float64(max(hits, 1)))
			assert.LessOrEqual(t, math.Abs(float64(len(tiles)-n)), 0.05*float64(n))
			assert.GreaterOrEqual(t, f1, 0.90)
			assert.GreaterOrEqual(t, sum/float64(hits), 0.80)
		})
	}
}
