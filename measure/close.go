package measure

import (
	"math"
	"slices"

	"tilelapse/measure/colour"
	"tilelapse/measure/glaze"
)

// opacityLimit is the standard error of a pixel's opacity from which on a tile is not read: half the step to the
// threshold.
const opacityLimit = 0.13

// shadowLimit is the same under cast shadows, where what is wrong is less like noise.
const shadowLimit = 0.08

// readShare is the least share of a zone's tiles in plain sight that has to be read for the zone to get a figure.
const readShare = 0.2

// Close makes the figures of every photo from the readings of all photos of the view. baseline is the index of the photo
// that drift is counted from, -1 = the reference. The order of readings does not matter to any figure.
func (v *View) Close(readings []*Reading, baseline int) []*PhotoResult {
	calls := v.cover.calls(v, readings)
	// the colours drift is counted from
	from := make([]colour.Lab, len(v.tiles))
	for k := range v.tiles {
		from[k] = v.tiles[k].lab
	}
	charts := v.chartOrigin(readings, calls, baseline)
	if baseline >= 0 && baseline < len(readings) {
		r := readings[baseline]
		for k := range v.tiles {
			from[k] = colour.Lab{L: math.NaN(), A: math.NaN(), B: math.NaN()}
			if now, ok := v.glazeNow(r, k); ok && calls[baseline][k].state == Present && r.Basis != BasisNone {
				from[k] = colour.RGB(now).Lab()
			}
		}
	}
	out := make([]*PhotoResult, len(readings))
	for i, r := range readings {
		out[i] = v.closeOne(r, calls[i], from, charts)
	}
	return out
}

// glazeNow returns the linear colour of a tile's unwhitened glaze in a photo, light cancelled.
func (v *View) glazeNow(r *Reading, k int) (now [3]float64, ok bool) {
	tr := &r.Tiles[k]
	if tr.CleanPx < 12 || tr.CleanPx < 0.05*tr.Read {
		return now, false
	}
	kg := r.Line.At(tr.Level)
	for c := range 3 {
		now[c] = v.tiles[k].mean[c] * tr.Gain[c] / math.Max(kg[c], 1e-6)
	}
	return now, true
}

func (v *View) closeOne(r *Reading, calls []call, from, charts []colour.Lab) *PhotoResult {
	res := &PhotoResult{Basis: r.Basis, light: driftSigma(r), Tiles: make([]TileResult, len(v.tiles))}
	c := res.takeChart(v, r, charts)
	for k := range v.tiles {
		t, tr := &v.tiles[k], &r.Tiles[k]
		nan := math.NaN()
		x := TileResult{Tile: k, State: calls[k].state, Confidence: calls[k].confidence, Reason: calls[k].reason, Glaze: v.names[k],
			ScalePct: nan, OpacityPct: nan, DriftDE00: nan, DL: nan, DA: nan, DB: nan, GlazeNow: [3]float64{nan, nan, nan}, PaletteDE00: nan, PaletteLo: nan, PaletteHi: nan, ChartNow: [3]float64{nan, nan, nan}}
		n := float64(len(t.pix))
		if n > 0 {
			x.ReadablePct = 100 * tr.Read / n
		}
		blind := r.blind(k)
		if x.State == Present && blind {
			x.Reason = "scale can't be told on this glaze in this light" // it is there: only its scale is unread
		}
		if !blind && x.State == Present && tr.Read >= 0.2*n && tr.Read > 0 && r.Basis != BasisNone {
			x.ReadPx, x.ScaledPx = tr.Read, tr.Counts[len(offsets)/2]
			x.OpacitySum = math.Max(0, tr.Alpha)
			x.ScalePct, x.OpacityPct = 100*x.ScaledPx/tr.Read, 100*x.OpacitySum/tr.Read
			if now, ok := v.glazeNow(r, k); ok {
				x.GlazeNow = now
				x.drifted(from[k], colour.RGB(now).Lab())
				if c != nil {
					x.colourByChart(v, r, c, charts[k], res.light)
				}
			}
		}
		res.Tiles[k] = x
	}
	for z := range v.spec.Zones {
		res.Zones = append(res.Zones, v.closeZone(r, res, z))
	}
	return res
}

// drifted sets a tile's drift between two colours.
func (x *TileResult) drifted(from, now colour.Lab) {
	x.DriftDE00 = colour.CIEDE2000(from, now)
	x.DL, x.DA, x.DB = now.L-from.L, now.A-from.A, now.B-from.B
}

// blind reports whether scale can't be told on a tile in this photo, whatever its state.
func (r *Reading) blind(k int) bool {
	t := &r.Tiles[k]
	return r.Basis != BasisNone && t.In > 0 && (t.Read == 0 || t.Sigma > opacityLimit || r.Shadows && t.Sigma > shadowLimit && !t.Told)
}

// closeZone makes a zone's figures.
func (v *View) closeZone(r *Reading, res *PhotoResult, z int) ZoneResult {
	nan := math.NaN()
	out := ZoneResult{Zone: z, Basis: res.Basis, ScalePct: nan, ScaleLo: nan, ScaleHi: nan, Scale10Pct: nan, Scale40Pct: nan, OpacityPct: nan,
		DriftDE00: nan, DriftLo: nan, DriftHi: nan, DL: nan, DA: nan, DB: nan, GapPct: nan, ScaledOrLostPct: nan, ScaleDetectable: nan, DriftDetectable: nan}
	var area, hidden, other, lost, seen, plain, a10, a40, op float64
	for k := range v.tiles {
		t := &v.tiles[k]
		if t.zone != z {
			continue
		}
		out.TilesTotal++
		n := float64(len(t.pix))
		area += n
		out.AreaPx += t.area
		tr, x := &r.Tiles[k], &res.Tiles[k]
		switch x.State {
		case Missing:
			out.TilesMissing++
			lost += n
			seen += n
		case Unreadable:
			plain += tr.In
		case Hidden:
			hidden += n
		case OffPalette:
			out.TilesOff++
			seen += tr.Read
			out.TilesRead++
		case Present:
			other += tr.Other
			plain += tr.In
			if x.ReadPx > 0 {
				out.TilesRead++
				seen += tr.Read
			}
		}
		if x.ReadPx > 0 {
			a10, a40, op = a10+tr.At10, a40+tr.At40, op+tr.Alpha
		}
	}
	if area == 0 {
		out.Notes = append(out.Notes, "no tile was found in this zone: draw the tiles' outlines")
		return out
	}
	out.ReadablePct, out.HiddenPct, out.OtherPct = 100*seen/area, 100*hidden/area, 100*other/area
	out.GapPct = 100 * lost / area
	if r.Basis == BasisNone {
		out.Notes = append(out.Notes, "no colour basis: states only")
		return out
	}
	in := func(k int) bool { return v.tiles[k].zone == z && res.Tiles[k].ReadPx > 0 }
	s := v.sum(r, in)
	read := s.read
	// a few tiles that can be read stand for the zone only when they are not the odd ones
	if read < 0.1*area || read < readShare*plain {
		if plain > 0.1*area {
			out.Notes = append(out.Notes, "scale can't be told on these glazes in this light")
		}
		return out
	}
	shared, own := v.shift(r, s)
	out.ScalePct = s.at(0)
	out.ScaleLo, out.ScaleHi = s.bounds(math.Hypot(shared, own))
	// what could not be read may be like the cleanest or the most whitened of what was
	unread := math.Max(0, 1-read/math.Max(area-hidden-lost, 1))
	low, high := tailsOf(res, in)
	out.ScaleLo = (1-unread)*out.ScaleLo + unread*math.Min(out.ScaleLo, low)
	out.ScaleHi = (1-unread)*out.ScaleHi + unread*math.Max(out.ScaleHi, high)
	if !told(out.ScaleLo, out.ScaleHi) {
		out.ScalePct, out.ScaleLo, out.ScaleHi = nan, nan, nan
		out.Notes = append(out.Notes, "scale can't be told on these glazes in this light")
		return out
	}
	lo, hi := s.bounds(own)
	out.ScaleDetectable = math.Sqrt2 * (hi - lo) / 2
	out.Scale10Pct, out.Scale40Pct, out.OpacityPct = 100*a10/read, 100*a40/read, 100*math.Max(0, op)/read
	whitened := out.ScalePct / 100 * read
	out.ScaledOrLostPct = 100 * (whitened + lost) / (read + lost)
	d := v.driftOf(res, func(k int) bool { return v.tiles[k].zone == z })
	if d.tooHazy {
		out.Notes = append(out.Notes, "glaze drift can't be told on these glazes in this light")
	}
	out.DriftDE00, out.DriftLo, out.DriftHi, out.DL, out.DA, out.DB, out.DriftDetectable = d.de, d.lo, d.hi, d.dl, d.da, d.db, d.detect
	return out
}

// tailsOf returns the 10 % and the 90 % quantile of the whitened share of the tiles that use keeps, percent.
func tailsOf(res *PhotoResult, use func(k int) bool) (low, high float64) {
	var all []float64
	for k := range res.Tiles {
		if use(k) {
			all = append(all, res.Tiles[k].ScalePct)
		}
	}
	slices.Sort(all)
	return glaze.Quantile(all, 0.1), glaze.Quantile(all, 0.9)
}
