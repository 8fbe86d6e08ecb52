package survey

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"tilelapse/measure/plane"
)

// Bounds of a regions SVG: what is larger did not come from drawing.
const (
	maxDepth  = 200       // groups inside groups
	maxPoints = 5_000_000 // after flattening
	maxSVG    = 256 << 20 // bytes; some programs write the photo itself into the drawing
)

// svgShape is a shape as drawn: rings in user units of the root viewBox.
type svgShape struct {
	id, title string
	class     string // of the shape or its nearest group that has a known one
	words     string // class words of the shape and its groups that are not known
	element   string
	rings     [][]plane.Point
	line, col int
}

// svgDoc is a regions SVG before its classes are sorted out.
type svgDoc struct {
	w, h   float64
	shapes []svgShape
}

// group is what an element hands down to those inside it.
type group struct {
	m      affine
	skip   bool   // not drawn, not read
	hidden bool   // not shown
	class  string // known class, "" = none
	words  string
	shape  int  // index of the shape this element is, -1 = none
	title  bool // this element is a <title>
}

// svgReader reads one file.
type svgReader struct {
	found  *findings
	file   string
	doc    svgDoc
	stack  []group
	points int
	line   int // of the element being read
	col    int
}

// readSVG reads a drawing; what is wrong is recorded. It returns nil when the file can't be read at all.
func readSVG(data []byte, file string, found *findings) *svgDoc {
	r := &svgReader{found: found, file: file}
	if len(data) > maxSVG {
		found.at(file, 0, 0, "%d bytes: at most %d are read", len(data), maxSVG)
		return nil
	}
	if bytes.HasPrefix(data, []byte{0x1f, 0x8b}) {
		found.at(file, 0, 0, "compressed: save it as plain SVG (.svg, not .svgz)")
		return nil
	}
	d := xml.NewDecoder(bytes.NewReader(data))
	d.CharsetReader = func(charset string, in io.Reader) (io.Reader, error) {
		if c := strings.ToLower(charset); c == "us-ascii" || c == "ascii" {
			return in, nil
		}
		return nil, fmt.Errorf("its encoding is %s: save it as UTF-8", quote(charset))
	}
	r.stack = []group{{m: identity, shape: -1}}
	root := false
	for {
		r.line, r.col = d.InputPos()
		tok, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			line, col := d.InputPos()
			found.at(file, line, col, "not readable as SVG: %s", xmlWords(err))
			return nil
		}
		switch t := tok.(type) {
		case xml.StartElement:
			if len(r.stack) > maxDepth {
				found.at(file, r.line, r.col, "groups lie more than %d deep in each other", maxDepth)
				return nil
			}
			if !root {
				if t.Name.Local != "svg" {
					found.at(file, r.line, r.col, "the file begins with <%s>: an SVG drawing is needed", t.Name.Local)
					return nil
				}
				root = true
			}
			r.start(t)
			if r.points > maxPoints {
				found.at(file, r.line, r.col, "more than %d points: draw less finely", maxPoints)
				return nil
			}
		case xml.CharData:
			if g := r.stack[len(r.stack)-1]; g.title && len(r.stack) > 1 {
				if p := r.stack[len(r.stack)-2].shape; p >= 0 {
					r.doc.shapes[p].title += string(t)
				}
			}
		case xml.EndElement:
			r.stack = r.stack[:len(r.stack)-1]
		}
	}
	if !root {
		found.at(file, 0, 0, "not an SVG drawing: no <svg> in it")
		return nil
	}
	return &r.doc
}

// xmlWords says what is wrong with the file in plain words.
func xmlWords(err error) string {
	var se *xml.SyntaxError
	if errors.As(err, &se) {
		if strings.Contains(se.Msg, "entity") {
			return se.Msg + ": save it as plain SVG, without the program's own entities"
		}
		return se.Msg
	}
	return err.Error()
}

// unseen are elements whose insides are no shapes of the picture.
var unseen = []string{"defs", "clipPath", "mask", "symbol", "pattern", "marker", "metadata", "style", "title", "desc",
	"script", "filter", "linearGradient", "radialGradient", "foreignObject"}

func (r *svgReader) start(t xml.StartElement) {
	a := map[string]string{}
	for _, x := range t.Attr {
		if x.Name.Space == "" {
			a[x.Name.Local] = x.Value
		}
	}
	g := r.stack[len(r.stack)-1]
	g.shape, g.title = -1, false
	defer func() { r.stack = append(r.stack, g) }()
	name := t.Name.Local
	if t.Name.Space != "" && t.Name.Space != "http://www.w3.org/2000/svg" {
		g.skip = true
		return
	}
	if name == "title" {
		g.title = true
	}
	if slices.Contains(unseen, name) {
		g.skip = true
	}
	if g.skip {
		return
	}
	style := strings.ReplaceAll(a["style"], " ", "")
	if a["display"] == "none" || strings.Contains(style, "display:none") ||
		a["visibility"] == "hidden" || strings.Contains(style, "visibility:hidden") {
		g.hidden = true
	}
	if strings.HasPrefix(style, "transform:") || strings.Contains(style, ";transform:") {
		r.at("<%s id=%s> is moved by a transform in its style attribute, which is not read: move it by `transform=`", name, quote(a["id"]))
	}
	if s := a["transform"]; s != "" {
		m, err := parseTransform(s)
		if err != nil {
			r.at("<%s id=%s>: %v", name, quote(a["id"]), err)
		} else {
			g.m = g.m.mul(m)
		}
	}
	r.classOf(&g, name, a)
	if name == "svg" {
		if len(r.stack) == 1 {
			r.viewBox(a)
		} else {
			r.note("a drawing inside the drawing is passed over")
			g.skip = true
		}
		return
	}
	rings, isShape, err := element(name, a, flatness/math.Max(g.m.stretch(), 1e-9))
	if !isShape {
		if (name == "use" || name == "text") && g.class != "" && !g.hidden {
			r.at("<%s id=%s> of class %s is not read: make it a path (unlink clones, convert text)", name, quote(a["id"]), g.class)
		}
		return
	}
	if g.hidden {
		r.note("<%s id=%s> is hidden in the drawing and passed over", name, quote(a["id"]))
		g.skip = true
		return
	}
	if err != nil {
		r.at("<%s id=%s>: %v", name, quote(a["id"]), err)
		return
	}
	for _, ring := range rings {
		r.points += len(ring)
		for i := range ring {
			ring[i] = g.m.at(ring[i])
			if p := ring[i]; !(math.Abs(p.X) <= maxCoord && math.Abs(p.Y) <= maxCoord) {
				r.at("<%s id=%s> has a point beyond ±%.0f px", name, quote(a["id"]), float64(maxCoord))
				return
			}
		}
	}
	if name == "path" && !evenOdd(a, style) {
		rings = solid(rings)
	}
	g.shape = len(r.doc.shapes)
	r.doc.shapes = append(r.doc.shapes, svgShape{id: plainID(strings.TrimSpace(a["id"])), class: g.class, words: g.words,
		element: name, rings: rings, line: r.line, col: r.col})
}

func evenOdd(a map[string]string, style string) bool {
	return a["fill-rule"] == "evenodd" || strings.Contains(style, "fill-rule:evenodd")
}

func (r *svgReader) at(format string, args ...any) {
	r.found.at(r.file, r.line, r.col, format, args...)
}
func (r *svgReader) note(format string, args ...any) {
	r.found.note(r.file, r.line, format, args...)
}

// classOf reads the class words of an element: a known one replaces that of the groups around.
func (r *svgReader) classOf(g *group, name string, a map[string]string) {
	words := strings.Fields(a["class"])
	var known []string
	for _, w := range words {
		if slices.Contains(Classes, w) {
			known = append(known, w)
			continue
		}
		g.words = strings.TrimSpace(g.words + " " + w)
		if n := nearest(w, Classes); n != "" && letters(strings.ToLower(w), n) < 2 {
			r.at("<%s id=%s> has class %s: did you mean %s?", name, quote(a["id"]), quote(w), quote(n))
		}
	}
	switch len(known) {
	case 0:
	case 1:
		g.class = known[0]
	default:
		r.at("<%s id=%s> has the classes %s: only one is possible", name, quote(a["id"]), strings.Join(known, " and "))
	}
}

// viewBox reads the size of the drawing, in user units.
func (r *svgReader) viewBox(a map[string]string) {
	const need = `viewBox="0 0 W H" is needed, W and H being the reference photo's size in pixels`
	if a["viewBox"] == "" {
		w, e1 := pixels(a["width"])
		h, e2 := pixels(a["height"])
		if a["width"] == "" || a["height"] == "" || e1 != nil || e2 != nil || w <= 0 || h <= 0 {
			r.at("the drawing has no viewBox: %s", need)
			return
		}
		r.doc.w, r.doc.h = w, h
		return
	}
	v, err := numbers(a["viewBox"])
	switch {
	case err != nil || len(v) != 4:
		r.at("viewBox is %s: %s", quote(a["viewBox"]), need)
	case v[0] != 0 || v[1] != 0:
		r.at("viewBox is %s, it does not begin at 0 0: %s", quote(a["viewBox"]), need)
	case !(v[2] > 0 && v[3] > 0 && v[2] <= maxCoord && v[3] <= maxCoord):
		r.at("viewBox is %s: %s", quote(a["viewBox"]), need)
	default:
		r.doc.w, r.doc.h = v[2], v[3]
	}
}

// pixels reads a length in user units.
func pixels(s string) (float64, error) {
	t := strings.TrimSuffix(strings.TrimSpace(s), "px")
	if t == "" {
		return 0, nil
	}
	v, err := strconv.ParseFloat(t, 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, fmt.Errorf("%s is no number of pixels", quote(s))
	}
	return v, nil
}

// element returns the rings of a basic shape or path in its own user units, curves within tol. isShape is false for
// elements that draw no area or line.
func element(name string, a map[string]string, tol float64) (rings [][]plane.Point, isShape bool, err error) {
	num := func(key string) float64 {
		v, e := pixels(a[key])
		if e != nil && err == nil {
			err = fmt.Errorf("%s: %w", key, e)
		}
		return v
	}
	switch name {
	case "path":
		rings, err = parsePath(a["d"], tol)
	case "polygon", "polyline":
		var v []float64
		if v, err = numbers(a["points"]); err == nil && len(v)%2 != 0 {
			err = errors.New("points holds an odd number of coordinates")
		}
		var ring []plane.Point
		for i := 0; err == nil && i < len(v); i += 2 {
			ring = append(ring, plane.Point{X: v[i], Y: v[i+1]})
		}
		rings = [][]plane.Point{ring}
	case "line":
		rings = [][]plane.Point{{{X: num("x1"), Y: num("y1")}, {X: num("x2"), Y: num("y2")}}}
	case "rect":
		x, y, w, h := num("x"), num("y"), num("width"), num("height")
		rx, ry := num("rx"), num("ry")
		if a["rx"] == "" || a["rx"] == "auto" {
			rx = ry
		}
		if a["ry"] == "" || a["ry"] == "auto" {
			ry = rx
		}
		if err == nil && (w < 0 || h < 0 || rx < 0 || ry < 0) {
			err = errors.New("a negative size")
		}
		if err == nil {
			rings = [][]plane.Point{rounded(x, y, w, h, math.Min(rx, w/2), math.Min(ry, h/2), tol)}
		}
	case "circle", "ellipse":
		cx, cy, rx, ry := num("cx"), num("cy"), num("rx"), num("ry")
		if name == "circle" {
			rx = num("r")
			ry = rx
		}
		if err == nil && (rx < 0 || ry < 0) {
			err = errors.New("a negative radius")
		}
		if err == nil {
			left, right := plane.Point{X: cx - rx, Y: cy}, plane.Point{X: cx + rx, Y: cy}
			ring := arc([]plane.Point{right}, right, rx, ry, 0, false, true, left, tol)
			rings = [][]plane.Point{arc(ring, left, rx, ry, 0, false, true, right, tol)}
		}
	default:
		return nil, false, nil
	}
	return rings, true, err
}

// rounded returns a rectangle whose corners are quarter ellipses of the radii rx, ry.
func rounded(x, y, w, h, rx, ry, tol float64) []plane.Point {
	if rx == 0 || ry == 0 {
		return []plane.Point{{X: x, Y: y}, {X: x + w, Y: y}, {X: x + w, Y: y + h}, {X: x, Y: y + h}}
	}
	ring := []plane.Point{{X: x + rx, Y: y}, {X: x + w - rx, Y: y}}
	corner := func(to, next plane.Point) {
		ring = append(arc(ring, ring[len(ring)-1], rx, ry, 0, false, true, to, tol), next)
	}
	corner(plane.Point{X: x + w, Y: y + ry}, plane.Point{X: x + w, Y: y + h - ry})
	corner(plane.Point{X: x + w - rx, Y: y + h}, plane.Point{X: x + rx, Y: y + h})
	corner(plane.Point{X: x, Y: y + h - ry}, plane.Point{X: x, Y: y + ry})
	corner(plane.Point{X: x + rx, Y: y}, plane.Point{X: x + rx, Y: y})
	return ring
}
