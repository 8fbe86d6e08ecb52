package report

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"embed"
	"encoding/base64"
	"html/template"
	"math"

	"github.com/lucasb-eyer/go-colorful"

	"tilelapse/measure/trend"
	"tilelapse/pipeline/report/words"
	"tilelapse/pipeline/table"
)

//go:embed page/*
var pageFiles embed.FS

// swatch is a CIELAB colour under D65 as a CSS colour, clamped to sRGB: for looking at, never for measuring.
func swatch(l, a, b float64) template.CSS {
	if math.IsNaN(l + a + b) {
		return "transparent"
	}
	return template.CSS(colorful.Lab(l/100, a/100, b/100).Clamped().Hex())
}

// Report returns report.html: one file, no network, at most MaxBytes long as long as its text leaves room for pictures.
func Report(in Input) ([]byte, error) {
	bare, err := render(in, "report.gohtml", func(*page, words.Table) error { return nil })
	if err != nil {
		return nil, err
	}
	const around = 1 << 18 // markup about the pictures
	return render(in, "report.gohtml", func(p *page, w words.Table) error {
		return p.pictures(max(MaxBytes/5, MaxBytes-around-len(bare)))
	})
}

// Worksheet returns worksheet.html: a page each for gardener, tiler and conservator.
func Worksheet(in Input) ([]byte, error) {
	return render(in, "worksheet.gohtml", func(p *page, w words.Table) error {
		for i, v := range p.Views { // only the latest picture is shown
			p.Views[i].Pictures = v.Pictures[max(0, len(v.Pictures)-1):]
		}
		if err := p.pictures(MaxBytes / 3); err != nil {
			return err
		}
		p.sheets(w)
		return nil
	})
}

func render(in Input, name string, fill func(*page, words.Table) error) ([]byte, error) {
	w := in.Words
	in.Views = append([]View(nil), in.Views...)
	p := newPage(in, w)
	if err := fill(p, w); err != nil {
		return nil, err
	}
	css, err := pageFiles.ReadFile("page/style.css")
	if err != nil {
		return nil, err
	}
	js, err := pageFiles.ReadFile("page/page.js")
	if err != nil {
		return nil, err
	}
	t, err := template.New("").Funcs(template.FuncMap{
		"say":      w.Say,
		"style":    func() template.CSS { return template.CSS(css) },
		"code":     func() template.JS { return template.JS(js) },
		"codeHash": func() string { h := sha256.Sum256(js); return base64.StdEncoding.EncodeToString(h[:]) },
		"change":   func(z zonePage) string { return changeWords(z, w) },
		"out":      func(f Finding) string { return withoutPhoto(f, w) },
		"p":        probability,
		"serial":   func() string { return w.Say("serial.limit") },
		"repeatable": func(rs []table.Repeat) string {
			return sizesIn(w, "method.repeatable", rs, func(r table.Repeat) float64 { return r.ScaleDiff })
		},
		"slope": func(t trendLine) string { return slopeWords(t, w) },
		"stay":  func(f Finding) *stayChart { return newStay(f.Stay, w) },
		"leftout": func(cs []table.Control) string {
			return sizesIn(w, "method.left", cs, func(c table.Control) float64 { return c.DE00 })
		},
		"span": func(v, lo, hi float64, unit string) string { return span(w, v, lo, hi, unit) },
		"span2": func(v, lo, hi float64) string {
			if math.IsNaN(lo) || math.IsNaN(hi) {
				return dash(table.Number(v, 2))
			}
			return w.Say("span", table.Number(v, 2), table.Number(lo, 2), table.Number(hi, 2))
		},
		"orlater":       func(s string) string { return cmp.Or(s, w.Say("trend.further")) },
		"visitsToClaim": func() int { return trend.ClaimVisits },
		"visitsToDate":  func() int { return trend.ForecastVisits },
		"exactVisits":   func() int { return trend.ExactVisits },
		"glazetable":    func(name string, rows []glazePage, palette bool) glazeTable { return glazeTable{name, rows, palette} },
		"area":          p.area,
		"num":           func(v float64, d int) string { return dash(table.Number(v, d)) },
		"dash":          dash,
		"stated":        func(s string) string { return orUnknown(s, w) },
		"nan":           math.IsNaN,
		"title":         p.title,
		"day":           p.day,
		"add":           func(a, b int) int { return a + b },
		"f":             func(v float64) string { return table.Number(v, 1) },
		"swatch":        swatch,
	}).ParseFS(pageFiles, "page/*.gohtml")
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	if err := t.ExecuteTemplate(&b, name, p); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}

func dash(s string) string {
	if s == "" {
		return "–"
	}
	return s
}
