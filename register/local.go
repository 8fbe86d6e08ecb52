package register

import (
	"context"
	"math"
)

// refined is a mapping fitted to what small windows say, and how well they agree with it.
type refined struct {
	m       Mapping
	votes   []vote
	asked   int     // windows with texture inside the overlap
	heldOut float64 // RMS of votes that took no part in the fit, reference px
	likely  likely  // what the mapping's own error is told from
	agree   float64 // share of the asked windows whose vote the mapping meets within tolerancePx of the fine frame
	surface surface
	costs   []float64 // of the candidates
	coarse  float64   // share agreeing in the coarse frame
	q       quality
	edges   slid    // joints and outlines, in the coarse frame
	shades  slid    // which tile is which, in the coarse frame
	said    []said  // by the windows of each frame
	sure    *Held   // where fine windows agree; nil = everywhere
	sheets  *sheets // of a surface in parts; nil = in one
}

// tolerancePx is how far a window may be off the fitted surface and still agree, px of the frame.
const tolerancePx = 1.5

// refine improves a homography by windows, coarse to fine. pairs are all key points that matched, whether they agree with it or
// not; none are needed.
func refine(ctx context.Context, ref *Reference, photo *halved, h mat3, pairs []Pair) (refined, bool, error) {
	pw, ph := photo.size()
	s := surface{h: h, lens: newLens(ref.W, ref.H, pw, ph), stiff: math.Inf(1)}
	r := refined{m: Mapping{PhotoFromRef: h}}
	for n := range ref.frames {
		if ctx.Err() != nil {
			return r, false, ctx.Err()
		}
		f := ref.frames[n]
		g := f.grid
		p, inside := warp(photo, r.m, f.frame, perRef(r.m, ref.W, ref.H))
		img := orient(p, inside)
		fine := n == len(ref.frames)-1
		var votes, signed, doubled []vote
		var held *Held
		var at [][2]float64
		var err error
		if fine {
			votes, signed, doubled, at, err = witnesses(f.oriented, img, f.frame, r.m, g)
		} else {
			votes, at, err = windows(f.oriented, img, f.frame, r.m, g)
		}
		if err != nil {
			return r, false, err
		}
		asked := len(at)
		r.votes, r.asked = votes, asked
		r.said = append(r.said, said{votes, at, float64(g.spacing) * f.scale(), f.scale()})
		if len(votes) < 6 {
			return r, false, nil
		}
		switch {
		case n == 0:
			s.h, _ = polish(s.h, s.lens, false, votes, .3*f.scale())
			r.m = Mapping{PhotoFromRef: s.h}
			r.coarse = agreement(votes, asked, r.m, tolerancePx*f.scale())
			if r.coarse < hopeless {
				r.agree = r.coarse
				return r, true, nil
			}
			continue
		case fine:
			c := choose(s, votes, f.scale(), 3*float64(g.spacing)*f.scale(), ref.W, ref.H)
			s, r.costs = c.surface, c.costs
			r.heldOut, r.likely.window = trimmed(c.errs, f.scale())
			r.m = s.mapping(ref.W, ref.H)
			held, r.sure = r.hold(ref, pairs, false, pw, ph)
			r.likely.sample, r.likely.light = apart(&c, signed, doubled, floorPx*f.scale(), area{ref.W, ref.H, pw, ph, held})
		default:
			s = fitSurface(s, votes, len(votes) >= minBentVotes, 1, .2*f.scale(), ref.W, ref.H)
		}
		r.surface, r.m = s, s.mapping(ref.W, ref.H)
		r.m.Held = held
		r.agree = agreement(votes, asked, r.m, tolerancePx*f.scale())
		r.q = judgeLight(f.grey, p, inside)
	}
	if err := r.rivals(ref, photo); err != nil {
		return r, false, err
	}
	return r, true, nil
}

// hopeless is the share of coarse windows below which nothing more is tried: right mappings had 0.2 and more even under
// light from the other side, wrong ones 0.09 and less (rendered scenes and published pairs, 2026).
const hopeless = 0.13

// perRef returns the photo px a reference px covers in the middle of the overlap (median over a grid).
func perRef(m Mapping, w, h int) float64 {
	var v []float64
	for j := 1; j < 10; j++ {
		for i := 1; i < 10; i++ {
			k := m.jacobian(float64(w*i)/10, float64(h*j)/10, 2)
			if d := k[0]*k[3] - k[1]*k[2]; d > 0 {
				v = append(v, math.Sqrt(d))
			}
		}
	}
	if len(v) == 0 {
		return 1
	}
	return median(v)
}

// agreement returns the share of asked windows that m meets within tol reference px.
func agreement(votes []vote, asked int, m Mapping, tol float64) float64 {
	if asked == 0 {
		return 0
	}
	in := 0
	for i := range votes {
		if e := miss(m, &votes[i]); e <= tol && votes[i].Scale > 0 {
			in++
		}
	}
	return float64(in) / float64(asked)
}

// miss returns how far a mapping is from a vote, in reference px.
func miss(m Mapping, v *vote) float64 {
	ex, ey := offset(m, v)
	if math.IsNaN(ex + ey) {
		return math.Inf(1)
	}
	return math.Hypot(ex, ey)
}

// offset returns where a vote lies from a mapping, in reference px; NaN where the mapping can't tell.
func offset(m Mapping, v *vote) (ex, ey float64) {
	px, py := m.Photo(v.X, v.Y)
	j := m.jacobian(v.X, v.Y, 1)
	d := j[0]*j[3] - j[1]*j[2]
	if !(d > 0) {
		return math.NaN(), math.NaN()
	}
	ex, ey = v.PX-px, v.PY-py
	return (j[3]*ex - j[1]*ey) / d, (j[0]*ey - j[2]*ex) / d
}

// Grids that look a tenth of the view to all sides; shades change more slowly than edges and have one channel.
var (
	edgeSlide  = grid{spacing: 36, radius: 14, search: 40}
	shadeSlide = grid{spacing: 32, radius: 20, search: 40}
)

// rivals slides the aligned photo over the reference in the coarse frame and notes the best other place: on a surface
// that repeats itself the picture may fit as well one tile further on, and two walls with the same net of joints differ
// only in their tiles.
func (r *refined) rivals(ref *Reference, photo *halved) (err error) {
	f := ref.frames[0]
	p, inside := warp(photo, r.m, f.frame, perRef(r.m, ref.W, ref.H))
	img, tone := orient(p, inside), shades(p, inside)
	edges, tones := edgeSlide, shadeSlide
	if at, _ := places(f.oriented, img, f.frame, edges); len(at) < fewPlaces {
		// A close-up, or a small reference: windows that overlap, but enough of them to count.
		edges.spacing, tones.spacing = denseSpacing, denseSpacing
	}
	if r.edges, err = slide(f.oriented, img, f.frame, edges, 2, 4, nil); err != nil {
		return err
	}
	// The dark round a wall is dark on all photos of such walls: only where windows agree can one be told from another.
	r.shades, err = slide(ref.shades, tone, f.frame, tones, 3, 8, Mapping{Held: r.sure}.Holds)
	return err
}

// Below so many places windows stand closer, px of the coarse frame.
const (
	fewPlaces    = 30
	denseSpacing = 12
)
