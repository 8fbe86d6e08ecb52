package tile

import (
	"math"

	"tilelapse/measure/plane"
)

// Evidence is what one photo tells of one tile, rounded to four decimals. Colour differences are in CIELAB units (see
// apart), likenesses are correlations in [-1,1], "log" stands for natural logarithms of a ratio. Unless Read, all but
// InFrame and Usable are 0.
type Evidence struct {
	InFrame float64 `json:"in"`             // share of the tile in the photo's frame
	Usable  float64 `json:"usable"`         // share of its core that is neither clipped, moving nor out of frame
	Read    bool    `json:"read,omitempty"` // there was enough to compare

	Lab [3]float64 `json:"lab"` // CIELAB of its core as photographed

	Own     float64 `json:"own"`     // likeness of the core's inner pattern to the reference's
	Whole   float64 `json:"whole"`   // likeness of the tile together with its surroundings
	Usual   float64 `json:"usual"`   // median Whole of the tiles around
	Around  float64 `json:"around"`  // likeness of the surroundings alone
	Seen    float64 `json:"seen"`    // the same of its best sides: what a changed neighbour does not spoil
	Rim     float64 `json:"rim"`     // likeness of the joint alone on its second worst side of four: what stands in front covers one side at least
	Hem     float64 `json:"hem"`     // Rim over what is usual around: 1 = as much as can be asked for in this photo
	Outline float64 `json:"outline"` // step of brightness at the tile's outline, the same way on three of four sides, log
	Relief  float64 `json:"relief"`  // structure of the surroundings in the reference, log: what Around can tell

	Change   float64 `json:"change"`            // colour not explained by the lights around and scale
	Noise    float64 `json:"noise"`             // median Change of the tiles around: how well anything is explained here
	Clean    float64 `json:"clean"`             // as Change, of its best kept part, thick scale not allowed
	Foreign  uint32  `json:"foreign,omitempty"` // cells that are neither glaze nor scale, one bit each
	Alpha    float64 `json:"alpha"`             // opacity that explains it best, below 0 where the reference was veiled
	Thin     float64 `json:"thin"`              // opacity on its least covered parts: scale leaves some thinner
	Deep     float64 `json:"deep"`              // opacity on its most covered parts
	Joint    float64 `json:"joint"`             // the joint's own colour not explained by light and scale
	Thick    float64 `json:"thick"`             // the same under the usual light around
	Veil     float64 `json:"veil"`              // opacity of scale on the joint, on its most scaled side
	Bed      float64 `json:"bed"`               // colour difference to the joints around in this photo
	Odd      float64 `json:"odd"`               // the same in the reference: what Bed can tell
	Contrast float64 `json:"contrast"`          // what is left of the step from joint to tile, 1 = as in the reference
	Uneven   float64 `json:"uneven"`            // spread of colour over its cells beyond the reference's
	Patchy   float64 `json:"patchy"`            // spread of brightness over its cells against that of the tiles around, log
	Rough    float64 `json:"rough"`             // texture of the core against the tiles around, both over the reference's, log
	Coarse   float64 `json:"coarse"`            // Rough, but over the reference texture of a typical tile where its own was coarser
}

// leastRough keeps the ratio of two textures from hanging on noise, log units; leastPatchy that of two spreads.
const (
	leastRough  = 0.003
	leastPatchy = 0.03
	leastRim    = 0.4 // likeness of the joint under which it tells nothing
)

// Evidence reads one photo. The picture is on the measuring frame, its light brought to the reference's by one gain a
// channel, its flags kept. shade are the lights that cast shadows put on parts of the surface, as factors a channel to
// that light; none when there are no cast shadows, or nothing is known of their colour. One record a tile. It may be called
// from several goroutines.
func (s *Surface) Evidence(img *plane.Image, shade ...[3]float64) []Evidence {
	p := newPlanes(img, s.at)
	chroma := p.chroma(s.at) / math.Max(s.chroma, 1e-9)
	p.mono = chroma < 0.25 // a black and white print
	ev := make([]Evidence, s.lay.n)
	seen := make([]look, s.lay.n)
	var buf [3][]float32
	for t := range ev {
		e := &ev[t]
		all, core := s.lay.all[t], s.lay.core[t]
		out := 0
		for _, i := range all {
			if img.Flags[i]&plane.Outside != 0 {
				out++
			}
		}
		if len(all) > 0 {
			e.InFrame = 1 - float64(out)/float64(len(all))
		}
		e.Usable = usableShare(img, core)
		e.Relief, e.Odd = s.tiles[t].relief, s.tiles[t].toBed
		e.Own = likeness(s.ref, p, core)
		e.Around = likeness(s.ref, p, s.lay.around[t])
		e.Seen = s.seen(p, t)
		e.Rim, e.Outline = s.rim(p, t), s.outline(p, t)
		var both pattern
		both.add(s.ref, p, core)
		both.add(s.ref, p, s.lay.around[t])
		e.Whole = both.likeness()
		e.Rough = math.Log(p.roughness(core, buf[0])+leastRough) - math.Log(s.tiles[t].rough+leastRough)
		seen[t] = s.look(img, t, &buf)
		lab := labOf(seen[t].all)
		e.Lab = [3]float64{lab.L, lab.A, lab.B}
		e.Uneven = spread(seen[t].cells) - s.tiles[t].spread
		e.Patchy = brightness(seen[t].cells)
	}
	sh := &shot{looks: seen, shade: shade, pale: chroma < 0.6}
	for t := range ev {
		s.compare(t, ev, sh)
	}
	for t := range ev {
		ev[t].settle()
	}
	s.relate(ev)
	for t := range ev {
		ev[t].round()
	}
	return ev
}

// settle decides whether there was enough to compare, and puts figures without which it goes at their neutral value.
func (e *Evidence) settle() {
	e.Read = !math.IsNaN(e.Change+e.Clean+e.Bed+e.Whole+e.Rough+e.Lab[0]) && !math.IsInf(e.Change+e.Clean, 0)
	if !e.Read {
		*e = Evidence{InFrame: e.InFrame, Usable: e.Usable}
		return
	}
	if math.IsNaN(e.Around) || math.IsNaN(e.Seen) || math.IsNaN(e.Joint) || math.IsNaN(e.Contrast) || math.IsNaN(e.Odd) {
		e.Around, e.Seen, e.Relief, e.Joint, e.Contrast, e.Odd = 0, 0, 0, 0, 0, 0
	}
	for _, v := range [...]*float64{&e.Own, &e.Rim, &e.Outline, &e.Thick, &e.Uneven, &e.Patchy, &e.Alpha, &e.Thin, &e.Deep, &e.Veil} {
		if math.IsNaN(*v) {
			*v = 0
		}
	}
}

// relate sets each tile's figures against those of the tiles in plain sight around it.
func (s *Surface) relate(ev []Evidence) {
	type own struct{ rough, coarse, patchy, hem float64 }
	as := make([]own, len(ev))
	var x, w, r, ref, p, m []float64
	for t := range ev {
		if !ev[t].Read {
			continue
		}
		x, w, r, ref, p, m = x[:0], w[:0], r[:0], ref[:0], p[:0], m[:0]
		for _, u := range s.lay.hood[t] {
			if len(x) == hoodSize {
				break
			}
			e := &ev[u]
			if !e.Read || !e.inSight() || math.IsNaN(s.tiles[u].rough) {
				continue
			}
			x, w, r, p, m = append(x, e.Change), append(w, e.Whole), append(r, e.Rough), append(p, e.Patchy), append(m, e.Rim)
			ref = append(ref, s.tiles[u].rough)
		}
		if len(x) == 0 {
			ev[t].Noise, ev[t].Usual = ev[t].Change, ev[t].Whole
			continue
		}
		ev[t].Noise, ev[t].Usual = median(x), median(w)
		as[t].rough = ev[t].Rough - median(r)
		as[t].coarse = ev[t].Rough - quantile(r, 0.3) + math.Max(0, math.Log((s.tiles[t].rough+leastRough)/(median(ref)+leastRough)))
		as[t].hem = ev[t].Rim / math.Max(leastRim, median(m))
		as[t].patchy = math.Log((ev[t].Patchy + leastPatchy) / (median(p) + leastPatchy))
	}
	for t := range ev {
		ev[t].Rough, ev[t].Coarse, ev[t].Patchy, ev[t].Hem = as[t].rough, as[t].coarse, as[t].patchy, as[t].hem
	}
}

// round keeps records small and the same everywhere.
func (e *Evidence) round() {
	for _, v := range [...]*float64{
		&e.InFrame, &e.Usable, &e.Own, &e.Whole, &e.Usual, &e.Around, &e.Seen, &e.Rim, &e.Outline, &e.Hem, &e.Relief, &e.Thick, &e.Change, &e.Noise, &e.Clean,
		&e.Alpha, &e.Thin, &e.Deep, &e.Joint, &e.Veil, &e.Bed, &e.Odd, &e.Contrast, &e.Uneven, &e.Patchy, &e.Rough, &e.Coarse,
		&e.Lab[0], &e.Lab[1], &e.Lab[2],
	} {
		*v = math.Round(*v*1e4) / 1e4
	}
}
