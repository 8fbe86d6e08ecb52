package measure

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"tilelapse/measure/colour"
	"tilelapse/measure/light"
	"tilelapse/measure/plane"
)

// DefaultOpacity is the opacity from which on a spot counts as whitened. Our choice; the report shows 0.1 and 0.4 too.
const DefaultOpacity = 0.20

// commonDeposit is the colour taken for mineral scale when nothing is known of the local one: a dry carbonate crust,
// whitish and slightly warm, CIELAB D65. Common practice, no source.
var commonDeposit = colour.Lab{L: 89, A: 0.5, B: 5}

// View is one reference photo prepared for measuring. It is not changed by any method and may be used by several
// goroutines at once.
type View struct {
	spec     Spec
	w, h     int
	ref      *plane.Image
	glaze    []float32 // reference colour, lightly smoothed inside its tile, interleaved
	labels   []int32
	depth    []uint8
	tiles    []tileInfo
	controls [][]int32
	near     [][]int32  // nearest tiles of each tile, nearest first
	stable   [3]float64 // mean reference light of the controls, 0 without any
	deposit  [3]float64
	from     string // where the deposit colour comes from
	cover    *cover

	names  []string // each tile's glaze, "" = none
	centre map[string]colour.Lab
}

// tileInfo is what the reference tells of a tile.
type tileInfo struct {
	zone   int     // index into Spec.Zones, -1 = none
	pix    []int32 // measuring pixels inside outline and not ignored
	inner  []int32 // of them those off the rim
	rim    uint8   // how deep the rim is, px
	x, y   float64 // centroid, reference px
	area   float64 // reference px²
	mean   [3]float64
	lab    colour.Lab // as photographed
	colour colour.Lab // by the reference's chart, else as photographed
	scaled bool
	gap    bool
	ring   []int32 // joint pixels around it, off the rims of tiles
	dark   bool    // reference flags over most of it
	spare  uint8   // channels that may be at the end of their codes, flags of plane.High
}

// DepositSource says where the deposit's colour comes from: "sample", "survey" or "common".
func (v *View) DepositSource() string { return v.from }

// NewView prepares a view. ref is the reference photo on the measuring frame; it is kept and must not be changed
// afterwards. Fails when sizes disagree or there is no tile at all.
func NewView(spec Spec, ref *plane.Image) (*View, error) {
	w, h := spec.Frame.Size()
	if ref == nil || ref.W != w || ref.H != h {
		return nil, fmt.Errorf("reference does not have the measuring frame's size %d x %d", w, h)
	}
	if len(spec.Tiles) == 0 {
		return nil, errors.New("no tiles in the view")
	}
	if spec.Opacity == 0 {
		spec.Opacity = DefaultOpacity
	}
	if !(spec.Opacity > 0 && spec.Opacity <= 1) {
		return nil, fmt.Errorf("coverage opacity %v is not in (0, 1]", spec.Opacity)
	}
	v := &View{spec: spec, w: w, h: h, ref: ref}
	v.labels = plane.Label(spec.Tiles, spec.Frame)
	ignore := plane.Mask(spec.Ignore, spec.Frame)
	scaled, gaps := plane.Mask(spec.Scaled, spec.Frame), plane.Mask(spec.Gaps, spec.Frame)
	for i, ig := range ignore {
		if ig {
			v.labels[i] = -1
		}
	}
	v.depth = plane.Depth(v.labels, w, h, 8)
	lists := plane.Lists(v.labels, len(spec.Tiles))
	v.tiles = make([]tileInfo, len(spec.Tiles))
	for k := range v.tiles {
		t := &v.tiles[k]
		t.zone, t.pix = -1, lists[k]
		t.x, t.y = spec.Tiles[k].Centroid()
		t.area = spec.Tiles[k].Area()
		for z := range spec.Zones {
			if spec.Zones[z].Contains(t.x, t.y) {
				t.zone = z
				break
			}
		}
		t.inner, t.rim = v.inner(t.pix)
		sc, gp := 0, 0
		for _, i := range t.pix {
			if scaled[i] {
				sc++
			}
			if gaps[i] {
				gp++
			}
		}
		t.scaled, t.gap = 2*sc > len(t.pix), 2*gp > len(t.pix)
		t.mean, t.dark = v.meanColour(t.inner)
		t.lab = colour.RGB(t.mean).Lab()
	}
	for _, c := range spec.Controls {
		v.controls = append(v.controls, plane.Fill(c, spec.Frame))
	}
	v.near = v.nearest(16)
	v.joints()
	v.smooth()
	v.setDeposit()
	for k := range v.tiles {
		v.tiles[k].spare = spare(v.tiles[k].mean, v.deposit)
	}
	v.setStable()
	v.setColours()
	v.names, v.centre = v.glazeNames()
	v.cover = newCover(v, ignore)
	return v, nil
}

// meanColour returns the reference's mean colour over pixels, each channel where it is not at the end of its codes if that is at
// least half of them, and whether it can't be told: fewer than 8 or under half of the pixels have two channels that tell.
func (v *View) meanColour(pix []int32) (mean [3]float64, dark bool) {
	var all, told, sum [3]float64
	n := 0.0
	for _, i := range pix {
		e, ok := v.channels(v.ref, i)
		if !ok {
			continue
		}
		n++
		p := v.px(v.ref.RGB, i)
		for c := range 3 {
			all[c] += p[c]
			if e.photo&(plane.HighR<<c) == 0 {
				sum[c], told[c] = sum[c]+p[c], told[c]+1
			}
		}
	}
	for c := range 3 {
		mean[c] = all[c] / math.Max(n, 1)
		if 2*told[c] >= n && n > 0 {
			mean[c] = sum[c] / told[c]
		}
	}
	return mean, n < 8 || 2*n < float64(len(pix))
}

// rimDepth is how deep the rim of a tile is, px: there joint and glaze mix, by blur, by what the alignment is off and by the
// outline's own error, and joints look like scale. Measured on made scenes: rims counted in give clean walls 1.5 to 2 %
// of whitened area.
const rimDepth = 2

// inner returns the pixels of a tile off its rim and the rim's depth, a lesser one where too few would be left.
func (v *View) inner(pix []int32) ([]int32, uint8) {
	for d := uint8(rimDepth); d >= 1; d-- {
		var in []int32
		for _, i := range pix {
			if v.depth[i] > d {
				in = append(in, i)
			}
		}
		if len(in) >= 24 && 3*len(in) >= len(pix) {
			return in, d
		}
	}
	return pix, 0
}

// nearest lists the n nearest tiles of each by centroid, ties by index.
func (v *View) nearest(n int) [][]int32 {
	out := make([][]int32, len(v.tiles))
	type cand struct {
		d float64
		k int32
	}
	buf := make([]cand, 0, len(v.tiles))
	for a := range v.tiles {
		buf = buf[:0]
		for b := range v.tiles {
			if a != b && len(v.tiles[b].pix) > 0 {
				dx, dy := v.tiles[a].x-v.tiles[b].x, v.tiles[a].y-v.tiles[b].y
				buf = append(buf, cand{dx*dx + dy*dy, int32(b)})
			}
		}
		slices.SortFunc(buf, func(p, q cand) int {
			if p.d != q.d {
				if p.d < q.d {
					return -1
				}
				return 1
			}
			return int(p.k - q.k)
		})
		for _, c := range buf[:min(n, len(buf))] {
			out[a] = append(out[a], c.k)
		}
	}
	return out
}

// smooth makes the glaze plane: 3 x 3 means inside the tile, so that the reference's noise is not taken for texture.
func (v *View) smooth() {
	v.glaze = make([]float32, len(v.ref.RGB))
	for y := range v.h {
		for x := range v.w {
			i := y*v.w + x
			l := v.labels[i]
			if l < 0 {
				copy(v.glaze[3*i:3*i+3], v.ref.RGB[3*i:3*i+3])
				continue
			}
			var s [3]float32
			var n float32
			for b := max(0, y-1); b <= min(v.h-1, y+1); b++ {
				for a := max(0, x-1); a <= min(v.w-1, x+1); a++ {
					j := b*v.w + a
					if v.labels[j] != l {
						continue
					}
					k := float32(1)
					if j == i {
						k = 2
					}
					n += k
					for c := range 3 {
						s[c] += k * v.ref.RGB[3*j+c]
					}
				}
			}
			for c := range 3 {
				v.glaze[3*i+c] = s[c] / n
			}
		}
	}
}

// setDeposit takes the deposit's colour, best source first: a sample in the reference, the survey, common scale.
func (v *View) setDeposit() {
	var r, g, b []float64
	for _, d := range v.spec.Deposits {
		for _, i := range plane.Fill(d, v.spec.Frame) {
			if v.ref.Flags[i] == 0 {
				r, g, b = append(r, float64(v.ref.RGB[3*i])), append(g, float64(v.ref.RGB[3*i+1])), append(b, float64(v.ref.RGB[3*i+2]))
			}
		}
	}
	switch {
	case len(r) >= 16:
		v.deposit, v.from = [3]float64{median(r), median(g), median(b)}, "sample"
	case v.spec.Deposit != nil && v.spec.Deposit.L > 20:
		v.deposit, v.from = scaled([3]float64(v.spec.Deposit.RGB()), depositLevel), "survey"
	default:
		v.deposit, v.from = scaled([3]float64(commonDeposit.RGB()), depositLevel), "common"
	}
	if light.Y(v.deposit) <= 0 {
		v.deposit, v.from = scaled([3]float64(commonDeposit.RGB()), depositLevel), "common"
	}
}

func (v *View) px(im []float32, i int32) [3]float64 {
	o := 3 * int(i)
	return [3]float64{float64(im[o]), float64(im[o+1]), float64(im[o+2])}
}

// joints finds the joint pixels around each tile that lie at least a step from any tile.
func (v *View) joints() {
	near := make([]bool, v.w*v.h)
	for y := range v.h {
		for x := range v.w {
			if v.labels[y*v.w+x] < 0 {
				continue
			}
			for b := max(0, y-1); b <= min(v.h-1, y+1); b++ {
				for a := max(0, x-1); a <= min(v.w-1, x+1); a++ {
					near[b*v.w+a] = true
				}
			}
		}
	}
	for k, ring := range plane.Rings(v.labels, v.w, v.h, len(v.tiles), 6) {
		for _, i := range ring {
			if !near[i] && v.ref.Flags[i] == 0 {
				v.tiles[k].ring = append(v.tiles[k].ring, i)
			}
		}
	}
}

func scaled(v [3]float64, k float64) [3]float64 { return [3]float64{v[0] * k, v[1] * k, v[2] * k} }
