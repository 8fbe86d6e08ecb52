package survey

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"tilelapse/measure/plane"
)

// Classes are the classes a shape of a regions SVG may have.
var Classes = []string{"zone", "tile", "control", "deposit", "scaled", "gap", "glaze", "chart", "length", "ignore"}

// ParseDrawing reads a regions SVG: shapes sorted by class, in reference px. file names it in mistakes. The error is
// Mistakes.
func ParseDrawing(data []byte, file string) (*Drawing, error) {
	found := &findings{}
	d := readDrawing(data, file, found)
	if m := found.sorted(); len(m) > 0 {
		return nil, m
	}
	return d, nil
}

// readDrawing is ParseDrawing with the mistakes recorded; nil when the file could not be read at all.
func readDrawing(data []byte, file string, found *findings) *Drawing {
	own := &findings{}
	doc := readSVG(data, file, own)
	found.mistakes = append(found.mistakes, own.mistakes...)
	if doc == nil {
		return nil
	}
	s := sorter{file: file, found: found, d: &Drawing{W: doc.w, H: doc.h, Notes: own.notes}, used: map[string]names{}}
	unnamed := 0
	for _, shape := range doc.shapes {
		if shape.class == "" {
			if unnamed++; unnamed <= 20 { // a decorated drawing has thousands
				s.note(shape, "has none of the classes %s and is passed over", strings.Join(Classes, ", "))
			}
			continue
		}
		s.sort(shape)
	}
	if unnamed > 20 {
		s.d.Notes = append(s.d.Notes, fmt.Sprintf("%s: %d shapes without a known class are passed over", file, unnamed))
	}
	s.nameRest()
	return s.d
}

// sorter puts shapes where their class belongs.
type sorter struct {
	file  string
	found *findings
	d     *Drawing
	used  map[string]names // by class
}

func (s *sorter) at(x svgShape, format string, args ...any) {
	s.found.at(s.file, x.line, x.col, "<%s id=%s class=%q> %s", x.element, quote(x.id), x.class, fmt.Sprintf(format, args...))
}

func (s *sorter) note(x svgShape, format string, args ...any) {
	s.d.Notes = append(s.d.Notes, Mistake{File: s.file, Line: x.line,
		Text: fmt.Sprintf("<%s id=%s> %s", x.element, quote(x.id), fmt.Sprintf(format, args...))}.String())
}

func (s *sorter) sort(x svgShape) {
	for i := range x.rings { // user units have their origin at the corner of the first pixel, px at its centre
		for j := range x.rings[i] {
			x.rings[i][j].X -= 0.5
			x.rings[i][j].Y -= 0.5
		}
		x.rings[i] = tidy(x.rings[i])
	}
	if x.class == "length" {
		s.length(x)
		return
	}
	var rings [][]plane.Point
	for _, r := range x.rings {
		if len(r) > 2 && math.Abs(area(r)) > 0 {
			rings = append(rings, r)
		}
	}
	const least = 1 // px²
	var largest float64
	for _, r := range rings {
		largest = math.Max(largest, math.Abs(area(r)))
	}
	if largest < least {
		s.at(x, "encloses less than %d px²: an outline is needed", least)
		return
	}
	if x0, y0, x1, y1 := bounds(rings); s.d.W > 0 && (x1 < -0.5 || y1 < -0.5 || x0 > s.d.W-0.5 || y0 > s.d.H-0.5) {
		s.at(x, "lies outside the picture (x %.0f to %.0f, y %.0f to %.0f; the picture is %s × %s px)", x0, x1, y0, y1,
			short(s.d.W), short(s.d.H))
		return
	}
	for _, r := range rings {
		if crossed(r) {
			if len(r) <= 8 { // corners clicked in the wrong order: the area would be wrong
				s.at(x, "crosses itself: set its %d corners in order around it", len(r))
				return
			}
			s.note(x, "crosses itself: parts of it that overlap do not count as inside")
			break
		}
	}
	if x.class == "zone" || x.class == "tile" {
		if x.id != "" {
			if bad := checkID(x.id); bad != "" {
				s.at(x, "%s", bad)
				return
			}
		}
	}
	if x.class == "glaze" && x.id == "" {
		s.at(x, "has no id: the name of its glaze is needed")
		return
	}
	if x.class == "chart" && (len(rings) != 1 || len(rings[0]) != 4) {
		s.at(x, "has not four corners: the outline of the chart's patches is needed, four points")
		return
	}
	if x.id != "" {
		if s.used[x.class] == nil {
			s.used[x.class] = names{}
		}
		if err := s.used[x.class].add(x.id, x.line); err != nil {
			s.at(x, "%v", err)
			return
		}
	}
	title := strings.Join(strings.Fields(x.title), " ")
	list := s.list(x.class)
	*list = append(*list, Shape{Region: plane.Region{ID: x.id, Rings: rings}, Title: title, Line: x.line, Col: x.col})
}

func (s *sorter) list(class string) *[]Shape {
	switch class {
	case "zone":
		return &s.d.Zones
	case "tile":
		return &s.d.Tiles
	case "control":
		return &s.d.Controls
	case "deposit":
		return &s.d.Deposits
	case "scaled":
		return &s.d.Scaled
	case "gap":
		return &s.d.Gaps
	case "glaze":
		return &s.d.Glazes
	case "chart":
		return &s.d.Chart
	}
	return &s.d.Ignore
}

// nameRest makes up the ids that are absent, in the order of drawing, and titles equal to the ids where there is none.
func (s *sorter) nameRest() {
	for _, class := range Classes {
		if class == "length" {
			continue
		}
		list, n := *s.list(class), 0
		for i := range list {
			for list[i].ID == "" {
				n++
				id := fmt.Sprintf("%s-%d", class, n)
				if s.used[class][id] == (place{}) {
					list[i].ID = id
				}
			}
			if list[i].Title == "" {
				list[i].Title = list[i].ID
			}
		}
	}
}

// measured is a length with its unit; a tail keeps ids apart (1200mm-2), since an id may stand in a file only once.
var measured = regexp.MustCompile(`^(\d+(?:[.,]\d+)?)\s*(mm|cm|m|in|ft|′|″|'|")(?:(\d+(?:[.,]\d+)?)\s*(in|″|"))?(?:[-_ .#].*)?$`)

// millimetres of the units a length may have. The inch is 25.4 mm exactly (international yard and pound agreement, 1959).
var millimetres = map[string]float64{"mm": 1, "cm": 10, "m": 1000, "in": 25.4, "″": 25.4, `"`: 25.4, "ft": 304.8, "′": 304.8, "'": 304.8}

// ParseLength reads a length such as 1200mm, 1.2m, 48in, 4ft or 4ft6in, and returns millimetres.
func ParseLength(s string) (float64, error) {
	bad := fmt.Errorf("%s is no length: write it like 1200mm, 1.2m, 4ft or 48in", quote(s))
	m := measured.FindStringSubmatch(strings.TrimSpace(s))
	if m == nil {
		return 0, bad
	}
	one := func(number, unit string) float64 {
		v, _ := strconv.ParseFloat(strings.ReplaceAll(number, ",", "."), 64)
		return v * millimetres[unit]
	}
	mm := one(m[1], m[2])
	if m[3] != "" {
		if !slices.Contains([]string{"ft", "′", "'"}, m[2]) {
			return 0, bad
		}
		mm += one(m[3], m[4])
	}
	if !(mm >= 1 && mm <= 1e6) {
		return 0, fmt.Errorf("%s is %s mm: needed is a length from 1 mm to 1 km", quote(s), short(mm))
	}
	return mm, nil
}

// length reads a line of known length: two points, the length in its id or title.
func (s *sorter) length(x svgShape) {
	if len(x.rings) != 1 || len(x.rings[0]) != 2 {
		s.at(x, "is no line of two points: draw a straight line from end to end of the known length")
		return
	}
	a, b := x.rings[0][0], x.rings[0][1]
	if math.Hypot(a.X-b.X, a.Y-b.Y) < 10 {
		s.at(x, "is shorter than 10 px: a longer line is needed")
		return
	}
	mm, err := ParseLength(x.id)
	if err != nil {
		var e2 error
		if mm, e2 = ParseLength(x.title); e2 != nil {
			s.at(x, "%v (as its id or title)", err)
			return
		}
	}
	for _, p := range []plane.Point{a, b} {
		if s.d.W > 0 && (p.X < -0.5 || p.Y < -0.5 || p.X > s.d.W-0.5 || p.Y > s.d.H-0.5) {
			s.at(x, "ends outside the picture: both ends are needed in it")
			return
		}
	}
	s.d.Lengths = append(s.d.Lengths, Length{A: a, B: b, MM: mm})
}

// CheckSize returns an error when a drawing's size is not that of the view's reference photo, w × h px upright. A view
// without drawing has nothing to check.
func CheckSize(v *View, w, h int) error {
	d := v.Drawing
	if d == nil || d.W <= 0 || d.H <= 0 || w <= 0 || h <= 0 {
		return nil
	}
	if math.Abs(d.W-float64(w)) < 0.5 && math.Abs(d.H-float64(h)) < 0.5 {
		return nil
	}
	why := "draw over the photo at its own size"
	switch {
	case math.Abs(d.W-float64(h)) < 0.5 && math.Abs(d.H-float64(w)) < 0.5:
		why = "it was drawn over the photo turned by 90°; draw over the upright photo"
	case math.Abs(d.W/d.H*float64(h)/float64(w)-1) < 0.01:
		why = `same shape, other size: keep user units equal to pixels (in the document settings, scale and unit "px")`
	}
	return fmt.Errorf("viewBox is 0 0 %s %s, but %s has %d × %d px: %s", short(d.W), short(d.H), v.Reference, w, h, why)
}

// Whole returns what is to be measured in a view whose reference photo has w × h px: its drawing, or an empty one; where
// no zone is drawn the whole picture is one zone named like the view.
func (v *View) Whole(w, h int) *Drawing {
	d := Drawing{W: float64(w), H: float64(h)}
	if v.Drawing != nil {
		d = *v.Drawing
	}
	if len(d.Zones) == 0 {
		d.Zones = []Shape{{Region: plane.Whole(v.ID, w, h), Title: v.ID}}
	}
	return &d
}
