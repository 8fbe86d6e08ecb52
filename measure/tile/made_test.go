package tile

import (
	"math"
	"math/rand"

	"tilelapse/measure/colour"
	"tilelapse/measure/plane"
)

// wall is an invented tiled wall in linear light: square tiles with their own glazes and faint brush marks, grey mottled
// joints, a frame of plain stone around.
type wall struct {
	w, h, cols, rows int
	pitch, tile, x0  int
	labels           []int32
	img              *plane.Image
	rng              *rand.Rand
	bed              []float32 // brightness of the bed behind, a pixel
}

func linear(l, a, b float64) [3]float32 {
	c := colour.Lab{L: l, A: a, B: b}.RGB()
	return [3]float32{float32(c[0]), float32(c[1]), float32(c[2])}
}

var glazes = [][3]float64{{45, 10, -40}, {62, -30, 5}, {70, 12, 50}, {84, -1, 4}, {40, 38, 22}}

// newWall builds the wall: blocks of like glaze, two columns of tiles each.
func newWall(seed int64, cols, rows, pitch, tile int) *wall {
	w := &wall{cols: cols, rows: rows, pitch: pitch, tile: tile, x0: pitch}
	w.w, w.h = (cols+2)*pitch, (rows+2)*pitch
	w.rng = rand.New(rand.NewSource(seed))
	w.img = plane.New(w.w, w.h)
	w.labels = make([]int32, w.w*w.h)
	w.bed = make([]float32, w.w*w.h)
	coarse := make([]float32, w.w*w.h)
	for i := range coarse {
		coarse[i] = float32(w.rng.NormFloat64())
	}
	for y := range w.h {
		for x := range w.w {
			i := y*w.w + x
			// bed and joint are sandy: noise of a pixel and of some pixels
			s := 0.12 * coarse[i]
			s += 0.12 * coarse[(y/3*3)*w.w+x/3*3]
			w.bed[i] = float32(math.Exp(float64(s)))
			w.labels[i] = -1
			w.set(i, linear(48, 0, 3), w.bed[i])
		}
	}
	for t := range cols * rows {
		g := glazes[(t%cols)/2%len(glazes)]
		shade := linear(g[0]+3*w.rng.NormFloat64(), g[1]+2*w.rng.NormFloat64(), g[2]+2*w.rng.NormFloat64())
		fx, fy := w.rng.Float64()*6, w.rng.Float64()*6
		w.each(t, func(i, u, v int) {
			w.labels[i] = int32(t)
			brush := 1 + 0.06*math.Sin(fx+float64(u)*0.35)*math.Sin(fy+float64(v)*0.27)
			w.set(i, shade, float32(brush))
		})
	}
	return w
}

// each visits a tile's pixels with their place in the tile.
func (w *wall) each(t int, f func(i, u, v int)) {
	x, y := w.x0+(t%w.cols)*w.pitch, w.x0+(t/w.cols)*w.pitch
	for v := range w.tile {
		for u := range w.tile {
			f((y+v)*w.w+x+u, u, v)
		}
	}
}

func (w *wall) set(i int, c [3]float32, s float32) {
	for k := range c {
		w.img.RGB[3*i+k] = c[k] * s
	}
}

func (w *wall) input() Input {
	return Input{W: w.w, H: w.h, Ref: w.img, Labels: w.labels, N: w.cols * w.rows}
}

// photo is a copy of the wall to be changed.
func (w *wall) photo() *wall {
	p := *w
	p.img = plane.New(w.w, w.h)
	copy(p.img.RGB, w.img.RGB)
	copy(p.img.Flags, w.img.Flags)
	return &p
}

// lose takes a tile away: its sandy bed shows, darker at the upper rim.
func (w *wall) lose(t int) {
	w.each(t, func(i, _, v int) {
		s := 0.75 * w.bed[i] * w.bed[(i*7)%len(w.bed)]
		if v < 3 {
			s *= 0.5
		}
		w.set(i, linear(46, 0, 3), s)
	})
}

// replace puts another glaze in.
func (w *wall) replace(t int, l, a, b float64) {
	c := linear(l, a, b)
	w.each(t, func(i, u, v int) { w.set(i, c, float32(1+0.04*math.Sin(1+float64(u+v)*0.3))) })
}

// scale whitens a band of columns with streaks, joints too.
func (w *wall) scale(x0, x1 int, alpha float64) {
	streak := make([]float64, w.w)
	for x := range streak {
		streak[x] = alpha * math.Abs(math.Sin(float64(x)*0.45))
	}
	for y := range w.h {
		for x := x0; x < x1; x++ {
			i := y*w.w + x
			a := float32(math.Min(0.95, streak[x]*float64(w.bed[i])))
			for k := range 3 {
				w.img.RGB[3*i+k] = (1-a)*w.img.RGB[3*i+k] + a*float32(chalk[k])
			}
		}
	}
}

// light multiplies a part of the picture.
func (w *wall) light(g [3]float32, at func(x, y int) bool) {
	for y := range w.h {
		for x := range w.w {
			if at(x, y) {
				for k := range 3 {
					w.img.RGB[3*(y*w.w+x)+k] *= g[k]
				}
			}
		}
	}
}

// cover puts a thing in front: smooth, with its own slow shading.
func (w *wall) cover(x0, y0, x1, y1 int, c [3]float32) {
	for y := y0; y < y1; y++ {
		for x := x0; x < x1; x++ {
			w.set(y*w.w+x, c, float32(1+0.2*math.Sin(float64(x)*0.05)*math.Cos(float64(y)*0.04)))
		}
	}
}

// grain adds the camera's noise.
func (w *wall) grain(sigma float64) {
	for i := range w.img.RGB {
		w.img.RGB[i] += float32(sigma * w.rng.NormFloat64())
	}
}

// grey takes a share of the colour away.
func (w *wall) grey(share float32) {
	for i := 0; i < len(w.img.RGB); i += 3 {
		y := 0.2126*w.img.RGB[i] + 0.7152*w.img.RGB[i+1] + 0.0722*w.img.RGB[i+2]
		for k := range 3 {
			w.img.RGB[i+k] += share * (y - w.img.RGB[i+k])
		}
	}
}

// blur takes the mean of 3 x 3 px.
func (w *wall) blur() {
	from := append([]float32(nil), w.img.RGB...)
	for y := 1; y < w.h-1; y++ {
		for x := 1; x < w.w-1; x++ {
			for k := range 3 {
				var s float32
				for d := range 9 {
					s += from[3*((y+d/3-1)*w.w+x+d%3-1)+k]
				}
				w.img.RGB[3*(y*w.w+x)+k] = s / 9
			}
		}
	}
}
