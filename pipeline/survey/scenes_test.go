package survey

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// sharedData returns the folder of the developers' rendered surveys, or skips the test.
func sharedData(t *testing.T) string {
	t.Helper()
	if dir := os.Getenv("TILELAPSE_SHARED"); dir != "" {
		return dir
	}
	dir, err := filepath.Abs(".")
	require.NoError(t, err)
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			break
		}
		if dir == filepath.Dir(dir) {
			t.Skip("no project root above the package")
		}
		dir = filepath.Dir(dir)
	}
	shared := filepath.Join(filepath.Dir(dir), "shared")
	if _, err := os.Stat(filepath.Join(shared, "scenes")); err != nil {
		t.Skip("the developers' surveys are not here; set TILELAPSE_SHARED to their folder")
	}
	return shared
}

func TestLoadRenderedSurveys(t *testing.T) {
	found, err := filepath.Glob(filepath.Join(sharedData(t), "scenes", "*", "survey.yaml"))
	require.NoError(t, err)
	require.NotEmpty(t, found)
	for _, f := range found {
		s, err := Load(filepath.Dir(f))
		require.NoError(t, err)
		assert.NotEmpty(t, s.Site)
		for _, v := range s.Views {
			require.NotNil(t, v.Drawing)
			assert.NotEmpty(t, v.Drawing.Zones)
			assert.NotEmpty(t, v.Drawing.Controls)
			assert.Empty(t, v.Drawing.Notes)
		}
	}
}
