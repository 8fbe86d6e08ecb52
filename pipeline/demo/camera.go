package demo

import "math"

// vec is a position or direction in the room, mm: x right, y down, z away from the viewer.
type vec [3]float64

func (a vec) sub(b vec) vec            { return vec{a[0] - b[0], a[1] - b[1], a[2] - b[2]} }
func (a vec) add(b vec, s float64) vec { return vec{a[0] + s*b[0], a[1] + s*b[1], a[2] + s*b[2]} }
func (a vec) dot(b vec) float64        { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }
func (a vec) cross(b vec) vec {
	return vec{a[1]*b[2] - a[2]*b[1], a[2]*b[0] - a[0]*b[2], a[0]*b[1] - a[1]*b[0]}
}
func (a vec) unit() vec { return vec{}.add(a, 1/math.Sqrt(a.dot(a))) }

// surface is an upright cylinder: u runs along the arc, v down, both in mm, (0,0) where it touches the plane z = 0.
type surface struct {
	radius float64 // mm
	hollow bool    // the viewer stands on the inside: the ends of the wall come forward
}

func (s surface) sign() float64 {
	if s.hollow {
		return -1
	}
	return 1
}

// point returns the position in the room of a point on the wall.
func (s surface) point(u, v float64) vec {
	a := u / s.radius
	return vec{s.radius * math.Sin(a), v, s.sign() * s.radius * (1 - math.Cos(a))}
}

// hit returns where a ray from c along d meets the wall.
func (s surface) hit(c, d vec) (u, v float64) {
	zc := s.sign() * s.radius
	a := d[0]*d[0] + d[2]*d[2]
	b := c[0]*d[0] + (c[2]-zc)*d[2]
	k := c[0]*c[0] + (c[2]-zc)*(c[2]-zc) - s.radius*s.radius
	root := math.Sqrt(math.Max(b*b-a*k, 0))
	t := (-b - s.sign()*root) / a
	p := c.add(d, t)
	return s.radius * math.Atan2(p[0], s.sign()*(zc-p[2])), p[1]
}

// pose says how the photographer held the camera.
type pose struct {
	aimU, aimV float64 // wall point in the middle of the picture, mm
	distance   float64 // mm
	yaw        float64 // degrees, positive = stands to the right
	pitch      float64 // degrees, positive = looks up
	roll       float64 // degrees, clockwise
	bend       float64 // radial distortion k1, in focal lengths: r_straight = r (1 + k1 r²)
}

// camera is a pinhole with radial distortion. Pixel (0,0) is the centre of the top left pixel.
type camera struct {
	w, h             int
	focal            float64 // px
	cx, cy           float64
	k1               float64
	at               vec
	right, down, fwd vec
	wall             surface
}

// newCamera sets up a camera of w x h px whose focal length is lens times its width.
func newCamera(wall surface, w, h int, lens float64, p pose) *camera {
	rad := math.Pi / 180
	target := wall.point(p.aimU, p.aimV)
	back := vec{math.Sin(p.yaw*rad) * math.Cos(p.pitch*rad), math.Sin(p.pitch * rad), -math.Cos(p.yaw*rad) * math.Cos(p.pitch*rad)}
	c := &camera{w: w, h: h, focal: lens * float64(w), cx: float64(w-1) / 2, cy: float64(h-1) / 2, k1: p.bend, wall: wall}
	c.at = target.add(back, p.distance)
	c.fwd = target.sub(c.at).unit()
	r := vec{0, 1, 0}.cross(c.fwd).unit()
	d := c.fwd.cross(r)
	cs, sn := math.Cos(p.roll*rad), math.Sin(p.roll*rad)
	c.right = vec{}.add(r, cs).add(d, -sn)
	c.down = vec{}.add(r, sn).add(d, cs)
	return c
}

// see returns the wall point that a photo position shows.
func (c *camera) see(x, y float64) (u, v float64) {
	x, y = (x-c.cx)/c.focal, (y-c.cy)/c.focal
	s := 1 + c.k1*(x*x+y*y)
	return c.wall.hit(c.at, c.fwd.add(c.right, x*s).add(c.down, y*s))
}

// project returns where a wall point appears in the photo: the exact inverse of see.
func (c *camera) project(u, v float64) (x, y float64) {
	d := c.wall.point(u, v).sub(c.at)
	z := d.dot(c.fwd)
	x, y = d.dot(c.right)/z, d.dot(c.down)/z
	want := math.Hypot(x, y)
	r := want
	for i := 0; i < 6; i++ {
		r -= (r*(1+c.k1*r*r) - want) / (1 + 3*c.k1*r*r)
	}
	if want > 0 {
		x, y = x*r/want, y*r/want
	}
	return c.cx + x*c.focal, c.cy + y*c.focal
}

// inFrame reports whether a photo position lies in the picture.
func (c *camera) inFrame(x, y float64) bool {
	return x >= -0.5 && y >= -0.5 && x < float64(c.w)-0.5 && y < float64(c.h)-0.5
}
