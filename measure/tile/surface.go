package tile

import (
	"math"

	"tilelapse/measure/colour"
	"tilelapse/measure/plane"
)

// Input is what a Surface is made from.
type Input struct {
	W, H    int
	Ref     *plane.Image // the reference on the measuring frame
	Labels  []int32      // W*H: tile index 0..N-1, -1 = no tile
	N       int          // tiles
	Ignore  []bool       // W*H, may be nil: never looked at
	Scaled  []bool       // N, may be nil: whitened already in the reference
	Gaps    []bool       // N, may be nil: gone already in the reference
	Deposit *colour.RGB  // colour of the local scale in the reference's light; nil = a chalky white
}

// Surface holds what is known of a view's tiles from its reference photo.
type Surface struct {
	lay              *layout
	in               Input
	deposit          [3]float64
	ref              *planes
	tiles            []refTile
	under, underRing []shades    // colours of glaze and joint under more and more scale
	sides            [][][]int32 // a tile's surroundings cut into sides
	quarters         [][4]cell
	cells            [][]cell // a tile's core in parts
	hood             [][]int  // tiles around each, nearest first, itself left out
}

// refTile is a tile in the reference.
type refTile struct {
	colour [3]float64 // median of its core, linear light
	ring   [3]float64 // median of the joint around it
	rough  float64    // fine texture of its core, log units
	spread float64    // how unevenly its cells are coloured, CIELAB units
	relief float64    // structure of its surroundings, log units
	usable bool       // enough of it was readable
}

// cell is a part of a tile's core.
type cell struct {
	px     []int32
	colour [3]float64 // median in the reference
	under  shades
}

// fresh is the scale's linear colour when nothing is known of it: L* 90, slightly yellow (common practice, no source).
var fresh = [3]float64{0.79, 0.76, 0.71}

// New takes the reference apart. Labels, Ignore, Scaled and Gaps are kept, not copied; Ref is not kept.
func New(in Input) *Surface {
	s := &Surface{lay: newLayout(in.W, in.H, in.N, in.Labels, in.Ignore), deposit: fresh}
	if in.Deposit != nil {
		s.deposit = *in.Deposit
	}
	s.ref = newPlanes(in.Ref)
	s.tiles = make([]refTile, in.N)
	for t := range s.tiles {
		r := &s.tiles[t]
		r.usable = usableShare(in.Ref, s.lay.core[t]) > 0.5
		r.colour = medianColour(in.Ref, s.lay.core[t])
		r.ring = medianColour(in.Ref, s.lay.ring[t])
		r.rough = s.ref.roughness(s.lay.core[t])
		r.relief = s.ref.relief(s.lay.around[t])
	}
	s.under, s.underRing = make([]shades, in.N), make([]shades, in.N)
	s.cells = make([][]cell, in.N)
	s.quarters = make([][4]cell, in.N)
	s.sides = make([][][]int32, in.N)
	for t := range s.tiles {
		s.under[t] = scaled(s.tiles[t].colour, s.deposit)
		s.underRing[t] = scaled(s.tiles[t].ring, s.deposit)
		s.sides[t] = s.lay.sectors(t, s.lay.around[t], sides)
		for q, px := range s.lay.sectors(t, s.lay.ring[t], 4) {
			s.quarters[t][q] = cell{px: px, colour: medianColour(in.Ref, px)}
		}
		for _, px := range s.lay.cells(t) {
			c := medianColour(in.Ref, px)
			s.cells[t] = append(s.cells[t], cell{px, c, scaled(c, s.deposit)})
		}
		var cells [][3]float64
		for _, c := range s.cells[t] {
			cells = append(cells, c.colour)
		}
		s.tiles[t].spread = s.spread(cells)
	}
	s.hoods(100)
	in.Ref = nil
	s.in = in
	return s
}

// Neighbours returns for every tile the tiles that share a joint with it, ascending.
func (s *Surface) Neighbours() [][]int { return s.lay.nbr }

// hoods lists the tiles around each by breadth first, up to n.
func (s *Surface) hoods(n int) {
	s.hood = make([][]int, s.lay.n)
	mark := make([]int, s.lay.n)
	for i := range mark {
		mark[i] = -1
	}
	for t := range s.hood {
		queue := append([]int(nil), s.lay.nbr[t]...)
		mark[t] = t
		for _, u := range queue {
			mark[u] = t
		}
		for k := 0; k < len(queue) && len(queue) < n; k++ {
			for _, u := range s.lay.nbr[queue[k]] {
				if mark[u] != t {
					mark[u] = t
					queue = append(queue, u)
				}
			}
		}
		s.hood[t] = queue[:min(n, len(queue))]
	}
}

func usableShare(img *plane.Image, px []int32) float64 {
	if len(px) == 0 {
		return 0
	}
	n := 0
	for _, i := range px {
		if img.Flags[i]&blind == 0 {
			n++
		}
	}
	return float64(n) / float64(len(px))
}

// medianColour is the median of each channel over the readable pixels, NaN when there are none.
func medianColour(img *plane.Image, px []int32) (m [3]float64) {
	var v [3][]float32
	for _, i := range px {
		if img.Flags[i]&blind != 0 {
			continue
		}
		for c := range v {
			v[c] = append(v[c], img.RGB[3*i+int32(c)])
		}
	}
	for c := range v {
		m[c] = median(v[c])
	}
	return m
}

// planes is a picture as logarithms: luminance and two colour ratios, with a floor that keeps the noise of dark pixels
// small.
type planes struct {
	w, h  int
	lum   []float32
	rg    []float32
	bg    []float32
	flags []uint8
}

// floor is added to linear light before a logarithm: about the noise of a dark pixel of a camera JPEG (our choice).
const floor = 0.01

func newPlanes(img *plane.Image) *planes {
	n := img.W * img.H
	p := &planes{w: img.W, h: img.H, lum: make([]float32, n), rg: make([]float32, n), bg: make([]float32, n), flags: img.Flags}
	for i := 0; i < n; i++ {
		r, g, b := float64(max(0, img.RGB[3*i])), float64(max(0, img.RGB[3*i+1])), float64(max(0, img.RGB[3*i+2]))
		lg := math.Log(g + floor)
		p.lum[i] = float32(math.Log(0.2126*r + 0.7152*g + 0.0722*b + floor))
		p.rg[i] = float32(math.Log(r+floor) - lg)
		p.bg[i] = float32(math.Log(b+floor) - lg)
	}
	return p
}

// roughness is the typical fine texture over px: the median absolute second difference of log luminance.
func (p *planes) roughness(px []int32) float64 {
	var v []float32
	for _, i := range px {
		x, y := int(i)%p.w, int(i)/p.w
		if x < 1 || y < 1 || x >= p.w-1 || y >= p.h-1 || p.flags[i]&blind != 0 {
			continue
		}
		w := int32(p.w)
		d := p.lum[i] - 0.25*(p.lum[i-1]+p.lum[i+1]+p.lum[i-w]+p.lum[i+w])
		if d < 0 {
			d = -d
		}
		v = append(v, d)
	}
	return median(v)
}

// likeness is the correlation of two pictures' structure over px, all channels together; NaN of fewer than 8 px.
func likeness(a, b *planes, px []int32) float64 {
	n := 0
	var s [3][5]float64
	for _, i := range px {
		if (a.flags[i]|b.flags[i])&blind != 0 {
			continue
		}
		n++
		add := func(k int, x, y float64) {
			s[k][0] += x
			s[k][1] += y
			s[k][2] += x * x
			s[k][3] += y * y
			s[k][4] += x * y
		}
		add(0, float64(a.lum[i]), float64(b.lum[i]))
		add(1, float64(a.rg[i]), float64(b.rg[i]))
		add(2, float64(a.bg[i]), float64(b.bg[i]))
	}
	if n < 8 {
		return math.NaN()
	}
	var va, vb, cov float64
	m := float64(n)
	for k := range s {
		va += s[k][2]/m - s[k][0]*s[k][0]/(m*m)
		vb += s[k][3]/m - s[k][1]*s[k][1]/(m*m)
		cov += s[k][4]/m - s[k][0]*s[k][1]/(m*m)
	}
	va, vb = math.Max(va, 1e-9), math.Max(vb, 1e-9)
	return cov / math.Sqrt(va*vb)
}

// blind are the flags that make a pixel useless here. A dark end is still known to be dark.
const blind = plane.Outside | plane.High | plane.Moving

// relief is the root mean square structure over px, all channels together, log units.
func (p *planes) relief(px []int32) float64 {
	var s [3][2]float64
	n := 0.0
	for _, i := range px {
		if p.flags[i]&blind != 0 {
			continue
		}
		n++
		for k, v := range [3]float32{p.lum[i], p.rg[i], p.bg[i]} {
			s[k][0] += float64(v)
			s[k][1] += float64(v) * float64(v)
		}
	}
	if n < 2 {
		return 0
	}
	var v float64
	for k := range s {
		v += s[k][1]/n - s[k][0]*s[k][0]/(n*n)
	}
	return math.Sqrt(math.Max(0, v))
}
