package main

import (
	"encoding/json"
	"html"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// truth is what the demo survey's truth.json holds of the zones of a photo.
type truth struct {
	Photos []struct {
		File, Visit, View, Expect string
		Impostor                  string
		Cleaned                   []string
		Zones                     map[string]struct {
			ScalePct   *float64 `json:"scale_pct"`
			Missing    []string `json:"missing"`
			OffPalette []string `json:"offpalette"`
		}
	}
}

func demoTruth(t *testing.T) truth {
	t.Helper()
	var tr truth
	require.NoError(t, json.Unmarshal([]byte(read(t, demoDir, "truth.json")), &tr))
	require.NotEmpty(t, tr.Photos)
	return tr
}

// under returns what the report shows under the section whose heading has an id.
func under(t *testing.T, page, id string) string {
	t.Helper()
	_, rest, ok := strings.Cut(page, `<section aria-labelledby="`+id+`"`)
	require.True(t, ok, id)
	part, _, _ := strings.Cut(rest, "</section>")
	part = regexp.MustCompile(`(?s)<svg.*?</svg>|<[^>]*>`).ReplaceAllString("<a"+part, " ")
	return strings.Join(strings.Fields(html.UnescapeString(part)), " ")
}

func figure(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	require.NoError(t, err)
	return v
}

// The demo's report tells what really happened on the invented wall: scale that grew everywhere but where it was taken
// off, slate glazes that faded, tiles that fell from around earlier gaps, and a photo of something else.
func TestDemoReportTellsTheTrueStory(t *testing.T) {
	r, tr := demoResult(t), demoTruth(t)
	page := read(t, r.out, "report.html")
	first := under(t, page, "summary")

	// The zone named first is the most whitened in truth, or one that the report says may be.
	zones := rows(t, r.out, "zones.csv")
	most, at := 0.0, ""
	last := map[string]float64{}
	for _, p := range tr.Photos {
		for id, z := range p.Zones {
			if p.Visit == "2024-05-04" && z.ScalePct != nil {
				last[id] = *z.ScalePct
				if *z.ScalePct > most {
					most, at = *z.ScalePct, id
				}
			}
		}
	}
	require.Len(t, last, 8)
	best := map[string]string{}
	for _, z := range zones {
		if z["visit"] == "2024-05-04" && z["scale_pct"] != "" && (best["scale_pct"] == "" || figure(t, z["scale_pct"]) > figure(t, best["scale_pct"])) {
			best = z
		}
	}
	for _, z := range zones {
		if z["zone"] == at && z["visit"] == "2024-05-04" {
			assert.GreaterOrEqual(t, figure(t, z["scale_pct_hi"]), figure(t, best["scale_pct_lo"]), "%s is the most whitened", at)
		}
	}
	assert.Contains(t, first, "Whitening covers most at")

	// Where it was cleaned it fell by more than the readings' error, and the report says what was removed.
	cleaned := map[string]bool{}
	for _, p := range tr.Photos {
		for _, z := range p.Cleaned {
			cleaned[z] = true
		}
	}
	require.Len(t, cleaned, 2)
	removed := map[string]bool{}
	for _, i := range rows(t, r.out, "intervals.csv") {
		if i["measure"] == "scale_pct removed" {
			removed[i["zone"]] = true
			assert.NotContains(t, i["note"], "cannot be told from none", i["zone"])
		}
	}
	assert.Equal(t, cleaned, removed)
	assert.Contains(t, under(t, page, "curves"), "percentage points less on the next visit")
	for _, z := range rows(t, r.out, "priorities.csv") {
		if cleaned[z["zone"]] {
			assert.GreaterOrEqual(t, figure(t, z["order"]), 4.0, "%s was cleaned: others come first", z["zone"])
		}
	}

	// Every tile called missing at the end is missing in truth, and none is said to be whole that fell.
	fell := 0
	for _, p := range tr.Photos {
		if p.Visit == "2024-05-04" {
			for _, z := range p.Zones {
				fell += len(z.Missing)
			}
		}
	}
	m := regexp.MustCompile(`As far as last seen: (\d+)`).FindStringSubmatch(first)
	require.NotNil(t, m)
	assert.LessOrEqual(t, figure(t, m[1]), float64(fell))
	assert.GreaterOrEqual(t, figure(t, m[1]), 0.6*float64(fell))
	assert.Contains(t, first, "tiles beside a gap were lost more often", "the demo's tiles fall from around gaps")

	// The slate glazes fade, no other: what is told of glazes tells of slate alone.
	assert.Regexp(t, `The glaze that changed colour most is slate-\d`, first)
	glazes, _, _ := strings.Cut(under(t, page, "glazes"), "Glazes whose drift cannot be told")
	assert.Contains(t, glazes, "slate-")
	assert.NotRegexp(t, `(barley|chalk|umber|madder)-\d`, glazes)

	assert.Contains(t, under(t, page, "upkeep"), "no entry in the file (covers 2020-01-01 to 2024-12-31, from mill warden's day book)")
	for _, p := range tr.Photos {
		if p.Impostor != "" {
			assert.Contains(t, under(t, page, "method"), p.File+" "+p.Visit, "the photo of something else is listed as refused")
		}
	}
	assert.Less(t, len(page), 15<<20)
}

func TestVerifyTellsWhatWasAlteredAddedAndGone(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "demo")
	copyTree(t, demoDir, dir)
	copyTree(t, demoResult(t).out, filepath.Join(dir, "out"))
	sums := func(in, list string) string {
		tool, err := exec.LookPath("sha256sum")
		if err != nil {
			t.Skip("no sha256sum on this machine")
		}
		c := exec.Command(tool, "-c", "--quiet", "--strict", list)
		c.Dir = in
		b, err := c.CombinedOutput()
		if err != nil {
			return string(b)
		}
		return ""
	}
	_, stderr, code := tilelapse(t, "verify", dir)
	require.Equal(t, 0, code, stderr)
	assert.Empty(t, sums(filepath.Join(dir, "out"), "SHA256SUMS"))
	assert.Empty(t, sums(dir, "out/ORIGINALS.sha256"), "cd SURVEY && sha256sum -c out/ORIGINALS.sha256")

	require.NoError(t, os.Rename(filepath.Join(dir, "photos", "2022-09-17"), filepath.Join(dir, "photos", "moved")))
	require.NoError(t, os.Remove(filepath.Join(dir, "out", "glazes.csv")))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "out", "extra.txt"), []byte("x"), 0o644))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "upkeep.csv"), []byte("date,zone,work,note\n"), 0o644))
	stdout, _, code := tilelapse(t, "verify", dir)
	assert.Equal(t, 5, code)
	lines := strings.Split(strings.TrimSpace(stdout), "\n")
	slices.Sort(lines)
	for _, want := range []string{"upkeep.csv: altered", "glazes.csv: gone", "extra.txt: added", "photos/2022-09-17/DEMO0344.jpg: gone", "photos/moved/DEMO0344.jpg: added"} {
		assert.Contains(t, stdout, want)
	}
	assert.NotEmpty(t, sums(filepath.Join(dir, "out"), "SHA256SUMS"))
	assert.NotEmpty(t, sums(dir, "out/ORIGINALS.sha256"))
}
