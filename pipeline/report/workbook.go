package report

import (
	"archive/zip"
	"bytes"
	"errors"
	"fmt"
	"io"
	"sort"

	"github.com/xuri/excelize/v2"

	"tilelapse/pipeline/report/words"
	"tilelapse/pipeline/table"
)

// Workbook returns tables.xlsx: every table as a typed sheet, and one of definitions.
func Workbook(s *table.Set, t words.Table) ([]byte, error) {
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
	said := definitions(t)
	w.add("definitions", []string{t.Say("def.head.sheet"), t.Say("def.head.column"), t.Say("def.head.meaning")}, len(said), func(i int) []any {
		return []any{said[i][0], said[i][1], said[i][2]}
	})
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

// sheetRows is how many rows a sheet holds at most; a spreadsheet ends at 1 048 576 with its header.
const sheetRows = 1_000_000

// sheet writes a table, over several sheets when it is longer than one holds.
func sheet[T any](w *book, name string, rows []T) { sheets(w, name, rows, sheetRows) }

func sheets[T any](w *book, name string, rows []T, most int) {
	for k := 0; k == 0 || k*most < len(rows); k++ {
		part := rows[k*most : min(len(rows), (k+1)*most)]
		title := name
		if k > 0 {
			title = fmt.Sprintf("%s %d", name, k+1)
		}
		w.add(title, table.Header[T](), len(part), func(i int) []any { return table.Cells(part[i]) })
	}
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
