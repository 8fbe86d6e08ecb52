package outline

import (
	"fmt"
	"math"
	"sort"

	"tilelapse/measure/plane"
)

// Tile is one tile's outline: one ring in reference px, clockwise on the screen when found, as drawn when given.
type Tile struct {
	plane.Region
	Centroid plane.Point // reference px
	AreaPx   float64     // reference px²
	Given    bool        // drawn by the user
	// Likeness is how much the cell looks like a tile, 0..1: closed by joints, clean inside, of its neighbours' size; 1 when
	// given. Under 0.4 it is worth a look.
	Likeness float64
}

// probe lets tests look at planes on their way; nil outside them.
var probe func(name string, w, h int, v []float32)

// Find returns the tiles whose centroid lies in one of the zones, in reading order: top to bottom in rows of a typical
// tile's height, left to right. ref is the reference photo on the measuring frame f; zones, ignore, gaps and given are in
// reference px. No zones means the whole view. What lies in ignore or gaps is no tile; a marked surface that is not
// tiled (a control) belongs in ignore. Given outlines are kept as they are, and no found tile takes their place.
//
// Found tiles are named after their place, rYYYcXXX, in thousandths of the reference's height and width: a tile more or
// less elsewhere changes no name. The result does not depend on the number of processors.
//
// Outlines that can't be tiles (one that covers most of a large zone, a few where there must be many) are dropped, and
// the zone may be left without any: its joints were not seen, and its tiles are to be drawn.
//
// The error is ErrNoJoints when there are neither joints nor given outlines, else one of wrong arguments.
func Find(ref *plane.Image, f plane.Frame, zones, ignore, gaps, given []plane.Region, opt Options) ([]Tile, error) {
	if err := opt.Validate(); err != nil {
		return nil, err
	}
	if w, h := f.Size(); ref == nil || w != ref.W || h != ref.H || len(ref.RGB) != 3*w*h {
		return nil, fmt.Errorf("outline: picture does not fit the frame of %d x %d px", w, h)
	}
	var tiles []Tile
	for _, g := range given {
		t := Tile{Region: g, Given: true, Likeness: 1}
		t.AreaPx, t.Centroid = regionCentroid(g.Rings)
		if t.AreaPx > 0 && inZones(zones, t.Centroid) {
			tiles = append(tiles, t)
		}
	}
	for _, t := range coarseToFine(ref, f, zones, ignore, gaps, given, opt) {
		if inZones(zones, t.Centroid) {
			tiles = append(tiles, t)
		}
	}
	if len(tiles) == 0 {
		return nil, ErrNoJoints
	}
	order(tiles)
	name(tiles, f, given)
	return tiles, nil
}

// reductions of the measuring frame at which tiles are looked for: joints of 2 to 20 px are seen at the frame's own size,
// the wider ones of few large tiles in a smaller picture.
var reductions = []int{1, 2, 4}

// coarser is how much better a smaller picture must explain the zones before it is believed.
const coarser = 1.1

const (
	// doubtful is the worth under which joints are also looked for as mere lines (rendered and real views with joints of
	// 3 px and more reach 0.5 and over).
	doubtful = 0.45
	// otherwise is how much better mere lines must do.
	otherwise = 1.2
)

// coarseToFine finds tiles at every reduction and keeps those that fill the zones best.
func coarseToFine(ref *plane.Image, f plane.Frame, zones, ignore, gaps, given []plane.Region, opt Options) []Tile {
	var best []Tile
	top := 0.0
	for _, r := range reductions {
		o := opt
		o.LeastArea = max(opt.LeastArea/float64(r*r), 40)
		img, frame := ref, f
		if r > 1 {
			o.Tolerance = opt.Tolerance / float64(r)
			img, frame = reduced(ref, r), plane.Frame{RefW: f.RefW, RefH: f.RefH, K: f.K * r}
		}
		if min(img.W, img.H) < 100 && r > 1 {
			break
		}
		s := open(img, frame, zones, ignore, gaps, given)
		if s == nil {
			break
		}
		try := func(e *evidence, than float64) {
			if e == nil {
				return
			}
			tiles, worth := s.tiles(e, frame, o)
			// What can't be tiles explains nothing: the worth counts for the share of the area that stays.
			if kept := believable(tiles, zones, f); len(kept) < len(tiles) {
				worth *= area(kept) / area(tiles)
				tiles = kept
			}
			if probe != nil {
				probe("worth", r, len(tiles), []float32{float32(worth)})
			}
			if worth > top*than {
				best, top = tiles, worth
			}
		}
		try(s.byMaterial(), coarser)
		if r == 1 && top < doubtful {
			try(s.byLine(-1), otherwise)
			try(s.byLine(+1), otherwise)
		}
	}
	return best
}

func area(tiles []Tile) float64 {
	sum := 0.0
	for _, t := range tiles {
		sum += t.AreaPx
	}
	return sum
}

// reduced averages r x r pixels; a pixel out of the photo makes the whole so.
func reduced(ref *plane.Image, r int) *plane.Image {
	out := plane.New(ref.W/r, ref.H/r)
	rows(out.H, func(a, b int) {
		for y := a; y < b; y++ {
			for x := range out.W {
				var c [3]float32
				var flags uint8
				for j := range r {
					for i := range r {
						o := (y*r+j)*ref.W + x*r + i
						for k := range c {
							c[k] += ref.RGB[3*o+k]
						}
						if ref.Flags != nil {
							flags |= ref.Flags[o]
						}
					}
				}
				o := y*out.W + x
				out.Flags[o] = flags
				for k := range c {
					out.RGB[3*o+k] = c[k] / float32(r*r)
				}
			}
		}
	})
	return out
}

func inZones(zones []plane.Region, p plane.Point) bool {
	if len(zones) == 0 {
		return true
	}
	for _, z := range zones {
		if contains(z.Rings, p) {
			return true
		}
	}
	return false
}

// order sorts tiles into reading order.
func order(tiles []Tile) {
	side := make([]float64, len(tiles))
	for i, t := range tiles {
		side[i] = math.Sqrt(t.AreaPx)
	}
	sort.Float64s(side)
	row := max(side[len(side)/2], 1)
	sort.SliceStable(tiles, func(i, j int) bool {
		a, b := tiles[i].Centroid, tiles[j].Centroid
		if ra, rb := math.Floor(a.Y/row), math.Floor(b.Y/row); ra != rb {
			return ra < rb
		}
		if a.X != b.X {
			return a.X < b.X
		}
		return a.Y < b.Y
	})
}

// name gives found tiles their ids.
func name(tiles []Tile, f plane.Frame, given []plane.Region) {
	taken := map[string]bool{}
	for _, g := range given {
		taken[fold(g.ID)] = true
	}
	for i := range tiles {
		t := &tiles[i]
		if t.Given {
			continue
		}
		y := min(max(int(1000*(t.Centroid.Y+0.5)/float64(f.RefH)), 0), 999)
		x := min(max(int(1000*(t.Centroid.X+0.5)/float64(f.RefW)), 0), 999)
		id := fmt.Sprintf("r%03dc%03d", y, x)
		for n := 2; taken[id]; n++ {
			id = fmt.Sprintf("r%03dc%03d-%d", y, x, n)
		}
		taken[id] = true
		t.ID = id
	}
}
