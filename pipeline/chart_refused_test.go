package pipeline

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"tilelapse/measure/chart"
	"tilelapse/measure/colour"
	"tilelapse/pipeline/intake"
)

// TestPoorChartsAreReadAndRefused draws charts on which no correction should lean.
func TestPoorChartsAreReadAndRefused(t *testing.T) {
	a, b := chart.Reference(chart.Before2014), chart.Reference(chart.FromNov2014)
	between := func(i, k int) float64 { return (a[i][k] + b[i][k]) / 2 }
	for _, c := range []struct {
		name    string
		pitch   int
		light   func(i, k int) float64 // of patch i, channel k
		edition chart.Edition
		why     string
	}{
		{"of no edition", 24, between, chart.Untold, "say it in survey.yaml"},
		{"edition given", 24, between, chart.FromNov2014, ""},
		{"told by its colours", 24, func(i, k int) float64 { return 0.9 * b[i][k] }, chart.Untold, ""},
		{"burnt out", 24, func(i, k int) float64 { return 2 * b[i][k] }, chart.FromNov2014, "clipped"},
		{"small", 6, func(i, k int) float64 { return b[i][k] }, chart.FromNov2014, "too small"},
		{"another order", 24, func(i, k int) float64 { return b[(7*i+5)%chart.Count][k] }, chart.FromNov2014, "not those of a 24-patch chart"},
	} {
		t.Run(c.name, func(t *testing.T) {
			p := &intake.Picture{W: c.pitch * 8, H: c.pitch * 6, Matrix: [9]float32{1, 0, 0, 0, 1, 0, 0, 0, 1}}
			curve := make([]float32, 256)
			for i := range curve {
				curve[i] = float32(colour.Decode(float64(i) / 255))
			}
			p.Curve = [3][]float32{curve, curve, curve}
			for y := range p.H {
				for x := range p.W {
					u, v := float64(x)/float64(c.pitch)-1, float64(y)/float64(c.pitch)-1
					col, row := int(u+1)-1, int(v+1)-1
					fu, fv := u-float64(col), v-float64(row)
					patch := col >= 0 && row >= 0 && col < chart.Cols && row < chart.Rows && min(fu, fv) > 0.08 && max(fu, fv) < 0.92
					for k := range 3 {
						l := 0.03
						if patch {
							l = c.light(row*chart.Cols+col, k)
						}
						p.Pix = append(p.Pix, uint8(255*colour.Encode(min(1, max(0, l)))+hash(x, y, k)))
					}
				}
			}
			l, r, bottom := float64(c.pitch), float64(7*c.pitch), float64(5*c.pitch)
			rec := readChart(p, chartCorners{{X: l, Y: l}, {X: r, Y: l}, {X: r, Y: bottom}, {X: l, Y: bottom}}, c.edition)
			assert.True(t, rec.Seen)
			if c.why == "" {
				assert.Empty(t, rec.Why)
				assert.NotNil(t, rec.fit())
				return
			}
			assert.Contains(t, rec.Why, c.why)
			assert.Nil(t, rec.fit())
			assert.Contains(t, rec.words()[0], "not used")
		})
	}
	rec := readChart(&intake.Picture{W: 9, H: 9}, chartCorners{{X: -50}, {X: 9}, {X: 9, Y: 9}, {Y: 9}}, chart.Untold)
	assert.Equal(t, chart.ErrOutside.Error(), rec.Why)
	assert.Empty(t, (&chartRecord{}).words())
}
