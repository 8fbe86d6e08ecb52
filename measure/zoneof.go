package measure

// ZoneOf returns the index into Spec.Zones of the zone that holds a tile's centroid, -1 = none.
func (v *View) ZoneOf(tile int) int { return v.tiles[tile].zone }
