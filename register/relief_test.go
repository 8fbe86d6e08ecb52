package register

import (
	"image"
	"math"
	"math/rand"
)

// relief is a made tiled surface that is not flat: a polyline in depth, drawn out straight across it, seen by cameras of known
// place, so that the true mapping between any two photos is known. Lengths in units of the wall, near a px of the reference.
type relief struct {
	t, z    []float64 // the polyline: t down the wall (across when upright), z away from the viewer
	upright bool      // drawn out downwards: the depth changes from left to right
	length  float64   // of the straight side
	size    float64   // of a tile
	joints  int64     // seed of the tiles' outlines
	glazes  int64     // seed of their glazes
	shift   int       // glazes moved along by so many tiles
}

// steps is a cascade: risers and treads.
func steps(n int, rise, tread float64) relief {
	r := relief{length: 1000, size: 42, joints: 1, glazes: 1}
	y, z := -float64(n)*rise/2, float64(n)*tread/2
	r.t, r.z = []float64{y}, []float64{z}
	for range n {
		r.t, r.z = append(r.t, y+rise), append(r.z, z)
		y += rise
		z -= tread
		r.t, r.z = append(r.t, y), append(r.z, z)
	}
	return r
}

// recess is a wall of planes at several depths, from left to right.
func recess(width float64, depths ...float64) relief {
	r := relief{upright: true, length: 800, size: 42, joints: 2, glazes: 2}
	x := -width * float64(len(depths)) / 2
	for _, d := range depths {
		r.t, r.z = append(r.t, x, x+width), append(r.z, d, d)
		x += width
	}
	return r
}

// niche is part of an upright cylinder, hollow to the viewer.
func niche(radius, degrees float64) relief {
	r := relief{upright: true, length: 800, size: 42, joints: 3, glazes: 3}
	const n = 48
	for i := 0; i <= n; i++ {
		a := (float64(i)/n - .5) * degrees * math.Pi / 180
		r.t, r.z = append(r.t, radius*math.Sin(a)), append(r.z, radius*math.Cos(a)-radius)
	}
	return r
}

// view is a camera that looks at a point of the surface.
type view struct {
	w, h             int
	yaw, pitch, roll float64 // degrees
	near             float64 // 1 = as far as the reference, 2 = half as far
	atX, atY         float64 // where it looks
	gain, shade      float64
	white            float64 // share of spots whitened
	noise, offset    float64
	blur             int
	seed             int64
}

const (
	viewFar   = 1500.0
	viewFocal = 1.15 // of the picture's longer side
)

type vec [3]float64

func (a vec) dot(b vec) float64 { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }

// axes returns the camera's place and its axes right, down, ahead.
func (v view) axes() (eye, right, down, ahead vec) {
	sy, cy := math.Sincos(v.yaw * math.Pi / 180)
	sp, cp := math.Sincos(v.pitch * math.Pi / 180)
	sr, cr := math.Sincos(v.roll * math.Pi / 180)
	ahead = vec{-sy * cp, sp, cy * cp}
	r0 := vec{cy, 0, sy}
	d0 := vec{ahead[1]*r0[2] - ahead[2]*r0[1], ahead[2]*r0[0] - ahead[0]*r0[2], ahead[0]*r0[1] - ahead[1]*r0[0]}
	for i := range eye {
		right[i], down[i] = cr*r0[i]+sr*d0[i], -sr*r0[i]+cr*d0[i]
		eye[i] = -viewFar / v.near * ahead[i]
	}
	eye[0] += v.atX
	eye[1] += v.atY
	return
}

func (v view) focal() float64 { return viewFocal * float64(max(v.w, v.h)) }

// hit is where a ray meets the surface.
type hit struct {
	p    vec
	u, w float64 // along the polyline, along the straight side, from the corner
	tilt float64 // cosine of the angle between ray and surface's normal
	ok   bool
}

func (r relief) trace(eye, d vec) (h hit) {
	a, b := 1, 0 // axes of t and of the straight side
	if r.upright {
		a, b = 0, 1
	}
	best, run := math.Inf(1), 0.0
	for i := 1; i < len(r.t); i++ {
		st, sz := r.t[i]-r.t[i-1], r.z[i]-r.z[i-1]
		l := math.Hypot(st, sz)
		den := d[a]*sz - d[2]*st
		if l > 0 && den != 0 {
			k := ((r.t[i-1]-eye[a])*sz - (r.z[i-1]-eye[2])*st) / den
			q := ((r.t[i-1]-eye[a])*d[2] - (r.z[i-1]-eye[2])*d[a]) / den
			w := eye[b] + k*d[b] + r.length/2
			if k > 0 && k < best && q >= 0 && q <= 1 && w >= 0 && w <= r.length {
				best = k
				h = hit{vec{eye[0] + k*d[0], eye[1] + k*d[1], eye[2] + k*d[2]}, run + q*l, w, math.Abs(den) / l / math.Sqrt(d.dot(d)), true}
			}
		}
		run += l
	}
	return h
}

func (v view) ray(right, down, ahead vec, x, y float64) vec {
	f := v.focal()
	a, b := (x-float64(v.w-1)/2)/f, (y-float64(v.h-1)/2)/f
	return vec{ahead[0] + a*right[0] + b*down[0], ahead[1] + a*right[1] + b*down[1], ahead[2] + a*right[2] + b*down[2]}
}

func (v view) project(p vec) (x, y float64, ok bool) {
	eye, right, down, ahead := v.axes()
	q := vec{p[0] - eye[0], p[1] - eye[1], p[2] - eye[2]}
	z := q.dot(ahead)
	return q.dot(right)/z*v.focal() + float64(v.w-1)/2, q.dot(down)/z*v.focal() + float64(v.h-1)/2, z > 0
}

// level is what the surface shows at a place: glazes of a palette, a brush's strokes, pale irregular joints.
func (r relief) level(u, w float64) float64 {
	u, w = u/r.size, w/r.size
	j := int(math.Floor(w))
	if j%2 == 1 {
		u += .37
	}
	i := int(math.Floor(u))
	a, b := u-float64(i), w-float64(j)
	off := func(c int) float64 { return .12 * (hash(r.joints, i, j, c) - .5) }
	const joint = .05
	if a < joint+off(1) || a > 1-joint+off(2) || b < joint+off(3) || b > 1-joint+off(4) {
		return 165 + 20*hash(r.joints, int(u*14), int(w*14), 8)
	}
	k := i + r.shift
	l := 35 + 22*math.Floor(7*hash(r.glazes, k, j, 5)) + 12*hash(r.glazes, k, j, 6)
	return l + 7*math.Sin(5*a+11*b+6*hash(r.glazes, k, j, 7)) + 10*(hash(r.glazes, int(u*9)+9*r.shift, int(w*9), 9)-.5)
}

func (r relief) shoot(v view) *image.Gray {
	eye, right, down, ahead := v.axes()
	buf := newPlane(v.w, v.h)
	for y := range v.h {
		for x := range v.w {
			var s float64
			for _, d := range [4][2]float64{{-.25, -.25}, {.25, -.25}, {-.25, .25}, {.25, .25}} {
				h := r.trace(eye, v.ray(right, down, ahead, float64(x)+d[0], float64(y)+d[1]))
				if !h.ok {
					s += 18 + 6*hash(v.seed, x/9, y/9, 1)
					continue
				}
				l := r.level(h.u, h.w)
				if v.white > 0 && hash(77, int(h.u/5), int(h.w/17), 7) < v.white {
					l = .45*l + .55*225
				}
				// A turned face gets less light, more so under hard light from aside.
				s += l * (.55 + .45*h.tilt) * (1 - v.shade*(.5+h.p[0]/1600+h.p[2]/900))
			}
			buf.v[y*v.w+x] = float32(s / 4 * v.gain)
		}
	}
	for range 3 {
		if v.blur > 0 {
			buf = boxMean(buf, v.blur, nil)
		}
	}
	rnd := rand.New(rand.NewSource(v.seed + 1))
	g := image.NewGray(image.Rect(0, 0, v.w, v.h))
	for i, l := range buf.v {
		g.Pix[i] = uint8(math.Max(0, math.Min(255, math.Round(float64(l)+v.offset+v.noise*rnd.NormFloat64()))))
	}
	return g
}

// seen is a reference position and where the photo shows the same place of the surface.
type seen struct{ x, y, px, py float64 }

// truth returns the places that both cameras see, on a grid of the reference.
func (r relief) truth(from, to view, step int) (out []seen) {
	eye, right, down, ahead := from.axes()
	eye2, _, _, _ := to.axes()
	for y := step / 2; y < from.h; y += step {
		for x := step / 2; x < from.w; x += step {
			h := r.trace(eye, from.ray(right, down, ahead, float64(x), float64(y)))
			if !h.ok {
				continue
			}
			px, py, ok := to.project(h.p)
			if !ok || px < 0 || py < 0 || px > float64(to.w-1) || py > float64(to.h-1) {
				continue
			}
			g := r.trace(eye2, vec{h.p[0] - eye2[0], h.p[1] - eye2[1], h.p[2] - eye2[2]})
			if g.ok && math.Hypot(math.Hypot(g.p[0]-h.p[0], g.p[1]-h.p[1]), g.p[2]-h.p[2]) < .5 {
				out = append(out, seen{float64(x), float64(y), px, py})
			}
		}
	}
	return out
}

// plain is the camera of a reference.
func plain() view { return view{w: 1200, h: 900, near: 1, gain: 1, noise: 1.5} }
