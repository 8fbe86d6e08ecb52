package outline

import (
	"math"
	"sort"

	"tilelapse/measure/plane"
)

// Joint is what lies between two neighbouring tiles.
type Joint struct {
	A, B     int     // indices of the tiles, A < B
	WidthPx  float64 // median distance between the two outlines where they face each other, reference px
	LengthPx float64 // how far they do, reference px
}

// sample is a place on an outline and the outline nearest to it.
type sample struct {
	other int
	dist  float64
}

// Joints returns the joints between tiles, ordered by A, then B. Two tiles are neighbours where the nearest other outline,
// seen from points all along theirs, is the other's, no farther away than three typical joints: a missing tile between
// them separates them.
func Joints(tiles []Tile, f plane.Frame) []Joint {
	if len(tiles) < 2 {
		return nil
	}
	var side []float64
	for _, t := range tiles {
		side = append(side, math.Sqrt(t.AreaPx))
	}
	sort.Float64s(side)
	limit := 0.5 * side[len(side)/2]
	pitch := max(float64(f.K), 1)
	near := nearest(tiles, limit, pitch)
	var all []float64
	for _, ss := range near {
		for _, s := range ss {
			all = append(all, s.dist)
		}
	}
	if len(all) == 0 {
		return nil
	}
	sort.Float64s(all)
	limit = min(limit, max(3*all[len(all)/2], 2*pitch))
	type pair struct{ a, b int }
	dist := map[pair][]float64{}
	for a, ss := range near {
		for _, s := range ss {
			if s.dist <= limit {
				p := pair{min(a, s.other), max(a, s.other)}
				dist[p] = append(dist[p], s.dist)
			}
		}
	}
	pairs := make([]pair, 0, len(dist))
	for p := range dist {
		pairs = append(pairs, p)
	}
	sort.Slice(pairs, func(i, j int) bool {
		if pairs[i].a != pairs[j].a {
			return pairs[i].a < pairs[j].a
		}
		return pairs[i].b < pairs[j].b
	})
	var out []Joint
	for _, p := range pairs {
		d := dist[p]
		sort.Float64s(d)
		// points around the corner see the other tile's corner: they do not face it
		d = d[:sort.SearchFloat64s(d, 1.5*median(d)+1e-9)]
		length := float64(len(d)) / 2 * pitch // seen from both sides
		if length < 0.1*math.Sqrt(min(tiles[p.a].AreaPx, tiles[p.b].AreaPx)) {
			continue
		}
		m := median(d)
		out = append(out, Joint{p.a, p.b, m, length})
	}
	return out
}

// median of ascending values, the middle of the two for an even number.
func median(d []float64) float64 {
	n := len(d)
	return (d[n/2] + d[(n-1)/2]) / 2
}

// Graph returns every tile's neighbours, ascending: index i of the result belongs to tiles[i].
func Graph(tiles []Tile, f plane.Frame) [][]int {
	out := make([][]int, len(tiles))
	for _, j := range Joints(tiles, f) {
		out[j.A] = append(out[j.A], j.B)
		out[j.B] = append(out[j.B], j.A)
	}
	for _, n := range out {
		sort.Ints(n)
	}
	return out
}

// nearest looks from points every pitch px along each outline for the nearest other outline within limit px.
func nearest(tiles []Tile, limit, pitch float64) [][]sample {
	type segment struct {
		tile int
		a, b plane.Point
	}
	type square struct{ x, y int }
	grid := map[square][]segment{}
	cell := limit
	at := func(v float64) int { return int(math.Floor(v / cell)) }
	for i, t := range tiles {
		for _, r := range t.Rings {
			for k := range r {
				a, b := r[k], r[(k+1)%len(r)]
				for y := at(min(a.Y, b.Y)); y <= at(max(a.Y, b.Y)); y++ {
					for x := at(min(a.X, b.X)); x <= at(max(a.X, b.X)); x++ {
						grid[square{x, y}] = append(grid[square{x, y}], segment{i, a, b})
					}
				}
			}
		}
	}
	out := make([][]sample, len(tiles))
	for i, t := range tiles {
		for _, r := range t.Rings {
			for k := range r {
				a, b := r[k], r[(k+1)%len(r)]
				l := math.Hypot(b.X-a.X, b.Y-a.Y)
				n := max(1, int(math.Round(l/pitch)))
				for m := range n {
					u := (float64(m) + 0.5) / float64(n)
					p := plane.Point{X: a.X + u*(b.X-a.X), Y: a.Y + u*(b.Y-a.Y)}
					best := sample{-1, limit}
					for y := at(p.Y) - 1; y <= at(p.Y)+1; y++ {
						for x := at(p.X) - 1; x <= at(p.X)+1; x++ {
							for _, s := range grid[square{x, y}] {
								if s.tile == i {
									continue
								}
								d := toSegment(p, s.a, s.b)
								if d < best.dist || d == best.dist && best.other >= 0 && s.tile < best.other {
									best = sample{s.tile, d}
								}
							}
						}
					}
					if best.other >= 0 {
						out[i] = append(out[i], best)
					}
				}
			}
		}
	}
	return out
}

// toSegment is the distance of p from the segment ab.
func toSegment(p, a, b plane.Point) float64 {
	dx, dy := b.X-a.X, b.Y-a.Y
	l := dx*dx + dy*dy
	u := 0.0
	if l > 0 {
		u = min(max(((p.X-a.X)*dx+(p.Y-a.Y)*dy)/l, 0), 1)
	}
	return math.Hypot(p.X-a.X-u*dx, p.Y-a.Y-u*dy)
}
