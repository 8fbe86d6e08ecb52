package register

import (
	"context"
	"encoding/json"
	"image"
	"image/color"
	"math"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var (
	madeOnce sync.Once
	madeRef  *Reference
)

func mosaicRef(t testing.TB) *Reference {
	madeOnce.Do(func() {
		var err error
		madeRef, err = NewReference("wall", front(mosaic).shoot(), DefaultOptions())
		require.NoError(t, err)
	})
	return madeRef
}

func align(refs []*Reference, g *image.Gray, hint string) Result {
	return Align(context.Background(), refs, g, hint, DefaultOptions())
}

func TestHonestPhotosAlign(t *testing.T) {
	ref := mosaicRef(t)
	for _, tc := range []struct {
		name string
		edit func(c *camera)
		tol  float64 // px RMS of the reference
	}{
		{"from aside", func(c *camera) {}, .2},
		{"darker, light from one side", func(c *camera) { c.gain, c.shade = .6, .5 }, .3},
		{"lens that bends", func(c *camera) { c.k = .03 }, .3},
		{"noisy", func(c *camera) { c.noise = 8 }, .4},
		{"whitened", func(c *camera) { c.white = .4 }, .6},
		{"upside down", func(c *camera) { c.h3 = mat3{-1, 0, 815, 0, -1, 611, 0, 0, 1} }, .2},
		{"a quarter of it, close", func(c *camera) { c.h3 = mat3{2, .02, -300, -.01, 2.05, -350, 1e-5, 0, 1} }, .3},
		{"small", func(c *camera) { c.w, c.h = 408, 306; c.h3 = mat3{.48, .01, 8, 0, .47, 10, 0, 0, 1} }, .6},
		{"a little out of focus", func(c *camera) { c.blur = 1 }, .4},
	} {
		t.Run(tc.name, func(t *testing.T) {
			c := tilted(mosaic)
			tc.edit(&c)
			r := align([]*Reference{ref}, c.shoot(), "")
			require.True(t, r.Accepted, "%s: %s", r.Reason, r.Detail)
			require.NoError(t, r.Mapping.Valid())
			e := rms(trueErrors(r.Mapping, c, ref))
			assert.Less(t, e, tc.tol)
			assert.GreaterOrEqual(t, r.RMSPx, e/3, "the residual told must not be under a third of the true error")
			assert.InDelta(t, 100*r.Mapping.Overlap(ref.W, ref.H, c.w, c.h), r.OverlapPct, 1e-9)
		})
	}
}

func TestOthersAreRefused(t *testing.T) {
	ref := mosaicRef(t)
	grey := image.NewGray(image.Rect(0, 0, 600, 400))
	for i := range grey.Pix {
		grey.Pix[i] = 128
	}
	white := image.NewGray(grey.Rect)
	for i := range white.Pix {
		white.Pix[i] = 255
	}
	// paper is a scanned print with a white margin on all sides.
	paper := func(g *image.Gray, margin float64) *image.Gray {
		b := g.Rect
		for y := b.Min.Y; y < b.Max.Y; y++ {
			for x := b.Min.X; x < b.Max.X; x++ {
				if u, v := float64(x)/float64(b.Dx()), float64(y)/float64(b.Dy()); min(u, 1-u, v, 1-v) < margin {
					g.SetGray(x, y, color.Gray{Y: 255})
				}
			}
		}
		return g
	}
	shoot := func(w wall, edit func(c *camera)) *image.Gray {
		c := tilted(w)
		edit(&c)
		return c.shoot()
	}
	for _, tc := range []struct {
		name string
		g    *image.Gray
		want []Reason
	}{
		{"another wall of the same kind", shoot(other, func(c *camera) {}), []Reason{WrongView, TooFewMatches}},
		{"another wall, straight on", front(other).shoot(), []Reason{WrongView, TooFewMatches}},
		{"mirrored, joints on joints", shoot(mosaic, func(c *camera) { c.h3 = mat3{-1, 0, 815, 0, 1, 0, 0, 0, 1} }), []Reason{WrongView, TooFewMatches, Folded, Repeat}},
		{"nothing in it", grey, []Reason{TooFewMatches, NoTexture}},
		{"out of focus", shoot(mosaic, func(c *camera) { c.blur = 6 }), []Reason{Blurred, TooFewMatches, WrongView}},
		{"burnt out", shoot(mosaic, func(c *camera) { c.offset = 150 }), []Reason{OverExposed}},
		{"burnt out beyond finding its place", shoot(mosaic, func(c *camera) { c.offset = 230 }), []Reason{OverExposed}},
		{"white", white, []Reason{OverExposed}},
		{"a light print on white paper, of another wall", paper(front(other).shoot(), .2), []Reason{WrongView, TooFewMatches}},
		{"black", shoot(mosaic, func(c *camera) { c.offset, c.noise = -150, .4 }), []Reason{UnderExposed}},
		{"tiny", image.NewGray(image.Rect(0, 0, 120, 90)), []Reason{TooSmall}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			r := align([]*Reference{ref}, tc.g, "wall")
			assert.False(t, r.Accepted, "accepted: agree %.2f", r.Agree)
			assert.Contains(t, tc.want, r.Reason, r.Detail)
			assert.NotEmpty(t, r.Detail)
		})
	}
}

func TestViewIsRecognisedWhateverTheHint(t *testing.T) {
	a := mosaicRef(t)
	b, err := NewReference("second", front(other).shoot(), DefaultOptions())
	require.NoError(t, err)
	g := tilted(mosaic).shoot()
	var first []byte
	for _, refs := range [][]*Reference{{a, b}, {b, a}} {
		for _, hint := range []string{"", "wall", "second"} {
			r := align(refs, g, hint)
			require.True(t, r.Accepted)
			assert.Equal(t, "wall", r.View)
			j, err := json.Marshal(r)
			require.NoError(t, err)
			if first == nil {
				first = j
			}
			assert.Equal(t, string(first), string(j), "the same bytes in any order, with any hint")
		}
	}
}

func TestSameBytesSideBySide(t *testing.T) {
	ref := mosaicRef(t)
	g := tilted(mosaic).shoot()
	out := make([]string, 4)
	var wg sync.WaitGroup
	for i := range out {
		wg.Add(1)
		go func() {
			defer wg.Done()
			j, _ := json.Marshal(align([]*Reference{ref}, g, ""))
			out[i] = string(j)
		}()
	}
	wg.Wait()
	for _, o := range out {
		assert.Equal(t, out[0], o)
	}
}

func TestFitOneTileOffIsMovedBack(t *testing.T) {
	ref := mosaicRef(t)
	c := tilted(mosaic)
	s := newSearch(context.Background(), c.shoot(), DefaultOptions())
	for _, d := range [][2]float64{{34, 0}, {0, 34}, {-34, 0}, {0, -68}} {
		off := mul3(c.h3, mat3{1, 0, d[0], 0, 1, d[1], 0, 0, 1})
		r, ok := s.settle(place{ref: ref, guess: guess{h: off, inliers: make([]Pair, 9)}}, "made")
		if !ok || !r.Accepted {
			continue // refused is as good as put right
		}
		assert.Less(t, rms(trueErrors(r.Mapping, c, ref)), .5, "shift %v", d)
	}
}

func TestPureRepeatIsNotPlacedWrongly(t *testing.T) {
	// Tiles all alike: only the rim tells the place. A close-up without the rim fits anywhere and must be refused.
	ref, err := NewReference("grid", front(grids).shoot(), DefaultOptions())
	require.NoError(t, err)
	c := front(grids)
	c.h3 = mat3{2, 0, -500, 0, 2, -400, 0, 0, 1}
	c.seed = 7
	r := align([]*Reference{ref}, c.shoot(), "")
	if r.Accepted {
		assert.Less(t, rms(trueErrors(r.Mapping, c, ref)), 1.0)
	}
	s := newSearch(context.Background(), c.shoot(), DefaultOptions())
	q, ok := s.settle(place{ref: ref, guess: guess{h: c.h3, inliers: make([]Pair, 9)}}, "made")
	require.True(t, ok)
	assert.Contains(t, []Reason{Repeat, WrongView}, q.Reason, "even at the right place it could as well be another: %s", q.Detail)
}

func TestCancelledIsStopped(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	ref := mosaicRef(t)
	r := Align(ctx, []*Reference{ref}, tilted(mosaic).shoot(), "", DefaultOptions())
	assert.Equal(t, Stopped, r.Reason)
	r = Rescue(ctx, ref, []Helper{{Key: "a", Grey: func() *image.Gray { return nil }}}, tilted(mosaic).shoot(), DefaultOptions())
	assert.Equal(t, Stopped, r.Reason)
}

func TestRescueComposes(t *testing.T) {
	ref := mosaicRef(t)
	h := tilted(mosaic)
	h.white, h.whiteSeed = .2, 4
	helper := h.shoot()
	direct := align([]*Reference{ref}, helper, "")
	require.True(t, direct.Accepted)
	c := front(mosaic)
	c.h3 = mat3{1.05, -.03, -10, .02, 1.02, 5, 3e-5, -2e-5, 1}
	c.white, c.whiteSeed, c.seed = .3, 4, 8
	r := Rescue(context.Background(), ref, []Helper{{"k1", func() *image.Gray { return helper }, direct.Mapping}}, c.shoot(), DefaultOptions())
	require.True(t, r.Accepted, "%s %s", r.Reason, r.Detail)
	assert.Equal(t, "rescue:k1 sift", r.Basis)
	assert.Less(t, rms(trueErrors(r.Mapping, c, ref)), .6)
	r = Rescue(context.Background(), ref, []Helper{{"k1", func() *image.Gray { return helper }, direct.Mapping}}, tilted(other).shoot(), DefaultOptions())
	assert.False(t, r.Accepted, "a helper does not make a wrong photo right")
	r = Rescue(context.Background(), ref, nil, c.shoot(), DefaultOptions())
	assert.False(t, r.Accepted)
}

func TestPointsByHand(t *testing.T) {
	ref := mosaicRef(t)
	c := tilted(mosaic)
	pairs := func(off float64) []PointPair {
		var p []PointPair
		for i, q := range [][2]float64{{100, 90}, {700, 80}, {690, 500}, {90, 520}, {400, 300}, {250, 400}, {550, 200}} {
			x, y, _ := apply3(c.h3, q[0], q[1])
			p = append(p, PointPair{x + off*math.Sin(float64(3*i)), y + off*math.Cos(float64(5*i)), q[0], q[1]})
		}
		return p
	}
	g := c.shoot()
	r := FromPoints(ref, pairs(1.5), g, DefaultOptions())
	require.True(t, r.Accepted, r.Detail)
	assert.Equal(t, "points", r.Basis)
	assert.Less(t, rms(trueErrors(r.Mapping, c, ref)), .3, "the pictures refine what was clicked")

	faint := tilted(mosaic)
	faint.blur = 9
	r = FromPoints(ref, pairs(1.5), faint.shoot(), DefaultOptions())
	if r.Accepted {
		e := rms(trueErrors(r.Mapping, c, ref))
		assert.Less(t, e, 6.)
		assert.GreaterOrEqual(t, r.RMSPx, e/3)
	}

	for want, offset := range map[Reason]float64{OverExposed: 170, UnderExposed: -170} {
		dim := tilted(mosaic)
		dim.offset, dim.noise = offset, .4
		r = FromPoints(ref, pairs(1.5), dim.shoot(), DefaultOptions())
		assert.False(t, r.Accepted, "pairs do not bring back light")
		assert.Equal(t, want, r.Reason, r.Detail)
	}

	r = FromPoints(ref, pairs(60), g, DefaultOptions())
	assert.False(t, r.Accepted)
	assert.Contains(t, []Reason{PointsApart, Folded, Extreme}, r.Reason)
	r = FromPoints(ref, pairs(0)[:5], g, DefaultOptions())
	assert.Equal(t, TooFewPoints, r.Reason)
	var line []PointPair
	for i := 0; i < 8; i++ {
		line = append(line, PointPair{float64(50 * i), 100, float64(50 * i), 90})
	}
	r = FromPoints(ref, line, g, DefaultOptions())
	assert.False(t, r.Accepted)
	assert.Equal(t, TooFewPoints, r.Reason)
}

func TestReferenceAndOptionsAreChecked(t *testing.T) {
	_, err := NewReference("a", nil, DefaultOptions())
	assert.Error(t, err)
	_, err = NewReference("a", image.NewGray(image.Rect(0, 0, 300, 100)), DefaultOptions())
	assert.ErrorContains(t, err, "300 × 100")
	o := DefaultOptions()
	require.NoError(t, o.Validate())
	o.Ratio = 1.5
	assert.ErrorContains(t, o.Validate(), "Ratio")
	o = DefaultOptions()
	o.MaxClippedPct = math.NaN()
	assert.ErrorContains(t, o.Validate(), "MaxClippedPct")
}

func TestEveryReasonHasWords(t *testing.T) {
	require.Len(t, Reasons(), len(words))
	seen := map[string]bool{}
	for _, r := range Reasons() {
		w := r.Words()
		assert.NotEqual(t, string(r), w, "no words for %q", r)
		assert.False(t, seen[w], "%q twice", w)
		seen[w] = true
	}
}

// Sub-pictures carry their own origin and stride.
func TestSubPictureIsTheSamePicture(t *testing.T) {
	ref := mosaicRef(t)
	g := tilted(mosaic).shoot()
	big := image.NewGray(image.Rect(-5, -7, 900, 700))
	for y := 0; y < 612; y++ {
		copy(big.Pix[big.PixOffset(3, y+4):], g.Pix[y*g.Stride:y*g.Stride+816])
	}
	sub := big.SubImage(image.Rect(3, 4, 819, 616)).(*image.Gray)
	assert.Equal(t, align([]*Reference{ref}, g, ""), align([]*Reference{ref}, sub, ""))
}

func BenchmarkAlign12Mpx(b *testing.B) {
	w := mosaic
	w.size *= 5
	c := front(w)
	c.w, c.h, c.noise = 4000, 3000, 3
	ref, err := NewReference("wall", c.shoot(), DefaultOptions())
	require.NoError(b, err)
	c.h3 = mat3{.93, .04, 150, -.03, .95, 125, -1.2e-5, 8e-6, 1}
	g := c.shoot()
	b.ResetTimer()
	for i := 0; i < b.N; i++ {
		if r := align([]*Reference{ref}, g, ""); !r.Accepted {
			b.Fatal(r.Detail)
		}
	}
}
