package moving

import (
	"math"
	"math/rand"
	"testing"

	"github.com/stretchr/testify/assert"

	"tilelapse/measure/plane"
)

const side = 240

// wall is a tiled surface with joints and noise, seen under a gain that slopes over the frame, shifted by dx px.
func wall(seed int64, gain, dx float64) *plane.Image {
	rng := rand.New(rand.NewSource(seed))
	im := plane.New(side, side)
	for y := range side {
		for x := range side {
			fx, fy := math.Mod(float64(x)+dx+500, 24), math.Mod(float64(y)+500, 24)
			v := 0.25 + 0.1*math.Sin(math.Floor((float64(x)+dx+500)/24)*3+math.Floor(float64(y)/24)*5)
			// joints with soft edges, as a lens gives them
			edge := math.Min(math.Min(fx, 24-fx), math.Min(fy, 24-fy))
			v = v + (0.5-v)/(1+math.Exp(2*(edge-2)))
			v *= gain * (1 + 0.3*float64(x)/side) * (1 + 0.02*rng.NormFloat64())
			for c := range 3 {
				im.RGB[3*(y*side+x)+c] = float32(v)
			}
		}
	}
	return im
}

func put(im *plane.Image, x0, y0, x1, y1 int, v float32) {
	for y := y0; y < y1; y++ {
		for x := x0; x < x1; x++ {
			for c := range 3 {
				im.RGB[3*(y*side+x)+c] = v
			}
		}
	}
}

func marked(im *plane.Image, x0, y0, x1, y1 int) float64 {
	n := 0
	for y := y0; y < y1; y++ {
		for x := x0; x < x1; x++ {
			if im.Flags[y*side+x]&plane.Moving != 0 {
				n++
			}
		}
	}
	return float64(n) / float64((x1-x0)*(y1-y0))
}

func TestWhatStandsStillIsNotMarked(t *testing.T) {
	for _, c := range []struct {
		name     string
		gain, dx float64
	}{{"same light", 1, 0}, {"a cloud in between", 0.6, 0}, {"half a pixel off", 1, 0.5}, {"darker and a pixel off", 0.8, 1}} {
		a, b := wall(1, 1, 0), wall(2, c.gain, c.dx)
		share, ok := Mark(a, b)
		assert.True(t, ok, c.name)
		assert.Less(t, share, 0.002, c.name)
	}
}

func TestAPersonIsMarkedWhicheverFrameShowsThem(t *testing.T) {
	for _, swap := range []bool{false, true} {
		im, other := wall(1, 1, 0), wall(2, 0.9, 0.3)
		put(other, 100, 60, 140, 180, 0.04)
		if swap {
			im, other = other, im
		}
		_, ok := Mark(im, other)
		assert.True(t, ok)
		assert.Zero(t, marked(other, 0, 0, side, side), "the witness is only looked at")
		assert.Greater(t, marked(im, 102, 62, 138, 178), 0.95)
		assert.Less(t, marked(im, 0, 0, 90, side), 0.01)
		assert.Less(t, marked(im, 150, 0, side, side), 0.01)
	}
}

func TestFlickeringFoamIsMarked(t *testing.T) {
	a, b := wall(1, 1, 0), wall(2, 1, 0)
	rng := rand.New(rand.NewSource(3))
	for _, im := range []*plane.Image{a, b} {
		for y := 150; y < 210; y += 6 {
			for x := 20; x < 220; x += 6 {
				put(im, x, y, x+6, y+6, float32(0.2+0.7*rng.Float64()))
			}
		}
	}
	_, ok := Mark(a, b)
	assert.True(t, ok)
	assert.Greater(t, marked(a, 24, 154, 216, 206), 0.5, "at least half of it, in two frames only")
	assert.Less(t, marked(a, 0, 0, side, 140), 0.01)
}

func TestAnotherSceneMarksNothing(t *testing.T) {
	a, b := wall(1, 1, 0), wall(2, 1, 0)
	rng := rand.New(rand.NewSource(4))
	for y := 0; y < side; y += 12 {
		for x := 0; x < side; x += 12 {
			put(b, x, y, x+12, y+12, float32(math.Exp(3*rng.NormFloat64())/10))
		}
	}
	share, ok := Mark(a, b)
	assert.False(t, ok, "%.2f of the frame differs", share)
	assert.Zero(t, marked(a, 0, 0, side, side))
	c := plane.New(10, 10)
	_, ok = Mark(a, c)
	assert.False(t, ok, "another frame")
}

func TestOutOfFrameAndClippedPixelsAreNotCompared(t *testing.T) {
	a, b := wall(1, 1, 0), wall(2, 1, 0)
	put(b, 0, 0, 60, 60, 1)
	for y := range 60 {
		for x := range 60 {
			b.Flags[y*side+x] |= plane.High
		}
	}
	_, ok := Mark(a, b)
	assert.True(t, ok)
	assert.Zero(t, marked(a, 0, 0, 50, 50))
}
