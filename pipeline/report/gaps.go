package report

import (
	"fmt"
	"html/template"
	"math"
	"strings"

	"tilelapse/measure/plane"
	"tilelapse/pipeline/report/words"
	"tilelapse/pipeline/table"
)

// gapPage is a view's map of tiles that were once seen missing or off-palette.
type gapPage struct {
	View   string
	W, H   int
	Back   template.URL
	Shapes []gapShape
	Rows   []gapRow
}

type gapShape struct {
	No                  int
	Points, Label, Year string
	Title               string
	X, Y                float64
	Size                float64 // of the label, in units of the map
	Kind                string  // missing, offpalette or back
}

type gapRow struct {
	No                        int
	Tile, Zone, Kind          string
	LastPresent, First, Final string
	FinalVisit                string
	Confidence                string
	Recorded                  string
	Why                       string
	Beside                    float64
	AreaPx                    float64
	Corrected                 bool // a person's reading differs from the program's on some visit
}

// Back reports whether the tile was seen present again at its last reading.
func (r gapRow) Back() bool { return r.Final == "present" }

// gaps lists every tile once read as missing or off-palette, with when it was last seen present.
func (p *page) gaps(w words.Table) {
	for _, v := range p.Views {
		ring := map[string]Tile{}
		for _, t := range v.Tiles {
			ring[t.ID] = t
		}
		g := gapPage{View: v.ID, W: v.W, H: v.H}
		for i, j := 0, 0; i < len(p.Set.Tiles); i = j {
			t := p.Set.Tiles[i]
			for j = i; j < len(p.Set.Tiles) && p.Set.Tiles[j].View == t.View && p.Set.Tiles[j].Tile == t.Tile; j++ {
			}
			if t.View != v.ID {
				continue
			}
			r, ok := gapOf(p.Set.Tiles[i:j])
			if !ok {
				continue
			}
			r.No = len(g.Rows) + 1
			g.Rows = append(g.Rows, r)
			if tile, ok := ring[r.Tile]; ok {
				g.Shapes = append(g.Shapes, p.shapeOf(v.ID, tile.Ring, r, float64(max(v.W, v.H)), w))
			}
		}
		p.Gaps = append(p.Gaps, g)
	}
}

func (p *page) shapeOf(view string, ring []plane.Point, r gapRow, side float64, w words.Table) gapShape {
	s := gapShape{No: r.No, Kind: r.Kind, Label: fmt.Sprint(r.No), Year: yearsOf(p.day(view, r.First))}
	if r.Back() {
		s.Kind = "back"
	}
	last := p.day(view, r.LastPresent)
	if last == "" {
		last = w.Say("gap.never")
	}
	s.Title = w.Say("gap.title", r.No, w.Say("state."+r.Kind), last, p.day(view, r.First))
	s.Points, s.X, s.Y = outline(ring)
	s.Size = labelSize(ring, side)
	return s
}

// labelSize fits a label to a tile: as high as a good half of it, between the smallest that can still be read in a
// picture whose longer side is given and one that does not shout.
func labelSize(ring []plane.Point, side float64) float64 {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, p := range ring {
		lo, hi = math.Min(lo, p.X), math.Max(hi, p.X)
	}
	return math.Min(math.Max(0.42*(hi-lo), side/85), side/42)
}

func year(iso string) string {
	if len(iso) < 4 {
		return iso
	}
	return iso[:4]
}

// outline writes a ring for a polygon, and the middle of its corners.
func outline(ring []plane.Point) (points string, x, y float64) {
	var pts []string
	for _, q := range ring {
		pts = append(pts, fmt.Sprintf("%.1f,%.1f", q.X, q.Y))
		x += q.X / float64(len(ring))
		y += q.Y / float64(len(ring))
	}
	return strings.Join(pts, " "), x, y
}

// gapOf sums up one tile's rows, in visit order: the first visit it is given as missing or off-palette, after
// corrections.
func gapOf(rows []table.Tile) (gapRow, bool) {
	var r gapRow
	found := false
	last := ""
	for _, t := range rows {
		r.Corrected = r.Corrected || t.StateFinal != t.State
		switch t.StateFinal {
		case "present":
			if !found {
				last = t.Visit
			}
			r.Final, r.FinalVisit = t.StateFinal, t.Visit
		case "missing", "offpalette":
			r.Final, r.FinalVisit = t.StateFinal, t.Visit
			if !found {
				found = true
				r.Tile, r.Zone, r.Kind, r.LastPresent, r.First = t.Tile, t.Zone, t.StateFinal, last, t.Visit
				r.Confidence, r.Recorded, r.Why, r.Beside = table.Number(t.Confidence, 2), t.Recorded, t.Why, t.GapsBeside
				r.AreaPx = t.AreaPx
				if math.IsNaN(t.GapsBeside) {
					r.Beside = 0
				}
			}
		}
	}
	return r, found
}
