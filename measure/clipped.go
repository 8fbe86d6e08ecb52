package measure

import (
	"math"
	"math/bits"

	"tilelapse/measure/plane"
)

// A saturated glaze, red or orange or yellow, in good light often reaches the end of one channel's codes. The other two still
// tell scale from glaze; of the glaze's colour such a pixel says nothing.

// blindNoise is the noise, linear light, given to a channel that says nothing.
const blindNoise = 1e3

// faintNoise is how much more light, relative, a glaze at the end of the reference's codes may have there than the codes say: a
// third of a stop (our choice).
const faintNoise = 0.25

// ends are the channels of a pixel at the bright end of their codes, flags of plane.High: in the photo, and in the reference
// alone.
type ends struct{ photo, ref uint8 }

func (e ends) any() uint8 { return e.photo | e.ref }

// channels returns the ends of a pixel and whether it can be read: in sight in photo and reference, with two channels
// that tell.
func (v *View) channels(img *plane.Image, i int32) (e ends, ok bool) {
	f, r := img.Flags[i], v.ref.Flags[i]
	e.photo, e.ref = f&plane.High, r&plane.High&^f
	return e, (f|r)&unread&^plane.High == 0 && bits.OnesCount8(e.any()) < 2
}

// spareAngle is the least sine of the angle between glaze and deposit in the plane of two channels for these to tell one from the
// other under the third's end: about 17 degrees (our choice).
const spareAngle = 0.3

// spare returns the channels a glaze's pixels may do without, flags of plane.High.
func spare(glaze, deposit [3]float64) (out uint8) {
	for c := range 3 {
		a, b := (c+1)%3, (c+2)%3
		cross := glaze[a]*deposit[b] - glaze[b]*deposit[a]
		if math.Abs(cross) > spareAngle*math.Hypot(glaze[a], glaze[b])*math.Hypot(deposit[a], deposit[b]) {
			out |= plane.HighR << c
		}
	}
	return out
}

// channelOf returns the channel of a single flag of plane.High, 0 to 2.
func channelOf(high uint8) int { return bits.TrailingZeros8(high / plane.HighR) }

// deafen takes the say from the channels at the end of the photo's codes, and much of it from those at the end of the
// reference's: there p is all that is known.
func (e ends) deafen(noise, p [3]float64) [3]float64 {
	for c := range noise {
		switch f := uint8(plane.HighR << c); {
		case e.photo&f != 0:
			noise[c] = blindNoise
		case e.ref&f != 0:
			noise[c] = math.Hypot(noise[c], faintNoise*p[c])
		}
	}
	return noise
}

// mostly returns the channels that are at the end of the photo's codes in more than half of the pixels.
func mostly(high []ends) (out ends) {
	for c := range 3 {
		n := 0
		for _, e := range high {
			if e.photo&(plane.HighR<<c) != 0 {
				n++
			}
		}
		if 2*n > len(high) {
			out.photo |= plane.HighR << c
		}
	}
	return out
}

// complete gives pixels with one channel at the end of its codes the light there that the reference lets expect from the other
// two, where the photo does not speak against it, and takes their flags off: what is compared with the reference then is
// the channels that tell. img, its light brought to the reference's, is changed; its flags are made anew.
func (v *View) complete(img *plane.Image) {
	flags := make([]uint8, len(img.Flags))
	copy(flags, img.Flags)
	img.Flags = flags
	for i, f := range flags {
		high := (f | v.ref.Flags[i]) & plane.High
		if bits.OnesCount8(high) != 1 {
			continue
		}
		c := channelOf(high)
		p, r := img.RGB[3*i:3*i+3], v.ref.RGB[3*i:3*i+3]
		a, b := (c+1)%3, (c+2)%3
		expected := r[c] * (p[a] + p[b]) / max(r[a]+r[b], 1e-4)
		if f&high == 0 && p[c] > expected || f&high != 0 && p[c] < expected { // the brighter one is not known
			p[c] = expected
		}
		flags[i] &^= high
	}
}

// oneChannel returns the reference with the flags of pixels off that have but one channel at the end of its codes.
func oneChannel(ref *plane.Image) *plane.Image {
	out := *ref
	out.Flags = make([]uint8, len(ref.Flags))
	for i, f := range ref.Flags {
		if bits.OnesCount8(f&plane.High) == 1 {
			f &^= plane.High
		}
		out.Flags[i] = f
	}
	return &out
}

// known replaces the gains of channels that are not known, NaN, by the mean of the others: 1 where none is.
func known(g [3]float64) [3]float64 {
	s, n := 0.0, 0.0
	for _, x := range g {
		if !math.IsNaN(x) {
			s, n = s+x, n+1
		}
	}
	for c := range g {
		switch {
		case n == 0:
			g[c] = 1
		case math.IsNaN(g[c]):
			g[c] = s / n
		}
	}
	return g
}
