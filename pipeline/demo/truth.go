package demo

import (
	"math"
	"sort"

	"tilelapse/measure/colour"
)

// threshold is the opacity from which a point counts as whitened.
const threshold = 0.20

// The truth file's layout. Lists of tiles run parallel, in the order of the view's tiles.
type (
	truthFile struct {
		Format       int          `json:"format"`
		Scene        string       `json:"scene"`
		Split        string       `json:"split"`
		Site         string       `json:"site"`
		Threshold    float64      `json:"alpha_threshold"`
		ColourNote   string       `json:"colour_note"`
		PixelNote    string       `json:"pixel_note"`
		OutlinesGone bool         `json:"tile_outlines_in_svg"` // true only if every view's SVG holds them
		Views        []truthView  `json:"views"`
		Photos       []truthPhoto `json:"photos"`
	}
	truthView struct {
		ID        string      `json:"id"`
		Reference string      `json:"reference"`
		Width     int         `json:"width"`
		Height    int         `json:"height"`
		Curved    bool        `json:"curved"`
		Outlines  bool        `json:"tile_outlines_in_svg"`
		MMPerPx   float64     `json:"mm_per_px"` // in the middle; the curve makes it vary
		Deposit   [3]float64  `json:"deposit_linear_srgb"`
		Zones     []truthZone `json:"zones"`
		Tiles     viewTiles   `json:"tiles"`
	}
	truthZone struct {
		ID        string       `json:"id"`
		Kind      string       `json:"kind"`
		MedianLab [3]float64   `json:"median_lab"`
		Polygon   [][2]float64 `json:"polygon"`
		TileCM2   float64      `json:"tile_area_cm2"`
		Scale     float64      `json:"reference_scale_pct"`
		Opacity   float64      `json:"reference_opacity_pct"`
	}
	viewTiles struct {
		ID      []string       `json:"id"`
		Zone    []*string      `json:"zone"`
		X       []float64      `json:"x"`
		Y       []float64      `json:"y"`
		Area    []float64      `json:"area_px"`
		Glaze   []string       `json:"glaze"`
		Lab     [][3]float64   `json:"lab_ref"`
		Polygon [][][2]float64 `json:"polygon"`
	}
	truthPhoto struct {
		File        string               `json:"file"`
		Visit       string               `json:"visit"`
		View        *string              `json:"view"`
		Role        string               `json:"role"`
		Impostor    string               `json:"impostor,omitempty"`
		Expect      string               `json:"expect"`
		NoChange    *string              `json:"no_change_since"`
		Width       int                  `json:"width"`
		Height      int                  `json:"height"`
		Orientation int                  `json:"exif_orientation"`
		DateInExif  bool                 `json:"date_in_exif"`
		Light       string               `json:"light,omitempty"`
		Shadows     []string             `json:"shadows"`
		InFront     []string             `json:"in_front"`
		Cleaned     []string             `json:"cleaned"`
		Map         *truthMap            `json:"map,omitempty"`
		Zones       map[string]zoneTruth `json:"zones"`
		Tiles       *photoTiles          `json:"tiles,omitempty"`
	}
	truthMap struct {
		Cols    int          `json:"cols"`
		Rows    int          `json:"rows"`
		Ref     [][2]float64 `json:"ref"`
		Photo   [][2]float64 `json:"photo"`
		InFrame []int        `json:"in_frame"`
	}
	zoneTruth struct {
		Readable   float64  `json:"readable_pct"`
		Scale      *float64 `json:"scale_pct"`
		Opacity    *float64 `json:"scale_opacity_pct"`
		Whole      *float64 `json:"scale_pct_whole_zone"`
		DE         *float64 `json:"drift_de00"`
		DL         *float64 `json:"drift_dl"`
		DA         *float64 `json:"drift_da"`
		DB         *float64 `json:"drift_db"`
		Total      int      `json:"tiles_total"`
		Read       int      `json:"tiles_read"`
		Missing    []string `json:"missing"`
		Offpalette []string `json:"offpalette"`
		Hidden     []string `json:"hidden"`
		Outside    []string `json:"outside"`
	}
	photoTiles struct {
		State    []string   `json:"state"`
		InFrame  []float64  `json:"in_frame"`
		Unhidden []float64  `json:"unhidden"`
		Alpha    []*float64 `json:"alpha"`
		Scale    []*float64 `json:"scale_pct"`
		DE       []*float64 `json:"de00"`
		DL       []*float64 `json:"dl"`
		DA       []*float64 `json:"da"`
		DB       []*float64 `json:"db"`
	}
)

// frame is a view's reference frame: what each reference pixel shows.
type frame struct {
	wall   *wall
	camera *camera
	tile   []int16 // tile at the pixel's centre, -1 = none
	inZone []bool  // the pixel lies in the zone that its tile belongs to
	at     []pt    // wall point of the pixel's centre
	rings  [][][2]float64
	centre [][2]float64
	area   []float64
}

func newFrame(w *wall, c *camera) *frame {
	f := &frame{wall: w, camera: c, tile: w.tiles(c), inZone: make([]bool, c.w*c.h), at: make([]pt, c.w*c.h)}
	rows(c.h, func(y int) {
		for x := 0; x < c.w; x++ {
			k := y*c.w + x
			u, v := c.see(float64(x), float64(y))
			f.at[k] = pt{u, v}
			if i := f.tile[k]; i >= 0 && w.cells[i].zone >= 0 {
				f.inZone[k] = within(f.at[k], w.scene.zones[w.cells[i].zone].ring)
			}
		}
	})
	n := len(w.cells)
	f.area, f.centre = make([]float64, n), make([][2]float64, n)
	for k, i := range f.tile {
		if i >= 0 {
			f.area[i]++
			f.centre[i][0] += float64(k % c.w)
			f.centre[i][1] += float64(k / c.w)
		}
	}
	for i := range w.cells {
		if f.area[i] > 0 {
			f.centre[i] = [2]float64{f.centre[i][0] / f.area[i], f.centre[i][1] / f.area[i]}
		}
		f.rings = append(f.rings, f.drawn(w.cells[i].ring, math.Inf(1)))
	}
	return f
}

// drawn returns a ring of wall points in reference pixels (pixel centres); sides longer than most mm are divided,
// because straight on the wall is not straight in a photo of a curved one.
func (f *frame) drawn(ring []pt, most float64) [][2]float64 {
	var out [][2]float64
	for i, a := range ring {
		b := ring[(i+1)%len(ring)]
		n := max(int(math.Ceil(math.Hypot(b.u-a.u, b.v-a.v)/most)), 1)
		for j := 0; j < n; j++ {
			t := float64(j) / float64(n)
			x, y := f.camera.project(lerp(a.u, b.u, t), lerp(a.v, b.v, t))
			out = append(out, [2]float64{round2(x), round2(y)})
		}
	}
	return out
}

// view describes the frame for the truth file.
func (f *frame) view(ref string) truthView {
	s, c := f.wall.scene, f.camera
	u0, v0 := c.see(c.cx-0.5, c.cy)
	u1, v1 := c.see(c.cx+0.5, c.cy)
	v := truthView{ID: s.id, Reference: ref, Width: c.w, Height: c.h, Curved: true, Outlines: s.outlines, MMPerPx: round4(math.Hypot(u1-u0, v1-v0)), Deposit: [3]float64{round4(deposit[0]), round4(deposit[1]), round4(deposit[2])}}
	labs := make([][]colour.Lab, len(s.zones))
	cm2 := make([]float64, len(s.zones))
	for i := range f.wall.cells {
		cell := &f.wall.cells[i]
		lab := colour.RGB(f.wall.tones[i]).Lab()
		v.Tiles.ID = append(v.Tiles.ID, cell.id)
		v.Tiles.X = append(v.Tiles.X, round2(f.centre[i][0]))
		v.Tiles.Y = append(v.Tiles.Y, round2(f.centre[i][1]))
		v.Tiles.Area = append(v.Tiles.Area, f.area[i])
		v.Tiles.Glaze = append(v.Tiles.Glaze, glazes[cell.glaze].name)
		v.Tiles.Lab = append(v.Tiles.Lab, triple(lab))
		v.Tiles.Polygon = append(v.Tiles.Polygon, f.rings[i])
		var zone *string
		if cell.zone >= 0 {
			zone = &s.zones[cell.zone].id
			labs[cell.zone] = append(labs[cell.zone], lab)
			a, _ := areaOf(clipTo(cell.ring, s.zones[cell.zone].ring, 0))
			cm2[cell.zone] += a / 100
		}
		v.Tiles.Zone = append(v.Tiles.Zone, zone)
	}
	for z := range s.zones {
		part := func(g func(colour.Lab) float64) float64 {
			var a []float64
			for _, l := range labs[z] {
				a = append(a, g(l))
			}
			return median(a)
		}
		mid := colour.Lab{L: part(func(l colour.Lab) float64 { return l.L }), A: part(func(l colour.Lab) float64 { return l.A }), B: part(func(l colour.Lab) float64 { return l.B })}
		v.Zones = append(v.Zones, truthZone{ID: s.zones[z].id, Kind: s.zones[z].kind, MedianLab: triple(mid), Polygon: f.drawn(s.zones[z].ring, 60), TileCM2: round2(cm2[z])})
	}
	return v
}

// mapping returns the grid of point pairs.
func (f *frame) mapping(c *camera) *truthMap {
	m := &truthMap{Cols: 16, Rows: 12}
	for j := 0; j < m.Rows; j++ {
		for i := 0; i < m.Cols; i++ {
			x := round2((float64(i) + 0.5) / float64(m.Cols) * float64(f.camera.w-1))
			y := round2((float64(j) + 0.5) / float64(m.Rows) * float64(f.camera.h-1))
			px, py := c.project(f.camera.see(x, y))
			in := 0
			if c.inFrame(px, py) {
				in = 1
			}
			m.Ref = append(m.Ref, [2]float64{x, y})
			m.Photo = append(m.Photo, [2]float64{round4(px), round4(py)})
			m.InFrame = append(m.InFrame, in)
		}
	}
	return m
}

func triple(l colour.Lab) [3]float64 { return [3]float64{round2(l.L), round2(l.A), round2(l.B)} }

func round2(v float64) float64 { return math.Round(v*100) / 100 }
func round4(v float64) float64 { return math.Round(v*1e4) / 1e4 }

func median(a []float64) float64 {
	if len(a) == 0 {
		return math.NaN()
	}
	s := append([]float64(nil), a...)
	sort.Float64s(s)
	if n := len(s); n%2 == 0 {
		return (s[n/2-1] + s[n/2]) / 2
	}
	return s[len(s)/2]
}
