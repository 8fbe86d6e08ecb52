package pipeline

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tilelapse/pipeline/intake"
	"tilelapse/pipeline/survey"
)

func TestTwoCamerasThatDisagreeAreFlagged(t *testing.T) {
	type shot struct{ rel, camera, day string }
	for _, c := range []struct {
		name    string
		shots   []shot
		flagged []bool
	}{
		{"a clock years behind", []shot{{"photos/visit/a.jpg", "Box 3", "2021-05-01"}, {"photos/visit/b.jpg", "Box 3", "2021-05-01"}, {"photos/visit/c.jpg", "Lumo 8", "2010-01-01"}}, []bool{true, true, true}},
		{"a year's visits", []shot{{"photos/2021/a.jpg", "Box 3", "2021-05-01"}, {"photos/2021/c.jpg", "Lumo 8", "2021-11-20"}}, []bool{false, false}},
		{"the photos folder itself", []shot{{"photos/a.jpg", "Box 3", "2021-05-01"}, {"photos/c.jpg", "Lumo 8", "2010-01-01"}}, []bool{false, false}},
		{"a view's folder", []shot{{"photos/north/a.jpg", "Box 3", "2021-05-01"}, {"photos/north/c.jpg", "Lumo 8", "2010-01-01"}}, []bool{false, false}},
		{"one camera over years", []shot{{"photos/x/a.jpg", "Box 3", "2021-05-01"}, {"photos/x/c.jpg", "Box 3", "2010-01-01"}}, []bool{false, false}},
		{"two over the same years", []shot{{"photos/x/a.jpg", "Box 3", "2010-05-01"}, {"photos/x/b.jpg", "Box 3", "2021-05-01"}, {"photos/x/c.jpg", "Lumo 8", "2015-01-01"}}, []bool{false, false, false}},
		{"no camera named", []shot{{"photos/x/a.jpg", "", "2021-05-01"}, {"photos/x/c.jpg", "Lumo 8", "2010-01-01"}}, []bool{false, false}},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := &survey.Survey{Photos: []string{"photos"}, Views: []survey.View{{ID: "North"}}}
			var ps []*photo
			for _, x := range c.shots {
				p := &photo{rel: x.rel, facts: intake.Facts{Camera: x.camera, Taken: x.day + "T10:00:00"}}
				p.date(s, nil)
				ps = append(ps, p)
			}
			doubtCameras(s, ps)
			for i, p := range ps {
				assert.Equal(t, c.flagged[i], len(p.notes) == 1, "%s %v", p.rel, p.notes)
			}
		})
	}
}

func TestDatesInTheFutureAreTold(t *testing.T) {
	var ps []*photo
	for _, taken := range []string{"2021-05-01T10:00:00", "2031-05-01T10:00:00", ""} {
		p := &photo{rel: "photos/a.jpg", facts: intake.Facts{Taken: taken}}
		p.date(&survey.Survey{Photos: []string{"photos"}}, nil)
		ps = append(ps, p)
	}
	ws := ahead(ps, "2022-01-01")
	require.Len(t, ws, 1)
	assert.Contains(t, ws[0], "dated 2031-05-01 (EXIF), which lies in the future")
}
