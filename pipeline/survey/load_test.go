package survey

import (
	"bytes"
	"image"
	"image/jpeg"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tilelapse/measure/colour"
	"tilelapse/measure/plane"
)

// folderOf writes a survey folder; a nil value makes a directory.
func folderOf(t *testing.T, files map[string]string) string {
	t.Helper()
	dir := t.TempDir()
	for name, text := range files {
		p := filepath.Join(dir, filepath.FromSlash(name))
		require.NoError(t, os.MkdirAll(filepath.Dir(p), 0o755))
		require.NoError(t, os.WriteFile(p, []byte(text), 0o644))
	}
	return dir
}

// photoOf returns a JPEG of w × h px.
func photoOf(t *testing.T, w, h int) string {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, jpeg.Encode(&b, image.NewGray(image.Rect(0, 0, w, h)), nil))
	return b.String()
}

// turned puts an EXIF block with an orientation into a JPEG.
func turned(photo string, orientation byte) string {
	tiff := "MM\x00*\x00\x00\x00\x08\x00\x01\x01\x12\x00\x03\x00\x00\x00\x01\x00" + string(orientation) + "\x00\x00\x00\x00\x00\x00"
	app := "Exif\x00\x00" + tiff
	return photo[:2] + "\xff\xe1\x00" + string(rune(len(app)+2)) + app + photo[2:]
}

const (
	plainSettings = "site: Millrace Wall\nviews:\n  - id: step-1\n    reference: reference/step-1.jpg\n    regions: regions/step-1.svg\n"
	plainRegions  = `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 200 100">
<rect class="zone" id="left" x="10" y="10" width="80" height="80"/>
<rect class="tile" id="t1" x="20" y="20" width="10" height="10"/>
</svg>`
)

// plain returns the files of a survey without mistakes, changed by those given.
func plain(t *testing.T, changed map[string]string) map[string]string {
	files := map[string]string{
		"survey.yaml":          plainSettings,
		"reference/step-1.jpg": photoOf(t, 200, 100),
		"regions/step-1.svg":   plainRegions,
		"photos/2021/a.jpg":    "a photo, not read here",
		"photos/b.jpg":         "another",
		"documents/letter.pdf": "a letter",
	}
	for k, v := range changed {
		files[k] = v
	}
	return files
}

func TestLoadReadsAllThereIs(t *testing.T) {
	s, err := Load(folderOf(t, plain(t, map[string]string{
		"survey.yaml": `
site: "Millrace Wall"
views:
  - id: 010
    reference: reference/step-1.jpg
    regions: regions/step-1.svg
    mm_per_px: 1.25
    baseline: photos/2021/a.jpg
  - {id: plain, reference: reference/step-1.jpg}
photos: [photos]
palette: {file: colours/p.csv, white: D50}
deposit: {L: 90, a: 0, b: 3}
coverage_opacity: 0.25
chart: {made: from-2014-11}
cleaning: {m2_per_hour: 1.2, cost_per_hour: 45, setup_hours: 1, tile_each: 60, currency: EUR}
upkeep_record: {from: 2016, to: 2024-06, source: "works department file"}
clock: [{camera: "MODEL", from: 2021-05-01, add: 365d}, {camera: OLD, add: -1h30m}]
limits: {max_mpx: 50, max_mb: 100}
report: {language: en, units: us}
`,
		"colours/p.csv":   "glaze;L;a;b\nslate;50;0;0\n",
		"archive.csv":     "photo,taken,basis,kind,view,by,note\n2021/a.jpg,1998/2001,back of the print,Print,010,AB,\nphotos\\b.jpg,1998-06,,,,,\n",
		"upkeep.csv":      "\xef\xbb\xbfdate;zone;work;note;until;kind;doc;invoice\n2021-03-04;left;brushed;;2021-03-05;clean;letter.pdf;12\n1998;;\"water; off\";;;water_off;;\n",
		"corrections.csv": "view\ttile\tvisit\tstate\tby\twhy\n010\tt1\t2021-03-04\tpresent\tAB\tseen on site\n",
		"points.csv": "photo;x;y;view;ref_x;ref_y\n" + strings.Repeat("photos/b.jpg;1,5;2;010;3,25;-4e1\n", 5) +
			"b.jpg;\"7,5\";2;010;3;4\n",
	})))
	require.NoError(t, err)
	assert.Equal(t, "Millrace Wall", s.Site)
	require.Len(t, s.Views, 2)
	v := s.Views[0]
	assert.Equal(t, "010", v.ID, "an id keeps its leading zero")
	assert.Equal(t, 1.25, v.MMPerPx)
	assert.Equal(t, "photos/2021/a.jpg", v.Baseline)
	require.Len(t, v.Drawing.Zones, 1)
	assert.Equal(t, []plane.Point{{X: 9.5, Y: 9.5}, {X: 89.5, Y: 9.5}, {X: 89.5, Y: 89.5}, {X: 9.5, Y: 89.5}}, v.Drawing.Zones[0].Rings[0])
	assert.Nil(t, s.Views[1].Drawing)
	assert.Equal(t, &colour.Lab{L: 90, A: 0, B: 3}, s.Deposit)
	assert.Equal(t, 0.25, s.Opacity)
	assert.Equal(t, ChartFrom2014, s.ChartMade)
	assert.Equal(t, &Cleaning{M2PerHour: 1.2, CostPerHour: 45, SetupHours: 1, TileEach: 60, Currency: "EUR"}, s.Cleaning)
	assert.Equal(t, &Record{From: "2016-01-01", To: "2024-06-30", Source: "works department file"}, s.Record)
	assert.Equal(t, []Clock{{Camera: "MODEL", From: time.Date(2021, 5, 1, 0, 0, 0, 0, time.UTC), Add: 365 * 24 * time.Hour},
		{Camera: "OLD", Add: -90 * time.Minute}}, s.Clock)
	assert.Equal(t, Limits{MaxMpx: 50, MaxMB: 100}, s.Limits)
	assert.Equal(t, Report{Language: "en", Units: "us"}, s.Report)
	require.Len(t, s.Palette, 1)
	assert.InDelta(t, 50, s.Palette[0].Lab.L, 1e-4, "a grey stays the same grey under another white")
	assert.Equal(t, []ArchiveRow{
		{Photo: "photos/2021/a.jpg", Taken: DateRange{"1998-01-01", "2001-12-31"}, Basis: "back of the print", Kind: "print", View: "010", By: "AB", Line: 2},
		{Photo: "photos/b.jpg", Taken: DateRange{"1998-06-01", "1998-06-30"}, Line: 3},
	}, s.Archive)
	assert.Equal(t, []UpkeepRow{
		{Date: "2021-03-04", Until: "2021-03-05", Zone: "left", Work: "brushed", Kind: "clean", Doc: "documents/letter.pdf", Line: 2},
		{Date: "1998-01-01", Until: "1998-12-31", Work: "water; off", Kind: "water_off", Line: 3},
	}, s.Upkeep)
	assert.Equal(t, []CorrectionRow{{View: "010", Tile: "t1", Visit: "2021-03-04", State: "present", By: "AB", Why: "seen on site", Line: 2}}, s.Corrections)
	require.Len(t, s.Points, 6)
	assert.Equal(t, PointRow{Photo: "photos/b.jpg", X: 1.5, Y: 2, View: "010", RefX: 3.25, RefY: -40, Line: 2}, s.Points[0])
	assert.Equal(t, PointRow{Photo: "photos/b.jpg", X: 7.5, Y: 2, View: "010", RefX: 3, RefY: 4, Line: 7}, s.Points[5])
	assert.Equal(t, []string{"archive.csv", "colours/p.csv", "corrections.csv", "documents/letter.pdf", "points.csv",
		"reference/step-1.jpg", "regions/step-1.svg", "survey.yaml", "upkeep.csv"}, s.Inputs)
	assert.Equal(t, []string{`upkeep.csv:1: column "invoice" is not read (known are date,zone,work,note,until,kind,doc)`}, s.Notes)
}

func TestLoadDefaults(t *testing.T) {
	files := plain(t, map[string]string{
		"survey.yaml": "site: M\nviews: [{id: v, reference: reference/step-1.jpg}]",
		"palette.csv": "glaze,L,a,b\nslate,50,1,2\n",
	})
	s, err := Load(folderOf(t, files))
	require.NoError(t, err)
	assert.Equal(t, 0.20, s.Opacity)
	assert.Equal(t, []string{"photos"}, s.Photos)
	assert.Equal(t, Limits{MaxMpx: 120, MaxMB: 200}, s.Limits)
	assert.Equal(t, Report{Language: "en", Units: "metric"}, s.Report)
	assert.Equal(t, []Glaze{{"slate", colour.Lab{L: 50, A: 1, B: 2}}}, s.Palette, "palette.csv is used unasked, as D65")
	assert.Nil(t, s.Deposit)
}

func TestLoadRefusals(t *testing.T) {
	views := "site: M\nviews:\n"
	view := "  - {id: %, reference: reference/step-1.jpg}\n"
	ids := func(list ...string) string {
		out := views
		for _, id := range list {
			out += strings.Replace(view, "%", id, 1)
		}
		return out
	}
	regions := func(inside string) string {
		return `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 200 100">` + "\n" + inside + "\n</svg>"
	}
	zone := `<rect class="zone" id="left" x="10" y="10" width="80" height="80"/>`
	for _, c := range []struct {
		name    string
		changed map[string]string
		want    []string // beginnings of the mistakes, all of them in order
	}{
		{"empty settings", map[string]string{"survey.yaml": ""}, []string{"survey.yaml: empty: at least `site:` and `views:`"}},
		{"not a mapping", map[string]string{"survey.yaml": "- a\n"}, []string{"survey.yaml:1:1: survey.yaml is a list"}},
		{"not YAML", map[string]string{"survey.yaml": "site: [a\nviews: }"}, []string{"survey.yaml:"}},
		{"key twice", map[string]string{"survey.yaml": plainSettings + "site: B\n"}, []string{"survey.yaml:6:1: this key stands here for the second time"}},
		{"unknown keys, all told", map[string]string{"survey.yaml": plainSettings + "coverage: 0.2\nraport: {unit: us}\n"}, []string{
			"survey.yaml:6:1: unknown key \"coverage\" in survey.yaml: known are", "survey.yaml:7:1: unknown key \"raport\" in survey.yaml (did you mean `report`?)"}},
		{"nothing in it", map[string]string{"survey.yaml": "photos: []\n"}, []string{"survey.yaml:1:1: no `site:`", "survey.yaml:1:1: no `views:`"}},
		{"no views", map[string]string{"survey.yaml": "site: M\nviews: []\n"}, []string{"survey.yaml:2:8: `views:` is empty"}},
		{"wrong types", map[string]string{"survey.yaml": plainSettings +
			"    mm_per_px: wide\ncoverage_opacity: [1]\ndeposit: white\nlimits: {max_mpx: \"12\", max_mb: -3}\nphotos: photos\n"}, []string{
			"survey.yaml:6:16: `mm_per_px:` is the text \"wide\"", "survey.yaml:7:19: `coverage_opacity:` is a list",
			"survey.yaml:8:10: `deposit:` is a text", "survey.yaml:9:19: `max_mpx:` is the text \"12\"",
			"survey.yaml:9:33: `max_mb:` is -3: needed is a number from 0.01 to 4000", "survey.yaml:10:9: `photos:` is a text"}},
		{"chart of no known make", map[string]string{"survey.yaml": plainSettings + "chart: {made: 2015}\n"}, []string{
			"survey.yaml:6:15: `made:` of `chart:`"}},
		{"decimal comma", map[string]string{"survey.yaml": plainSettings + "coverage_opacity: 0,3\n"}, []string{
			"survey.yaml:6:19: `coverage_opacity:` is \"0,3\": numbers in this file have a decimal point, like 0.3"}},
		{"odd numbers", map[string]string{"survey.yaml": plainSettings + "deposit: {L: .inf, a: 0x10, b: true}\n"}, []string{
			"survey.yaml:6:14: `L:` of `deposit:` is not a finite number", "survey.yaml:6:23: `a:` of `deposit:` is \"0x10\"", "survey.yaml:6:32: `b:` of `deposit:` is yes or no"}},
		{"deposit incomplete", map[string]string{"survey.yaml": plainSettings + "deposit: {L: 90}\n"}, []string{
			"survey.yaml:6:11: `deposit:` has no `a:`", "survey.yaml:6:11: `deposit:` has no `b:`"}},
		{"ids twice", map[string]string{"survey.yaml": ids("a", "b", "a")}, []string{"survey.yaml:5:10: view id \"a\" is used twice (also in line 3)"}},
		{"ids by case", map[string]string{"survey.yaml": ids("step", "Step")}, []string{"survey.yaml:4:10: view ids \"Step\" and \"step\" (line 3) differ only by case"}},
		{"id characters", map[string]string{"survey.yaml": ids("a/b", "\"a b\"", "très", "con")}, []string{
			"survey.yaml:3:10: id \"a/b\" holds '/'", "survey.yaml:4:10: id \"a b\" holds ' '", "survey.yaml:5:10: id \"très\" holds 'è'", "survey.yaml:6:10: id \"con\" can't name a file"}},
		{"id absent or empty", map[string]string{"survey.yaml": views + "  - reference: reference/step-1.jpg\n  - id:\n    reference: reference/step-1.jpg\n"}, []string{
			"survey.yaml:3:5: a view without `id:`", "survey.yaml:4:8: `id:` of a view is empty"}},
		{"reference absent", map[string]string{"survey.yaml": "site: M\nviews: [{id: a}]"}, []string{"survey.yaml:2:10: a view without `reference:`"}},
		{"files not there", map[string]string{"survey.yaml": "site: M\nviews: [{id: a, reference: reference/x.jpg, regions: regions/STEP-1.svg, baseline: photos/2021}]\nphotos: [pictures]\npalette: {file: p.csv}\n"}, []string{
			"survey.yaml:2:28: \"reference/x.jpg\" is not there", "survey.yaml:2:54: \"regions/STEP-1.svg\" is not there, but regions/step-1.svg is",
			"survey.yaml:2:84: \"photos/2021\" is a folder", "survey.yaml:3:10: \"pictures\" is not there", "survey.yaml:4:17: \"p.csv\" is not there"}},
		{"paths outside", map[string]string{"survey.yaml": "site: M\nviews: [{id: a, reference: ../x.jpg, regions: /etc/x.svg, baseline: 'C:\\x.jpg'}]\n"}, []string{
			"survey.yaml:2:28: `reference:` is \"../x.jpg\", outside the survey folder", "survey.yaml:2:47: `regions:` is \"/etc/x.svg\": a path from the survey folder",
			"survey.yaml:2:69: `baseline:` is \"C:\\\\x.jpg\": a path from"}},
		{"words", map[string]string{"survey.yaml": plainSettings + "palette: {white: D55}\nreport: {language: xx, units: inches}\n"}, []string{
			"survey.yaml:6:18: `white:` is \"D55\": needed is D50 or D65", "survey.yaml:7:20: `language:` is \"xx\"", "survey.yaml:7:31: `units:` is \"inches\": needed is metric or us"}},
		{"clock", map[string]string{"survey.yaml": plainSettings + "clock: [{camera: A, add: 3 weeks}, {add: 1d}, {camera: B}]\n"}, []string{
			"survey.yaml:6:26: `add:` \"3 weeks\" is no length of time", "survey.yaml:6:37: an entry of `clock:` without `camera:`", "survey.yaml:6:48: an entry of `clock:` without `add:`"}},
		{"record backwards", map[string]string{"survey.yaml": plainSettings + "upkeep_record: {from: 2020, to: 2019}\n"}, []string{"survey.yaml:6:33: `upkeep_record:` ends (2019-12-31) before"}},
		{"references in YAML", map[string]string{"survey.yaml": "site: &s M\nviews: *s\n"}, []string{"survey.yaml:2:"}},
		{"two documents", map[string]string{"survey.yaml": plainSettings + "---\nsite: B\n"}, []string{"survey.yaml:7:1: a second document"}},

		{"photo folders in each other", map[string]string{"survey.yaml": plainSettings + "photos: [photos/2021, photos, photos]\n"}, []string{
			"survey.yaml:6:10: \"photos/2021\" lies in \"photos\"", "survey.yaml:6:31: \"photos\" lies in \"photos\""}},
		{"not UTF-8", map[string]string{"survey.yaml": "site: M\xfchle\n"}, []string{"survey.yaml: not written in UTF-8"}},
		{"compressed SVG", map[string]string{"regions/step-1.svg": "\x1f\x8b\x08"}, []string{"regions/step-1.svg: compressed: save it as plain SVG"}},

		{"viewBox of another size", map[string]string{"regions/step-1.svg": strings.Replace(plainRegions, "200 100", "400 200", 1)}, []string{
			"regions/step-1.svg:1:1: viewBox is 0 0 400 200, but reference/step-1.jpg has 200 × 100 px: same shape, other size"}},
		{"viewBox turned", map[string]string{"reference/step-1.jpg": turned(photoOf(t, 200, 100), 6)}, []string{
			"regions/step-1.svg:1:1: viewBox is 0 0 200 100, but reference/step-1.jpg has 100 × 200 px: it was drawn over the photo turned"}},
		{"no viewBox", map[string]string{"regions/step-1.svg": `<svg xmlns="http://www.w3.org/2000/svg"></svg>`}, []string{"regions/step-1.svg:1:1: the drawing has no viewBox"}},
		{"viewBox elsewhere", map[string]string{"regions/step-1.svg": `<svg viewBox="5 0 200 100"></svg>`}, []string{"regions/step-1.svg:1:1: viewBox is \"5 0 200 100\", it does not begin at 0 0"}},
		{"not SVG", map[string]string{"regions/step-1.svg": `<html/>`}, []string{"regions/step-1.svg:1:1: the file begins with <html>"}},
		{"broken SVG", map[string]string{"regions/step-1.svg": "<svg viewBox=\"0 0 200 100\">\n<g>\n</svg>"}, []string{"regions/step-1.svg:3:7: not readable as SVG"}},
		{"entities", map[string]string{"regions/step-1.svg": "<!DOCTYPE svg [<!ENTITY a \"b\">]>\n<svg viewBox=\"0 0 200 100\" id=\"&a;\"/>"}, []string{"regions/step-1.svg:2:"}},
		{"empty SVG file", map[string]string{"regions/step-1.svg": ""}, []string{"regions/step-1.svg: not an SVG drawing"}},
		{"other encoding", map[string]string{"regions/step-1.svg": `<?xml version="1.0" encoding="latin1"?><svg viewBox="0 0 200 100"/>`}, []string{"regions/step-1.svg:1:"}},
		{"zone ids", map[string]string{"regions/step-1.svg": regions(zone + "\n" + strings.Replace(zone, "left", "LEFT", 1) + "\n" + strings.Replace(zone, "left", "l.1", 1))}, []string{
			"regions/step-1.svg:3:1: <rect id=\"LEFT\" class=\"zone\"> ids \"LEFT\" and \"left\" (line 2) differ only by case", "regions/step-1.svg:4:1: <rect id=\"l.1\" class=\"zone\"> id \"l.1\" holds '.'"}},
		{"zone outside", map[string]string{"regions/step-1.svg": regions(`<rect class="zone" id="z" x="201" y="10" width="80" height="80"/>`)}, []string{
			"regions/step-1.svg:2:1: <rect id=\"z\" class=\"zone\"> lies outside the picture (x 200 to 280"}},
		{"no area", map[string]string{"regions/step-1.svg": regions(`<line class="zone" id="z" x1="20" x2="90"/><path class="tile" d="M 1 1 L 5 5"/>`)}, []string{
			"regions/step-1.svg:2:1: <line id=\"z\" class=\"zone\"> encloses less than 1 px²", "regions/step-1.svg:2:44: <path id=\"\" class=\"tile\"> encloses"}},
		{"corners in the wrong order", map[string]string{"regions/step-1.svg": regions(`<polygon class="zone" id="z" points="0,0 90,80 90,0 0,70"/>`)}, []string{
			"regions/step-1.svg:2:1: <polygon id=\"z\" class=\"zone\"> crosses itself: set its 4 corners in order"}},
		{"misspelled class", map[string]string{"regions/step-1.svg": regions(`<rect class="zones" width="9" height="9"/><rect class="Tile" width="9" height="9"/>`)}, []string{
			"regions/step-1.svg:2:1: <rect id=\"\"> has class \"zones\": did you mean \"zone\"?", "regions/step-1.svg:2:43: <rect id=\"\"> has class \"Tile\": did you mean \"tile\"?"}},
		{"two classes", map[string]string{"regions/step-1.svg": regions(`<rect class="zone tile" width="9" height="9"/>`)}, []string{"regions/step-1.svg:2:1: <rect id=\"\"> has the classes zone and tile"}},
		{"clone", map[string]string{"regions/step-1.svg": regions(`<g class="tile"><use id="c" href="#a"/></g>`)}, []string{"regions/step-1.svg:2:17: <use id=\"c\"> of class tile is not read"}},
		{"bad path", map[string]string{"regions/step-1.svg": regions(`<path class="zone" id="z" d="M 1 2 L 3"/>`)}, []string{"regions/step-1.svg:2:1: <path id=\"z\">: a number is missing at its end"}},
		{"bad transform", map[string]string{"regions/step-1.svg": regions(`<g transform="turn(3)">` + zone + `</g>`)}, []string{"regions/step-1.svg:2:1: <g id=\"\">: transform \"turn\" with 1 numbers"}},
		{"bad unit", map[string]string{"regions/step-1.svg": regions(`<rect class="zone" width="9mm" height="9"/>`)}, []string{"regions/step-1.svg:2:1: <rect id=\"\">: width: \"9mm\" is no number of pixels"}},
		{"moved by style", map[string]string{"regions/step-1.svg": regions(`<g style="transform: translate(3px)">` + zone + `</g>`)}, []string{"regions/step-1.svg:2:1: <g id=\"\"> is moved by a transform in its style"}},
		{"lengths", map[string]string{"regions/step-1.svg": regions(zone + `<line class="length" id="long" x1="1" y1="1" x2="90" y2="1"/><path class="length" id="1m" d="M1 1 30 30 60 1"/><line class="length" id="2m" x2="3"/><line class="length" id="2m-2" x2="300"/>`)}, []string{
			"regions/step-1.svg:2:68: <line id=\"long\" class=\"length\"> \"long\" is no length", "regions/step-1.svg:2:129: <path id=\"1m\" class=\"length\"> is no line of two points",
			"regions/step-1.svg:2:179: <line id=\"2m\" class=\"length\"> is shorter than 10 px", "regions/step-1.svg:2:216: <line id=\"2m-2\" class=\"length\"> ends outside the picture"}},
		{"chart and glaze", map[string]string{"regions/step-1.svg": regions(`<polygon class="chart" points="1,1 50,1 20,20"/><rect class="glaze" width="9" height="9"/>`)}, []string{
			"regions/step-1.svg:2:1: <polygon id=\"\" class=\"chart\"> has not four corners", "regions/step-1.svg:2:49: <rect id=\"\" class=\"glaze\"> has no id"}},

		{"ambiguous dates", map[string]string{"upkeep.csv": "date,work\n03/04/2021,x\n25.12.2020,x\n2021/03/04,x\n44259,x\n,x\n2021-02-30,x\n"}, []string{
			"upkeep.csv:2:1: date: \"03/04/2021\" is ambiguous: write 2021-04-03 or 2021-03-04", "upkeep.csv:3:1: date: \"25.12.2020\" is not in the order year-month-day: write 2020-12-25",
			"upkeep.csv:4:1: date: \"2021/03/04\" is not clear", "upkeep.csv:5:1: date: \"44259\" is a spreadsheet's day number", "upkeep.csv:6:1: date: empty", "upkeep.csv:7:1: date: \"2021-02-30\" is no day of the calendar"}},
		{"upkeep words", map[string]string{"upkeep.csv": "date,zone,kind,doc,until\n2021-01-01,lefd,polish,bill.pdf,2020-01-01\n2021-01-01,,,../x,\n"}, []string{
			"upkeep.csv:2:12: zone: \"lefd\" is no zone of this survey (did you mean \"left\"?)", "upkeep.csv:2:17: kind: \"polish\": needed is clean, repair",
			"upkeep.csv:2:24: doc: \"documents/bill.pdf\" is not there", "upkeep.csv:2:33: until: 2020-01-01 lies before", "upkeep.csv:3:14: doc: is \"../x\", outside"}},
		{"columns", map[string]string{"upkeep.csv": "date,date,wrk\n2021-01-01,2021-01-01,x\n", "archive.csv": "taken\n1998\n"}, []string{
			"archive.csv:1:1: column \"photo\" is missing", "upkeep.csv:1:6: column \"date\" stands here twice", "upkeep.csv:1:11: unknown column \"wrk\": did you mean \"work\"?"}},
		{"too many cells", map[string]string{"upkeep.csv": "date,work\n2021-01-01,brushed, rinsed\n"}, []string{"upkeep.csv:2:20: cell \"rinsed\" lies right of the last column"}},
		{"quotation marks", map[string]string{"upkeep.csv": "date,work\n2021-01-01,\"a\"b\n"}, []string{"upkeep.csv:2:"}},
		{"empty table", map[string]string{"upkeep.csv": "\n\n"}, []string{"upkeep.csv: empty: a first row"}},
		{"a table that is none", map[string]string{"upkeep.csv": "PK\x03\x04\x00\x00"}, []string{"upkeep.csv: not a text file"}},
		{"archive", map[string]string{"archive.csv": "photo,kind,view\nphotos/b.jpg,film,step-2\nb.jpg,,\nnone.jpg,,\n"}, []string{
			"archive.csv:2:14: kind: \"film\": needed is digital, print, slide or copy", "archive.csv:2:19: view: \"step-2\" is no view", "archive.csv:3:1: photo: \"photos/b.jpg\" stands in line 2 too",
			"archive.csv:4:1: photo: \"none.jpg\" is not there"}},
		{"corrections", map[string]string{"corrections.csv": "view,tile,visit,state\nstep-1,t9,2021,gone\n,t1,2021-03-04,\n"}, []string{
			"corrections.csv:2:8: tile: \"t9\" is no tile of view step-1", "corrections.csv:2:11: visit: \"2021\" is not a single day", "corrections.csv:2:16: state: \"gone\": needed is present",
			"corrections.csv:3:16: state: empty"}},
		{"corrections that disagree", map[string]string{"corrections.csv": "view,tile,visit,state\nstep-1,t1,2021-03-04,missing\n,t1,2021-3-4,present\n,t1,2021-03-05,present\n"}, []string{
			"corrections.csv:3:14: state: present, but line 2 says missing of the same tile and visit"}},
		{"points", map[string]string{"points.csv": "photo,x,y,view,ref_x,ref_y\nb.jpg,1,2,step-1,3,4\nb.jpg,one,2,step-1,\"1.234,5\",\n"}, []string{
			"points.csv:2:1: photo: \"photos/b.jpg\" has 1 pairs in view step-1: at least 6", "points.csv:3:7: x: \"one\" is no number", "points.csv:3:20: ref_x: \"1.234,5\": write numbers without separated thousands",
			"points.csv:3:30: ref_y: empty"}},
		{"palette", map[string]string{"palette.csv": "glaze,L,a,b\nslate,150,0,0\nSlate,50,0,0\nslate,,0,0\n"}, []string{
			"palette.csv:2:7: L: 150 is not between 0 and 100", "palette.csv:3:1: glaze: ids \"Slate\" and \"slate\" (line 2) differ only by case", "palette.csv:4:1: glaze: id \"slate\" is used twice", "palette.csv:4:7: L: empty"}},
		{"several files at once", map[string]string{"survey.yaml": plainSettings + "sites: 2\n", "upkeep.csv": "date\n1/2/2021\n", "regions/step-1.svg": "<svg/>"}, []string{
			"survey.yaml:6:1: unknown key \"sites\"", "regions/step-1.svg:1:1: the drawing has no viewBox", "upkeep.csv:2:1: date"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			s, err := Load(folderOf(t, plain(t, c.changed)))
			assert.Nil(t, s)
			var m Mistakes
			require.ErrorAs(t, err, &m)
			got := strings.Split(m.Error(), "\n")
			if !assert.Len(t, got, len(c.want), "%s", m) {
				return
			}
			for i := range got {
				assert.True(t, strings.HasPrefix(got[i], c.want[i]), "got  %s\nwant %s", got[i], c.want[i])
			}
		})
	}
}

func TestLoadWithoutFolderOrSettings(t *testing.T) {
	dir := t.TempDir()
	_, err := Load(filepath.Join(dir, "none"))
	assert.ErrorContains(t, err, "is no folder")
	_, err = Load(dir)
	assert.ErrorContains(t, err, "survey.yaml: not there: every survey folder needs one")
	require.NoError(t, os.WriteFile(filepath.Join(dir, "survey.yml"), nil, 0o644))
	_, err = Load(dir)
	assert.ErrorContains(t, err, "survey.yml is: rename it")
}

func TestLoadFollowsNoLinks(t *testing.T) {
	dir := folderOf(t, plain(t, nil))
	outside := folderOf(t, map[string]string{"photos/x.jpg": "x", "r.jpg": photoOf(t, 200, 100)})
	require.NoError(t, os.RemoveAll(filepath.Join(dir, "photos")))
	require.NoError(t, os.Symlink(filepath.Join(outside, "photos"), filepath.Join(dir, "photos")))
	require.NoError(t, os.Remove(filepath.Join(dir, "reference/step-1.jpg")))
	require.NoError(t, os.Symlink(filepath.Join(outside, "r.jpg"), filepath.Join(dir, "reference/step-1.jpg")))
	_, err := Load(dir)
	assert.ErrorContains(t, err, `survey.yaml:4:16: "reference/step-1.jpg" is or lies behind a link`)
	assert.ErrorContains(t, err, "photos: is or lies behind a link")

	whole := filepath.Join(t.TempDir(), "link") // the survey folder itself may be named by a link
	require.NoError(t, os.Symlink(folderOf(t, plain(t, nil)), whole))
	_, err = Load(whole)
	assert.NoError(t, err)
}

func TestLoadIsTheSameEveryTime(t *testing.T) {
	dir := folderOf(t, plain(t, map[string]string{"upkeep.csv": "date,zone,own\n2021,left,1\n", "survey.yaml": plainSettings + "x: 1\ny: 2\n"}))
	_, first := Load(dir)
	for range 5 {
		_, err := Load(dir)
		assert.Equal(t, first.Error(), err.Error())
	}
}

func TestUprightSize(t *testing.T) {
	for o, want := range map[byte][2]int{1: {30, 20}, 3: {30, 20}, 4: {30, 20}, 5: {20, 30}, 6: {20, 30}, 7: {20, 30}, 8: {20, 30}} {
		name := filepath.Join(t.TempDir(), "a.jpg")
		require.NoError(t, os.WriteFile(name, []byte(turned(photoOf(t, 30, 20), o)), 0o644))
		w, h, err := UprightSize(name)
		require.NoError(t, err)
		assert.Equal(t, want, [2]int{w, h}, "orientation %d", o)
	}
	_, _, err := UprightSize(filepath.Join(t.TempDir(), "none.jpg"))
	assert.Error(t, err)
}
