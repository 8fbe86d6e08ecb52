package tile

import (
	"encoding/json"
	"encoding/xml"
	"errors"
	"image"
	"image/jpeg"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"tilelapse/measure/colour"
	"tilelapse/measure/plane"
)

// sharedDir finds the folder of photographs and scenes that the repository does not carry, or skips the test.
func sharedDir(t *testing.T, parts ...string) string {
	t.Helper()
	if testing.Short() {
		t.Skip("reads large photographs")
	}
	base := os.Getenv("TILELAPSE_SHARED")
	if base == "" {
		dir, err := os.Getwd()
		require.NoError(t, err)
		for dir != filepath.Dir(dir) && base == "" {
			dir = filepath.Dir(dir)
			if st, err := os.Stat(filepath.Join(dir, "shared")); err == nil && st.IsDir() {
				base = filepath.Join(dir, "shared")
			}
		}
	}
	path := filepath.Join(append([]string{base}, parts...)...)
	if _, err := os.Stat(path); base == "" || err != nil {
		t.Skipf("no shared data: set TILELAPSE_SHARED to the folder that holds %s", filepath.Join(parts...))
	}
	return path
}

// raw is a decoded photo, upright, 8 bit codes.
type raw struct {
	w, h int
	rgb  []uint8
}

func decode(t *testing.T, path string, orientation int) raw {
	t.Helper()
	f, err := os.Open(path)
	require.NoError(t, err)
	defer f.Close()
	img, err := jpeg.Decode(f)
	require.NoError(t, err)
	b := img.Bounds()
	turn := func(x, y int) (int, int) { return x, y }
	w, h := b.Dx(), b.Dy()
	switch orientation {
	case 3:
		turn = func(x, y int) (int, int) { return w - 1 - x, h - 1 - y }
	case 6:
		turn = func(x, y int) (int, int) { return y, b.Dy() - 1 - x }
		w, h = h, w
	case 8:
		turn = func(x, y int) (int, int) { return b.Dx() - 1 - y, x }
		w, h = h, w
	}
	r := raw{w, h, make([]uint8, 3*w*h)}
	ycc, _ := img.(*image.YCbCr)
	for y := range h {
		for x := range w {
			u, v := turn(x, y)
			i := 3 * (y*w + x)
			if ycc != nil {
				cr, cg, cb, _ := ycc.YCbCrAt(b.Min.X+u, b.Min.Y+v).RGBA()
				r.rgb[i], r.rgb[i+1], r.rgb[i+2] = uint8(cr>>8), uint8(cg>>8), uint8(cb>>8)
				continue
			}
			cr, cg, cb, _ := img.At(b.Min.X+u, b.Min.Y+v).RGBA()
			r.rgb[i], r.rgb[i+1], r.rgb[i+2] = uint8(cr>>8), uint8(cg>>8), uint8(cb>>8)
		}
	}
	return r
}

// warp brings a photo to a frame, bilinear in linear light.
func (r raw) warp(w, h int, at func(x, y float64) (float64, float64)) *plane.Image {
	var lin [256]float32
	for i := range lin {
		lin[i] = float32(colour.Decode(float64(i) / 255))
	}
	img := plane.New(w, h)
	for y := range h {
		for x := range w {
			i := y*w + x
			u, v := at(float64(x), float64(y))
			if u < 0 || v < 0 || u >= float64(r.w-1) || v >= float64(r.h-1) {
				img.Flags[i] = plane.Outside
				continue
			}
			x0, y0 := int(u), int(v)
			fu, fv := float32(u-float64(x0)), float32(v-float64(y0))
			for k, wt := range [4]float32{(1 - fu) * (1 - fv), fu * (1 - fv), (1 - fu) * fv, fu * fv} {
				j := 3 * ((y0+k/2)*r.w + x0 + k%2)
				for c := range 3 {
					q := r.rgb[j+c]
					if q >= 254 {
						img.Flags[i] |= plane.High
					}
					if q <= 1 {
						img.Flags[i] |= plane.Low
					}
					img.RGB[3*i+c] += wt * lin[q]
				}
			}
		}
	}
	return img
}

// shapes reads the polygons of a class from a plain regions SVG.
func shapes(t *testing.T, path, class string) (out []plane.Region) {
	t.Helper()
	f, err := os.Open(path)
	require.NoError(t, err)
	defer f.Close()
	d := xml.NewDecoder(f)
	for {
		tok, err := d.Token()
		if errors.Is(err, io.EOF) {
			return out
		}
		require.NoError(t, err)
		e, ok := tok.(xml.StartElement)
		if !ok {
			continue
		}
		attr := map[string]string{}
		for _, a := range e.Attr {
			attr[a.Name.Local] = a.Value
		}
		if attr["class"] != class || attr["points"] == "" {
			continue
		}
		var ring []plane.Point
		for _, p := range strings.Fields(attr["points"]) {
			x, y, ok := strings.Cut(p, ",")
			require.True(t, ok)
			px, err := strconv.ParseFloat(x, 64)
			require.NoError(t, err)
			py, err := strconv.ParseFloat(y, 64)
			require.NoError(t, err)
			ring = append(ring, plane.Point{X: px, Y: py})
		}
		out = append(out, plane.Region{ID: attr["id"], Rings: [][]plane.Point{ring}})
	}
}

// cancel brings a photo to the reference's light by one gain a channel, the median over the controls.
func cancel(ref, img *plane.Image, controls []plane.Region, f plane.Frame) {
	var r [3][]float64
	for _, c := range controls {
		for _, i := range plane.Fill(c, f) {
			if (img.Flags[i] | ref.Flags[i]) != 0 {
				continue
			}
			for k := range r {
				r[k] = append(r[k], float64(ref.RGB[3*i+int32(k)])/math.Max(1e-4, float64(img.RGB[3*i+int32(k)])))
			}
		}
	}
	for k := range r {
		if len(r[k]) == 0 {
			continue
		}
		g := float32(median(r[k]))
		for i := k; i < len(img.RGB); i += 3 {
			img.RGB[i] *= g
		}
	}
}

// TestRealLightOnly reads real photographs of blocks on which nothing of a tile's size changed: within one visit only the
// lamp moved, between the visits crumbs fell (W. Feng et al., Fine-grained change detection of misaligned scenes with
// varied illuminations, ICCV 2015). No tile may be called missing or another.
func TestRealLightOnly(t *testing.T) {
	for _, set := range []string{"db-1", "db-6", "db-9"} {
		t.Run(set, func(t *testing.T) {
			dir := sharedDir(t, "realdata", "fgcd", set)
			first := decode(t, filepath.Join(dir, "visit1_light1.jpg"), 1)
			f := plane.FrameOf(first.w, first.h)
			ref := first.warp(first.w, first.h, func(x, y float64) (float64, float64) { return x, y })
			svg := filepath.Join(dir, "regions_visit1_light1.svg")
			tiles := shapes(t, svg, "tile")
			require.NotEmpty(t, tiles)
			s := New(Input{W: ref.W, H: ref.H, Ref: ref, Labels: plane.Label(tiles, f), N: len(tiles)})
			b, err := os.ReadFile(filepath.Join(dir, "H_1_2_derived.txt"))
			require.NoError(t, err)
			var m []float64
			for _, w := range strings.Fields(string(b)) {
				v, err := strconv.ParseFloat(w, 64)
				require.NoError(t, err)
				m = append(m, v)
			}
			require.Len(t, m, 9)
			files, err := filepath.Glob(filepath.Join(dir, "visit*.jpg"))
			require.NoError(t, err)
			var ev [][]Evidence
			for _, file := range files {
				at := func(x, y float64) (float64, float64) { return x, y }
				if strings.HasPrefix(filepath.Base(file), "visit2") {
					at = func(x, y float64) (float64, float64) {
						w := m[6]*x + m[7]*y + m[8]
						return (m[0]*x + m[1]*y + m[2]) / w, (m[3]*x + m[4]*y + m[5]) / w
					}
				}
				img := decode(t, file, 1).warp(ref.W, ref.H, at)
				cancel(ref, img, shapes(t, svg, "control"), f)
				ev = append(ev, s.Evidence(img))
			}
			present, all := 0, 0
			for p, calls := range s.Decide(ev) {
				for k, c := range calls {
					all++
					if c.State == Present {
						present++
					}
					if c.State == Missing || c.State == OffPalette {
						t.Errorf("%s tile %d: %+v", filepath.Base(files[p]), k, c)
					}
				}
			}
			t.Logf("%d of %d tiles read in %d photos", present, all, len(files))
			if float64(present) < 0.5*float64(all) {
				t.Errorf("only %d of %d tiles read", present, all)
			}
		})
	}
}

// sceneTruth is what the tests need of a rendered scene's truth.
type sceneTruth struct {
	Views []struct {
		ID            string
		Reference     string
		Width, Height int
		Tiles         struct {
			ID      []string
			Zone    []*string
			Polygon [][][2]float64
		}
	}
	Photos []struct {
		File, View, Role string
		NoChange         *string `json:"no_change_since"`
		Orientation      int     `json:"exif_orientation"`
		Map              struct{ Ref, Photo [][2]float64 }
		Tiles            struct {
			State    []string
			InFrame  []float64 `json:"in_frame"`
			Unhidden []float64
		}
	}
}

// smooth fits photo positions as polynomials of degree n over the frame, by least squares.
func smooth(ref, photo [][2]float64, w, h float64, n int) func(x, y float64) (float64, float64) {
	basis := func(x, y float64) (v []float64) {
		x, y = math.Max(-1, math.Min(1, 2*x/w-1)), math.Max(-1, math.Min(1, 2*y/h-1))
		p := 1.0
		for i := 0; i <= n; i++ {
			q := p
			for j := 0; i+j <= n; j++ {
				v = append(v, q)
				q *= y
			}
			p *= x
		}
		return v
	}
	m := len(basis(0, 0))
	a := make([][]float64, m)
	for i := range a {
		a[i] = make([]float64, m+2)
	}
	for k := range ref {
		v := basis(ref[k][0], ref[k][1])
		for i := range v {
			for j := range v {
				a[i][j] += v[i] * v[j]
			}
			a[i][m] += v[i] * photo[k][0]
			a[i][m+1] += v[i] * photo[k][1]
		}
	}
	for i := range a {
		p := i
		for r := i; r < m; r++ {
			if math.Abs(a[r][i]) > math.Abs(a[p][i]) {
				p = r
			}
		}
		a[i], a[p] = a[p], a[i]
		for r := range a {
			if r != i {
				q := a[r][i] / a[i][i]
				for c := i; c < m+2; c++ {
					a[r][c] -= q * a[i][c]
				}
			}
		}
	}
	return func(x, y float64) (u, v float64) {
		for i, b := range basis(x, y) {
			u += b * a[i][m] / a[i][i]
			v += b * a[i][m+1] / a[i][i]
		}
		return u, v
	}
}

// TestScene reads a rendered scene by its true mapping: two views, five visits in sun, shade and rain, with scale, dirt,
// losses, replacements, a plant and a sign in front.
func TestScene(t *testing.T) {
	dir := sharedDir(t, "scenes", "school-basin")
	b, err := os.ReadFile(filepath.Join(dir, "truth.json"))
	require.NoError(t, err)
	var truth sceneTruth
	require.NoError(t, json.Unmarshal(b, &truth))
	hits, found, all := map[string]int{}, map[string]int{}, map[string]int{}
	stated, readable := 0, 0
	for _, v := range truth.Views {
		f := plane.FrameOf(v.Width, v.Height)
		require.Equal(t, 1, f.K)
		same := func(x, y float64) (float64, float64) { return x, y }
		ref := decode(t, filepath.Join(dir, v.Reference), 1).warp(v.Width, v.Height, same)
		var tiles []plane.Region
		for _, p := range v.Tiles.Polygon {
			var ring []plane.Point
			for _, q := range p {
				ring = append(ring, plane.Point{X: q[0], Y: q[1]})
			}
			tiles = append(tiles, plane.Region{Rings: [][]plane.Point{ring}})
		}
		controls := shapes(t, filepath.Join(dir, "regions", v.ID+".svg"), "control")
		require.NotEmpty(t, controls)
		s := New(Input{W: ref.W, H: ref.H, Ref: ref, Labels: plane.Label(tiles, f), N: len(tiles)})
		var ev [][]Evidence
		var of []int
		for i, p := range truth.Photos {
			if p.View != v.ID || p.Role != "visit" {
				continue
			}
			img := decode(t, filepath.Join(dir, p.File), p.Orientation).warp(ref.W, ref.H, smooth(p.Map.Ref, p.Map.Photo, float64(ref.W), float64(ref.H), 7))
			cancel(ref, img, controls, f)
			ev, of = append(ev, s.Evidence(img)), append(of, i)
		}
		for i, calls := range s.Decide(ev) {
			p := truth.Photos[of[i]]
			for k, c := range calls {
				if v.Tiles.Zone[k] == nil {
					continue
				}
				want, lost := p.Tiles.State[k], c.State == Missing || c.State == OffPalette
				if lost {
					found[c.State]++
					if want == c.State {
						hits[c.State]++
					}
					if want == Hidden {
						t.Errorf("%s tile %s: hidden called %+v", p.File, v.Tiles.ID[k], c)
					}
					if p.NoChange != nil && *p.NoChange == "reference" {
						t.Errorf("%s tile %s: nothing changed, called %+v", p.File, v.Tiles.ID[k], c)
					}
				}
				if want == Missing || want == OffPalette {
					all[want]++
				}
				if want != Hidden && want != Outside {
					readable++
					if slices.Contains([]string{Present, Missing, OffPalette}, c.State) {
						stated++
					}
				}
			}
		}
	}
	for _, st := range []string{Missing, OffPalette} {
		t.Logf("%s: %d of %d found, %d called so", st, hits[st], all[st], found[st])
		require.NotZero(t, all[st])
		// what is found is asked to be right first: three of the replaced tiles got a glaze near their own
		if r := float64(hits[st]) / float64(all[st]); r < map[string]float64{Missing: 0.85, OffPalette: 0.65}[st] {
			t.Errorf("%s: recall %.2f", st, r)
		}
		if p := float64(hits[st]) / float64(max(1, found[st])); p < 0.9 {
			t.Errorf("%s: precision %.2f", st, p)
		}
	}
	t.Logf("%d of %d tiles given a state", stated, readable)
	if float64(stated) < 0.95*float64(readable) {
		t.Errorf("%d of %d tiles given a state", stated, readable)
	}
}
