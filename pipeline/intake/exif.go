package intake

import (
	"bytes"
	"math"
	"strings"

	"github.com/bep/imagemeta"
)

// tags is what is read of a file's EXIF; zero = not told.
type tags struct {
	orientation                   int
	make, model, lens, software   string
	taken, offset                 string
	focal, exposure, fnumber, iso float64
	source                        int // FileSource
	colorSpace                    int // 1 = sRGB, 65535 = uncalibrated
	interop                       string
}

// metaFormats names the containers whose EXIF can be read.
var metaFormats = map[string]imagemeta.ImageFormat{
	"JPEG": imagemeta.JPEG, "PNG": imagemeta.PNG, "TIFF": imagemeta.TIFF, "WebP": imagemeta.WebP,
	"HEIF": imagemeta.HEIF, "AVIF": imagemeta.AVIF,
}

// The directories EXIF fields are taken from. Thumbnails have their own, and so has the position, which is never read.
const (
	dirMain    = "IFD0"
	dirExif    = "IFD0/ExifIFDP"
	dirInterop = "IFD0/ExifIFDP/InteroperabilityIFD"
)

// readTags reads the EXIF fields of a file. Damaged metadata gives what was read up to the damage, and an error.
func readTags(b []byte, format string) (t *tags, err error) {
	t = &tags{}
	f, ok := metaFormats[format]
	if !ok {
		return t, nil
	}
	if format == fmtWebP {
		// imagemeta gives up on the "Exif" that some programs write before the block; the block by itself is a TIFF file.
		if b, f = readWebPHead(b).exif, imagemeta.TIFF; len(b) == 0 {
			return t, nil
		}
	}
	// Strangers' bytes go through a parser that is not ours: its panic must cost the metadata, not the run.
	defer recovered(&err)
	fields := map[string]func(any){
		"Orientation":        func(v any) { t.orientation = whole(v) },
		"Make":               func(v any) { t.make = text(v) },
		"Model":              func(v any) { t.model = text(v) },
		"Software":           func(v any) { t.software = text(v) },
		"LensModel":          func(v any) { t.lens = text(v) },
		"DateTimeOriginal":   func(v any) { t.taken = raw(v) },
		"OffsetTimeOriginal": func(v any) { t.offset = raw(v) },
		"FocalLength":        func(v any) { t.focal = positive(v) },
		"ExposureTime":       func(v any) { t.exposure = positive(v) },
		"FNumber":            func(v any) { t.fnumber = positive(v) },
		"ISO":                func(v any) { t.iso = positive(v) },
		"FileSource":         func(v any) { t.source = whole(v) },
		"ColorSpace":         func(v any) { t.colorSpace = whole(v) },
		"InteropIndex":       func(v any) { t.interop = text(v) },
	}
	// imagemeta names tag 1 after the position's directory wherever it stands.
	fields["GPSLatitudeRef"] = fields["InteropIndex"]
	seen := map[string]bool{}
	_, err = imagemeta.Decode(imagemeta.Options{
		R:           bytes.NewReader(b),
		ImageFormat: f,
		Sources:     imagemeta.EXIF,
		Warnf:       func(string, ...any) {},
		ShouldHandleTag: func(ti imagemeta.TagInfo) bool {
			switch ti.Namespace {
			case dirMain, dirExif:
				return fields[ti.Tag] != nil && ti.Tag != "GPSLatitudeRef"
			case dirInterop:
				return ti.Tag == "InteropIndex" || ti.Tag == "GPSLatitudeRef"
			}
			return false
		},
		HandleTag: func(ti imagemeta.TagInfo) error {
			if !seen[ti.Tag] { // the first counts: a damaged file may repeat a directory
				seen[ti.Tag] = true
				fields[ti.Tag](ti.Value)
			}
			return nil
		},
	})
	return t, err
}

// number returns the first number of an EXIF value, or NaN.
func number(v any) float64 {
	switch x := v.(type) {
	case uint8:
		return float64(x)
	case uint16:
		return float64(x)
	case uint32:
		return float64(x)
	case int:
		return float64(x)
	case int32:
		return float64(x)
	case int64:
		return float64(x)
	case float32:
		return float64(x)
	case float64:
		return x
	case imagemeta.Rat[uint32]:
		if x.Den() == 0 {
			return math.NaN()
		}
		return float64(x.Num()) / float64(x.Den())
	case imagemeta.Rat[int32]:
		if x.Den() == 0 {
			return math.NaN()
		}
		return float64(x.Num()) / float64(x.Den())
	case []uint16:
		if len(x) > 0 {
			return float64(x[0])
		}
	case []uint32:
		if len(x) > 0 {
			return float64(x[0])
		}
	case []byte:
		if len(x) > 0 {
			return float64(x[0])
		}
	case []any:
		if len(x) > 0 {
			return number(x[0])
		}
	}
	return math.NaN()
}

// positive returns the number of an EXIF value, 0 when it is none, infinite or not above 0.
func positive(v any) float64 {
	n := number(v)
	if !(n > 0) || math.IsInf(n, 0) {
		return 0
	}
	return n
}

// whole returns the whole number of an EXIF value, 0 when it is none.
func whole(v any) int {
	n := number(v)
	if n != math.Trunc(n) || math.Abs(n) > 1e9 { // false for NaN, hence the next test
		return 0
	}
	if math.IsNaN(n) {
		return 0
	}
	return int(n)
}

// raw returns an EXIF text as written.
func raw(v any) string {
	switch s := v.(type) {
	case string:
		return s
	case []byte:
		return string(s)
	}
	return ""
}

// text returns an EXIF text without what can't be printed, at most 80 characters.
func text(v any) string {
	s := raw(v)
	if i := strings.IndexByte(s, 0); i >= 0 {
		s = s[:i]
	}
	return printable(strings.ToValidUTF8(s, "?"), 80)
}
