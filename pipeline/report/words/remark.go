package words

import (
	"fmt"
	"regexp"
	"sort"
	"strings"
	"sync"
)

// remarkKey begins the keys of what reading, aligning and measuring remark, as they word it themselves.
const remarkKey = "remark."

// heard is one remark as it is worded in English, to be known again.
type heard struct {
	key   string
	match *regexp.Regexp
	plain int // letters that are no places
}

var place = regexp.MustCompile(`%%|%(?:\[\d+\])?[-+#0-9.]*[a-zA-Z]`)

// remarks are the English remarks, the longest first.
var remarks = sync.OnceValue(func() []heard {
	en, err := Load(English)
	if err != nil {
		return nil
	}
	var hs []heard
	for k, text := range en {
		if !strings.HasPrefix(k, remarkKey) {
			continue
		}
		h := heard{key: k}
		var b strings.Builder
		b.WriteString("(?s)^")
		at := 0
		for _, m := range place.FindAllStringIndex(text, -1) {
			b.WriteString(regexp.QuoteMeta(text[at:m[0]]))
			h.plain += m[0] - at
			switch verb := text[m[0]:m[1]]; {
			case verb == "%%":
				b.WriteString("%")
			case strings.ContainsAny(verb[len(verb)-1:], "dfgex"):
				b.WriteString(`([-+0-9.e]+)`)
			default:
				b.WriteString("(.+?)")
			}
			at = m[1]
		}
		b.WriteString(regexp.QuoteMeta(text[at:]) + "$")
		h.plain += len(text) - at
		h.match = regexp.MustCompile(b.String())
		hs = append(hs, h)
	}
	sort.Slice(hs, func(i, j int) bool {
		if hs[i].plain != hs[j].plain {
			return hs[i].plain > hs[j].plain
		}
		return hs[i].key < hs[j].key
	})
	return hs
})

// Remark words again, in the table's language, what reading, aligning and measuring remarked in English. These know no
// language, and their remarks are kept in the records of photos: they are known again here by their wording. What is not
// known is left as it is. Figures and names in a remark stay.
func (t Table) Remark(text string) string {
	if text == "" || t["lang"] == English {
		return text
	}
	for _, h := range remarks() {
		m := h.match.FindStringSubmatch(text)
		if m == nil {
			continue
		}
		args := make([]any, len(m)-1)
		for i, s := range m[1:] {
			args[i] = s
		}
		return t.figured(h.key, args)
	}
	for _, sep := range []string{"; ", ": "} {
		if a, b, ok := strings.Cut(text, sep); ok {
			return t.Remark(a) + sep + t.Remark(b)
		}
	}
	return text
}

// figured says a text whose places take figures already written.
func (t Table) figured(key string, args []any) string {
	text := place.ReplaceAllStringFunc(t[key], func(p string) string {
		if p == "%%" {
			return p
		}
		number := ""
		if i := strings.Index(p, "]"); i > 0 {
			number = p[1 : i+1]
		}
		return "%" + number + "s"
	})
	return fmt.Sprintf(text, args...)
}
