package measure

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"tilelapse/measure/light"
)

// TestCastLights: the lights of cast shadows run from the deepest shade to full sun, bluer the deeper; without shadows, or with
// controls in one light only, nothing is known of them.
func TestCastLights(t *testing.T) {
	line := light.Line{A: [3]float64{-0.1, 0.01, 0.2}, B: [3]float64{1.1, 0.99, 0.8}, Lo: 0.25, Hi: 1.2}
	for _, tt := range []struct {
		name string
		l    Light
		n    int
	}{
		{"shadows", Light{Line: line, Shadows: true, Level: 0.9}, shadeSteps + sunSteps},
		{"mostly in the sun", Light{Line: line, Shadows: true, Level: 1.2}, shadeSteps},
		{"mostly in the shade", Light{Line: line, Shadows: true, Level: 0.25}, sunSteps},
		{"no shadows", Light{Line: line, Level: 0.9}, 0},
		{"one light", Light{Line: light.Line{B: [3]float64{1, 1, 1}, Lo: 0.9, Hi: 1}, Shadows: true, Level: 0.95}, 0},
		{"no controls", Light{Shadows: true, Level: 1}, 0},
	} {
		t.Run(tt.name, func(t *testing.T) {
			s := tt.l.cast()
			assert.Len(t, s, tt.n)
			for k := 1; k < len(s); k++ {
				assert.Greater(t, light.Y(s[k]), light.Y(s[k-1]))
				assert.Less(t, s[k][2]/s[k][0], s[k-1][2]/s[k-1][0], "bluer the deeper")
			}
			if tt.n > 0 && tt.l.Level > line.Lo {
				assert.InDelta(t, line.Lo/tt.l.Level, s[0][1], 0.05)
			}
		})
	}
}
