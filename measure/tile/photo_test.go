package tile

import (
	"encoding/xml"
	"errors"
	"image"
	"image/jpeg"
	"io"
	"math"
	"os"
	"path/filepath"
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
