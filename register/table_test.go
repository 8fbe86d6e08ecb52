package register

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"image"
	"image/color"
	_ "image/jpeg"
	_ "image/png"
	"math"
	"os"
	"path/filepath"
	"sort"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// shared returns the folder with the rendered scenes and real photographs, or skips.
func shared(t testing.TB) string {
	if d := os.Getenv("TILELAPSE_SHARED"); d != "" {
		return d
	}
	d, err := os.Getwd()
	require.NoError(t, err)
	for d != filepath.Dir(d) {
		d = filepath.Dir(d)
		if s := filepath.Join(d, "shared"); exists(filepath.Join(s, "scenes")) {
			return s
		}
	}
	t.Skip("no shared folder with scenes beside the project; set TILELAPSE_SHARED to its path")
	return ""
}

func exists(p string) bool { _, err := os.Stat(p); return err == nil }

// load decodes a picture to luma and turns it upright.
func load(t testing.TB, path string, orientation int) *image.Gray {
	f, err := os.Open(path)
	require.NoError(t, err)
	defer f.Close()
	im, _, err := image.Decode(f)
	require.NoError(t, err)
	b := im.Bounds()
	w, h := b.Dx(), b.Dy()
	g := image.NewGray(image.Rect(0, 0, w, h))
	switch s := im.(type) {
	case *image.YCbCr:
		for y := 0; y < h; y++ {
			copy(g.Pix[y*w:(y+1)*w], s.Y[y*s.YStride:y*s.YStride+w])
		}
	default:
		for y := 0; y < h; y++ {
			for x := 0; x < w; x++ {
				g.SetGray(x, y, color.GrayModel.Convert(im.At(b.Min.X+x, b.Min.Y+y)).(color.Gray))
			}
		}
	}
	return upright(g, orientation)
}

// upright applies an EXIF orientation, 1 to 8.
func upright(g *image.Gray, o int) *image.Gray {
	w, h := g.Rect.Dx(), g.Rect.Dy()
	if o < 2 {
		return g
	}
	tw, th := w, h
	if o >= 5 {
		tw, th = h, w
	}
	out := image.NewGray(image.Rect(0, 0, tw, th))
	for y := 0; y < h; y++ {
		for x := 0; x < w; x++ {
			var u, v int
			switch o {
			case 2:
				u, v = w-1-x, y
			case 3:
				u, v = w-1-x, h-1-y
			case 4:
				u, v = x, h-1-y
			case 5:
				u, v = y, x
			case 6:
				u, v = h-1-y, x
			case 7:
				u, v = h-1-y, w-1-x
			case 8:
				u, v = y, w-1-x
			}
			out.Pix[v*out.Stride+u] = g.Pix[y*g.Stride+x]
		}
	}
	return out
}

type scene struct {
	name   string
	views  []sceneView
	photos []scenePhoto
}

type sceneView struct {
	ID            string
	Width, Height int
	Path          string `json:"-"`
}

type scenePhoto struct {
	File, View, Role, Impostor string
	Orientation                int `json:"exif_orientation"`
	Width, Height              int
	Map                        struct {
		Ref, Photo [][2]float64
		InFrame    []int `json:"in_frame"`
	}
}

// scenes reads the rendered surveys; reference paths come from survey.yaml's plain lines.
func scenes(t testing.TB, root string) []scene {
	paths, err := filepath.Glob(filepath.Join(root, "scenes", "*", "truth.json"))
	require.NoError(t, err)
	sort.Strings(paths)
	var out []scene
	for _, p := range paths {
		b, err := os.ReadFile(p)
		require.NoError(t, err)
		var s struct {
			Views  []sceneView
			Photos []scenePhoto
		}
		require.NoError(t, json.Unmarshal(b, &s))
		dir := filepath.Dir(p)
		y, err := os.ReadFile(filepath.Join(dir, "survey.yaml"))
		require.NoError(t, err)
		id := ""
		for _, l := range strings.Split(string(y), "\n") {
			l = strings.TrimSpace(strings.TrimPrefix(strings.TrimSpace(l), "- "))
			if v, ok := strings.CutPrefix(l, "id:"); ok {
				id = strings.Trim(strings.TrimSpace(v), `"'`)
			}
			if v, ok := strings.CutPrefix(l, "reference:"); ok {
				for i := range s.Views {
					if s.Views[i].ID == id {
						s.Views[i].Path = filepath.Join(dir, strings.Trim(strings.TrimSpace(v), `"'`))
					}
				}
			}
		}
		out = append(out, scene{dir, s.Views, s.Photos})
	}
	return out
}

func fmtErr(v float64) string {
	if math.IsNaN(v) {
		return "     -"
	}
	return fmt.Sprintf("%6.2f", v)
}

// mapErrors returns a mapping's errors at given pairs, in reference px.
func mapErrors(m Mapping, ref, photo [][2]float64, use func(i int) bool) []float64 {
	var e []float64
	for i := range ref {
		if use(i) {
			v := vote{X: ref[i][0], Y: ref[i][1], PX: photo[i][0], PY: photo[i][1]}
			e = append(e, miss(m, &v))
		}
	}
	return e
}

func rms(e []float64) float64 {
	var s float64
	for _, v := range e {
		s += v * v
	}
	return math.Sqrt(s / float64(len(e)))
}

var trace = os.Getenv("REGISTER_TRACE") != ""

// cpuTime is the process's own time so far: the machine may be shared.
func cpuTime() time.Duration {
	var u syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &u) != nil {
		return 0
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

var lastTry refined

// alternatives prints the true error of every kind of surface on the last try's votes.
func alternatives(ref *Reference, truth func(m Mapping) float64) string {
	r := lastTry
	f := ref.frames[len(ref.frames)-1]
	out := fmt.Sprintf("lens %.4f ", r.surface.lens.k)
	for i, c := range []float64{0, math.Inf(1), 100, 10, 1, .1} {
		s := fitSurface(r.surface, r.votes, c > 0 && (i < 2 || r.surface.bent), math.Inf(1), .15*f.scale(), ref.W, ref.H)
		if i > 1 {
			s = fitSurface(r.surface, r.votes, r.surface.bent, c, .15*f.scale(), ref.W, ref.H)
		}
		cost := math.NaN()
		if i < len(r.costs) {
			cost = r.costs[i]
		}
		out += fmt.Sprintf("  %g: true %.2f cost %.1f |", c, truth(s.mapping(ref.W, ref.H)), cost)
	}
	return out
}

func traced() {
	if trace {
		debug = func(k string, in int, r refined) {
			lastTry = r
			fmt.Printf("      %-9s in %d | coarse %.2f agree %.2f votes %d asked %d heldout %.3f likely %.2f bent %v stiff %v q %.3f edges %v shades %v\n", k, in, r.coarse, r.agree, len(r.votes), r.asked, r.heldOut, r.likely, r.surface.bent, r.surface.stiff, r.q, r.edges, r.shades)
		}
	}
}

func TestTableScenes(t *testing.T) {
	root := shared(t)
	traced()
	only := os.Getenv("REGISTER_ONLY")
	var all []float64
	for _, s := range scenes(t, root) {
		if only != "" && !strings.Contains(s.name, only) {
			continue
		}
		var refs []*Reference
		for _, v := range s.views {
			r, err := NewReference(v.ID, load(t, v.Path, 1), DefaultOptions())
			require.NoError(t, err)
			refs = append(refs, r)
		}
		for _, p := range s.photos {
			if f := os.Getenv("REGISTER_PHOTO"); f != "" && !strings.Contains(p.File+p.Impostor, f) {
				continue
			}
			g := load(t, filepath.Join(s.name, p.File), p.Orientation)
			t0 := cpuTime()
			r := Align(context.Background(), refs, g, "", DefaultOptions())
			dt := cpuTime() - t0
			want := p.View
			if p.Role == "impostor" {
				want = "!" + p.Impostor
			}
			mid, p95, tot := math.NaN(), math.NaN(), math.NaN()
			if p.Role != "impostor" && r.Accepted && r.View == p.View {
				e := mapErrors(r.Mapping, p.Map.Ref, p.Map.Photo, func(i int) bool { return p.Map.InFrame[i] != 0 })
				all = append(all, e...)
				tot = rms(e)
				mid, p95 = median(e), quantile(e, .95)
				told["scenes"] = append(told["scenes"], [2]float64{r.RMSPx, tot})
				if trace && len(refs) == 1 {
					fmt.Println("     ", alternatives(refs[0], func(m Mapping) float64 {
						return rms(mapErrors(m, p.Map.Ref, p.Map.Photo, func(i int) bool { return p.Map.InFrame[i] != 0 }))
					}))
				}
			}
			fmt.Printf("%-18s %-34s want %-12s got %-12s %-5v %-14s %5dms in %4d agree %.2f rms %s | true rms %s med %s p95 %s sharp %.3f clip %.1f ov %.0f held %.2f %s %s\n",
				filepath.Base(s.name), p.File, want, r.View, r.Accepted, r.Reason, dt.Milliseconds(), r.Inliers, r.Agree, fmtErr(r.RMSPx), fmtErr(tot), fmtErr(mid), fmtErr(p95), r.Sharpness, r.ClippedPct, r.OverlapPct, heldOf(r, refs, g), r.Basis, r.Detail)
		}
	}
	fmt.Printf("all: median %.3f p95 %.3f max %.3f of %d\n", median(all), quantile(all, .95), quantile(all, 1), len(all))
	printTold("scenes")
}

func readH(t testing.TB, path string) mat3 {
	b, err := os.ReadFile(path)
	require.NoError(t, err)
	var h mat3
	for i, f := range strings.Fields(string(b)) {
		h[i], err = strconv.ParseFloat(f, 64)
		require.NoError(t, err)
	}
	return h
}

func TestTablePairs(t *testing.T) {
	root := filepath.Join(shared(t), "realdata")
	traced()
	f, err := os.Open(filepath.Join(root, "pairs.csv"))
	require.NoError(t, err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	refs := map[string]*Reference{}
	type count struct{ n, a, b, c, rej, bad int }
	tot := map[string]*count{}
	only := os.Getenv("REGISTER_ONLY")
	for _, r := range rows[1:] {
		if only != "" && !strings.Contains(r[0], only) {
			continue
		}
		if refs[r[1]] == nil {
			refs[r[1]], err = NewReference("v", load(t, filepath.Join(root, r[1]), 1), DefaultOptions())
			require.NoError(t, err)
		}
		ref := refs[r[1]]
		g := load(t, filepath.Join(root, r[2]), 1)
		h := readH(t, filepath.Join(root, r[4]))
		t0 := cpuTime()
		res := Align(context.Background(), []*Reference{ref}, g, "", DefaultOptions())
		dt := cpuTime() - t0
		e := math.NaN()
		if res.Accepted {
			e = gridError(res.Mapping, h, ref, g)
			if tr, err := strconv.ParseFloat(r[8], 64); err == nil && tr <= 1 && !math.IsNaN(e) {
				told["pairs"] = append(told["pairs"], [2]float64{res.RMSPx, e})
			}
			if trace {
				fmt.Println("     ", alternatives(ref, func(m Mapping) float64 { return gridError(m, h, ref, g) }))
			}
		}
		for _, k := range []string{"all", "<=1px", r[6]} {
			if tr, err := strconv.ParseFloat(r[8], 64); k == "<=1px" && (err != nil || tr > 1) {
				continue
			}
			c := tot[k]
			if c == nil {
				c = &count{}
				tot[k] = c
			}
			c.n++
			if !res.Accepted {
				c.rej++
			}
			if e < 1 {
				c.a++
			}
			if e < 3 {
				c.b++
			}
			if e < 5 {
				c.c++
			}
			if e >= 5 {
				c.bad++
			}
		}
		fmt.Printf("%-32s %-5v %-14s %5dms in %4d agree %.2f rms %s | true %s (truth %s) sharp %.3f clip %.1f ov %.0f held %.2f %s %s\n", r[0], res.Accepted, res.Reason, dt.Milliseconds(), res.Inliers, res.Agree, fmtErr(res.RMSPx), fmtErr(e), r[8], res.Sharpness, res.ClippedPct, res.OverlapPct, heldOf(res, []*Reference{ref}, g), res.Basis, res.Detail)
	}
	var keys []string
	for k := range tot {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	for _, k := range keys {
		c := tot[k]
		p := func(n int) float64 { return 100 * float64(n) / float64(c.n) }
		fmt.Printf("%-18s %3d pairs: %5.1f %5.1f %5.1f %%  refused %d, used but off %d\n", k, c.n, p(c.a), p(c.b), p(c.c), c.rej, c.bad)
	}
	printTold("pairs")
	printTold("scenes", "pairs")
}

// gridError is the RMS, in reference px, between a mapping and a homography over a grid inside the photo.
func gridError(m Mapping, h mat3, ref *Reference, g *image.Gray) float64 {
	inv, _ := inv3(h)
	in := func(x, y float64) bool {
		return x >= 0 && y >= 0 && x < float64(g.Rect.Dx()) && y < float64(g.Rect.Dy())
	}
	var s, n float64
	for j := 0; j < 33; j++ {
		for i := 0; i < 33; i++ {
			x, y := float64(ref.W-1)*float64(i)/32, float64(ref.H-1)*float64(j)/32
			px, py := Mapping{PhotoFromRef: h}.Photo(x, y)
			qx, qy := m.Photo(x, y)
			if in(px, py) && in(qx, qy) {
				v := vote{X: x, Y: y, PX: qx, PY: qy}
				ex, ey, _ := v.pull(inv)
				s += ex*ex + ey*ey
				n++
			}
		}
	}
	if n < 8 {
		return math.NaN()
	}
	return math.Sqrt(s / n)
}
