package report

import (
	"archive/zip"
	"bytes"
	"errors"
	"fmt"
	"io"
	"sort"

	"github.com/xuri/excelize/v2"

	"tilelapse/pipeline/table"
)

// definitions are the columns a reader asks about first (contract words); the sheet of definitions holds them.
var definitions = [][2]string{
	{"readable_pct", "share of the zone's tile area that was read, missing tiles included, %"},
	{"scale_pct", "whitened area that looks like mineral scale, cause not tested: readable tile area with opacity at or above coverage_opacity, % of the readable tile area"},
	{"…_lo, …_hi", "95 % interval, sampling and light together"},
	{"scale_opacity_pct", "mean opacity over the same area, %"},
	{"scaled_or_lost_pct", "whitened or gone, % of the tile area that was read or is gone"},
	{"drift_de00", "median over tiles of CIEDE2000 between the unwhitened glaze now and in the baseline, white D65, light cancelled"},
	{"drift_dl, drift_da, drift_db", "medians of the signed CIELAB differences, now minus baseline"},
	{"palette_de00", "CIEDE2000 between the glaze now and its intended glaze; empty unless a colour chart was in the photo"},
	{"state", "present, missing, offpalette, hidden, unreadable or outside, as the program read it; state_final after corrections.csv"},
	{"recorded", "what upkeep.csv has for that zone between the visit before and this one; no measured figure uses it"},
	{"colour_basis", "what the light was cancelled with: chart, control, surface, none"},
	{"scale_detectable, drift_detectable", "the smallest change that can be told from none, here"},
	{"empty cell", "not measured"},
}

// Workbook returns tables.xlsx: every table as a typed sheet, and one of definitions.
func Workbook(s *table.Set) ([]byte, error) {
	f := excelize.NewFile()
	defer f.Close()
	w := book{f: f}
	sheet(&w, "zones", s.Zones)
	sheet(&w, "tiles", s.Tiles)
	sheet(&w, "compare", s.Compare)
	sheet(&w, "glazes", s.Glazes)
	sheet(&w, "photos", s.Photos)
	sheet(&w, "trends", s.Trends)
	sheet(&w, "intervals", s.Intervals)
	sheet(&w, "priorities", s.Priorities)
	sheet(&w, "repeat", s.Repeat)
	sheet(&w, "controls", s.Controls)
	w.add("definitions", []string{"column", "meaning"}, len(definitions), func(i int) []any { return []any{definitions[i][0], definitions[i][1]} })
	if w.err == nil {
		w.err = f.DeleteSheet("Sheet1")
	}
	if w.err != nil {
		return nil, fmt.Errorf("tables.xlsx: %w", w.err)
	}
	var b bytes.Buffer
	if err := f.Write(&b); err != nil {
		return nil, fmt.Errorf("tables.xlsx: %w", err)
	}
	return sorted(b.Bytes())
}

// sorted packs a zip archive again with its parts in order of name and without times: the library writes them in the
// order of a map.
func sorted(b []byte) ([]byte, error) {
	in, err := zip.NewReader(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		return nil, fmt.Errorf("tables.xlsx: %w", err)
	}
	sort.Slice(in.File, func(i, j int) bool { return in.File[i].Name < in.File[j].Name })
	var out bytes.Buffer
	w := zip.NewWriter(&out)
	for _, f := range in.File {
		r, err := f.Open()
		if err != nil {
			return nil, fmt.Errorf("tables.xlsx: %w", err)
		}
		to, err := w.CreateHeader(&zip.FileHeader{Name: f.Name, Method: zip.Deflate})
		if err == nil {
			_, err = io.Copy(to, r)
		}
		if err = errors.Join(err, r.Close()); err != nil {
			return nil, fmt.Errorf("tables.xlsx: %w", err)
		}
	}
	if err := w.Close(); err != nil {
		return nil, fmt.Errorf("tables.xlsx: %w", err)
	}
	return out.Bytes(), nil
}

type book struct {
	f   *excelize.File
	err error
}

func sheet[T any](w *book, name string, rows []T) {
	w.add(name, table.Header[T](), len(rows), func(i int) []any { return table.Cells(rows[i]) })
}

// add writes one sheet with a frozen, bold header row. Text cells are strings to the spreadsheet and never run.
func (w *book) add(name string, head []string, n int, row func(int) []any) {
	if w.err != nil {
		return
	}
	if _, w.err = w.f.NewSheet(name); w.err != nil {
		return
	}
	bold, err := w.f.NewStyle(&excelize.Style{Font: &excelize.Font{Bold: true}})
	if err != nil {
		w.err = err
		return
	}
	sw, err := w.f.NewStreamWriter(name)
	if err != nil {
		w.err = err
		return
	}
	if err := sw.SetPanes(&excelize.Panes{Freeze: true, YSplit: 1, TopLeftCell: "A2", ActivePane: "bottomLeft"}); err != nil {
		w.err = err
		return
	}
	cells := make([]any, len(head))
	for i, h := range head {
		cells[i] = excelize.Cell{StyleID: bold, Value: h}
	}
	if w.err = sw.SetRow("A1", cells); w.err != nil {
		return
	}
	for i := range n {
		if w.err = sw.SetRow(fmt.Sprintf("A%d", i+2), row(i)); w.err != nil {
			return
		}
	}
	w.err = sw.Flush()
}
