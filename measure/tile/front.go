package tile

import "math/bits"

// Occluded marks the measuring pixels in front of which something stands in a photo, from its records and calls: hidden
// tiles with the joints beside them, and of tiles next to those the parts that are neither glaze nor scale. It is as
// coarse as a tile's parts, W*H long.
func (s *Surface) Occluded(ev []Evidence, calls []Call) []bool {
	mask := make([]bool, s.lay.w*s.lay.h)
	hidden := func(t int) bool { return calls[t].State == Hidden }
	reach := float32(2*s.lay.half + 0.5)
	for i, t := range s.lay.near {
		if t >= 0 && s.lay.dist[i] <= reach && hidden(int(t)) {
			mask[i] = true
		}
	}
	for t := range ev {
		if ev[t].Foreign == 0 || hidden(t) {
			continue
		}
		for _, u := range s.lay.nbr[t] {
			if !hidden(u) {
				continue
			}
			for c := range s.tiles[t].cells {
				if ev[t].Foreign>>c&1 == 1 {
					for _, i := range s.tiles[t].cells[c].px {
						mask[i] = true
					}
				}
			}
			break
		}
	}
	return mask
}

// faces says whether the parts of tile u that are neither glaze nor scale lie on the side of tile t: what covers t
// reaches over there.
func (s *Surface) faces(u, t int, e *Evidence) bool {
	var x, y, n float64
	for c := range s.tiles[u].cells {
		if e.Foreign>>c&1 == 1 {
			p := s.tiles[u].cells[c].middle
			x, y, n = x+p[0], y+p[1], n+1
		}
	}
	if n == 0 {
		return false
	}
	a, b := s.tiles[t].middle, s.tiles[u].middle
	return (x/n-b[0])*(a[0]-b[0])+(y/n-b[1])*(a[1]-b[1]) > 0
}

// partly says whether a part of a tile, but not all of it, is neither glaze nor scale: a thing's edge runs across it.
func (s *Surface) partly(t int, e *Evidence) bool {
	n := len(s.tiles[t].cells)
	k := bits.OnesCount32(e.Foreign)
	return 10*k >= 2*n && 10*k <= 8*n && n > 0
}
