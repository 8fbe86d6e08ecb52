// Package measure tells what changed on a tiled surface, from pictures in linear light on one frame:
//
//	NewView ─> Observe (each photo) ─> Solve (all photos of a view) ─> Read (each photo) ─> Close (all photos)
//
// Observe and Read see pixels of one photo each; Solve and Close see small records only, so a run may keep the records
// and drop the pixels. Nothing here uses the order of the visits, an upkeep record or an assumption of growth.
// All positions in Spec are reference px, pixel centres at whole numbers.
package measure

import (
	"tilelapse/measure/chart"
	"tilelapse/measure/colour"
	"tilelapse/measure/plane"
)

// Method names the measuring method in records and run.json; it is raised by hand whenever figures may change.
const Method = "5"

// Glaze is one glaze of a palette: its name and its CIELAB colour under D65.
type Glaze struct {
	Name string     `json:"name"`
	Lab  colour.Lab `json:"lab"`
}

// Spec says what is to be measured in a view.
type Spec struct {
	Frame    plane.Frame
	Zones    []plane.Region // areas to report on; a tile belongs to the zone that holds its centroid
	Tiles    []plane.Region // outlines, given or found
	Controls []plane.Region // stable, without glaze
	Deposits []plane.Region // samples of pure, thick scale
	Scaled   []plane.Region // whitened already in the reference
	Gaps     []plane.Region // tiles gone already in the reference
	Ignore   []plane.Region // never measured
	Deposit  *colour.Lab    // colour of the local scale under D65, nil = from Deposits, else estimated
	Palette  []Glaze        // intended glazes, may be empty
	Chart    *chart.Fit     // colour chart in the reference photo, nil = none that can be trusted
	Opacity  float64        // a spot counts as whitened from this opacity on, (0,1]; 0 = 0.20
}

// Photo is what is known of a photo besides its pixels.
type Photo struct {
	Key       string  `json:"key"`        // unique, sorts the photos
	Visit     string  `json:"visit"`      // ISO date; photos of one visit share it
	Kind      string  `json:"kind"`       // digital, print, slide or copy: only digital photos give colour
	AlignRMS  float64 `json:"align_rms"`  // reference px
	PxPerRef  float64 `json:"px_per_ref"` // photo px a reference px: below 1 the photo is coarser than the reference
	Sharpness float64 `json:"sharpness"`  // variance of the Laplacian over the reference's, 1 = as sharp
}

// State of a tile in a photo.
type State string

// The states a tile may have in a photo (contract words).
const (
	Present    State = "present"
	Missing    State = "missing"
	OffPalette State = "offpalette"
	Hidden     State = "hidden"
	Unreadable State = "unreadable"
	OutOfFrame State = "outside"
)

// ColourBasis says what the light was cancelled with.
type ColourBasis string

// The bases, best first (contract words).
const (
	BasisChart   ColourBasis = "chart"
	BasisControl ColourBasis = "control"
	BasisSurface ColourBasis = "surface"
	BasisNone    ColourBasis = "none"
)

// Codes of an opacity plane: 0..OpacityMax is opacity in steps of 1/OpacityMax; above it why there is none.
const (
	OpacityMax   = 200
	PixGap       = 251 // bed of a missing tile
	PixOther     = 252 // neither glaze nor scale
	PixHidden    = 253 // something stands in front
	PixUnread    = 254 // glare, shadow, clipping, out of frame
	PixElsewhere = 255 // not counted: joints, rims of tiles, surroundings
)

// TileResult is a tile in one photo. NaN = not measured.
type TileResult struct {
	Tile        int // index into Spec.Tiles
	State       State
	ScalePct    float64 // share of the tile's readable area with opacity >= Spec.Opacity, percent
	OpacityPct  float64 // mean opacity there, percent
	ReadablePct float64 // share of the tile's area that was read, percent
	DriftDE00   float64 // CIEDE2000 of its unwhitened glaze now and in the baseline
	DL, DA, DB  float64 // signed CIELAB differences, now minus baseline
	Glaze       string  // palette glaze or cluster name, "" = unknown
	PaletteDE00 float64 // to the intended glaze; NaN unless the basis is a chart
	PaletteLo   float64 // 95 % interval of it: the chart's misfit and the light's level
	PaletteHi   float64
	Confidence  float64 // of State, 0..1
	Reason      string  // for State, short words
	ReadPx      float64 // measuring px read
	ScaledPx    float64 // of them whitened
	OpacitySum  float64
	GlazeNow    [3]float64 // linear light of its unwhitened glaze now, light cancelled; NaN = unknown
	ChartNow    [3]float64 // the same as a colour by chart, linear sRGB D65; NaN without charts
}

// ZoneResult is a zone in one photo. NaN = not measured.
type ZoneResult struct {
	Zone                             int // index into Spec.Zones
	ReadablePct, HiddenPct, OtherPct float64
	AreaPx                           float64 // tile area of the zone, reference px
	ScalePct, ScaleLo, ScaleHi       float64
	Scale10Pct, Scale40Pct           float64 // the same at opacity 0.10 and 0.40
	OpacityPct                       float64
	DriftDE00, DriftLo, DriftHi      float64
	DL, DA, DB                       float64
	TilesTotal, TilesRead            int
	TilesMissing, TilesOff           int
	GapPct                           float64
	ScaledOrLostPct                  float64
	ScaleDetectable, DriftDetectable float64
	Basis                            ColourBasis
	Notes                            []string
}

// Comparison is a zone in two photos, on the tiles read in both.
type Comparison struct {
	Zone                int
	CommonTiles         int
	CommonPct           float64 // of the zone's tile area
	ScaleChange, Lo, Hi float64 // percentage points, NaN under half in common
	DriftDE00           float64
	Lost, Found         int // tiles present before and missing now, and the reverse
}

// PhotoResult is all that is told of one photo.
type PhotoResult struct {
	Zones []ZoneResult // in the order of Spec.Zones
	Tiles []TileResult // in the order of Spec.Tiles; only tiles of zones
	Basis ColourBasis
	Notes []string

	chart *charted // nil = colours are not by chart
	light float64  // standard error of drift that all its tiles have in common, CIELAB units
}
