package pipeline

import (
	"bytes"
	"context"
	"fmt"
	"image"
	stddraw "image/draw"
	"image/jpeg"
	"math"
	"path"
	"strings"

	"tilelapse/measure"
	"tilelapse/measure/plane"
	"tilelapse/pipeline/draw"
	"tilelapse/pipeline/ledger"
	"tilelapse/pipeline/table"
	"tilelapse/register"
)

// pictureQuality of overlays and change pictures: lines and small text stay clean.
const pictureQuality = 88

// drawMethod names the look of the pictures, in records.
const drawMethod = "1"

// draw writes overlays, change pictures and a picture for every photo that was refused for its content.
func (r *run) draw(ctx context.Context) error {
	for _, v := range r.views {
		if err := r.drawView(ctx, v); err != nil {
			return fmt.Errorf("view %s: draw: %w", v.view.ID, err)
		}
	}
	return r.drawRefused(ctx)
}

// sheet is one picture to draw.
type sheet struct {
	rel    string
	photo  int // index into the view's photos
	before int // for a change picture, -1 = an overlay
	masked bool
}

// outlinesPicture draws the tiles as used over the reference photo, beside outlines/VIEW.svg.
func (r *run) outlinesPicture(v *viewResult) error {
	w, h := v.frame.Size()
	s := draw.Scene{Site: r.survey.Site, View: v.view.ID, W: w, H: h, Picture: v.own, Words: r.words, Masked: true}
	for _, z := range v.spec.Zones {
		s.Zones = append(s.Zones, draw.Zone{ID: z.ID, Rings: draw.OnFrame(v.frame, z.Rings)})
	}
	for _, t := range v.tiles {
		s.Tiles = append(s.Tiles, draw.Tile{ID: t.ID, Rings: draw.OnFrame(v.frame, t.Rings)})
	}
	b, err := draw.EncodeJPEG(draw.Outlines(s), pictureQuality)
	if err != nil {
		return err
	}
	v.own = nil
	return r.write("outlines/"+v.view.ID+".jpg", b)
}

func (r *run) drawView(ctx context.Context, v *viewResult) error {
	if err := r.outlinesPicture(v); err != nil {
		return err
	}
	var todo []sheet
	add := func(kind string, s sheet) {
		name := v.view.ID + "/" + v.name(s.photo) + ".jpg"
		s.rel, s.masked = kind+"/"+name, true
		todo = append(todo, s)
		if r.opt.Unmasked {
			s.rel, s.masked = "unmasked/"+kind+"/"+name, false
			todo = append(todo, s)
		}
	}
	for i, p := range v.photos {
		if p.status != statusUsed {
			continue
		}
		add("overlays", sheet{photo: i, before: -1})
		if j := v.before(i); j >= 0 {
			add("changes", sheet{photo: i, before: j})
		}
	}
	errs := make([]error, len(todo))
	out := make([][]byte, len(todo))
	each(r.opt.Jobs, len(todo), func(k int) {
		if ctx.Err() == nil {
			out[k], errs[k] = r.drawSheet(v, todo[k])
		}
	}, func(n int) { r.tell(Event{Stage: "draw " + v.view.ID, Done: n, Total: len(todo)}) })
	if err := firstOf(ctx, errs); err != nil {
		return err
	}
	for k, s := range todo {
		if err := r.write(s.rel, out[k]); err != nil {
			return err
		}
	}
	return nil
}

// name is what a photo's pictures are called: its visit, or its hash where it has no date.
func (v *viewResult) name(i int) string {
	if d := v.photos[i].visit(); d != "" {
		return d
	}
	return "undated-" + v.photos[i].facts.SHA256[:8]
}

func (r *run) drawSheet(v *viewResult, s sheet) ([]byte, error) {
	now, err := r.scene(v, s.photo, s.masked)
	if err != nil {
		return nil, err
	}
	if s.before < 0 {
		return draw.EncodeJPEG(draw.Overlay(now), pictureQuality)
	}
	then, err := r.scene(v, s.before, s.masked)
	if err != nil {
		return nil, err
	}
	return draw.EncodeJPEG(draw.Change(then, now), pictureQuality)
}

// aligned returns a photo's picture in the reference's frame, from the store.
func (r *run) aligned(p *photo) (*image.RGBA, error) {
	b, ok := r.store.Bytes("aligned", p.pictureKey, ".jpg")
	if !ok {
		return nil, fmt.Errorf("%s: the aligned picture is no longer in the store; run again", p.rel)
	}
	img, err := jpeg.Decode(bytes.NewReader(b))
	if err != nil {
		return nil, fmt.Errorf("%s: the aligned picture in the store is damaged; run again with --fresh: %w", p.rel, err)
	}
	out := image.NewRGBA(img.Bounds())
	stddraw.Draw(out, out.Bounds(), img, image.Point{}, stddraw.Src)
	return out, nil
}

// scene gathers what is drawn of one photo of a view.
func (r *run) scene(v *viewResult, i int, masked bool) (draw.Scene, error) {
	p := v.photos[i]
	img, err := r.aligned(p)
	if err != nil {
		return draw.Scene{}, err
	}
	w, h := v.frame.Size()
	b, ok := r.store.Bytes("read", p.readKey, ".png")
	var opacity []uint8
	if ok {
		opacity, ok = greyBytes(b, v.frame)
	}
	if !ok {
		return draw.Scene{}, fmt.Errorf("%s: its opacity plane in the store is gone or damaged; run again with --fresh", p.rel)
	}
	s := draw.Scene{
		Site: r.survey.Site, View: v.view.ID, Visit: r.when(v, i), W: w, H: h, Picture: img, Opacity: opacity,
		Threshold: r.survey.Opacity, MMPerPx: v.mmPerPixel(), Approx: v.area.plan.Basis != "length lines", Units: r.survey.Report.Units, Words: r.words, Masked: masked,
	}
	s.Picture = blankOutside(img, p, v.frame)
	if masked {
		s.Hidden = v.model.InFront(v.readings[i], v.results[i])
	}
	for k, z := range v.spec.Zones {
		res := v.results[i].Zones[k]
		s.Zones = append(s.Zones, draw.Zone{ID: z.ID, Title: zoneTitle(v.view, z.ID), Text: r.zoneText(res), Rings: draw.OnFrame(v.frame, z.Rings)})
	}
	for _, c := range v.spec.Controls {
		s.Controls = append(s.Controls, plane.Region{ID: c.ID, Rings: draw.OnFrame(v.frame, c.Rings)})
	}
	for _, t := range v.results[i].Tiles {
		if v.model.ZoneOf(t.Tile) < 0 {
			continue
		}
		tile := v.tiles[t.Tile]
		zone := v.spec.Zones[v.model.ZoneOf(t.Tile)].ID
		s.Tiles = append(s.Tiles, draw.Tile{ID: tile.ID, Rings: draw.OnFrame(v.frame, tile.Rings), State: r.final(v, i, t), Recorded: r.recorded(v, i, zone, t)})
	}
	return s, nil
}

// when is a photo's date as a picture shows it: the visit, or the range it was taken in.
func (r *run) when(v *viewResult, i int) string {
	t := v.photos[i].taken
	switch {
	case t.From == "":
		return r.words.Say("when.undated")
	case t.Exact():
		return t.From
	}
	return t.From + " – " + t.To
}

func (r *run) zoneText(z measure.ZoneResult) string {
	switch {
	case math.IsNaN(z.ScalePct):
		return r.words.Say("draw.unread")
	case math.IsNaN(z.ScaleLo) || math.IsNaN(z.ScaleHi):
		return r.words.Say("draw.whitened.bare", table.Number(z.ScalePct, 0))
	}
	return r.words.Say("draw.whitened", table.Number(z.ScalePct, 0), table.Number(z.ScaleLo, 0), table.Number(z.ScaleHi, 0))
}

// mmPerPixel is the surface a measuring px shows in the middle of the view, mm along a side; 0 = unknown.
func (v *viewResult) mmPerPixel() float64 {
	d := v.area.plan.Density(plane.Point{X: float64(v.frame.RefW) / 2, Y: float64(v.frame.RefH) / 2})
	if !(d > 0) {
		return 0
	}
	return math.Sqrt(100*d) * float64(v.frame.K)
}

// blankOutside makes the part of the frame that the photo does not show transparent.
func blankOutside(img *image.RGBA, p *photo, f plane.Frame) *image.RGBA {
	w, h := float64(p.facts.W), float64(p.facts.H)
	b := img.Bounds()
	for y := range b.Dy() {
		for x := range b.Dx() {
			px, py := p.align.Mapping.Photo(f.Ref(float64(x), float64(y)))
			if !(px >= 0 && py >= 0 && px <= w-1 && py <= h-1) {
				img.Pix[img.PixOffset(x, y)+3] = 0
			}
		}
	}
	return img
}

// drawRefused writes, for every photo refused for what it shows, a picture of why: reference and photo with the pairs
// that were found.
func (r *run) drawRefused(ctx context.Context) error {
	var todo []*photo
	for _, p := range r.photos {
		if p.status == statusRejected && p.alignKey != "" && !p.unread && p.align.Reason != register.Accepted {
			todo = append(todo, p)
		}
	}
	errs := make([]error, len(todo))
	out := make([][]byte, len(todo))
	each(r.opt.Jobs, len(todo), func(i int) {
		if ctx.Err() == nil {
			out[i], errs[i] = r.refusedPicture(ctx, todo[i])
		}
	}, func(n int) { r.tell(Event{Stage: "draw refused", Done: n, Total: len(todo)}) })
	if err := firstOf(ctx, errs); err != nil {
		return err
	}
	for i, p := range todo {
		if out[i] == nil {
			continue
		}
		base := strings.TrimSuffix(path.Base(p.rel), path.Ext(p.rel))
		name := fmt.Sprintf("rejected/%s-%s.jpg", clean(base), p.facts.SHA256[:8])
		if err := r.write(name, out[i]); err != nil {
			return err
		}
	}
	return nil
}

// clean keeps a file name short and plain; the hash beside it tells files apart.
func clean(s string) string {
	var b strings.Builder
	for _, c := range s {
		if c < 128 && (c >= '0' && c <= '9' || c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c == '-' || c == '_') {
			b.WriteRune(c)
		}
		if b.Len() == 40 {
			break
		}
	}
	return strings.Trim(b.String(), "-")
}

func (r *run) refusedPicture(ctx context.Context, p *photo) ([]byte, error) {
	key := ledger.Key("refused", drawMethod, p.alignKey, p.reason, r.survey.Report.Language)
	if b, ok := r.store.Bytes("refused", key, ".jpg"); ok {
		return b, nil
	}
	var of *reference
	need := p.facts.Memory
	for _, rf := range r.refs {
		if rf.view.ID == p.align.View {
			of, need = rf, max(need, int64(p.facts.W*p.facts.H)+rf.need)
		}
	}
	held, err := r.memory.take(ctx, need)
	if err != nil {
		return nil, err
	}
	defer held.free()
	own, err := r.greyWithin(p.rel)
	if err != nil {
		return nil, nil // it is listed with its reason; a picture of it is a convenience
	}
	var ref *image.Gray
	if of != nil {
		if ref, err = r.greyWithin(of.view.Reference); err != nil {
			return nil, err
		}
	}
	var pairs [][4]float64
	for _, q := range p.align.Pairs {
		pairs = append(pairs, [4]float64{q.RefX, q.RefY, q.PhotoX, q.PhotoY})
	}
	b, err := draw.EncodeJPEG(draw.Rejected(ref, own, pairs, []string{strings.TrimSpace(p.visit() + " " + p.facts.SHA256[:8]), p.reason}, r.words), pictureQuality)
	if err != nil {
		return nil, err
	}
	return b, r.store.PutBytes("refused", key, ".jpg", b)
}
