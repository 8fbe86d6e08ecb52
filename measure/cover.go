package measure

import (
	"tilelapse/measure/plane"
)

// cover finds the tiles' states.
type cover struct{}

type coverRecord struct{}

type call struct {
	state      State
	confidence float64
	reason     string
}

func newCover(v *View, ignore []bool) *cover { return &cover{} }

func (c *cover) evidence(v *View, img *plane.Image, l *Light) coverRecord { return coverRecord{} }

// calls decides every tile's state in every photo.
func (c *cover) calls(v *View, rs []*Reading) [][]call {
	out := make([][]call, len(rs))
	for i, r := range rs {
		out[i] = make([]call, len(v.tiles))
		for k := range v.tiles {
			s := Present
			if r.Tiles[k].In < 0.5*float64(len(v.tiles[k].pix)) {
				s = OutOfFrame
			}
			out[i][k] = call{s, 0.5, ""}
		}
	}
	return out
}
