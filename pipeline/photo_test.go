package pipeline

import (
	"math"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tilelapse/measure/plane"
	"tilelapse/pipeline/intake"
	"tilelapse/pipeline/survey"
	"tilelapse/register"
)

func TestADateComesFromTheArchiveThenTheCameraThenThePath(t *testing.T) {
	s := &survey.Survey{
		Photos: []string{"photos"},
		Views:  []survey.View{{ID: "Step-1"}},
		Clock:  []survey.Clock{{Camera: "Box 3", From: time.Date(2021, 5, 1, 0, 0, 0, 0, time.UTC), Add: 365 * 24 * time.Hour}},
		Archive: []survey.ArchiveRow{
			{Photo: "old/a.jpg", Taken: survey.DateRange{From: "1998-01-01", To: "1998-12-31"}, Basis: "written on the back", Kind: "print", View: "step-1"},
			{Photo: "photos/kind-only.jpg", Kind: "slide"},
		},
	}
	for _, c := range []struct {
		name                   string
		p                      photo
		from, to, source, kind string
		hint                   string
	}{
		{"archive overrides the camera", photo{rel: "photos/old/a.jpg", facts: intake.Facts{Taken: "2015-02-03T10:00:00"}}, "1998-01-01", "1998-12-31", "archive.csv: written on the back", "print", "step-1"},
		{"camera before path", photo{rel: "photos/2019-01-01/a.jpg", facts: intake.Facts{Taken: "2015-02-03T10:00:00"}}, "2015-02-03", "2015-02-03", "EXIF", "digital", ""},
		{"a scanner's date is none", photo{rel: "photos/2019-01-01/a.jpg", facts: intake.Facts{Taken: "2015-02-03T10:00:00", Scanner: true}}, "2019-01-01", "2019-01-01", "path", "digital", ""},
		{"clock corrected from its day on", photo{rel: "photos/a.jpg", facts: intake.Facts{Taken: "2021-05-01T00:00:00", Camera: "Maker Box 3", Model: "BOX 3"}}, "2022-05-01", "2022-05-01", "EXIF, clock corrected by 365 d", "digital", ""},
		{"and not before", photo{rel: "photos/a.jpg", facts: intake.Facts{Taken: "2021-04-30T23:59:59", Camera: "Box 3"}}, "2021-04-30", "2021-04-30", "EXIF", "digital", ""},
		{"the archive may name a kind alone", photo{rel: "photos/kind-only.jpg", facts: intake.Facts{Taken: "2015-02-03T10:00:00"}}, "2015-02-03", "2015-02-03", "EXIF", "slide", ""},
		{"folder named like a view is a hint", photo{rel: "photos/step-1/20200229_x.jpg"}, "2020-02-29", "2020-02-29", "path", "digital", "Step-1"},
		{"undated", photo{rel: "photos/x.jpg"}, "", "", "", "digital", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			archive := map[string]survey.ArchiveRow{}
			for _, r := range s.Archive {
				archive[archiveName(r.Photo)] = r
			}
			p := c.p
			p.kind = "digital"
			p.date(s, archive)
			assert.Equal(t, survey.DateRange{From: c.from, To: c.to}, p.taken)
			assert.Equal(t, c.source, p.source)
			assert.Equal(t, c.kind, p.kind)
			assert.Equal(t, c.hint, p.hint)
		})
	}
}

func TestADoubtfulClockIsFlagged(t *testing.T) {
	for rel, flagged := range map[string]bool{"photos/2019-01-01/a.jpg": true, "photos/2015-02-08/a.jpg": false, "photos/a.jpg": false} {
		p := photo{rel: rel, facts: intake.Facts{Taken: "2015-02-03T10:00:00"}}
		p.date(&survey.Survey{Photos: []string{"photos"}}, nil)
		assert.Equal(t, "2015-02-03", p.visit())
		assert.Equal(t, flagged, len(p.notes) == 1, rel)
	}
}

func TestOfOneVisitThePhotoThatShowsMostIsReported(t *testing.T) {
	mk := func(rel, visit string, overlap, clipped, sharp float64) *photo {
		return &photo{rel: rel, taken: survey.DateRange{From: visit, To: visit}, align: register.Result{View: "v", Accepted: true, OverlapPct: overlap, ClippedPct: clipped, Sharpness: sharp}}
	}
	ps := []*photo{
		mk("a.jpg", "2020-01-01", 80, 0, 2), mk("b.jpg", "2020-01-01", 95, 0, 1), mk("c.jpg", "2020-01-01", 95.2, 0, 1.2),
		mk("d.jpg", "2020-01-01", 99, 20, 3), mk("e.jpg", "2021-01-01", 10, 0, 0.1), mk("f.jpg", "", 10, 0, 1),
	}
	choose(ps)
	assert.Equal(t, statusUsed, ps[2].status, "as much in view as b, and sharper")
	for _, i := range []int{0, 1, 3} {
		assert.Equal(t, statusSpare, ps[i].status)
		assert.Equal(t, "c.jpg", ps[i].combined)
	}
	assert.Equal(t, statusUsed, ps[4].status, "another visit")
}

// What two photos of a range of dates differ by is no error of repeating, and may be no movement either.
func TestOnlyADayBothAreOfIsTheSame(t *testing.T) {
	at := func(from, to string) *photo { return &photo{taken: survey.DateRange{From: from, To: to}} }
	for _, c := range []struct {
		a, b *photo
		same bool
	}{
		{at("1998-01-01", "1998-01-01"), at("1998-01-01", "1998-01-01"), true},
		{at("1998-01-01", "1998-12-31"), at("1998-01-01", "1998-12-31"), false},
		{at("1998-01-01", "1998-01-01"), at("1998-01-01", "1998-12-31"), false},
		{at("1998-01-01", "1998-01-01"), at("1998-01-02", "1998-01-02"), false},
		{at("", ""), at("", ""), false},
	} {
		assert.Equal(t, c.same, sameDay(c.a, c.b), "%v %v", c.a.taken, c.b.taken)
		assert.Equal(t, c.same, sameDay(c.b, c.a))
	}
}

func TestShardsPartThePhotos(t *testing.T) {
	var ps []*photo
	for _, n := range []string{"a", "b", "c", "d", "e", "f", "g", "h"} {
		ps = append(ps, &photo{rel: n})
	}
	seen := map[string]int{}
	for i := 1; i <= 3; i++ {
		r := &run{opt: Options{Shard: i, Shards: 3}}
		for _, p := range r.shard(ps) {
			seen[p.rel]++
		}
	}
	require.Len(t, seen, len(ps))
	for _, n := range seen {
		assert.Equal(t, 1, n)
	}
}

func TestNearestInDateComesFirstAndTiesGoByPath(t *testing.T) {
	at := func(rel, visit string) *photo {
		return &photo{rel: rel, taken: survey.DateRange{From: visit, To: visit}}
	}
	near := nearest(at("x", "2020-06-01"), []*photo{at("far", "2010-01-01"), at("b", "2020-06-03"), at("a", "2020-05-30")})
	require.Len(t, near, helpersTried)
	assert.Equal(t, "a", near[0].rel)
	assert.Equal(t, "b", near[1].rel)
}

func TestNamesWrittenByTheUserMayStartAtEitherFolder(t *testing.T) {
	for _, w := range []string{"photos/a/b.jpg", "a/b.jpg", "./photos/a/b.jpg"} {
		assert.True(t, samePhoto(w, "photos/a/b.jpg", []string{"photos"}), w)
	}
	assert.False(t, samePhoto("b.jpg", "photos/a/b.jpg", []string{"photos"}))
}

func TestEachDoesEveryStepOnceAndCountsUp(t *testing.T) {
	for _, jobs := range []int{1, 2, 7} {
		done := make([]atomic.Int32, 50)
		last := 0
		each(jobs, len(done), func(i int) { done[i].Add(1) }, func(n int) {
			assert.Equal(t, last+1, n)
			last = n
		})
		assert.Equal(t, len(done), last)
		for i := range done {
			assert.EqualValues(t, 1, done[i].Load())
		}
	}
	each(3, 0, func(int) { t.Fatal("nothing to do") }, func(int) { t.Fatal("nothing was done") })
}

func TestCellsCoverAZoneEvenly(t *testing.T) {
	zone := plane.Region{ID: "z", Rings: [][]plane.Point{{{X: 0, Y: 0}, {X: 240, Y: 0}, {X: 240, Y: 120}, {X: 0, Y: 120}}}}
	ts := cells([]plane.Region{zone})
	require.Len(t, ts, cellsAcross*cellsAcross/2)
	sum := 0.0
	ids := map[string]bool{}
	for _, c := range ts {
		sum += c.AreaPx
		ids[c.ID] = true
		assert.True(t, zone.Contains(c.Centroid.X, c.Centroid.Y))
	}
	assert.InDelta(t, 240*120, sum, 1e-6)
	assert.Len(t, ids, len(ts))
	assert.Empty(t, cells([]plane.Region{{ID: "empty"}}))
}

func TestKindIsReadFromWordsWhereTheFileHasNoColumn(t *testing.T) {
	for work, want := range map[string]string{
		"scale softened with water and brushed off": "clean", "tile replaced": "replace", "descaled by hand": "clean",
		"ivy cut back": "cut_back", "looked at": "", "joints regrouted": "regrout",
	} {
		assert.Equal(t, want, (&run{words: english(t)}).kindFromWords(work), work)
	}
}

func TestRecordsNeverHoldWhatIsNotFinite(t *testing.T) {
	assert.True(t, math.IsNaN(positive(0)))
	assert.Equal(t, 2.0, positive(2))
}
