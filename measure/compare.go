package measure

import "math"

// Compare sets two photos side by side on the tiles read in both, zone by zone. The deposit's colour is shared by the
// photos of a view and cancels in their difference, so the interval holds what is each photo's own.
func (v *View) Compare(before, after *PhotoResult, rb, ra *Reading) []Comparison {
	var out []Comparison
	for z := range v.spec.Zones {
		c := Comparison{Zone: z, ScaleChange: math.NaN(), Lo: math.NaN(), Hi: math.NaN(), DriftDE00: math.NaN()}
		var area, common float64
		var de []float64
		both := func(k int) bool {
			return v.tiles[k].zone == z && before.Tiles[k].ReadPx > 0 && after.Tiles[k].ReadPx > 0
		}
		for k := range v.tiles {
			if v.tiles[k].zone != z {
				continue
			}
			n := float64(len(v.tiles[k].pix))
			area += n
			a, b := &before.Tiles[k], &after.Tiles[k]
			switch {
			case a.State == Present && b.State == Missing:
				c.Lost++
			case a.State == Missing && b.State == Present:
				c.Found++
			}
			if both(k) {
				c.CommonTiles++
				common += n
				if d := v.between(k, a, b); !math.IsNaN(d) {
					de = append(de, d)
				}
			}
		}
		if area > 0 {
			c.CommonPct = 100 * common / area
		}
		if 2*common >= area && common > 0 {
			sb, sa := v.sum(rb, both), v.sum(ra, both)
			_, ob := v.shift(rb, sb)
			_, oa := v.shift(ra, sa)
			bl, bh := sb.bounds(ob)
			al, ah := sa.bounds(oa)
			mb, ma := sb.at(0), sa.at(0)
			c.ScaleChange = ma - mb
			c.Lo = c.ScaleChange - math.Hypot(ma-al, bh-mb)
			c.Hi = c.ScaleChange + math.Hypot(ah-ma, mb-bl)
			if len(de) >= 3 {
				c.DriftDE00 = median(de)
			}
		}
		out = append(out, c)
	}
	return out
}
