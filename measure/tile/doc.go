// Package tile tells the state of every tile of a view in every photo: present, missing, offpalette, hidden, unreadable
// or outside. It compares explanations of a tile's pixels: its own glaze under some light and scale, the bare bed,
// another glaze inside an intact outline, something in front, nothing to be read.
//
//	New (the reference) ─> Evidence (each photo: pixels to small records) ─> Decide (all photos of the view)
//
// Pictures are in linear light on the measuring frame, the photo's light already brought to the reference's by one gain a
// channel; shadows, gradients and the shade's own tint are found here from the tiles around. Nothing here uses the order
// of the photos. Everything is pure Go and gives the same bytes for the same input.
package tile
