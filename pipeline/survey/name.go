package survey

import (
	"fmt"
	"strings"
)

// maxID is the longest id: three of them and a date still fit into a file name of 255 bytes.
const maxID = 64

// checkID returns what is wrong with the id of a view, zone or tile, or "".
func checkID(id string) string {
	if id == "" {
		return "empty id: letters, digits, - and _ are needed"
	}
	if len(id) > maxID {
		return fmt.Sprintf("id %s has %d characters: at most %d, because ids name files", quote(id), len(id), maxID)
	}
	for _, r := range id {
		if !(r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '-' || r == '_') {
			return fmt.Sprintf("id %s holds %q: only letters without accents, digits, - and _ (any text may stand in <title>)",
				quote(id), r)
		}
	}
	if reservedName(id) {
		return fmt.Sprintf("id %s can't name a file on some computers: choose another", quote(id))
	}
	return ""
}

// reservedName reports whether some systems keep the name for a device, so that no file can bear it.
// The list is common practice, from memory.
func reservedName(id string) bool {
	switch s := strings.ToLower(id); s {
	case "con", "prn", "aux", "nul":
		return true
	default:
		return len(s) == 4 && (strings.HasPrefix(s, "com") || strings.HasPrefix(s, "lpt")) && s[3] >= '1' && s[3] <= '9'
	}
}

// names finds ids used twice, also when they differ only by case.
type names map[string]place

type place struct {
	id   string
	line int
}

// add records an id. The error says where it was used before.
func (n names) add(id string, line int) error {
	key := strings.ToLower(id)
	if p, ok := n[key]; ok {
		if p.id == id {
			return fmt.Errorf("id %s is used twice (also in line %d): each needs its own", quote(id), p.line)
		}
		return fmt.Errorf("ids %s and %s (line %d) differ only by case: they would name one file", quote(id), quote(p.id), p.line)
	}
	n[key] = place{id, line}
	return nil
}

// plainID turns the escapes that some drawing programs write for characters an XML id may not begin with or hold
// (_x31_200mm for 1200mm) back into what the user typed.
func plainID(id string) string {
	var b strings.Builder
	for i := 0; i < len(id); {
		if end := strings.IndexByte(id[i+1:], '_'); id[i] == '_' && end == 3 && id[i+1] == 'x' {
			var c int
			if n, err := fmt.Sscanf(id[i+2:i+4], "%02x", &c); n == 1 && err == nil && c > ' ' && c < 127 {
				b.WriteByte(byte(c))
				i += 5
				continue
			}
		}
		b.WriteByte(id[i])
		i++
	}
	return b.String()
}
