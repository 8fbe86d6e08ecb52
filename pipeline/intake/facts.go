package intake

import (
	"fmt"
	"strings"
	"time"
	"unicode"
)

// Facts is what a file tells about itself and the capture, besides its pixels. It never holds a position.
type Facts struct {
	SHA256      string   `json:"sha256"` // of the bytes that were decoded, lower case hex
	Bytes       int64    `json:"bytes"`
	Format      string   `json:"format"`           // JPEG, PNG, TIFF, WebP, HEIF, AVIF; "" = unknown
	W           int      `json:"w"`                // upright, px; 0 = unknown
	H           int      `json:"h"`                // upright, px; 0 = unknown
	Orientation int      `json:"orientation"`      // EXIF 1..8 as written in the file, 1 when silent; already applied
	Taken       string   `json:"taken,omitempty"`  // local time without zone, 2006-01-02T15:04:05; "" = none, or a scanner's
	Offset      string   `json:"offset,omitempty"` // of Taken from UTC, "+02:00"; "" = not told
	Camera      string   `json:"camera,omitempty"` // maker and model
	Model       string   `json:"model,omitempty"`  // model alone, as EXIF has it
	Lens        string   `json:"lens,omitempty"`
	FocalMM     float64  `json:"focal_mm,omitempty"`   // 0 = not told, as below
	ExposureS   float64  `json:"exposure_s,omitempty"` // seconds
	FNumber     float64  `json:"f_number,omitempty"`
	ISO         float64  `json:"iso,omitempty"`
	Scanner     bool     `json:"scanner,omitempty"` // made by a scanner: its date is the scan's, not the photo's
	Colour      string   `json:"colour,omitempty"`  // as Picture.Colour
	Notes       []string `json:"notes,omitempty"`
	Memory      int64    `json:"-"` // bytes that reading the photo takes at the most, file and result included; 0 = unknown
}

func (f *Facts) note(format string, args ...any) {
	f.Notes = append(f.Notes, fmt.Sprintf(format, args...))
}

// scannerWords mark a device or program that digitises prints and slides: its maker's, model's or program's name holds
// one of them. From common practice; a scanner without any of them is known by EXIF FileSource, or by archive.csv.
var scannerWords = []string{"scan", "flatbed", "film digit", "slide digit", "slide copi"}

// take fills the facts from the tags of a file.
func (f *Facts) take(t *tags) {
	if t.orientation >= 1 && t.orientation <= 8 {
		f.Orientation = t.orientation
	} else if t.orientation != 0 {
		f.note("EXIF orientation %d is none of 1 to 8: taken as 1", t.orientation)
	}
	f.Model = strings.TrimSpace(t.model)
	f.Camera = f.Model
	if m := strings.TrimSpace(t.make); m != "" && !strings.HasPrefix(strings.ToLower(f.Camera), strings.ToLower(m)) {
		f.Camera = strings.TrimSpace(m + " " + f.Camera)
	}
	f.Lens = strings.TrimSpace(t.lens)
	f.FocalMM, f.ExposureS, f.FNumber, f.ISO = t.focal, t.exposure, t.fnumber, t.iso

	// EXIF FileSource: 1 = scanner of transparent film, 2 = of reflecting prints, 3 = digital still camera.
	f.Scanner = t.source == 1 || t.source == 2
	if t.source != 3 {
		for _, w := range scannerWords {
			for _, s := range []string{t.make, t.model, t.software} {
				f.Scanner = f.Scanner || strings.Contains(strings.ToLower(s), w)
			}
		}
	}
	taken, ok := exifTime(t.taken)
	switch {
	case ok && f.Scanner:
		f.note("date %s is a scanner's, not used: give the photo's own in archive.csv", taken[:10])
	case ok:
		f.Taken = taken
		if f.Camera != "" && f.FocalMM+f.ExposureS+f.FNumber+f.ISO == 0 {
			f.note("no exposure data: if this is a scan, its date is the scan's, and the photo's belongs in archive.csv")
		}
		if off, ok := exifOffset(t.offset); ok {
			f.Offset = off
		}
	case strings.Trim(t.taken, " :0\x00") != "":
		f.note("EXIF date %q can't be read, not used", printable(t.taken, 30))
	}
}

// exifTime reads "2006:01:02 15:04:05" (CIPA DC-008) and the same with dashes, which some programs write; seconds may be
// missing. Placeholders of zeros or blanks are no date.
func exifTime(s string) (string, bool) {
	s = strings.TrimRight(s, " \x00")
	if len(s) < 10 {
		return "", false
	}
	b := []byte(s)
	for _, i := range []int{4, 7} {
		if b[i] == '-' || b[i] == '/' {
			b[i] = ':'
		}
	}
	if len(b) > 10 && b[10] == 'T' {
		b[10] = ' '
	}
	if len(b) > 19 { // fractions of a second, a zone
		b = b[:19]
	}
	for _, layout := range []string{"2006:01:02 15:04:05", "2006:01:02 15:04", "2006:01:02"} {
		t, err := time.Parse(layout, string(b))
		if err == nil && t.Year() >= 1800 {
			return t.Format("2006-01-02T15:04:05"), true
		}
	}
	return "", false
}

// exifOffset reads "+02:00", "-11:30" or "Z".
func exifOffset(s string) (string, bool) {
	s = strings.TrimRight(s, " \x00")
	if s == "Z" {
		return "+00:00", true
	}
	if _, err := time.Parse("-07:00", s); err != nil {
		return "", false
	}
	return s, true
}

// printable returns at most n characters of s, without control characters.
func printable(s string, n int) string {
	out := make([]rune, 0, n)
	for _, r := range s {
		if len(out) == n {
			break
		}
		if unicode.IsPrint(r) {
			out = append(out, r)
		}
	}
	return strings.TrimSpace(string(out))
}
