package register

import (
	"context"
	"math"
)

// patch is how windows stand in the middle frame when a surface is taken apart: closer and smaller than for one that is
// flat.
var patch = grid{spacing: 12, radius: 12, search: 6}

const (
	plantCells  = 3   // cells round a key point in which its plane is looked for
	growCells   = 4   // cells by which a sheet may grow in a round
	growRounds  = 3   // by twelve cells in all
	minCoherent = 3   // of eight neighbours that say the same
	coherentPx  = 1.5 // px of the middle frame by which neighbours may differ
	minSheet    = 12  // cells
	growRadius  = 2.6 // cells round a place that tell its displacement
	finerNodes  = 2   // nodes of the lattice a cell
)

// plant looks for every plane round its own key points, and gives a cell to the plane that its neighbours see, too.
func plant(ref *Reference, photo *halved, gs []guess) (*sheets, []vote, error) {
	s := newSheets(ref.frames[1].frame, ref.W, ref.H)
	votes := make([]vote, len(s.label))
	support := make([]int, len(s.label))
	for k, g := range gs {
		m := Mapping{PhotoFromRef: g.h}
		mine := make([]bool, len(s.label))
		for _, p := range g.inliers {
			s.around(s.cell(p.RefX, p.RefY), plantCells, func(d int) { mine[d] = true })
		}
		got, err := s.look(ref, photo, m, mine)
		if err != nil {
			return nil, nil, err
		}
		off := make([][2]float64, len(got))
		for c := range got {
			px, py := m.Photo(got[c].X, got[c].Y)
			off[c][0], off[c][1] = back(g.h, &got[c], px, py)
		}
		for c, n := range s.coherent(got, off, nil) {
			if n < minCoherent || n < support[c] || n == support[c] && got[c].Peak <= votes[c].Peak {
				continue
			}
			support[c], votes[c], s.label[c] = n, got[c], k
		}
	}
	hs := make([]mat3, len(gs))
	for k := range gs {
		hs[k] = gs[k].h
	}
	s.begin(hs)
	return s, votes, nil
}

// look compares the windows of the wanted cells and returns a vote a cell; those without have no Scale.
func (s *sheets) look(ref *Reference, photo *halved, m Mapping, want []bool) ([]vote, error) {
	f := ref.frames[1]
	p, inside := warp(photo, m, f.frame, perRef(m, ref.W, ref.H))
	votes, _, err := windowsIn(f.oriented, orient(p, inside), f.frame, m, patch, func(x, y float64) bool { return want[s.cell(x, y)] })
	if err != nil {
		return nil, err
	}
	out := make([]vote, len(s.label))
	for _, v := range votes {
		out[s.cell(v.X, v.Y)] = v
	}
	return out, nil
}

// coherent counts for every cell the neighbours of the same label (label nil: all) whose votes are off by the same.
func (s *sheets) coherent(votes []vote, off [][2]float64, label []int) []int {
	tol := coherentPx * s.f.scale()
	out := make([]int, len(votes))
	for c := range votes {
		if votes[c].Scale == 0 || math.IsNaN(off[c][0]) {
			continue
		}
		s.around(c, 1, func(d int) {
			if d != c && votes[d].Scale > 0 && (label == nil || label[d] == label[c]) && math.Hypot(off[c][0]-off[d][0], off[c][1]-off[d][1]) <= tol {
				out[c]++
			}
		})
	}
	return out
}

// tidy drops parts that are too small.
func (s *sheets) tidy() (cells int) {
	count := map[int]int{}
	for _, l := range s.label {
		count[l]++
	}
	for c, l := range s.label {
		if count[l] < minSheet {
			s.label[c] = -1
		}
		if s.label[c] >= 0 {
			cells++
		}
	}
	return cells
}

// grow lets parts reach into the cells around them where windows agree with their neighbours. It returns the number of cells taken.
func (s *sheets) grow(ctx context.Context, ref *Reference, photo *halved, votes []vote) (int, error) {
	for round := range growRounds + 1 {
		if ctx.Err() != nil {
			return 0, ctx.Err()
		}
		n := s.tidy()
		if n == 0 {
			return 0, nil
		}
		// What windows said, smoothed, becomes the mapping; cells around take the nearest part.
		var use []vote
		for c, l := range s.label {
			if l >= 0 && votes[c].Scale > 0 {
				use = append(use, votes[c])
			}
		}
		s.move(s.models(use, s.label, growRadius*float64(patch.spacing)*s.f.scale(), .2*s.f.scale()), s.label)
		if round == growRounds {
			return n, nil
		}
		near := s.nearest(growCells)
		want := make([]bool, len(near))
		for c, l := range near {
			want[c] = l >= 0
		}
		m := s.mapping()
		got, err := s.look(ref, photo, m, want)
		if err != nil {
			return 0, err
		}
		off := make([][2]float64, len(got))
		for c, l := range near {
			if l >= 0 && got[c].Scale > 0 {
				off[c][0], off[c][1] = s.offset(l, &got[c])
			}
		}
		for c, n := range s.coherent(got, off, near) {
			s.label[c] = -1
			if n >= minCoherent {
				s.label[c] = near[c]
			}
		}
		votes = got
	}
	return 0, nil
}
