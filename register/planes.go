package register

import (
	"math"

	"tilelapse/register/internal/cv"
)

// Further planes of a surface that is not flat. minPlane is more than the six of a first fit: key points that do not lie on
// the first plane agree on something by chance more easily.
const (
	mostPlanes = 8
	minPlane   = 12
	// oddScale is how much larger or smaller than the first plane another may appear: planes at other depths and slants.
	oddScale = 3.5
)

// planes finds homographies one after another, each among the pairs that the ones before leave over; the first is first.
// Stepped walls are a plane a step, curved ones a plane a strip.
func planes(first guess, pairs []Pair, unit float64) ([]guess, error) {
	out := []guess{first}
	if len(first.inliers) == 0 {
		return out, nil
	}
	size := func(g guess) float64 {
		var v []float64
		for _, p := range g.inliers {
			j := Mapping{PhotoFromRef: g.h}.jacobian(p.RefX, p.RefY, 1)
			v = append(v, j[0]*j[3]-j[1]*j[2])
		}
		return median(v)
	}
	base := size(first)
	taken := map[Pair]bool{}
	for _, p := range first.inliers {
		taken[p] = true
	}
	for tries := 0; len(out) < mostPlanes && tries < 2*mostPlanes; tries++ {
		var rest []Pair
		for _, p := range pairs {
			if !taken[p] {
				rest = append(rest, p)
			}
		}
		g, ok, err := guessFrom(rest, unit, cv.USACMagsac, inlierPx)
		if err != nil || !ok || len(g.inliers) < minPlane {
			return out, err
		}
		for _, p := range g.inliers {
			taken[p] = true
		}
		if d := size(g); base > 0 && d > base/(oddScale*oddScale) && d < base*oddScale*oddScale && !math.IsNaN(d) {
			out = append(out, g)
		}
	}
	return out, nil
}
