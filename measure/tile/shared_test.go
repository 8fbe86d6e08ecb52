package tile

import (
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"tilelapse/measure/plane"
)

// TestRealLightOnly reads real photographs of blocks on which nothing of a tile's size changed: within one visit only the
// lamp moved, between the visits crumbs fell (W. Feng et al., Fine-grained change detection of misaligned scenes with
// varied illuminations, ICCV 2015). No tile may be called missing or another.
func TestRealLightOnly(t *testing.T) {
	for _, set := range []string{"db-1", "db-6", "db-9"} {
		t.Run(set, func(t *testing.T) {
			dir := sharedDir(t, "realdata", "fgcd", set)
			first := decode(t, filepath.Join(dir, "visit1_light1.jpg"), 1)
			f := plane.FrameOf(first.w, first.h)
			ref := first.warp(first.w, first.h, func(x, y float64) (float64, float64) { return x, y })
			svg := filepath.Join(dir, "regions_visit1_light1.svg")
			tiles := shapes(t, svg, "tile")
			require.NotEmpty(t, tiles)
			s := New(Input{W: ref.W, H: ref.H, Ref: ref, Labels: plane.Label(tiles, f), N: len(tiles)})
			b, err := os.ReadFile(filepath.Join(dir, "H_1_2_derived.txt"))
			require.NoError(t, err)
			var m []float64
			for _, w := range strings.Fields(string(b)) {
				v, err := strconv.ParseFloat(w, 64)
				require.NoError(t, err)
				m = append(m, v)
			}
			require.Len(t, m, 9)
			files, err := filepath.Glob(filepath.Join(dir, "visit*.jpg"))
			require.NoError(t, err)
			var ev [][]Evidence
			for _, file := range files {
				at := func(x, y float64) (float64, float64) { return x, y }
				if strings.HasPrefix(filepath.Base(file), "visit2") {
					at = func(x, y float64) (float64, float64) {
						w := m[6]*x + m[7]*y + m[8]
						return (m[0]*x + m[1]*y + m[2]) / w, (m[3]*x + m[4]*y + m[5]) / w
					}
				}
				img := decode(t, file, 1).warp(ref.W, ref.H, at)
				cancel(ref, img, shapes(t, svg, "control"), f)
				ev = append(ev, s.Evidence(img))
			}
			present, all := 0, 0
			for p, calls := range s.Decide(ev) {
				for k, c := range calls {
					all++
					if c.State == Present {
						present++
					}
					if c.State == Missing || c.State == OffPalette {
						t.Errorf("%s tile %d: %+v", filepath.Base(files[p]), k, c)
					}
				}
			}
			t.Logf("%d of %d tiles read in %d photos", present, all, len(files))
			if float64(present) < 0.5*float64(all) {
				t.Errorf("only %d of %d tiles read", present, all)
			}
		})
	}
}

// sceneTruth is what the tests need of a rendered scene's truth.
type sceneTruth struct {
	Views []struct {
		ID            string
		Reference     string
		Width, Height int
		Tiles         struct {
			ID      []string
			Zone    []*string
			Polygon [][][2]float64
		}
	}
	Photos []struct {
		File, View, Role string
		NoChange         *string `json:"no_change_since"`
		Orientation      int     `json:"exif_orientation"`
		Map              struct{ Ref, Photo [][2]float64 }
		Tiles            struct {
			State    []string
			InFrame  []float64 `json:"in_frame"`
			Unhidden []float64
		}
	}
}

// TestScene reads a rendered scene by its true mapping: two views, five visits in sun, shade and rain, with scale, dirt,
// losses, replacements, a plant and a sign in front.
func TestScene(t *testing.T) {
	dir := sharedDir(t, "scenes", "school-basin")
	b, err := os.ReadFile(filepath.Join(dir, "truth.json"))
	require.NoError(t, err)
	var truth sceneTruth
	require.NoError(t, json.Unmarshal(b, &truth))
	hits, found, all := map[string]int{}, map[string]int{}, map[string]int{}
	stated, readable := 0, 0
	for _, v := range truth.Views {
		f := plane.FrameOf(v.Width, v.Height)
		require.Equal(t, 1, f.K)
		same := func(x, y float64) (float64, float64) { return x, y }
		ref := decode(t, filepath.Join(dir, v.Reference), 1).warp(v.Width, v.Height, same)
		var tiles []plane.Region
		for _, p := range v.Tiles.Polygon {
			var ring []plane.Point
			for _, q := range p {
				ring = append(ring, plane.Point{X: q[0], Y: q[1]})
			}
			tiles = append(tiles, plane.Region{Rings: [][]plane.Point{ring}})
		}
		controls := shapes(t, filepath.Join(dir, "regions", v.ID+".svg"), "control")
		require.NotEmpty(t, controls)
		s := New(Input{W: ref.W, H: ref.H, Ref: ref, Labels: plane.Label(tiles, f), N: len(tiles)})
		var ev [][]Evidence
		var of []int
		for i, p := range truth.Photos {
			if p.View != v.ID || p.Role != "visit" {
				continue
			}
			img := decode(t, filepath.Join(dir, p.File), p.Orientation).warp(ref.W, ref.H, smooth(p.Map.Ref, p.Map.Photo, float64(ref.W), float64(ref.H), 7))
			cancel(ref, img, controls, f)
			ev, of = append(ev, s.Evidence(img)), append(of, i)
		}
		for i, calls := range s.Decide(ev) {
			p := truth.Photos[of[i]]
			for k, c := range calls {
				if v.Tiles.Zone[k] == nil {
					continue
				}
				want, lost := p.Tiles.State[k], c.State == Missing || c.State == OffPalette
				if lost {
					found[c.State]++
					if want == c.State {
						hits[c.State]++
					}
					if want == Hidden {
						t.Errorf("%s tile %s: hidden called %+v", p.File, v.Tiles.ID[k], c)
					}
					if p.NoChange != nil && *p.NoChange == "reference" {
						t.Errorf("%s tile %s: nothing changed, called %+v", p.File, v.Tiles.ID[k], c)
					}
				}
				if want == Missing || want == OffPalette {
					all[want]++
				}
				if want != Hidden && want != Outside {
					readable++
					if slices.Contains([]string{Present, Missing, OffPalette}, c.State) {
						stated++
					}
				}
			}
		}
	}
	for _, st := range []string{Missing, OffPalette} {
		t.Logf("%s: %d of %d found, %d called so", st, hits[st], all[st], found[st])
		require.NotZero(t, all[st])
		// what is found is asked to be right first: three of the replaced tiles got a glaze near their own
		if r := float64(hits[st]) / float64(all[st]); r < map[string]float64{Missing: 0.85, OffPalette: 0.65}[st] {
			t.Errorf("%s: recall %.2f", st, r)
		}
		if p := float64(hits[st]) / float64(max(1, found[st])); p < 0.9 {
			t.Errorf("%s: precision %.2f", st, p)
		}
	}
	t.Logf("%d of %d tiles given a state", stated, readable)
	if float64(stated) < 0.95*float64(readable) {
		t.Errorf("%d of %d tiles given a state", stated, readable)
	}
}
