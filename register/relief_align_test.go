package register

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestSurfacesThatAreNotFlat: photos of steps and of a hollow wall are used, right where they are read, and other walls are not.
func TestSurfacesThatAreNotFlat(t *testing.T) {
	for _, c := range []struct {
		name  string
		r     relief
		pitch float64
		edits map[string]func(v *view, r *relief)
	}{
		{"steps", steps(4, 150, 110), 22, map[string]func(v *view, r *relief){
			"from the side": func(v *view, r *relief) { v.yaw = -35 },
			"other glazes":  func(v *view, r *relief) { v.yaw = 10; r.glazes += 50 },
		}},
		{"niche", niche(640, 90), 0, map[string]func(v *view, r *relief){
			"a little aside": func(v *view, r *relief) { v.yaw = 11 },
			"close":          func(v *view, r *relief) { v.near, v.yaw, v.atX = 2, 15, 180 },
		}},
	} {
		front := plain()
		front.pitch = c.pitch
		ref, err := NewReference("v", c.r.shoot(front), DefaultOptions())
		require.NoError(t, err)
		for name, edit := range c.edits {
			t.Run(c.name+" "+name, func(t *testing.T) {
				v, r := front, c.r
				v.seed = 11
				edit(&v, &r)
				res := align([]*Reference{ref}, r.shoot(v), "")
				if r.glazes != c.r.glazes {
					assert.False(t, res.Accepted)
					return
				}
				require.True(t, res.Accepted, "%s %s", res.Reason, res.Detail)
				require.NoError(t, res.Mapping.Valid())
				var e []float64
				all := c.r.truth(front, v, 20)
				for _, q := range all {
					if res.Mapping.Holds(q.x, q.y) {
						e = append(e, miss(res.Mapping, &vote{X: q.x, Y: q.y, PX: q.px, PY: q.py}))
					}
				}
				assert.Greater(t, len(e), len(all)/2, "most of what both show is read")
				mid := median(append([]float64(nil), e...))
				assert.Less(t, mid, .5)
				assert.Less(t, quantile(e, .95), 2.)
				assert.GreaterOrEqual(t, res.RMSPx, mid/3)
				assert.False(t, math.IsNaN(res.RMSPx))
			})
		}
	}
}
