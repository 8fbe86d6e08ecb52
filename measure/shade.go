package measure

import (
	"math"
	"slices"
)

// A cast shadow divides a surface into lit and shaded parts, each of which is lit as smoothly as a surface without shadow.
const (
	sideLeast  = 12   // tiles that a side needs to be fitted by itself
	sideGap    = 0.35 // ln: sides that lie nearer are not told apart
	sideMiddle = 0.6  // where on the way from shaded to lit a tile changes sides: scale brightens what is shaded
	sideWidth  = 0.25 // ln: how far below its side's fit a tile may lie to be of it
	sideShare  = 0.6  // share of the tiles that have to lie on one of the sides
)

// sides tells lit from shaded tiles by the levels of their joints (0 = unknown) and fits the level of each as smooth in
// position. It returns for every tile the level its side has there, ln, NaN where the tile or one of its nearest
// neighbours lies on the other side or between, or where the light does not fall into two.
func (v *View) sides(joint []float64) []float64 {
	n := len(joint)
	y, out := make([]float64, n), make([]float64, n)
	var all []float64
	for k, j := range joint {
		y[k], out[k] = math.NaN(), math.NaN()
		if j > 0 {
			y[k] = math.Log(j)
			all = append(all, y[k])
		}
	}
	if len(all) < 2*sideLeast {
		return out
	}
	slices.Sort(all)
	cut := divide(all)
	side := make([]int, n)
	for k := range y {
		if y[k] > cut {
			side[k] = 1
		}
	}
	// the sun adds the same to all that it reaches: the lit part is the shaded one's light times one factor
	var shade func(k int) float64
	gap := 0.0
	for step := range 6 {
		part, m := make([]float64, n), [2]int{}
		for k := range y {
			part[k] = y[k]
			if !math.IsNaN(y[k]) {
				m[side[k]]++
			}
			if side[k] == 1 {
				part[k] -= gap
				if step == 0 {
					part[k] = math.NaN()
				}
			}
		}
		if m[0] < sideLeast || m[1] < sideLeast {
			return out
		}
		shade = v.quadratic(part, nil)
		var over []float64
		for k := range y {
			if side[k] == 1 {
				over = append(over, y[k]-shade(k))
			}
		}
		gap = median(over)
		for k := range y {
			side[k] = 0
			if y[k]-shade(k) > sideMiddle*gap {
				side[k] = 1
			}
		}
	}
	if gap < sideGap {
		return out
	}
	level := func(k, side int) float64 { return shade(k) + float64(side)*gap }
	at, held := make([]int, n), 0 // the side a tile lies on, -1 = neither
	for k := range at {
		at[k] = -1
		if y[k] > level(k, side[k])-sideWidth {
			at[k] = side[k]
			held++
		}
	}
	if float64(held) < sideShare*float64(len(all)) {
		return out
	}
	for k := range at {
		if at[k] < 0 {
			continue
		}
		alone := true
		for j, q := range v.near[k] {
			if j == 6 {
				break
			}
			alone = alone && (at[q] == at[k] || math.IsNaN(y[q]))
		}
		if alone {
			out[k] = level(k, at[k])
		}
	}
	return out
}

// divide returns the value that divides sorted values into two classes of the greatest variance between them (Otsu
// (1979), IEEE Trans. Syst. Man Cybern. 9(1), 62-66).
func divide(sorted []float64) float64 {
	total, sum := 0.0, 0.0
	for _, x := range sorted {
		total += x
	}
	n := float64(len(sorted))
	best, cut := -1.0, sorted[0]
	for i, x := range sorted[:len(sorted)-1] {
		sum += x
		a := float64(i + 1)
		d := sum/a - (total-sum)/(n-a)
		if b := a * (n - a) * d * d; b > best {
			best, cut = b, (x+sorted[i+1])/2
		}
	}
	return cut
}
