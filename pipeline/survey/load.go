package survey

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"

	"github.com/goccy/go-yaml/ast"
)

// Files of the survey folder that are read when they are there (contract).
const (
	archiveFile     = "archive.csv"
	upkeepFile      = "upkeep.csv"
	correctionsFile = "corrections.csv"
	pointsFile      = "points.csv"
)

// Load reads a survey folder. Everything but photos is read and checked; when anything is wrong the error is Mistakes,
// with all of them. The survey is nil exactly when the error is not.
func Load(dir string) (*Survey, error) {
	l := &loader{dir: dir, inputs: map[string]bool{}}
	data, err := os.ReadFile(filepath.Join(dir, settingsFile))
	if err != nil {
		return nil, Mistakes{{File: settingsFile, Text: l.noSettings(err)}}
	}
	l.inputs[settingsFile] = true
	set := readSettings(data, &l.found)
	l.y = &yamlReader{found: &l.found, file: settingsFile}
	for i := range set.Views {
		l.view(&set.Views[i], set.at[i])
	}
	l.photoFolders(set)
	s := &set.Survey
	s.Dir = dir
	if set.paletteAt != nil || l.has(paletteFile) {
		name := set.palette
		if set.paletteAt == nil {
			name = paletteFile
		}
		if data, ok := l.read(name, set.paletteAt); ok {
			s.Palette = readSheet(data, name, paletteColumns, &l.found).palette(set.paletteWhite)
		}
	}
	table := func(name string, known []column) *sheet {
		if !l.has(name) {
			return &sheet{}
		}
		data, ok := l.read(name, nil)
		if !ok {
			return &sheet{}
		}
		return readSheet(data, name, known, &l.found)
	}
	from := &photoFinder{loader: l, folders: s.Photos}
	s.Archive = table(archiveFile, archiveColumns).archive(from, s.Views)
	s.Upkeep = table(upkeepFile, upkeepColumns).upkeep(from, s.Views)
	s.Corrections = table(correctionsFile, correctionsColumns).corrections(s.Views)
	s.Points = table(pointsFile, pointsColumns).points(from, s.Views)
	if m := l.found.sorted(); len(m) > 0 {
		return nil, m
	}
	for p := range l.inputs {
		s.Inputs = append(s.Inputs, p)
	}
	slices.Sort(s.Inputs)
	s.Notes = l.found.notes
	for _, v := range s.Views {
		if v.Drawing != nil {
			s.Notes = append(s.Notes, v.Drawing.Notes...)
		}
	}
	return s, nil
}

// loader reads the files of one survey folder.
type loader struct {
	dir    string
	found  findings
	y      *yamlReader
	inputs map[string]bool
}

func (l *loader) noSettings(err error) string {
	const hint = "`tilelapse new` writes one"
	if st, e := os.Stat(l.dir); e != nil || !st.IsDir() {
		return fmt.Sprintf("%s is no folder: the survey folder, which holds %s, is needed", quote(l.dir), settingsFile)
	}
	if errors.Is(err, fs.ErrNotExist) {
		for _, other := range []string{"survey.yml", "Survey.yaml", "survey.yaml.txt", "survey.txt"} {
			if _, e := os.Stat(filepath.Join(l.dir, other)); e == nil {
				return fmt.Sprintf("not there, but %s is: rename it to %s", other, settingsFile)
			}
		}
		return fmt.Sprintf("not there: every survey folder needs one; %s", hint)
	}
	return reason(err)
}

// reason words a file error without the path, which stands before it.
func reason(err error) string {
	var pe *fs.PathError
	if errors.As(err, &pe) {
		return pe.Err.Error()
	}
	return err.Error()
}

func (l *loader) has(name string) bool {
	_, err := os.Lstat(filepath.Join(l.dir, filepath.FromSlash(name)))
	return err == nil
}

// file says what is wrong with a file that must be there, or "". Links are not followed, also not on the way to it, so
// that the survey folder holds all that was read.
func (l *loader) file(name string) string {
	bad, isDir := l.look(name)
	if bad == "" && isDir {
		return "is a folder: a file is needed"
	}
	return bad
}

func (l *loader) look(name string) (bad string, isDir bool) {
	parts := strings.Split(name, "/")
	for i := range parts {
		p := path.Join(parts[:i+1]...)
		st, err := os.Lstat(filepath.Join(l.dir, filepath.FromSlash(p)))
		switch {
		case errors.Is(err, fs.ErrNotExist):
			return "is not there" + l.otherCase(p), false
		case err != nil:
			return "can't be read: " + reason(err), false
		case st.Mode()&fs.ModeSymlink != 0:
			return fmt.Sprintf("is or lies behind a link (%s), and links are not followed: copy it into the survey folder", p), false
		case i < len(parts)-1 && !st.IsDir():
			return "is not there", false
		case i == len(parts)-1:
			if !st.IsDir() && !st.Mode().IsRegular() {
				return "is no ordinary file", false
			}
			return "", st.IsDir()
		}
	}
	return "", true
}

// otherCase tells of a name in the same folder that differs only by case.
func (l *loader) otherCase(p string) string {
	names, err := os.ReadDir(filepath.Join(l.dir, filepath.FromSlash(path.Dir(p))))
	if err != nil {
		return ""
	}
	for _, n := range names {
		if strings.EqualFold(n.Name(), path.Base(p)) {
			return fmt.Sprintf(", but %s is: write it the same way", path.Join(path.Dir(p), n.Name()))
		}
	}
	return ""
}

// read returns the bytes of a file and counts it among the inputs. What is wrong is told where it is named, or at the
// file itself when n is nil.
func (l *loader) read(name string, n ast.Node) ([]byte, bool) {
	if name == "" {
		return nil, false
	}
	bad := l.file(name)
	var data []byte
	if bad == "" {
		var err error
		if data, err = os.ReadFile(filepath.Join(l.dir, filepath.FromSlash(name))); err != nil {
			bad = "can't be read: " + reason(err)
		}
	}
	if bad != "" {
		if n != nil {
			l.y.mistake(n, "%s %s", quote(name), bad)
		} else {
			l.found.at(name, 0, 0, "%s", bad)
		}
		return nil, false
	}
	l.inputs[name] = true
	return data, true
}

// view reads a view's drawing and checks its files.
func (l *loader) view(v *View, at viewPlaces) {
	haveRef := false
	if v.Reference != "" {
		if bad := l.file(v.Reference); bad != "" {
			l.y.mistake(at.reference, "%s %s", quote(v.Reference), bad)
		} else {
			haveRef = true
			l.inputs[v.Reference] = true
		}
	}
	if v.Baseline != "" {
		if bad := l.file(v.Baseline); bad != "" {
			l.y.mistake(at.baseline, "%s %s", quote(v.Baseline), bad)
		}
	}
	if v.Regions == "" {
		return
	}
	data, ok := l.read(v.Regions, at.regions)
	if !ok {
		return
	}
	v.Drawing = readDrawing(data, v.Regions, &l.found)
	if v.Drawing == nil || !haveRef {
		return
	}
	if w, h, err := UprightSize(filepath.Join(l.dir, filepath.FromSlash(v.Reference))); err == nil {
		if err := CheckSize(v, w, h); err != nil {
			l.found.at(v.Regions, 1, 1, "%v", err)
		}
	}
}

// photoFolders checks the folders of photos. The default one may be absent: a survey may be checked before its first visit.
func (l *loader) photoFolders(s *settings) {
	for i, p := range s.Photos {
		for j, q := range s.Photos {
			if i != j && i < len(s.photosAt) && (strings.HasPrefix(p, q+"/") || p == q && j < i) {
				l.y.mistake(s.photosAt[i], "%s lies in %s, which is named too: its photos would be found twice", quote(p), quote(q))
			}
		}
		bad, isDir := l.look(p)
		if bad == "" && !isDir {
			bad = "is a file: a folder is needed"
		}
		if bad == "" {
			continue
		}
		switch {
		case i < len(s.photosAt):
			l.y.mistake(s.photosAt[i], "%s %s", quote(p), bad)
		case l.has(p):
			l.found.at(p, 0, 0, "%s", bad)
		}
	}
}

// photoFinder finds the photos that tables name.
type photoFinder struct {
	*loader
	folders []string
}

// photo implements folder: a path from the survey folder on, or from a folder of photos on.
func (p *photoFinder) photo(name string) (string, string) {
	bad := p.loader.file(name)
	if bad == "" {
		return name, ""
	}
	for _, f := range p.folders {
		if q := path.Join(f, name); p.loader.file(q) == "" {
			return q, ""
		}
	}
	return "", bad
}

// file implements folder; documents count among the inputs.
func (p *photoFinder) file(name string) string {
	bad := p.loader.file(name)
	if bad == "" {
		p.inputs[name] = true
	}
	return bad
}
