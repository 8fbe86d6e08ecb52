package report

import (
	"embed"
	"encoding/json"
	"fmt"
)

//go:embed words/*.json
var wordFiles embed.FS

// words is one language's table of every text of the reports.
type words map[string]string

// loadWords reads a language's table, English when there is none for it.
func loadWords(language string) (words, error) {
	b, err := wordFiles.ReadFile("words/" + language + ".json")
	if err != nil {
		b, err = wordFiles.ReadFile("words/en.json")
	}
	if err != nil {
		return nil, err
	}
	w := words{}
	return w, json.Unmarshal(b, &w)
}

// say returns a text with its places filled. A key without a text is a mistake of the program and shows as such.
func (w words) say(key string, a ...any) string {
	s, ok := w[key]
	if !ok {
		return "⟨" + key + "⟩"
	}
	if len(a) == 0 {
		return s
	}
	return fmt.Sprintf(s, a...)
}
