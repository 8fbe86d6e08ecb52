package resample

import (
	"math"
	"math/rand"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tilelapse/measure/plane"
	"tilelapse/pipeline/intake"
)

// photo is a picture of w x h px with the sRGB curve (IEC 61966-2-1) and the given samples.
func photo(w, h int, at func(x, y, c int) uint8) *intake.Picture {
	p := &intake.Picture{W: w, H: h, Pix: make([]uint8, 3*w*h), Matrix: [9]float32{1, 0, 0, 0, 1, 0, 0, 0, 1}}
	t := make([]float32, 256)
	for i := range t {
		t[i] = float32(srgb(float64(i) / 255))
	}
	p.Curve = [3][]float32{t, t, t}
	for y := range h {
		for x := range w {
			for c := range 3 {
				p.Pix[3*(y*w+x)+c] = at(x, y, c)
			}
		}
	}
	return p
}

func srgb(v float64) float64 {
	if v <= 0.04045 {
		return v / 12.92
	}
	return math.Pow((v+0.055)/1.055, 2.4)
}

func identity(x, y float64) (float64, float64) { return x, y }

func noisy(w, h int) *intake.Picture {
	r := rand.New(rand.NewSource(3))
	return photo(w, h, func(int, int, int) uint8 { return uint8(10 + r.Intn(230)) })
}

// TestOwnReference: a photo on its own frame at k = 1 is its own linear light, pixel by pixel.
func TestOwnReference(t *testing.T) {
	p := noisy(37, 23)
	got := Onto(p, plane.Frame{RefW: 37, RefH: 23, K: 1}, identity)
	require.Equal(t, [2]int{37, 23}, [2]int{got.W, got.H})
	for y := range 23 {
		for x := range 37 {
			want := p.Linear(x, y)
			for c := range 3 {
				assert.InDelta(t, want[c], got.RGB[3*(y*37+x)+c], 1e-5)
			}
			assert.Zero(t, got.Flags[y*37+x])
		}
	}
}

// TestReducedIsTheMeanOfLight: at k = 3 a measuring px is the mean of 9 px in linear light, not of their codes.
func TestReducedIsTheMeanOfLight(t *testing.T) {
	p := noisy(50, 41) // remainders of 2 px on either side are left out
	got := Onto(p, plane.Frame{RefW: 50, RefH: 41, K: 3}, identity)
	require.Equal(t, [2]int{16, 13}, [2]int{got.W, got.H})
	for y := range 13 {
		for x := range 16 {
			var want [3]float64
			for i := range 9 {
				v := p.Linear(3*x+i%3, 3*y+i/3)
				for c := range 3 {
					want[c] += float64(v[c]) / 9
				}
			}
			for c := range 3 {
				assert.InDelta(t, want[c], got.RGB[3*(y*16+x)+c], 1e-5)
			}
		}
	}
}

// TestHalfPixel: between two pixels is the mean of their light.
func TestHalfPixel(t *testing.T) {
	p := photo(9, 9, func(x, y, c int) uint8 { return uint8(20 + 20*x) })
	got := Onto(p, plane.Frame{RefW: 8, RefH: 8, K: 1}, func(x, y float64) (float64, float64) { return x + 0.5, y + 0.5 })
	for x := range 8 {
		want := (srgb(float64(20+20*x)/255) + srgb(float64(40+20*x)/255)) / 2
		assert.InDelta(t, want, got.RGB[3*x], 1e-5)
	}
}

// TestFinerPhotoIsAveraged: where the photo is finer than the reference the area counts, not a point in it.
func TestFinerPhotoIsAveraged(t *testing.T) {
	for _, m := range []int{2, 3, 5} {
		p := noisy(24*m, 16*m)
		got := Onto(p, plane.Frame{RefW: 24, RefH: 16, K: 1}, func(x, y float64) (float64, float64) {
			return float64(m)*(x+0.5) - 0.5, float64(m)*(y+0.5) - 0.5
		})
		var sum, want float64
		for y := range 16 {
			for x := range 24 {
				var mean float64
				for i := range m * m {
					mean += float64(p.Linear(m*x+i%m, m*y+i/m)[1]) / float64(m*m)
				}
				assert.InDelta(t, mean, got.RGB[3*(y*24+x)+1], 1e-5, "m %d", m)
				sum, want = sum+float64(got.RGB[3*(y*24+x)+1]), want+mean
			}
		}
		assert.InDelta(t, want, sum, 1e-3)
	}
}

// TestLinearPictureIsExact: a picture whose light is a slope comes out as that slope under a turn, a scale and k.
func TestLinearPictureIsExact(t *testing.T) {
	p := photo(400, 300, func(x, y, c int) uint8 { return 0 })
	p.Pix, p.Pix16 = nil, make([]uint16, 3*400*300)
	line := make([]float32, 65536)
	for i := range line {
		line[i] = float32(i) / 65535
	}
	p.Curve = [3][]float32{line, line, line}
	for y := range 300 {
		for x := range 400 {
			for c := range 3 {
				p.Pix16[3*(y*400+x)+c] = uint16(5000 + 100*x + 50*y + 1000*c)
			}
		}
	}
	f := plane.Frame{RefW: 300, RefH: 220, K: 2}
	// A perspective with a turn: photo_from_ref.
	mapping := func(x, y float64) (float64, float64) {
		w := 1 + 2e-4*x + 1e-4*y
		return (1.05*x + 0.08*y + 12) / w, (-0.06*x + 1.02*y + 30) / w
	}
	got := Onto(p, f, mapping)
	for y := range got.H {
		for x := range got.W {
			var px, py float64
			for i := range 4 { // the mean over the four reference px
				a, b := mapping(2*float64(x)+float64(i%2), 2*float64(y)+float64(i/2))
				px, py = px+a/4, py+b/4
			}
			require.Zero(t, got.Flags[y*got.W+x])
			assert.InDelta(t, (5000+100*px+50*py)/65535, got.RGB[3*(y*got.W+x)], 0.3*100/65535.0*0.1, "%d,%d", x, y)
		}
	}
}

// TestFlags: each flag where it belongs and nowhere else.
func TestFlags(t *testing.T) {
	p := photo(40, 30, func(x, y, c int) uint8 {
		switch {
		case x == 10 && y == 10 && c == 2:
			return 2
		case x == 20 && y == 10 && c == 0:
			return 253
		case x == 30 && y == 10:
			return 3 + 249*uint8(c%2) // 3 and 252 are readable
		}
		return 100
	})
	got := Onto(p, plane.Frame{RefW: 40, RefH: 30, K: 1}, identity)
	for y := range 30 {
		for x := range 40 {
			want := uint8(0)
			switch {
			case x == 10 && y == 10:
				want = plane.Low
			case x == 20 && y == 10:
				want = plane.HighR
			}
			assert.Equal(t, want, got.Flags[y*40+x], "%d,%d", x, y)
		}
	}
	// Shifted by half a px all that take part count.
	got = Onto(p, plane.Frame{RefW: 39, RefH: 29, K: 1}, func(x, y float64) (float64, float64) { return x + 0.5, y + 0.5 })
	for _, at := range [][2]int{{9, 9}, {10, 9}, {9, 10}, {10, 10}} {
		assert.Equal(t, plane.Low, got.Flags[at[1]*39+at[0]])
	}
	assert.Zero(t, got.Flags[8*39+9])
	// In 16 bits the ends are the same share of the range.
	for _, c := range []struct {
		code uint16
		want uint8
	}{{514, plane.Low}, {515, 0}, {65020, 0}, {65021, plane.High}} {
		deep := &intake.Picture{W: 8, H: 8, Pix16: make([]uint16, 192), Matrix: p.Matrix}
		for i := range deep.Curve {
			deep.Curve[i] = make([]float32, 65536)
		}
		for i := range deep.Pix16 {
			deep.Pix16[i] = c.code
		}
		assert.Equal(t, c.want, Onto(deep, plane.Frame{RefW: 8, RefH: 8, K: 1}, identity).Flags[0], "%d", c.code)
	}
}

// TestOutside: a frame wider than the photo is outside just where the photo ends.
func TestOutside(t *testing.T) {
	p := photo(30, 20, func(x, y, c int) uint8 { return 100 })
	got := Onto(p, plane.Frame{RefW: 50, RefH: 40, K: 1}, func(x, y float64) (float64, float64) { return x - 10, y - 10 })
	for y := range 40 {
		for x := range 50 {
			in := x >= 10 && x < 40 && y >= 10 && y < 30
			assert.Equal(t, in, got.Flags[y*50+x] == 0, "%d,%d", x, y)
			assert.Equal(t, !in, got.Flags[y*50+x] == plane.Outside)
			if !in {
				assert.Zero(t, got.RGB[3*(y*50+x)])
			}
		}
	}
	// At k = 2 one reference px out of four is enough.
	got = Onto(p, plane.Frame{RefW: 30, RefH: 20, K: 2}, func(x, y float64) (float64, float64) { return x + 1, y })
	assert.Equal(t, plane.Outside, got.Flags[14])
	assert.Zero(t, got.Flags[13])
	// A mapping that has no answer is outside.
	got = Onto(p, plane.Frame{RefW: 30, RefH: 20, K: 1}, func(x, y float64) (float64, float64) {
		if x > 15 {
			return math.NaN(), math.Inf(1)
		}
		return x, y
	})
	assert.Zero(t, got.Flags[0])
	assert.Equal(t, plane.Outside, got.Flags[29])
}

// TestMappingIsAskedWithinTheFrame: a mapping may have no answer beyond the reference.
func TestMappingIsAskedWithinTheFrame(t *testing.T) {
	p := photo(21, 13, func(x, y, c int) uint8 { return 100 })
	got := Onto(p, plane.Frame{RefW: 21, RefH: 13, K: 1}, func(x, y float64) (float64, float64) {
		require.True(t, x >= -0.5 && x <= 20.5 && y >= -0.5 && y <= 12.5, "%g,%g", x, y)
		return x, y
	})
	for i := range got.Flags {
		assert.Zero(t, got.Flags[i])
	}
}

// TestMatrixIsApplied: colours outside sRGB go below 0.
func TestMatrixIsApplied(t *testing.T) {
	p := photo(8, 8, func(x, y, c int) uint8 { return []uint8{10, 250, 10}[c] })
	p.Matrix = [9]float32{1.2249, -0.2247, 0, -0.0420, 1.0419, 0, -0.0197, -0.0786, 1.0979} // Display P3 to sRGB, rounded
	got := Onto(p, plane.Frame{RefW: 8, RefH: 8, K: 1}, identity)
	want := p.Linear(3, 3)
	for c := range 3 {
		assert.InDelta(t, want[c], got.RGB[3*27+c], 1e-6)
	}
	assert.Negative(t, got.RGB[0])
}

// TestLatticeIsFineEnough compares positions between lattice nodes with the mapping itself, for a strong perspective
// over a large frame.
func TestLatticeIsFineEnough(t *testing.T) {
	f := plane.Frame{RefW: 4000, RefH: 3000, K: 2}
	w, h := f.Size()
	// The right side is half as high in the photo as the left one.
	mapping := func(x, y float64) (float64, float64) {
		d := 1 + x/4000
		return 1.2 * x / d, (y + 0.4*x) / d
	}
	l := newLattice(w, h, f, mapping)
	worst := 0.0
	for j := 0; j < l.ny-1; j += 7 {
		for i := 0; i < l.nx-1; i += 3 {
			cx, cy := l.cell(i, j)
			for _, u := range []float64{0.25, 0.5, 0.75} {
				px := (cx[0]+cx[1]+cx[2]+cx[3])/4 + (u-0.5)*(cx[1]+cx[3]-cx[0]-cx[2])/2
				py := (cy[0]+cy[1]+cy[2]+cy[3])/4 + (u-0.5)*(cy[1]+cy[3]-cy[0]-cy[2])/2
				x, y := f.Ref((float64(i)+u)*step-0.5, (float64(j)+0.5)*step-0.5)
				qx, qy := mapping(x, y)
				worst = max(worst, math.Hypot(px-qx, py-qy))
			}
		}
	}
	t.Logf("worst %.4f px", worst)
	assert.Less(t, worst, 0.01)
}

func TestSameBytesAgain(t *testing.T) {
	p := noisy(200, 150)
	f := plane.Frame{RefW: 200, RefH: 150, K: 2}
	m := func(x, y float64) (float64, float64) { return 0.97*x + 0.1*y, 0.97*y - 0.1*x + 15 }
	assert.Equal(t, Onto(p, f, m), Onto(p, f, m))
}
