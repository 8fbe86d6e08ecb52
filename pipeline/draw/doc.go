// Package draw makes the pictures of a run: what was found on a visit, what came and went since the visit before, and
// why a photo was rejected.
//
// The look follows map making and print: the photo becomes a pale base map, one dark hue carries the measured opacity in
// classes, and every state of a tile has its own shape or hatching, so that the pictures read the same for
// colour-blind eyes and in grey print. The legend is the same on every picture of a series.
//
// Positions of Scene are measuring px, pixel centres at whole numbers. The same scene gives the same pixels.
package draw

import (
	"image"

	"tilelapse/measure/plane"
	"tilelapse/pipeline/report/words"
)

// Codes of an opacity plane, as measure writes them; this package does not depend on the measuring itself.
const (
	opacityMax   = 200 // code of opacity 1
	pixGap       = 251 // bed of a missing tile
	pixOther     = 252 // neither glaze nor scale
	pixHidden    = 253 // something stands in front
	pixUnread    = 254 // glare, shadow, clipping, out of frame
	pixElsewhere = 255 // not tile
)

// States of a tile (contract words).
const (
	Present    = "present"
	Missing    = "missing"
	OffPalette = "offpalette"
	Hidden     = "hidden"
	Unreadable = "unreadable"
	OutOfFrame = "outside"
)

// Zone is an area reported on. Its ID is drawn into it, and Text below the id when it is not empty.
type Zone struct {
	ID    string
	Title string // shown to people elsewhere; pictures bear ids only
	Text  string // a short line of figures, plain ASCII
	Rings [][]plane.Point
}

// Tile is one tile as found on the visit.
type Tile struct {
	ID       string
	Rings    [][]plane.Point
	State    string // one of the states; "" is drawn like present
	Recorded string // what the upkeep file says of it; not empty = marked as recorded
}

// Scene is what was found on one visit of a view.
type Scene struct {
	Site, View string
	Visit      string // date, as text
	W, H       int    // measuring frame, px

	Picture   *image.RGBA // W × H, sRGB, the aligned photo; alpha 0 = out of its frame
	Opacity   []uint8     // W*H codes; nil = no opacity was measured
	Threshold float64     // a spot counts as whitened from this opacity on; 0 = 0.20
	Zones     []Zone
	Tiles     []Tile
	Controls  []plane.Region
	Hidden    []bool // W*H, what stands in front anywhere in the picture; nil = as in Opacity

	MMPerPx float64 // per measuring px; 0 = unknown: no scale bar
	Approx  bool    // the scale differs over the picture: the bar says so
	Units   string  // "us" = feet and inches, else metric

	Words  words.Table // of the language the picture speaks
	Masked bool        // what stands in front is opaque and the surroundings are coarsened
	Notes  []string    // lines below the legend
}

// OnFrame returns rings of reference px in measuring px, as Scene wants them.
func OnFrame(f plane.Frame, rings [][]plane.Point) [][]plane.Point {
	out := make([][]plane.Point, len(rings))
	for i, r := range rings {
		out[i] = make([]plane.Point, len(r))
		for j, p := range r {
			out[i][j].X, out[i][j].Y = f.FromRef(p.X, p.Y)
		}
	}
	return out
}

// say words a text of the pictures.
func (s *Scene) say(key string, a ...any) string { return s.Words.Say("draw."+key, a...) }

// threshold returns the opacity from which on a spot counts as whitened.
func (s *Scene) threshold() float64 {
	if s.Threshold > 0 && s.Threshold <= 1 {
		return s.Threshold
	}
	return 0.20
}

// code returns the opacity code at a measuring pixel.
func (s *Scene) code(i int) uint8 {
	if s.Opacity == nil {
		return pixElsewhere
	}
	return s.Opacity[i]
}

// out reports whether a measuring pixel lies outside the photo.
func (s *Scene) out(i int) bool { return s.Picture == nil || s.Picture.Pix[4*i+3] == 0 }

// normal returns the scene with planes of the frame's size; those of another size are left out.
func (s *Scene) normal() Scene {
	n := *s
	if n.W < 1 || n.H < 1 {
		n.W, n.H = 1, 1
	}
	if n.Picture != nil {
		if b := n.Picture.Bounds(); b.Dx() != n.W || b.Dy() != n.H {
			n.Picture = nil
		} else if n.Picture.Stride != 4*n.W || b.Min != (image.Point{}) {
			p := image.NewRGBA(image.Rect(0, 0, n.W, n.H))
			for y := range n.H {
				o := n.Picture.PixOffset(b.Min.X, b.Min.Y+y)
				copy(p.Pix[4*n.W*y:4*n.W*(y+1)], n.Picture.Pix[o:o+4*n.W])
			}
			n.Picture = p
		}
	}
	if len(n.Opacity) != n.W*n.H {
		n.Opacity = nil
	}
	if len(n.Hidden) != n.W*n.H {
		n.Hidden = nil
	}
	return n
}
