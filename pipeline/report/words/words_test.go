package words

import (
	"encoding/json"
	"os"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tilelapse/register"
)

func english(t *testing.T) Table {
	t.Helper()
	w, err := Load(English)
	require.NoError(t, err)
	return w
}

// speaking are the folders whose Go files make what people read, and must hold none of its words.
var speaking = []string{"pipeline/report", "pipeline/report/words", "pipeline/draw", "measure/trend", "measure/associate", "measure/order"}

// speakers are files of a folder that does other work too.
var speakers = []string{"development.go", "priority.go", "association.go", "sensitivity.go", "reporting.go", "pictures.go", "area.go", "language.go"}

// codes are strings with a space that tables hold as codes, or that name a stage to the caller: they are the same in every
// language.
var codes = map[string]bool{"scale_pct removed": true, "length lines": true, "draw refused": true}

func TestNoProseStandsInSource(t *testing.T) {
	var all []literal
	for _, dir := range speaking {
		all = append(all, literals(t, dir)...)
	}
	all = append(all, literals(t, "pipeline", speakers...)...)
	require.Greater(t, len(all), 500)
	for _, l := range all {
		if prose.MatchString(l.text) && !codes[l.text] {
			t.Errorf("%s: %q is for people to read: it belongs into words/en.json", l.at, l.text)
		}
	}
	outside := regexp.MustCompile(`(?s){{.*?}}|<[^>]*>`).ReplaceAllString(pages(t), " ")
	outside = regexp.MustCompile(`&[a-z]+;`).ReplaceAllString(outside, " ")
	for _, w := range regexp.MustCompile(`[A-Za-z]{3,}`).FindAllString(outside, -1) {
		t.Errorf("%q stands in a template: it belongs into words/en.json", w)
	}
}

// What reading, aligning and measuring remark in their own words is known to Remark, every sentence of it.
func TestEveryRemarkIsKnown(t *testing.T) {
	en := english(t)
	texts := map[string]bool{}
	for k, v := range en {
		if strings.HasPrefix(k, remarkKey) {
			texts[v] = true
		}
	}
	var heard []literal
	heard = append(heard, literals(t, "register", "accept.go", "align.go", "points.go", "rescue.go", "reason.go")...)
	heard = append(heard, literals(t, "pipeline/intake", "errors.go", "facts.go", "pixels.go", "find.go", "read.go", "decode_heif.go", "decode_jpeg.go", "decode_tiff.go", "decode_webp.go", "decode_png.go", "tiff_blocks.go")...)
	heard = append(heard, literals(t, "measure", "close.go", "controls.go", "charted.go")...)
	heard = append(heard, literals(t, "measure/tile")...)
	heard = append(heard, literals(t, "measure/chart", "fit.go")...)
	heard = append(heard, literals(t, "pipeline", "photo.go", "chart.go", "outlines.go")...)
	n := 0
	for _, l := range heard {
		if prose.MatchString(l.text) {
			n++
			whole := l.text
			if strings.HasSuffix(whole, " ") {
				whole += "%s" // a name follows
			}
			assert.True(t, texts[whole], "%s: %q: add it to words/en.json as %s…", l.at, l.text, remarkKey)
		}
	}
	assert.Greater(t, n, 100)
}

func TestRemarksAreSaidAgain(t *testing.T) {
	other := foreign(english(t))
	for _, r := range register.Reasons() {
		assert.NotEqual(t, r.Words(), other.Remark(r.Words()), r)
		assert.Equal(t, r.Words(), english(t).Remark(r.Words()))
	}
	got := other.Remark("cut short: 61 % of the picture is there; copy it again from the card or a backup")
	assert.Equal(t, unspoken("cut short")+": "+unspoken("61 % of the picture is there")+"; "+unspoken("copy it again from the card or a backup"), got)
	assert.Equal(t, unspoken("duplicate of ")+"photos/a.jpg", other.Remark("duplicate of photos/a.jpg"))
	assert.Equal(t, "not in any table", other.Remark("not in any table"))
	assert.Empty(t, other.Remark(""))
}

// Every text is asked for somewhere, and everything asked for has its text.
func TestWordsAreComplete(t *testing.T) {
	en := english(t)
	said := map[string]bool{}
	for _, dir := range append([]string{"pipeline"}, speaking...) {
		for _, l := range literals(t, dir) {
			said[l.text] = true
		}
	}
	for _, m := range regexp.MustCompile(`(?:say|print) "([^"]*)"`).FindAllStringSubmatch(pages(t), -1) {
		said[m[1]] = true
	}
	for k := range en {
		first, rest, _ := strings.Cut(k, ".")
		last := k[strings.LastIndex(k, ".")+1:]
		middle := k[:strings.LastIndex(k, ".")+1]
		switch {
		case said[k], first+"." == remarkKey, said[rest], said[middle] || said[first+"."] && said[last], first == "def" && said[last]:
		case first == "test" && (said["."+last] || said[last]), first == "caution" && (said[last] || said["."+last]), first == "step", first == "sheet" && said["."+last], first == "note" && strings.HasSuffix(k, "-bare"):
		case said[first+"."]:
		default:
			t.Errorf("%s is never said", k)
		}
	}
	for _, m := range regexp.MustCompile(`say "([^"]+)"`).FindAllStringSubmatch(pages(t), -1) {
		assert.Contains(t, en, m[1])
	}
	for trade, n := range map[string]int{"gardener": 3, "tiler": 3, "conservator": 3} {
		assert.GreaterOrEqual(t, len(en.Steps(trade)), n, trade)
	}
	for _, c := range en.Cautions() {
		assert.NotContains(t, c.Text+c.Source, "⟨", c.Key)
	}
}

func TestKeysAreUsedOnce(t *testing.T) {
	b, err := os.ReadFile("en.json")
	require.NoError(t, err)
	d := json.NewDecoder(strings.NewReader(string(b)))
	_, err = d.Token()
	require.NoError(t, err)
	seen := map[string]bool{}
	for d.More() {
		k, err := d.Token()
		require.NoError(t, err)
		assert.False(t, seen[k.(string)], "%s stands twice", k)
		seen[k.(string)] = true
		_, err = d.Token()
		require.NoError(t, err)
	}
}

func TestLanguages(t *testing.T) {
	assert.Contains(t, Languages(), English)
	w, err := Load("")
	require.NoError(t, err)
	assert.Equal(t, English, w["lang"])
	_, err = Load("xx")
	require.ErrorContains(t, err, `"xx"`)
	_, err = Parse([]byte(`{"a": 1}`))
	require.Error(t, err)
	assert.Equal(t, "⟨no such key⟩", w.Say("no such key"))
}

// foreign is a made language: every letter of every text replaced, places kept.
func foreign(en Table) Table {
	out := Table{}
	for k, v := range en {
		out[k] = unspoken(v)
	}
	out["lang"] = "zz"
	return out
}

var places = regexp.MustCompile(`%(?:\[\d+\])?[-+#0-9.]*[a-zA-Z]`)

// unspoken replaces every Latin letter outside of places.
func unspoken(s string) string {
	letters := regexp.MustCompile(`[A-Za-z]`)
	var b strings.Builder
	at := 0
	for _, m := range places.FindAllStringIndex(s, -1) {
		b.WriteString(letters.ReplaceAllString(s[at:m[0]], "ж"))
		b.WriteString(s[m[0]:m[1]])
		at = m[1]
	}
	b.WriteString(letters.ReplaceAllString(s[at:], "ж"))
	return b.String()
}
