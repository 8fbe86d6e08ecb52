package plane

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func square(x0, y0, x1, y1 float64) Region {
	return Region{Rings: [][]Point{{{x0, y0}, {x1, y0}, {x1, y1}, {x0, y1}}}}
}

func TestFillCountsPixelCentres(t *testing.T) {
	f := Frame{RefW: 10, RefH: 8, K: 1}
	for _, c := range []struct {
		name string
		r    Region
		want int
	}{
		{"two by three", square(0.5, 0.5, 2.5, 3.5), 6},
		{"edge through centres goes to the right and below", square(1, 1, 3, 3), 4},
		{"whole frame and beyond", square(-5, -5, 50, 50), 80},
		{"outside", square(20, 20, 30, 30), 0},
		{"line", Region{Rings: [][]Point{{{1, 1}, {5, 5}}}}, 0},
		{"hole by even-odd", Region{Rings: [][]Point{{{-.5, -.5}, {9.5, -.5}, {9.5, 7.5}, {-.5, 7.5}}, {{1.5, 1.5}, {3.5, 1.5}, {3.5, 3.5}, {1.5, 3.5}}}}, 76},
		{"no rings", Region{}, 0},
	} {
		assert.Len(t, Fill(c.r, f), c.want, c.name)
	}
}

func TestSharedEdgeNeverShared(t *testing.T) {
	f := Frame{RefW: 40, RefH: 40, K: 1}
	a := Region{Rings: [][]Point{{{3, 3}, {20, 3}, {14, 30}, {3, 30}}}}
	b := Region{Rings: [][]Point{{{20, 3}, {35, 3}, {35, 30}, {14, 30}}}}
	seen := map[int32]int{}
	for _, r := range []Region{a, b} {
		for _, i := range Fill(r, f) {
			seen[i]++
		}
	}
	for i, n := range seen {
		require.Equal(t, 1, n, "pixel %d", i)
	}
	assert.Len(t, seen, 27*32, "the union has no hole along the shared edge")
}

func TestReducedFrame(t *testing.T) {
	f := Frame{RefW: 400, RefH: 300, K: 4}
	assert.Len(t, Fill(square(39.5, 39.5, 79.5, 59.5), f), 10*5)
	x, y := f.Ref(0, 0)
	assert.Equal(t, [2]float64{1.5, 1.5}, [2]float64{x, y})
}

func TestLabelListsDepthRings(t *testing.T) {
	f := Frame{RefW: 30, RefH: 20, K: 1}
	regs := []Region{square(1.5, 1.5, 10.5, 10.5), square(12.5, 1.5, 21.5, 10.5), square(8.5, 8.5, 14.5, 14.5)}
	l := Label(regs, f)
	lists := Lists(l, 3)
	assert.Len(t, lists[0], 81)
	assert.Len(t, lists[1], 81)
	assert.Len(t, lists[2], 36-4-4, "the first region keeps a shared pixel")
	d := Depth(l, 30, 20, 9)
	assert.Equal(t, uint8(5), d[6*30+6], "centre of a 9 px square")
	assert.Equal(t, uint8(1), d[2*30+2])
	assert.Equal(t, uint8(0), d[0])
	assert.Equal(t, uint8(2), d[3*30+9])
	r := Rings(l, 30, 20, 3, 2)
	assert.Contains(t, r[0], int32(5*30+11))
	assert.Contains(t, r[1], int32(5*30+11), "a joint pixel is in both rings")
	assert.NotContains(t, r[0], int32(5*30+13))
}

func TestMoments(t *testing.T) {
	r := square(1000, 2000, 1010, 2030)
	assert.InDelta(t, 300, r.Area(), 1e-9)
	x, y := r.Centroid()
	assert.InDelta(t, 1005, x, 1e-9)
	assert.InDelta(t, 2015, y, 1e-9)
	assert.True(t, r.Contains(1001, 2001))
	assert.False(t, r.Contains(999, 2001))
}
