package chart

import (
	"fmt"
	"math"

	"tilelapse/measure/colour"
)

// Limits of a chart that is taken, ΔE00 and patches.
const (
	maxMean    = 9.0 // mean after the fit; the chart's colours in another order come out at 22 and more
	poorMean   = 6.0 // mean after the fit from which a chart is one, but worth nothing
	poorOut    = 8.0 // mean of patches predicted from the others, likewise
	minPatches = 16  // patches not clipped
)

// Odds from which an edition is named: the colours have to be that many times more likely under it.
const minOdds = 20.0

// NotUsed begins what is said of a chart that is seen and not used; the reason follows a colon.
const NotUsed = "its colour chart is not used"

// Fit ties a photo's light to the chart's published colours.
type Fit struct {
	Edition  Edition // whose published values the photo agrees with, Untold when that is not clear
	Given    bool    // Edition was given, not told by the colours
	Odds     float64 // how many times more likely the patches are under this edition than under the other, at most 1e6; under 1 only when it was given
	Matrix   [3][3]float64
	Offset   [3]float64 // linear sRGB, added after Matrix (flare, haze, a cut black)
	Exponent [3]float64 // of the file's codes, where the file's curve does not hold light straight; 0 = its own curve holds
	Gradient [2]float64 // change of the light across the chart's width and height, 1 = as much as the light itself
	Gain     [3]float64 // the best gain a channel alone, without Matrix: for light too poor for nine numbers
	GainMean float64    // mean ΔE00 of the patches with Gain alone
	Used     int        // patches that went in
	Each     [Count]float64
	Mean     float64 // mean ΔE00 to the published colours, over the used patches
	Max      float64
	Worst    int               // index of the patch with Max
	LeftOut  float64           // mean ΔE00 of patches predicted from the others
	Left     [Count]colour.Lab // colours of the patches read, each predicted from the others
	Read     [Count]bool       // patches that went in
	Half     float64           // mean ΔE00 of one half of the patches, fitted on the other half alone
	Notes    []string
}

// Colour returns the colour, linear sRGB D65, of light read from the same photo (median light of the chart's
// neighbourhood; a gradient across the chart is not carried beyond it).
func (f *Fit) Colour(light [3]float64) colour.RGB {
	m := model{exponent: f.Exponent, m: f.Matrix, o: f.Offset}
	return m.colour(light)
}

// Light returns the light that the photo has where the colour is c, linear sRGB D65: what Colour undoes; false where the
// fit can't be undone.
func (f *Fit) Light(c colour.RGB) (x [3]float64, ok bool) {
	q := newNormal(3) // three equations for three unknowns
	for r := range 3 {
		q.add(f.Matrix[r][:], c[r]-f.Offset[r], 1)
	}
	s, ok := q.solve()
	if !ok {
		return x, false
	}
	for k := range 3 {
		x[k] = s[k]
		if f.Exponent[k] != 0 {
			x[k] = colour.Decode(math.Copysign(math.Pow(math.Abs(s[k]), 1/f.Exponent[k]), s[k]))
		}
	}
	return x, true
}

// FitPatches finds the 3x3 matrix that brings the light of a chart's patches to their published colours: least squares
// in linear light, weighted so that a residual counts as it is seen (CIEDE2000 to first order), patches far off counting
// less. Light on top and light that changes across the chart are fitted along, held at rest where the patches say little
// of them; a curve other than the file's is taken only where it predicts left-out patches clearly better. The edition
// with the smaller residual is named when the odds are 20 to 1; one that is known is given, Untold otherwise.
//
// Errors: ErrClipped, ErrNotChart, ErrPoor, with what was found.
func FitPatches(p [Count]Patch, given Edition) (Fit, error) {
	x, w := numbers(&p)
	used := 0
	for i := range w {
		if w[i] > 0 {
			used++
		}
	}
	if used < minPatches {
		return Fit{}, fmt.Errorf("%w: %d of %d can be read, %d are needed", ErrClipped, used, Count, minPatches)
	}
	s, ok := choose(&x, &w, given)
	if !ok {
		return Fit{}, fmt.Errorf("%w: they do not settle a fit", ErrNotChart)
	}
	f := Fit{Used: used, LeftOut: s.left, Left: s.each, Odds: s.odds, Matrix: s.m, Offset: s.o, Exponent: s.exponent, Gradient: s.g, Each: s.target.differences(s.model, &x)}
	switch {
	case given != Untold:
		f.Edition, f.Given = given, true
	case s.odds >= minOdds:
		f.Edition = s.edition
	}
	for i := range w {
		if w[i] <= 0 {
			continue
		}
		f.Read[i] = true
		f.Mean += f.Each[i] / float64(used)
		if f.Each[i] > f.Max {
			f.Max, f.Worst = f.Each[i], i
		}
	}
	if f.Mean > maxMean {
		return Fit{}, fmt.Errorf("%w: mean difference %.1f ΔE00 after the fit, limit %.0f", ErrNotChart, f.Mean, maxMean)
	}
	if f.Mean > poorMean || f.LeftOut > poorOut {
		return Fit{}, fmt.Errorf("%w: mean difference %.1f ΔE00 after the fit, %.1f for patches left out, limits %.0f and %.0f",
			ErrPoor, f.Mean, f.LeftOut, poorMean, poorOut)
	}
	f.Gain, f.GainMean = s.target.gain(s.model, &x, &w)
	if f.Half = halves(&x, &w, given); math.IsNaN(f.Half + f.GainMean) {
		return Fit{}, fmt.Errorf("%w: half of them do not settle a fit", ErrClipped)
	}
	f.Notes = f.words(s)
	return f, nil
}

// HalfCheck returns the mean ΔE00 between the published colours and one half of the patches when everything was fitted
// on the other half alone, over both ways of it; NaN when a half does not settle a fit.
func HalfCheck(p [Count]Patch) float64 {
	x, w := numbers(&p)
	return halves(&x, &w, Untold)
}

// halves splits the patches as a chessboard does, so that both halves have greys and colours of all sorts.
func halves(x *[Count][3]float64, w *[Count]float64, given Edition) float64 {
	sum, n := 0.0, 0
	for side := range 2 {
		var in [Count]float64
		for i := range in {
			if (i%Cols+i/Cols)%2 == side {
				in[i] = w[i]
			}
		}
		s, ok := choose(x, &in, given)
		if !ok {
			return math.NaN()
		}
		d := s.target.differences(s.model, x)
		for i := range d {
			if in[i] == 0 && w[i] > 0 {
				sum, n = sum+d[i], n+1
			}
		}
	}
	return sum / float64(n)
}

// choice is a model with what was found on the way to it.
type choice struct {
	*model
	kind    curve
	target  *target
	edition Edition
	left    float64
	each    [Count]colour.Lab // of the patches left out in turn
	odds    float64
}

// choose takes the simplest curve that predicts left-out patches about as well as any, under the edition given, else the
// one that is closer.
func choose(x *[Count][3]float64, w *[Count]float64, given Edition) (choice, bool) {
	const clearer, least = 0.85, 0.15 // another curve has to bring the left-out mean under 85 % and by 0.15 ΔE00
	targets := [2]*target{targetOf(Before2014), targetOf(FromNov2014)}
	var c [2]choice
	var v [2]*fitted
	best := math.Inf(1)
	for k := asDecoded; k <= asPowers; k++ {
		var d [2]choice
		var u [2]*fitted
		l := math.Inf(1)
		for e, t := range targets {
			f, ok := t.robust(x, w, k)
			if !ok {
				l = math.NaN() // no
				break
			}
			u[e] = f
			d[e] = choice{model: f.model, kind: k, target: t, edition: [2]Edition{Before2014, FromNov2014}[e]}
			d[e].left, d[e].each = t.leftOut(x, w, k, f)
			l = math.Min(l, d[e].left)
		}
		if l < clearer*best && l < best-least {
			best, c, v = l, d, u
		}
	}
	if math.IsInf(best, 1) {
		return choice{}, false
	}
	k, odds := closer(c, v, x)
	if given != Untold && c[k].edition != given {
		k, odds = 1-k, 1/odds
	}
	c[k].odds = odds
	return c[k], true
}

// closer returns which edition's colours the patches are closer to and how many times more likely they are under it.
// Greys and colours are judged each by the residuals of their kind: greys are grey in any light and to any camera, while
// colours are seen a little differently by every camera. The same weights serve for both editions, or each would be free
// to call its own misfits outliers.
func closer(c [2]choice, v [2]*fitted, x *[Count][3]float64) (int, float64) {
	const floor = 0.3 // ΔE00: rounding of the published values, and from chart to chart (from memory)
	var chi [2][2]float64
	var n [2]float64
	for e := range c {
		for i, d := range c[e].target.differences(c[e].model, x) {
			kind := 0
			if i >= firstGrey {
				kind = 1
			}
			w := math.Min(v[0].weight[i], v[1].weight[i])
			chi[e][kind] += w * d * d
			if e == 0 {
				n[kind] += w
			}
		}
	}
	log := 0.0
	for kind := range n {
		if n[kind] < 2 {
			continue
		}
		// each kind takes up its share of what the unknowns can bend, in patches
		free := n[kind] * math.Max(0.25, 1-unknowns/3/(n[0]+n[1]))
		s := math.Max(floor*floor, math.Min(chi[0][kind], chi[1][kind])/free)
		log += (chi[0][kind] - chi[1][kind]) / (2 * s)
	}
	k := 0
	if log > 0 {
		k = 1
	}
	return k, math.Exp(math.Min(math.Abs(log), math.Log(1e6)))
}

// gain returns the best gain of each channel alone, and the mean ΔE00 it leaves.
func (t *target) gain(m *model, x *[Count][3]float64, w *[Count]float64) (g [3]float64, mean float64) {
	q := newNormal(3)
	for i := range Count {
		if w[i] <= 0 {
			continue
		}
		l := m.light(x[i])
		for _, a := range t.metric[i] {
			rhs := a[0]*t.rgb[i][0] + a[1]*t.rgb[i][1] + a[2]*t.rgb[i][2]
			q.add([]float64{a[0] * l[0], a[1] * l[1], a[2] * l[2]}, rhs, w[i])
		}
	}
	s, ok := q.solve()
	if !ok {
		return g, math.NaN()
	}
	copy(g[:], s)
	n := 0
	for i := range Count {
		if w[i] <= 0 {
			continue
		}
		l := m.light(x[i])
		mean += colour.CIEDE2000(colour.RGB{g[0] * l[0], g[1] * l[1], g[2] * l[2]}.Lab(), t.lab[i])
		n++
	}
	return g, mean / float64(n)
}

// words tells what a reader of the figures has to know about the fit.
func (f *Fit) words(s choice) (o []string) {
	if s.kind == asIs {
		o = append(o, "the file's curve does not fit the chart's greys: its codes hold light as it is")
	}
	if s.kind >= asPower {
		o = append(o, fmt.Sprintf("the file's curve does not fit the chart's greys: exponents %.2f %.2f %.2f of its codes taken instead",
			s.exponent[0], s.exponent[1], s.exponent[2]))
	}
	if o1 := math.Max(math.Abs(s.o[0]), math.Max(math.Abs(s.o[1]), math.Abs(s.o[2]))); o1 >= 0.02 {
		o = append(o, fmt.Sprintf("light on top of the chart: %.3f %.3f %.3f of white", -s.o[0], -s.o[1], -s.o[2]))
	}
	if math.Max(math.Abs(s.g[0]), math.Abs(s.g[1])) >= 0.05 {
		o = append(o, fmt.Sprintf("light changes across the chart: %+.0f %% over its width, %+.0f %% over its height", 100*s.g[0], 100*s.g[1]))
	}
	if f.Given && s.odds < 1/minOdds {
		o = append(o, fmt.Sprintf("the chart's colours look like those of the other edition, odds %.0f to 1", 1/s.odds))
	}
	if f.Used < Count {
		o = append(o, fmt.Sprintf("%d of %d patches left out as clipped or covered", Count-f.Used, Count))
	}
	return o
}
