package register

import (
	"context"
	"encoding/csv"
	"encoding/xml"
	"image"
	"image/draw"
	_ "image/jpeg"
	_ "image/png"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestMappingAgainstPublishedHomographies applies matrices with known answers. Values and sources:
// testdata/values/homography.csv and homography_matrices.csv.
func TestMappingAgainstPublishedHomographies(t *testing.T) {
	matrices := map[string][9]float64{}
	for _, r := range table(t, "homography_matrices.csv") {
		var h [9]float64
		for i, c := range []string{"h11", "h12", "h13", "h21", "h22", "h23", "h31", "h32", "h33"} {
			v, err := strconv.ParseFloat(r[c], 64)
			require.NoError(t, err)
			h[i] = v
		}
		matrices[r["case"]] = h
	}
	tol := map[string]float64{"graf_1to3": 1e-5, "unit_square_to_quad": 1e-6, "cards": 1e-6}
	seen := 0
	for _, r := range table(t, "homography.csv") {
		h, ok := matrices[r["case"]]
		if !ok || tol[r["case"]] == 0 {
			continue
		}
		n := func(c string) float64 {
			v, err := strconv.ParseFloat(r[c], 64)
			require.NoError(t, err)
			return v
		}
		x, y := Mapping{PhotoFromRef: h}.Photo(n("x"), n("y"))
		assert.InDelta(t, n("u"), x, tol[r["case"]], "%v", r)
		assert.InDelta(t, n("v"), y, tol[r["case"]], "%v", r)
		seen++
	}
	assert.Greater(t, seen, 8)
}

func table(t *testing.T, name string) []map[string]string {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "testdata", "values", name))
	require.NoError(t, err)
	defer f.Close()
	recs, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	var rows []map[string]string
	for _, rec := range recs[1:] {
		row := map[string]string{}
		for i, h := range recs[0] {
			row[h] = rec[i]
		}
		rows = append(rows, row)
	}
	return rows
}

// docPictures are pictures that Debian's package opencv-doc carries; they are used in place.
const docPictures = "/usr/share/doc/opencv-doc/examples/data"

func docPicture(t *testing.T, name string) *image.Gray {
	t.Helper()
	f, err := os.Open(filepath.Join(docPictures, name))
	if err != nil {
		t.Skip("Debian's package opencv-doc is not installed (its pictures are used in place)")
	}
	defer f.Close()
	img, _, err := image.Decode(f)
	require.NoError(t, err)
	g := image.NewGray(img.Bounds())
	draw.Draw(g, g.Rect, img, img.Bounds().Min, draw.Src)
	return g
}

// The viewpoint pair of the affine-covariant-features set (Mikolajczyk et al., 2005), with its published homography. The
// fair line on this pair, whose wall is not quite flat and whose truth is good to about a pixel, is a mean error of
// 0.8 px over the overlap and 2 px at the corners (measured over orders of the same matches with four feature types).
func TestPublishedViewpointPair(t *testing.T) {
	ref, photo := docPicture(t, "graf1.png"), docPicture(t, "graf3.png")
	b, err := os.ReadFile(filepath.Join(docPictures, "H1to3p.xml"))
	require.NoError(t, err)
	var doc struct {
		H struct {
			Data string `xml:"data"`
		} `xml:"H13"`
	}
	require.NoError(t, xml.Unmarshal(b, &doc))
	var truth [9]float64
	for i, s := range strings.Fields(doc.H.Data) {
		truth[i], err = strconv.ParseFloat(s, 64)
		require.NoError(t, err)
	}
	res := alignOne(t, ref, photo)
	require.True(t, res.Accepted, "%s: %s", res.Reason, res.Detail)
	// errors are counted in the photo, which here has about the reference's scale
	sum, n := 0.0, 0
	for y := 0.0; y < 640; y += 10 {
		for x := 0.0; x < 800; x += 10 {
			tx, ty := Mapping{PhotoFromRef: truth}.Photo(x, y)
			if tx < 0 || ty < 0 || tx > 799 || ty > 639 {
				continue
			}
			px, py := res.Mapping.Photo(x, y)
			sum += math.Hypot(px-tx, py-ty)
			n++
		}
	}
	assert.Less(t, sum/float64(n), 0.8)
	all := Mapping{PhotoFromRef: res.Mapping.PhotoFromRef, Field: res.Mapping.Field}
	assert.Greater(t, all.Overlap(800, 640, 800, 640), .95, "97.6 percent of the reference lie inside the photo")
	assert.Greater(t, res.OverlapPct, 85.0, "what is not held are the cars before the wall, along the lower rim")
	assert.False(t, res.Mapping.Holds(100, 620), "a car's boot, at another depth than the wall")
	for y := 100.; y < 500; y += 20 {
		for x := 100.; x < 780; x += 20 {
			assert.True(t, res.Mapping.Holds(x, y), "the wall itself: (%v, %v)", x, y)
		}
	}
}

// A street scene under another exposure and tone: the camera stood still, so the mapping is the identity.
func TestPictureUnderAnotherLight(t *testing.T) {
	ref := docPicture(t, "leuvenA.jpg")
	dark := image.NewGray(ref.Rect)
	for i, v := range ref.Pix {
		dark.Pix[i] = uint8(200 * math.Pow(float64(v)/255, 1.6))
	}
	res := alignOne(t, ref, dark)
	require.True(t, res.Accepted, "%s: %s", res.Reason, res.Detail)
	for y := 0.1; y < 1; y += 0.1 {
		for x := 0.1; x < 1; x += 0.1 {
			rx, ry := x*float64(ref.Rect.Dx()), y*float64(ref.Rect.Dy())
			px, py := res.Mapping.Photo(rx, ry)
			assert.InDelta(t, rx, px, 0.3)
			assert.InDelta(t, ry, py, 0.3)
		}
	}
}

// Two frames for a panorama: the camera turned, houses stand at different depths, and half of the picture is another one.
// No mapping of a surface joins them, so none may be measured.
func TestAnotherFramingInDepthIsRefused(t *testing.T) {
	res := alignOne(t, docPicture(t, "leuvenA.jpg"), docPicture(t, "leuvenB.jpg"))
	assert.False(t, res.Accepted)
	assert.NotEmpty(t, res.Reason.Words())
}

func alignOne(t *testing.T, ref, photo *image.Gray) Result {
	t.Helper()
	opt := DefaultOptions()
	r, err := NewReference("v", ref, opt)
	require.NoError(t, err)
	return Align(context.Background(), []*Reference{r}, photo, "", opt)
}
