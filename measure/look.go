package measure

import (
	"math"
	"slices"

	"tilelapse/measure/colour"
	"tilelapse/measure/glaze"
	"tilelapse/measure/light"
	"tilelapse/measure/plane"
	"tilelapse/measure/scale"
)

// lookPixels bounds how many pixels of a tile the first look takes: enough for its quantiles.
const lookPixels = 900

// levelSigma is how far the light's level on a tile may differ from that on the joints around it, relative. Measured
// on made and real surfaces: 0.1 to 0.2.
const levelSigma = 0.15

// shadowSigma is the same where cast shadows lie over the tiles: nothing is known of one pixel's level.
const shadowSigma = 0.6

// textureSigma is how far the level differs between pixels of one tile by relief and texture, relative. Measured on made
// surfaces: 0.04 to 0.05.
const textureSigma = 0.045

// alikeReach is how far, ΔE00, tiles may lie apart whose fade and film are expected to be alike (our choice).
const alikeReach = 16

// levelReach is how far apart, ΔE00, a step of e in the light's level puts two tiles otherwise alike (our choice).
const levelReach = 20

// alikeMost bounds the tiles a tile is compared with.
const alikeMost = 40

// What is expected of thin scale all over a tile, before looking (our choice): the share of tiles without any, and the
// middle opacity of those with it.
const (
	veilBare = 0.5
	veilMean = 0.1
	veilMost = 0.2 // more is not taken off: that is not thin
)

// crowdTrust is the share of a tile's lead over tiles alike that is its glaze's own when its crowd is clear.
const crowdTrust = 0.7

// tileLook is a tile's whitenesses while a photo is looked at.
type tileLook struct {
	use         []int32
	w, sum      []float64 // whiteness and level of each pixel
	high        []ends    // its channels at the end of their codes
	sigma       float64   // predicted standard error
	mode, low   float64   // crowd at the low end; 5 % quantile
	quarter     float64   // 25 % quantile
	wide, about float64   // the crowd's half width and the share of pixels in it
	tail        float64   // spread of the values below the mode, as a standard deviation
	clean       float64
	kg          [3]float64
	base        [3]float64
	peaked, ok  bool
}

// look finds the clean glaze of every tile.
//
// Whiteness is the opacity of deposit that would turn the reference's glaze, in the light of the controls, into the
// pixel. A clean tile's whitenesses crowd at one place (not exactly 0: fade, film and stray light are even over a tile),
// scale makes a tail above it. Where the crowd is not clear, the low end tells, with the noise known from clear tiles;
// where even the low end is far above what happened to tiles of like colour, the tile is covered all over, and its
// clean glaze is taken from those.
func (v *View) look(img *plane.Image, o *Observation) {
	o.Tiles = make([]TileRecord, len(v.tiles))
	levels := v.levels(img, o)
	o.Noise = v.noise(img)
	looks := make([]tileLook, len(v.tiles))
	for k := range v.tiles {
		if o.Tiles[k].Level > 0 {
			v.lookTile(img, &looks[k], k, o, levels[k])
		}
	}
	// how wide the noise really is, in predicted standard errors, on the tiles with a clear crowd
	var fs []float64
	for k := range looks {
		if l := &looks[k]; l.ok && l.clean > 0.6 && l.sigma > 0 && l.sigma < 0.2 {
			fs = append(fs, l.tail/l.sigma)
		}
	}
	f := 1.0
	if len(fs) >= 8 {
		f = math.Min(3, math.Max(0.3, median(fs)))
	}
	for k := range looks {
		l := &looks[k]
		if !l.ok {
			continue
		}
		s := f*l.sigma + 0.004
		// what is as wide below the crowd as above it is the glaze's own unevenness, or the sky's
		l.wide = math.Min(math.Max(l.tail, s), 4*s)
		n, m := 0, 0
		for _, w := range l.w {
			if math.Abs(w-l.mode) < 1.5*s {
				n++
			}
			if math.Abs(w-l.mode) < 1.5*l.wide {
				m++
			}
		}
		l.clean, l.about = float64(n)/float64(len(l.w)), float64(m)/float64(len(l.w))
	}
	for k := range looks {
		l := &looks[k]
		if !l.ok {
			continue
		}
		s := f*l.sigma + 0.004
		place := l.mode
		// no clear crowd: a lower quarter is less likely to be scale. Not lower: the sky mirrored in the reference's glaze,
		// not in the photo's, makes a low tail of its own
		if place > l.quarter && l.about < 0.6 {
			place = l.quarter
		}
		l.settle(img, v, place, s, o, k)
		l.peaked = l.clean > 0.5
	}
	for k := range looks {
		l := &looks[k]
		if !l.ok {
			continue
		}
		r := &o.Tiles[k]
		r.N, r.Sigma, r.Own = len(l.use), f*l.sigma+0.004, true
		r.Gain = mulv(l.base, l.kg)
		if like, mid, spread, ok := v.alike(k, looks, o); ok {
			over := r.Base - mid
			if over > 2.5*spread+0.02+0.7*(l.wide-r.Sigma) && (l.clean < 0.6 || over > 0.25) {
				r.Own = false
				r.Gain = mulv(like, l.kg)
			} else {
				// the clearer the crowd, the more of its lead over tiles alike is the glaze's own
				own := math.Min(1, math.Max(0, l.clean-0.2)/0.4)
				veil := veilOver(over, spread+0.01) * (1 - crowdTrust*own)
				r.Gain = unveil(r.Gain, mulv(l.kg, v.deposit), v.tiles[k].mean, math.Min(veil, veilMost))
			}
		} else {
			// nothing to compare it with: a clean place that is far off or no clear crowd may be light as well as scale
			r.Doubt = l.clean < 0.3 || l.clean < 0.7 && math.Abs(r.Base) > 0.1
		}
	}
}

// settle takes the clean glaze from the pixels around a place on the whiteness scale.
func (l *tileLook) settle(img *plane.Image, v *View, place, s float64, o *Observation, k int) {
	var sum, ref, told [3]float64
	var n, ws float64
	var levels []float64
	for j, i := range l.use {
		if math.Abs(l.w[j]-place) > 1.5*s {
			continue
		}
		n, ws = n+1, ws+l.w[j]
		levels = append(levels, l.sum[j])
		p, g := v.px(img.RGB, i), v.px(v.glaze, i)
		for c := range 3 {
			if l.high[j].any()&(plane.HighR<<c) == 0 {
				sum[c], ref[c], told[c] = sum[c]+p[c], ref[c]+g[c], told[c]+1
			}
		}
	}
	r := &o.Tiles[k]
	r.Base = place
	if n < 5 {
		l.ok = false
		return
	}
	r.Clean = n / float64(len(l.w))
	slices.Sort(levels)
	r.Spread = (glaze.Quantile(levels, 0.84) - glaze.Quantile(levels, 0.16)) / 2 / math.Max(glaze.Quantile(levels, 0.5), 1e-3)
	var g [3]float64
	for c := range 3 {
		g[c] = sum[c] / math.Max(ref[c], 1e-6)
	}
	g = unveil(g, mulv(l.kg, v.deposit), v.tiles[k].mean, math.Max(0, ws/n-place))
	for c := range 3 {
		l.base[c] = g[c] / l.kg[c]
		if 2*told[c] < n { // the few that tell are the darkest
			l.base[c] = math.NaN()
		}
	}
	l.base = known(l.base)
	l.mixed(img, v, place, s, r)
}

// mixed records the line from the clean glaze to the clearly whitened pixels.
func (l *tileLook) mixed(img *plane.Image, v *View, place, s float64, r *TileRecord) {
	edge := place + math.Max(0.08, 4*s)
	var top []float64
	for _, w := range l.w {
		if w > edge {
			top = append(top, w)
		}
	}
	if len(top) < 12 {
		return
	}
	edge = median(top)
	var n float64
	for j, i := range l.use {
		if l.w[j] < edge || l.high[j].any() != 0 || img.Flags[i]&plane.Low != 0 {
			continue
		}
		p, g := v.px(img.RGB, i), v.px(v.glaze, i)
		n++
		for c := range 3 {
			r.To[c] += p[c] / l.kg[c]
			r.From[c] += g[c] * l.base[c]
		}
	}
	for c := range 3 {
		r.To[c] /= math.Max(n, 1)
		r.From[c] /= math.Max(n, 1)
	}
	r.Mixed = int(n)
}

// lookTile splits the pixels of a tile against the reference glaze in the light of the controls.
func (v *View) lookTile(img *plane.Image, l *tileLook, k int, o *Observation, level float64) {
	t := &v.tiles[k]
	if t.dark {
		return
	}
	step := 1 + len(t.inner)/lookPixels
	kg, rel := o.Line.At(level), o.Noise
	l.kg = kg
	dep := mulv(kg, v.deposit)
	free := levelSigma
	if o.Shadows && !v.nearBlack(k) {
		free = shadowSigma
	}
	for j := 0; j < len(t.inner); j += step {
		i := t.inner[j]
		high, ok := v.channels(img, i)
		if !ok || high.any()&^t.spare != 0 {
			continue
		}
		p := v.px(img.RGB, i)
		m := splitLit(p, v.px(v.glaze, i), v.deposit, o.Line, level, free, rel, high)
		if math.IsNaN(m.Alpha) {
			continue
		}
		l.use, l.w, l.sum, l.high = append(l.use, i), append(l.w, m.Alpha), append(l.sum, m.A+m.B), append(l.high, high)
	}
	if len(l.w) < 12 {
		return
	}
	l.ok = true
	// the level is one for a tile, near enough: only the noise of the channels tells pixels apart
	l.sigma = v.pixelSigma(t.mean, kg, dep, rel, free, mostly(l.high))
	l.mode = glaze.LowMode(l.w, 0.5*l.sigma)
	s := slices.Clone(l.w)
	slices.Sort(s)
	l.low, l.quarter = glaze.Quantile(s, 0.05), glaze.Quantile(s, 0.25)
	n := 0
	for _, w := range s {
		if math.Abs(w-l.mode) < 1.5*l.sigma+0.004 {
			n++
		}
	}
	l.clean = float64(n) / float64(len(s))
	l.tail = spreadBelow(s, l.mode)
}

// nearBlack reports whether a tile sends so little light of its own that the level hardly matters to its whiteness.
func (v *View) nearBlack(k int) bool { return light.Y(v.tiles[k].mean) < 0.06 }

// pixelSigma predicts the standard error of one pixel's whiteness on a glaze, from the noise of its channels
// and the texture of its level.
func (v *View) pixelSigma(mean, kg, dep [3]float64, rel, free float64, e ends) float64 {
	p := mulv(kg, mean)
	at := func(q [3]float64) float64 {
		return scale.Split(q, p, dep, e.deafen(noiseOf(p, rel), p), scale.Prior{Level: 1, Sigma: free}).Alpha
	}
	s, n := 0.0, noiseOf(p, rel)
	for c := range 3 {
		if e.photo&(plane.HighR<<c) != 0 {
			continue
		}
		q := p
		q[c] += n[c]
		d := at(q) - at(p)
		s += d * d
	}
	d := at(scaled(p, 1+textureSigma)) - at(p)
	s += d * d
	return math.Sqrt(s)
}

// alike tells what happened to the clean tiles whose reference colour is most like tile k's: the middle of their glaze
// now over the reference, and middle and spread of their base whiteness.
func (v *View) alike(k int, looks []tileLook, o *Observation) (base [3]float64, mid, spread float64, ok bool) {
	type cand struct {
		d float64
		q int
	}
	var cs []cand
	for q := range v.tiles {
		if q == k || !looks[q].ok || looks[q].clean < 0.3 {
			continue
		}
		d := colour.CIEDE2000(v.tiles[k].lab, v.tiles[q].lab)
		if d > alikeReach {
			continue
		}
		if v.tiles[q].zone != v.tiles[k].zone {
			d += 8
		}
		if o.Shadows && o.Tiles[q].Level > 0 && o.Tiles[k].Level > 0 {
			// what the sky adds to a glaze weighs more in the shade
			d += levelReach * math.Abs(math.Log(o.Tiles[q].Level/o.Tiles[k].Level))
		}
		cs = append(cs, cand{d, q})
	}
	if len(cs) < 6 {
		return base, 0, 0, false
	}
	slices.SortFunc(cs, func(a, b cand) int {
		if a.d != b.d {
			if a.d < b.d {
				return -1
			}
			return 1
		}
		return a.q - b.q
	})
	cs = cs[:min(len(cs), alikeMost)]
	var w []float64
	for _, c := range cs {
		w = append(w, o.Tiles[c.q].Base)
	}
	// scale that is taken for glaze only raises the base: the lower crowd tells
	slices.Sort(w)
	mid = math.Min(glaze.Quantile(w, 0.4), math.Max(glaze.Quantile(w, 0.1), glaze.LowMode(w, 0.01)))
	spread = 0.008
	if o.Shadows {
		spread = 0.01 // light is a little less alike there
	}
	spread = math.Max(spread, spreadBelow(w, mid))
	var g [3][]float64
	for _, c := range cs {
		if o.Tiles[c.q].Base > mid+spread {
			continue
		}
		for j := range 3 {
			g[j] = append(g[j], looks[c.q].base[j])
		}
	}
	return [3]float64{median(g[0]), median(g[1]), median(g[2])}, mid, spread, true
}

// veilOver returns the opacity of scale to be expected all over a tile whose clean place lies over that of tiles alike by
// so much, when clean tiles scatter by s: the mean of the posterior where a tile is bare with probability veilBare and
// veiled with an exponential distribution else.
func veilOver(over, s float64) float64 {
	m := over - s*s/veilMean // mode of the veiled part
	phi := math.Exp(-m*m/(2*s*s)) / math.Sqrt(2*math.Pi)
	upper := 0.5 * math.Erfc(-m/s/math.Sqrt2)
	if upper < 1e-12 {
		return 0
	}
	bare := veilBare * math.Exp(-over*over/(2*s*s)) / (s * math.Sqrt(2*math.Pi))
	veiled := (1 - veilBare) / veilMean * math.Exp(s*s/(2*veilMean*veilMean)-over/veilMean) * upper
	if !(bare+veiled > 0) {
		return math.Max(0, m)
	}
	return veiled / (bare + veiled) * (m + s*phi/upper)
}
