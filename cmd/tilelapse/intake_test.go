package main

import (
	"archive/zip"
	"bytes"
	"encoding/base64"
	"html"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// known gives a survey's output folder what was measured of the demo survey before, so that only the rest is.
func known(t *testing.T, dir string) {
	t.Helper()
	copyTree(t, filepath.Join(demoResult(t).out, ".tilelapse", "records"), filepath.Join(dir, "out", ".tilelapse", "records"))
}

// Files of every kind, whole and broken, beside the demo survey's photos: each is listed once, with its own reason where it
// is not taken in, and what the other photos gave stays as it was.
func TestFilesOfEveryKindAreListedAndTheOthersMeasured(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "demo")
	copyTree(t, demoDir, dir)
	broken, whole := filepath.Join(dir, "photos", "broken"), filepath.Join(dir, "photos", "whole")
	copyTree(t, "../../testdata/damaged", broken)
	copyTree(t, "../../testdata/intake", whole)
	require.NoError(t, os.Symlink(filepath.Join(whole, "plain.jpg"), filepath.Join(broken, "link.jpg")))
	require.NoError(t, os.WriteFile(filepath.Join(broken, ".hidden.jpg"), nil, 0o644))
	known(t, dir)
	_, stderr, code := tilelapse(t, "run", dir, "--quiet")
	require.Equal(t, 0, code, stderr)

	listed := map[string]map[string]string{}
	used := 0
	for _, r := range rows(t, dir, "out", "photos.csv") {
		assert.NotContains(t, listed, r["photo"], "listed twice")
		listed[r["photo"]] = r
		if r["status"] == "used" {
			used++
		}
	}
	assert.Equal(t, 12, used)
	for _, folder := range []string{"broken", "whole"} {
		es, err := os.ReadDir(filepath.Join(dir, "photos", folder))
		require.NoError(t, err)
		for _, e := range es {
			name := "photos/" + folder + "/" + e.Name()
			if strings.HasSuffix(name, ".icc") || strings.HasPrefix(e.Name(), ".") {
				assert.NotContains(t, listed, name, "no photo")
				continue
			}
			if assert.Contains(t, listed, name) {
				assert.Equal(t, "rejected", listed[name]["status"], name)
				assert.NotEmpty(t, listed[name]["reason"], name)
			}
		}
	}
	for name, says := range map[string]string{
		"broken/empty.jpg": "empty file", "broken/cut.jpg": "cut short", "broken/damaged.png": "damaged", "broken/text.jpg": "not a picture: it is text",
		"broken/animated.gif": "animated", "broken/raw.cr2": "raw camera file", "broken/huge.jpg": "limits.max_mpx in survey.yaml",
		"broken/float.tif": "32 bits a sample, limit 8 or 16 (fixed)", "broken/cmyk.jpg": "CMYK", "broken/lut.jpg": "colour profile", "broken/link.jpg": "symbolic link",
		"whole/grey.jpg": "no colours", "whole/second.dat": "duplicate of photos/whole/plain.jpg", "whole/turn-1.jpg": "small",
	} {
		assert.Contains(t, listed["photos/"+name]["reason"], says, name)
	}
	assert.Contains(t, listed["photos/whole/mislabelled.jpg"]["notes"], "named .jpg, but is PNG")
	assert.Contains(t, listed["photos/whole/scanner-word.jpg"]["notes"], "scanner's")
	assert.Empty(t, listed["photos/whole/scanner-word.jpg"]["visit"])
	assert.Equal(t, "undated", listed["photos/whole/scanner-word.jpg"]["date_source"])
	c := listed["photos/whole/capture.jpg"]
	assert.Equal(t, []string{"2021-06-05", "EXIF", "Halyard HX-12", "HX 24-70", "35.0", "0.004000", "5.6", "200", "2021-06-05T14:03:09+02:00"},
		[]string{c["visit"], c["date_source"], c["camera"], c["lens"], c["focal_mm"], c["exposure_s"], c["f_number"], c["iso"], c["camera_time"]})
	for _, f := range []string{"zones.csv", "tiles.csv", "compare.csv", "trends.csv"} {
		assert.Equal(t, read(t, demoResult(t).out, f), read(t, dir, "out", f), f)
	}
	stdout, stderr, code := tilelapse(t, "verify", dir)
	assert.Equal(t, 0, code, stdout+stderr)
}

// Whatever a photo is called, it is measured, tables and lists of hashes name it, and verify and sha256sum find it again.
func TestNamesOfEveryKindComeThroughUnharmed(t *testing.T) {
	names := []string{
		"with space.jpg", "-leading-dash.jpg", "--help.jpg", "crèche été.jpg", "decomposed e\u0301.jpg", "صورة الجدار.jpg", "תמונה.jpg",
		"写真.jpg", "wall 🧱 spring.jpg", "quote\"s' & <b>.jpg", "semi;colon,comma.jpg", "#hash?.jpg", "back\\slash.jpg", strings.Repeat("n", 251) + ".jpg",
	}
	dir := filepath.Join(t.TempDir(), "demo")
	copyTree(t, demoDir, dir)
	renamed, dated := map[string]string{}, regexp.MustCompile(`\d{4}-\d\d-\d\d`)
	var shots []string
	require.NoError(t, filepath.WalkDir(filepath.Join(dir, "photos"), func(p string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			shots = append(shots, p)
		}
		return err
	}))
	require.Len(t, shots, len(names), "a name for every photo of the demo survey")
	for i, p := range shots {
		old, err := filepath.Rel(dir, p)
		require.NoError(t, err)
		name := names[i]
		if day := dated.FindString(filepath.Base(old)); day != "" { // where the name alone tells the day
			name = strings.TrimSuffix(name, ".jpg") + " " + day + ".jpg"
		}
		now := filepath.ToSlash(filepath.Join(filepath.Dir(old), name))
		require.NoError(t, os.Rename(p, filepath.Join(dir, now)))
		renamed[filepath.ToSlash(old)] = now
	}
	archive := read(t, dir, "archive.csv")
	for old, now := range renamed {
		archive = strings.ReplaceAll(archive, old, `"`+strings.ReplaceAll(now, `"`, `""`)+`"`)
	}
	require.NoError(t, os.WriteFile(filepath.Join(dir, "archive.csv"), []byte(archive), 0o644))
	known(t, dir)
	_, stderr, code := tilelapse(t, "run", dir, "--quiet")
	require.Equal(t, 0, code, stderr)

	status := map[string]string{}
	for _, r := range rows(t, dir, "out", "photos.csv") {
		status[r["photo"]] = r["status"]
	}
	for _, r := range rows(t, demoResult(t).out, "photos.csv") {
		assert.Equal(t, r["status"], status[renamed[r["photo"]]], "%q, once %s", renamed[r["photo"]], r["photo"])
	}
	assert.Equal(t, read(t, demoResult(t).out, "tiles.csv"), read(t, dir, "out", "tiles.csv"), "names change no figure")
	report := read(t, dir, "out", "report.html")
	assert.NotContains(t, report, "& <b>", "written as it is, a name could end a mark")
	assert.Contains(t, html.UnescapeString(report), "صورة الجدار.jpg")
	require.NoError(t, filepath.WalkDir(filepath.Join(dir, "out", "overlays"), func(p string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			assert.Regexp(t, `^\d{4}-\d\d-\d\d\.jpg$`, d.Name(), "pictures are called by view and visit")
		}
		return err
	}))
	stdout, stderr, code := tilelapse(t, "verify", dir)
	assert.Equal(t, 0, code, stdout+stderr)
	for _, list := range []struct{ in, file string }{{dir, "out/ORIGINALS.sha256"}, {filepath.Join(dir, "out"), "SHA256SUMS"}} {
		c := exec.Command("sha256sum", "--check", "--quiet", list.file)
		c.Dir = list.in
		out, err := c.CombinedOutput()
		assert.NoError(t, err, string(out))
	}
}

// xmpPosition is an XMP packet that names a position, as editors write it beside EXIF.
var xmpPosition = "http://ns.adobe.com/xap/1.0/\x00" + `<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">` +
	`<rdf:Description xmlns:exif="http://ns.adobe.com/exif/1.0/" exif:GPSLatitude="12,34.94633N" exif:GPSAreaInformation="behind-the-hidden-gate"/></rdf:RDF></x:xmpmeta>`

// A reference and photos that say where they were taken: no file of the output folder does, its store included.
func TestPositionsAreWrittenNowhere(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "demo")
	copyTree(t, demoDir, dir)
	// The EXIF of testdata/intake/capture.jpg holds 12° 34' 56.78" N, 98° 45' 43.21" E.
	c := []byte(read(t, "..", "..", "testdata", "intake", "capture.jpg"))
	size := 2 + int(c[4])<<8 + int(c[5])
	position := append(append([]byte(nil), c[2:2+size]...), 0xff, 0xe1, byte((len(xmpPosition)+2)>>8), byte(len(xmpPosition)+2))
	position = append(position, xmpPosition...)
	require.Contains(t, string(position), "\x2e\x16\x00\x00\x64\x00\x00\x00", "56.78 as a rational")
	seconds := []string{"\x2e\x16\x00\x00\x64\x00\x00\x00", "\xe1\x10\x00\x00\x64\x00\x00\x00", "\x00\x00\x16\x2e\x00\x00\x00\x64", "\x00\x00\x10\xe1\x00\x00\x00\x64"}
	said := append([]string{"behind-the-hidden-gate", "34.94633", "12.58243", "12.58244", "98.76200", "43.21\"", "GPSLatitude", "Exif\x00\x00", "http://ns.adobe.com/xap"}, seconds...)

	kept := 0
	for _, folder := range []string{"photos", "reference"} {
		require.NoError(t, filepath.WalkDir(filepath.Join(dir, folder), func(p string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() {
				return err
			}
			if folder == "photos" && !strings.Contains(p, "2021-04-24") && !strings.Contains(p, "yard") || strings.Contains(p, "stair") {
				return os.Remove(p)
			}
			kept++
			b, err := os.ReadFile(p)
			if err != nil {
				return err
			}
			return os.WriteFile(p, append(append(append([]byte(nil), b[:2]...), position...), b[2:]...), 0o644)
		}))
	}
	require.Equal(t, 4, kept, "two photos, one of something else, one reference")
	survey := regexp.MustCompile(`(?m)^.*stair.*\n`).ReplaceAllString(read(t, dir, "survey.yaml"), "")
	require.NoError(t, os.WriteFile(filepath.Join(dir, "survey.yaml"), []byte(survey), 0o644))
	for _, f := range []string{"archive.csv", "upkeep.csv"} {
		require.NoError(t, os.Remove(filepath.Join(dir, f)))
	}
	_, stderr, code := tilelapse(t, "run", dir, "--quiet", "--unmasked")
	require.Equal(t, 0, code, stderr)
	assert.Equal(t, "2021-06-05T14:03:09+02:00", rows(t, dir, "out", "photos.csv")[0]["camera_time"], "the block was read")

	silent := func(name string, b []byte) {
		for _, s := range said {
			assert.False(t, bytes.Contains(b, []byte(s)), "%s holds %q", name, s)
		}
	}
	inside := regexp.MustCompile(`base64,([A-Za-z0-9+/=]+)`)
	files := 0
	require.NoError(t, filepath.WalkDir(filepath.Join(dir, "out"), func(p string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		files++
		b, err := os.ReadFile(p)
		require.NoError(t, err)
		silent(p, b)
		if filepath.Ext(p) == ".html" {
			b = []byte(html.UnescapeString(string(b))) // pictures' base64 holds signs that are escaped
		}
		for _, m := range inside.FindAllSubmatch(b, -1) {
			pic, err := base64.StdEncoding.DecodeString(string(m[1]))
			require.NoError(t, err)
			silent("a picture in "+p, pic)
		}
		switch filepath.Ext(p) {
		case ".csv", ".json", ".html", ".svg":
			assert.NotContains(t, string(inside.ReplaceAll(b, nil)), "GPS", p)
		case ".xlsx":
			z, err := zip.NewReader(bytes.NewReader(b), int64(len(b)))
			require.NoError(t, err)
			for _, f := range z.File {
				r, err := f.Open()
				require.NoError(t, err)
				sheet, err := io.ReadAll(r)
				require.NoError(t, err)
				silent(f.Name, sheet)
				assert.NotContains(t, string(sheet), "GPS", f.Name)
			}
		}
		return nil
	}))
	assert.Greater(t, files, 25)
}
