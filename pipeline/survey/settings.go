package survey

import (
	"math"
	"path"
	"strings"
	"time"

	"github.com/goccy/go-yaml/ast"

	"tilelapse/measure/colour"
	"tilelapse/pipeline/report/words"
)

// settingsFile is the name of the file every survey folder holds.
const settingsFile = "survey.yaml"

// Defaults of what survey.yaml may leave out (contract).
const (
	DefaultOpacity = 0.20 // a spot counts as whitened from this opacity on: our choice
	DefaultMaxMpx  = 120  // larger than any camera's single frame in common use (common practice, no source)
	DefaultMaxMB   = 200
	paletteFile    = "palette.csv"
)

// languages are the report languages that exist.
var languages = words.Languages()

// whitePoint is the white the colours of palette.csv are relative to.
type whitePoint string

const (
	d50 whitePoint = "D50"
	d65 whitePoint = "D65"
)

// settings is survey.yaml with the places of what is checked against other files.
type settings struct {
	Survey
	palette      string // "" = palette.csv if there is one
	paletteAt    ast.Node
	paletteWhite whitePoint
	at           []viewPlaces
	photosAt     []ast.Node
}

// viewPlaces holds where the files of a view are named, nil = not named.
type viewPlaces struct{ id, reference, regions, baseline ast.Node }

// readSettings reads survey.yaml. What is wrong is recorded; what is right is returned all the same, so that the
// other files can be checked too.
func readSettings(data []byte, found *findings) *settings {
	s := &settings{paletteWhite: d65}
	s.Opacity = DefaultOpacity
	s.Limits = Limits{MaxMpx: DefaultMaxMpx, MaxMB: DefaultMaxMB}
	s.Report = Report{Language: "en", Units: "metric"}
	s.Photos = []string{"photos"}
	y := &yamlReader{found: found, file: settingsFile}
	top := y.tree(data)
	if top == nil {
		return s
	}
	e, ok := y.mapping(top, settingsFile, "site", "views", "photos", "palette", "deposit", "coverage_opacity", "cleaning",
		"upkeep_record", "clock", "limits", "report", "chart")
	if !ok {
		return s
	}
	if v, ok := e["site"]; ok {
		s.Site = y.text(v.value, "`site:`")
	} else {
		y.mistake(top, "no `site:`: the name of the artwork or place is needed")
	}
	if v, ok := e["views"]; ok {
		y.views(v.value, s)
	} else {
		y.mistake(top, "no `views:`: at least one view with `id:` and `reference:` is needed")
	}
	if v, ok := e["photos"]; ok {
		s.Photos, s.photosAt = nil, nil
		for _, n := range y.list(v.value, "`photos:`") {
			if p := y.path(n, "a folder in `photos:`"); p != "" {
				s.Photos = append(s.Photos, p)
				s.photosAt = append(s.photosAt, n)
			}
		}
	}
	if v, ok := e["palette"]; ok {
		y.palette(v.value, s)
	}
	if v, ok := e["deposit"]; ok {
		s.Deposit = y.lab(v.value, "`deposit:`")
	}
	if v, ok := e["coverage_opacity"]; ok {
		if o := y.number(v.value, "`coverage_opacity:`", 0.01, 1); !math.IsNaN(o) {
			s.Opacity = o
		}
	}
	if v, ok := e["cleaning"]; ok {
		s.Cleaning = y.cleaning(v.value)
	}
	if v, ok := e["upkeep_record"]; ok {
		s.Record = y.record(v.value)
	}
	if v, ok := e["clock"]; ok {
		for _, n := range y.list(v.value, "`clock:`") {
			if c, ok := y.clock(n); ok {
				s.Clock = append(s.Clock, c)
			}
		}
	}
	if v, ok := e["limits"]; ok {
		y.limits(v.value, &s.Limits)
	}
	if v, ok := e["chart"]; ok {
		if m, ok := y.mapping(v.value, "`chart:`", "made"); ok {
			if w, ok := m["made"]; ok {
				s.ChartMade = y.choice(w.value, "`made:` of `chart:`", ChartBefore2014, ChartFrom2014)
			}
		}
	}
	if v, ok := e["report"]; ok {
		y.report(v.value, &s.Report)
	}
	return s
}

func (y *yamlReader) views(n ast.Node, s *settings) {
	list := y.list(n, "`views:`")
	if seq, isList := n.(*ast.SequenceNode); isList && len(seq.Values) == 0 {
		y.mistake(n, "`views:` is empty: at least one view with `id:` and `reference:` is needed")
	}
	used := names{}
	for _, item := range list {
		e, ok := y.mapping(item, "a view", "id", "reference", "regions", "mm_per_px", "baseline")
		if !ok {
			continue
		}
		var v View
		at := viewPlaces{id: item}
		if x, ok := e["id"]; ok {
			at.id = x.value
			if v.ID = y.text(x.value, "`id:` of a view"); v.ID != "" {
				line, _ := where(x.value)
				if bad := checkID(v.ID); bad != "" {
					y.mistake(x.value, "%s", bad)
				} else if err := used.add(v.ID, line); err != nil {
					y.mistake(x.value, "view %v", err)
				}
			}
		} else {
			y.mistake(item, "a view without `id:`: a short name of letters, digits, - and _ is needed")
		}
		if x, ok := e["reference"]; ok {
			at.reference, v.Reference = x.value, y.path(x.value, "`reference:`")
		} else {
			y.mistake(item, "a view without `reference:`: the path of its reference photo is needed")
		}
		if x, ok := e["regions"]; ok {
			at.regions, v.Regions = x.value, y.path(x.value, "`regions:`")
		}
		if x, ok := e["baseline"]; ok {
			at.baseline, v.Baseline = x.value, y.path(x.value, "`baseline:`")
		}
		if x, ok := e["mm_per_px"]; ok {
			// From a loupe on one tile to a bridge across a river.
			if mm := y.number(x.value, "`mm_per_px:`", 0.001, 1000); !math.IsNaN(mm) {
				v.MMPerPx = mm
			}
		}
		s.Views = append(s.Views, v)
		s.at = append(s.at, at)
	}
}

// path returns a path below the survey folder, cleaned, with slashes; "" with a mistake when it is none.
func (y *yamlReader) path(n ast.Node, what string) string {
	s := y.text(n, what)
	if s == "" {
		return ""
	}
	p, bad := insidePath(s)
	if bad != "" {
		y.mistake(n, "%s %s", what, bad)
		return ""
	}
	return p
}

// insidePath cleans a path that must lie below the survey folder; bad says what is wrong with it.
func insidePath(s string) (p, bad string) {
	p = path.Clean(strings.ReplaceAll(strings.TrimSpace(s), `\`, "/"))
	drive := len(p) > 1 && p[1] == ':'
	switch {
	case strings.ContainsFunc(p, func(r rune) bool { return r < ' ' || r == 127 }):
		return "", "is " + quote(s) + ": the path holds a control character"
	case path.IsAbs(p) || drive:
		return "", "is " + quote(s) + ": a path from the survey folder on is needed, like photos/2021/a.jpg"
	case p == ".." || strings.HasPrefix(p, "../"):
		return "", "is " + quote(s) + ", outside the survey folder: copy it into the survey folder"
	case p == ".":
		return "", "is " + quote(s) + ", the survey folder itself: name a file or folder in it"
	}
	return p, ""
}

func (y *yamlReader) palette(n ast.Node, s *settings) {
	e, ok := y.mapping(n, "`palette:`", "file", "white")
	if !ok {
		return
	}
	if v, ok := e["file"]; ok {
		s.palette, s.paletteAt = y.path(v.value, "`file:` of `palette:`"), v.value
	}
	if v, ok := e["white"]; ok {
		if w := y.choice(v.value, "`white:`", string(d50), string(d65)); w != "" {
			s.paletteWhite = whitePoint(w)
		}
	}
}

// lab reads a colour of three keys; nil with a mistake when one is absent or out of range.
func (y *yamlReader) lab(n ast.Node, what string) *colour.Lab {
	e, ok := y.mapping(n, what, "L", "a", "b")
	if !ok {
		return nil
	}
	get := func(key string, lo, hi float64) float64 {
		v, ok := e[key]
		if !ok {
			y.mistake(n, "%s has no `%s:`: `L:`, `a:` and `b:` are needed", what, key)
			return math.NaN()
		}
		return y.number(v.value, "`"+key+":` of "+what, lo, hi)
	}
	c := colour.Lab{L: get("L", 0, 100), A: get("a", -maxAB, maxAB), B: get("b", -maxAB, maxAB)}
	if math.IsNaN(c.L) || math.IsNaN(c.A) || math.IsNaN(c.B) {
		return nil
	}
	return &c
}

// maxAB bounds CIELAB a and b of a surface: real surfaces stay below 130 (from memory), so that more is a slip.
const maxAB = 160

// rate reads a number of an optional key, 0 when absent or wrong.
func (y *yamlReader) rate(e map[string]entry, key string, lo, hi float64) float64 {
	v, ok := e[key]
	if !ok {
		return 0
	}
	x := y.number(v.value, "`"+key+":`", lo, hi)
	if math.IsNaN(x) {
		return 0
	}
	return x
}

func (y *yamlReader) cleaning(n ast.Node) *Cleaning {
	e, ok := y.mapping(n, "`cleaning:`", "m2_per_hour", "cost_per_hour", "setup_hours", "tile_each", "currency")
	if !ok {
		return nil
	}
	const most = 1e7
	c := &Cleaning{
		M2PerHour:   y.rate(e, "m2_per_hour", 0.001, 1000),
		CostPerHour: y.rate(e, "cost_per_hour", 0, most),
		SetupHours:  y.rate(e, "setup_hours", 0, 1000),
		TileEach:    y.rate(e, "tile_each", 0, most),
	}
	if v, ok := e["currency"]; ok {
		c.Currency = y.text(v.value, "`currency:`")
		if len([]rune(c.Currency)) > 8 {
			y.mistake(v.value, "`currency:` is %s: at most 8 characters, like EUR", quote(c.Currency))
		}
	}
	return c
}

func (y *yamlReader) record(n ast.Node) *Record {
	e, ok := y.mapping(n, "`upkeep_record:`", "from", "to", "source")
	if !ok {
		return nil
	}
	r := &Record{}
	date := func(key string) (d DateRange) {
		v, ok := e[key]
		if !ok {
			return d
		}
		if s := y.text(v.value, "`"+key+":`"); s != "" {
			var err error
			if d, err = ParseDate(s); err != nil {
				y.mistake(v.value, "%v", err)
			}
		}
		return d
	}
	r.From, r.To = date("from").From, date("to").To
	if r.From != "" && r.To != "" && r.From > r.To {
		y.mistake(e["to"].value, "`upkeep_record:` ends (%s) before it begins (%s)", r.To, r.From)
	}
	if v, ok := e["source"]; ok {
		r.Source = y.text(v.value, "`source:`")
	}
	return r
}

func (y *yamlReader) clock(n ast.Node) (c Clock, ok bool) {
	e, isMap := y.mapping(n, "an entry of `clock:`", "camera", "from", "add")
	if !isMap {
		return c, false
	}
	if v, has := e["camera"]; has {
		c.Camera = y.text(v.value, "`camera:`")
	} else {
		y.mistake(n, "an entry of `clock:` without `camera:`: the camera's model, as photos.csv gives it, is needed")
	}
	if v, has := e["from"]; has {
		if s := y.text(v.value, "`from:`"); s != "" {
			d, err := ParseDate(s)
			if err != nil {
				y.mistake(v.value, "%v", err)
			} else {
				c.From, _ = time.Parse(dayLayout, d.From)
			}
		}
	}
	v, has := e["add"]
	if !has {
		y.mistake(n, "an entry of `clock:` without `add:`: a length of time like 365d, -1h or 1d2h30m is needed")
		return c, false
	}
	if s := y.text(v.value, "`add:`"); s != "" {
		var err error
		if c.Add, err = parseShift(s); err != nil {
			y.mistake(v.value, "`add:` %v", err)
		}
	}
	return c, c.Camera != "" && c.Add != 0
}

func (y *yamlReader) limits(n ast.Node, l *Limits) {
	e, ok := y.mapping(n, "`limits:`", "max_mpx", "max_mb")
	if !ok {
		return
	}
	if v := y.rate(e, "max_mpx", 0.01, 1000); v > 0 {
		l.MaxMpx = v
	}
	if v := y.rate(e, "max_mb", 0.01, 4000); v > 0 {
		l.MaxMB = v
	}
}

func (y *yamlReader) report(n ast.Node, r *Report) {
	e, ok := y.mapping(n, "`report:`", "language", "units")
	if !ok {
		return
	}
	if v, has := e["language"]; has {
		if s := y.choice(v.value, "`language:`", languages...); s != "" {
			r.Language = s
		}
	}
	if v, has := e["units"]; has {
		if s := y.choice(v.value, "`units:`", "metric", "us"); s != "" {
			r.Units = s
		}
	}
}
