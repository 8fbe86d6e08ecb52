package main

import (
	"bytes"
	"encoding/csv"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// binary is the built program, demoDir the demo survey as it writes it; both are made once.
var binary, demoDir string

func TestMain(m *testing.M) {
	os.Exit(func() int {
		tmp, err := os.MkdirTemp("", "tilelapse-e2e-")
		if err != nil {
			panic(err)
		}
		defer os.RemoveAll(tmp)
		binary = filepath.Join(tmp, "tilelapse")
		if out, err := exec.Command("go", "build", "-buildvcs=false", "-o", binary, ".").CombinedOutput(); err != nil {
			panic(string(out))
		}
		demoDir = filepath.Join(tmp, "demo")
		if out, err := exec.Command(binary, "demo", demoDir).CombinedOutput(); err != nil {
			panic(string(out))
		}
		return m.Run()
	}())
}

// demoRun measures the demo survey once for all tests that only look at the results.
var demoRun = sync.OnceValues(func() (result, error) {
	out := filepath.Join(filepath.Dir(demoDir), "out")
	var o, e bytes.Buffer
	c := exec.Command(binary, "run", demoDir, "--out", out, "--jobs", "2")
	c.Stdout, c.Stderr = &o, &e
	err := c.Run()
	return result{out, o.String(), e.String()}, err
})

type result struct{ out, stdout, stderr string }

func demoResult(t *testing.T) result {
	t.Helper()
	r, err := demoRun()
	require.NoError(t, err, r.stderr)
	return r
}

// tilelapse runs the program and returns standard output, standard error and the exit code.
func tilelapse(t *testing.T, args ...string) (stdout, stderr string, code int) {
	t.Helper()
	var o, e bytes.Buffer
	c := exec.Command(binary, args...)
	c.Stdout, c.Stderr = &o, &e
	err := c.Run()
	if _, exited := err.(*exec.ExitError); err != nil && !exited {
		require.NoError(t, err)
	}
	return o.String(), e.String(), c.ProcessState.ExitCode()
}

func copyTree(t *testing.T, from, to string) {
	t.Helper()
	require.NoError(t, os.CopyFS(to, os.DirFS(from)))
}

func read(t *testing.T, parts ...string) string {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(parts...))
	require.NoError(t, err)
	return string(b)
}

func rows(t *testing.T, parts ...string) []map[string]string {
	t.Helper()
	recs, err := csv.NewReader(strings.NewReader(read(t, parts...))).ReadAll()
	require.NoError(t, err)
	require.NotEmpty(t, recs)
	var rs []map[string]string
	for _, r := range recs[1:] {
		m := map[string]string{}
		for i, h := range recs[0] {
			m[h] = r[i]
		}
		rs = append(rs, m)
	}
	return rs
}

func TestDemoRunsEndToEnd(t *testing.T) {
	r := demoResult(t)
	out := r.out
	assert.Equal(t, out, strings.TrimSpace(r.stdout), "standard output holds the results' path alone")
	assert.NotContains(t, r.stderr, "\r", "no bar outside a terminal")

	for _, f := range []string{"photos.csv", "mappings.csv", "zones.csv", "compare.csv", "tiles.csv", "glazes.csv", "repeat.csv", "controls.csv",
		"trends.csv", "intervals.csv", "priorities.csv", "tables.xlsx", "report.html", "worksheet.html", "run.json", "ORIGINALS.sha256", "SHA256SUMS"} {
		assert.FileExists(t, filepath.Join(out, f))
	}
	status := map[string]int{}
	for _, r := range rows(t, out, "photos.csv") {
		status[r["status"]]++
		if r["status"] == "rejected" {
			assert.NotEmpty(t, r["reason"], r["photo"])
		}
	}
	assert.Equal(t, 12, status["used"], "two views on six visits")
	assert.Equal(t, 1, status["spare"], "the second frame of one visit")
	assert.Equal(t, 1, status["rejected"], "the photo of something else")
	for _, r := range rows(t, out, "zones.csv") {
		assert.FileExists(t, filepath.Join(out, "series", r["view"], r["zone"]+".csv"))
		assert.FileExists(t, filepath.Join(out, "overlays", r["view"], r["visit"]+".jpg"))
		assert.FileExists(t, filepath.Join(out, "outlines", r["view"]+".svg"))
	}

	t.Run("a second run with another number of jobs writes the same bytes", func(t *testing.T) {
		again := filepath.Join(t.TempDir(), "out")
		_, stderr, code := tilelapse(t, "run", demoDir, "--out", again, "--jobs", "1", "--quiet")
		require.Equal(t, 0, code, stderr)
		assert.Equal(t, read(t, out, "SHA256SUMS"), read(t, again, "SHA256SUMS"))
	})
	t.Run("verify agrees, and sees a change", func(t *testing.T) {
		_, stderr, code := tilelapse(t, "verify", demoDir, "--out", out)
		assert.Equal(t, 0, code, stderr)
		if tool, err := exec.LookPath("sha256sum"); err == nil {
			c := exec.Command(tool, "-c", "--quiet", "--strict", "SHA256SUMS")
			c.Dir = out
			b, err := c.CombinedOutput()
			assert.NoError(t, err, string(b))
		}
		other := filepath.Join(t.TempDir(), "out")
		copyTree(t, out, other)
		f, err := os.OpenFile(filepath.Join(other, "zones.csv"), os.O_APPEND|os.O_WRONLY, 0)
		require.NoError(t, err)
		_, err = f.WriteString("x")
		require.NoError(t, err)
		require.NoError(t, f.Close())
		stdout, _, code := tilelapse(t, "verify", demoDir, "--out", other)
		assert.Equal(t, 5, code)
		assert.Contains(t, stdout, "zones.csv: altered")
	})
	t.Run("without the upkeep record the measured figures are the same bytes", func(t *testing.T) {
		dir := filepath.Join(t.TempDir(), "demo")
		copyTree(t, demoDir, dir)
		require.NoError(t, os.Remove(filepath.Join(dir, "upkeep.csv")))
		copyTree(t, filepath.Join(out, ".tilelapse", "records"), filepath.Join(dir, "out", ".tilelapse", "records"))
		_, stderr, code := tilelapse(t, "run", dir, "--quiet")
		require.Equal(t, 0, code, stderr)
		for _, f := range []string{"zones.csv", "compare.csv", "glazes.csv", "repeat.csv", "controls.csv", "mappings.csv", "photos.csv"} {
			assert.Equal(t, read(t, out, f), read(t, dir, "out", f), f)
		}
		a, b := rows(t, out, "tiles.csv"), rows(t, dir, "out", "tiles.csv")
		for i := range a {
			a[i]["recorded"], b[i]["recorded"] = "", ""
		}
		assert.Equal(t, a, b)
	})
}

// Photos that come in one by one end in the same bytes as all at once: the result hangs on the set, not the order.
func TestPhotosAddedOneByOne(t *testing.T) {
	whole := demoResult(t).out
	dir := filepath.Join(t.TempDir(), "demo")
	copyTree(t, demoDir, dir)
	photos := filepath.Join(dir, "photos")
	aside := filepath.Join(t.TempDir(), "aside")
	require.NoError(t, os.Rename(photos, aside))
	var files []string
	require.NoError(t, filepath.WalkDir(aside, func(p string, d os.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			files = append(files, p)
		}
		return err
	}))
	for i := range files { // latest first, some at a time: neither order nor number may matter
		f := files[len(files)-1-i]
		rel, err := filepath.Rel(aside, f)
		require.NoError(t, err)
		to := filepath.Join(photos, rel)
		require.NoError(t, os.MkdirAll(filepath.Dir(to), 0o755))
		require.NoError(t, os.Rename(f, to))
		if i%4 == 3 || i == len(files)-1 {
			_, stderr, code := tilelapse(t, "run", dir, "--quiet")
			require.Equal(t, 0, code, stderr)
		}
	}
	assert.Equal(t, read(t, whole, "SHA256SUMS"), read(t, dir, "out", "SHA256SUMS"))
}

func TestWrongUsageIsRefusedBeforeAnyWork(t *testing.T) {
	dir := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, "survey.yaml"), []byte("site: X\nviews:\n  - id: a b\n    reference: none.jpg\ncolour: red\n"), 0o644))
	for _, c := range []struct {
		name string
		args []string
		want []string
	}{
		{"unknown flag", []string{"run", "--nonsense"}, []string{"--nonsense"}},
		{"two folders", []string{"run", "a", "b"}, []string{"one survey folder"}},
		{"no survey file", []string{"run", t.TempDir()}, []string{"survey.yaml"}},
		{"mistakes all at once, with places", []string{"run", dir}, []string{"survey.yaml:3:", "survey.yaml:4:", "survey.yaml:5:1"}},
		{"shard out of range", []string{"run", demoDir, "--shard", "3/2"}, []string{"--shard"}},
		{"view that is none", []string{"run", demoDir, "--view", "nowhere"}, []string{"nowhere"}},
		{"nothing to verify", []string{"verify", t.TempDir()}, []string{"run the survey first"}},
		{"demo over something", []string{"demo", demoDir}, []string{"not empty"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			stdout, stderr, code := tilelapse(t, c.args...)
			assert.Equal(t, 4, code, stderr)
			assert.Empty(t, stdout)
			for _, w := range c.want {
				assert.Contains(t, stderr, w)
			}
			assert.NoDirExists(t, filepath.Join(dir, "out"))
		})
	}
}

func TestABadPhotoNeverStopsTheOthers(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "demo")
	copyTree(t, demoDir, dir)
	bad := filepath.Join(dir, "photos", "2020-01-01 broken.jpg")
	require.NoError(t, os.WriteFile(bad, []byte("\xff\xd8\xff\xe0 not much of a picture"), 0o644))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "photos", "empty.jpg"), nil, 0o644))
	copyTree(t, filepath.Join(demoResult(t).out, ".tilelapse", "records"), filepath.Join(dir, "out", ".tilelapse", "records"))
	_, stderr, code := tilelapse(t, "run", dir, "--quiet")
	require.Equal(t, 0, code, stderr)
	refused := map[string]string{}
	used := 0
	for _, r := range rows(t, dir, "out", "photos.csv") {
		if r["status"] == "rejected" {
			refused[filepath.Base(r["photo"])] = r["reason"]
		}
		if r["status"] == "used" {
			used++
		}
	}
	assert.NotEmpty(t, refused["2020-01-01 broken.jpg"])
	assert.NotEmpty(t, refused["empty.jpg"])
	assert.Equal(t, 12, used)
}

func TestNothingUsableIsToldByItsOwnCode(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "demo")
	copyTree(t, demoDir, dir)
	photos := filepath.Join(dir, "photos")
	require.NoError(t, os.RemoveAll(photos))
	require.NoError(t, os.Mkdir(photos, 0o755))
	require.NoError(t, os.Remove(filepath.Join(dir, "archive.csv"))) // it names photos, and they are gone
	_, stderr, code := tilelapse(t, "run", dir, "--quiet")
	assert.Equal(t, 3, code, stderr)
	assert.FileExists(t, filepath.Join(dir, "out", "photos.csv"))
}
