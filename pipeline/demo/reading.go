package demo

import "tilelapse/measure/colour"

// tally counts the reference pixels of a tile or a zone.
type tally struct {
	all, framed, seen  float64 // pixels; in the photo's frame; of these not behind anything
	counted            float64 // seen, in the zone, tile not missing
	alpha, white       float64 // sums over counted
	wholeAll, wholeHit float64 // the same without regard to what the photo shows
}

// photo works out what one photo shows of a wall's state. alpha is the opacity in the reference frame.
func (f *frame) photo(sh *shot, c *camera, st *state, alpha []float32) (*photoTiles, map[string]zoneTruth) {
	s := f.wall.scene
	tiles, zones := make([]tally, len(f.wall.cells)), make([]tally, len(s.zones))
	for y := 0; y < f.camera.h; y += 2 {
		for x := 0; x < f.camera.w; x += 2 {
			var framed, hidden, asked bool
			for n := 0; n < 4; n++ { // what is in front is asked once for 2 x 2 pixels
				xx, yy := x+n&1, y+n>>1
				if xx >= f.camera.w || yy >= f.camera.h {
					continue
				}
				k := yy*f.camera.w + xx
				i := f.tile[k]
				if i < 0 {
					continue
				}
				if !asked {
					px, py := c.project(f.at[k].u, f.at[k].v)
					framed, hidden, asked = c.inFrame(px, py), sh.front.hides(px, py, c), true
				}
				a := float64(alpha[k])
				tiles[i].add(framed, hidden, st.gone[i], a)
				if f.inZone[k] {
					zones[f.wall.cells[i].zone].add(framed, hidden, st.gone[i], a)
				}
			}
		}
	}
	out := &photoTiles{}
	sums := make([]zoneTruth, len(s.zones))
	drift := make([][4][]float64, len(s.zones))
	for z := range sums {
		sums[z].Missing, sums[z].Offpalette, sums[z].Hidden, sums[z].Outside = []string{}, []string{}, []string{}, []string{}
	}
	for i := range f.wall.cells {
		cell, t := &f.wall.cells[i], &tiles[i]
		var zt *zoneTruth
		if cell.zone >= 0 {
			zt = &sums[cell.zone]
			zt.Total++
		}
		word := stateOf(t, st, i)
		note := func(list *[]string) { *list = append(*list, cell.id) }
		if zt != nil {
			switch word {
			case "outside":
				note(&zt.Outside)
			case "hidden":
				note(&zt.Hidden)
			case "missing":
				note(&zt.Missing)
			case "offpalette":
				note(&zt.Offpalette)
				zt.Read++
			default:
				zt.Read++
			}
		}
		out.State = append(out.State, word)
		out.InFrame = append(out.InFrame, round4(share(t.framed, t.all)))
		out.Unhidden = append(out.Unhidden, round4(share(t.seen, t.framed)))
		var a, p *float64
		if t.counted > 0 {
			a, p = number(t.alpha/t.counted), number(100*t.white/t.counted)
		}
		out.Alpha, out.Scale = append(out.Alpha, a), append(out.Scale, p)
		var d [4]*float64
		if word == "sound" || word == "offpalette" {
			now := f.drift(st, i)
			for j := range d {
				d[j] = number(now[j])
				if zt != nil && word == "sound" {
					drift[cell.zone][j] = append(drift[cell.zone][j], now[j])
				}
			}
		}
		out.DE, out.DL, out.DA, out.DB = append(out.DE, d[0]), append(out.DL, d[1]), append(out.DA, d[2]), append(out.DB, d[3])
	}
	byID := map[string]zoneTruth{}
	for z := range sums {
		t, zt := &zones[z], &sums[z]
		zt.Readable = round4(100 * share(t.counted, t.all))
		if t.counted > 0 {
			zt.Scale, zt.Opacity = number(100*t.white/t.counted), number(100*t.alpha/t.counted)
		}
		if t.wholeAll > 0 {
			zt.Whole = number(100 * t.wholeHit / t.wholeAll)
		}
		if len(drift[z][0]) > 0 {
			zt.DE, zt.DL, zt.DA, zt.DB = number(median(drift[z][0])), number(median(drift[z][1])), number(median(drift[z][2])), number(median(drift[z][3]))
		}
		byID[s.zones[z].id] = *zt
	}
	return out, byID
}

func (t *tally) add(framed, hidden, gone bool, a float64) {
	t.all++
	white := 0.0
	if a >= threshold {
		white = 1
	}
	if !gone {
		t.wholeAll++
		t.wholeHit += white
	}
	if !framed {
		return
	}
	t.framed++
	if hidden {
		return
	}
	t.seen++
	if !gone {
		t.counted++
		t.alpha += a
		t.white += white
	}
}

// stateOf names a tile's state in a photo, in the truth file's words.
func stateOf(t *tally, st *state, i int) string {
	switch {
	case t.framed < 0.5*t.all || t.all == 0:
		return "outside"
	case t.seen < 0.5*t.framed:
		return "hidden"
	case st.gone[i]:
		return "missing"
	case st.odd == i:
		return "offpalette"
	}
	return "sound"
}

// drift returns ΔE00, ΔL, Δa, Δb of a tile's glaze since the reference photo.
func (f *frame) drift(st *state, i int) [4]float64 {
	before := f.wall.tones[i]
	now := f.wall.mean(st, i)
	a, b := colour.RGB(before).Lab(), colour.RGB(now).Lab()
	return [4]float64{colour.CIEDE2000(a, b), b.L - a.L, b.A - a.A, b.B - a.B}
}

func share(a, b float64) float64 {
	if b == 0 {
		return 0
	}
	return a / b
}

func number(v float64) *float64 {
	v = round4(v)
	return &v
}
