package chart

import (
	"math"
	"math/rand"

	"tilelapse/measure/colour"
	"tilelapse/measure/plane"
)

// made describes a chart rendered for a test.
type made struct {
	edition  Edition
	matrix   [3][3]float64 // photo light from reference colours
	flare    [3]float64
	across   float64 // change of light across the chart's width
	noise    float64 // of encoded values
	exponent float64 // 0 = sRGB curve in the file; else codes hold light to the power 1/exponent but are decoded as sRGB
	gap      float64 // share of the pitch
	border   float64 // card outside of the patches, pitches
	pitch    float64
	turn     float64 // degrees
	mirror   bool
	swap     bool // patches in another order: no chart
	wall     float64
}

// lamps are lights a chart may stand in, as what a camera makes of reference colours: balanced, warm, green and dim,
// bluish with crosstalk between the channels.
var lamps = map[string][3][3]float64{
	"balanced":  {{0.8, 0, 0}, {0, 0.8, 0}, {0, 0, 0.8}},
	"warm":      {{0.85, 0.05, 0}, {0.04, 0.6, 0.02}, {0, 0.06, 0.3}},
	"green":     {{0.25, 0.12, 0.03}, {0.1, 0.5, 0.08}, {0.02, 0.12, 0.3}},
	"blue sky":  {{0.45, 0.1, 0.02}, {0.06, 0.55, 0.06}, {0.01, 0.1, 0.8}},
	"very dim":  {{0.09, 0, 0}, {0, 0.1, 0}, {0, 0, 0.1}},
	"crosstalk": {{0.5, 0.25, 0.05}, {0.15, 0.55, 0.1}, {0.05, 0.25, 0.5}},
}

// render draws the chart in the middle of a picture and returns the corners of the patches' outer edges, clockwise from
// the top left of the unturned chart, moved outwards by `outside` pitches.
func (m made) render(outside float64, rng *rand.Rand) (*plane.Image, [4]plane.Point) {
	size := int(m.pitch * (math.Hypot(Cols, Rows) + 3))
	img := plane.New(size, size)
	ref := Reference(m.edition)
	if m.swap {
		rng.Shuffle(Count, func(i, j int) { ref[i], ref[j] = ref[j], ref[i] })
	}
	s, c := math.Sincos(m.turn * math.Pi / 180)
	mid := float64(size) / 2
	for i := range img.Flags {
		x, y := float64(i%size)-mid, float64(i/size)-mid
		u, v := (c*x+s*y)/m.pitch+Cols/2.0, (-s*x+c*y)/m.pitch+Rows/2.0
		if m.mirror {
			u = Cols - u
		}
		col := colour.RGB{0.03, 0.03, 0.03}
		fu, fv := u-math.Floor(u), v-math.Floor(v)
		edge := m.gap / 2
		switch {
		case u < -m.border || v < -m.border || u > Cols+m.border || v > Rows+m.border:
			col = colour.RGB{m.wall, m.wall, m.wall}
		case u > 0 && v > 0 && u < Cols && v < Rows && fu > edge && fu < 1-edge && fv > edge && fv < 1-edge:
			col = ref[int(v)*Cols+int(u)]
		}
		light := 1 + m.across*(u/Cols-0.5)
		for k := range 3 {
			v := m.flare[k]
			for j := range 3 {
				v += m.matrix[k][j] * col[j] * light
			}
			code := colour.Encode(v)
			if m.exponent != 0 {
				code = math.Copysign(math.Pow(math.Abs(v), 1/m.exponent), v)
			}
			code = math.Round(255*math.Max(0, math.Min(1, code+m.noise*rng.NormFloat64()))) / 255
			if code >= 253.0/255 {
				img.Flags[i] |= plane.High
			} else if code <= 2.0/255 {
				img.Flags[i] |= plane.Low
			}
			img.RGB[3*i+k] = float32(colour.Decode(code))
		}
	}
	var q [4]plane.Point
	o := outside - m.gap/2
	for k, p := range [4]plane.Point{{X: -o, Y: -o}, {X: Cols + o, Y: -o}, {X: Cols + o, Y: Rows + o}, {X: -o, Y: Rows + o}} {
		u, v := (p.X-Cols/2.0)*m.pitch, (p.Y-Rows/2.0)*m.pitch
		q[k] = plane.Point{X: c*u - s*v + mid, Y: s*u + c*v + mid}
	}
	return img, q
}

func usual() made {
	return made{edition: FromNov2014, matrix: lamps["balanced"], noise: 0.01, gap: 0.125, border: 0.25, pitch: 32, wall: 0.4}
}
