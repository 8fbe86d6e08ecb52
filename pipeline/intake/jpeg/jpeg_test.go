package jpeg

import (
	"os"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func file(t testing.TB, name string) []byte {
	t.Helper()
	b, err := os.ReadFile("../../../testdata/" + name)
	require.NoError(t, err)
	return b
}

func TestHeaderComesFirst(t *testing.T) {
	asked := 0
	h, pix, damage, err := Read(file(t, "intake/p3.jpg"), func(h *Header) bool {
		asked++
		assert.Equal(t, [4]int{48, 32, 3, 8}, [4]int{h.W, h.H, h.Channels, h.Bits})
		assert.Equal(t, "acsp", string(h.Profile[36:40]))
		return false
	})
	require.NoError(t, err)
	assert.Equal(t, 1, asked)
	assert.NotNil(t, h)
	assert.Nil(t, pix, "no pixels when they are not wanted")
	assert.Nil(t, damage)
}

func TestDamageIsTold(t *testing.T) {
	yes := func(*Header) bool { return true }
	for _, c := range []struct {
		name  string
		check func(*testing.T, *Damage)
	}{
		{"intake/plain.jpg", func(t *testing.T, d *Damage) { assert.Equal(t, &Damage{Percent: -1}, d) }},
		{"intake/progressive.jpg", func(t *testing.T, d *Damage) { assert.Equal(t, &Damage{Percent: -1}, d) }},
		{"intake/extraneous.jpg", func(t *testing.T, d *Damage) { assert.Equal(t, &Damage{Percent: -1, Extraneous: 3}, d) }},
		{"intake/no-end.jpg", func(t *testing.T, d *Damage) {
			assert.True(t, d.Cut)
			assert.Zero(t, d.Starved)
		}},
		{"damaged/cut.jpg", func(t *testing.T, d *Damage) {
			assert.True(t, d.Cut)
			assert.Positive(t, d.Starved)
			assert.InDelta(t, 60, d.Percent, 17, "six tenths of the data; a row of blocks is a sixth of the picture")
		}},
		{"damaged/cut-progressive.jpg", func(t *testing.T, d *Damage) {
			assert.True(t, d.Cut)
			assert.Equal(t, -1, d.Percent)
		}},
		{"damaged/block-zeroed.jpg", func(t *testing.T, d *Damage) { assert.Greater(t, d.Leftover, 4) }},
		{"damaged/overwritten.jpg", func(t *testing.T, d *Damage) { assert.Positive(t, d.Starved+d.Warnings) }},
	} {
		h, pix, d, err := Read(file(t, c.name), yes)
		require.NoError(t, err, c.name)
		require.Len(t, pix, 3*h.W*h.H, c.name)
		c.check(t, d)
	}
}

func TestGivesUp(t *testing.T) {
	no := func(*Header) bool { t.Error("asked for the pixels of nothing"); return true }
	for name, b := range map[string][]byte{
		"nothing": nil, "start mark": {0xff, 0xd8}, "text": []byte("text"), "end at once": {0xff, 0xd8, 0xff, 0xd9},
	} {
		_, pix, _, err := Read(b, no)
		assert.Error(t, err, name)
		assert.Nil(t, pix)
	}
	_, _, d, err := Read(file(t, "damaged/cut-in-header.jpg"), no)
	require.Error(t, err)
	assert.True(t, d.Cut)
}
