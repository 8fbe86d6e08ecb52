package intake

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/stretchr/testify/require"
)

// seeds adds the files of testdata whose name has one of the endings.
func seeds(f *testing.F, endings ...string) {
	for _, dir := range []string{goodDir, badDir} {
		entries, err := os.ReadDir(dir)
		if err != nil {
			f.Fatal(err)
		}
		for _, e := range entries {
			for _, end := range endings {
				if strings.HasSuffix(e.Name(), end) {
					b, err := os.ReadFile(filepath.Join(dir, e.Name()))
					if err != nil {
						f.Fatal(err)
					}
					f.Add(b)
				}
			}
		}
	}
}

// taken runs bytes through everything but the disk, and checks what must hold for any bytes.
func taken(t *testing.T, b []byte, name string) {
	lim := Limits{MaxMpx: 0.05, MaxSide: 4000}.withDefaults() // small, so that a second sees many files
	p, f, err := takeBytes(b, name, lim, true, &Facts{Orientation: 1})
	require.NotNil(t, f)
	require.Len(t, f.SHA256, 64)
	require.True(t, f.Orientation >= 1 && f.Orientation <= 8)
	for _, s := range append([]string{f.Camera, f.Lens, f.Taken, f.Offset, f.Colour}, f.Notes...) {
		require.True(t, utf8.ValidString(s), "%q", s)
		require.NotContains(t, s, "\x00")
	}
	if err != nil {
		var e *Error
		require.ErrorAs(t, err, &e)
		require.NotEmpty(t, wordings[e.Reason].todo)
		require.Nil(t, p)
		return
	}
	require.Equal(t, [2]int{f.W, f.H}, [2]int{p.W, p.H})
	require.LessOrEqual(t, p.W*p.H, 50_000)
	require.Equal(t, 3*p.W*p.H, len(p.Pix)+len(p.Pix16))
	for c := range 3 {
		require.Len(t, p.Curve[c], map[bool]int{true: 65536, false: 256}[p.Pix16 != nil])
	}
	p.Grey()
}

func FuzzJPEG(f *testing.F) {
	seeds(f, ".jpg")
	f.Fuzz(func(t *testing.T, b []byte) { taken(t, b, "a.jpg") })
}

func FuzzPNG(f *testing.F) {
	seeds(f, ".png")
	f.Fuzz(func(t *testing.T, b []byte) { taken(t, b, "a.png") })
}

func FuzzTIFF(f *testing.F) {
	seeds(f, ".tif", ".dng", ".cr2")
	f.Fuzz(func(t *testing.T, b []byte) { taken(t, b, "a.tif") })
}

func FuzzWebP(f *testing.F) {
	seeds(f, ".webp")
	f.Fuzz(func(t *testing.T, b []byte) { taken(t, b, "a.webp") })
}

func FuzzHEIF(f *testing.F) {
	seeds(f, ".heic")
	f.Fuzz(func(t *testing.T, b []byte) { taken(t, b, "a.heic") })
}

// FuzzEXIF puts the bytes into a JPEG file as its EXIF, and a second time as all that a TIFF file has.
func FuzzEXIF(f *testing.F) {
	for _, dir := range []string{goodDir} {
		names, err := filepath.Glob(filepath.Join(dir, "*.jpg"))
		if err != nil {
			f.Fatal(err)
		}
		for _, n := range names {
			b, err := os.ReadFile(n)
			if err != nil {
				f.Fatal(err)
			}
			if i := strings.Index(string(b[:min(len(b), 64)]), "Exif\x00\x00"); i > 0 {
				size := int(b[i-2])<<8 | int(b[i-1])
				f.Add(b[i+6 : min(i-2+size, len(b))])
			}
		}
	}
	plain, err := os.ReadFile(filepath.Join(goodDir, "plain.jpg"))
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, exif []byte) {
		if len(exif) > 60_000 {
			return
		}
		n := len(exif) + 8
		b := append([]byte{0xff, 0xd8, 0xff, 0xe1, byte(n >> 8), byte(n)}, "Exif\x00\x00"...)
		b = append(append(b, exif...), plain[2:]...)
		taken(t, b, "a.jpg")
		_, _ = readTags(exif, fmtTIFF)
	})
}

// FuzzOther takes bytes of no certain kind: what recognises formats, counts GIF frames and names what is no picture.
func FuzzOther(f *testing.F) {
	seeds(f, ".gif", ".bmp", ".psd", ".jxl", "text.jpg", "page.jpg", "zeros.jpg", "video.jpg", "document.jpg", "raw.jpg")
	f.Fuzz(func(t *testing.T, b []byte) {
		taken(t, b, "a")
		gifFrames(b)
		require.NotEmpty(t, describe(b))
	})
}

func FuzzDateFromPath(f *testing.F) {
	for _, s := range []string{"photos/2021-06-05/a.jpg", "20210605140309", "1-2-3", "2021-06-05-06-07"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, rel string) {
		d, ok := DateFromPath(rel)
		require.Equal(t, ok, d != "")
		if ok {
			_, ok = exifTime(d)
			require.True(t, ok, "%q is a day", d)
			require.True(t, strings.Contains(rel, d) || strings.Contains(rel, strings.ReplaceAll(d, "-", "")))
		}
	})
}

func FuzzEXIFTime(f *testing.F) {
	for _, s := range []string{"2021:06:05 14:03:09", "2021-06-05T14:03:09.25+02:00", "2021:06:05", "+02:00", "Z", "-11:30", "    :  :     :  :  "} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if iso, ok := exifTime(s); ok {
			d, err := time.Parse("2006-01-02T15:04:05", iso)
			require.NoError(t, err)
			require.GreaterOrEqual(t, d.Year(), 1800)
			again, ok := exifTime(iso)
			require.True(t, ok)
			require.Equal(t, iso, again)
		}
		if off, ok := exifOffset(s); ok {
			_, err := time.Parse("-07:00", off)
			require.NoError(t, err)
		}
	})
}
