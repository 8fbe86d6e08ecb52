package report

import (
	"html"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"

	"tilelapse/pipeline/report/words"
)

// made up: every letter outside of the places of a text becomes one that English has not.
func otherLanguage(t *testing.T) words.Table {
	out := words.Table{}
	letters := regexp.MustCompile(`%(?:\[\d+\])?[-+#0-9.]*[a-zA-Z]|[A-Za-z]`)
	for k, v := range english(t) {
		out[k] = letters.ReplaceAllStringFunc(v, func(s string) string {
			if strings.HasPrefix(s, "%") {
				return s
			}
			return "ж"
		})
	}
	out["lang"] = "zz"
	return out
}

var (
	notShown   = regexp.MustCompile(`(?s)<style>.*?</style>|<script>.*?</script>|<!--.*?-->`)
	attributes = regexp.MustCompile(`(?:alt|title|aria-label|data-label)="([^"]*)"`)
	tags       = regexp.MustCompile(`<[^>]*>`)
	words2     = regexp.MustCompile(`[A-Za-z][A-Za-z']+`)
)

// spoken lists the words of two letters or more that a page shows or reads out.
func spoken(page string) []string {
	page = notShown.ReplaceAllString(page, " ")
	var said []string
	for _, m := range attributes.FindAllStringSubmatch(page, -1) {
		said = append(said, m[1])
	}
	said = append(said, tags.ReplaceAllString(page, " "))
	var all []string
	for _, s := range said {
		all = append(all, words2.FindAllString(html.UnescapeString(s), -1)...)
	}
	return all
}

// With another table of words nothing of the program's own English is left: what stays is what the user wrote, names of
// files, ids and units.
func TestAnotherLanguageChangesEveryVisibleWord(t *testing.T) {
	other := otherLanguage(t)
	in := largeIn(t, other)
	for i, v := range in.Views { // small pictures: only the words are looked at
		for j, p := range v.Pictures {
			b, w, h, err := shrink(p.JPEG, 60, 40)
			require.NoError(t, err)
			in.Views[i].Pictures[j].JPEG, in.Views[i].Pictures[j].W, in.Views[i].Pictures[j].H = b, w, h
		}
	}
	users := map[string]bool{}
	own := []string{in.Survey.Site, in.Survey.Record.Source, "soft wash", hostile, "Upper rows Lower rows", "barley chalk slate coping test EUR",
		"photos jpg yard", "view low top back of the print", "archive csv EXIF", "DE cm ca ab"}
	for _, u := range in.Survey.Upkeep {
		own = append(own, u.Work, u.Doc, u.Zone)
	}
	for _, h := range in.Hashes {
		own = append(own, h.Path)
	}
	for _, s := range own {
		for _, w := range words2.FindAllString(s, -1) {
			users[w] = true
		}
	}
	for name, make := range map[string]func(Input) ([]byte, error){"report": Report, "worksheet": Worksheet} {
		b, err := make(in)
		require.NoError(t, err)
		page := string(b)
		assert.Contains(t, page, `lang="zz"`)
		assert.NotContains(t, page, "%!", name)
		assert.NotContains(t, page, "⟨", name)
		left := map[string]bool{}
		for _, w := range spoken(page) {
			if !users[w] && !regexp.MustCompile(`^(?:a0)+$|^c4|^[a-f]+$`).MatchString(w) {
				left[w] = true
			}
		}
		assert.Empty(t, left, "%s still speaks English", name)
	}
	b, err := Workbook(in.Set, other)
	require.NoError(t, err)
	f, err := excelize.OpenReader(strings.NewReader(string(b)))
	require.NoError(t, err)
	defer f.Close()
	rows, err := f.GetRows("definitions")
	require.NoError(t, err)
	for _, r := range rows {
		assert.NotRegexp(t, `[A-Za-z]{2}`, r[2])
	}
}
