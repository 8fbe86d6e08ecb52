package intake

import (
	"math/rand"
	"testing"

	"github.com/stretchr/testify/assert"
)

// textured is a picture of slopes and noise.
func textured(w, h int) []uint8 {
	pix := make([]uint8, 3*w*h)
	noise := rand.New(rand.NewSource(7))
	for i := range pix {
		x, y := (i/3)%w, i/3/w
		pix[i] = uint8(60 + 60*x/w + 40*y/h + noise.Intn(48))
	}
	return pix
}

// misread adds a step to a channel from block row by, column x on, as a misread block does.
func misread(pix []uint8, w, h, blockPx, by, x, channel, step int) {
	for y := by * blockPx; y < h; y++ {
		for xx := range w {
			if y < (by+1)*blockPx && xx < x {
				continue
			}
			i := 3*(y*w+xx) + channel
			pix[i] = uint8(min(max(int(pix[i])+step, 0), 255))
		}
	}
}

func TestSeam(t *testing.T) {
	const w, h, block = 640, 480, 16
	for _, c := range []struct {
		name    string
		change  func(pix []uint8)
		found   bool
		fromRow int
	}{
		{"nothing", func([]uint8) {}, false, 0},
		{"green up", func(p []uint8) { misread(p, w, h, block, 10, 300, 1, 20) }, true, 160},
		{"blue down", func(p []uint8) { misread(p, w, h, block, 20, 100, 2, -20) }, true, 320},
		{"weak", func(p []uint8) { misread(p, w, h, block, 10, 300, 1, 2) }, false, 0},
		{"a straight edge on a block row", func(p []uint8) { misread(p, w, h, block, 10, 0, 1, 40) }, false, 0},
		{"a straight edge between block rows", func(p []uint8) { misread(p, w, h, 1, 168, 0, 1, 40) }, false, 0},
		{"a stair of another height", func(p []uint8) { misread(p, w, h, 40, 4, 300, 1, 40) }, false, 0},
		{"a steep slope", func(p []uint8) {
			for i := range p {
				p[i] = uint8((i/3/w)*8%256/2 + 60)
			}
		}, false, 0},
	} {
		pix := textured(w, h)
		c.change(pix)
		s := findSeam(pix, w, h, block)
		assert.Equal(t, c.found, s.found(), "%s: %+v", c.name, s)
		if c.found {
			assert.Equal(t, c.fromRow, s.y, c.name)
		}
	}
	assert.False(t, findSeam(nil, 0, 0, 16).found())
	assert.False(t, findSeam(make([]uint8, 3*8*8), 8, 8, 8).found())
}
