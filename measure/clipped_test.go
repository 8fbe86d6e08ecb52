package measure

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tilelapse/measure/plane"
)

// clip ends the codes of a picture at white, as a camera does.
func clip(im *plane.Image) *plane.Image {
	for i := range im.Flags {
		for c := range 3 {
			if im.RGB[3*i+c] >= 0.98 {
				im.RGB[3*i+c] = 1
				im.Flags[i] |= plane.HighR << c
			}
		}
	}
	return im
}

// A glaze whose red reaches the end of the codes is read by its other two channels: present, whitened as it is, its colour not
// told.
func TestOneChannelAtTheEndOfItsCodes(t *testing.T) {
	s := makeWall()
	for k := range s.colour {
		if k%cols < 7 {
			s.colour[k] = [3]float64{0.75, 0.16, 0.03} // orange
		}
	}
	ref := s.photo(shot{seed: 1})
	measured := func(ref, im *plane.Image) (*View, *PhotoResult) {
		v, err := NewView(s.spec, ref)
		require.NoError(t, err)
		p := Photo{Key: "a", Visit: "2020-01-01", PxPerRef: 1, Sharpness: 1}
		o := v.Observe(im, p)
		return v, v.Close([]*Reading{v.Read(im, p, v.Solve([]*Observation{o})[0])}, -1)[0]
	}
	brighter := func(f float64) *plane.Image {
		return s.photo(shot{seed: 2, gain: [3]float64{f, f, f}, alpha: drips})
	}
	brightRef := func() *plane.Image { return s.photo(shot{seed: 1, gain: [3]float64{1.5, 1.5, 1.5}}) }
	_, whole := measured(ref, brighter(1))
	for _, tc := range []struct {
		name     string
		ref, now *plane.Image
		told     bool // the orange glaze's colour
	}{
		{"in the photo", ref, clip(brighter(1.6)), false},
		{"in the reference", clip(brightRef()), brighter(1), false},
		{"in both", clip(brightRef()), clip(brighter(1.6)), false},
		{"in neither", ref, brighter(1.2), true},
	} {
		v, got := measured(tc.ref, tc.now)
		orange, colours := 0, 0
		for k, x := range got.Tiles {
			if k%cols >= 7 {
				continue
			}
			orange++
			assert.Equal(t, Present, x.State, "%s, tile %d", tc.name, k)
			assert.Greater(t, x.ReadPx, 0.9*float64(len(v.tiles[k].pix)), "%s, tile %d", tc.name, k)
			if !math.IsNaN(x.DriftDE00) {
				colours++
			}
		}
		assert.Equal(t, rows*7, orange)
		if tc.told {
			assert.Greater(t, colours, orange/2, tc.name)
		} else {
			assert.Zero(t, colours, tc.name)
		}
		for z, x := range got.Zones {
			assert.InDelta(t, whole.Zones[z].ScalePct, x.ScalePct, 2.5, "%s, zone %s", tc.name, s.spec.Zones[z].ID)
		}
	}
}

// Two channels at their end leave nothing to tell.
func TestTwoChannelsAtTheEndAreNotRead(t *testing.T) {
	s := makeWall()
	v, err := NewView(s.spec, s.photo(shot{seed: 1}))
	require.NoError(t, err)
	im := s.photo(shot{seed: 2})
	i := v.tiles[0].inner[0]
	for flags, want := range map[uint8]bool{0: true, plane.HighG: true, plane.HighR | plane.HighB: false, plane.High: false, plane.Outside: false, plane.Moving | plane.HighR: false, plane.Loose: false, plane.Loose | plane.HighR: false} {
		im.Flags[i] = flags
		_, ok := v.channels(im, i)
		assert.Equal(t, want, ok, "flags %b", flags)
	}
	assert.Equal(t, [3]int{0, 1, 2}, [3]int{channelOf(plane.HighR), channelOf(plane.HighG), channelOf(plane.HighB)})
	assert.Equal(t, [3]float64{2, 4, 3}, known([3]float64{2, 4, math.NaN()}))
	assert.Equal(t, [3]float64{1, 1, 1}, known([3]float64{math.NaN(), math.NaN(), math.NaN()}))
}

// Only a glaze far from the deposit's hue can do without a channel, and not without each.
func TestSpareChannels(t *testing.T) {
	for _, tc := range []struct {
		name  string
		glaze [3]float64
		want  uint8
	}{
		{"orange", [3]float64{0.75, 0.16, 0.03}, plane.HighR | plane.HighG | plane.HighB},
		{"blue", [3]float64{0.02, 0.05, 0.4}, plane.HighR | plane.HighG | plane.HighB},
		{"sand", [3]float64{0.7, 0.55, 0.4}, 0},
		{"white", [3]float64{0.8, 0.8, 0.75}, 0},
		{"grey", [3]float64{0.2, 0.2, 0.2}, 0},
		{"cyan", [3]float64{0.1, 0.6, 0.62}, plane.HighG | plane.HighB},
	} {
		assert.Equal(t, tc.want, spare(tc.glaze, white), tc.name)
	}
}

// What the alignment does not vouch for is left out of every look, whatever flags came to be told apart.
func TestLoosePixelsAreNotMeasured(t *testing.T) {
	s := makeWall()
	v, err := NewView(s.spec, s.photo(shot{seed: 1}))
	require.NoError(t, err)
	im := s.photo(shot{seed: 2, alpha: drips})
	for _, i := range v.tiles[0].pix {
		im.Flags[i] |= plane.Loose
	}
	p := Photo{Key: "a", Visit: "2020-01-01", PxPerRef: 1, Sharpness: 1}
	o := v.Observe(im, p)
	assert.Zero(t, o.Tiles[0].N, "pixels looked at")
	assert.Positive(t, o.Tiles[1].N)
	r := v.Read(im, p, v.Solve([]*Observation{o})[0])
	assert.Zero(t, r.Tiles[0].Read, "pixels read")
	assert.Positive(t, r.Tiles[1].Read)
	for _, i := range v.tiles[0].pix {
		require.Equal(t, uint8(PixUnread), r.Opacity[i])
	}
}
