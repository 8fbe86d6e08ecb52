package tile

import (
	"cmp"
	"slices"

	"tilelapse/measure/colour"
	"tilelapse/measure/plane"
)

// Input is what a Surface is made from.
type Input struct {
	W, H    int          // measuring frame, px
	Ref     *plane.Image // the reference on the measuring frame
	Labels  []int32      // W*H: tile index 0..N-1, -1 = no tile
	N       int          // tiles
	Ignore  []bool       // W*H, may be nil: never looked at
	Scaled  []bool       // N, may be nil: whitened already in the reference
	Gaps    []bool       // N, may be nil: gone already in the reference
	Deposit *colour.RGB  // colour of the local scale in the reference's light; nil = a chalky white
}

// Surface holds what is known of a view's tiles from its reference photo. It is not changed after New: many photos may be
// read at the same time.
type Surface struct {
	lay     *layout
	scaled  []bool
	gaps    []bool
	deposit [3]float64
	ref     *planes
	at      []bool  // pixels that are looked at
	chroma  float64 // spread of colour over them, log units
	tiles   []refTile
	alike   [][]int // the other tiles of each tile's glaze, likest first
}

// refTile is a tile in the reference. Colours are medians in linear light.
type refTile struct {
	colour    [3]float64 // of its core
	middle    [2]float64 // of its core, px
	ring      [3]float64 // of the joint around it
	under     shades     // its glaze under more and more scale
	underRing shades     // the joint under more and more scale
	cells     []cell     // its core in parts
	quarters  [4]cell    // the joint on each of four sides
	rims      [4][]int32 // the outer part of its core towards each of four sides
	sides     [][]int32  // its surroundings cut into sides
	rough     float64    // fine texture of its core, log units
	spread    float64    // how unevenly its cells are coloured, CIELAB units
	toBed     float64    // colour difference to the joint around it, see bedApart
	relief    float64    // structure of its surroundings, log units
}

// cell is a part of a tile's core, or of the joint beside it.
type cell struct {
	px     []int32
	middle [2]float64 // px
	colour [3]float64 // median in the reference, linear light
	under  shades
	thin   int // last of under that is a thin veil
}

// chalk is the scale's linear colour when nothing is known of it: about L* 90, slightly yellow (common practice, no
// source).
var chalk = [3]float64{0.79, 0.76, 0.71}

// sides is how many sides a tile's surroundings are cut into.
const sides = 6

// New takes the reference apart. in.Ref is not kept, the other slices are kept and must not be changed.
func New(in Input) *Surface {
	s := &Surface{lay: newLayout(in.W, in.H, in.N, in.Labels, in.Ignore), scaled: in.Scaled, gaps: in.Gaps, deposit: chalk}
	if in.Deposit != nil {
		s.deposit = *in.Deposit
	}
	s.at = s.lay.reach()
	s.ref = newPlanes(in.Ref, s.at)
	s.chroma = s.ref.chroma(s.at)
	s.tiles = make([]refTile, in.N)
	var buf [3][]float32
	for t := range s.tiles {
		r := &s.tiles[t]
		r.colour, r.middle = medianColour(in.Ref, s.lay.core[t], &buf), s.lay.middle(s.lay.core[t])
		r.ring = medianColour(in.Ref, s.lay.ring[t], &buf)
		r.under, r.underRing = scaled(r.colour, s.deposit), scaled(r.ring, s.deposit)
		for _, px := range s.lay.cells(t) {
			c := medianColour(in.Ref, px, &buf)
			under := scaled(c, s.deposit)
			r.cells = append(r.cells, cell{px: px, middle: s.lay.middle(px), colour: c, under: under, thin: under.thin()})
		}
		for q, px := range s.lay.sectors(t, s.lay.ring[t], 4) {
			r.quarters[q] = cell{px: px, colour: medianColour(in.Ref, px, &buf)}
		}
		copy(r.rims[:], s.lay.sectors(t, s.lay.rim(t), 4))
		r.sides = s.lay.sectors(t, s.lay.around[t], sides)
		r.rough = s.ref.roughness(s.lay.core[t], buf[0])
		r.spread = spread(colours(r.cells))
		r.toBed = bedApart(labOf(r.colour), labOf(r.ring))
		r.relief = s.ref.relief(s.lay.around[t])
	}
	s.kin()
	return s
}

// Tiles of one glaze: at most kinMost, none more than kinReach apart (CIELAB, see apart; our choice).
const (
	kinMost  = 24
	kinReach = 12
)

// kin lists the other tiles of each tile's glaze.
func (s *Surface) kin() {
	type near struct {
		d float64
		u int
	}
	s.alike = make([][]int, len(s.tiles))
	lab := make([]colour.Lab, len(s.tiles))
	for t := range s.tiles {
		lab[t] = labOf(s.tiles[t].colour)
	}
	for t := range s.tiles {
		var ns []near
		for u := range s.tiles {
			if d := apart(lab[u], lab[t]); u != t && d < kinReach && (s.gaps == nil || !s.gaps[u]) {
				ns = append(ns, near{d, u})
			}
		}
		slices.SortFunc(ns, func(a, b near) int { return cmp.Or(cmp.Compare(a.d, b.d), cmp.Compare(a.u, b.u)) })
		for _, n := range ns[:min(kinMost, len(ns))] {
			s.alike[t] = append(s.alike[t], n.u)
		}
	}
}

// Rest lets go of all pixels. Afterwards only Decide, Neighbours and Occluded may be called, and Occluded no longer marks
// joints.
func (s *Surface) Rest() {
	s.ref, s.at = nil, nil
	l := s.lay
	l.labels, l.near, l.dist, l.core, l.all, l.ring, l.around = nil, nil, nil, nil, nil, nil, nil
	for t := range s.tiles {
		s.tiles[t].sides = nil
	}
}

// Neighbours returns for every tile the tiles that share a joint with it, ascending. It must not be changed.
func (s *Surface) Neighbours() [][]int { return s.lay.nbr }

func colours(cells []cell) [][3]float64 {
	v := make([][3]float64, len(cells))
	for i := range cells {
		v[i] = cells[i].colour
	}
	return v
}
