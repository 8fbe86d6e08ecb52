package pipeline

import (
	"fmt"
	"sort"

	"tilelapse/measure/associate"
	"tilelapse/measure/trend"
)

// associate runs the fixed list of tests, with everything and with each reported photo left out.
func (r *run) associate(series []*zoneSeries, record trend.Record) error {
	var keys []string
	var full []associate.View
	var photos [][]string // by view: the photos of its visits
	for _, v := range r.views {
		h, of := r.history(v)
		if err := h.Validate(); err != nil {
			return fmt.Errorf("association: %w", err)
		}
		full, photos = append(full, h), append(photos, of)
		keys = append(keys, of...)
	}
	sort.Strings(keys)
	opt := associate.DefaultOptions()
	quick := opt
	quick.Permutations = 999 // 0.001 is fine enough to see whether a finding hangs on one photo
	tests := func(without map[string]bool, o associate.Options) []associate.Result {
		var views []associate.View
		for i, h := range full {
			views = append(views, leaveOut(h, photos[i], without))
		}
		var growths []associate.Growth
		for _, z := range series {
			for _, rel := range sortedKeys(without) {
				z = z.without(rel)
			}
			pts, _ := z.whitening()
			growths = append(growths, associate.Growths(z.view.view.ID, z.view.spec.Zones[z.zone].ID, pts, z.entry, record)...)
		}
		return associate.Tests(views, growths, o)
	}
	r.findings = associate.LeaveOut(keys, func(without string) []associate.Result {
		if without == "" {
			return tests(nil, opt)
		}
		return tests(map[string]bool{without: true}, quick)
	})
	r.withoutPrints = nil
	if prints := r.prints(keys); len(prints) > 0 {
		r.withoutPrints = tests(prints, opt)
	}
	return nil
}

// prints returns those of the photos that were not taken by a digital camera.
func (r *run) prints(keys []string) map[string]bool {
	of := map[string]bool{}
	for _, k := range keys {
		of[k] = true
	}
	out := map[string]bool{}
	for _, p := range r.photos {
		if of[p.rel] && p.kind != "digital" {
			out[p.rel] = true
		}
	}
	return out
}

func sortedKeys(m map[string]bool) []string {
	ks := make([]string, 0, len(m))
	for k := range m {
		ks = append(ks, k)
	}
	sort.Strings(ks)
	return ks
}

// leaveOut returns a view's history without the visits of some photos.
func leaveOut(h associate.View, of []string, without map[string]bool) associate.View {
	var keep []int
	for n, rel := range of {
		if !without[rel] {
			keep = append(keep, n)
		}
	}
	if len(keep) == len(of) {
		return h
	}
	out := associate.View{ID: h.ID, Tiles: make([]associate.Tile, len(h.Tiles))}
	for _, n := range keep {
		out.Visits = append(out.Visits, h.Visits[n])
	}
	for t, tile := range h.Tiles {
		c := tile
		c.States, c.Scale = make([]associate.State, len(keep)), make([]float64, len(keep))
		for m, n := range keep {
			c.States[m], c.Scale[m] = tile.States[n], tile.Scale[n]
		}
		out.Tiles[t] = c
	}
	return out
}

// history is a view's tiles over the reported visits, as the association tests read them, and the visits' photos.
func (r *run) history(v *viewResult) (associate.View, []string) {
	out := associate.View{ID: v.view.ID}
	var used []int
	var of []string
	for i, p := range v.photos {
		if p.status != statusUsed || p.visit() == "" {
			continue
		}
		if s, err := trend.ParseSpan(p.taken.From, p.taken.To); err == nil {
			used, of = append(used, i), append(of, p.rel)
			out.Visits = append(out.Visits, s)
		}
	}
	at := make([]map[int]int, len(used))
	for n, i := range used {
		at[n] = tilesOf(v, i)
	}
	for t, tile := range v.tiles {
		h := associate.Tile{ID: tile.ID, Y: tile.Centroid.Y, Neighbours: v.graph[t]}
		if z := v.model.ZoneOf(t); z >= 0 {
			h.Zone = v.spec.Zones[z].ID
		}
		for n, i := range used {
			state, scale := "", nan
			if k, ok := at[n][t]; ok {
				res := v.results[i].Tiles[k]
				state, scale = r.final(v, i, res), res.ScalePct
			}
			h.States = append(h.States, associate.State(state))
			h.Scale = append(h.Scale, scale)
		}
		out.Tiles = append(out.Tiles, h)
	}
	return out, of
}
