// Package report writes report.html, worksheet.html and tables.xlsx from the tables of a run. It computes no figure: it
// picks, words and draws what the tables hold. Everything that came from the user is escaped by html/template.
//
// All words stand in package words, so that another language is one more file there.
package report

import (
	"tilelapse/measure/associate"
	"tilelapse/measure/order"
	"tilelapse/measure/plane"
	"tilelapse/measure/trend"
	"tilelapse/pipeline/report/words"
	"tilelapse/pipeline/survey"
	"tilelapse/pipeline/table"
)

// Input is what the reports are written from.
type Input struct {
	Survey    *survey.Survey
	Words     words.Table // of the language to write in
	Version   string
	Set       *table.Set
	Views     []View
	Findings  []Finding
	FirstLast []table.Compare // every zone's latest reading against its first, on the tiles read in both
	Kinds     []string        // kind read from the words of each upkeep entry without one, in the order of Survey.Upkeep
	Else      Sensitivity     // what the same photographs say when asked otherwise
	Plan      order.Plan      // the cleaning order, its places in the order of Set.Priorities
	// Notes are the remarks on every row of Set.Trends, by view, zone and measure: told apart by code they need not be
	// repeated line by line.
	Notes     map[[3]string][]trend.Note
	Since     []string // of every place: when work was last recorded, in words
	Originals string   // SHA-256 of ORIGINALS.sha256
	Hashes    []Hash   // of every original
}

// View is a view with its pictures. Coordinates are px of the pictures' own frame before scaling, W x H.
type View struct {
	ID       string
	W, H     int
	Zones    []Zone
	Tiles    []Tile
	Pictures []Picture // by visit
	// NotPictured is how many visits have no picture here because there are too many (Shown).
	NotPictured int
	MMPerPx     float64 // of the W x H frame, 0 = unknown
	Area        string  // what areas in cm² stand on, in words; "" = no areas
	// TilesFound says that tile outlines were found in the reference photo, not drawn by a person.
	TilesFound bool
}

// Zone is a zone's name and outline.
type Zone struct {
	ID, Title string
	Rings     [][]plane.Point
}

// Tile is a tile's outline.
type Tile struct {
	ID, Zone string
	Ring     []plane.Point
}

// Picture is one visit's picture as JPEG bytes, already veiled (Veil).
type Picture struct {
	Visit string
	When  string // the visit, or the range of days it was taken in, as shown to people; "" = Visit
	JPEG  []byte
	W, H  int
}

// Finding is one test of the fixed list: a statement in plain words with its numbers and limits.
type Finding struct {
	words.Finding
	Made    bool // the test could be made
	Told    bool // it found a difference, after correction for the number of tests
	LeftOut LeftOut
	// Stay are the curves of how long tiles stayed, the others [0] and the more whitened at first [1]; of one test only.
	Stay [2]associate.Curve
}

// LeftOut says what leaving out each photo in turn did to a finding. NaN = not available.
type LeftOut struct {
	PLo, PHi             float64
	EffectLo, EffectHi   float64
	LoWithout, HiWithout string   // the photos left out at these ends
	Changes, NotMade     []string // photos without which the finding is another one, or the test can't be made
}

// Sensitivity is what the same photographs say when they are asked otherwise.
type Sensitivity struct {
	Slopes        []SlopeRange
	Baselines     []BaselineChange
	Prints        int // used photos that are prints, slides or copies
	WithoutPrints []Answer
}

// SlopeRange is a zone's growth of whitening, percentage points a year, with each visit left out in turn.
type SlopeRange struct {
	View, Zone            string
	Slope, Lo, Hi         float64 // with all visits, and its interval
	Least, Most           float64
	LeastWithout, Without string // the photos left out at these ends
}

// BaselineChange is a zone's latest figures counted from the survey's baseline and from another one.
type BaselineChange struct {
	View, Zone, Visit  string
	Baseline, Other    string  // their names, "" = the reference photo
	Drift, Lo, Hi      float64 // drift and its interval
	DriftOther         float64
	OtherLo, OtherHi   float64
	Off, OffOther      int // off-palette tiles
	Missing, MissOther int
}

// Answer is a question answered twice.
type Answer struct{ Question, With, Without string }

// Hash is a line of ORIGINALS.sha256.
type Hash struct{ Path, SHA256 string }
