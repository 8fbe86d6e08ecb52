package register

import (
	"context"
	"fmt"
	"image"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// reliefs are the made surfaces of the table, with the pitch of the reference's camera.
var reliefs = []struct {
	name  string
	r     relief
	pitch float64
}{
	{"steps", steps(4, 150, 110), 22},
	{"stairs", steps(7, 90, 60), 25},
	{"recess", recess(330, 0, 160, 40), 0},
	{"two planes", recess(480, 0, 260), 0},
	{"niche", niche(640, 90), 0},
	{"bay", niche(1100, 55), 0},
}

var reliefPhotos = []struct {
	name string
	edit func(v *view, r *relief)
	bad  bool
}{
	{"yaw 11", func(v *view, r *relief) { v.yaw = 11 }, false},
	{"yaw -35", func(v *view, r *relief) { v.yaw, v.gain = -35, .8 }, false},
	{"yaw 35", func(v *view, r *relief) { v.yaw, v.shade = 35, .4 }, false},
	{"yaw 20 whitened", func(v *view, r *relief) { v.yaw, v.white, v.gain, v.noise = 20, .35, .7, 3 }, false},
	{"turned 90", func(v *view, r *relief) { v.roll, v.yaw, v.w, v.h = 90, 8, 900, 1200 }, false},
	{"close-up", func(v *view, r *relief) { v.near, v.yaw, v.atX, v.atY = 2, 15, 180, 60 }, false},
	{"close-up left", func(v *view, r *relief) { v.near, v.yaw, v.atX, v.atY = 2.3, -20, -220, -40 }, false},
	{"far, dark", func(v *view, r *relief) { v.near, v.yaw, v.pitch, v.gain = .7, -14, v.pitch+6, .5 }, false},
	{"other glazes", func(v *view, r *relief) { v.yaw = 10; r.glazes += 50 }, true},
	{"other glazes, same place", func(v *view, r *relief) { r.glazes += 60; v.noise = 3 }, true},
	{"other glazes, close", func(v *view, r *relief) { v.near, v.atX, v.yaw = 2, 120, 12; r.glazes += 70 }, true},
	{"other wall", func(v *view, r *relief) { v.yaw = -8; r.glazes += 80; r.joints += 80 }, true},
}

// TestTableReliefs prints how made surfaces that are not flat are aligned. REGISTER_ONLY and REGISTER_PHOTO choose, REGISTER_KEEP names a folder for the pictures.
func TestTableReliefs(t *testing.T) {
	if os.Getenv("TILELAPSE_SHARED") == "" && os.Getenv("REGISTER_RELIEFS") == "" {
		t.Skip("set REGISTER_RELIEFS to print the table")
	}
	traced()
	for _, s := range reliefs {
		if f := os.Getenv("REGISTER_ONLY"); f != "" && !strings.Contains(s.name, f) {
			continue
		}
		front := plain()
		front.pitch = s.pitch
		g := s.r.shoot(front)
		keep := func(name string, w func() error) {
			if d := os.Getenv("REGISTER_KEEP"); d != "" {
				require.NoError(t, w(), name)
			}
		}
		save := func(name string) *os.File {
			f, err := os.Create(filepath.Join(os.Getenv("REGISTER_KEEP"), strings.ReplaceAll(name, " ", "_")+".png"))
			require.NoError(t, err)
			return f
		}
		keep("ref", func() error { f := save(s.name); defer f.Close(); return png.Encode(f, g) })
		ref, err := NewReference("v", g, DefaultOptions())
		require.NoError(t, err)
		for i, p := range reliefPhotos {
			if f := os.Getenv("REGISTER_PHOTO"); f != "" && !strings.Contains(p.name, f) {
				continue
			}
			v, r := front, s.r
			v.seed = int64(10 + i)
			p.edit(&v, &r)
			im := r.shoot(v)
			keep("photo", func() error { f := save(s.name + "-" + p.name); defer f.Close(); return png.Encode(f, im) })
			t0 := cpuTime()
			res := Align(context.Background(), []*Reference{ref}, im, "", DefaultOptions())
			dt := cpuTime() - t0
			var e, off []float64
			all := s.r.truth(front, v, 20)
			if res.Accepted && !p.bad {
				for _, q := range all {
					px, _ := res.Mapping.Read(q.x, q.y)
					if math.IsNaN(px) {
						continue
					}
					e = append(e, miss(res.Mapping, &vote{X: q.x, Y: q.y, PX: q.px, PY: q.py}))
				}
				off = append(off, e...)
			}
			mark := ""
			if res.Accepted == p.bad {
				mark = "  <-- " + map[bool]string{true: "IMPOSTOR USED", false: "refused"}[p.bad]
			}
			fmt.Printf("%-10s %-26s %-5v %-12s %5dms in %4d agree %.2f told %s | true rms %s med %s p90 %s p95 %s of %d/%d ov %.0f %s %s%s\n", s.name, p.name, res.Accepted, res.Reason, dt.Milliseconds(), res.Inliers, res.Agree, fmtErr(res.RMSPx),
				fmtErr(rms(e)), fmtErr(median(off)), fmtErr(quantile(off, .9)), fmtErr(quantile(off, .95)), len(e), len(all), res.OverlapPct, res.Basis, res.Detail, mark)
		}
	}
}

// heldOf is the share of the overlap in which the mapping is held, 1 = all.
func heldOf(r Result, refs []*Reference, g *image.Gray) float64 {
	for _, ref := range refs {
		if ref.ID == r.View && r.OverlapPct > 0 {
			m := r.Mapping
			m.Held = nil
			return r.OverlapPct / 100 / m.Overlap(ref.W, ref.H, g.Rect.Dx(), g.Rect.Dy())
		}
	}
	return math.NaN()
}
