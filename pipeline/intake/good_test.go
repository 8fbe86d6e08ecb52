package intake

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tilelapse/pipeline/intake/heif"
)

const (
	goodDir = "../../testdata/intake"
	badDir  = "../../testdata/damaged"
)

// patternBlocks are the colours that scripts/testfiles draws, in blocks of 16 px.
var patternBlocks = [2][3][3]float64{
	{{200, 40, 40}, {40, 160, 60}, {50, 70, 190}},
	{{220, 200, 60}, {128, 128, 128}, {235, 230, 220}},
}

// code returns the encoded sample of a channel in units of 8 bit codes.
func (p *Picture) code(x, y, c int) float64 {
	i := 3*(y*p.W+x) + c
	if p.Pix16 != nil {
		return float64(p.Pix16[i]) / 257
	}
	return float64(p.Pix[i])
}

// requirePattern compares the middle of every block with the pattern.
func requirePattern(t *testing.T, p *Picture, tol float64) {
	t.Helper()
	require.Equal(t, [2]int{48, 32}, [2]int{p.W, p.H})
	for by := range 2 {
		for bx := range 3 {
			for c := range 3 {
				assert.InDelta(t, patternBlocks[by][bx][c], p.code(16*bx+8, 16*by+8, c), tol, "block %d,%d channel %d", bx, by, c)
			}
		}
	}
}

func needHEIF(t *testing.T) {
	t.Helper()
	if v, err := heif.Version(); err != nil {
		t.Skip("no libheif here: ", err)
	} else {
		t.Log("libheif ", v)
	}
}

// TestPatternComesBack reads every format and turn: the same upright pattern must come out.
func TestPatternComesBack(t *testing.T) {
	for _, c := range []struct {
		name, format, colour string
		tol                  float64 // 8 bit codes: lossy formats only
		notes                string  // part of a note that must be there; "" = no notes
	}{
		{"plain.jpg", "JPEG", "sRGB (no profile)", 3, ""},
		{"turn-1.jpg", "JPEG", "sRGB (no profile)", 3, ""},
		{"turn-2.jpg", "JPEG", "sRGB (no profile)", 3, ""},
		{"turn-3.jpg", "JPEG", "sRGB (no profile)", 3, ""},
		{"turn-4.jpg", "JPEG", "sRGB (no profile)", 3, ""},
		{"turn-5.jpg", "JPEG", "sRGB (no profile)", 3, ""},
		{"turn-6.jpg", "JPEG", "sRGB (no profile)", 3, ""},
		{"turn-7.jpg", "JPEG", "sRGB (no profile)", 3, ""},
		{"turn-8.jpg", "JPEG", "sRGB (no profile)", 3, ""},
		{"turn-bad.jpg", "JPEG", "sRGB (no profile)", 3, "orientation 77"},
		{"exif-damaged.jpg", "JPEG", "sRGB (no profile)", 3, "metadata damaged"},
		{"extraneous.jpg", "JPEG", "sRGB (no profile)", 3, "in 3 places"},
		{"no-end.jpg", "JPEG", "sRGB (no profile)", 3, "end mark"},
		{"uncalibrated.jpg", "JPEG", "sRGB (no profile)", 3, "uncalibrated"},
		{"r03.jpg", "JPEG", "Adobe RGB (1998) (EXIF)", 3, ""},
		{"p3.jpg", "JPEG", "Display P3", 3, ""},
		{"adobe.jpg", "JPEG", "Adobe RGB (1998)", 3, ""},
		{"d50-gamma18.jpg", "JPEG", "profile: white D50, gamma 1.8", 3, ""},
		{"srgb-v2.jpg", "JPEG", "sRGB", 3, ""},
		{"srgb-v4.jpg", "JPEG", "sRGB", 3, ""},
		{"arithmetic.jpg", "JPEG", "sRGB (no profile)", 3, ""},
		{"no-transform.jpg", "JPEG", "sRGB (no profile)", 3, ""},
		{"restarts.jpg", "JPEG", "sRGB (no profile)", 3, ""},
		{"two-pictures.jpg", "JPEG", "sRGB (no profile)", 3, ""},
		{"with-film.jpg", "JPEG", "sRGB (no profile)", 3, ""},
		{"mislabelled.jpg", "PNG", "sRGB (no profile)", 0, "named .jpg, but is PNG"},
		{"second.dat", "JPEG", "sRGB (no profile)", 3, ""},
		{"rgb.png", "PNG", "sRGB (no profile)", 0, ""},
		{"rgb16.png", "PNG", "sRGB (no profile)", 0.5, ""},
		{"behind.png", "PNG", "sRGB (no profile)", 0, ""},
		{"interlaced.png", "PNG", "sRGB (no profile)", 0, ""},
		{"one-frame.png", "PNG", "sRGB (no profile)", 0, ""},
		{"srgb.png", "PNG", "sRGB", 0, ""},
		{"p3.png", "PNG", "Display P3", 0, ""},
		{"cicp-p3.png", "PNG", "Display P3", 0, ""},
		{"gamma.png", "PNG", "gamma and primaries in the file", 0, ""},
		{"gamma-srgb.png", "PNG", "sRGB", 0, ""},
		{"turn-6.png", "PNG", "sRGB (no profile)", 0, ""},
		{"swapped.png", "PNG", "profile: red and green swapped", 0, ""},
		{"rgba-deflate.tif", "TIFF", "sRGB (no profile)", 0, ""},
		{"rgb16.tif", "TIFF", "sRGB (no profile)", 0.5, ""},
		{"tiles-lzw.tif", "TIFF", "sRGB (no profile)", 0, ""},
		{"p3.tif", "TIFF", "Display P3", 0, ""},
		{"turn-8.tif", "TIFF", "sRGB (no profile)", 0, ""},
		{"big-endian.tif", "TIFF", "sRGB (no profile)", 0, ""},
		{"strips-packbits.tif", "TIFF", "sRGB (no profile)", 0, ""},
		{"strips-lzw2.tif", "TIFF", "sRGB (no profile)", 0, ""},
		{"planes-lzw.tif", "TIFF", "sRGB (no profile)", 0, ""},
		{"planes-tiles.tif", "TIFF", "sRGB (no profile)", 0, ""},
		{"tiles-zip2.tif", "TIFF", "sRGB (no profile)", 0, ""},
		{"deep-big-endian-zip2.tif", "TIFF", "sRGB (no profile)", 0.5, ""},
		{"deep-tiles-lzw2.tif", "TIFF", "sRGB (no profile)", 0.5, ""},
		{"pages.tif", "TIFF", "sRGB (no profile)", 0, "3 pages"},
		{"lossless.webp", "WebP", "sRGB (no profile)", 0, ""},
		{"swapped.webp", "WebP", "profile: red and green swapped", 0, ""},
		{"turn-6-prefix.webp", "WebP", "sRGB (no profile)", 0, ""},
		{"turn-6.webp", "WebP", "sRGB (no profile)", 0, ""},
		{"phone.heic", "HEIF", "sRGB (no profile)", 4, ""},
		{"swapped.heic", "HEIF", "profile: red and green swapped", 4, ""},
		{"turned-twice.heic", "HEIF", "sRGB (no profile)", 4, ""}, // EXIF 6 and the container's own turn: turned once
		{"ten-bits.heic", "HEIF", "sRGB (no profile)", 4, "10 bits a sample, read as 8"},
	} {
		t.Run(c.name, func(t *testing.T) {
			if c.format == fmtHEIF {
				needHEIF(t)
			}
			p, f, err := Read(goodDir, c.name, Limits{})
			require.NoError(t, err)
			requirePattern(t, p, c.tol)
			assert.Equal(t, c.format, f.Format)
			assert.Equal(t, c.colour, p.Colour)
			assert.Equal(t, c.colour, f.Colour)
			assert.Equal(t, [2]int{48, 32}, [2]int{f.W, f.H}, "size in the facts is upright")
			if c.notes == "" {
				assert.Empty(t, f.Notes)
			} else {
				assert.Contains(t, strings.Join(f.Notes, "|"), c.notes)
			}
			g, err := Inspect(goodDir, c.name, Limits{})
			require.NoError(t, err)
			assert.Equal(t, f.SHA256, g.SHA256)
			assert.Equal(t, [4]any{f.W, f.H, f.Colour, f.Taken}, [4]any{g.W, g.H, g.Colour, g.Taken}, "Inspect tells what Read tells")
		})
	}
}

// TestOrientationIsKept tells that the facts say how the file was stored.
func TestOrientationIsKept(t *testing.T) {
	for o := 1; o <= 8; o++ {
		f, err := Inspect(goodDir, fmt.Sprintf("turn-%d.jpg", o), Limits{})
		require.NoError(t, err)
		assert.Equal(t, o, f.Orientation)
	}
}

// TestTurned compares every turn with the definition, on a picture of odd and different sides.
func TestTurned(t *testing.T) {
	// Stored: a 3 x 2 picture of pixels 0..5 row by row. Upright: written by hand from the EXIF definition (CIPA
	// DC-008, tag 0x0112: where the 0th row and the 0th column are).
	for o, want := range map[int][]uint16{
		1: {0, 1, 2, 3, 4, 5},
		2: {2, 1, 0, 5, 4, 3},
		3: {5, 4, 3, 2, 1, 0},
		4: {3, 4, 5, 0, 1, 2},
		5: {0, 3, 1, 4, 2, 5},
		6: {3, 0, 4, 1, 5, 2},
		7: {5, 2, 4, 1, 3, 0},
		8: {2, 5, 1, 4, 0, 3},
	} {
		p := &Picture{W: 3, H: 2, Pix16: make([]uint16, 18)}
		for i := range p.Pix16 {
			p.Pix16[i] = uint16(i / 3)
		}
		p.turn(o)
		got := make([]uint16, 6)
		for i := range got {
			got[i] = p.Pix16[3*i]
		}
		assert.Equal(t, want, got, "orientation %d", o)
		if o >= 5 {
			assert.Equal(t, [2]int{2, 3}, [2]int{p.W, p.H})
		}
	}
}

func TestGreyPictures(t *testing.T) {
	for _, name := range []string{"grey.jpg", "grey-gamma18.jpg", "grey.png", "grey-white0.tif"} {
		p, _, err := take(goodDir, name, Limits{}, true)
		require.NoError(t, err, name)
		for by := range 2 {
			for bx := range 3 {
				for c := range 3 {
					assert.InDelta(t, 40*(1+bx+3*by), p.code(16*bx+8, 16*by+8, c), 2, name)
				}
			}
		}
	}
	p, f, err := take(goodDir, "grey-gamma18.jpg", Limits{}, true)
	require.NoError(t, err)
	assert.Equal(t, "grey: grey gamma 1.8", f.Colour)
	assert.InDelta(t, math.Pow(128.0/255, 461.0/256), p.Curve[1][128], 1e-6)
	for _, name := range []string{"grey16.png", "grey16.tif"} {
		p, _, err := take(goodDir, name, Limits{}, true)
		require.NoError(t, err, name)
		for _, at := range [][2]int{{0, 0}, {47, 31}, {13, 7}} {
			assert.Equal(t, uint16(1000*at[0]+300*at[1]), p.Pix16[3*(at[1]*48+at[0])+2], name)
		}
	}
}

// TestPicturesWithoutColoursAreRefused: measured, a black and white photo of a clean wall gave a third of it as whitened.
func TestPicturesWithoutColoursAreRefused(t *testing.T) {
	for name, refused := range map[string]bool{
		"grey.jpg": true, "grey-gamma18.jpg": true, "grey.png": true, "grey16.png": true, "grey16.tif": true, "grey-white0.tif": true,
		"toned.png": true, "toned.jpg": true, "tinted.png": false, "rgb.png": false, "rgb16.tif": false,
	} {
		_, err := Inspect(goodDir, name, Limits{})
		require.NoError(t, err, "only the pixels tell")
		p, f, err := Read(goodDir, name, Limits{})
		assert.Len(t, f.SHA256, 64, name)
		if !refused {
			assert.NoError(t, err, name)
			continue
		}
		var r *Error
		require.ErrorAs(t, err, &r, name)
		assert.Equal(t, NoColours, r.Reason)
		assert.Equal(t, Rejected, r.Kind)
		assert.Nil(t, p)
		p, _, err = Read(goodDir, name, Limits{Colourless: true})
		require.NoError(t, err, "to be shown")
		assert.True(t, p.Colourless())
	}
	assert.True(t, (&Picture{W: 1, H: 1, Pix: []uint8{9, 200, 3}}).Colourless(), "one pixel is one tone")
}

// TestSixteenBitsArrive tells that what 8 bits can't show is there.
func TestSixteenBitsArrive(t *testing.T) {
	for _, name := range []string{"rgb16.png", "rgb16.tif", "deep-big-endian-zip2.tif", "deep-tiles-lzw2.tif"} {
		p, _, err := Read(goodDir, name, Limits{})
		require.NoError(t, err)
		for x := range 16 {
			assert.Equal(t, uint16(200*257+8*x), p.Pix16[3*x], name)
			assert.Equal(t, uint16(40*257+8*x), p.Pix16[3*x+1], name)
		}
		assert.Len(t, p.Curve[0], 65536)
	}
}

func TestSeeThroughIsBlack(t *testing.T) {
	p, f, err := Read(goodDir, "see-through.png", Limits{})
	require.NoError(t, err)
	assert.Equal(t, []uint8{0, 0, 0}, p.Pix[3*(8*48+8):3*(8*48+8)+3])
	assert.InDelta(t, 160, p.code(24, 8, 1), 0)
	assert.Contains(t, f.Notes[0], "16.7 %")
	p, f, err = Read(goodDir, "rgba16.png", Limits{})
	require.NoError(t, err)
	assert.Equal(t, []uint16{0, 0, 0}, p.Pix16[3*(8*48+7):3*(8*48+8)])
	assert.InDelta(t, 200, p.code(8, 8, 0), 0.5)
	assert.Contains(t, f.Notes[0], "16.7 %")
}

// TestSwappedProfile tells that the profile's matrix is used: red and green come out exchanged.
func TestSwappedProfile(t *testing.T) {
	for _, name := range []string{"swapped.png", "swapped.webp", "swapped.heic"} {
		t.Run(name, func(t *testing.T) {
			if strings.HasSuffix(name, "heic") {
				needHEIF(t)
			}
			p, _, err := Read(goodDir, name, Limits{})
			require.NoError(t, err)
			plain, _, err := Read(goodDir, "rgb.png", Limits{})
			require.NoError(t, err)
			for _, at := range [][2]int{{8, 8}, {24, 8}, {40, 24}} {
				got, want := p.Linear(at[0], at[1]), plain.Linear(at[0], at[1])
				assert.InDelta(t, want[1], got[0], 0.02)
				assert.InDelta(t, want[0], got[1], 0.02)
				assert.InDelta(t, want[2], got[2], 0.02)
			}
		})
	}
}

func TestCapture(t *testing.T) {
	f, err := Inspect(goodDir, "capture.jpg", Limits{})
	require.NoError(t, err)
	want := &Facts{
		SHA256: f.SHA256, Bytes: f.Bytes, Memory: f.Memory, Format: "JPEG", W: 48, H: 32, Orientation: 1, Taken: "2021-06-05T14:03:09",
		Offset: "+02:00", Camera: "Halyard HX-12", Model: "HX-12", Lens: "HX 24-70", FocalMM: 35, ExposureS: 0.004, FNumber: 5.6, ISO: 200,
		Colour: "sRGB (no profile)",
	}
	assert.Equal(t, want, f)
	b, err := json.Marshal(f)
	require.NoError(t, err)
	for _, position := range []string{"12.58", "98.76", "56.78", "43.21", "GPS", "atitude"} {
		assert.NotContains(t, string(b), position)
	}
}

func TestWhoseDate(t *testing.T) {
	for name, c := range map[string]struct {
		taken   string
		scanner bool
		note    string
	}{
		"scanner-source.jpg":      {"", true, "scanner"},
		"scanner-word.jpg":        {"", true, "scanner"},
		"scan-program.jpg":        {"", true, "scanner"},
		"camera-scan-program.jpg": {"2021-06-05T14:03:09", false, ""}, // FileSource says camera
		"no-exposure.jpg":         {"2021-06-05T14:03:09", false, "no exposure data"},
		"turn-6-prefix.webp":      {"2021-06-05T14:03:09", false, ""},
		"date-zero.jpg":           {"", false, ""},
		"date-bad.jpg":            {"", false, "can't be read"},
		"date-digitised-only.jpg": {"", false, ""},
		"turn-6.png":              {"2021-06-05T14:03:09", false, ""},
		"turn-8.tif":              {"2021-06-05T14:03:09", false, ""},
		"turn-6.webp":             {"2021-06-05T14:03:09", false, ""},
	} {
		f, err := Inspect(goodDir, name, Limits{})
		require.NoError(t, err, name)
		assert.Equal(t, c.taken, f.Taken, name)
		assert.Equal(t, c.scanner, f.Scanner, name)
		if c.note == "" {
			assert.Empty(t, f.Notes, name)
		} else {
			assert.Contains(t, strings.Join(f.Notes, "|"), c.note, name)
		}
	}
}

// TestUprightIsTurned: decoding into place gives what decoding and turning gives.
func TestUprightIsTurned(t *testing.T) {
	const w, h = 5, 3
	for o := 1; o <= 8; o++ {
		p := &Picture{W: w, H: h, Pix16: make([]uint16, 3*w*h)}
		for i := range p.Pix16 {
			p.Pix16[i] = uint16(i)
		}
		to, got := newUpright(w, h, o), make([]uint16, 3*w*h)
		for y := range h {
			for x := range w {
				copy(got[3*(to.base+x*to.dx+y*to.dy):][:3], p.Pix16[3*(y*w+x):])
			}
		}
		p.turn(o)
		assert.Equal(t, p.Pix16, got, "orientation %d", o)
		assert.Equal(t, [2]int{p.W, p.H}, [2]int{to.w, to.h})
	}
}

// TestEveryGoodFileIsTaken reads all of testdata/intake, so that no file lies there unread.
func TestEveryGoodFileIsTaken(t *testing.T) {
	entries, err := os.ReadDir(goodDir)
	require.NoError(t, err)
	n := 0
	for _, e := range entries {
		if strings.HasSuffix(e.Name(), ".icc") {
			continue
		}
		if _, err := heif.Version(); err != nil && strings.HasSuffix(e.Name(), ".heic") {
			continue
		}
		p, _, err := take(goodDir, e.Name(), Limits{}, true)
		if assert.NoError(t, err, e.Name()) {
			n++
			assert.Equal(t, 3*p.W*p.H, len(p.Pix)+len(p.Pix16), e.Name())
			assert.Equal(t, p.W*p.H, len(p.Grey().Pix))
			again, _, err := take(goodDir, e.Name(), Limits{}, true)
			require.NoError(t, err)
			assert.Equal(t, p, again, "same bytes again: %s", e.Name())
		}
	}
	assert.Greater(t, n, 50)
	_, err = os.Stat(filepath.Join(goodDir, "plain.jpg"))
	require.NoError(t, err)
}

func TestGrey(t *testing.T) {
	p := &Picture{W: 4, H: 1, Pix: []uint8{255, 255, 255, 255, 0, 0, 0, 255, 0, 0, 0, 255}}
	// 0.299, 0.587, 0.114 of 255: ITU-R BT.601-7, 2.5.1.
	assert.Equal(t, []uint8{255, 76, 150, 29}, p.Grey().Pix)
	deep := &Picture{W: 4, H: 1, Pix16: make([]uint16, 12)}
	for i, v := range p.Pix {
		deep.Pix16[i] = uint16(v) * 257
	}
	assert.Equal(t, p.Grey().Pix, deep.Grey().Pix)
}
