package report

import (
	"bytes"
	"embed"
	"fmt"
	"html/template"
	"math"

	"github.com/lucasb-eyer/go-colorful"

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

// Report returns report.html: one file, no network.
func Report(in Input) ([]byte, error) { return render(in, "report.gohtml", true) }

// Worksheet returns worksheet.html: a page each for gardener, tiler and conservator.
func Worksheet(in Input) ([]byte, error) { return render(in, "worksheet.gohtml", true) }

func render(in Input, name string, pictures bool) ([]byte, error) {
	w, err := loadWords(in.Survey.Report.Language)
	if err != nil {
		return nil, fmt.Errorf("words: %w", err)
	}
	p, err := newPage(in, w)
	if err != nil {
		return nil, err
	}
	if pictures {
		if err := p.pictures(MaxBytes - 3<<20); err != nil {
			return nil, err
		}
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
		"say":    w.say,
		"style":  func() template.CSS { return template.CSS(css) },
		"code":   func() template.JS { return template.JS(js) },
		"span":   span,
		"area":   p.area,
		"num":    func(v float64, d int) string { return dash(table.Number(v, d)) },
		"dash":   dash,
		"nan":    math.IsNaN,
		"title":  p.title,
		"add":    func(a, b int) int { return a + b },
		"f":      func(v float64) string { return table.Number(v, 1) },
		"swatch": swatch,
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
