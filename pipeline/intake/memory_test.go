package intake

import (
	"bytes"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"os"
	"path/filepath"
	"runtime"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/image/tiff"
)

// What a photo says it needs is what reading it takes: workers share memory by it. All that is allocated counts, whether
// it lives at the same time or not; what libjpeg takes does not.
func TestPhotosSayWhatMemoryTheyNeed(t *testing.T) {
	const w, h = 1500, 1000
	rgba, deep, grey := image.NewRGBA(image.Rect(0, 0, w, h)), image.NewRGBA64(image.Rect(0, 0, w, h)), image.NewGray(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			v := uint8(x*7 ^ y*3)
			rgba.SetRGBA(x, y, color.RGBA{v, uint8(x / 8), uint8(y / 8), 255})
			deep.SetRGBA64(x, y, color.RGBA64{uint16(v) * 250, uint16(x), uint16(y), 0xffff})
			grey.Pix[y*w+x] = v
		}
	}
	encoders := map[string]func(*bytes.Buffer) error{
		"colour.jpg": func(b *bytes.Buffer) error { return jpeg.Encode(b, rgba, nil) },
		"grey.jpg":   func(b *bytes.Buffer) error { return jpeg.Encode(b, grey, nil) },
		"colour.png": func(b *bytes.Buffer) error { return png.Encode(b, rgba) },
		"deep.png":   func(b *bytes.Buffer) error { return png.Encode(b, deep) },
		"grey.png":   func(b *bytes.Buffer) error { return png.Encode(b, grey) },
		"colour.tif": func(b *bytes.Buffer) error { return tiff.Encode(b, rgba, nil) },
		"deep.tif":   func(b *bytes.Buffer) error { return tiff.Encode(b, deep, nil) },
		"packed.tif": func(b *bytes.Buffer) error {
			return tiff.Encode(b, rgba, &tiff.Options{Compression: tiff.Deflate, Predictor: true})
		},
	}
	dir := t.TempDir()
	for name, encode := range encoders {
		t.Run(name, func(t *testing.T) {
			var b bytes.Buffer
			require.NoError(t, encode(&b))
			require.NoError(t, os.WriteFile(filepath.Join(dir, name), b.Bytes(), 0o644))
			told, err := Inspect(dir, name, Limits{})
			require.NoError(t, err)
			var before, after runtime.MemStats
			runtime.ReadMemStats(&before)
			p, _, err := take(dir, name, Limits{}, true) // in what Read does besides, pixels are picked
			runtime.ReadMemStats(&after)
			require.NoError(t, err)
			require.Equal(t, w, p.W)
			took := int64(after.TotalAlloc - before.TotalAlloc)
			assert.LessOrEqual(t, took, told.Memory+told.Memory/10+1<<20, "of %d told", told.Memory)
			assert.GreaterOrEqual(t, 3*took, told.Memory, "of %d told: more than three times what is needed", told.Memory)
		})
	}
}
