package pipeline

import (
	"context"
	"image"
	"image/png"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A reference without colours is no end of the survey: its photos are aligned and shown, and nothing is told of them. Beside a
// reference with colours a photo without is refused.
func TestWithoutColoursPhotosAreShownNotMeasured(t *testing.T) {
	shot := tiled(1, .03, 10, -6)
	for _, tc := range []struct {
		name      string
		reference image.Image
		photos    map[string]image.Image
		used      map[string]bool
	}{
		{"reference without", tiled(1, 0, 0, 0), map[string]image.Image{"2001-05-01 grey.png": shot, "2002-05-01 edged.png": edged(shot)},
			map[string]bool{"2001-05-01 grey.png": true, "2002-05-01 edged.png": true}},
		{"reference with", edged(tiled(1, 0, 0, 0)), map[string]image.Image{"2001-05-01 grey.png": shot, "2002-05-01 edged.png": edged(shot)},
			map[string]bool{"2001-05-01 grey.png": false, "2002-05-01 edged.png": true}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			dir := t.TempDir()
			save := func(name string, im image.Image) {
				require.NoError(t, os.MkdirAll(filepath.Join(dir, filepath.Dir(name)), 0o755))
				f, err := os.Create(filepath.Join(dir, name))
				require.NoError(t, err)
				require.NoError(t, png.Encode(f, im))
				require.NoError(t, f.Close())
			}
			save("reference/wall.png", tc.reference)
			for name, im := range tc.photos {
				save("photos/"+name, im)
			}
			require.NoError(t, os.WriteFile(filepath.Join(dir, "survey.yaml"), []byte("site: Mill\nviews:\n  - id: wall\n    reference: reference/wall.png\n"), 0o644))
			out := filepath.Join(dir, "out")
			_, err := Run(context.Background(), Options{Survey: dir, Out: out, Jobs: 2})
			require.NoError(t, err)
			photos := rowsOf(t, out, "photos.csv")
			require.Len(t, photos, len(tc.used))
			for _, p := range photos {
				name := filepath.Base(p["photo"])
				if !tc.used[name] {
					assert.Equal(t, "rejected", p["status"], name)
					assert.Contains(t, p["reason"], "no colours", name)
					continue
				}
				assert.Equal(t, "used", p["status"], "%s: %s", name, p["reason"])
				assert.Equal(t, tc.name == "reference without", strings.Contains(p["notes"], shownOnly), "%s: %q", name, p["notes"])
			}
			if tc.name != "reference without" {
				return
			}
			for _, z := range rowsOf(t, out, "zones.csv") {
				assert.Empty(t, z["scale_pct"]+z["drift_de00"])
				assert.Equal(t, "0", z["tiles_missing"])
				assert.Equal(t, "0", z["tiles_offpalette"])
			}
			for _, x := range rowsOf(t, out, "tiles.csv") {
				assert.Contains(t, []string{"unreadable", "outside"}, x["state"])
				assert.Empty(t, x["scale_pct"])
			}
			assert.FileExists(t, filepath.Join(out, "overlays", "wall", "2001-05-01.jpg"))
		})
	}
}
