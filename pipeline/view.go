package pipeline

import (
	"bytes"
	"context"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"math"
	"sort"
	"sync"

	"tilelapse/measure"
	"tilelapse/measure/colour"
	"tilelapse/measure/moving"
	"tilelapse/measure/outline"
	"tilelapse/measure/plane"
	"tilelapse/pipeline/intake"
	"tilelapse/pipeline/intake/resample"
	"tilelapse/pipeline/ledger"
	"tilelapse/pipeline/survey"
	"tilelapse/register"
)

// viewResult is a view measured: its surface, and what each of its photos gave.
type viewResult struct {
	view  *survey.View
	frame plane.Frame
	spec  measure.Spec
	found bool // some outlines were found in the reference, not given

	colourless bool // the reference has no colours: nothing is measured

	tiles []outline.Tile
	graph [][]int // neighbours of each tile
	area  area

	own      *image.RGBA // the reference photo on the measuring frame, until it is drawn
	photos   []*photo    // aligned to this view, by visit and path
	readings []*measure.Reading
	lights   []*measure.Light
	results  []*measure.PhotoResult
	seen     []*measure.Observation
	glazes   [][]measure.GlazeResult // a photo's glazes
	model    *measure.View
	chart    *chartRecord   // of the reference
	charts   []*chartRecord // of the photos, nil = not looked for
}

// measureEvery measures view by view, so that only one view's planes are in memory at a time.
func (r *run) measureEvery(ctx context.Context) error {
	for i, ref := range r.refs {
		r.tell(Event{Stage: "view " + ref.view.ID, Done: i, Total: len(r.refs)})
		v, err := r.measureView(ctx, ref)
		if err != nil {
			return fmt.Errorf("view %s: measure: %w", ref.view.ID, err)
		}
		r.views = append(r.views, v)
	}
	return nil
}

// prepare reads the reference onto the measuring frame and finds its tiles.
func (r *run) prepare(ref *reference) (*viewResult, error) {
	pic, _, err := intake.Read(r.survey.Dir, ref.view.Reference, r.limitsFor(ref.view.Reference))
	if err != nil {
		return nil, err
	}
	v := &viewResult{view: ref.view, frame: plane.FrameOf(ref.w, ref.h)}
	own := func(x, y float64) (float64, float64) { return x, y }
	img := resample.Onto(pic, v.frame, own)
	v.spec = specOf(r.survey, ref)
	v.spec.Frame = v.frame
	if err = r.referenceChart(v, ref, pic); err != nil {
		return nil, err
	}
	if v.tiles, err = r.outlines(v, ref, img); err != nil {
		return nil, err
	}
	v.spec.Tiles = nil
	for _, t := range v.tiles {
		v.spec.Tiles = append(v.spec.Tiles, t.Region)
		v.found = v.found || !t.Given
	}
	v.graph = outline.Graph(v.tiles, v.frame)
	if v.area, err = areaOf(ref, v.tiles); err != nil {
		return nil, err
	}
	v.own = picture(img)
	if v.colourless = ref.colourless; v.colourless {
		blind(img)
	}
	if v.model, err = measure.NewView(v.spec, img); err != nil {
		return nil, err
	}
	v.area.settle(len(v.spec.Zones), v.model.ZoneOf)
	return v, nil
}

// specOf says what is to be measured in a view, from its drawing. A view without one is a single zone.
func specOf(s *survey.Survey, ref *reference) measure.Spec {
	spec := measure.Spec{Deposit: s.Deposit, Opacity: s.Opacity}
	for _, g := range s.Palette {
		spec.Palette = append(spec.Palette, measure.Glaze{Name: g.Name, Lab: g.Lab})
	}
	d := ref.view.Drawing
	if d != nil {
		spec.Zones, spec.Tiles, spec.Controls = regions(d.Zones), regions(d.Tiles), regions(d.Controls)
		spec.Deposits, spec.Scaled, spec.Gaps, spec.Ignore = regions(d.Deposits), regions(d.Scaled), regions(d.Gaps), append(regions(d.Ignore), regions(d.Chart)...)
	}
	if len(spec.Zones) == 0 {
		spec.Zones = []plane.Region{plane.Whole(ref.view.ID, ref.w, ref.h)}
	}
	return spec
}

func regions(ss []survey.Shape) []plane.Region {
	var rs []plane.Region
	for _, s := range ss {
		rs = append(rs, s.Region)
	}
	return rs
}

// measureView runs observe, solve, read and close over the photos of one view.
func (r *run) measureView(ctx context.Context, ref *reference) (*viewResult, error) {
	v, err := r.prepare(ref)
	if err != nil {
		return nil, err
	}
	for _, p := range r.usable() {
		if p.align.View == ref.view.ID && p.align.Accepted {
			v.photos = append(v.photos, p)
			if v.colourless {
				p.notes = append(p.notes, shownOnly)
			}
		}
	}
	sort.SliceStable(v.photos, func(i, j int) bool {
		a, b := v.photos[i], v.photos[j]
		if a.visit() != b.visit() {
			return a.visit() < b.visit()
		}
		return a.rel < b.rel
	})
	if err := r.readCharts(ctx, v); err != nil {
		return nil, err
	}
	n := len(v.photos)
	planes := newPlaneCache()
	surface := ledger.Key("surface", measure.Method, resampleMethod, ref.sha, v.spec)
	obs := make([]*measure.Observation, n)
	keys := make([]string, n)
	errs := make([]error, n)
	each(r.opt.Jobs, n, func(i int) {
		p := v.photos[i]
		p.pxPerTile = medianTile(v.tiles) * p.align.PxPerRef * p.align.PxPerRef
		keys[i] = ledger.Key("observe", surface, p.alignKey, p.kind, v.witnessKey(i))
		obs[i] = new(measure.Observation)
		if ctx.Err() != nil || r.store.Get("observe", keys[i], obs[i]) {
			return
		}
		img, err := r.onto(ctx, v, i, planes)
		if err != nil {
			errs[i] = err
			return
		}
		obs[i] = v.model.Observe(img, facts(p))
		errs[i] = r.store.Put("observe", keys[i], obs[i])
	}, func(k int) { r.tell(Event{Stage: "measure " + ref.view.ID, Done: k, Total: 2 * n}) })
	if err := firstOf(ctx, errs); err != nil {
		return nil, err
	}
	v.lights = v.model.Solve(obs)
	v.readings = make([]*measure.Reading, n)
	each(r.opt.Jobs, n, func(i int) {
		if ctx.Err() == nil {
			v.readings[i], errs[i] = r.read(ctx, v, i, keys[i], planes)
		}
	}, func(k int) { r.tell(Event{Stage: "measure " + ref.view.ID, Done: n + k, Total: 2 * n}) })
	if err := firstOf(ctx, errs); err != nil {
		return nil, err
	}
	v.model.Rest()
	v.applyCharts()
	v.results = v.model.Close(v.readings, v.baseline(r.survey))
	v.seen = obs
	for _, res := range v.results {
		v.glazes = append(v.glazes, v.model.Glazes(res)) // names the tiles' glazes, too
	}
	return v, nil
}

// baseline returns the index of the photo change is counted from, -1 = the reference.
func (v *viewResult) baseline(s *survey.Survey) int {
	if v.view.Baseline == "" {
		return -1
	}
	for i, p := range v.photos {
		if samePhoto(v.view.Baseline, p.rel, s.Photos) {
			return i
		}
	}
	return -1
}

// read is pass 2 for one photo: the reading, its opacity plane and the aligned picture, from the store or anew.
func (r *run) read(ctx context.Context, v *viewResult, i int, observed string, planes *planeCache) (*measure.Reading, error) {
	p := v.photos[i]
	key := ledger.Key("read", observed, v.lights[i])
	p.readKey, p.pictureKey = key, ledger.Key("aligned", resampleMethod, p.alignKey, v.frame)
	rd := new(measure.Reading)
	have := r.store.Get("read", key, rd)
	if have {
		if b, ok := r.store.Bytes("read", key, ".png"); ok {
			_, have = greyBytes(b, v.frame) // read again when it is drawn: a view may have hundreds
		} else {
			have = false
		}
	}
	_, drawn := r.store.Bytes("aligned", p.pictureKey, ".jpg")
	if have && drawn {
		return rd, nil
	}
	img, err := r.onto(ctx, v, i, planes)
	if err != nil {
		return nil, err
	}
	if !have {
		rd = v.model.Read(img, facts(p), v.lights[i])
		record := *rd
		record.Opacity = nil // kept as a picture beside the record
		if err := r.store.Put("read", key, record); err != nil {
			return nil, err
		}
		b, err := greyPNG(rd.Opacity, v.frame)
		if err != nil {
			return nil, err
		}
		if err := r.store.PutBytes("read", key, ".png", b); err != nil {
			return nil, err
		}
		rd.Opacity = nil
	}
	if !drawn {
		var b bytes.Buffer
		if err := jpeg.Encode(&b, picture(img), &jpeg.Options{Quality: 90}); err != nil {
			return nil, err
		}
		if err := r.store.PutBytes("aligned", p.pictureKey, ".jpg", b.Bytes()); err != nil {
			return nil, err
		}
	}
	planes.drop(p.rel)
	return rd, nil
}

// facts are what measuring may know of a photo. The visit is there to find photos of one day; nothing uses its order.
func facts(p *photo) measure.Photo {
	return measure.Photo{Key: p.rel, Visit: p.visit(), Kind: p.kind, AlignRMS: p.align.RMSPx, PxPerRef: p.align.PxPerRef, Sharpness: p.align.Sharpness}
}

// onto decodes a photo and resamples it onto the measuring frame, once. Where another frame of the same visit exists,
// what differs between the two moves (people, leaves, water) and is flagged.
func (r *run) onto(ctx context.Context, v *viewResult, i int, planes *planeCache) (*plane.Image, error) {
	p := v.photos[i]
	if img := planes.get(p.rel); img != nil {
		return img, nil
	}
	img, err := r.resample(ctx, v, p)
	if err != nil {
		return nil, err
	}
	if w := v.witness(i); w != nil {
		other, err := r.resample(ctx, v, w)
		if err != nil {
			return nil, err
		}
		moving.Mark(img, other)
	}
	planes.put(p.rel, img)
	return img, nil
}

func (r *run) resample(ctx context.Context, v *viewResult, p *photo) (*plane.Image, error) {
	held, err := r.memory.take(ctx, p.facts.Memory)
	if err != nil {
		return nil, err
	}
	defer held.free()
	pic, _, err := intake.Read(r.survey.Dir, p.rel, r.limitsFor(p.rel))
	if err != nil {
		return nil, fmt.Errorf("it could be read before and can't now: %w", err)
	}
	img := resample.Onto(pic, v.frame, p.align.Mapping.Photo)
	markLoose(img, v.frame, p.align.Mapping)
	if v.colourless || r.colourless && pic.Colourless() {
		blind(img)
	}
	return img, nil
}

// markLoose flags what the mapping shows but does not vouch for, so that it is not measured.
func markLoose(img *plane.Image, f plane.Frame, m register.Mapping) {
	if m.Held == nil {
		return
	}
	for y := range img.H {
		for x := range img.W {
			if !m.Holds(f.Ref(float64(x), float64(y))) {
				img.Flags[y*img.W+x] |= plane.Loose
			}
		}
	}
}

// witness is the other frame of a photo's visit that tells what moved: of several the one that shows most, by path.
func (v *viewResult) witness(i int) *photo {
	var best *photo
	for j, p := range v.photos {
		if j == i || !sameDay(p, v.photos[i]) || p.kind != "digital" {
			continue
		}
		if best == nil || readable(p) > readable(best) {
			best = p
		}
	}
	return best
}

func (v *viewResult) witnessKey(i int) string {
	if w := v.witness(i); w != nil {
		return w.alignKey
	}
	return ""
}

// planeBudget bounds the planes kept between the two passes, bytes: pass 2 then need not decode again what a small survey
// has. Decoding and resampling again is some 5 % of measuring a photo of 12 Mpx.
const planeBudget = 160 << 20

// planeCache keeps resampled photos until the budget is full; the rest is resampled again.
type planeCache struct {
	mu    sync.Mutex
	bytes int
	of    map[string]*plane.Image
}

func newPlaneCache() *planeCache { return &planeCache{of: map[string]*plane.Image{}} }

func (c *planeCache) get(key string) *plane.Image {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.of[key]
}

func (c *planeCache) put(key string, img *plane.Image) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if size := 13 * img.W * img.H; c.bytes+size <= planeBudget {
		c.bytes += size
		c.of[key] = img
	}
}

func (c *planeCache) drop(key string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if img := c.of[key]; img != nil {
		c.bytes -= 13 * img.W * img.H
		delete(c.of, key)
	}
}

// picture encodes linear light as sRGB, 8 bit, clamped: for looking at, not for measuring.
func picture(img *plane.Image) *image.RGBA {
	const steps = 4096
	var code [steps + 1]uint8
	for i := range code {
		code[i] = uint8(math.Round(255 * colour.Encode(float64(i)/steps)))
	}
	out := image.NewRGBA(image.Rect(0, 0, img.W, img.H))
	for i := range img.Flags {
		for c := range 3 {
			out.Pix[4*i+c] = code[int(min(max(img.RGB[3*i+c], 0), 1)*steps+0.5)]
		}
		out.Pix[4*i+3] = 255
	}
	return out
}

func greyPNG(pix []uint8, f plane.Frame) ([]byte, error) {
	w, h := f.Size()
	var b bytes.Buffer
	err := png.Encode(&b, &image.Gray{Pix: pix, Stride: w, Rect: image.Rect(0, 0, w, h)})
	return b.Bytes(), err
}

func greyBytes(b []byte, f plane.Frame) ([]uint8, bool) {
	w, h := f.Size()
	img, err := png.Decode(bytes.NewReader(b))
	g, ok := img.(*image.Gray)
	if err != nil || !ok || g.Rect != image.Rect(0, 0, w, h) || g.ColorModel() != color.GrayModel {
		return nil, false
	}
	return g.Pix, true
}

func medianTile(ts []outline.Tile) float64 {
	if len(ts) == 0 {
		return math.NaN()
	}
	as := make([]float64, len(ts))
	for i, t := range ts {
		as[i] = t.AreaPx
	}
	sort.Float64s(as)
	return as[len(as)/2]
}
