package associate

import (
	"fmt"
	"math"
	"math/rand"

	"tilelapse/measure/trend"
)

// wall makes up a wall of tiles in rows, its scale and its losses.
type wall struct {
	cols, rows, visits int
	smooth             float64 // tiles over which scale and proneness to loss are alike; 0 = every tile on its own
	byScale            float64 // log odds of loss for one spread of the scale
	byGap              float64 // log odds of loss for a tile beside a gap
	own                float64 // log odds for one spread of a field of its own, as smooth as the scale
	base               float64 // log odds of loss between two visits
	hidden             float64 // chance that a tile is not read on a visit
}

func (w wall) make(rng *rand.Rand) View {
	n := w.cols * w.rows
	v := View{ID: "wall"}
	for k := 0; k < w.visits; k++ {
		v.Visits = append(v.Visits, trend.Span{From: 15000 + 180*k, To: 15000 + 180*k})
	}
	scale, own := w.field(rng), w.field(rng)
	v.Tiles = make([]Tile, n)
	gone := make([]bool, n)
	for i := range v.Tiles {
		x, y := i%w.cols, i/w.cols
		t := Tile{ID: fmt.Sprint("t", i), Zone: "z", Y: float64(100 * y)}
		for _, d := range [][2]int{{-1, 0}, {1, 0}, {0, -1}, {0, 1}} {
			if a, b := x+d[0], y+d[1]; a >= 0 && a < w.cols && b >= 0 && b < w.rows {
				t.Neighbours = append(t.Neighbours, b*w.cols+a)
			}
		}
		v.Tiles[i] = t
	}
	for k := 0; k < w.visits; k++ {
		was := append([]bool(nil), gone...)
		for i := range v.Tiles {
			t := &v.Tiles[i]
			if k > 0 && !was[i] {
				l := w.base + w.byScale*scale[i] + w.own*own[i]
				for _, j := range t.Neighbours {
					if was[j] {
						l += w.byGap
						break
					}
				}
				gone[i] = rng.Float64() < 1/(1+math.Exp(-l))
			}
			state, sc := Present, math.Max(0, 10+8*scale[i]+3*float64(k)+rng.NormFloat64())
			if gone[i] {
				state, sc = Missing, math.NaN()
			}
			if rng.Float64() < w.hidden {
				state, sc = "hidden", math.NaN()
			}
			t.States, t.Scale = append(t.States, state), append(t.Scale, sc)
		}
	}
	return v
}

// field is a random field with spread 1.
func (w wall) field(rng *rand.Rand) []float64 {
	n := w.cols * w.rows
	white := make([]float64, n)
	for i := range white {
		white[i] = rng.NormFloat64()
	}
	if w.smooth == 0 {
		return white
	}
	f := make([]float64, n)
	r := int(2 * w.smooth)
	for i := range f {
		sum := 0.0
		for dy := -r; dy <= r; dy++ {
			for dx := -r; dx <= r; dx++ {
				x, y := (i%w.cols+dx+w.cols)%w.cols, (i/w.cols+dy+w.rows)%w.rows
				g := math.Exp(-float64(dx*dx+dy*dy) / (2 * w.smooth * w.smooth))
				f[i] += g * white[y*w.cols+x]
				sum += g * g
			}
		}
		f[i] /= math.Sqrt(sum)
	}
	return f
}
