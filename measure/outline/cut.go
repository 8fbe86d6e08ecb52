package outline

import (
	"math"
	"sort"
)

// prior is how large tiles are around a place.
type prior struct {
	step   float64
	nx, ny int
	mean   []float64 // of ln area, NaN = unknown
	sd     float64
}

func (p *prior) at(x, y float64) float64 {
	if p == nil {
		return math.NaN()
	}
	i, j := int(x/p.step), int(y/p.step)
	return p.mean[min(max(j, 0), p.ny-1)*p.nx+min(max(i, 0), p.nx-1)]
}

// quality tells how much a cell looks like a tile, 0..1.
func (n *node) quality(p *prior, least float64) float64 {
	if float64(n.area) < least {
		return 0
	}
	q := math.Sqrt(math.Sqrt(n.outer * n.exit * n.exit * n.exit))
	if n.length == 0 {
		return 0
	}
	q *= (1 - n.inner*n.inner) * (1 - n.within)
	q *= ramp(n.solidity(), 0.5, 0.9)
	if m := p.at(float64(n.sx)/float64(n.area), float64(n.sy)/float64(n.area)); !math.IsNaN(m) {
		d := (math.Log(float64(n.area)) - m) / p.sd
		if d > 0 {
			q *= 0.15 + 0.85*math.Exp(-d*d/2)
		} else {
			q *= 0.5 + 0.5*math.Exp(-d*d/2)
		}
	}
	return q
}

// leastSD is the least spread of ln area that is believed: tiles cut at an edge are half as large.
const leastSD = 0.3

// ofTypical is the cell's area as a share of what is typical around it, 0 when that is unknown.
func (n *node) ofTypical(p *prior) float64 {
	m := p.at(float64(n.sx)/float64(n.area), float64(n.sy)/float64(n.area))
	if math.IsNaN(m) {
		return 0
	}
	return float64(n.area) / math.Exp(m)
}

// ramp rises from 0 at a to 1 at b.
func ramp(v, a, b float64) float64 { return min(max((v-a)/(b-a), 0), 1) }

// cut picks the cells that share out the sheet with the largest sum of area times quality; every one is a node of the
// tree none of whose ancestors is picked.
func cut(nodes []node, p *prior, least float64) []int32 {
	best := make([]float64, len(nodes))
	take := make([]bool, len(nodes))
	for i := range nodes {
		n := &nodes[i]
		own := n.quality(p, least) * float64(n.area)
		if n.left < 0 {
			best[i], take[i] = own, true
			continue
		}
		if sum := best[n.left] + best[n.right]; own >= sum {
			best[i], take[i] = own, true
		} else {
			best[i] = sum
		}
	}
	var out []int32
	var stack []int32
	for i := range nodes {
		if nodes[i].parent < 0 {
			stack = append(stack, int32(i))
		}
	}
	for len(stack) > 0 {
		i := stack[len(stack)-1]
		stack = stack[:len(stack)-1]
		if take[i] {
			out = append(out, i)
			continue
		}
		stack = append(stack, nodes[i].left, nodes[i].right)
	}
	sort.Slice(out, func(a, b int) bool { return out[a] < out[b] })
	return out
}

// sizes learns from picked cells how large tiles are.
func sizes(nodes []node, picked []int32, w, h int, good func(int32) bool) *prior {
	var la []float64
	type cell struct{ x, y, la float64 }
	var cs []cell
	for _, i := range picked {
		if !good(i) {
			continue
		}
		n := &nodes[i]
		l := math.Log(float64(n.area))
		la = append(la, l)
		cs = append(cs, cell{float64(n.sx) / float64(n.area), float64(n.sy) / float64(n.area), l})
	}
	if len(la) < 8 {
		return nil
	}
	// weighted by area: fragments are many and small
	sort.Slice(cs, func(i, j int) bool { return cs[i].la < cs[j].la })
	med := wmedian(la)
	side := math.Sqrt(math.Exp(med))
	p := &prior{step: 3 * side, nx: int(float64(w)/(3*side)) + 1, ny: int(float64(h)/(3*side)) + 1}
	p.mean = make([]float64, p.nx*p.ny)
	var dev []float64
	for j := range p.ny {
		for i := range p.nx {
			x, y := (float64(i)+.5)*p.step, (float64(j)+.5)*p.step
			var near []float64
			for _, c := range cs {
				if math.Abs(c.x-x) < 2*p.step && math.Abs(c.y-y) < 2*p.step {
					near = append(near, c.la)
				}
			}
			if len(near) < 6 {
				p.mean[j*p.nx+i] = med
			} else {
				p.mean[j*p.nx+i] = wmedian(near)
			}
		}
	}
	for _, c := range cs {
		dev = append(dev, math.Abs(c.la-p.at(c.x, c.y)))
	}
	sort.Float64s(dev)
	p.sd = min(max(1.8*dev[len(dev)/2], leastSD), 1.0)
	return p
}

// wmedian is the median of ln areas weighted by area: half of the area lies in larger cells. It sorts la.
func wmedian(la []float64) float64 {
	sort.Float64s(la)
	var sum float64
	for _, l := range la {
		sum += math.Exp(l)
	}
	var s float64
	for _, l := range la {
		s += math.Exp(l)
		if s >= sum/2 {
			return l
		}
	}
	return la[len(la)-1]
}
