package pipeline

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"image/jpeg"

	"tilelapse/measure"
	"tilelapse/measure/associate"
	"tilelapse/measure/plane"
	"tilelapse/pipeline/draw"
	"tilelapse/pipeline/ledger"
	"tilelapse/pipeline/report"
)

// reportPictureQuality is that of the pictures handed to the report, which makes them smaller where it must.
const reportPictureQuality = 90

// report writes report.html, worksheet.html and tables.xlsx.
func (r *run) report(ctx context.Context) error {
	in, err := r.reportInput(ctx)
	if err != nil {
		return err
	}
	r.tell(Event{Stage: "report", Total: 3})
	for k, f := range []struct {
		name  string
		write func() ([]byte, error)
	}{
		{"report.html", func() ([]byte, error) { return report.Report(in) }},
		{"worksheet.html", func() ([]byte, error) { return report.Worksheet(in) }},
		{"tables.xlsx", func() ([]byte, error) { return report.Workbook(in.Set, r.words) }},
	} {
		if err := ctx.Err(); err != nil {
			return err
		}
		b, err := f.write()
		if err != nil {
			return fmt.Errorf("%s: %w", f.name, err)
		}
		if err := r.write(f.name, b); err != nil {
			return err
		}
		r.tell(Event{Stage: "report", Done: k + 1, Total: 3})
	}
	return nil
}

// reportInput gathers what the reports are written from.
func (r *run) reportInput(ctx context.Context) (report.Input, error) {
	in := report.Input{Survey: r.survey, Version: r.opt.Version, Words: r.words, Set: &r.set, Plan: r.plan, Notes: r.trendNotes, Since: r.since, FirstLast: r.firstLast(), Else: r.sensitivity()}
	for _, u := range r.survey.Upkeep {
		kind := ""
		if u.Kind == "" {
			kind = r.kindFromWords(u.Work)
		}
		in.Kinds = append(in.Kinds, kind)
	}
	originals, err := r.originals()
	if err != nil {
		return in, err
	}
	sum := sha256.Sum256(ledger.Format(originals))
	in.Originals = hex.EncodeToString(sum[:])
	for _, e := range originals {
		in.Hashes = append(in.Hashes, report.Hash{Path: e.Path, SHA256: e.SHA256})
	}
	for _, f := range r.findings {
		in.Findings = append(in.Findings, r.finding(f))
	}
	for _, v := range r.views {
		if err := ctx.Err(); err != nil {
			return in, err
		}
		rv, err := r.reportView(ctx, v)
		if err != nil {
			return in, fmt.Errorf("view %s: %w", v.view.ID, err)
		}
		in.Views = append(in.Views, rv)
	}
	return in, nil
}

// finding words one association test with what leaving out each photo did to it.
func (r *run) finding(s associate.Sensitivity) report.Finding {
	f := report.Finding{Finding: r.words.Finding(s.All), Made: s.All.Finding != associate.NotMade, Told: s.All.Finding == associate.Found || s.All.Finding == associate.Reverse}
	f.LeftOut = report.LeftOut{
		PLo: s.PLo, PHi: s.PHi, EffectLo: s.EffectLo, EffectHi: s.EffectHi, LoWithout: s.EffectLoWithout, HiWithout: s.EffectHiWithout,
		Changes: s.Changes, NotMade: s.NotMade,
	}
	f.Stay = s.All.Survival.Curves
	return f
}

// reportView gives a view's outlines and pictures on the measuring frame.
func (r *run) reportView(ctx context.Context, v *viewResult) (report.View, error) {
	w, h := v.frame.Size()
	out := report.View{ID: v.view.ID, W: w, H: h, MMPerPx: v.mmPerPixel(), Area: v.area.basis(), TilesFound: v.found}
	var keep [][][]plane.Point
	for _, z := range v.spec.Zones {
		rings := draw.OnFrame(v.frame, z.Rings)
		out.Zones = append(out.Zones, report.Zone{ID: z.ID, Title: zoneTitle(v.view, z.ID), Rings: rings})
		keep = append(keep, rings)
	}
	for _, c := range v.spec.Controls {
		keep = append(keep, draw.OnFrame(v.frame, c.Rings))
	}
	rings := make([][]plane.Point, len(v.tiles))
	for t, tile := range v.tiles {
		z := v.model.ZoneOf(t)
		if z < 0 || len(tile.Rings) == 0 {
			continue
		}
		rings[t] = draw.OnFrame(v.frame, tile.Rings[:1])[0]
		out.Tiles = append(out.Tiles, report.Tile{ID: tile.ID, Zone: v.spec.Zones[z].ID, Ring: rings[t]})
	}
	var used []int
	for i, p := range v.photos {
		if p.status == statusUsed && p.visit() != "" {
			used = append(used, i)
		}
	}
	shown := report.Shown(len(used))
	out.NotPictured = len(used) - len(shown)
	out.Pictures = make([]report.Picture, len(shown))
	errs := make([]error, len(shown))
	each(r.opt.Jobs, len(shown), func(k int) {
		if ctx.Err() == nil {
			out.Pictures[k], errs[k] = r.reportPicture(v, used[shown[k]], rings, keep)
		}
	}, func(n int) { r.tell(Event{Stage: "report " + v.view.ID, Done: n, Total: len(shown)}) })
	return out, firstOf(ctx, errs)
}

// reportPicture is a visit's aligned picture without what must not be shown; rings are the tiles' outlines.
func (r *run) reportPicture(v *viewResult, i int, rings [][]plane.Point, keep [][][]plane.Point) (report.Picture, error) {
	s, err := r.scene(v, i, true)
	if err != nil {
		return report.Picture{}, err
	}
	veil := report.Scene{Image: s.Picture, Front: make([]bool, len(s.Opacity)), Keep: keep}
	for j, c := range s.Opacity {
		veil.Front[j] = c == measure.PixHidden || s.Hidden[j]
	}
	for _, t := range v.results[i].Tiles {
		if t.State == measure.Hidden && rings[t.Tile] != nil {
			veil.Hidden = append(veil.Hidden, rings[t.Tile])
		}
	}
	img := report.Veil(veil)
	var b bytes.Buffer
	if err := jpeg.Encode(&b, img, &jpeg.Options{Quality: reportPictureQuality}); err != nil {
		return report.Picture{}, err
	}
	return report.Picture{Visit: v.photos[i].visit(), When: r.when(v, i), JPEG: b.Bytes(), W: img.Rect.Dx(), H: img.Rect.Dy()}, nil
}
