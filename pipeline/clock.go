package pipeline

import (
	"fmt"
	"path"
	"sort"
	"strings"

	"tilelapse/pipeline/survey"
)

// camerasDoubt is how many days two cameras in one folder must lie apart for one of their clocks to be doubted: folders
// may hold a year's visits (our choice).
const camerasDoubt = 366

// doubtCameras notes at every photo of a folder that two cameras took more than a year apart, each within a year. The
// folders named in the survey file and those named like a view hold the photos of many years, and tell nothing.
func doubtCameras(s *survey.Survey, ps []*photo) {
	type span struct{ first, last string }
	folders := map[string]map[string]span{}
	at := func(p *photo) (string, bool) {
		dir := path.Dir(p.rel)
		for _, f := range s.Photos {
			if archiveName(f) == dir {
				return "", false
			}
		}
		for _, v := range s.Views {
			if strings.EqualFold(path.Base(dir), v.ID) {
				return "", false
			}
		}
		return dir, p.facts.Camera != "" && strings.HasPrefix(p.source, "EXIF")
	}
	for _, p := range ps {
		dir, ok := at(p)
		if !ok {
			continue
		}
		if folders[dir] == nil {
			folders[dir] = map[string]span{}
		}
		day := p.visit()
		c, seen := folders[dir][p.facts.Camera]
		if !seen {
			c = span{day, day}
		}
		folders[dir][p.facts.Camera] = span{min(c.first, day), max(c.last, day)}
	}
	for _, p := range ps {
		dir, ok := at(p)
		if !ok {
			continue
		}
		own := folders[dir][p.facts.Camera]
		var others []string
		for name, c := range folders[dir] {
			gap := max(apart(own.last, c.first), apart(own.first, c.last)) - apart(own.first, own.last) - apart(c.first, c.last)
			if name != p.facts.Camera && apart(own.first, own.last) <= camerasDoubt && apart(c.first, c.last) <= camerasDoubt && gap > camerasDoubt {
				others = append(others, name)
			}
		}
		if len(others) == 0 {
			continue
		}
		sort.Strings(others)
		p.notes = append(p.notes, fmt.Sprintf("the camera says %s, %s in the same folder says %s: if they are of one visit, correct the clock that is wrong with clock in survey.yaml", p.visit(), others[0], folders[dir][others[0]].first))
	}
}

// ahead warns of photos dated after today (ISO).
func ahead(ps []*photo, today string) []string {
	var ws []string
	for _, p := range ps {
		if p.visit() > today {
			ws = append(ws, fmt.Sprintf("%s: dated %s (%s), which lies in the future: correct it in archive.csv, or with clock in survey.yaml", p.rel, p.visit(), p.source))
		}
	}
	return ws
}
