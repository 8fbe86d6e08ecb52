package ledger

import (
	"bufio"
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"sort"
	"strings"
)

// Names of the two lists of hashes in the output folder. Both have the format of `sha256sum`.
const (
	OriginalsFile = "ORIGINALS.sha256"
	ResultsFile   = "SHA256SUMS"
)

// Entry is a line of a list of hashes: a path with slashes and the SHA-256 of the file, in hexadecimal.
type Entry struct{ Path, SHA256 string }

// Format writes entries sorted by path in the format `sha256sum -c` reads. Paths with a backslash, line feed or
// carriage return are escaped as GNU coreutils does: the line starts with a backslash.
func Format(es []Entry) []byte {
	es = append([]Entry(nil), es...)
	sort.Slice(es, func(i, j int) bool { return es[i].Path < es[j].Path })
	var b bytes.Buffer
	esc := strings.NewReplacer("\\", "\\\\", "\n", "\\n", "\r", "\\r")
	for _, e := range es {
		p := esc.Replace(e.Path)
		if p != e.Path {
			b.WriteByte('\\')
		}
		fmt.Fprintf(&b, "%s  %s\n", e.SHA256, p)
	}
	return b.Bytes()
}

// Parse reads what Format wrote.
func Parse(r io.Reader) ([]Entry, error) {
	var es []Entry
	unesc := strings.NewReplacer("\\\\", "\\", "\\n", "\n", "\\r", "\r")
	sc := bufio.NewScanner(r)
	sc.Buffer(nil, 1<<20)
	for n := 1; sc.Scan(); n++ {
		line := sc.Text()
		esc := strings.HasPrefix(line, "\\")
		line = strings.TrimPrefix(line, "\\")
		if len(line) < 67 || line[64:66] != "  " {
			return nil, fmt.Errorf("line %d: 64 digits, two spaces and a path are needed", n)
		}
		if _, err := hex.DecodeString(line[:64]); err != nil {
			return nil, fmt.Errorf("line %d: %w", n, err)
		}
		p := line[66:]
		if esc {
			p = unesc.Replace(p)
		}
		es = append(es, Entry{Path: p, SHA256: strings.ToLower(line[:64])})
	}
	return es, sc.Err()
}

// HashFile returns the SHA-256 of a file in hexadecimal.
func HashFile(path string) (string, error) {
	f, err := os.Open(path)
	if err != nil {
		return "", err
	}
	defer f.Close()
	h := sha256.New()
	if _, err := io.Copy(h, f); err != nil {
		return "", err
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}

// HashFolder lists the hashes of every regular file below root, relative, with slashes, except those skip says.
func HashFolder(root string, skip func(rel string) bool) ([]Entry, error) {
	var es []Entry
	err := filepath.WalkDir(root, func(p string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(root, p)
		if err != nil {
			return err
		}
		rel = filepath.ToSlash(rel)
		if d.IsDir() {
			if rel != "." && skip(rel+"/") {
				return filepath.SkipDir
			}
			return nil
		}
		if !d.Type().IsRegular() || skip(rel) {
			return nil
		}
		h, err := HashFile(p)
		if err != nil {
			return err
		}
		es = append(es, Entry{rel, h})
		return nil
	})
	return es, err
}

// SkipResult reports whether a path of the output folder stays out of SHA256SUMS: the list itself and the store.
func SkipResult(rel string) bool { return rel == ResultsFile || rel == Dir+"/" }

// Difference is what Verify found about one file.
type Difference struct {
	List string // OriginalsFile or ResultsFile
	Path string
	What string // altered, gone, added, unreadable
}

// Verify compares originals and results with the two lists of an output folder. The first error is one that keeps it
// from comparing at all, a missing list for instance.
func Verify(survey, out string) (diffs []Difference, checked int, err error) {
	for _, l := range []struct{ name, root string }{{OriginalsFile, survey}, {ResultsFile, out}} {
		f, err := os.Open(filepath.Join(out, l.name))
		if err != nil {
			return nil, checked, err
		}
		es, err := Parse(f)
		f.Close()
		if err != nil {
			return nil, checked, fmt.Errorf("%s: %w", l.name, err)
		}
		listed := map[string]bool{}
		for _, e := range es {
			listed[e.Path] = true
			checked++
			h, err := HashFile(filepath.Join(l.root, filepath.FromSlash(e.Path)))
			switch {
			case errors.Is(err, fs.ErrNotExist):
				diffs = append(diffs, Difference{l.name, e.Path, "gone"})
			case err != nil:
				diffs = append(diffs, Difference{l.name, e.Path, "unreadable"})
			case h != e.SHA256:
				diffs = append(diffs, Difference{l.name, e.Path, "altered"})
			}
		}
		if l.name != ResultsFile {
			continue
		}
		now, err := HashFolder(l.root, SkipResult)
		if err != nil {
			return nil, checked, err
		}
		for _, e := range now {
			if !listed[e.Path] {
				diffs = append(diffs, Difference{l.name, e.Path, "added"})
			}
		}
	}
	return diffs, checked, nil
}
