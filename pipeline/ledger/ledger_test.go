package ledger

import (
	"bytes"
	"encoding/gob"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func open(t *testing.T, out string, shared, fresh bool) *Store {
	t.Helper()
	s, err := Open(out, shared, fresh)
	require.NoError(t, err)
	return s
}

func TestRecordsKeepWhatWasNotMeasured(t *testing.T) {
	s := open(t, t.TempDir(), false, false)
	defer s.Close()
	type row struct {
		A, B   float64
		Hidden []byte `json:"-"`
		own    int
	}
	k := Key(row{A: math.NaN(), own: 1})
	assert.Equal(t, k, Key(row{A: math.Inf(1), own: 2}), "neither is a figure; what is not exported is no part")
	assert.NotEqual(t, k, Key(row{A: 0}))
	require.NoError(t, s.Put("read", k, row{A: math.NaN(), B: 2}))
	var got row
	require.True(t, s.Get("read", k, &got))
	assert.True(t, math.IsNaN(got.A))
	assert.Equal(t, 2.0, got.B)
}

func TestKeyTellsPartsApart(t *testing.T) {
	assert.NotEqual(t, Key("ab", "c"), Key("a", "bc"))
	assert.Equal(t, Key("a", 1.5, []string{"x"}), Key("a", 1.5, []string{"x"}))
}

func TestRecordsComeBackAndDamageCountsAsNone(t *testing.T) {
	out := t.TempDir()
	s := open(t, out, false, false)
	k := Key("photo")
	require.NoError(t, s.Put("align", k, map[string]int{"inliers": 7}))
	var got map[string]int
	require.True(t, s.Get("align", k, &got))
	assert.Equal(t, 7, got["inliers"])
	require.NoError(t, os.WriteFile(s.path("align", k, recordExt), []byte(`{"inl`), 0o644))
	assert.False(t, s.Get("align", k, &got))
	require.NoError(t, s.Close())
	s = open(t, out, false, true)
	defer s.Close()
	_, ok := s.Bytes("align", k, recordExt)
	assert.False(t, ok, "fresh forgets")
}

func TestOneRunAtATimeButShardsTogether(t *testing.T) {
	out := t.TempDir()
	a := open(t, out, true, false)
	b := open(t, out, true, false)
	_, err := Open(out, false, false)
	assert.ErrorIs(t, err, ErrLocked)
	require.NoError(t, a.Close())
	require.NoError(t, b.Close())
	c := open(t, out, false, false)
	defer c.Close()
	_, err = Open(out, true, false)
	assert.ErrorIs(t, err, ErrLocked)
}

func TestEqualBytesAreNotWrittenAgain(t *testing.T) {
	out := t.TempDir()
	s := open(t, out, false, false)
	defer s.Close()
	require.NoError(t, s.WriteFile("a/b.csv", []byte("x")))
	p := filepath.Join(out, "a", "b.csv")
	before, err := os.Stat(p)
	require.NoError(t, err)
	require.NoError(t, s.WriteFile("a/b.csv", []byte("x")))
	after, err := os.Stat(p)
	require.NoError(t, err)
	assert.True(t, os.SameFile(before, after), "the file was replaced although nothing changed")
	require.NoError(t, s.WriteFile("a/b.csv", []byte("y")))
	after, err = os.Stat(p)
	require.NoError(t, err)
	assert.False(t, os.SameFile(before, after), "a new file takes the old one's place by renaming")
}

func TestPruneRemovesWhatTheRunDidNotWrite(t *testing.T) {
	out := t.TempDir()
	s := open(t, out, false, false)
	defer s.Close()
	for _, f := range []string{"overlays/v/a.jpg", "overlays/v/b.jpg", "notes.txt"} {
		require.NoError(t, s.WriteFile(f, []byte("x")))
	}
	require.NoError(t, s.Prune(map[string]bool{"overlays/v/a.jpg": true}, "overlays", "changes"))
	assert.FileExists(t, filepath.Join(out, "overlays", "v", "a.jpg"))
	assert.NoFileExists(t, filepath.Join(out, "overlays", "v", "b.jpg"))
	assert.FileExists(t, filepath.Join(out, "notes.txt"), "the user's own files stay")
}

func TestHashListsAgreeWithSha256sum(t *testing.T) {
	dir := t.TempDir()
	names := []string{"plain.txt", "with space é.jpg", "back\\slash", "line\nfeed", "-dash"}
	for _, n := range names {
		require.NoError(t, os.WriteFile(filepath.Join(dir, n), []byte(n), 0o644))
	}
	es, err := HashFolder(dir, func(string) bool { return false })
	require.NoError(t, err)
	require.Len(t, es, len(names))
	list := Format(es)
	back, err := Parse(bytes.NewReader(list))
	require.NoError(t, err)
	assert.ElementsMatch(t, es, back)
	tool, err := exec.LookPath("sha256sum")
	if err != nil {
		t.Skip("sha256sum is not installed")
	}
	cmd := exec.Command(tool, "-c", "--strict")
	cmd.Dir, cmd.Stdin = dir, bytes.NewReader(list)
	got, err := cmd.CombinedOutput()
	assert.NoError(t, err, string(got))
	assert.Equal(t, len(names), strings.Count(string(got), "OK"))
}

func TestVerifyTellsAlteredGoneAndAdded(t *testing.T) {
	survey := t.TempDir()
	out := filepath.Join(survey, "out")
	s := open(t, out, false, false)
	defer s.Close()
	for _, n := range []string{"a.jpg", "b.jpg"} {
		require.NoError(t, os.WriteFile(filepath.Join(survey, n), []byte(n), 0o644))
	}
	var es []Entry
	for _, n := range []string{"a.jpg", "b.jpg"} {
		h, err := HashFile(filepath.Join(survey, n))
		require.NoError(t, err)
		es = append(es, Entry{n, h})
	}
	require.NoError(t, s.WriteFile(OriginalsFile, Format(es)))
	require.NoError(t, s.WriteFile("zones.csv", []byte("x")))
	rs, err := HashFolder(out, SkipResult)
	require.NoError(t, err)
	require.NoError(t, s.WriteFile(ResultsFile, Format(rs)))

	diffs, n, err := Verify(survey, out)
	require.NoError(t, err)
	assert.Empty(t, diffs)
	assert.Equal(t, 4, n)

	require.NoError(t, os.WriteFile(filepath.Join(survey, "a.jpg"), []byte("retouched"), 0o644))
	require.NoError(t, os.Remove(filepath.Join(survey, "b.jpg")))
	require.NoError(t, os.WriteFile(filepath.Join(out, "extra.csv"), []byte("x"), 0o644))
	diffs, _, err = Verify(survey, out)
	require.NoError(t, err)
	assert.ElementsMatch(t, []Difference{{OriginalsFile, "a.jpg", "altered"}, {OriginalsFile, "b.jpg", "gone"}, {ResultsFile, "extra.csv", "added"}}, diffs)
}

// FuzzGet puts any bytes in a record's place: they are as good as none, or a record.
func FuzzGet(f *testing.F) {
	type part struct {
		Grid [3][2]float64
		Name string
	}
	type record struct {
		Parts []part
		Of    map[string]*part
		Bytes []byte
		Yes   bool
	}
	var b bytes.Buffer
	if err := gob.NewEncoder(&b).Encode(record{Parts: make([]part, 3), Of: map[string]*part{"a": {Name: "b"}}, Bytes: []byte("abc"), Yes: true}); err != nil {
		f.Fatal(err)
	}
	f.Add(b.Bytes())
	f.Add([]byte(`{"inl`))
	s, err := Open(f.TempDir(), false, false)
	if err != nil {
		f.Fatal(err)
	}
	f.Cleanup(func() { s.Close() })
	k := Key("record")
	if err := s.PutBytes("read", k, recordExt, nil); err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		require.NoError(t, os.WriteFile(s.path("read", k, recordExt), b, 0o600))
		var r record
		if s.Get("read", k, &r) {
			require.NoError(t, s.Put("again", k, r))
			var again record
			require.True(t, s.Get("again", k, &again))
			require.Equal(t, len(r.Parts), len(again.Parts))
		}
	})
}

func FuzzParse(f *testing.F) {
	f.Add([]byte(strings.Repeat("a", 64) + "  x\n"))
	f.Add([]byte("\\" + strings.Repeat("0", 64) + "  x\\ny\n"))
	f.Fuzz(func(t *testing.T, b []byte) {
		es, err := Parse(bytes.NewReader(b))
		if err != nil {
			return
		}
		again, err := Parse(bytes.NewReader(Format(es)))
		if err != nil {
			t.Fatalf("what was written can't be read: %v", err)
		}
		assert.ElementsMatch(t, es, again)
	})
}
