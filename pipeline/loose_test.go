package pipeline

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"

	"tilelapse/measure/plane"
	"tilelapse/pipeline/survey"
	"tilelapse/register"
)

// TestLooseIsFlaggedAndLeftOut: where a mapping is not held, pixels are flagged on the measuring frame and mappings.csv is empty.
func TestLooseIsFlaggedAndLeftOut(t *testing.T) {
	const w, h = 66, 66
	m := register.Mapping{PhotoFromRef: [9]float64{1, 0, 0, 0, 1, 0, 0, 0, 1}}
	f := plane.FrameOf(w, h)
	fw, fh := f.Size()
	flagged := func() (n int) {
		img := &plane.Image{W: fw, H: fh, Flags: make([]uint8, fw*fh)}
		markLoose(img, f, m)
		for i, v := range img.Flags {
			if v&plane.Loose != 0 {
				n++
				x, _ := f.Ref(float64(i%fw), 0)
				assert.GreaterOrEqual(t, x, 33.)
			}
		}
		return n
	}
	assert.Zero(t, flagged())
	m.Held = &register.Held{X0: 0, Y0: 0, Step: 33, NX: 2, NY: 2, Bits: []byte{0b0101}} // the left half
	assert.Equal(t, fw*fh/2, flagged())

	p := &photo{align: register.Result{Accepted: true, Mapping: m}}
	p.facts.W, p.facts.H = w, h
	for _, r := range mappingRows(&viewResult{view: &survey.View{ID: "v"}, photos: []*photo{p}}, w, h) {
		assert.Equal(t, float64(r.RefX) >= 33, math.IsNaN(float64(r.PhotoX)), "at %v", r.RefX)
	}
}
