package survey

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// Mistake is one thing wrong in what the user wrote.
type Mistake struct {
	File string // relative to the survey folder, with slashes
	Line int    // from 1; 0 = the file as a whole
	Col  int    // from 1, in bytes; 0 = the line as a whole
	Text string // what was found, what is needed
}

// String returns the mistake as file:line:col: text, leaving out what is not known.
func (m Mistake) String() string {
	switch {
	case m.Line == 0:
		return fmt.Sprintf("%s: %s", m.File, m.Text)
	case m.Col == 0:
		return fmt.Sprintf("%s:%d: %s", m.File, m.Line, m.Text)
	}
	return fmt.Sprintf("%s:%d:%d: %s", m.File, m.Line, m.Col, m.Text)
}

// Mistakes is every mistake of a survey, sorted by place. It is the error that Load returns.
type Mistakes []Mistake

// Error returns one line a mistake.
func (m Mistakes) Error() string {
	lines := make([]string, len(m))
	for i, x := range m {
		lines[i] = x.String()
	}
	return strings.Join(lines, "\n")
}

// findings collects mistakes and notes while the files of a survey are read.
type findings struct {
	mistakes Mistakes
	notes    []string
}

// at records a mistake.
func (f *findings) at(file string, line, col int, format string, args ...any) {
	f.mistakes = append(f.mistakes, Mistake{File: file, Line: line, Col: col, Text: fmt.Sprintf(format, args...)})
}

// note records what was passed over without harm.
func (f *findings) note(file string, line int, format string, args ...any) {
	f.notes = append(f.notes, Mistake{File: file, Line: line, Text: fmt.Sprintf(format, args...)}.String())
}

// sorted returns the mistakes by file, line and column, each once; survey.yaml comes first.
func (f *findings) sorted() Mistakes {
	m := slices.Clone(f.mistakes)
	slices.SortStableFunc(m, func(a, b Mistake) int {
		first := func(x Mistake) int {
			if x.File == settingsFile {
				return 0
			}
			return 1
		}
		return cmp.Or(cmp.Compare(first(a), first(b)), cmp.Compare(a.File, b.File), cmp.Compare(a.Line, b.Line),
			cmp.Compare(a.Col, b.Col), cmp.Compare(a.Text, b.Text))
	})
	return slices.Compact(m)
}

// quote returns a value as it is shown in a mistake: quoted and cut to a readable length.
func quote(s string) string {
	const most = 60 // characters
	if r := []rune(s); len(r) > most {
		s = string(r[:most]) + "…"
	}
	return fmt.Sprintf("%q", s)
}

// nearest returns the word closest to s, ignoring case, if it is at most two letters away and closer than
// half of s; "" if there is none.
func nearest(s string, words []string) string {
	best, at := "", 3
	for _, w := range words {
		if d := letters(strings.ToLower(s), strings.ToLower(w)); d < at && 2*d < max(len(s), 2) {
			best, at = w, d
		}
	}
	return best
}

// letters returns how many letters must be changed, added or left out to make b of a.
//
// Levenshtein (1966), Soviet Physics Doklady 10(8), 707–710.
func letters(a, b string) int {
	if len(a) > 40 || len(b) > 40 {
		return 40
	}
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diag := row[0]
		row[0] = i + 1
		for j := range len(b) {
			cost := 1
			if a[i] == b[j] {
				cost = 0
			}
			diag, row[j+1] = row[j+1], min(row[j+1]+1, row[j]+1, diag+cost)
		}
	}
	return row[len(b)]
}

// oneOf joins words for a mistake: a, b or c.
func oneOf(words []string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	return strings.Join(words[:len(words)-1], ", ") + " or " + words[len(words)-1]
}
