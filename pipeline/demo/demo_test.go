package demo

import (
	"bytes"
	"crypto/sha256"
	"encoding/json"
	"image"
	"image/jpeg"
	"image/png"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tilelapse/measure/colour"
	"tilelapse/pipeline/survey"
)

// small is the reduction the tests draw at: every step runs, in a second.
const small = 0.25

// drawn draws the reduced survey once for all tests.
var drawn = sync.OnceValues(func() (string, error) {
	dir, err := os.MkdirTemp("", "demo-")
	if err != nil {
		return "", err
	}
	return dir, write(dir, small)
})

func TestMain(m *testing.M) {
	code := m.Run()
	if dir, err := drawn(); err == nil {
		os.RemoveAll(dir)
	}
	os.Exit(code)
}

func demoDir(t *testing.T) string {
	t.Helper()
	dir, err := drawn()
	require.NoError(t, err)
	return dir
}

func readTruth(t *testing.T) *truthFile {
	t.Helper()
	raw, err := os.ReadFile(filepath.Join(demoDir(t), "truth.json"))
	require.NoError(t, err)
	var f truthFile
	require.NoError(t, json.Unmarshal(raw, &f))
	return &f
}

// hashes returns the digest of every file below a folder.
func hashes(t *testing.T, dir string) map[string][32]byte {
	t.Helper()
	out := map[string][32]byte{}
	require.NoError(t, filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		raw, err := os.ReadFile(path)
		rel, _ := filepath.Rel(dir, path)
		out[filepath.ToSlash(rel)] = sha256.Sum256(raw)
		return err
	}))
	return out
}

func TestSameBytesWhateverTheThreads(t *testing.T) {
	again := t.TempDir()
	old := runtime.GOMAXPROCS(1)
	err := write(again, small)
	runtime.GOMAXPROCS(old)
	require.NoError(t, err)
	first := hashes(t, demoDir(t))
	assert.Len(t, first, 2+2+14+12+5) // references, regions, photos, opacities, and truth.json with the survey's four files
	assert.Equal(t, first, hashes(t, again))
}

func TestWriteKeepsAnExistingSurvey(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "survey.yaml")
	require.NoError(t, os.WriteFile(path, []byte("site: mine\n"), 0o644))
	assert.ErrorContains(t, Write(dir), "holds a survey already")
	raw, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, "site: mine\n", string(raw))
}

func TestSurveyReadsWithoutMistakes(t *testing.T) {
	s, err := survey.Load(demoDir(t))
	require.NoError(t, err)
	require.Len(t, s.Views, 2)
	given := []int{}
	for _, v := range s.Views {
		require.NotNil(t, v.Drawing, v.ID)
		assert.Len(t, v.Drawing.Zones, 4, v.ID)
		assert.GreaterOrEqual(t, len(v.Drawing.Controls), 4, v.ID)
		assert.GreaterOrEqual(t, len(v.Drawing.Lengths), 4, v.ID)
		assert.Empty(t, v.Drawing.Notes, v.ID)
		given = append(given, len(v.Drawing.Tiles))
	}
	truth := readTruth(t)
	assert.Equal(t, []int{len(truth.Views[0].Tiles.ID), 0}, given)
	assert.Len(t, s.Palette, len(glazes))
	cleanings := 0
	for _, u := range s.Upkeep {
		if u.Kind == "clean" {
			cleanings++
			assert.Equal(t, cleaningDay, u.Date)
		}
	}
	assert.Equal(t, 2, cleanings, "one cleaning, of one zone in each view")
	require.Len(t, s.Archive, 1)
	assert.FileExists(t, filepath.Join(demoDir(t), s.Archive[0].Photo))
}

// TestOutlineHalfPixel ties the SVG, whose origin is a pixel's corner, to the truth, whose origin is its centre.
func TestOutlineHalfPixel(t *testing.T) {
	s, err := survey.Load(demoDir(t))
	require.NoError(t, err)
	truth := readTruth(t)
	for i, tile := range s.Views[0].Drawing.Tiles {
		require.Equal(t, truth.Views[0].Tiles.ID[i], tile.ID)
		for j, p := range truth.Views[0].Tiles.Polygon[i] {
			assert.InDelta(t, p[0], tile.Rings[0][j].X, 0.011)
			assert.InDelta(t, p[1], tile.Rings[0][j].Y, 0.011)
		}
	}
}

func TestEveryPhotoIsDatedAndReads(t *testing.T) {
	truth := readTruth(t)
	stamp := regexp.MustCompile(`\d{4}:\d\d:\d\d \d\d:\d\d:\d\d`)
	by := map[string]int{}
	for _, p := range truth.Photos {
		raw, err := os.ReadFile(filepath.Join(demoDir(t), p.File))
		require.NoError(t, err)
		img, err := jpeg.Decode(bytes.NewReader(raw))
		require.NoError(t, err, p.File)
		w, h := p.Width, p.Height
		if p.Orientation > 4 {
			w, h = h, w
		}
		assert.Equal(t, image.Rect(0, 0, w, h), img.Bounds(), p.File)
		notes := parseExif(t, raw)
		assert.Equal(t, p.Orientation, notes.orientation, p.File)
		assert.NotContains(t, notes.tags, 0x8825, "no position")
		assert.True(t, strings.HasPrefix(notes.model, "Demo Camera"), p.File)
		switch {
		case p.DateInExif:
			by["exif"]++
			require.Regexp(t, stamp, notes.taken)
			assert.Equal(t, p.Visit, strings.ReplaceAll(notes.taken[:10], ":", "-"), p.File)
		case strings.Contains(p.File, p.Visit):
			by["name"]++
			assert.Empty(t, notes.taken, p.File)
		default:
			by["archive"]++
			assert.Contains(t, archiveText, p.File+","+p.Visit)
		}
	}
	assert.Equal(t, map[string]int{"exif": 8, "name": 5, "archive": 1}, by)
}

// TestTurnedPicturesComeUpright turns a marked picture and back again by the meaning of the orientations (Exif 2.3,
// 4.6.4: 3 = row 0 is the bottom, 6 = row 0 is the right side, 8 = row 0 is the left side).
func TestTurnedPicturesComeUpright(t *testing.T) {
	up := image.NewRGBA(image.Rect(0, 0, 3, 2))
	for i := range up.Pix {
		up.Pix[i] = uint8(i)
	}
	// where the stored picture's row 0, column 0 lies in the upright one, and its right neighbour
	for o, want := range map[int][2]image.Point{1: {{0, 0}, {1, 0}}, 3: {{2, 1}, {1, 1}}, 6: {{2, 0}, {2, 1}}, 8: {{0, 1}, {0, 0}}} {
		got := turned(up, o)
		assert.Equal(t, up.RGBAAt(want[0].X, want[0].Y), got.RGBAAt(0, 0), o)
		assert.Equal(t, up.RGBAAt(want[1].X, want[1].Y), got.RGBAAt(1, 0), o)
	}
}

func TestTruthTellsTheScenario(t *testing.T) {
	truth := readTruth(t)
	require.Len(t, truth.Views, 2)
	impostors, hidden, outside := 0, 0, 0
	last := map[string]zoneTruth{}
	gone := map[string]bool{}
	for _, p := range truth.Photos {
		if p.Role == "impostor" {
			impostors++
			assert.Nil(t, p.View)
			continue
		}
		odd := 0
		for id, z := range p.Zones {
			key := *p.View + "/" + id
			before, seen := last[key]
			require.NotNil(t, z.Whole)
			assert.True(t, *z.Opacity >= 0 && *z.Opacity <= 100 && *z.Scale >= 0 && *z.Scale <= 100, key)
			assert.Equal(t, z.Total, z.Read+len(z.Missing)+len(z.Hidden)+len(z.Outside), key)
			if p.Visit == visits[0] {
				require.NotNil(t, p.NoChange)
				assert.Zero(t, *z.Scale)
				assert.Zero(t, *z.DE)
				assert.Empty(t, z.Missing)
			}
			cleaned := len(p.Cleaned) > 0 && p.Cleaned[0] == id
			if seen && cleaned && p.File != "photos/2023-05-20 kites again.jpg" {
				assert.Less(t, *z.Whole, 0.5**before.Whole, "cleaning takes most of it off: "+key)
			} else if seen && p.Visit > visits[1] {
				assert.GreaterOrEqual(t, *z.Whole, *before.Whole, "scale grows: "+key)
			}
			last[key] = z
			odd += len(z.Offpalette)
			hidden += len(z.Hidden)
			outside += len(z.Outside)
			for _, m := range z.Missing {
				gone[*p.View+"/"+m] = true
			}
		}
		for i, id := range viewOf(truth, *p.View).Tiles.ID {
			if gone[*p.View+"/"+id] {
				assert.Contains(t, []string{"missing", "hidden", "outside"}, p.Tiles.State[i], "a lost tile stays lost")
			}
			if a := p.Tiles.Alpha[i]; a != nil {
				assert.True(t, *a >= 0 && *a <= 1)
			}
			// only the slate glazes fade
			if d := p.Tiles.DE[i]; d != nil && p.Tiles.State[i] == "sound" {
				fades := strings.HasPrefix(viewOf(truth, *p.View).Tiles.Glaze[i], "slate")
				assert.Equal(t, fades && p.Visit > visits[0], *d > 0.05, id)
			}
		}
		want := 0
		if *p.View == "kite-wall" && p.Visit >= visits[3] {
			want = 1
		}
		assert.Equal(t, want, odd, p.File)
	}
	assert.Equal(t, 1, impostors)
	assert.Positive(t, hidden)
	assert.Positive(t, outside)
	assert.Len(t, gone, 9+6)
	assert.Greater(t, *last["stair-wall/upper-flight"].DE, 2.0)
	assert.Zero(t, *last["stair-wall/lower-flight"].DE)
}

func viewOf(f *truthFile, id string) *truthView {
	for i := range f.Views {
		if f.Views[i].ID == id {
			return &f.Views[i]
		}
	}
	return nil
}

// TestOpacityPicturesAgreeWithTheFigures counts the whitened share anew from the opacity picture and the tiles'
// polygons.
func TestOpacityPicturesAgreeWithTheFigures(t *testing.T) {
	truth := readTruth(t)
	for _, p := range truth.Photos {
		if p.View == nil || p.Visit != visits[5] {
			continue
		}
		v := viewOf(truth, *p.View)
		raw, err := os.ReadFile(filepath.Join(demoDir(t), "truth", v.ID+"_"+p.Visit+".png"))
		require.NoError(t, err)
		img, err := png.Decode(bytes.NewReader(raw))
		require.NoError(t, err)
		grey := img.(*image.Gray)
		n, white := map[string]int{}, map[string]int{}
		for i, ring := range v.Tiles.Polygon {
			if v.Tiles.Zone[i] == nil || p.Tiles.State[i] == "missing" {
				continue
			}
			var r []pt
			for _, q := range ring {
				r = append(r, pt{q[0], q[1]})
			}
			lo, hi := bounds(r)
			for y := int(lo.v); y <= int(hi.v)+1; y++ {
				for x := int(lo.u); x <= int(hi.u)+1; x++ {
					if within(pt{float64(x), float64(y)}, r) {
						n[*v.Tiles.Zone[i]]++
						if grey.GrayAt(x, y).Y >= 51 { // 0.20 of 255
							white[*v.Tiles.Zone[i]]++
						}
					}
				}
			}
		}
		for id, z := range p.Zones {
			assert.InDelta(t, *z.Whole, 100*float64(white[id])/float64(n[id]), 1.5, id)
		}
	}
}

func TestProjectInvertsSee(t *testing.T) {
	for _, s := range scenes() {
		for _, sh := range shotsOf(s.id) {
			c := sh.camera(s.surface, 1)
			for _, p := range [][2]float64{{0, 0}, {1599, 0}, {800, 600}, {13, 1190}, {1500, 1100}} {
				x, y := c.project(c.see(p[0], p[1]))
				assert.InDelta(t, p[0], x, 1e-6, sh.file)
				assert.InDelta(t, p[1], y, 1e-6, sh.file)
			}
		}
	}
}

// TestLatticeKeepsTheMapping checks that interpolating the camera between lattice points moves nothing visible.
func TestLatticeKeepsTheMapping(t *testing.T) {
	s := kiteWall()
	w := &wall{mm: texelMM}
	for _, sh := range shotsOf(s.id)[:3] {
		c := sh.camera(s.surface, 1)
		worst := make([]float64, c.h)
		w.scan(c, func(x, y int, at *[4][2]float64) {
			u, v := c.see(float64(x)+0.25, float64(y)-0.25) // the upper right sample
			tx, ty := w.texel(pt{u, v})
			worst[y] = math.Max(worst[y], math.Hypot(at[1][0]-tx, at[1][1]-ty))
		})
		for y := range worst {
			require.Less(t, worst[y], 0.003, "%s row %d", sh.file, y)
		}
	}
}

// TestDaylightOfD65 holds the locus against D65: chromaticity 0.3127, 0.3290 at 6504 K (CIE 15:2004, table T.3), which
// is white in sRGB.
func TestDaylightOfD65(t *testing.T) {
	c := daylight(6504)
	for j := range c {
		assert.InDelta(t, 1, c[j], 0.003)
	}
	assert.Greater(t, daylight(9800)[2], daylight(5000)[2], "shade is bluer than sun")
}

// TestMixture takes two photos of the same flat light, one without scale and one under even scale, and finds α again
// from the texels, glint aside.
func TestMixture(t *testing.T) {
	w := build(kiteWall(), 8)
	g := sprout(w)
	for k := range g.grain {
		g.grain[k] = 0.5 // even crust
	}
	l := light{skyK: 6504, sky: 1}
	of := func(alpha float32) []float32 {
		st := &state{alpha: make([]float32, w.w*w.h), gone: make([]bool, len(w.cells)), odd: -1}
		for k := range st.alpha {
			st.alpha[k] = alpha
		}
		return l.shine(&desk{}, w, g, st)
	}
	bare, third, full := of(0), of(0.3), of(1)
	for k, i := range w.id {
		if i < 0 || w.cover[k] < 1 {
			continue
		}
		for j := 0; j < 3; j++ {
			m := 3*k + j
			require.InDelta(t, 0.7*bare[m]+0.3*full[m], third[m], 1e-4)
		}
	}
}

// TestPaletteIsWhatTheTilesBear compares the mean of each glaze's tiles with its recipe.
func TestPaletteIsWhatTheTilesBear(t *testing.T) {
	w := build(stairWall(), 4)
	sum, n := make([]colour.Lab, len(glazes)), make([]float64, len(glazes))
	for i := range w.cells {
		l, g := colour.RGB(w.tones[i]).Lab(), w.cells[i].glaze
		sum[g] = colour.Lab{L: sum[g].L + l.L, A: sum[g].A + l.A, B: sum[g].B + l.B}
		n[g]++
	}
	checked := 0
	for g := range glazes {
		if n[g] < 10 {
			continue
		}
		mean := colour.Lab{L: sum[g].L / n[g], A: sum[g].A / n[g], B: sum[g].B / n[g]}
		assert.Less(t, colour.CIEDE2000(mean, glazes[g].lab), 7.0, glazes[g].name)
		checked++
	}
	assert.GreaterOrEqual(t, checked, 8)
}
