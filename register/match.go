package register

import (
	"math"

	"tilelapse/register/internal/cv"
)

// Pair is a reference position and the photo position it was matched to, px.
type Pair struct{ RefX, RefY, PhotoX, PhotoY float64 }

// match returns the pairs that are each other's nearest and clearly nearer than the second nearest both ways, in the
// order of the reference's points; equal positions once.
func match(ref, photo *features, ratio float64) ([]Pair, error) {
	var m cv.Match
	var err error
	if ref.root != nil || photo.root != nil {
		m, err = cv.Match16(ref.root, photo.root, cv.SIFTDim)
	} else if ref.bytes > 0 && ref.bytes == photo.bytes {
		m, err = cv.MatchBits(ref.bits, photo.bits, ref.bytes)
	}
	if err != nil {
		return nil, err
	}
	var out []Pair
	type place struct{ a, b, c, d int32 }
	seen := map[place]bool{}
	for i, j := range m.AB {
		if j < 0 || int(m.BA[j]) != i {
			continue
		}
		// The nearest both ways: one side may be a little less clear when the other is clearer.
		if math.Sqrt(float64(m.RatioAB[i])*float64(m.RatioBA[j])) > ratio || max(m.RatioAB[i], m.RatioBA[j]) > .95 {
			continue
		}
		p := Pair{float64(ref.x[i]), float64(ref.y[i]), float64(photo.x[j]), float64(photo.y[j])}
		k := place{int32(p.RefX), int32(p.RefY), int32(p.PhotoX), int32(p.PhotoY)}
		if seen[k] {
			continue
		}
		seen[k] = true
		out = append(out, p)
	}
	return out, nil
}

// guess is a homography that a number of pairs agree on.
type guess struct {
	h       mat3
	inliers []Pair
}

// guessFrom fits a homography to pairs; unit is the photo px that one px of the picture the points were found in covers.
func guessFrom(pairs []Pair, unit float64, method int, threshold float64) (guess, bool, error) {
	if len(pairs) < 6 {
		return guess{}, false, nil
	}
	from, to := make([]float32, 0, 2*len(pairs)), make([]float32, 0, 2*len(pairs))
	for _, p := range pairs {
		from = append(from, float32(p.RefX), float32(p.RefY))
		to = append(to, float32(p.PhotoX), float32(p.PhotoY))
	}
	h, in, ok, err := cv.Homography(from, to, method, threshold*unit, 10000)
	if err != nil || !ok {
		return guess{}, false, err
	}
	g := guess{h: h}
	for i, p := range pairs {
		if in[i] {
			g.inliers = append(g.inliers, p)
		}
	}
	if len(g.inliers) > 0 {
		// The last row is positive where the surface was seen.
		p := g.inliers[0]
		if h[6]*p.RefX+h[7]*p.RefY+h[8] < 0 {
			for i := range g.h {
				g.h[i] = -g.h[i]
			}
		}
	}
	return g, true, nil
}
