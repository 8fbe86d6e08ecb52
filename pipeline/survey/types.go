// Package survey reads what the user writes: survey.yaml, the regions SVG and the CSV tables beside them, into plain
// structs. Every mistake is found before any work, all at once, with file, line and column.
package survey

import (
	"time"

	"tilelapse/measure/colour"
	"tilelapse/measure/plane"
)

// Survey is a survey folder as read. Paths are relative to Dir, with slashes.
type Survey struct {
	Dir     string
	Site    string
	Views   []View
	Photos  []string // folders of photos, default "photos"
	Palette []Glaze
	Deposit *colour.Lab // D65
	Opacity float64     // coverage_opacity, default 0.20

	ChartMade string // when the colour chart was made: ChartBefore2014, ChartFrom2014; "" = to be told by its colours

	Cleaning *Cleaning
	Record   *Record
	Clock    []Clock
	Limits   Limits
	Report   Report

	Archive     []ArchiveRow
	Upkeep      []UpkeepRow
	Corrections []CorrectionRow
	Points      []PointRow

	// Inputs are the files read, relative and sorted: survey.yaml, references, regions, CSVs, documents named in
	// upkeep.csv. Photos are not among them.
	Inputs []string

	Notes []string // what was passed over without harm, with its place
}

// When a colour chart was made: its maker changed the colours in November 2014.
const (
	ChartBefore2014 = "before-2014-11"
	ChartFrom2014   = "from-2014-11"
)

// View is one reference photo and the regions drawn over it.
type View struct {
	ID        string
	Reference string
	Regions   string   // "" = none: the whole view is one zone named like the view
	MMPerPx   float64  // at the reference photo's own size, 0 = unknown
	Baseline  string   // path of the photo change is counted from, "" = the reference photo
	Drawing   *Drawing // nil when Regions is ""
}

// Drawing is a regions SVG: shapes by class, in reference px (pixel centres: SVG user units minus 0.5).
type Drawing struct {
	W, H                                                                  float64 // viewBox
	Zones, Tiles, Controls, Deposits, Scaled, Gaps, Ignore, Glazes, Chart []Shape
	Lengths                                                               []Length
	Notes                                                                 []string // shapes passed over, and why
}

// Shape is a drawn region. Title is the shape's <title> or its id; ID is unique in its class, made up when absent.
type Shape struct {
	plane.Region
	Title     string
	Line, Col int
}

// Length is a line of known length on the surface.
type Length struct {
	A, B plane.Point
	MM   float64
}

// Glaze is a row of palette.csv, adapted to D65 when the survey names another white.
type Glaze struct {
	Name string
	Lab  colour.Lab
}

// Cleaning holds the user's rates; zero = not given.
type Cleaning struct {
	M2PerHour, CostPerHour, SetupHours, TileEach float64
	Currency                                     string
}

// Record says what period the upkeep file covers.
type Record struct {
	From, To string // "" = not given
	Source   string
}

// Clock corrects a camera's clock for photos taken from From on.
type Clock struct {
	Camera string
	From   time.Time
	Add    time.Duration
}

// Limits are refused before decoding, and named in the refusal.
type Limits struct {
	MaxMpx float64 // default 120
	MaxMB  float64 // default 200
}

// Report settings.
type Report struct {
	Language string // default en
	Units    string // metric or us, default metric
}

// DateRange is a day, month, year or span, both ends included, as ISO dates.
type DateRange struct{ From, To string }

// Exact reports whether the range is one day.
func (d DateRange) Exact() bool { return d.From == d.To }

// ArchiveRow is a row of archive.csv.
type ArchiveRow struct {
	Photo string
	Taken DateRange // zero = not given
	Basis string
	Kind  string // digital, print, slide, copy; "" = digital
	View  string
	By    string
	Note  string
	Line  int
}

// UpkeepRow is a row of upkeep.csv. Zone "" = everywhere.
type UpkeepRow struct {
	Date  string
	Until string // "" = one day
	Zone  string
	Work  string
	Note  string
	Kind  string // clean repair replace regrout water_off water_on cut_back inspect damage due asked answered; "" = not said
	Doc   string
	Line  int
}

// CorrectionRow is a person's reading of a tile.
type CorrectionRow struct {
	View, Tile, Visit, State, By, Why string
	Line                              int
}

// PointRow is a pair set by hand: photo px and reference px, pixel centres.
type PointRow struct {
	Photo      string
	X, Y       float64
	View       string
	RefX, RefY float64
	Line       int
}
