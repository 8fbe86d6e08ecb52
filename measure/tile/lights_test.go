package tile

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestCastShadows lays the bluish shade of bars and leaves, narrower than a tile or wider, over a wall with gaps and another
// glaze in it, and tells the shade's colour: gaps stay gaps, nothing else is lost.
func TestCastShadows(t *testing.T) {
	deep := [3]float32{0.13, 0.22, 0.5}
	shade := [][3]float64{{0.13, 0.22, 0.5}, {0.22, 0.32, 0.59}, {0.36, 0.47, 0.71}, {0.6, 0.69, 0.84}}
	gone, other := []int{12, 33, 48, 66}, 41
	for _, tt := range []struct {
		name string
		at   func(p *wall) func(x, y int) bool
	}{
		{"bars narrower than a tile", func(*wall) func(x, y int) bool { return func(x, y int) bool { return (x+y/2)%90 < 22 } }},
		{"bars wider than a tile", func(*wall) func(x, y int) bool { return func(x, y int) bool { return (x+y/2)%190 < 60 } }},
		{"half the wall", func(p *wall) func(x, y int) bool { return func(x, y int) bool { return 3*x+y < p.w*2 } }},
	} {
		t.Run(tt.name, func(t *testing.T) {
			ref := newWall(3, 10, 8, 36, 31)
			p := ref.photo()
			for _, k := range gone {
				p.lose(k)
			}
			p.replace(other, 55, 45, 20)
			for k := range ref.cols * ref.rows {
				if slices.Contains(gone, k) {
					p.renew(ref, k, 0.6)
				}
			}
			p.light(deep, tt.at(p))
			p.blur()
			p.grain(0.003)
			s := New(ref.input())
			found := 0
			for k, c := range s.Decide([][]Evidence{s.Evidence(p.img, shade...)})[0] {
				switch {
				case k == other:
					assert.NotEqual(t, Missing, c.State, "tile %d: %+v", k, c)
				case c.State == OffPalette:
					t.Errorf("tile %d: %+v", k, c)
				case c.State == Missing:
					assert.Contains(t, gone, k, "%+v", c)
					found++
				}
			}
			assert.GreaterOrEqual(t, found, len(gone)-1)
		})
	}
}

// renew whitens the joint around a tile by an opacity: scale beside a gap, or fresh mortar.
func (w *wall) renew(ref *wall, t int, alpha float32) {
	x, y := w.x0+t%w.cols*w.pitch, w.x0+t/w.cols*w.pitch
	gap := w.pitch - w.tile
	for v := y - gap; v < y+w.tile+gap; v++ {
		for u := x - gap; u < x+w.tile+gap; u++ {
			if i := v*w.w + u; w.labels[i] < 0 {
				for c := range 3 {
					w.img.RGB[3*i+c] = (1-alpha)*ref.img.RGB[3*i+c] + alpha*float32(chalk[c])
				}
			}
		}
	}
}

// turn changes a tile by a factor a channel.
func (w *wall) turn(t int, f [3]float32) {
	w.each(t, func(i, _, _ int) {
		for c := range f {
			w.img.RGB[3*i+c] *= f[c]
		}
	})
}

// TestOneGlazeFadesAlike: what befalls all tiles of a glaze, wherever they are, is fade, however strong; what befalls one of
// them is not.
func TestOneGlazeFadesAlike(t *testing.T) {
	ref := newWall(7, 12, 10, 36, 31)
	spread := []int{14, 17, 21, 50, 54, 58, 86, 89, 94}
	for _, k := range spread {
		ref.replace(k, 68, -19, 37)
	}
	for _, tt := range []struct {
		name string
		f    [3]float32
	}{
		{"its yellow gone", [3]float32{0.62, 0.95, 1.5}},
		{"its red gone", [3]float32{0.55, 1, 1.1}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			all, one := ref.photo(), ref.photo()
			for _, k := range spread {
				all.turn(k, tt.f)
			}
			one.turn(54, tt.f)
			n, lost := count(states(t, ref, all))
			assert.Empty(t, lost, "%v", n)
			_, lost = count(states(t, ref, one))
			assert.Equal(t, []int{54}, lost)
		})
	}
}

// TestEvenScaleEndsAtNoOutline: a tile that scale could have made so evenly pale, with a joint less pale, is another one;
// scale in streaks over tile and joints is not.
func TestEvenScaleEndsAtNoOutline(t *testing.T) {
	ref := newWall(5, 10, 8, 36, 31)
	s := New(ref.input())
	for alpha, joint := range map[float32]float32{0.6: 0.15, 0.75: 0.25} {
		for _, k := range []int{21, 40, 54, 68} {
			p, q := ref.photo(), ref.photo()
			var mean [3]float32
			n := float32(0)
			p.each(k, func(i, _, _ int) {
				for c := range mean {
					mean[c] += p.img.RGB[3*i+c]
				}
				n++
			})
			p.each(k, func(i, u, v int) {
				for c := range mean {
					p.img.RGB[3*i+c] = ((1-alpha)*mean[c]/n + alpha*float32(chalk[c])) * float32(1+0.02*math.Sin(1+float64(u+v)*0.3))
				}
			})
			x := ref.x0 + k%ref.cols*ref.pitch
			p.renew(ref, k, joint)
			q.scale(x-6, x+ref.tile+6, float64(alpha)*1.6)
			p.grain(0.002)
			q.grain(0.002)
			a := s.Evidence(p.img)
			require.Greater(t, a[k].Thin, 0.4, "tile %d", k)
			assert.Equal(t, OffPalette, s.Decide([][]Evidence{a})[0][k].State, "tile %d, opacity %v: %+v", k, alpha, a[k])
			c := s.Decide([][]Evidence{s.Evidence(q.img)})[0][k]
			assert.NotContains(t, []string{Missing, OffPalette}, c.State, "tile %d, opacity %v: %+v", k, alpha, c)
		}
	}
}

// TestOutlineInColour: another glaze as bright as the joint still has its outline, a grey thing in front has none.
func TestOutlineInColour(t *testing.T) {
	ref := newWall(9, 10, 8, 36, 31)
	s := New(ref.input())
	p := ref.photo()
	const k = 34
	p.replace(k, 48, 40, 55)
	assert.Greater(t, s.Evidence(p.img)[k].Outline, 0.2)
	p = ref.photo()
	x, y := ref.x0+k%ref.cols*ref.pitch, ref.x0+k/ref.cols*ref.pitch
	p.cover(x-20, y-20, x+60, y+60, linear(40, -25, 20))
	assert.Less(t, s.Evidence(p.img)[k].Outline, 0.1)
}

// TestWhitenedTilesAreNoLight: a tile replaced by a lighter shade of its own colour stands among scaled ones, which are
// lighter too; they tell nothing of the light.
func TestWhitenedTilesAreNoLight(t *testing.T) {
	ref := newWall(13, 10, 8, 36, 31)
	s := New(ref.input())
	p := ref.photo()
	p.scale(0, p.w/2, 0.6)
	const k = 33 // green
	p.replace(k, 73, -36, 16)
	c := s.Decide([][]Evidence{s.Evidence(p.img)})[0]
	assert.Equal(t, OffPalette, c[k].State, "%+v", c[k])
	_, lost := count(c)
	assert.Equal(t, []int{k}, lost)
}
