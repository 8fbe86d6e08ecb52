package tile

import (
	"cmp"
	"math"
	"slices"

	"tilelapse/measure/colour"
)

// sample is a colour seen at a tile or in the joint around it, now and in the reference, in linear light.
type sample struct {
	now, ref [3]float64
}

func (a sample) ok() bool { return !math.IsNaN(a.now[0]) && !math.IsNaN(a.ref[0]) }

// gain is the light at the sample over the reference's, a factor a channel.
func (a sample) gain() (g [3]float64) {
	for c := range g {
		g[c] = (math.Max(0, a.now[c]) + floor) / (math.Max(0, a.ref[c]) + floor)
	}
	return g
}

// agree says whether two lights are the same within tol, log units a channel.
func agree(a, b [3]float64, tol float64) bool {
	for c := range a {
		if math.Abs(math.Log(a[c]/b[c])) > tol {
			return false
		}
	}
	return true
}

// undo takes a light from a colour.
func undo(now, gain [3]float64) (o colour.RGB) {
	for c := range o {
		o[c] = math.Max(0, (math.Max(0, now[c])+floor)/gain[c]-floor)
	}
	return o
}

func labOf(v [3]float64) colour.Lab { return colour.RGB(v).Lab() }

// The opacities tried between a glaze that mirrored the sky in the reference and thick scale, in steps of 1/20.
const (
	hazeSteps  = 8  // below 0: the reference showed the glaze through a veil that is not there now
	thickSteps = 20 // from 0 on
)

// shades are the colours of a glaze from less veiled than in the reference to thickly scaled.
type shades [hazeSteps + thickSteps]colour.Lab

// opacity of the k-th shade.
func opacity(k int) float64 { return float64(k-hazeSteps) / 20 }

// scaled lists the colours of a glaze under more and more scale. Glazes mirror the sky, each tile at its own tilt: a veil
// in the reference that has gone looks like negative scale.
func scaled(glaze, deposit [3]float64) (v shades) {
	for k := range v {
		a := opacity(k)
		var m colour.RGB
		for c := range m {
			g := math.Max(0, glaze[c])
			if a >= 0 {
				m[c] = (1-a)*g + a*deposit[c]
			} else {
				m[c] = math.Max(0.15*g, (g+a*deposit[c])/(1+a))
			}
		}
		v[k] = m.Lab()
	}
	return v
}

// apart is a quick colour difference, weighted by chroma as in CIE94 (kL = kC = kH = 1, the chroma of q; CIE 116-1995,
// from memory).
func apart(p, q colour.Lab) float64 {
	cp, cq := math.Sqrt(p.A*p.A+p.B*p.B), math.Sqrt(q.A*q.A+q.B*q.B)
	dl, dc := p.L-q.L, cp-cq
	da, db := p.A-q.A, p.B-q.B
	dh2 := math.Max(0, da*da+db*db-dc*dc)
	sc, sh := 1+0.045*cq, 1+0.015*cq
	return math.Sqrt(dl*dl + dc*dc/(sc*sc) + dh2/(sh*sh))
}

// bedApart is how far a colour lies from a joint's as a bed goes: a bed may be lighter, and lying deeper is easily darker.
// What is darker is asked for the joint's hue and saturation, not its a and b: these shrink with the light.
func bedApart(p, joint colour.Lab) float64 {
	dl := (p.L - joint.L) / 2
	if dl < 0 {
		dl *= 0.6
		k := math.Min(2, (joint.L+16)/(p.L+16)) // a* and b* go with the cube root of the light, as L*+16 does
		p.A, p.B = k*p.A, k*p.B
	}
	return math.Sqrt(dl*dl + (p.A-joint.A)*(p.A-joint.A) + (p.B-joint.B)*(p.B-joint.B))
}

// explain is how far a colour, freed of a light, lies from the glaze under scale of shade 0 to last, and that opacity.
func explain(now, gain [3]float64, under *shades, last int) (de, alpha float64) {
	lab := undo(now, gain).Lab()
	de = math.Inf(1)
	for k := range last + 1 {
		if d := apart(lab, under[k]); d < de {
			de, alpha = d, opacity(k)
		}
	}
	return de, alpha
}

// lights are the lights under which a tile may be seen in a photo, as factors to the reference's.
type lights struct {
	around [][3]float64 // found at the tiles and joints around, from dark to bright
	ring   [][3]float64 // of the joint around the tile itself: none or one
	sides  [][3]float64 // of the joint on each of its sides
	shade  [][3]float64 // that cast shadows may put on any part of it, in a photo with such
	middle [3]float64   // median of around
}

// bins is how many lights the surroundings are summed up to. Each is the median of a group of like level, so that
// neither one changed tile nor a stain makes a light of its own.
const bins = 12

// level is how bright a light is, as a product of the channels.
func level(g [3]float64) float64 { return g[0] * g[1] * g[2] }

func newLights(gains, ring, sides [][3]float64) *lights {
	l := &lights{ring: ring, sides: sides, middle: [3]float64{1, 1, 1}}
	slices.SortFunc(gains, func(a, b [3]float64) int {
		return cmp.Or(cmp.Compare(level(a), level(b)), slices.Compare(a[:], b[:]))
	})
	n := len(gains)
	v := make([]float64, 0, n)
	mid := func(g [][3]float64) (m [3]float64) {
		for c := range m {
			v = v[:0]
			for _, q := range g {
				v = append(v, q[c])
			}
			m[c] = median(v)
		}
		return m
	}
	count := min(bins, (n+2)/3)
	for b := range count {
		l.around = append(l.around, mid(gains[b*n/count:(b+1)*n/count]))
	}
	if n > 0 {
		l.middle = mid(gains)
	}
	return l
}

// times is all lights on a glaze that has changed by a factor a channel.
func (l *lights) times(f [3]float64) *lights {
	by := func(gs [][3]float64) [][3]float64 {
		v := make([][3]float64, len(gs))
		for i, g := range gs {
			for c := range f {
				v[i][c] = g[c] * f[c]
			}
		}
		return v
	}
	return &lights{around: by(l.around), ring: by(l.ring), sides: by(l.sides), shade: by(l.shade), middle: by([][3]float64{l.middle})[0]}
}

// darker are the lights in which a part of the tile may lie: its own joint's and those of cast shadows.
func (l *lights) darker() [][3]float64 { return slices.Concat(l.ring, l.sides, l.shade) }

// evened is how uneven parts of one tile are in colour, CIELAB units, and in brightness, log units, when shadows found
// around may lie over some of them.
func (l *lights) evened(cells [][3]float64) (hue, shade float64) {
	bright, most := -1, -1.0
	for i, c := range cells {
		if y := c[0] + c[1] + c[2]; y > most {
			bright, most = i, y
		}
	}
	if bright < 0 {
		return math.NaN(), math.NaN()
	}
	lit := append(l.darker(), l.middle)
	free := make([][3]float64, 0, len(cells))
	hue, shade = math.Inf(1), math.Inf(1)
	for _, g := range lit {
		base := undo(cells[bright], g)
		lab := base.Lab()
		free = free[:0]
		for _, c := range cells {
			if math.IsNaN(c[0]) {
				continue
			}
			best, near := base, math.Inf(1)
			for _, h := range lit {
				u := undo(c, h)
				if d := apart(u.Lab(), lab); d < near {
					best, near = u, d
				}
			}
			free = append(free, best)
		}
		if u := spread(free); u < hue {
			hue, shade = u, brightness(free)
		}
	}
	return hue, shade
}

// least is the smallest difference under any of the lights; of the joint's sides two must agree.
func (l *lights) least(difference func(gain [3]float64) float64) float64 {
	d := math.Inf(1)
	for _, g := range l.around {
		d = math.Min(d, difference(g))
	}
	for _, g := range l.ring {
		d = math.Min(d, difference(g))
	}
	for _, g := range l.shade {
		d = math.Min(d, difference(g))
	}
	first, second := math.Inf(1), math.Inf(1)
	for _, g := range l.sides {
		switch x := difference(g); {
		case x < first:
			first, second = x, first
		case x < second:
			second = x
		}
	}
	return math.Min(d, second)
}
