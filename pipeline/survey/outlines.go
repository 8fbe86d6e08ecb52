package survey

import (
	"bufio"
	"cmp"
	"encoding/xml"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"tilelapse/measure/plane"
)

// WriteOutlines writes tiles as a regions SVG over a reference photo of width × height px: polygons of class tile, sorted
// by id, to hundredths of a pixel. Rings are in reference px; user units are half a pixel more. The file opens in any
// vector drawing program, and ParseDrawing reads it back.
func WriteOutlines(out io.Writer, width, height int, tiles []plane.Region) error {
	d := Drawing{W: float64(width), H: float64(height)}
	for _, t := range tiles {
		d.Tiles = append(d.Tiles, Shape{Region: t, Title: t.ID})
	}
	return WriteDrawing(out, &d, "")
}

// inks are the strokes shapes of a class are drawn with, so that a drawing can be read in a drawing program.
var inks = map[string]string{"zone": "#00802b", "tile": "#c05a00", "control": "#0060c0", "deposit": "#8000a0",
	"scaled": "#8000a0", "gap": "#c00020", "glaze": "#806000", "chart": "#806000", "ignore": "#606060", "length": "#0060c0"}

// WriteDrawing writes a regions SVG of all shapes of d, a group a class, sorted by id. image is the path of the reference
// photo from the SVG's folder on, "" for none.
func WriteDrawing(out io.Writer, d *Drawing, image string) error {
	w := bufio.NewWriter(out)
	fmt.Fprintf(w, "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n")
	fmt.Fprintf(w, "<svg xmlns=\"http://www.w3.org/2000/svg\" xmlns:xlink=\"http://www.w3.org/1999/xlink\" viewBox=\"0 0 %[1]s %[2]s\" width=\"%[1]s\" height=\"%[2]s\">\n",
		units(d.W-0.5), units(d.H-0.5))
	if image != "" {
		fmt.Fprintf(w, "  <image xlink:href=\"%s\" x=\"0\" y=\"0\" width=\"%s\" height=\"%s\"/>\n", attr(image), units(d.W-0.5), units(d.H-0.5))
	}
	line := math.Max(1, math.Round(math.Max(d.W, d.H)/1600))
	s := sorter{d: d}
	for _, class := range Classes {
		if class == "length" {
			continue
		}
		shapes := slices.Clone(*s.list(class))
		if len(shapes) == 0 {
			continue
		}
		slices.SortStableFunc(shapes, func(a, b Shape) int { return cmp.Compare(a.ID, b.ID) })
		fmt.Fprintf(w, "  <g fill=\"none\" stroke=\"%s\" stroke-width=\"%s\">\n", inks[class], short(line))
		for _, x := range shapes {
			writeShape(w, class, x)
		}
		fmt.Fprintf(w, "  </g>\n")
	}
	if len(d.Lengths) > 0 {
		fmt.Fprintf(w, "  <g fill=\"none\" stroke=\"%s\" stroke-width=\"%s\">\n", inks["length"], short(2*line))
		used := map[string]int{}
		for _, x := range d.Lengths {
			id := short(x.MM) + "mm"
			if used[id]++; used[id] > 1 {
				id += fmt.Sprintf("-%d", used[id])
			}
			fmt.Fprintf(w, "    <line class=\"length\" id=\"%s\" x1=\"%s\" y1=\"%s\" x2=\"%s\" y2=\"%s\"/>\n", id,
				units(x.A.X), units(x.A.Y), units(x.B.X), units(x.B.Y))
		}
		fmt.Fprintf(w, "  </g>\n")
	}
	fmt.Fprintf(w, "</svg>\n")
	return w.Flush()
}

func writeShape(w io.Writer, class string, x Shape) {
	end := "/>"
	if x.Title != "" && x.Title != x.ID {
		end = "><title>" + attr(x.Title) + "</title>"
	}
	if len(x.Rings) == 1 {
		fmt.Fprintf(w, "    <polygon class=\"%s\" id=\"%s\" points=\"%s\"%s", class, attr(x.ID), pairs(x.Rings[0]), end)
		if end != "/>" {
			fmt.Fprint(w, "</polygon>")
		}
	} else {
		fmt.Fprintf(w, "    <path class=\"%s\" id=\"%s\" fill-rule=\"evenodd\" d=\"", class, attr(x.ID))
		for i, r := range x.Rings {
			if i > 0 {
				fmt.Fprint(w, " ")
			}
			fmt.Fprintf(w, "M %s Z", pairs(r))
		}
		fmt.Fprintf(w, "\"%s", end)
		if end != "/>" {
			fmt.Fprint(w, "</path>")
		}
	}
	fmt.Fprintln(w)
}

func pairs(ring []plane.Point) string {
	p := make([]string, len(ring))
	for i, q := range ring {
		p[i] = units(q.X) + "," + units(q.Y)
	}
	return strings.Join(p, " ")
}

// units writes a pixel position in user units, to hundredths.
func units(px float64) string {
	v := math.Round((px+0.5)*100) / 100
	if v == 0 { // no negative zero
		v = 0
	}
	return strconv.FormatFloat(v, 'f', -1, 64)
}

func attr(s string) string {
	var b strings.Builder
	_ = xml.EscapeText(&b, []byte(s)) // a strings.Builder takes every byte
	return b.String()
}
