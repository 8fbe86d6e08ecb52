package chart

import (
	"math"

	"tilelapse/measure/colour"
)

// curve says how the codes of the file hold light.
type curve uint8

// The curves, simplest first.
const (
	asDecoded curve = iota // by the curve the file names, as it was decoded
	asIs                   // codes hold light as it is
	asPower                // codes hold a power of light, one exponent for all channels, from all patches
	asPowers               // codes hold a power of light, an exponent a channel, from the row of greys
)

// model brings the light of a photo to reference colours: c = M·x + o, with x the photo's light, by way of a curve where
// the file's own does not hold.
type model struct {
	exponent [3]float64 // of the file's code, 0 = the file's own curve
	m        [3][3]float64
	o        [3]float64 // light on top (below 0 when it has to come off): flare, haze, a raised or cut black
	g        [2]float64 // change of the light across the chart's width and height, 1 = as much as the light itself
}

// What is expected of the terms besides the matrix before a chart is seen: flare and black of about 0.02 of white, light
// that changes by a tenth across the chart (common practice in copy work allows less; charts outdoors show up to a
// third), and residuals of 2 ΔE00, usual for a camera's three channels. They keep these terms at rest where the patches
// say little of them.
const (
	unknowns    = 14
	residual    = 2.0
	offsetRest  = residual * residual / (0.02 * 0.02)
	gradesRest  = residual * residual / (0.2 * 0.2)
	leastFitted = 8 // patches: 24 equations for 14 unknowns, 5 of them held
)

// greyTrust is how much more a grey weighs than a colour: any camera sees greys as grey in any light, while it sees colours
// a little differently. Fitted on one half of the patches, 1, 2, 3 and 5 left the other half of one chart under three lamps
// at 2.89, 2.73, 2.74 and 2.72 ΔE00 on average, and of a chart outdoors at 5.54, 5.56, 5.73 and 6.10.
//
// Tried on the same photos, and no better by more than 0.1 ΔE00 on all of them: root-polynomial terms (Finlayson, Mackiewicz,
// Hurlbert, 2015, IEEE Trans. Image Process. 24(5), 1460-1470, from memory), held matrices, a quadratic gradient, exponents a
// channel, saturated or dark patches weighing less, wider and narrower limits of flare, gradient and outliers.
const greyTrust = 2.0

// place returns where patch i stands on the chart, -0.5 to 0.5 across and down.
func place(i int) (u, v float64) {
	return (float64(i%Cols)+0.5)/Cols - 0.5, (float64(i/Cols)+0.5)/Rows - 0.5
}

// straight undoes the file's curve and puts the exponent in its place.
func straight(x, exponent float64) float64 {
	return math.Copysign(math.Pow(math.Abs(colour.Encode(x)), exponent), x)
}

func (m *model) light(x [3]float64) [3]float64 {
	if m.exponent != [3]float64{} {
		for k := range 3 {
			x[k] = straight(x[k], m.exponent[k])
		}
	}
	return x
}

// colour returns the reference colour of light x.
func (m *model) colour(x [3]float64) (c colour.RGB) {
	x = m.light(x)
	for r := range 3 {
		c[r] = m.m[r][0]*x[0] + m.m[r][1]*x[1] + m.m[r][2]*x[2] + m.o[r]
	}
	return c
}

// patch returns the colour of patch i, freed of the change of light across the chart.
func (m *model) patch(i int, x [3]float64) colour.RGB {
	c := m.colour(x)
	u, v := place(i)
	s := 1 + m.g[0]*u + m.g[1]*v
	for k := range c {
		c[k] /= s
	}
	return c
}

// metrics are the patches' weights in seen differences.
type metrics [Count][3][3]float64

// target is the set of reference colours that patches are brought to.
type target struct {
	rgb    [Count]colour.RGB
	lab    [Count]colour.Lab
	metric metrics // at the reference colours
}

func targetOf(e Edition) *target {
	t := &target{rgb: Reference(e)}
	for i, c := range t.rgb {
		t.lab[i], t.metric[i] = c.Lab(), metric(c)
	}
	return t
}

// fit returns the least squares model over the patches of positive weight; false when they don't settle it.
func (t *target) fit(x *[Count][3]float64, w *[Count]float64, kind curve, a *metrics) (*model, bool) {
	var p [3]float64
	switch kind {
	case asIs:
		p = [3]float64{1, 1, 1}
	case asPower:
		e, ok := minimum(func(e float64) float64 {
			_, c, ok := t.linear(x, w, [3]float64{e, e, e}, a)
			if !ok {
				return math.Inf(1)
			}
			return c
		})
		if !ok {
			return nil, false
		}
		p = [3]float64{e, e, e}
	case asPowers:
		var ok bool
		if p, ok = t.exponents(x, w); !ok {
			return nil, false
		}
	}
	m, _, ok := t.linear(x, w, p, a)
	return m, ok
}

// linear fits all but the exponents and returns the sum of squares left.
func (t *target) linear(x *[Count][3]float64, w *[Count]float64, exponent [3]float64, a *metrics) (*model, float64, bool) {
	m := &model{exponent: exponent}
	q := newNormal(unknowns)
	row := make([]float64, unknowns)
	used := 0
	for i := range Count {
		if w[i] <= 0 {
			continue
		}
		used++
		l, trust := m.light(x[i]), 1.0
		if i >= firstGrey {
			trust = greyTrust
		}
		u, v := place(i)
		for _, a := range a[i] {
			rhs := 0.0
			for r := range 3 {
				for c := range 3 {
					row[3*r+c] = a[r] * l[c]
				}
				rhs += a[r] * t.rgb[i][r]
			}
			copy(row[9:12], a[:])
			row[12], row[13] = -rhs*u, -rhs*v
			q.add(row, rhs, w[i]*trust)
		}
	}
	if used < leastFitted {
		return nil, 0, false
	}
	for k := 9; k < unknowns; k++ {
		rest := offsetRest
		if k >= 12 {
			rest = gradesRest
		}
		q.ata[k*unknowns+k] += rest
	}
	s, ok := q.solve()
	if !ok {
		return nil, 0, false
	}
	for r := range 3 {
		copy(m.m[r][:], s[3*r:3*r+3])
	}
	copy(m.o[:], s[9:12])
	copy(m.g[:], s[12:14])
	left := q.bb
	for k := range s {
		left -= s[k] * q.atb[k]
	}
	return m, left, math.Abs(m.g[0])+math.Abs(m.g[1]) < 1.5
}

// robust fits, then again with patches that lie far off counting less (Huber's weights): a patch with gloss, dirt or a
// finger on it must not bend the rest. The weights in seen differences move along to the middle between what was
// predicted and what was published, where they hold for large residuals, too.
func (t *target) robust(x *[Count][3]float64, w *[Count]float64, kind curve) (*fitted, bool) {
	const rounds, cut = 5, 1.5
	f := &fitted{weight: *w, metric: t.metric}
	var ok bool
	f.model, ok = t.fit(x, &f.weight, kind, &f.metric)
	for range rounds {
		if !ok {
			return nil, false
		}
		d := t.differences(f.model, x)
		s := math.Max(0.5, medianOf(d, w)) // ΔE00; below 0.5 nothing is called far off
		for i := range d {
			f.weight[i] = w[i]
			if d[i] > cut*s {
				f.weight[i] *= cut * s / d[i]
			}
			c := f.model.patch(i, x[i])
			for k := range c {
				c[k] = (c[k] + t.rgb[i][k]) / 2
			}
			f.metric[i] = metric(c)
		}
		f.model, ok = t.fit(x, &f.weight, kind, &f.metric)
	}
	return f, ok
}

// fitted is a model with the weights it was found with.
type fitted struct {
	*model
	weight [Count]float64
	metric metrics
}

// differences returns the CIEDE2000 difference between every patch and its reference.
func (t *target) differences(m *model, x *[Count][3]float64) (d [Count]float64) {
	for i := range d {
		d[i] = colour.CIEDE2000(m.patch(i, x[i]).Lab(), t.lab[i])
	}
	return d
}

// leftOut returns the mean CIEDE2000 difference of the patches of positive weight, each predicted from the others with the
// weights of f, and the colours predicted.
func (t *target) leftOut(x *[Count][3]float64, w *[Count]float64, kind curve, f *fitted) (mean float64, each [Count]colour.Lab) {
	sum, n := 0.0, 0
	for i := range Count {
		if w[i] <= 0 {
			continue
		}
		v := f.weight
		v[i] = 0
		m, ok := t.fit(x, &v, kind, &f.metric)
		if !ok {
			return math.Inf(1), each
		}
		each[i] = m.patch(i, x[i]).Lab()
		sum += colour.CIEDE2000(each[i], t.lab[i])
		n++
	}
	if n == 0 {
		return math.Inf(1), each
	}
	return sum / float64(n), each
}

// Range of exponents looked at: 1 is a file that holds light as it is, 2.2 about the usual curve; the rest is room for
// strong contrast settings.
const minExponent, maxExponent = 0.6, 3.6

// exponents returns the exponent of each channel that makes the greys most even in steps of seen lightness, false with
// fewer than three greys.
func (t *target) exponents(x *[Count][3]float64, w *[Count]float64) (p [3]float64, ok bool) {
	for c := range 3 {
		cost := func(e float64) (float64, int) {
			var aa, ab, bb float64
			n := 0
			for i := firstGrey; i < Count; i++ {
				if w[i] <= 0 || x[i][c] <= 0 {
					continue
				}
				a, b := math.Cbrt(straight(x[i][c], e)), math.Cbrt(t.rgb[i].XYZ()[1])
				aa, ab, bb, n = aa+w[i]*a*a, ab+w[i]*a*b, bb+w[i]*b*b, n+1
			}
			return bb - ab*ab/aa, n
		}
		if _, n := cost(1); n < 3 {
			return p, false
		}
		if p[c], ok = minimum(func(e float64) float64 { v, _ := cost(e); return v }); !ok {
			return p, false
		}
	}
	return p, true
}

// minimum returns the exponent of least cost: the best of a row of them, then by golden section around it. False when it
// lies at an end of the range.
func minimum(cost func(float64) float64) (float64, bool) {
	const step = 0.2
	best, least := 0.0, math.Inf(1)
	for e := minExponent; e <= maxExponent; e += step {
		if c := cost(e); c < least {
			best, least = e, c
		}
	}
	lo, hi := best-step, best+step
	if math.IsInf(least, 1) || lo < minExponent || hi > maxExponent {
		return best, false
	}
	for range 12 {
		a, b := lo+(hi-lo)*0.382, lo+(hi-lo)*0.618
		if cost(a) <= cost(b) {
			hi = b
		} else {
			lo = a
		}
	}
	return (lo + hi) / 2, true
}

// medianOf returns the median of the values of positive weight, 0 without any.
func medianOf(d [Count]float64, w *[Count]float64) float64 {
	var s []float64
	for i, v := range d {
		if w[i] > 0 {
			s = append(s, v)
		}
	}
	return median(s)
}
