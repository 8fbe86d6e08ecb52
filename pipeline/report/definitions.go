package report

import "tilelapse/pipeline/report/words"

// defined lists, by sheet, the columns the workbook explains, in order; "all" = those of every sheet. Their meaning stands
// in the words as def.SHEET.COLUMN.
var defined = []struct {
	sheet   string
	columns []string
}{
	{"all", []string{
		"view", "zone", "visit", "photo", "notes", "empty",
	}},
	{"photos", []string{
		"sha256", "date_source", "status", "reason", "inliers", "overlap_pct", "align_rms_px", "sharpness",
		"clipped_pct", "kind", "taken_from", "taken_to", "align_basis", "px_per_tile", "combined_with", "camera",
		"lens", "focal_mm", "exposure_s", "iso", "colour_profile", "f_number", "camera_time",
	}},
	{"zones", []string{
		"readable_pct", "area_cm2", "area_cm2_lo", "area_cm2_hi", "area_basis", "scale_pct", "scale_pct_lo",
		"scale_pct_hi", "scale_opacity_pct", "scale_cm2", "drift_de00", "drift_de00_lo", "drift_de00_hi",
		"drift_dl", "drift_da", "drift_db", "tiles_total", "tiles_read", "tiles_missing", "tiles_offpalette",
		"gap_pct", "gap_cm2", "align_rms_px", "colour_basis", "scaled_or_lost_pct", "hidden_pct", "other_pct",
		"scale_detectable", "drift_detectable", "scale_pct_at_10", "scale_pct_at_40", "tiles_missing_final",
		"tiles_offpalette_final",
	}},
	{"tiles", []string{
		"tile", "x_px", "y_px", "area_px", "state", "scale_pct", "drift_de00", "dl", "da", "db", "glaze",
		"palette_de00", "confidence", "state_final", "recorded", "gaps_beside", "why",
		"palette_de00_lo", "palette_de00_hi",
	}},
	{"compare", []string{
		"against", "common_tiles", "common_pct", "scale_change", "lo", "hi", "drift_de00", "lost_since",
		"found_since",
	}},
	{"glazes", []string{
		"glaze", "tiles", "drift_de00", "lo", "hi", "dl", "da", "db", "palette_de00", "ref_l", "ref_a", "ref_b",
		"palette_de00_lo", "palette_de00_hi",
	}},
	{"trends", []string{
		"measure", "visits", "from", "to", "slope_per_year", "lo", "hi", "p_trend", "same_season_p", "threshold",
		"reached_on", "reached_lo", "reached_hi", "note",
	}},
	{"intervals", []string{
		"measure", "visits", "from", "to", "slope_per_year", "lo", "hi", "p_trend", "same_season_p", "threshold",
		"reached_on", "reached_lo", "reached_hi", "note",
	}},
	{"priorities", []string{
		"order", "scale_cm2", "scale_cm2_lo", "scale_cm2_hi", "growth_cm2_per_year", "tiles_at_risk", "hours_lo",
		"hours_hi", "cost_lo", "cost_hi", "currency", "since_upkeep_days", "why",
	}},
	{"repeat", []string{
		"photo_a", "photo_b", "scale_pct_a", "scale_pct_b", "scale_difference", "drift_de00_between",
	}},
	{"controls", []string{
		"control", "de00", "dl", "da", "db", "note",
	}},
}

// definitions says what every column of the workbook means: sheet ("*" = every sheet), column, meaning.
func definitions(w words.Table) [][3]string {
	var rows [][3]string
	for _, d := range defined {
		sheet := d.sheet
		if sheet == "all" {
			sheet = "*"
		}
		for _, c := range d.columns {
			name := c
			if c == "empty" {
				name = w.Say("def.empty")
			}
			rows = append(rows, [3]string{sheet, name, w.Say("def." + d.sheet + "." + c)})
		}
	}
	return rows
}
