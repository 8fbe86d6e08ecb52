package survey

import (
	"fmt"
	"math"
	"path"
	"slices"
	"strings"

	"tilelapse/measure/colour"
)

// Words of the tables' columns (contract).
var (
	photoKinds  = []string{"digital", "print", "slide", "copy"}
	upkeepKinds = []string{"clean", "repair", "replace", "regrout", "water_off", "water_on", "cut_back", "inspect", "damage",
		"due", "asked", "answered"}
	tileStates = []string{"present", "missing", "offpalette", "hidden", "unreadable", "outside"}
)

// Columns of the user's tables (contract); those with an exclamation mark can't be absent.
var (
	archiveColumns     = columns("photo! taken basis kind view by note")
	upkeepColumns      = columns("date! zone work note until kind doc")
	correctionsColumns = columns("view tile! visit! state! by why")
	pointsColumns      = columns("photo! x! y! view ref_x! ref_y!")
	paletteColumns     = columns("glaze! L! a! b!")
)

// minPairs is the least number of pairs set by hand that aligns a photo (contract).
const minPairs = 6

// folder answers what the tables ask about the survey folder.
type folder interface {
	// photo returns the path of the photo that a table names, relative to the survey folder; bad says what is wrong.
	photo(name string) (path, bad string)
	// file says what is wrong with a file that must be there, or "".
	file(name string) (bad string)
}

// archive reads archive.csv.
func (s *sheet) archive(dir folder, views []View) (out []ArchiveRow) {
	lines := map[string]int{}
	for _, r := range s.rows {
		a := ArchiveRow{Basis: r.text("basis"), By: r.text("by"), Note: r.text("note"), Line: r.line}
		if r.needed("photo", "the path of a photo") == "" {
			continue
		}
		a.Photo = r.photo(dir)
		if a.Photo != "" {
			if before, twice := lines[a.Photo]; twice {
				r.at("photo", "%s stands in line %d too: one row a photo", quote(a.Photo), before)
			}
			lines[a.Photo] = r.line
		}
		if t := r.text("taken"); t != "" {
			d, err := ParseDate(t)
			if err != nil {
				r.at("taken", "%v", err)
			}
			a.Taken = d
		}
		a.Kind = r.choice("kind", photoKinds...)
		a.View = r.view(views)
		out = append(out, a)
	}
	return out
}

// photo returns the path of the row's photo, "" with a mistake when it is not there.
func (r row) photo(dir folder) string {
	p := r.path("photo")
	if p == "" {
		return ""
	}
	p, bad := dir.photo(p)
	if bad != "" {
		r.at("photo", "%s %s", quote(r.text("photo")), bad)
		return ""
	}
	return p
}

// view returns the row's view, "" when empty, or with a mistake when unknown.
func (r row) view(views []View) string {
	v := r.text("view")
	if v == "" {
		return ""
	}
	var ids []string
	for _, x := range views {
		if x.ID == v {
			return v
		}
		ids = append(ids, x.ID)
	}
	r.at("view", "%s is no view of this survey: known are %s", quote(v), oneOf(ids))
	return ""
}

// upkeep reads upkeep.csv. A date less exact than a day becomes the span from its first to its last day.
func (s *sheet) upkeep(dir folder, views []View) (out []UpkeepRow) {
	zones := zoneIDs(views)
	for _, r := range s.rows {
		u := UpkeepRow{Zone: r.text("zone"), Work: r.text("work"), Note: r.text("note"), Line: r.line}
		if r.needed("date", "a date like 2021-03-04") == "" {
			continue
		}
		d, err := ParseDate(r.text("date"))
		if err != nil {
			r.at("date", "%v", err)
		}
		u.Date = d.From
		if !d.Exact() {
			u.Until = d.To
		}
		if t := r.text("until"); t != "" {
			e, err := ParseDate(t)
			switch {
			case err != nil:
				r.at("until", "%v", err)
			case e.To < u.Date:
				r.at("until", "%s lies before the date %s", e.To, u.Date)
			default:
				u.Until = e.To
			}
		}
		if u.Zone != "" && !slices.Contains(zones, u.Zone) {
			hint := ""
			if n := nearest(u.Zone, zones); n != "" {
				hint = fmt.Sprintf(" (did you mean %s?)", quote(n))
			}
			r.at("zone", "%s is no zone of this survey%s: known are %s; leave it empty for everywhere", quote(u.Zone), hint, oneOf(zones))
		}
		u.Kind = r.choice("kind", upkeepKinds...)
		if r.text("doc") != "" {
			if u.Doc = r.path("doc"); u.Doc != "" {
				if !strings.HasPrefix(u.Doc, "documents/") {
					u.Doc = path.Join("documents", u.Doc)
				}
				if bad := dir.file(u.Doc); bad != "" {
					r.at("doc", "%s %s", quote(u.Doc), bad)
					u.Doc = ""
				}
			}
		}
		out = append(out, u)
	}
	return out
}

// zoneIDs returns the ids of all zones, sorted, each once.
func zoneIDs(views []View) []string {
	var ids []string
	for _, v := range views {
		if v.Drawing == nil || len(v.Drawing.Zones) == 0 {
			ids = append(ids, v.ID)
			continue
		}
		for _, z := range v.Drawing.Zones {
			ids = append(ids, z.ID)
		}
	}
	slices.Sort(ids)
	return slices.Compact(ids)
}

// corrections reads corrections.csv. Two rows on the same tile and visit must agree.
func (s *sheet) corrections(views []View) (out []CorrectionRow) {
	type reading struct{ view, tile, visit string }
	said := map[reading]CorrectionRow{}
	for _, r := range s.rows {
		c := CorrectionRow{Tile: r.needed("tile", "a tile's id"), By: r.text("by"), Why: r.text("why"), Line: r.line}
		if c.View = r.view(views); r.text("view") == "" {
			if len(views) == 1 {
				c.View = views[0].ID
			} else {
				r.at("view", "empty: this survey has %d views, one must be named", len(views))
			}
		}
		for _, v := range views {
			if v.ID == c.View && c.Tile != "" && v.Drawing != nil && len(v.Drawing.Tiles) > 0 &&
				!slices.ContainsFunc(v.Drawing.Tiles, func(t Shape) bool { return t.ID == c.Tile }) {
				r.at("tile", "%s is no tile of view %s", quote(c.Tile), c.View)
			}
		}
		if r.needed("visit", "the day of a visit") != "" {
			var err error
			if c.Visit, err = parseDay(r.text("visit")); err != nil {
				r.at("visit", "%v", err)
			}
		}
		if r.needed("state", oneOf(tileStates)) != "" {
			c.State = r.choice("state", tileStates...)
		}
		if k := (reading{c.View, c.Tile, c.Visit}); c.State != "" && c.Visit != "" {
			if before, twice := said[k]; !twice {
				said[k] = c
			} else if before.State != c.State {
				r.at("state", "%s, but line %d says %s of the same tile and visit: one must go", c.State, before.Line, before.State)
			}
		}
		out = append(out, c)
	}
	return out
}

// points reads points.csv.
func (s *sheet) points(dir folder, views []View) (out []PointRow) {
	type pair struct{ photo, view string }
	count, first := map[pair]int{}, map[pair]row{}
	var order []pair
	for _, r := range s.rows {
		if r.needed("photo", "the path of a photo") == "" {
			continue
		}
		p := PointRow{Photo: r.photo(dir), View: r.view(views), Line: r.line}
		if r.text("view") == "" {
			if len(views) == 1 {
				p.View = views[0].ID
			} else {
				r.at("view", "empty: this survey has %d views, one must be named", len(views))
			}
		}
		const most = 1e5 // px
		p.X, p.Y = r.number("x", -most, most), r.number("y", -most, most)
		p.RefX, p.RefY = r.number("ref_x", -most, most), r.number("ref_y", -most, most)
		if p.Photo == "" || p.View == "" || math.IsNaN(p.X+p.Y+p.RefX+p.RefY) {
			continue
		}
		k := pair{p.Photo, p.View}
		if count[k] == 0 {
			first[k] = r
			order = append(order, k)
		}
		count[k]++
		out = append(out, p)
	}
	for _, k := range order {
		if count[k] < minPairs {
			first[k].at("photo", "%s has %d pairs in view %s: at least %d are needed", quote(k.photo), count[k], k.view, minPairs)
		}
	}
	return out
}

// palette reads palette.csv, adapting the colours to D65.
func (s *sheet) palette(white whitePoint) (out []Glaze) {
	used := names{}
	for _, r := range s.rows {
		g := Glaze{Name: r.needed("glaze", "a glaze's name"),
			Lab: colour.Lab{L: r.number("L", 0, 100), A: r.number("a", -maxAB, maxAB), B: r.number("b", -maxAB, maxAB)}}
		if g.Name != "" {
			if err := used.add(g.Name, r.line); err != nil {
				r.at("glaze", "%s", strings.Replace(err.Error(), "they would name one file", "name them apart", 1))
			}
		}
		if math.IsNaN(g.Lab.L + g.Lab.A + g.Lab.B) {
			continue
		}
		if white == d50 {
			g.Lab = d65FromD50(g.Lab)
		}
		out = append(out, g)
	}
	return out
}
