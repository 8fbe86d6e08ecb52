package survey

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode/utf16"
	"unicode/utf8"

	"golang.org/x/text/encoding/charmap"
)

// maxSheet bounds a CSV file of the user, bytes: a million rows.
const maxSheet = 64 << 20

// sheet is a CSV file as a spreadsheet saves it: separated by comma, semicolon or tab, in UTF-8, UTF-16 or
// Windows-1252, with or without byte order mark.
type sheet struct {
	found *findings
	file  string
	rows  []row
}

// row is a line of a sheet: cells by column, trimmed.
type row struct {
	sheet *sheet
	cells map[string]cell
	line  int
}

type cell struct {
	text string
	line int
	col  int
}

// column is a column a sheet may have.
type column struct {
	name   string
	needed bool
}

// columns reads a list such as "photo! x! note": those with an exclamation mark must be there.
func columns(s string) []column {
	var out []column
	for _, w := range strings.Fields(s) {
		out = append(out, column{strings.TrimSuffix(w, "!"), strings.HasSuffix(w, "!")})
	}
	return out
}

// readSheet reads a CSV file; mistakes are recorded and the rows that can be read are returned all the same.
func readSheet(data []byte, file string, known []column, found *findings) *sheet {
	s := &sheet{found: found, file: file}
	if len(data) > maxSheet {
		found.at(file, 0, 0, "%d bytes: at most %d are read", len(data), maxSheet)
		return s
	}
	text, foreign := decodeText(data)
	if foreign {
		found.note(file, 0, "not UTF-8: read as Windows-1252")
	}
	if strings.ContainsRune(text, 0) {
		found.at(file, 0, 0, "not a text file: save the table as CSV, in UTF-8")
		return s
	}
	sep, skip := separator(text)
	lines := 0
	if skip { // the line sep=; which some spreadsheets write and read
		_, text, _ = strings.Cut(text, "\n")
		lines = 1
	}
	r := csv.NewReader(strings.NewReader(text))
	r.Comma = sep
	r.FieldsPerRecord = -1
	var head []string
	for {
		rec, err := r.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			var pe *csv.ParseError
			if errors.As(err, &pe) {
				found.at(file, pe.Line+lines, pe.Column, "%v: quotation marks enclose a whole cell, and are doubled within it", pe.Err)
			} else {
				found.at(file, 0, 0, "%v", err)
			}
			return s
		}
		if !slices.ContainsFunc(rec, func(c string) bool { return strings.TrimSpace(c) != "" }) {
			continue
		}
		line, _ := r.FieldPos(0)
		if head == nil {
			var ok bool
			if head, ok = s.header(r, rec, known, lines); !ok {
				return s
			}
			continue
		}
		w := row{sheet: s, cells: map[string]cell{}, line: line + lines}
		for i, c := range rec {
			l, col := r.FieldPos(i)
			c = strings.Trim(c, " \t\r\n\u00a0\ufeff")
			switch {
			case i >= len(head) && c != "":
				found.at(file, l+lines, col, "cell %s lies right of the last column: put text that holds %s between quotation marks",
					quote(c), strconv.QuoteRune(sep))
			case i < len(head) && head[i] != "":
				w.cells[head[i]] = cell{c, l + lines, col}
			}
		}
		s.rows = append(s.rows, w)
	}
	if head == nil {
		found.at(file, 0, 0, "empty: a first row with the columns %s is needed", columnNames(known))
	}
	return s
}

// header reads the first row: the column of every cell, "" for those passed over.
func (s *sheet) header(r *csv.Reader, rec []string, known []column, lines int) (head []string, ok bool) {
	head = make([]string, len(rec))
	ok = true
	seen := map[string]bool{}
	var strange []int
	for i, c := range rec {
		name := strings.ToLower(strings.Trim(c, " \t\r\n\u00a0\ufeff"))
		if name == "" {
			continue
		}
		k := slices.IndexFunc(known, func(k column) bool { return strings.ToLower(k.name) == name })
		if k < 0 {
			strange = append(strange, i)
			continue
		}
		line, col := r.FieldPos(i)
		if seen[known[k].name] {
			s.found.at(s.file, line+lines, col, "column %s stands here twice", quote(known[k].name))
			ok = false
			continue
		}
		seen[known[k].name] = true
		head[i] = known[k].name
	}
	var absent []string
	for _, k := range known {
		if !seen[k.name] {
			absent = append(absent, k.name)
		}
	}
	for _, i := range strange { // columns of the user's own are welcome; misspelled ones are not
		line, col := r.FieldPos(i)
		if near := nearest(strings.TrimSpace(rec[i]), absent); near != "" {
			s.found.at(s.file, line+lines, col, "unknown column %s: did you mean %s?", quote(rec[i]), quote(near))
			ok = false
			continue
		}
		s.found.note(s.file, line+lines, "column %s is not read (known are %s)", quote(rec[i]), columnNames(known))
	}
	for _, k := range known {
		if k.needed && !seen[k.name] {
			line, _ := r.FieldPos(0)
			s.found.at(s.file, line+lines, 1, "column %s is missing: the first row needs %s", quote(k.name), columnNames(known))
			ok = false
		}
	}
	return head, ok
}

func columnNames(known []column) string {
	var n []string
	for _, k := range known {
		n = append(n, k.name)
	}
	return strings.Join(n, ",")
}

// separator finds what separates the cells of the first line that is not blank, by which sign stands there oftenest
// outside quotation marks. skip tells that the first line only names the separator.
func separator(text string) (sep rune, skip bool) {
	line := ""
	for l := range strings.Lines(text) {
		if line = strings.TrimSpace(l); line != "" {
			break
		}
	}
	if rest, ok := strings.CutPrefix(strings.ToLower(strings.Trim(line, `"`)), "sep="); ok && len(rest) <= 1 && strings.HasPrefix(strings.ToLower(strings.TrimLeft(text, `"`)), "sep=") {
		if rest == ";" || rest == "," {
			return rune(rest[0]), true
		}
		return '\t', true
	}
	count := map[rune]int{}
	quoted := false
	for _, r := range line {
		if r == '"' {
			quoted = !quoted
		} else if !quoted {
			count[r]++
		}
	}
	sep = ','
	for _, r := range []rune{';', '\t'} {
		if count[r] > count[sep] {
			sep = r
		}
	}
	return sep, false
}

// decodeText returns a file's text without byte order mark. foreign tells that it was neither UTF-8 nor UTF-16.
func decodeText(data []byte) (text string, foreign bool) {
	switch {
	case bytes.HasPrefix(data, []byte("\xef\xbb\xbf")):
		data = data[3:]
	case bytes.HasPrefix(data, []byte("\xff\xfe")), bytes.HasPrefix(data, []byte("\xfe\xff")):
		hi, lo := 1, 0
		if data[0] == 0xfe {
			hi, lo = 0, 1
		}
		var u []uint16
		for i := 2; i+1 < len(data); i += 2 {
			u = append(u, uint16(data[i+hi])<<8|uint16(data[i+lo]))
		}
		return string(utf16.Decode(u)), false
	}
	if utf8.Valid(data) {
		return string(data), false
	}
	if s, err := charmap.Windows1252.NewDecoder().Bytes(data); err == nil {
		return string(s), true
	}
	return strings.ToValidUTF8(string(data), "\ufffd"), true
}

// at records a mistake in a cell; an absent cell is told at its row.
func (r row) at(column, format string, args ...any) {
	line, col := r.line, 0
	if c, ok := r.cells[column]; ok {
		line, col = c.line, c.col
	}
	r.sheet.found.at(r.sheet.file, line, col, "%s: %s", column, fmt.Sprintf(format, args...))
}

// text returns a cell's text, "" when absent.
func (r row) text(column string) string { return r.cells[column].text }

// needed returns a cell's text, recording a mistake when it is empty.
func (r row) needed(column, what string) string {
	s := r.text(column)
	if s == "" {
		r.at(column, "empty: %s is needed", what)
	}
	return s
}

// number returns a cell's number within [lo, hi], NaN with a mistake.
func (r row) number(column string, lo, hi float64) float64 {
	s := r.text(column)
	v, err := parseNumber(s)
	switch {
	case s == "":
		r.at(column, "empty: a number is needed")
	case err != nil:
		r.at(column, "%v", err)
	case v < lo || v > hi:
		r.at(column, "%s is not between %s and %s", s, short(lo), short(hi))
	default:
		return v
	}
	return math.NaN()
}

// choice returns a cell's text if it is empty or one of the words, lower case; else "" with a mistake.
func (r row) choice(column string, words ...string) string {
	s := strings.ToLower(r.text(column))
	if s == "" || slices.Contains(words, s) {
		return s
	}
	r.at(column, "%s: needed is %s", quote(r.text(column)), oneOf(words))
	return ""
}

// path returns a cell's path below the survey folder, cleaned; "" with a mistake when it is none.
func (r row) path(column string) string {
	s := r.text(column)
	if s == "" {
		return ""
	}
	p, bad := insidePath(s)
	if bad != "" {
		r.at(column, "%s", bad)
	}
	return p
}

var plainNumber = regexp.MustCompile(`^[+-]?(\d+([.,]\d*)?|[.,]\d+)([eE][+-]?\d{1,3})?$`)

// parseNumber reads a number with a decimal point or comma; thousands are not separated.
func parseNumber(s string) (float64, error) {
	t := strings.ReplaceAll(strings.TrimSpace(s), "−", "-")
	if !plainNumber.MatchString(t) {
		if strings.Count(t, ".")+strings.Count(t, ",") > 1 {
			return 0, fmt.Errorf("%s: write numbers without separated thousands, like 1234.5", quote(s))
		}
		return 0, fmt.Errorf("%s is no number", quote(s))
	}
	v, err := strconv.ParseFloat(strings.Replace(t, ",", ".", 1), 64)
	if err != nil {
		return 0, fmt.Errorf("%s is no number", quote(s))
	}
	return v, nil
}
