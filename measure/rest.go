package measure

// Rest lets go of the reference's pixels once every photo was read: some 200 MB a view. Afterwards only Close and what
// works on its results may be called (Compare, CheckControls, Glazes, ZoneOf, Neighbours, DepositSource, InFront).
func (v *View) Rest() {
	v.ref, v.glaze, v.depth, v.labels = nil, nil, nil, nil
	for k := range v.tiles {
		v.tiles[k].inner, v.tiles[k].ring = nil, nil
	}
	v.cover.surface.Rest()
}
