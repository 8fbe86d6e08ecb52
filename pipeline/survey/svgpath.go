package survey

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"tilelapse/measure/plane"
)

// flatness is how far a flattened curve may lie from the curve, reference px.
const flatness = 0.02

// maxCoord bounds a coordinate, px: beyond it a drawing can't belong to a photo.
const maxCoord = 1e6

// maxSteps bounds the pieces of one curve; at the flatness above a circle needs them from a radius of 10^6 px on.
const maxSteps = 20000

// affine is the matrix a c e / b d f of an SVG transform: x' = a*x + c*y + e, y' = b*x + d*y + f.
type affine [6]float64

var identity = affine{1, 0, 0, 1, 0, 0}

// mul returns the transform that applies n first, then m.
func (m affine) mul(n affine) affine {
	return affine{
		m[0]*n[0] + m[2]*n[1], m[1]*n[0] + m[3]*n[1],
		m[0]*n[2] + m[2]*n[3], m[1]*n[2] + m[3]*n[3],
		m[0]*n[4] + m[2]*n[5] + m[4], m[1]*n[4] + m[3]*n[5] + m[5],
	}
}

func (m affine) at(p plane.Point) plane.Point {
	return plane.Point{X: m[0]*p.X + m[2]*p.Y + m[4], Y: m[1]*p.X + m[3]*p.Y + m[5]}
}

// stretch returns the largest factor by which m lengthens anything: its first singular value.
func (m affine) stretch() float64 {
	s := m[0]*m[0] + m[1]*m[1] + m[2]*m[2] + m[3]*m[3]
	det := m[0]*m[3] - m[1]*m[2]
	return math.Sqrt((s + math.Sqrt(math.Max(0, s*s-4*det*det))) / 2)
}

// lexer reads the numbers of SVG attributes, where separators may be left out (W3C SVG 1.1, 8.3.9).
type lexer struct {
	s string
	i int
}

func (l *lexer) space() {
	for l.i < len(l.s) && strings.IndexByte(" \t\r\n\f,", l.s[l.i]) >= 0 {
		l.i++
	}
}

func (l *lexer) rest() string { return quote(l.s[l.i:min(len(l.s), l.i+20)]) }

func (l *lexer) number() (float64, error) {
	l.space()
	j, dot, exp := l.i, false, false
scan:
	for ; j < len(l.s); j++ {
		c := l.s[j]
		switch {
		case c >= '0' && c <= '9':
		case (c == '+' || c == '-') && (j == l.i || l.s[j-1] == 'e' || l.s[j-1] == 'E'):
		case c == '.' && !dot && !exp:
			dot = true
		case (c == 'e' || c == 'E') && !exp && j > l.i:
			exp = true
		default:
			break scan
		}
	}
	v, err := strconv.ParseFloat(l.s[l.i:j], 64)
	if err != nil || math.IsInf(v, 0) || math.IsNaN(v) {
		if l.i >= len(l.s) {
			return 0, errors.New("a number is missing at its end")
		}
		return 0, fmt.Errorf("a number is needed at %s", l.rest())
	}
	l.i = j
	return v, nil
}

// flag reads an arc flag, which may stand without separator before the next number.
func (l *lexer) flag() (bool, error) {
	l.space()
	if l.i < len(l.s) && (l.s[l.i] == '0' || l.s[l.i] == '1') {
		l.i++
		return l.s[l.i-1] == '1', nil
	}
	return false, fmt.Errorf("an arc flag (0 or 1) is needed at %s", l.rest())
}

// numbers reads a list of numbers to its end.
func numbers(s string) ([]float64, error) {
	var out []float64
	for l := (lexer{s: s}); ; {
		if l.space(); l.i >= len(l.s) {
			return out, nil
		}
		v, err := l.number()
		if err != nil {
			return nil, err
		}
		out = append(out, v)
	}
}

// parseTransform reads a transform attribute (W3C SVG 1.1, 7.6).
func parseTransform(s string) (affine, error) {
	m := identity
	for {
		s = strings.TrimLeft(s, " \t\r\n,")
		if s == "" || s == "none" {
			return m, nil
		}
		a, b := strings.IndexByte(s, '('), strings.IndexByte(s, ')')
		if a < 0 || b < a {
			return m, fmt.Errorf("transform %s has no pair of brackets", quote(s))
		}
		v, err := numbers(s[a+1 : b])
		if err != nil {
			return m, fmt.Errorf("transform %s: %w", quote(s[:b+1]), err)
		}
		name := strings.TrimSpace(s[:a])
		s = s[b+1:]
		t, ok := step(name, v)
		if !ok {
			return m, fmt.Errorf("transform %s with %d numbers is not known", quote(name), len(v))
		}
		m = m.mul(t)
	}
}

// step returns one transform of a list; angles are degrees.
func step(name string, v []float64) (affine, bool) {
	rad := func() (float64, float64) { return math.Sincos(v[0] * math.Pi / 180) }
	switch n := len(v); {
	case name == "matrix" && n == 6:
		return affine(v), true
	case name == "translate" && n == 1:
		return affine{1, 0, 0, 1, v[0], 0}, true
	case name == "translate" && n == 2:
		return affine{1, 0, 0, 1, v[0], v[1]}, true
	case name == "scale" && n == 1:
		return affine{v[0], 0, 0, v[0], 0, 0}, true
	case name == "scale" && n == 2:
		return affine{v[0], 0, 0, v[1], 0, 0}, true
	case name == "rotate" && n == 1:
		sn, cs := rad()
		return affine{cs, sn, -sn, cs, 0, 0}, true
	case name == "rotate" && n == 3:
		sn, cs := rad()
		t := affine{1, 0, 0, 1, v[1], v[2]}.mul(affine{cs, sn, -sn, cs, 0, 0})
		return t.mul(affine{1, 0, 0, 1, -v[1], -v[2]}), true
	case name == "skewX" && n == 1:
		return affine{1, 0, math.Tan(v[0] * math.Pi / 180), 1, 0, 0}, true
	case name == "skewY" && n == 1:
		return affine{1, math.Tan(v[0] * math.Pi / 180), 0, 1, 0, 0}, true
	}
	return identity, false
}

// cubic appends a cubic Bézier curve from a to d in pieces that stay within tol of it: the distance is at most
// 3/4 of the largest second difference of the control points over the square of the number of pieces.
func cubic(out []plane.Point, a, b, c, d plane.Point, tol float64) []plane.Point {
	bend := math.Max(math.Hypot(a.X-2*b.X+c.X, a.Y-2*b.Y+c.Y), math.Hypot(b.X-2*c.X+d.X, b.Y-2*c.Y+d.Y))
	n := pieces(math.Sqrt(0.75 * bend / tol))
	for i := 1; i < n; i++ {
		t := float64(i) / float64(n)
		u := 1 - t
		p, q, r, s := u*u*u, 3*u*u*t, 3*u*t*t, t*t*t
		out = append(out, plane.Point{X: p*a.X + q*b.X + r*c.X + s*d.X, Y: p*a.Y + q*b.Y + r*c.Y + s*d.Y})
	}
	return append(out, d)
}

func pieces(n float64) int {
	if !(n < maxSteps) {
		return maxSteps
	}
	return max(int(math.Ceil(n)), 1)
}

// arc appends an elliptical arc from p to q, phi in degrees.
//
// W3C SVG 1.1, appendix F.6 (endpoint to centre parameterisation).
func arc(out []plane.Point, p plane.Point, rx, ry, phi float64, large, sweep bool, q plane.Point, tol float64) []plane.Point {
	rx, ry = math.Abs(rx), math.Abs(ry)
	if p == q {
		return out
	}
	if rx == 0 || ry == 0 {
		return append(out, q)
	}
	s, c := math.Sincos(phi * math.Pi / 180)
	dx, dy := (p.X-q.X)/2, (p.Y-q.Y)/2
	x1, y1 := c*dx+s*dy, -s*dx+c*dy
	if l := x1*x1/(rx*rx) + y1*y1/(ry*ry); l > 1 { // F.6.6: radii too small are enlarged
		rx, ry = rx*math.Sqrt(l), ry*math.Sqrt(l)
	}
	u, v := x1/rx, y1/ry
	k := math.Sqrt(math.Max(0, 1/(u*u+v*v)-1))
	if large == sweep {
		k = -k
	}
	cx1, cy1 := k*rx*v, -k*ry*u
	cx, cy := c*cx1-s*cy1+(p.X+q.X)/2, s*cx1+c*cy1+(p.Y+q.Y)/2
	from := math.Atan2((y1-cy1)/ry, (x1-cx1)/rx)
	turn := math.Atan2((-y1-cy1)/ry, (-x1-cx1)/rx) - from
	if sweep && turn < 0 {
		turn += 2 * math.Pi
	} else if !sweep && turn > 0 {
		turn -= 2 * math.Pi
	}
	// The sagitta of a chord over the angle w on radius r is r*(1-cos(w/2)).
	n := pieces(math.Abs(turn) / (2 * math.Acos(1-math.Min(1, tol/math.Max(rx, ry)))))
	for i := 1; i < n; i++ {
		sn, cs := math.Sincos(from + turn*float64(i)/float64(n))
		out = append(out, plane.Point{X: c*rx*cs - s*ry*sn + cx, Y: s*rx*cs + c*ry*sn + cy})
	}
	return append(out, q)
}

// pathReader follows the commands of a path.
type pathReader struct {
	lexer
	tol             float64
	cur, start, ctl plane.Point
	ring            []plane.Point
	rings           [][]plane.Point
	err             error
}

// parsePath reads a path's d attribute into one ring a subpath, open ones as they are; curves are flattened to within
// tol user units. Subpaths of one point are left out.
func parsePath(d string, tol float64) ([][]plane.Point, error) {
	r := pathReader{lexer: lexer{s: d}, tol: tol}
	var cmd, prev byte
	for r.space(); r.i < len(r.s); r.space() {
		if c := r.s[r.i]; strings.IndexByte("MmLlHhVvCcSsQqTtAaZz", c) >= 0 {
			cmd = c
			r.i++
		} else if cmd == 0 || cmd == 'Z' || cmd == 'z' {
			return nil, fmt.Errorf("a path command is needed at %s", r.rest())
		}
		if prev == 0 && cmd != 'M' && cmd != 'm' {
			return nil, fmt.Errorf("a path begins with M, not with %s", quote(string(cmd)))
		}
		r.command(cmd, prev)
		if r.err != nil {
			return nil, r.err
		}
		prev = cmd
		switch cmd { // pairs after the first one of a move are lines
		case 'M':
			cmd = 'L'
		case 'm':
			cmd = 'l'
		}
	}
	r.end()
	return r.rings, nil
}

func (r *pathReader) get() float64 {
	v, err := r.number()
	if err != nil && r.err == nil {
		r.err = err
	}
	return v
}

func (r *pathReader) end() {
	if len(r.ring) > 1 {
		r.rings = append(r.rings, r.ring)
	}
	r.ring = nil
}

func (r *pathReader) command(cmd, prev byte) {
	var base plane.Point
	if cmd >= 'a' {
		base = r.cur
	}
	point := func() plane.Point {
		x := r.get()
		return plane.Point{X: base.X + x, Y: base.Y + r.get()}
	}
	mirrored := func(after string) plane.Point {
		if strings.IndexByte(after, prev) >= 0 {
			return plane.Point{X: 2*r.cur.X - r.ctl.X, Y: 2*r.cur.Y - r.ctl.Y}
		}
		return r.cur
	}
	if len(r.ring) == 0 && strings.IndexByte("MmZz", cmd) < 0 {
		r.ring = append(r.ring, r.cur)
	}
	switch cmd {
	case 'M', 'm':
		r.end()
		r.cur = point()
		r.start, r.ring = r.cur, []plane.Point{r.cur}
	case 'L', 'l':
		r.cur = point()
		r.ring = append(r.ring, r.cur)
	case 'H', 'h':
		r.cur.X = base.X + r.get()
		r.ring = append(r.ring, r.cur)
	case 'V', 'v':
		r.cur.Y = base.Y + r.get()
		r.ring = append(r.ring, r.cur)
	case 'C', 'c':
		p1, p2, p3 := point(), point(), point()
		r.curve(p1, p2, p3)
	case 'S', 's':
		p1 := mirrored("CcSs")
		p2, p3 := point(), point()
		r.curve(p1, p2, p3)
	case 'Q', 'q', 'T', 't':
		var q plane.Point
		if cmd == 'Q' || cmd == 'q' {
			q = point()
		} else {
			q = mirrored("QqTt")
		}
		p3 := point()
		third := func(p plane.Point) plane.Point { // degree elevation
			return plane.Point{X: p.X + 2*(q.X-p.X)/3, Y: p.Y + 2*(q.Y-p.Y)/3}
		}
		r.curve(third(r.cur), third(p3), p3)
		r.ctl = q
	case 'A', 'a':
		rx, ry, phi := r.get(), r.get(), r.get()
		large, e1 := r.flag()
		sweep, e2 := r.flag()
		if err := errors.Join(e1, e2); err != nil && r.err == nil {
			r.err = err
			return
		}
		q := point()
		if r.err == nil {
			r.ring = arc(r.ring, r.cur, rx, ry, phi, large, sweep, q, r.tol)
		}
		r.cur = q
	case 'Z', 'z':
		r.end()
		r.cur = r.start
	}
}

func (r *pathReader) curve(p1, p2, p3 plane.Point) {
	if r.err == nil {
		r.ring = cubic(r.ring, r.cur, p1, p2, p3, r.tol)
	}
	r.ctl, r.cur = p2, p3
}
