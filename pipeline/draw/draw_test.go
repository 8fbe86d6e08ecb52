package draw

import (
	"bytes"
	"image"
	"image/color"
	"image/png"
	"math"
	"math/rand"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tilelapse/measure/plane"
)

// golden compares a picture with the one kept, by distance: the drawing of curves and letters may differ in last digits
// from machine to machine. UPDATE_GOLDEN=1 keeps the new one.
func golden(t *testing.T, name string, got *image.RGBA) {
	t.Helper()
	file := filepath.Join("testdata", name+".png")
	if os.Getenv("UPDATE_GOLDEN") == "1" {
		var b bytes.Buffer
		require.NoError(t, (&png.Encoder{CompressionLevel: png.BestCompression}).Encode(&b, got))
		require.NoError(t, os.MkdirAll("testdata", 0o755))
		require.NoError(t, os.WriteFile(file, b.Bytes(), 0o644))
	}
	data, err := os.ReadFile(file)
	require.NoError(t, err)
	want, err := png.Decode(bytes.NewReader(data))
	require.NoError(t, err)
	require.Equal(t, want.Bounds(), got.Bounds())
	var sum, bad, n int
	diff := image.NewGray(got.Rect)
	for y := range got.Rect.Dy() {
		for x := range got.Rect.Dx() {
			a := color.RGBAModel.Convert(want.At(x, y)).(color.RGBA)
			b := got.RGBAAt(x, y)
			worst := 0
			for _, d := range [3]int{int(a.R) - int(b.R), int(a.G) - int(b.G), int(a.B) - int(b.B)} {
				d = max(d, -d)
				sum += d
				worst = max(worst, d)
			}
			if worst > 16 {
				bad++
			}
			diff.Pix[y*diff.Stride+x] = uint8(worst)
			n++
		}
	}
	if mean := float64(sum) / float64(3*n); mean > 0.05 || bad > n/5000 {
		dir, err := os.MkdirTemp("", "draw-"+name) // kept, so that it can be looked at
		require.NoError(t, err)
		for part, img := range map[string]image.Image{"got": got, "want": want, "difference": diff} {
			var b bytes.Buffer
			require.NoError(t, png.Encode(&b, img))
			require.NoError(t, os.WriteFile(filepath.Join(dir, part+".png"), b.Bytes(), 0o644))
		}
		t.Errorf("%s differs: mean %.3f, %d of %d pixels by more than 16; see %s (UPDATE_GOLDEN=1 keeps the new one)", name, mean, bad, n, dir)
	}
}

func TestGoldenPictures(t *testing.T) {
	golden(t, "overlay", Overlay(madeScene()))
	golden(t, "change", Change(madeBefore(), madeScene()))
	bare := madeScene()
	bare.Opacity, bare.MMPerPx, bare.Masked, bare.Tiles, bare.Controls, bare.Notes = nil, 0, false, nil, nil, nil
	golden(t, "bare", Overlay(bare))
	ref, photo := image.NewGray(image.Rect(0, 0, 900, 600)), image.NewGray(image.Rect(0, 0, 500, 700))
	for i := range ref.Pix {
		ref.Pix[i] = uint8(40 * (i % 900 / 150))
	}
	for i := range photo.Pix {
		photo.Pix[i] = uint8(30 * (i / 500 / 100))
	}
	var pairs [][4]float64
	for i := range 200 {
		pairs = append(pairs, [4]float64{float64(i * 4), float64(i * 3), float64(500 - i*2), float64(i * 3)})
	}
	golden(t, "rejected", Rejected(ref, photo, pairs, []string{"photos/2021/a.jpg: not aligned", "12 of 200 pairs agree, 25 are needed: take the photo from nearer the marked spot and with the whole wall in the frame"}, english))
}

func TestTheSameSceneGivesTheSameBytes(t *testing.T) {
	encode := func(img *image.RGBA) []byte {
		b, err := EncodeJPEG(img, 85)
		require.NoError(t, err)
		return b
	}
	assert.True(t, bytes.Equal(encode(Overlay(madeScene())), encode(Overlay(madeScene()))))
	assert.True(t, bytes.Equal(encode(Change(madeBefore(), madeScene())), encode(Change(madeBefore(), madeScene()))))
}

func TestDrawingLeavesTheSceneAlone(t *testing.T) {
	s, b := madeScene(), madeBefore()
	Overlay(s)
	Change(b, s)
	assert.Equal(t, madeScene(), s)
	assert.Equal(t, madeBefore(), b)
}

func TestEncodeJPEGHasNoMetadata(t *testing.T) {
	b, err := EncodeJPEG(Overlay(madeScene()), 80)
	require.NoError(t, err)
	for i := 2; i+4 < len(b) && b[i] == 0xff && b[i+1] != 0xda; i += 2 + int(b[i+2])<<8 + int(b[i+3]) {
		assert.False(t, b[i+1] >= 0xe0 && b[i+1] <= 0xef || b[i+1] == 0xfe, "segment %x", b[i+1])
	}
	for _, q := range []int{0, 101} {
		_, err := EncodeJPEG(Overlay(madeScene()), q)
		assert.Error(t, err)
	}
}

// What is covered must leave no trace: other pixels there give the same picture.
func TestWhatStandsInFrontLeavesNoTrace(t *testing.T) {
	for _, c := range []struct {
		name   string
		masked bool
	}{{"masked", true}, {"unmasked", false}} {
		t.Run(c.name, func(t *testing.T) {
			one, two := madeScene(), madeScene()
			one.Masked, two.Masked = c.masked, c.masked
			rnd := rand.New(rand.NewSource(1))
			somebody := make([]bool, one.W*one.H) // also in the surroundings and across joints
			for y := 60; y < 160; y++ {
				for x := 85; x < 125; x++ {
					somebody[y*one.W+x] = true
				}
			}
			one.Hidden, two.Hidden = somebody, somebody
			for i := range two.Opacity {
				if somebody[i] || two.Opacity[i] == pixHidden {
					for k := range 3 {
						two.Picture.Pix[4*i+k] = uint8(rnd.Intn(256))
					}
				}
			}
			assert.Equal(t, c.masked, bytes.Equal(Overlay(one).Pix, Overlay(two).Pix))
			assert.Equal(t, c.masked, bytes.Equal(Change(madeBefore(), one).Pix, Change(madeBefore(), two).Pix))
		})
	}
}

// The joints between hidden tiles show what stands in front just as well: they are covered too, and small holes in it.
func TestJointsBetweenHiddenTilesAreCovered(t *testing.T) {
	s := madeScene()
	for i := range s.Tiles {
		if x, y := i%12, i/12; x >= 3 && x <= 5 && y >= 1 && y <= 3 {
			s.Tiles[i].State = Hidden
			if x == 4 && y == 2 {
				s.Tiles[i].State = Unreadable
			}
		}
	}
	s.W, s.H = 240, 160
	front := inFront(&s, nil)
	// tile 3,1 begins at (22+48, 34+16), tile 5,3 ends at (22+80+13, 34+48+13)
	for y := 50; y < 94; y++ {
		for x := 70; x < 114; x++ {
			require.True(t, front[y*s.W+x], "%d %d", x, y)
		}
	}
	assert.False(t, front[20*s.W+20])
	s.Tiles = nil
	for i := range s.Opacity {
		s.Opacity[i] = 0
	}
	assert.Nil(t, inFront(&s, nil))
}

// What stands before a zone's edge goes on in the margin beyond it, where nothing is measured.
func TestWhatStandsInFrontGoesOnOverTheMargin(t *testing.T) {
	s := madeScene()
	s.Opacity = make([]uint8, s.W*s.H)
	for y := 100; y < 130; y++ {
		for x := 100; x < 130; x++ {
			s.Opacity[y*s.W+x] = pixHidden
		}
	}
	s.Tiles = nil
	kept, own := keep(&s)
	front := inFront(&s, own)
	beyond := 0
	for y := 130; y < s.H; y++ {
		for x := 105; x < 125; x++ {
			if i := y*s.W + x; kept[i] {
				require.True(t, front[i], "%d %d", x, y)
				beyond++
			}
		}
	}
	assert.Greater(t, beyond, 50)
	assert.False(t, front[115*s.W+95], "inside the zone it is not made larger")
}

func TestNarrowRimsAreNotHatched(t *testing.T) {
	s := Scene{Words: english, W: 1000, H: 700, Opacity: make([]uint8, 700000)}
	for y := 100; y < 200; y++ {
		for x := 100; x < 102; x++ {
			s.Opacity[y*1000+x] = pixUnread // a rim
		}
		for x := 200; x < 260; x++ {
			s.Opacity[y*1000+x] = pixUnread // a patch
		}
	}
	on := patches(&s, pixUnread, newPlate(&s, func(*plate) float64 { return 0 }))
	assert.False(t, on[150*1000+100])
	for x := 200; x < 260; x++ {
		require.True(t, on[150*1000+x])
	}
	assert.False(t, on[150*1000+270])
}

func TestSurroundingsAreCoarse(t *testing.T) {
	s := madeScene()
	g := groundOf(&s, baseChroma)
	side := (240 + blocks - 1) / blocks
	inside, outside := 0, 0
	for y := 0; y+side <= s.H; y += side {
		for x := 0; x+side <= s.W; x += side {
			for j := range side {
				for i := range side {
					k, first := (y+j)*s.W+x+i, y*s.W+x
					if g.kept[k] || g.kept[first] {
						inside++
						continue
					}
					outside++
					require.Equal(t, g.base[first], g.base[k], "one colour a block")
				}
			}
		}
	}
	assert.Greater(t, inside, 20000)
	assert.Greater(t, outside, 8000)
	for i := range g.kept { // zones and controls themselves are never coarsened
		if x, y := i%s.W, i/s.W; x > 20 && x < 220 && y > 32 && y < 130 || x > 60 && x < 170 && y > 14 && y < 24 {
			require.True(t, g.kept[i])
		}
	}
	s.Masked = false
	fine := groundOf(&s, baseChroma)
	assert.NotEqual(t, g.base, fine.base)
	s.Zones, s.Controls, s.Masked = nil, nil, true
	assert.Nil(t, groundOf(&s, baseChroma).kept, "without zones nothing tells what the surroundings are")
}

// Scenes as they should not be must not stop a run.
func TestOddScenes(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for name, change := range map[string]func(s *Scene){
		"nothing":    func(s *Scene) { *s = Scene{} },
		"one pixel":  func(s *Scene) { s.W, s.H = 1, 1 },
		"no picture": func(s *Scene) { s.Picture = nil },
		"wrong sizes": func(s *Scene) {
			s.Opacity, s.Hidden = s.Opacity[:9], make([]bool, 3)
			s.Picture = image.NewRGBA(image.Rect(0, 0, 9, 9))
		},
		"part of a picture": func(s *Scene) {
			s.Picture = image.NewRGBA(image.Rect(0, 0, 500, 500)).SubImage(image.Rect(7, 9, 247, 169)).(*image.RGBA)
		},
		"rings": func(s *Scene) {
			for _, r := range [][][]plane.Point{nil, {nil}, {{{X: 1, Y: 1}}}, {{{X: nan, Y: 1}, {X: 5, Y: nan}}}, rect(-1e30, -inf, 1e31, inf), rect(500, 500, 9, 9), rect(5, 5, 0, 0)} {
				s.Zones = append(s.Zones, Zone{ID: "z", Rings: r})
				s.Controls = append(s.Controls, plane.Region{Rings: r})
				for _, st := range []string{Missing, OffPalette, Hidden, Unreadable, OutOfFrame, Present, "", "other"} {
					s.Tiles = append(s.Tiles, Tile{ID: "x", Rings: r, State: st, Recorded: "r"})
				}
			}
		},
		"long texts": func(s *Scene) {
			long := string(bytes.Repeat([]byte("long "), 200))
			s.View, s.Site, s.Visit, s.Notes = long, "\u4e2d\u6587\x00 \n", long, []string{long, ""}
			s.Zones[0].ID, s.Zones[0].Text = long, long
		},
		"scales": func(s *Scene) { s.MMPerPx = 1e300 },
		"tall":   func(s *Scene) { s.W, s.H = 3, 900 },
	} {
		t.Run(name, func(t *testing.T) {
			s := madeScene()
			change(&s)
			assert.NotPanics(t, func() {
				assert.GreaterOrEqual(t, Overlay(s).Rect.Dx(), 16)
				Change(s, madeScene())
				Change(madeScene(), s)
			})
		})
	}
	assert.NotPanics(t, func() {
		Rejected(nil, nil, [][4]float64{{nan, 1, 1, 1}, {1, 1, inf, 1}, {1e9, 1, 1, 1}, {1, 1, 1, 1}}, nil, english)
		Rejected(image.NewGray(image.Rect(5, 5, 6, 3000)), image.NewGray(image.Rect(0, 0, 3000, 1)), nil, []string{""}, english)
	})
}

func TestSmallFramesAreEnlarged(t *testing.T) {
	s := madeScene()
	assert.GreaterOrEqual(t, Overlay(s).Rect.Dx(), minSide)
	big := Scene{Words: english, W: 1600, H: 1000}
	assert.Less(t, Overlay(big).Rect.Dx(), 1700)
}

// A fine pattern of a face's size must not come through in the picture of a rejected photo.
func TestRejectedPhotosKeepNoFineDetail(t *testing.T) {
	in := image.NewGray(image.Rect(0, 0, 1200, 900))
	for i := range in.Pix {
		if i%1200/3%2 == 0 {
			in.Pix[i] = 255
		}
	}
	out, f := softened(in)
	assert.InDelta(t, 620.0/1200, f, 1e-9)
	lo, hi := uint8(255), uint8(0)
	for _, v := range out.Pix {
		lo, hi = min(lo, v), max(hi, v)
	}
	assert.Less(t, int(hi)-int(lo), 30)
	tiny, f := softened(image.NewGray(image.Rect(0, 0, 30, 20)))
	assert.Equal(t, 1.0, f)
	assert.Equal(t, 30, tiny.Rect.Dx())
}

func TestOnFrame(t *testing.T) {
	in := rect(0, 0, 3, 3)
	got := OnFrame(plane.Frame{RefW: 8, RefH: 8, K: 2}, in)
	assert.Equal(t, plane.Point{X: -0.25, Y: -0.25}, got[0][0], "the centre of the first reference px lies in the first measuring px's upper left quarter")
	assert.Equal(t, plane.Point{X: 1.25, Y: 1.25}, got[0][2])
	assert.Equal(t, rect(0, 0, 3, 3), in)
}
