package pipeline

import (
	"context"
	"fmt"
	"image"
	"math"

	"tilelapse/measure/chart"
	"tilelapse/measure/chart/locate"
	"tilelapse/measure/plane"
	"tilelapse/pipeline/intake"
	"tilelapse/pipeline/intake/resample"
	"tilelapse/pipeline/ledger"
	"tilelapse/pipeline/survey"
)

// chartLimit is the mean difference, ΔE00, of patches predicted from the others, from which on a chart is read but not
// used: colours would be less sure by it than by the controls (our choice).
const chartLimit = 4.0

// chartRecord is what was found of a colour chart in a photo.
type chartRecord struct {
	Seen bool // there is a chart, good enough or not
	Fit  chart.Fit
	Why  string // why it is not used, "" = it is
}

// fit returns the fit of a chart that can be used, else nil.
func (c *chartRecord) fit() *chart.Fit {
	if !c.Seen || c.Why != "" {
		return nil
	}
	return &c.Fit
}

// words say what was read, or why nothing is used; "" without a chart.
func (c *chartRecord) words() []string {
	switch {
	case c.Why != "":
		return []string{chart.NotUsed + ": " + c.Why}
	case !c.Seen:
		return nil
	}
	read := "colour chart read, %s; patches predicted from the others are off by %.1f ΔE00"
	if c.Fit.Given {
		read = "colour chart read, %s, as survey.yaml says; patches predicted from the others are off by %.1f ΔE00"
	}
	return append([]string{fmt.Sprintf(read, c.Fit.Edition, c.Fit.LeftOut)}, c.Fit.Notes...)
}

// chartCorners are a chart's four corners, px of the photo.
type chartCorners [4]plane.Point

// chartOf reads the colour chart of a photo: at the corners given, else, when asked to, where one is found. open gives the
// photo's pixels, and is called only where no record is kept.
func (r *run) chartOf(sha string, at []chartCorners, look bool, open func() (*intake.Picture, error)) (*chartRecord, error) {
	rec := new(chartRecord)
	edition := editionOf(r.survey)
	key := ledger.Key("chart", chart.Method, sha, at, look, edition)
	if r.store.Get("chart", key, rec) {
		return rec, nil
	}
	pic, err := open()
	if err != nil {
		return rec, nil // what keeps a photo from being read is told where it is aligned
	}
	for _, q := range at {
		if *rec = readChart(pic, q, edition); rec.Fit.Used > 0 {
			return rec, r.store.Put("chart", key, rec)
		}
	}
	if look {
		*rec = lookForChart(pic, edition)
	}
	return rec, r.store.Put("chart", key, rec)
}

// editionOf is the edition that survey.yaml names.
func editionOf(s *survey.Survey) chart.Edition {
	switch s.ChartMade {
	case survey.ChartBefore2014:
		return chart.Before2014
	case survey.ChartFrom2014:
		return chart.FromNov2014
	}
	return chart.Untold
}

// lookForChart finds and reads a chart that nobody marked.
func lookForChart(pic *intake.Picture, edition chart.Edition) chartRecord {
	k := (max(pic.W, pic.H) + locate.Side - 1) / locate.Side
	q, ok, err := locate.Find(reduced(pic, k))
	if err != nil || !ok {
		return chartRecord{} // a photo too small or narrow to hold a chart has none
	}
	for i := range q {
		q[i].X, q[i].Y = float64(k)*(q[i].X+0.5)-0.5, float64(k)*(q[i].Y+0.5)-0.5
	}
	return readChart(pic, q, edition)
}

// readChart reads and fits the chart at four corners of a photo, from the photo's own pixels in linear light.
func readChart(pic *intake.Picture, q chartCorners, edition chart.Edition) chartRecord {
	rec := chartRecord{Seen: true}
	img, at, ok := chartPixels(pic, q)
	if !ok {
		rec.Why = chart.ErrOutside.Error()
		return rec
	}
	patches, err := chart.Patches(img, at)
	if err != nil {
		rec.Why = err.Error()
		return rec
	}
	if rec.Fit, err = chart.FitPatches(patches, edition); err != nil {
		rec.Why = err.Error()
		return rec
	}
	switch f := &rec.Fit; {
	case f.LeftOut > chartLimit:
		rec.Why = fmt.Sprintf("patches predicted from the others are off by %.1f ΔE00, limit %.0f", f.LeftOut, chartLimit)
	case f.Edition == chart.Untold:
		rec.Why = fmt.Sprintf("whether it was made before or from November 2014 can't be told (odds %.1f to 1): say it in survey.yaml with chart", f.Odds)
	}
	return rec
}

// chartPixels cuts a chart out of a photo in linear light, with a rim, reduced where it is very large, and returns its
// corners there. It is false when the corners do not lie in the photo.
func chartPixels(pic *intake.Picture, q chartCorners) (*plane.Image, chartCorners, bool) {
	x0, y0, x1, y1 := math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	for _, p := range q {
		if !(p.X >= -1 && p.Y >= -1 && p.X <= float64(pic.W) && p.Y <= float64(pic.H)) {
			return nil, q, false
		}
		x0, y0, x1, y1 = min(x0, p.X), min(y0, p.Y), max(x1, p.X), max(y1, p.Y)
	}
	rim := 8 + 0.1*max(x1-x0, y1-y0)
	l, t := max(0, int(x0-rim)), max(0, int(y0-rim))
	w, h := min(pic.W, int(x1+rim)+1)-l, min(pic.H, int(y1+rim)+1)-t
	f := plane.FrameOf(w, h)
	img := resample.Onto(pic, f, func(x, y float64) (float64, float64) { return x + float64(l), y + float64(t) })
	for i, p := range q {
		q[i].X, q[i].Y = f.FromRef(p.X-float64(l), p.Y-float64(t))
	}
	return img, q, true
}

// reduced averages k x k px of a photo's codes, 8 bit: for looking, not for measuring.
func reduced(pic *intake.Picture, k int) *image.RGBA {
	w, h := pic.W/k, pic.H/k
	out := image.NewRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			var s [3]int
			for v := range k {
				i := 3 * ((y*k+v)*pic.W + x*k)
				for u := 0; u < 3*k; u += 3 {
					for c := range 3 {
						if pic.Pix16 != nil {
							s[c] += int(pic.Pix16[i+u+c] >> 8)
						} else {
							s[c] += int(pic.Pix[i+u+c])
						}
					}
				}
			}
			o := out.PixOffset(x, y)
			for c := range 3 {
				out.Pix[o+c] = uint8((s[c] + k*k/2) / (k * k))
			}
			out.Pix[o+3] = 255
		}
	}
	return out
}

// drawnCharts are the charts drawn over a view's reference.
func drawnCharts(v *survey.View) (at []chartCorners) {
	if v.Drawing == nil {
		return nil
	}
	for _, s := range v.Drawing.Chart { // one ring of four points each
		at = append(at, chartCorners(s.Rings[0]))
	}
	return at
}

// referenceChart reads the chart in a view's reference photo: where it is drawn, else where it is found.
func (r *run) referenceChart(v *viewResult, ref *reference, pic *intake.Picture) error {
	at := drawnCharts(ref.view)
	rec, err := r.chartOf(ref.sha, at, len(at) == 0, func() (*intake.Picture, error) { return pic, nil })
	if err != nil {
		return err
	}
	v.chart, v.spec.Chart = rec, rec.fit()
	return nil
}

// readCharts reads the charts in a view's photos. It looks for them only where the reference has one that can be used:
// a chart in one of two photos ties no colours together.
func (r *run) readCharts(ctx context.Context, v *viewResult) error {
	v.charts = make([]*chartRecord, len(v.photos))
	if v.spec.Chart == nil {
		return nil
	}
	errs := make([]error, len(v.photos))
	each(r.opt.Jobs, len(v.photos), func(i int) {
		p := v.photos[i]
		if ctx.Err() != nil || p.kind != "digital" {
			return
		}
		var at []chartCorners
		for _, q := range drawnCharts(v.view) { // it may hang there still
			for k, c := range q {
				q[k].X, q[k].Y = p.align.Mapping.Photo(c.X, c.Y)
			}
			at = append(at, q)
		}
		held := &share{}
		defer func() { held.free() }()
		v.charts[i], errs[i] = r.chartOf(p.facts.SHA256, at, true, func() (pic *intake.Picture, err error) {
			if held, err = r.memory.take(ctx, p.facts.Memory); err != nil {
				return nil, err
			}
			pic, _, err = intake.Read(r.survey.Dir, p.rel, r.limitsFor(p.rel))
			return pic, err
		})
	}, func(n int) { r.tell(Event{Stage: "charts " + v.view.ID, Done: n, Total: len(v.photos)}) })
	if err := firstOf(ctx, errs); err != nil {
		return err
	}
	for i, c := range v.charts {
		if c != nil {
			v.photos[i].notes = append(v.photos[i].notes, c.words()...)
		}
	}
	return nil
}

// applyCharts hands each reading its photo's chart.
func (v *viewResult) applyCharts() {
	for i, c := range v.charts {
		if c != nil {
			v.readings[i].Chart = c.fit()
		}
	}
}
