package survey

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/parser"
	"github.com/goccy/go-yaml/token"
)

// maxYAML bounds survey.yaml, bytes: a survey of a thousand views stays below a tenth of it.
const maxYAML = 1 << 20

// yamlReader walks the syntax tree of a YAML file. The tree is read here and not decoded into structs, because every
// mistake is to be told with its place, and because decoding turns an unquoted 010 into 8.
type yamlReader struct {
	found *findings
	file  string
}

// tree parses a YAML file to its one top mapping; nil when that failed, which has then been recorded.
func (y *yamlReader) tree(data []byte) (top ast.Node) {
	if len(data) > maxYAML {
		y.found.at(y.file, 0, 0, "%d bytes: at most %d are read", len(data), maxYAML)
		return nil
	}
	if !utf8.Valid(data) {
		y.found.at(y.file, 0, 0, "not written in UTF-8: save it as UTF-8 in the text editor")
		return nil
	}
	defer func() {
		if r := recover(); r != nil { // the parser is not ours: what it can't bear is the file's mistake
			y.found.at(y.file, 0, 0, "not readable as YAML")
			top = nil
		}
	}()
	file, err := parser.ParseBytes(bytes.TrimPrefix(data, []byte("\xef\xbb\xbf")), 0)
	if err != nil {
		var ye yaml.Error
		if errors.As(err, &ye) && ye.GetToken() != nil {
			p := ye.GetToken().Position
			y.found.at(y.file, p.Line, p.Column, "%s", yamlWords(ye.GetMessage()))
		} else {
			y.found.at(y.file, 0, 0, "not readable as YAML: %s", firstLine(err.Error()))
		}
		return nil
	}
	var docs []*ast.DocumentNode
	for _, d := range file.Docs {
		if d.Body != nil {
			docs = append(docs, d)
		}
	}
	if len(docs) == 0 {
		y.found.at(y.file, 0, 0, "empty: at least `site:` and `views:` are needed")
		return nil
	}
	if len(docs) > 1 {
		y.mistake(docs[1].Body, "a second document begins here: one is read")
		return nil
	}
	return docs[0].Body
}

// yamlWords rewrites the parser's commonest messages in plain words.
func yamlWords(s string) string {
	s = firstLine(s)
	switch {
	case strings.Contains(s, "already defined"), strings.Contains(s, "duplicate"):
		return "this key stands here for the second time: " + s
	case strings.Contains(s, "tab"), strings.Contains(s, "'\\t'"):
		return "a tab can't indent a line: use spaces"
	}
	return "not readable as YAML: " + s
}

func firstLine(s string) string {
	s, _, _ = strings.Cut(strings.TrimSpace(s), "\n")
	return s
}

func (y *yamlReader) mistake(n ast.Node, format string, args ...any) {
	line, col := where(n)
	y.found.at(y.file, line, col, format, args...)
}

// where returns the line and column of a node, from 1.
func where(n ast.Node) (line, col int) {
	if m, ok := n.(ast.MapNode); ok { // a mapping's own token is its first colon
		it := m.MapRange()
		if it.Next() {
			n = it.Key()
		}
	}
	if n == nil {
		return 0, 0
	}
	if t := n.GetToken(); t != nil && t.Position != nil {
		return t.Position.Line, t.Position.Column
	}
	return 0, 0
}

// plain takes off an anchor; nil with a mistake for aliases and tags, which are not read.
func (y *yamlReader) plain(n ast.Node) ast.Node {
	switch v := n.(type) {
	case *ast.AnchorNode:
		return y.plain(v.Value)
	case *ast.AliasNode:
		y.mistake(n, "references (*name) are not read: write the value itself")
		return nil
	case *ast.TagNode:
		y.mistake(n, "tags (!name) are not read: write the value alone")
		return nil
	}
	return n
}

// entry is a key of a mapping with its value.
type entry struct {
	key   ast.Node
	value ast.Node
}

// mapping returns the entries of n by key. Unknown keys, and known ones that stand twice, are recorded. ok is false when
// n is no mapping, which is recorded too.
func (y *yamlReader) mapping(n ast.Node, what string, known ...string) (entries map[string]entry, ok bool) {
	n = y.plain(n)
	m, isMap := n.(ast.MapNode)
	if !isMap {
		if n != nil {
			y.mistake(n, "%s is %s: needed is a block of %s", what, kindOf(n), keys(known))
		}
		return nil, false
	}
	entries = map[string]entry{}
	for it := m.MapRange(); it.Next(); {
		key := it.Key()
		name, isText := scalar(key)
		switch {
		case !isText:
			y.mistake(key, "this is no key of %s: known are %s", what, keys(known))
		case !contains(known, name):
			hint := ""
			if w := nearest(name, known); w != "" {
				hint = fmt.Sprintf(" (did you mean `%s`?)", w)
			}
			y.mistake(key, "unknown key %s in %s%s: known are %s", quote(name), what, hint, keys(known))
		default:
			if _, twice := entries[name]; twice {
				y.mistake(key, "key %s stands in %s twice", quote(name), what)
			}
			entries[name] = entry{key, it.Value()}
		}
	}
	return entries, true
}

func keys(words []string) string {
	q := make([]string, len(words))
	for i, w := range words {
		q[i] = "`" + w + ":`"
	}
	return strings.Join(q, ", ")
}

func contains(words []string, s string) bool {
	for _, w := range words {
		if w == s {
			return true
		}
	}
	return false
}

// list returns the items of n, recording a mistake when it is no list.
func (y *yamlReader) list(n ast.Node, what string) []ast.Node {
	n = y.plain(n)
	s, ok := n.(*ast.SequenceNode)
	if !ok {
		if n != nil {
			y.mistake(n, "%s is %s: needed is a list (lines that begin with a hyphen, or [a, b])", what, kindOf(n))
		}
		return nil
	}
	return s.Values
}

// scalar returns the text of a node as the user typed it: 010 stays 010.
func scalar(n ast.Node) (string, bool) {
	switch v := n.(type) {
	case *ast.StringNode:
		return v.Value, true
	case *ast.LiteralNode:
		return strings.TrimSpace(v.Value.Value), true
	case *ast.IntegerNode, *ast.FloatNode, *ast.BoolNode, *ast.InfinityNode, *ast.NanNode:
		return strings.TrimSpace(n.GetToken().Value), true
	case *ast.MappingKeyNode:
		return scalar(v.Value)
	}
	return "", false
}

// text returns the text of n; "" with a mistake when it is none or empty.
func (y *yamlReader) text(n ast.Node, what string) string {
	n = y.plain(n)
	if n == nil {
		return ""
	}
	s, ok := scalar(n)
	s = strings.TrimSpace(s)
	switch {
	case !ok:
		y.mistake(n, "%s is %s: a text is needed", what, kindOf(n))
		return ""
	case s == "":
		y.mistake(n, "%s is empty: a text is needed", what)
	case strings.ContainsFunc(s, func(r rune) bool { return r < ' ' || r == 127 }):
		y.mistake(n, "%s holds a line break or control character: a text in one line is needed", what)
	}
	return s
}

// number returns the number n within [lo, hi], or NaN with a mistake. Quoted numbers are no numbers.
func (y *yamlReader) number(n ast.Node, what string, lo, hi float64) float64 {
	n = y.plain(n)
	if n == nil {
		return math.NaN()
	}
	s, _ := scalar(n)
	if str, isText := n.(*ast.StringNode); isText {
		if _, err := parseNumber(s); err == nil && str.GetToken().Type == token.StringType {
			y.mistake(n, "%s is %s: numbers in this file have a decimal point, like %s", what, quote(s), strings.ReplaceAll(s, ",", "."))
		} else {
			y.mistake(n, "%s is the text %s: a number is needed, without unit or quotation marks", what, quote(s))
		}
		return math.NaN()
	}
	switch n.(type) {
	case *ast.IntegerNode, *ast.FloatNode:
	default:
		y.mistake(n, "%s is %s: a number is needed", what, kindOf(n))
		return math.NaN()
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) || strings.ContainsAny(s, "xXpP_") {
		y.mistake(n, "%s is %s: a plain decimal number is needed", what, quote(s))
		return math.NaN()
	}
	if v < lo || v > hi {
		y.mistake(n, "%s is %s: needed is a number from %s to %s", what, s, short(lo), short(hi))
		return math.NaN()
	}
	return v
}

func short(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

// choice returns the text of n if it is one of the words, else "" with a mistake.
func (y *yamlReader) choice(n ast.Node, what string, words ...string) string {
	s := y.text(n, what)
	if s != "" && !contains(words, s) {
		y.mistake(n, "%s is %s: needed is %s", what, quote(s), oneOf(words))
		return ""
	}
	return s
}

// kindOf names what a node is.
func kindOf(n ast.Node) string {
	switch n.(type) {
	case *ast.NullNode:
		return "empty"
	case *ast.SequenceNode:
		return "a list"
	case ast.MapNode:
		return "a block of keys"
	case *ast.BoolNode:
		return "yes or no"
	case *ast.IntegerNode, *ast.FloatNode:
		return "a number"
	case *ast.InfinityNode, *ast.NanNode:
		return "not a finite number"
	}
	return "a text"
}
