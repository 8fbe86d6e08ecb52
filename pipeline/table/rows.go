// Package table writes and reads the CSV files of the output folder. Each row type is one file's row; fields stand in
// column order. NaN, "" and nil are empty cells.
package table

// Photo is a row of photos.csv.
type Photo struct {
	Photo      string  `csv:"photo"`
	SHA256     string  `csv:"sha256"`
	Visit      string  `csv:"visit"`
	DateSource string  `csv:"date_source"`
	View       string  `csv:"view"`
	Status     string  `csv:"status"` // used, spare or rejected
	Reason     string  `csv:"reason"`
	Inliers    float64 `csv:"inliers,0"`
	OverlapPct float64 `csv:"overlap_pct,1"`
	AlignRMSPx float64 `csv:"align_rms_px,2"`
	Sharpness  float64 `csv:"sharpness,2"`
	ClippedPct float64 `csv:"clipped_pct,2"`
	Kind       string  `csv:"kind"`
	TakenFrom  string  `csv:"taken_from"`
	TakenTo    string  `csv:"taken_to"`
	AlignBasis string  `csv:"align_basis"`
	PxPerTile  float64 `csv:"px_per_tile,0"`
	Combined   string  `csv:"combined_with"`
	Notes      string  `csv:"notes"`
	Camera     string  `csv:"camera"`
	Lens       string  `csv:"lens"`
	FocalMM    float64 `csv:"focal_mm,1"`
	ExposureS  float64 `csv:"exposure_s,6"`
	ISO        float64 `csv:"iso,0"`
	Colour     string  `csv:"colour_profile"`
	FNumber    float64 `csv:"f_number,1"`
	CameraTime string  `csv:"camera_time"` // as the camera wrote it, local time, with its offset from UTC where told
}

// Mapping is a row of mappings.csv: pixel centres of the upright pictures.
type Mapping struct {
	Photo  string  `csv:"photo"`
	View   string  `csv:"view"`
	RefX   float64 `csv:"ref_x,3"`
	RefY   float64 `csv:"ref_y,3"`
	PhotoX float64 `csv:"photo_x,3"`
	PhotoY float64 `csv:"photo_y,3"`
}

// Zone is a row of zones.csv and series/VIEW/ZONE.csv.
type Zone struct {
	View            string  `csv:"view"`
	Zone            string  `csv:"zone"`
	Visit           string  `csv:"visit"`
	Photo           string  `csv:"photo"`
	ReadablePct     float64 `csv:"readable_pct,1"`
	AreaCm2         float64 `csv:"area_cm2,1"`
	ScalePct        float64 `csv:"scale_pct,2"`
	ScaleLo         float64 `csv:"scale_pct_lo,2"`
	ScaleHi         float64 `csv:"scale_pct_hi,2"`
	OpacityPct      float64 `csv:"scale_opacity_pct,2"`
	ScaleCm2        float64 `csv:"scale_cm2,1"`
	DriftDE00       float64 `csv:"drift_de00,2"`
	DriftLo         float64 `csv:"drift_de00_lo,2"`
	DriftHi         float64 `csv:"drift_de00_hi,2"`
	DriftDL         float64 `csv:"drift_dl,2"`
	DriftDA         float64 `csv:"drift_da,2"`
	DriftDB         float64 `csv:"drift_db,2"`
	TilesTotal      float64 `csv:"tiles_total,0"`
	TilesRead       float64 `csv:"tiles_read,0"`
	TilesMissing    float64 `csv:"tiles_missing,0"`
	TilesOffPalette float64 `csv:"tiles_offpalette,0"`
	GapPct          float64 `csv:"gap_pct,2"`
	GapCm2          float64 `csv:"gap_cm2,1"`
	AlignRMSPx      float64 `csv:"align_rms_px,2"`
	ColourBasis     string  `csv:"colour_basis"`
	ScaledOrLostPct float64 `csv:"scaled_or_lost_pct,2"`
	HiddenPct       float64 `csv:"hidden_pct,1"`
	OtherPct        float64 `csv:"other_pct,1"`
	ScaleDetectable float64 `csv:"scale_detectable,2"`
	DriftDetectable float64 `csv:"drift_detectable,2"`
	Notes           string  `csv:"notes"`
	Scale10Pct      float64 `csv:"scale_pct_at_10,2"`
	Scale40Pct      float64 `csv:"scale_pct_at_40,2"`
	MissingFinal    float64 `csv:"tiles_missing_final,0"` // after corrections.csv
	OffPaletteFinal float64 `csv:"tiles_offpalette_final,0"`
	AreaCm2Lo       float64 `csv:"area_cm2_lo,1"` // 95 % interval of area_cm2
	AreaCm2Hi       float64 `csv:"area_cm2_hi,1"`
	AreaBasis       string  `csv:"area_basis"` // length lines, few length lines or mm_per_px (the last two approximate), none
}

// Compare is a row of compare.csv.
type Compare struct {
	View        string  `csv:"view"`
	Zone        string  `csv:"zone"`
	Visit       string  `csv:"visit"`
	Against     string  `csv:"against"` // an earlier visit's date, or "baseline"
	CommonTiles float64 `csv:"common_tiles,0"`
	CommonPct   float64 `csv:"common_pct,1"`
	ScaleChange float64 `csv:"scale_change,2"`
	Lo          float64 `csv:"lo,2"`
	Hi          float64 `csv:"hi,2"`
	DriftDE00   float64 `csv:"drift_de00,2"`
	LostSince   float64 `csv:"lost_since,0"`
	FoundSince  float64 `csv:"found_since,0"`
}

// Tile is a row of tiles.csv.
type Tile struct {
	View        string  `csv:"view"`
	Zone        string  `csv:"zone"`
	Tile        string  `csv:"tile"`
	Visit       string  `csv:"visit"`
	X           float64 `csv:"x_px,1"`
	Y           float64 `csv:"y_px,1"`
	AreaPx      float64 `csv:"area_px,0"`
	State       string  `csv:"state"`
	ScalePct    float64 `csv:"scale_pct,2"`
	DriftDE00   float64 `csv:"drift_de00,2"`
	DL          float64 `csv:"dl,2"`
	DA          float64 `csv:"da,2"`
	DB          float64 `csv:"db,2"`
	Glaze       string  `csv:"glaze"`
	PaletteDE00 float64 `csv:"palette_de00,2"`
	Confidence  float64 `csv:"confidence,2"`
	StateFinal  string  `csv:"state_final"`
	Recorded    string  `csv:"recorded"`
	GapsBeside  float64 `csv:"gaps_beside,0"` // neighbouring tiles that are missing
	Why         string  `csv:"why"`
	PaletteLo   float64 `csv:"palette_de00_lo,2"`
	PaletteHi   float64 `csv:"palette_de00_hi,2"`
}

// Glaze is a row of glazes.csv.
type Glaze struct {
	Glaze       string  `csv:"glaze"`
	Visit       string  `csv:"visit"`
	View        string  `csv:"view"`
	Tiles       float64 `csv:"tiles,0"`
	DriftDE00   float64 `csv:"drift_de00,2"`
	Lo          float64 `csv:"lo,2"`
	Hi          float64 `csv:"hi,2"`
	DL          float64 `csv:"dl,2"`
	DA          float64 `csv:"da,2"`
	DB          float64 `csv:"db,2"`
	PaletteDE00 float64 `csv:"palette_de00,2"`
	RefL        float64 `csv:"ref_l,2"` // CIELAB D65 in the reference, by its chart, else as photographed
	RefA        float64 `csv:"ref_a,2"`
	RefB        float64 `csv:"ref_b,2"`
	PaletteLo   float64 `csv:"palette_de00_lo,2"`
	PaletteHi   float64 `csv:"palette_de00_hi,2"`
}

// Repeat is a row of repeat.csv: what the same surface gave twice on one visit.
type Repeat struct {
	View      string  `csv:"view"`
	Zone      string  `csv:"zone"`
	Visit     string  `csv:"visit"`
	PhotoA    string  `csv:"photo_a"`
	PhotoB    string  `csv:"photo_b"`
	ScaleA    float64 `csv:"scale_pct_a,2"`
	ScaleB    float64 `csv:"scale_pct_b,2"`
	ScaleDiff float64 `csv:"scale_difference,2"`
	DriftDE00 float64 `csv:"drift_de00_between,2"`
}

// Control is a row of controls.csv: what a control gave when left out of the light model.
type Control struct {
	View    string  `csv:"view"`
	Control string  `csv:"control"`
	Visit   string  `csv:"visit"`
	Photo   string  `csv:"photo"`
	DE00    float64 `csv:"de00,2"`
	DL      float64 `csv:"dl,2"`
	DA      float64 `csv:"da,2"`
	DB      float64 `csv:"db,2"`
	Note    string  `csv:"note"`
}

// Trend is a row of trends.csv; intervals.csv has the same columns.
type Trend struct {
	View         string  `csv:"view"`
	Zone         string  `csv:"zone"`
	Measure      string  `csv:"measure"` // scale_pct, drift_de00, tiles_missing …
	Visits       float64 `csv:"visits,0"`
	From         string  `csv:"from"`
	To           string  `csv:"to"`
	SlopePerYear float64 `csv:"slope_per_year,3"`
	Lo           float64 `csv:"lo,3"`
	Hi           float64 `csv:"hi,3"`
	PTrend       float64 `csv:"p_trend,4"`
	SameSeasonP  float64 `csv:"same_season_p,4"`
	Threshold    float64 `csv:"threshold,1"`
	ReachedOn    string  `csv:"reached_on"`
	ReachedLo    string  `csv:"reached_lo"`
	ReachedHi    string  `csv:"reached_hi"`
	Note         string  `csv:"note"`
}

// Priority is a row of priorities.csv.
type Priority struct {
	Order           float64 `csv:"order,0"`
	View            string  `csv:"view"`
	Zone            string  `csv:"zone"`
	ScaleCm2        float64 `csv:"scale_cm2,0"`
	ScaleCm2Lo      float64 `csv:"scale_cm2_lo,0"`
	ScaleCm2Hi      float64 `csv:"scale_cm2_hi,0"`
	GrowthCm2       float64 `csv:"growth_cm2_per_year,0"`
	TilesAtRisk     float64 `csv:"tiles_at_risk,0"`
	HoursLo         float64 `csv:"hours_lo,1"`
	HoursHi         float64 `csv:"hours_hi,1"`
	CostLo          float64 `csv:"cost_lo,0"`
	CostHi          float64 `csv:"cost_hi,0"`
	Currency        string  `csv:"currency"`
	SinceUpkeepDays float64 `csv:"since_upkeep_days,0"`
	Why             string  `csv:"why"`
}

// Set is every table of a run, rows sorted by key: what draw and report work from.
type Set struct {
	Photos     []Photo
	Zones      []Zone
	Compare    []Compare
	Tiles      []Tile
	Glazes     []Glaze
	Repeat     []Repeat
	Controls   []Control
	Trends     []Trend
	Intervals  []Trend
	Priorities []Priority
}
