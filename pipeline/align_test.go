package pipeline

import (
	"context"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"math"
	"math/rand"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tilelapse/pipeline/ledger"
	"tilelapse/pipeline/survey"
	"tilelapse/register"
)

// tiled is a picture of w x h px of tiles of all greys, seen turned by a small angle and moved: photo position = turn * reference position + (dx, dy).
func tiled(seed int64, angle, dx, dy float64) *image.Gray {
	const w, h, size = 640, 480, 29
	rnd := rand.New(rand.NewSource(seed))
	tone := make([]float64, 64*64)
	for i := range tone {
		tone[i] = 40 + 170*rnd.Float64()
	}
	im := image.NewGray(image.Rect(0, 0, w, h))
	s, c := math.Sincos(angle)
	for y := range h {
		for x := range w {
			u, v := c*(float64(x)-dx)+s*(float64(y)-dy), -s*(float64(x)-dx)+c*(float64(y)-dy)
			i, j := int(math.Floor(u/size)), int(math.Floor(v/size))
			a, b := u/size-float64(i), v/size-float64(j)
			level := tone[((j+32)&63)*64+(i+32)&63]
			if a < .08 || b < .08 {
				level = 225
			}
			im.SetGray(x, y, color.Gray{Y: uint8(level + 6*rnd.Float64())})
		}
	}
	return im
}

// aRunOf writes the pictures as photos of a survey with views "wall" and "pool" and returns a run that has aligned nothing yet.
func aRunOf(t *testing.T, photos map[string]*image.Gray) *run {
	dir := t.TempDir()
	store, err := ledger.Open(filepath.Join(dir, "out"), false, false)
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, store.Close()) })
	r := &run{opt: Options{Jobs: 2}, survey: &survey.Survey{Dir: dir, Photos: []string{"photos"}}, store: store, align: register.DefaultOptions(), memory: newMemory(decodedBytes), tell: func(Event) {}}
	for i, id := range []string{"pool", "wall"} {
		r.survey.Views = append(r.survey.Views, survey.View{ID: id})
		feat, err := register.NewReference(id, tiled(int64(i), 0, 0, 0), r.align)
		require.NoError(t, err)
		r.refs = append(r.refs, &reference{view: &r.survey.Views[i], sha: id, w: feat.W, h: feat.H, feat: feat})
	}
	require.NoError(t, os.Mkdir(filepath.Join(dir, "photos"), 0o755))
	for _, name := range []string{"a.png", "b.png"} {
		g := photos[name]
		if g == nil {
			continue
		}
		p := &photo{rel: "photos/" + name}
		p.facts.SHA256 = name
		f, err := os.Create(filepath.Join(dir, p.rel))
		require.NoError(t, err)
		require.NoError(t, png.Encode(f, edged(g)))
		require.NoError(t, f.Close())
		r.photos = append(r.photos, p)
	}
	return r
}

// edged is a grey picture with a red edge below: without any colours it would not be taken in.
func edged(g *image.Gray) image.Image {
	im := image.NewNRGBA(g.Rect)
	draw.Draw(im, im.Rect, g, g.Rect.Min, draw.Src)
	below := im.Rect
	below.Min.Y = below.Max.Y - 10
	draw.Draw(im, below, image.NewUniform(color.NRGBA{200, 40, 40, 255}), image.Point{}, draw.Src)
	return im
}

// handPairs are pairs between the wall and the picture tiled(1, angle, dx, dy).
func handPairs(view string, angle, dx, dy float64) (rows []survey.PointRow) {
	s, c := math.Sincos(angle)
	for _, q := range [][2]float64{{60, 60}, {560, 80}, {540, 400}, {80, 420}, {300, 200}, {200, 330}, {420, 150}} {
		rows = append(rows, survey.PointRow{Photo: "b.png", View: view, RefX: q[0], RefY: q[1], X: math.Round(c*q[0] - s*q[1] + dx), Y: math.Round(s*q[0] + c*q[1] + dy)})
	}
	return rows
}

func TestPairsSetByHandAreTriedWhateverThePhotoWasRefusedFor(t *testing.T) {
	for _, why := range register.Reasons()[1:] {
		t.Run(string(why), func(t *testing.T) {
			r := aRunOf(t, map[string]*image.Gray{"b.png": tiled(1, .05, 12, -9)})
			r.photos[0].align = register.Result{View: "pool", Reason: why}
			r.photos[0].hint = "pool" // a folder's name is no proof
			r.survey.Points = handPairs("wall", .05, 12, -9)
			require.NoError(t, r.rescueAll(context.Background()))
			got := r.photos[0].align
			require.True(t, got.Accepted, "%s %s", got.Reason, got.Detail)
			assert.Equal(t, "wall", got.View)
			assert.Equal(t, "points", got.Basis)
		})
	}
}

func TestPairsThatDoNotHelpAreNamed(t *testing.T) {
	r := aRunOf(t, map[string]*image.Gray{"b.png": tiled(9, .05, 12, -9)})
	r.photos[0].align = register.Result{View: "pool", Reason: register.WrongView}
	r.survey.Points = handPairs("wall", .05, 12, -9)
	for i := range r.survey.Points {
		r.survey.Points[i].X += 70 * float64(i%3)
	}
	require.NoError(t, r.rescueAll(context.Background()))
	got := r.photos[0].align
	assert.False(t, got.Accepted)
	assert.Contains(t, []register.Reason{register.PointsApart, register.Folded, register.Extreme}, got.Reason, got.Detail)
}

func TestAPhotoTakenForAnotherPlaceIsTriedThroughOthersOfItsView(t *testing.T) {
	for _, c := range []struct {
		name string
		seed int64
		ok   bool
	}{{"the view", 1, true}, {"another wall", 9, false}} {
		t.Run(c.name, func(t *testing.T) {
			helper := tiled(1, .02, 5, 3)
			r := aRunOf(t, map[string]*image.Gray{"a.png": helper, "b.png": tiled(c.seed, .05, 12, -9)})
			r.photos[0].align = register.Align(context.Background(), []*register.Reference{r.refs[0].feat, r.refs[1].feat}, helper, "", r.align)
			require.True(t, r.photos[0].align.Accepted)
			require.Equal(t, "wall", r.photos[0].align.View)
			r.photos[1].align = register.Result{View: "wall", Reason: register.WrongView}
			require.NoError(t, r.rescueAll(context.Background()))
			got := r.photos[1].align
			require.Equal(t, c.ok, got.Accepted, "%s %s", got.Reason, got.Detail)
			if c.ok {
				assert.Equal(t, "wall", got.View)
				assert.Equal(t, "rescue:photos/a.png sift", got.Basis)
			} else {
				assert.Equal(t, register.WrongView, got.Reason, "the first reason stays")
			}
		})
	}
}

func TestTheLikeliestViewsAreTriedFirst(t *testing.T) {
	r := &run{}
	aligned := map[string][]*photo{}
	for _, id := range []string{"a", "b", "c", "d", "e"} {
		r.refs = append(r.refs, &reference{view: &survey.View{ID: id}})
		if id != "b" {
			aligned[id] = []*photo{{rel: id}}
		}
	}
	var got []string
	for _, ref := range r.likely(&photo{hint: "e", align: register.Result{View: "d"}}, aligned) {
		got = append(got, ref.view.ID)
	}
	assert.Equal(t, []string{"d", "e", "a"}, got)
}
