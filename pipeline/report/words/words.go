// Package words holds every text that people read in reports, work sheets, pictures and the remarks of tables, one file a
// language, and turns what trend, associate and order tell in codes and numbers into sentences.
//
// Another language is one more file beside en.json with the same keys. Places for figures and names (%s, %d) may be put
// in another order with %[2]s; in a text with places a percent sign is %%. Names of columns and the codes in them stay as they are in every language.
package words

import (
	"embed"
	"encoding/json"
	"fmt"
	"strings"
)

//go:embed *.json
var files embed.FS

// English is the language spoken when none is asked for.
const English = "en"

// Table is one language's texts by key.
type Table map[string]string

// Languages lists the languages there is a file for, by code, in order.
func Languages() []string {
	list, err := files.ReadDir(".")
	if err != nil {
		return nil // embedded: can't fail
	}
	var codes []string
	for _, f := range list {
		codes = append(codes, strings.TrimSuffix(f.Name(), ".json"))
	}
	return codes
}

// Load returns a language's texts, "" = English; an error when there is no file of the language.
func Load(language string) (Table, error) {
	if language == "" {
		language = English
	}
	b, err := files.ReadFile(language + ".json")
	if err != nil {
		return nil, fmt.Errorf("language %q: there is %s; another is one more file beside en.json", language, strings.Join(Languages(), ", "))
	}
	return Parse(b)
}

// Parse reads the texts of one language: a flat JSON object of strings.
func Parse(b []byte) (Table, error) {
	t := Table{}
	if err := json.Unmarshal(b, &t); err != nil {
		return nil, fmt.Errorf("words: %w", err)
	}
	return t, nil
}

// Say returns a text with its places filled. A key without a text is a mistake of the program and shows as such.
func (t Table) Say(key string, a ...any) string {
	s, ok := t[key]
	if !ok {
		return "⟨" + key + "⟩"
	}
	if len(a) == 0 {
		return s
	}
	return fmt.Sprintf(s, a...)
}
