package measure

import (
	"math"
	"slices"

	"tilelapse/measure/glaze"
	"tilelapse/measure/light"
	"tilelapse/measure/plane"
	"tilelapse/measure/scale"
)

// noise measures the relative noise of one channel of one pixel against its tile's other channels, light's level left
// out: the middle over the tiles of the spread around the middle of the better half of pixels.
func (v *View) noise(img *plane.Image) float64 {
	var all []float64
	for k := range v.tiles {
		t := &v.tiles[k]
		if t.dark || math.Min(t.mean[0], math.Min(t.mean[1], t.mean[2])) < 0.06 {
			continue
		}
		step := 1 + len(t.inner)/200
		var d [3][]float64
		for j := 0; j < len(t.inner); j += step {
			i := t.inner[j]
			if (img.Flags[i]|v.ref.Flags[i])&(unread|plane.Low) != 0 {
				continue
			}
			p, g := v.px(img.RGB, i), v.px(v.glaze, i)
			var l [3]float64
			for c := range 3 {
				l[c] = math.Log(math.Max(p[c], 1e-3) / math.Max(g[c], 1e-3))
			}
			m := (l[0] + l[1] + l[2]) / 3
			for c := range 3 {
				d[c] = append(d[c], l[c]-m)
			}
		}
		if len(d[0]) < 24 {
			continue
		}
		s := 0.0
		for c := range 3 {
			m := median(d[c])
			for j := range d[c] {
				d[c][j] = math.Abs(d[c][j] - m)
			}
			x := 1.4826 * median(d[c])
			s += x * x
		}
		all = append(all, math.Sqrt(s/2)) // three channels, one degree of freedom went to their mean
	}
	if len(all) < 5 {
		return 0.03
	}
	slices.Sort(all)
	return math.Min(0.08, math.Max(0.008, glaze.Quantile(all, 0.3)))
}

// unveil takes a veil of opacity a off a tile's gain.
func unveil(gain, dep, ref [3]float64, a float64) [3]float64 {
	var out [3]float64
	for c := range 3 {
		now := gain[c] * ref[c]
		out[c] = math.Max(0.2*now, (now-a*dep[c])/(1-a)) / math.Max(ref[c], 1e-6)
	}
	return out
}

// noiseOf returns the standard error of each channel of one pixel: a floor for dark noise and stray light, and a share
// of the light for texture, misfit and shot noise.
func noiseOf(i [3]float64, rel float64) (n [3]float64) {
	for c := range 3 {
		r := rel * i[c]
		n[c] = math.Sqrt(0.003*0.003 + r*r)
	}
	return n
}

// splitLit splits a pixel whose light's level is not known: the light's colour goes with its level along the photo's
// line, so level and split are found in turns. glaze and deposit are in the reference's light; free is the relative
// standard error of the level around the one expected, e the channels at the end of their codes.
func splitLit(p, glaze, deposit [3]float64, line light.Line, level, free, rel float64, e ends) scale.Mix {
	noise := e.deafen(noiseOf(p, rel), p)
	k := line.At(level)
	m := scale.Split(p, mulv(k, glaze), mulv(k, deposit), noise, scale.Prior{Level: 1, Sigma: free})
	if line.A == ([3]float64{}) || free < 0.1 {
		return m
	}
	for range 3 {
		s := math.Min(4, math.Max(0.1, m.A+m.B))
		k = line.At(level * s)
		for c := range 3 {
			k[c] /= s
		}
		next := scale.Split(p, mulv(k, glaze), mulv(k, deposit), noise, scale.Prior{Level: 1, Sigma: free})
		d := next.A + next.B - s
		m = next
		if math.Abs(d) < 0.02*s {
			break
		}
	}
	return m
}
