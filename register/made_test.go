package register

import (
	"image"
	"math"
	"math/rand"
)

// wall is a made picture of irregular tiles: a value for every position, so that photos of it can be taken from
// anywhere without resampling a picture.
type wall struct {
	cols, rows int
	size       float64 // px of the reference a tile
	jitter     float64 // of the joints, share of a tile
	seed       int64
	even       bool // all tiles alike
}

func hash(seed int64, a, b, c int) float64 {
	x := uint64(seed)*0x9E3779B97F4A7C15 + uint64(a+1000)*0xBF58476D1CE4E5B9 + uint64(b+1000)*0x94D049BB133111EB + uint64(c)*0xD6E8FEB86659FD93
	x ^= x >> 31
	x *= 0xBF58476D1CE4E5B9
	x ^= x >> 29
	x *= 0x94D049BB133111EB
	x ^= x >> 32
	return float64(x>>11) / (1 << 53)
}

// at returns the level at a reference position: tiles with joints, a motif, a rim of stone around.
func (w wall) at(x, y float64) float64 {
	u, v := x/w.size, y/w.size
	const rim = 1.0
	if u < rim || v < rim || u > float64(w.cols)-rim || v > float64(w.rows)-rim {
		return 120 + 40*hash(w.seed, int(math.Floor(x/7)), int(math.Floor(y/7)), 9)
	}
	j := int(math.Floor(v))
	if j%2 == 1 && w.jitter > 0 {
		u += .5
	}
	i := int(math.Floor(u))
	a, b := u-float64(i), v-float64(j)
	off := func(c int) float64 { return w.jitter * (hash(w.seed, i, j, c) - .5) }
	joint := .06
	if a < joint+off(1) || a > 1-joint+off(2) || b < joint+off(3) || b > 1-joint+off(4) {
		return 170
	}
	if w.even {
		return 90
	}
	level := 40 + 120*hash(w.seed, i, j, 5) + 8*math.Sin(9*u+3*v)
	if hash(w.seed, i/3, j/3, 6) > .8 { // a motif over several tiles
		if r := math.Hypot(math.Mod(u, 3)-1.5, math.Mod(v, 3)-1.5); math.Abs(r-.9) < .12 {
			level = 220
		}
	}
	return level
}

// camera is how a made photo is taken.
type camera struct {
	w, h      int
	h3        mat3 // photo from reference
	k         float64
	gain      float64
	shade     float64 // light falls off to one side by this share
	noise     float64
	blur      int // half side of a box, px
	offset    float64
	seed      int64
	wall      wall
	white     float64 // share of spots whitened
	whiteSeed int64
}

// undo brings a photo position to the reference: the lens first.
func (c camera) undo(px, py float64) (float64, float64) {
	inv, _ := inv3(c.h3)
	cx, cy := float64(c.w-1)/2, float64(c.h-1)/2
	r := math.Hypot(float64(c.w), float64(c.h)) / 2
	u, v := (px-cx)/r, (py-cy)/r
	q := 1 + c.k*(u*u+v*v)
	px, py = cx+(px-cx)*q, cy+(py-cy)*q
	w := inv[6]*px + inv[7]*py + inv[8]
	return (inv[0]*px + inv[1]*py + inv[2]) / w, (inv[3]*px + inv[4]*py + inv[5]) / w
}

func (c camera) shoot() *image.Gray {
	g := image.NewGray(image.Rect(0, 0, c.w, c.h))
	rnd := rand.New(rand.NewSource(c.seed + 1))
	buf := newPlane(c.w, c.h)
	for y := 0; y < c.h; y++ {
		for x := 0; x < c.w; x++ {
			var s float64
			for _, d := range [4][2]float64{{-.25, -.25}, {.25, -.25}, {-.25, .25}, {.25, .25}} {
				u, v := c.undo(float64(x)+d[0], float64(y)+d[1])
				l := c.wall.at(u, v)
				if c.white > 0 && hash(c.whiteSeed, int(math.Floor(u/5)), int(math.Floor(v/17)), 7) < c.white {
					l = .4*l + .6*225
				}
				s += l / 4
			}
			buf.v[y*c.w+x] = float32(s * c.gain * (1 - c.shade*float64(x)/float64(c.w)))
		}
	}
	if c.blur > 0 {
		for i := 0; i < 3; i++ {
			buf = boxMean(buf, c.blur, nil)
		}
	}
	for i, v := range buf.v {
		g.Pix[i] = uint8(math.Max(0, math.Min(255, math.Round(float64(v)+c.offset+c.noise*rnd.NormFloat64()))))
	}
	return g
}

var (
	mosaic = wall{cols: 24, rows: 18, size: 34, jitter: .12, seed: 1}
	other  = wall{cols: 24, rows: 18, size: 34, jitter: .12, seed: 2}
	grids  = wall{cols: 24, rows: 18, size: 34, seed: 3, even: true}
)

// front is the camera of a reference: straight on.
func front(w wall) camera {
	return camera{w: 816, h: 612, h3: mat3{1, 0, 0, 0, 1, 0, 0, 0, 1}, gain: 1, noise: 1.5, wall: w}
}

// tilted stands a little aside.
func tilted(w wall) camera {
	c := front(w)
	c.h3 = mat3{.93, .04, 30, -.03, .95, 25, -6e-5, 4e-5, 1}
	c.seed = 5
	return c
}

// trueErrors compares a mapping with a camera over the overlap, reference px.
func trueErrors(m Mapping, c camera, ref *Reference) []float64 {
	var out []float64
	for y := 20; y < c.h; y += 40 {
		for x := 20; x < c.w; x += 40 {
			u, v := c.undo(float64(x), float64(y))
			if u < 0 || v < 0 || u > float64(ref.W-1) || v > float64(ref.H-1) {
				continue
			}
			q := vote{X: u, Y: v, PX: float64(x), PY: float64(y)}
			out = append(out, miss(m, &q))
		}
	}
	return out
}
