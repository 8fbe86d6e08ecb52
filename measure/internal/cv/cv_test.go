package cv

import (
	"image"
	"os"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestMain(m *testing.M) { os.Exit(leak(m.Run())) }

func TestThrownExceptionIsAnError(t *testing.T) {
	require.ErrorContains(t, throw(), "opencv:")
}

func TestPicturesOutsideOfLimitsAreRefused(t *testing.T) {
	for _, r := range []image.Rectangle{{}, image.Rect(0, 0, MinSide-1, 500), image.Rect(0, 0, 500, MaxSide+1)} {
		_, err := Charts(&image.RGBA{Rect: r}, 1, 500)
		require.ErrorContains(t, err, "sides of")
	}
	_, err := Charts(image.NewRGBA(image.Rect(0, 0, 100, 100)), 0, 500)
	require.Error(t, err)
}

func TestEmptyWallHoldsNoChart(t *testing.T) {
	im := image.NewRGBA(image.Rect(3, 5, 403, 305)) // not at the origin
	for i := range im.Pix {
		im.Pix[i] = uint8(90 + i%7)
	}
	found, err := Charts(im, 2, 300)
	require.NoError(t, err)
	require.Empty(t, found)
}
