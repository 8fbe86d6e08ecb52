package pipeline

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"sort"
	"strings"

	"tilelapse/measure"
	"tilelapse/pipeline/survey"
	"tilelapse/pipeline/table"
)

var nan = math.NaN()

// tabulate fills the tables from the results, in key order.
func (r *run) tabulate(context.Context) error {
	r.set.Photos = r.photoRows()
	for _, v := range r.views {
		for i, p := range v.photos {
			if p.status == statusUsed {
				r.set.Zones = append(r.set.Zones, r.zoneRows(v, i)...)
				r.set.Tiles = append(r.set.Tiles, r.tileRows(v, i)...)
			}
		}
		r.set.Compare = append(r.set.Compare, r.compareRows(v)...)
		r.set.Repeat = append(r.set.Repeat, repeatRows(v)...)
		r.set.Controls = append(r.set.Controls, controlRows(v)...)
		r.set.Glazes = append(r.set.Glazes, r.glazeRows(v)...)
	}
	sort.SliceStable(r.set.Glazes, func(i, j int) bool {
		a, b := r.set.Glazes[i], r.set.Glazes[j]
		return less(a.Glaze, b.Glaze, a.Visit, b.Visit, a.View, b.View)
	})
	sort.SliceStable(r.set.Zones, func(i, j int) bool {
		a, b := r.set.Zones[i], r.set.Zones[j]
		return less(a.View, b.View, a.Zone, b.Zone, a.Visit, b.Visit)
	})
	sort.SliceStable(r.set.Tiles, func(i, j int) bool {
		a, b := r.set.Tiles[i], r.set.Tiles[j]
		return less(a.View, b.View, a.Zone, b.Zone, a.Tile, b.Tile, a.Visit, b.Visit)
	})
	sort.SliceStable(r.set.Compare, func(i, j int) bool {
		a, b := r.set.Compare[i], r.set.Compare[j]
		return less(a.View, b.View, a.Zone, b.Zone, a.Visit, b.Visit, a.Against, b.Against)
	})
	r.speak()
	return r.developments()
}

// less compares pairs of keys in turn.
func less(keys ...string) bool {
	for i := 0; i+1 < len(keys); i += 2 {
		if keys[i] != keys[i+1] {
			return keys[i] < keys[i+1]
		}
	}
	return false
}

// photoRows lists every photo found, used or not.
func (r *run) photoRows() []table.Photo {
	var rows []table.Photo
	for _, p := range r.photos {
		row := table.Photo{
			Photo: p.rel, SHA256: p.facts.SHA256, Visit: p.visit(), DateSource: p.source, Status: p.status, Reason: p.reason,
			Kind: p.kind, TakenFrom: p.taken.From, TakenTo: p.taken.To, Combined: p.combined,
			Inliers: nan, OverlapPct: nan, AlignRMSPx: nan, Sharpness: nan, ClippedPct: nan, PxPerTile: nan,
			Camera: p.facts.Camera, Lens: p.facts.Lens, FocalMM: positive(p.facts.FocalMM), ExposureS: positive(p.facts.ExposureS), ISO: positive(p.facts.ISO),
			Colour: p.facts.Colour, FNumber: positive(p.facts.FNumber), CameraTime: p.facts.Taken + p.facts.Offset,
		}
		if row.Visit == "" {
			row.DateSource = "undated"
		}
		if p.alignKey != "" {
			a := p.align
			row.View, row.Inliers, row.AlignBasis = a.View, float64(a.Inliers), a.Basis
			row.OverlapPct, row.AlignRMSPx, row.Sharpness, row.ClippedPct = a.OverlapPct, a.RMSPx, a.Sharpness, a.ClippedPct
			if a.Accepted {
				row.PxPerTile = p.pxPerTile
			}
		}
		row.Notes = strings.Join(append(append([]string(nil), p.facts.Notes...), p.notes...), "; ")
		rows = append(rows, row)
	}
	return rows
}

func positive(v float64) float64 {
	if v > 0 {
		return v
	}
	return nan
}

func (r *run) zoneRows(v *viewResult, i int) []table.Zone {
	p, res := v.photos[i], v.results[i]
	var rows []table.Zone
	for _, z := range res.Zones {
		id := v.spec.Zones[z.Zone].ID
		cm2 := v.area.sum(v.zoneTiles(z.Zone))
		row := table.Zone{
			View: v.view.ID, Zone: id, Visit: p.visit(), Photo: p.rel,
			ReadablePct: z.ReadablePct, AreaCm2: cm2, ScalePct: z.ScalePct, ScaleLo: z.ScaleLo, ScaleHi: z.ScaleHi,
			OpacityPct: z.OpacityPct, ScaleCm2: cm2 * z.ScalePct / 100 * math.Max(0, z.ReadablePct-z.GapPct) / 100, // of what was read: nothing is guessed for the rest
			DriftDE00: z.DriftDE00, DriftLo: z.DriftLo, DriftHi: z.DriftHi, DriftDL: z.DL, DriftDA: z.DA, DriftDB: z.DB,
			TilesTotal: float64(z.TilesTotal), TilesRead: float64(z.TilesRead), TilesMissing: float64(z.TilesMissing), TilesOffPalette: float64(z.TilesOff),
			GapPct: z.GapPct, GapCm2: cm2 * z.GapPct / 100, AlignRMSPx: p.align.RMSPx, ColourBasis: string(z.Basis),
			ScaledOrLostPct: z.ScaledOrLostPct, HiddenPct: z.HiddenPct, OtherPct: z.OtherPct,
			ScaleDetectable: z.ScaleDetectable, DriftDetectable: z.DriftDetectable,
			Scale10Pct: z.Scale10Pct, Scale40Pct: z.Scale40Pct, Notes: strings.Join(append(append([]string(nil), res.Notes...), z.Notes...), "; "),
		}
		if gridded(id, v.tiles) && z.TilesTotal > 0 { // a zone that holds no tile at all says so itself
			row.Notes = strings.TrimPrefix(row.Notes+"; "+gridNote, "; ")
		}
		row.AreaCm2Lo, row.AreaCm2Hi, row.AreaBasis = v.area.zones[z.Zone].Lo, v.area.zones[z.Zone].Hi, v.area.basis()
		row.MissingFinal, row.OffPaletteFinal = r.finalCounts(v, i, z.Zone)
		rows = append(rows, row)
	}
	return rows
}

// finalCounts counts a zone's missing and off-palette tiles after the user's corrections.
func (r *run) finalCounts(v *viewResult, i, zone int) (missing, off float64) {
	for _, t := range v.results[i].Tiles {
		if v.model.ZoneOf(t.Tile) != zone {
			continue
		}
		switch r.final(v, i, t) {
		case string(measure.Missing):
			missing++
		case string(measure.OffPalette):
			off++
		}
	}
	return missing, off
}

// final is the state of a tile after corrections.csv, which stands beside the tool's own and never replaces it.
func (r *run) final(v *viewResult, i int, t measure.TileResult) string {
	id := v.tiles[t.Tile].ID
	for _, c := range r.survey.Corrections {
		if strings.EqualFold(c.View, v.view.ID) && strings.EqualFold(c.Tile, id) && c.Visit == v.photos[i].visit() {
			return c.State
		}
	}
	return string(t.State)
}

func (r *run) tileRows(v *viewResult, i int) []table.Tile {
	p := v.photos[i]
	state := map[int]measure.State{}
	for _, t := range v.results[i].Tiles {
		state[t.Tile] = t.State
	}
	var rows []table.Tile
	for _, t := range v.results[i].Tiles {
		if v.model.ZoneOf(t.Tile) < 0 {
			continue // only tiles of zones are reported
		}
		tile := v.tiles[t.Tile]
		zone := v.spec.Zones[v.model.ZoneOf(t.Tile)].ID
		gaps := 0.0
		for _, n := range v.graph[t.Tile] {
			if state[n] == measure.Missing {
				gaps++
			}
		}
		rows = append(rows, table.Tile{
			View: v.view.ID, Zone: zone, Tile: tile.ID, Visit: p.visit(), X: tile.Centroid.X, Y: tile.Centroid.Y, AreaPx: tile.AreaPx,
			State: string(t.State), ScalePct: t.ScalePct, DriftDE00: t.DriftDE00, DL: t.DL, DA: t.DA, DB: t.DB,
			Glaze: t.Glaze, PaletteDE00: t.PaletteDE00, PaletteLo: t.PaletteLo, PaletteHi: t.PaletteHi, Confidence: t.Confidence, StateFinal: r.final(v, i, t),
			Recorded: r.recorded(v, i, zone, t), GapsBeside: gaps, Why: t.Reason,
		})
	}
	return rows
}

// recorded says what upkeep.csv has for a tile's zone between the visit before and this one, for tiles whose state
// differs from then. It stands beside the measured state and changes nothing.
func (r *run) recorded(v *viewResult, i int, zone string, t measure.TileResult) string {
	j := v.before(i)
	if j < 0 {
		return ""
	}
	var was measure.State
	for _, o := range v.results[j].Tiles {
		if o.Tile == t.Tile {
			was = o.State
		}
	}
	told := func(s measure.State) bool {
		return s == measure.Present || s == measure.Missing || s == measure.OffPalette
	}
	if was == t.State || !told(was) || !told(t.State) {
		return ""
	}
	var words []string
	for _, u := range r.survey.Upkeep {
		if touchesTiles(u) && (u.Zone == "" || strings.EqualFold(u.Zone, zone)) && u.Date > v.photos[j].visit() && u.Date <= v.photos[i].visit() {
			words = append(words, strings.TrimSpace(u.Date+" "+u.Work))
		}
	}
	return strings.Join(words, "; ")
}

// touchesTiles reports whether an upkeep entry may have changed which tiles are there.
func touchesTiles(u survey.UpkeepRow) bool {
	switch u.Kind {
	case "replace", "repair", "damage", "regrout":
		return true
	case "":
		w := strings.ToLower(u.Work)
		return strings.Contains(w, "replac") || strings.Contains(w, "repair") || strings.Contains(w, "lost") || strings.Contains(w, "removed")
	}
	return false
}

// before returns the reported photo of the visit before photo i's, -1 = none.
func (v *viewResult) before(i int) int {
	for j := i - 1; j >= 0; j-- {
		if v.photos[j].status == statusUsed && v.photos[j].visit() < v.photos[i].visit() {
			return j
		}
	}
	return -1
}

// zoneTiles returns the indices of a zone's tiles.
func (v *viewResult) zoneTiles(zone int) []int {
	var ts []int
	for t := range v.tiles {
		if v.model.ZoneOf(t) == zone {
			ts = append(ts, t)
		}
	}
	return ts
}

// compareRows compares each reported visit with the one before and with the baseline.
func (r *run) compareRows(v *viewResult) []table.Compare {
	var rows []table.Compare
	base := v.baseline(r.survey)
	for i, p := range v.photos {
		if p.status != statusUsed {
			continue
		}
		if j := v.before(i); j >= 0 {
			rows = append(rows, v.compare(j, i, v.photos[j].visit())...)
		}
		if base >= 0 && base != i {
			rows = append(rows, v.compare(base, i, "baseline")...)
		}
	}
	return rows
}

func (v *viewResult) compare(before, after int, against string) []table.Compare {
	var rows []table.Compare
	for _, c := range v.model.Compare(v.results[before], v.results[after], v.readings[before], v.readings[after]) {
		rows = append(rows, table.Compare{
			View: v.view.ID, Zone: v.spec.Zones[c.Zone].ID, Visit: v.photos[after].visit(), Against: against,
			CommonTiles: float64(c.CommonTiles), CommonPct: c.CommonPct, ScaleChange: c.ScaleChange, Lo: c.Lo, Hi: c.Hi,
			DriftDE00: c.DriftDE00, LostSince: float64(c.Lost), FoundSince: float64(c.Found),
		})
	}
	return rows
}

// repeatRows compares what two photos of one visit gave.
func repeatRows(v *viewResult) []table.Repeat {
	var rows []table.Repeat
	for i, p := range v.photos {
		for j := i + 1; j < len(v.photos) && v.photos[j].visit() == p.visit() && p.visit() != ""; j++ {
			if !sameDay(p, v.photos[j]) {
				continue
			}
			cmp := v.model.Compare(v.results[i], v.results[j], v.readings[i], v.readings[j])
			for k, z := range v.results[i].Zones {
				o := v.results[j].Zones[k]
				row := table.Repeat{
					View: v.view.ID, Zone: v.spec.Zones[z.Zone].ID, Visit: p.visit(), PhotoA: p.rel, PhotoB: v.photos[j].rel,
					ScaleA: z.ScalePct, ScaleB: o.ScalePct, ScaleDiff: nan, DriftDE00: nan,
				}
				for _, c := range cmp {
					if c.Zone == z.Zone {
						row.ScaleDiff, row.DriftDE00 = c.ScaleChange, c.DriftDE00
					}
				}
				rows = append(rows, row)
			}
		}
	}
	return rows
}

// controlRows tells what each control gave when it was left out of the light model.
func controlRows(v *viewResult) []table.Control {
	var rows []table.Control
	for i, p := range v.photos {
		for _, c := range v.model.CheckControls(v.seen[i]) {
			rows = append(rows, table.Control{
				View: v.view.ID, Control: v.spec.Controls[c.Control].ID, Visit: p.visit(), Photo: p.rel,
				DE00: c.DE00, DL: c.DL, DA: c.DA, DB: c.DB, Note: c.Note,
			})
		}
	}
	sort.SliceStable(rows, func(i, j int) bool {
		return less(rows[i].Control, rows[j].Control, rows[i].Visit, rows[j].Visit, rows[i].Photo, rows[j].Photo)
	})
	return rows
}

// glazeRows tells the drift of every glaze on every reported visit.
func (r *run) glazeRows(v *viewResult) []table.Glaze {
	var rows []table.Glaze
	for i, p := range v.photos {
		if p.status != statusUsed {
			continue
		}
		for _, g := range v.glazes[i] {
			rows = append(rows, table.Glaze{
				Glaze: g.Name, Visit: p.visit(), View: v.view.ID, Tiles: float64(g.Tiles), DriftDE00: g.DriftDE00, Lo: g.Lo, Hi: g.Hi,
				DL: g.DL, DA: g.DA, DB: g.DB, PaletteDE00: g.PaletteDE00, PaletteLo: g.PaletteLo, PaletteHi: g.PaletteHi, RefL: g.Ref.L, RefA: g.Ref.A, RefB: g.Ref.B,
			})
		}
	}
	sort.SliceStable(rows, func(i, j int) bool { return less(rows[i].Glaze, rows[j].Glaze, rows[i].Visit, rows[j].Visit) })
	return rows
}

// mappingRows writes each aligned photo's mapping as a 33 x 33 grid over the reference, empty where nothing is read through it.
func mappingRows(v *viewResult, w, h int) []table.Mapping {
	const n = 33
	var rows []table.Mapping
	ps := append([]*photo(nil), v.photos...)
	sort.Slice(ps, func(i, j int) bool { return ps[i].rel < ps[j].rel })
	for _, p := range ps {
		pw, ph := float64(p.facts.W), float64(p.facts.H)
		for j := range n {
			for i := range n {
				x, y := float64(i)*float64(w-1)/(n-1), float64(j)*float64(h-1)/(n-1)
				px, py := p.align.Mapping.Read(x, y)
				if !(px >= -0.5 && py >= -0.5 && px <= pw-0.5 && py <= ph-0.5) {
					px, py = nan, nan
				}
				rows = append(rows, table.Mapping{Photo: p.rel, View: v.view.ID, RefX: x, RefY: y, PhotoX: px, PhotoY: py})
			}
		}
	}
	return rows
}

// encode writes rows as CSV into memory.
func encode[T any](rows []T) []byte {
	var b bytes.Buffer
	if err := table.Write(&b, rows); err != nil {
		panic(fmt.Sprintf("pipeline: a buffer can't fail: %v", err))
	}
	return b.Bytes()
}

// writeTables writes every CSV file.
func (r *run) writeTables() error {
	var maps []table.Mapping
	for _, v := range r.views {
		maps = append(maps, mappingRows(v, v.frame.RefW, v.frame.RefH)...)
	}
	files := []struct {
		name string
		b    []byte
	}{
		{"photos.csv", encode(r.set.Photos)}, {"mappings.csv", encode(maps)}, {"zones.csv", encode(r.set.Zones)},
		{"compare.csv", encode(r.set.Compare)}, {"tiles.csv", encode(r.set.Tiles)}, {"glazes.csv", encode(r.set.Glazes)},
		{"repeat.csv", encode(r.set.Repeat)}, {"controls.csv", encode(r.set.Controls)}, {"trends.csv", encode(r.set.Trends)},
		{"intervals.csv", encode(r.set.Intervals)}, {"priorities.csv", encode(r.set.Priorities)},
	}
	for _, f := range files {
		if err := r.write(f.name, f.b); err != nil {
			return err
		}
	}
	series := map[string][]table.Zone{}
	var names []string
	for _, z := range r.set.Zones {
		n := "series/" + z.View + "/" + z.Zone + ".csv"
		if series[n] == nil {
			names = append(names, n)
		}
		series[n] = append(series[n], z)
	}
	for _, n := range names {
		if err := r.write(n, encode(series[n])); err != nil {
			return err
		}
	}
	for _, v := range r.views {
		var b bytes.Buffer
		if err := survey.WriteOutlines(&b, v.frame.RefW, v.frame.RefH, v.spec.Tiles); err != nil {
			return err
		}
		if err := r.write("outlines/"+v.view.ID+".svg", b.Bytes()); err != nil {
			return err
		}
	}
	return nil
}
