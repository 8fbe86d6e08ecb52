package measure

import (
	"tilelapse/measure/colour"
	"tilelapse/measure/light"
	"tilelapse/measure/plane"
	"tilelapse/measure/tile"
)

// cover finds the tiles' states, by package tile.
type cover struct{ surface *tile.Surface }

// coverRecord is the evidence of one photo.
type coverRecord = []tile.Evidence

type call struct {
	state      State
	confidence float64
	reason     string
}

func newCover(v *View, ignore []bool) *cover {
	n := len(v.tiles)
	scaled, gaps := make([]bool, n), make([]bool, n)
	for k := range v.tiles {
		scaled[k], gaps[k] = v.tiles[k].scaled, v.tiles[k].gap
	}
	dep := colour.RGB(v.deposit)
	return &cover{tile.New(tile.Input{W: v.w, H: v.h, Ref: oneChannel(v.ref), Labels: v.labels, N: n, Ignore: ignore, Scaled: scaled, Gaps: gaps, Deposit: &dep})}
}

// evidence reads the photo with its light brought to the reference's by one gain a channel.
func (c *cover) evidence(v *View, img *plane.Image, l *Light) coverRecord {
	g := l.Line.At(l.Level)
	flat := &plane.Image{W: img.W, H: img.H, RGB: make([]float32, len(img.RGB)), Flags: img.Flags}
	var k [3]float32
	for j := range 3 {
		k[j] = 1
		if light.Y(g) > 0 && g[j] > 1e-3 {
			k[j] = float32(1 / g[j])
		}
	}
	for i := 0; i < len(img.RGB); i += 3 {
		for j := range 3 {
			flat.RGB[i+j] = img.RGB[i+j] * k[j]
		}
	}
	v.complete(flat)
	return c.surface.Evidence(flat, l.cast()...)
}

// calls decides every tile's state in every photo.
func (c *cover) calls(v *View, rs []*Reading) [][]call {
	ev := make([][]tile.Evidence, len(rs))
	for i, r := range rs {
		ev[i] = r.Signs
	}
	out := make([][]call, len(rs))
	for i, row := range c.surface.Decide(ev) {
		out[i] = make([]call, len(v.tiles))
		for k := range v.tiles {
			out[i][k] = call{State(row[k].State), row[k].Confidence, row[k].Reason}
		}
	}
	return out
}

// Neighbours returns for every tile the tiles that share a joint with it, ascending.
func (v *View) Neighbours() [][]int { return v.cover.surface.Neighbours() }

// InFront marks the measuring pixels in front of which something stands in a photo, for pictures to cover: of tiles beside
// hidden ones the parts that the same thing reaches and, until Rest, hidden tiles with the joints beside them, which
// pictures cover anyhow. res is what Close made of the reading.
func (v *View) InFront(r *Reading, res *PhotoResult) []bool {
	calls := make([]tile.Call, len(res.Tiles))
	for i, t := range res.Tiles {
		calls[i] = tile.Call{State: string(t.State)}
	}
	return v.cover.surface.Occluded(r.Signs, calls)
}
