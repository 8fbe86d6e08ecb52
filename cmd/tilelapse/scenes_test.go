package main

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// sharedDir is a folder of test data that is not part of the repository: named by TILELAPSE_SHARED, else "shared"
// beside the project folder. Tests that need it are skipped without it.
func sharedDir(t *testing.T) string {
	t.Helper()
	dir := os.Getenv("TILELAPSE_SHARED")
	if dir == "" {
		dir = filepath.Join("..", "..", "..", "shared")
	}
	if _, err := os.Stat(filepath.Join(dir, "scenes")); err != nil {
		t.Skip("the rendered scenes are not here (set TILELAPSE_SHARED to their parent folder)")
	}
	return dir
}

// The smallest rendered scene with drawn outlines runs to the end: every honest photo used, no other one measured.
func TestSceneRunsToTheEnd(t *testing.T) {
	scene := filepath.Join(sharedDir(t), "scenes", "school-basin")
	out := filepath.Join(t.TempDir(), "out")
	_, stderr, code := tilelapse(t, "run", scene, "--out", out, "--quiet")
	require.Equal(t, 0, code, stderr)
	for _, r := range rows(t, out, "photos.csv") {
		extra := len(filepath.Base(r["photo"])) > 5 && filepath.Base(r["photo"])[:5] == "extra"
		if extra {
			assert.Equal(t, "rejected", r["status"], r["photo"])
		} else {
			assert.Equal(t, "used", r["status"], "%s: %s", r["photo"], r["reason"])
			assert.Equal(t, r["view"]+".jpg", filepath.Base(r["photo"]), "the view is recognised")
		}
	}
	assert.FileExists(t, filepath.Join(out, "report.html"))
}
