package table

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"reflect"
	"strconv"
	"strings"
)

// column is one exported field of a row type with a csv tag "name" or "name,digits".
type column struct {
	name   string
	digits int
	field  int
	text   bool
}

// columns reads the tags of a row type. Fields without a tag are the program's own and not written.
func columns(t reflect.Type) []column {
	var cs []column
	for i := 0; i < t.NumField(); i++ {
		tag, ok := t.Field(i).Tag.Lookup("csv")
		if !ok {
			continue
		}
		name, digits, _ := strings.Cut(tag, ",")
		c := column{name: name, field: i, text: t.Field(i).Type.Kind() == reflect.String}
		if digits != "" {
			n, err := strconv.Atoi(digits)
			if err != nil {
				panic(fmt.Sprintf("table: tag %q of %s", tag, t.Name()))
			}
			c.digits = n
		}
		cs = append(cs, c)
	}
	return cs
}

// Header returns the column names of row type T in file order.
func Header[T any]() []string {
	var zero T
	var names []string
	for _, c := range columns(reflect.TypeOf(zero)) {
		names = append(names, c.name)
	}
	return names
}

// Number writes a figure rounded once, to the digits given, halves away from zero as printed by strconv; NaN and
// infinities are empty, and a rounded minus zero loses its sign.
func Number(v float64, digits int) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return ""
	}
	s := strconv.FormatFloat(v, 'f', digits, 64)
	if strings.HasPrefix(s, "-") && strings.Trim(s, "-0.") == "" {
		s = s[1:]
	}
	return s
}

// Guard neutralises text that a spreadsheet would run as a formula by an apostrophe in front (common practice, OWASP
// "CSV Injection", from memory). Unguard takes it off again.
func Guard(s string) string {
	if s != "" && strings.ContainsRune("=+-@\t\r", rune(s[0])) {
		return "'" + s
	}
	return s
}

// Unguard undoes Guard.
func Unguard(s string) string {
	if len(s) > 1 && s[0] == '\'' && strings.ContainsRune("=+-@\t\r", rune(s[1])) {
		return s[1:]
	}
	return s
}

// Write writes rows as RFC 4180 CSV with a header row. The rows are expected in key order.
func Write[T any](w io.Writer, rows []T) error {
	var zero T
	cs := columns(reflect.TypeOf(zero))
	// The csv package's own line ends would be put into cells too: a file name that holds one would be another's.
	var line bytes.Buffer
	out := csv.NewWriter(&line)
	end := func(rec []string) error {
		line.Reset()
		if err := out.Write(rec); err != nil {
			return err
		}
		out.Flush()
		line.Truncate(line.Len() - 1)
		line.WriteString("\r\n")
		_, err := w.Write(line.Bytes())
		return err
	}
	if err := end(Header[T]()); err != nil {
		return err
	}
	rec := make([]string, len(cs))
	for i := range rows {
		v := reflect.ValueOf(&rows[i]).Elem()
		for j, c := range cs {
			if c.text {
				rec[j] = Guard(v.Field(c.field).String())
			} else {
				rec[j] = Number(v.Field(c.field).Float(), c.digits)
			}
		}
		if err := end(rec); err != nil {
			return err
		}
	}
	return nil
}

// Read reads what Write wrote. Columns it does not know are passed over; missing ones stay empty (NaN for figures).
func Read[T any](r io.Reader) ([]T, error) {
	var zero T
	cs := columns(reflect.TypeOf(zero))
	in := csv.NewReader(r)
	head, err := in.Read()
	if err != nil {
		return nil, fmt.Errorf("header row: %w", err)
	}
	at := map[string]int{}
	for i, h := range head {
		at[strings.TrimPrefix(h, "\ufeff")] = i
	}
	var rows []T
	for {
		rec, err := in.Read()
		if err == io.EOF {
			return rows, nil
		}
		if err != nil {
			return nil, err
		}
		var row T
		v := reflect.ValueOf(&row).Elem()
		for _, c := range cs {
			i, ok := at[c.name]
			if c.text {
				if ok {
					v.Field(c.field).SetString(Unguard(rec[i]))
				}
				continue
			}
			f := math.NaN()
			if ok && rec[i] != "" {
				if f, err = strconv.ParseFloat(rec[i], 64); err != nil {
					line, _ := in.FieldPos(i)
					return nil, fmt.Errorf("line %d, %s: %q is no number", line, c.name, rec[i])
				}
			}
			v.Field(c.field).SetFloat(f)
		}
		rows = append(rows, row)
	}
}

// Cells returns a row's cells as Write would round them: string, float64, or nil where there is no figure.
func Cells[T any](row T) []any {
	v := reflect.ValueOf(row)
	var out []any
	for _, c := range columns(v.Type()) {
		if c.text {
			out = append(out, v.Field(c.field).String())
			continue
		}
		s := Number(v.Field(c.field).Float(), c.digits)
		if s == "" {
			out = append(out, nil)
			continue
		}
		f, err := strconv.ParseFloat(s, 64)
		if err != nil {
			panic(err) // Number wrote it
		}
		out = append(out, f)
	}
	return out
}
