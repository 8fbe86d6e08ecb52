package cv

import (
	"image"
	"math/rand"
	"os"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func noise(w, h int) *image.Gray {
	r := rand.New(rand.NewSource(1))
	im := image.NewGray(image.Rect(0, 0, w, h))
	for y := 0; y < h; y += 8 {
		for x := 0; x < w; x += 8 {
			v := uint8(r.Intn(256))
			for j := y; j < y+8 && j < h; j++ {
				for i := x; i < x+8 && i < w; i++ {
					im.Pix[j*im.Stride+i] = v
				}
			}
		}
	}
	return im
}

func TestGuardTurnsExceptionIntoError(t *testing.T) {
	err := throw()
	require.Error(t, err)
	assert.Contains(t, err.Error(), "on purpose")
}

func TestEmptyPictureIsAnError(t *testing.T) {
	_, _, err := SIFT(image.NewGray(image.Rect(0, 0, 0, 0)), 10, .02)
	assert.Error(t, err)
}

func TestPictureWithoutTextureHasNoPoints(t *testing.T) {
	im := image.NewGray(image.Rect(0, 0, 200, 100))
	p, d, err := SIFT(im, 100, .02)
	require.NoError(t, err)
	assert.Empty(t, p)
	assert.Empty(t, d)
	o, b, err := ORB(im, 100)
	require.NoError(t, err)
	assert.Empty(t, o)
	assert.Empty(t, b)
}

func TestPictureMatchesItself(t *testing.T) {
	im := noise(320, 240)
	p, d, err := SIFT(im, 200, .02)
	require.NoError(t, err)
	require.Greater(t, len(p), 50)
	require.Len(t, d, len(p)*SIFTDim)
	m, err := Match16(d, d, SIFTDim)
	require.NoError(t, err)
	same := 0
	for i, j := range m.AB {
		if int(j) == i {
			same++
		}
	}
	assert.Greater(t, same, len(p)*9/10) // points with two angles may be equal
	a, b, err := AKAZE(im, 200, .001)
	require.NoError(t, err)
	require.NotEmpty(t, a)
	k, err := MatchBits(b, b, len(b)/len(a))
	require.NoError(t, err)
	assert.Equal(t, int32(0), k.AB[0])
}

func TestCorrelatePeaksAtTheShift(t *testing.T) {
	const w, h, sx, sy = 64, 48, 3, -2
	r := rand.New(rand.NewSource(2))
	ref, img := make([]int16, w*h), make([]int16, w*h)
	for i := range ref {
		ref[i] = int16(r.Intn(200) - 100)
	}
	for y := 0; y < h; y++ {
		for x := 0; x < w; x++ {
			if u, v := x-sx, y-sy; u >= 0 && v >= 0 && u < w && v < h {
				img[y*w+x] = ref[v*w+u]
			}
		}
	}
	out, err := Correlate(ref, img, w, h, 1, []int32{30, 24}, 8, 4)
	require.NoError(t, err)
	best := 0
	for i, v := range out {
		if v > out[best] {
			best = i
		}
	}
	assert.Equal(t, sx, best%9-4)
	assert.Equal(t, sy, best/9-4)
	_, err = Correlate(ref, img, w, h, 1, []int32{10, 24}, 8, 4)
	assert.Error(t, err)
}

func TestHomographyOfCoincidentPointsIsNone(t *testing.T) {
	p := make([]float32, 20)
	_, _, ok, err := Homography(p, p, USACMagsac, 1, 500)
	assert.NoError(t, err)
	assert.False(t, ok)
	_, _, ok, err = Homography(p[:6], p[:6], RANSAC, 1, 500)
	assert.NoError(t, err)
	assert.False(t, ok)
}

func TestConstantsAreTheHeaders(t *testing.T) {
	assert.Equal(t, constant(0), RANSAC)
	assert.Equal(t, constant(1), USACMagsac)
}

func TestMain(m *testing.M) { os.Exit(leak(m.Run())) }
