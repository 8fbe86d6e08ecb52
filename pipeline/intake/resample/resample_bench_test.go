package resample

import (
	"testing"

	"tilelapse/measure/plane"
	"tilelapse/pipeline/intake"
)

// BenchmarkOnto12MP is a 12 MP photo on the 3 Mpx frame of a 12 MP reference.
func BenchmarkOnto12MP(b *testing.B) {
	const w, h = 4000, 3000
	p := &intake.Picture{W: w, H: h, Pix: make([]uint8, 3*w*h), Matrix: [9]float32{1, 0, 0, 0, 1, 0, 0, 0, 1}}
	for c := range p.Curve {
		p.Curve[c] = make([]float32, 256)
	}
	for i := range p.Pix {
		p.Pix[i] = uint8(i*7 + i/977)
	}
	f := plane.FrameOf(w, h)
	for b.Loop() {
		Onto(p, f, func(x, y float64) (float64, float64) { return 0.98*x + 0.02*y, 0.98*y - 0.02*x + 60 })
	}
}
