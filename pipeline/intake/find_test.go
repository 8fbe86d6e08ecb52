package intake

import (
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// tree writes files of the given paths below a new folder; "J" stands for a JPEG file's bytes.
func tree(t *testing.T, files map[string]string) string {
	t.Helper()
	j, err := os.ReadFile(filepath.Join(goodDir, "plain.jpg"))
	require.NoError(t, err)
	root := t.TempDir()
	for rel, content := range files {
		p := filepath.Join(root, filepath.FromSlash(rel))
		require.NoError(t, os.MkdirAll(filepath.Dir(p), 0o755))
		b := []byte(content)
		if content == "J" {
			b = j
		}
		require.NoError(t, os.WriteFile(p, b, 0o644))
	}
	return root
}

func paths(found []Found) []string {
	var p []string
	for _, f := range found {
		p = append(p, f.Path)
	}
	return p
}

func TestFind(t *testing.T) {
	root := tree(t, map[string]string{
		"photos/b.jpg": "J", "photos/a/c.JPEG": "J", "photos/a.jpg": "J", "photos/empty.HEIC": "", "photos/raw.NEF": "x",
		"photos/text.jpg": "words", "photos/notes.txt": "words", "photos/noext": "J", "photos/noext2": "words", "photos/film.mov": "\x00\x00\x00\x14ftypqt  ",
		"photos/.hidden.jpg": "J", "photos/.thumbs/x.jpg": "J", "photos/._a.jpg": "x", "photos/sidecar.xmp": "<x/>",
		"photos/old out/.tilelapse/lock": "", "photos/old out/overlays/v.jpg": "J",
		"other/d.png": "J", "elsewhere/e.jpg": "J",
	})
	found, err := Find(root, []string{"photos", "other", "photos/a", "./photos/"})
	require.NoError(t, err)
	assert.Equal(t, []string{
		"other/d.png", "photos/a.jpg", "photos/a/c.JPEG", "photos/b.jpg", "photos/empty.HEIC", "photos/noext", "photos/raw.NEF", "photos/text.jpg",
	}, paths(found), "each once, sorted")
	for _, f := range found {
		assert.NoError(t, f.Err)
	}
}

// TestNames tells that names of any kind come through as the file system spells them.
func TestNames(t *testing.T) {
	names := []string{
		"with space.jpg", "-leading-dash.jpg", "--help.jpg", "crèche été.jpg", "decomposed e\u0301.jpg", "صورة الجدار.jpg", "תמונה.jpg",
		"写真 2021-06-05.jpg", "wall 🧱 spring.jpg", "tab\there.jpg", "line\nbreak.jpg", "quote\"s'.jpg", "semi;colon,comma.jpg", "=1+1.jpg",
		"back\\slash.jpg", "percent%20.jpg", strings.Repeat("n", 251) + ".jpg", "#hash?.jpg", "\u202Egnp.jpg",
	}
	files := map[string]string{}
	for _, n := range names {
		files["photos/"+n] = "J"
	}
	root := tree(t, files)
	found, err := Find(root, []string{"photos"})
	require.NoError(t, err)
	require.Len(t, found, len(names))
	for _, f := range found {
		require.NoError(t, f.Err)
		require.Contains(t, files, f.Path)
		_, facts, err := Read(root, f.Path, Limits{})
		require.NoError(t, err, f.Path)
		assert.Equal(t, "JPEG", facts.Format)
	}
}

func TestNameThatIsNoText(t *testing.T) {
	root := tree(t, map[string]string{"photos/ok.jpg": "J", "photos/bad\xff\xfename.jpg": "J"})
	found, err := Find(root, []string{"photos"})
	require.NoError(t, err)
	require.Len(t, found, 2)
	assert.Equal(t, `photos/bad\xFF\xFEname.jpg`, found[0].Path)
	var r *Error
	require.ErrorAs(t, found[0].Err, &r)
	assert.Equal(t, BadName, r.Reason)
	assert.NoError(t, found[1].Err)
}

func TestLinksAndPipes(t *testing.T) {
	root := tree(t, map[string]string{"photos/a.jpg": "J", "secret/b.jpg": "J", "secret/note": "words"})
	in := func(rel string) string { return filepath.Join(root, "photos", rel) }
	require.NoError(t, os.Symlink("../secret/b.jpg", in("linked.jpg")))
	require.NoError(t, os.Symlink("../secret/b.jpg", in("linked-without-extension")))
	require.NoError(t, os.Symlink("../secret/note", in("linked-note")))
	require.NoError(t, os.Symlink("nowhere.jpg", in("dangling.jpg")))
	require.NoError(t, os.Symlink("loop.jpg", in("loop.jpg")))
	require.NoError(t, syscall.Mkfifo(in("pipe.png"), 0o644))
	require.NoError(t, syscall.Mkfifo(in("pipe"), 0o644))
	found, err := Find(root, []string{"photos"})
	require.NoError(t, err)
	reasons := map[string]Reason{}
	for _, f := range found {
		reasons[f.Path] = ""
		if e, ok := f.Err.(*Error); ok {
			assert.Equal(t, Rejected, e.Kind)
			reasons[f.Path] = e.Reason
		}
	}
	assert.Equal(t, map[string]Reason{
		"photos/a.jpg": "", "photos/linked.jpg": Link, "photos/linked-without-extension": Link, "photos/dangling.jpg": Link,
		"photos/loop.jpg": Link, "photos/pipe.png": NotRegular,
	}, reasons)

	require.NoError(t, os.Symlink("../secret", in("folder")))
	_, err = Find(root, []string{"photos"})
	require.ErrorContains(t, err, `"photos/folder" is a symbolic link`)
}

func TestFoldersRefused(t *testing.T) {
	root := tree(t, map[string]string{"photos/a.jpg": "J", "file": "words"})
	require.NoError(t, os.Symlink("photos", filepath.Join(root, "linked")))
	for folder, says := range map[string]string{
		"../x": "leads out", "/etc": "leads out", "photos/../..": "leads out", "missing": "does not exist", "linked": "symbolic link", "file": "not a folder",
	} {
		_, err := Find(root, []string{"photos", folder})
		require.ErrorContains(t, err, says, folder)
	}
	_, err := Find(root, []string{"missing", "linked"})
	require.ErrorContains(t, err, "missing")
	require.ErrorContains(t, err, "linked", "all at once")
	require.NoError(t, os.Remove(filepath.Join(root, "linked")))
	found, err := Find(root, []string{"."})
	require.NoError(t, err)
	assert.Equal(t, []string{"photos/a.jpg"}, paths(found))
}

func TestDateFromPath(t *testing.T) {
	for rel, want := range map[string]string{
		"photos/2021-06-05/a.jpg":               "2021-06-05",
		"photos/20210605/IMG_0001.jpg":          "2021-06-05",
		"photos/IMG_20210605_140309.jpg":        "2021-06-05",
		"photos/20210605140309.jpg":             "2021-06-05",
		"photos/2020-01-01/copy 2021-06-05.jpg": "2021-06-05", // the last one
		"photos/2021-06-05-2.jpg":               "2021-06-05",
		"photos/2021-06-05-140309.jpg":          "2021-06-05",
		"photos/x-2021-06-05.jpg":               "2021-06-05",
		"photos/1998/06/05.jpg":                 "",
		"photos/2021-13-05.jpg":                 "", // no such month
		"photos/2021-02-29.jpg":                 "", // no leap year
		"photos/2020-02-29.jpg":                 "2020-02-29",
		"photos/DSC12021-06-05.jpg":             "", // part of a longer number
		"photos/2021-06-051.jpg":                "",
		"photos/120210605.jpg":                  "",
		"photos/IMG_12345678.jpg":               "",
		"photos/20210605999999.jpg":             "", // no time of day
		"photos/2021_06_05.jpg":                 "",
		"photos/05.06.2021.jpg":                 "",
		"photos/18990101.jpg":                   "",
		"photos/20990101.jpg":                   "2099-01-01",
		"photos/2021-06-05/2021-99-99.jpg":      "2021-06-05",
		"صورة 2021-06-05.jpg":                   "2021-06-05",
		"":                                      "",
	} {
		got, ok := DateFromPath(rel)
		assert.Equal(t, want, got, rel)
		assert.Equal(t, want != "", ok, rel)
	}
}

func TestEXIFTime(t *testing.T) {
	for s, want := range map[string]string{
		"2021:06:05 14:03:09":           "2021-06-05T14:03:09",
		"2021:06:05 14:03:09\x00":       "2021-06-05T14:03:09",
		"2021-06-05 14:03:09":           "2021-06-05T14:03:09",
		"2021-06-05T14:03:09+02:00":     "2021-06-05T14:03:09",
		"2021:06:05 14:03":              "2021-06-05T14:03:00",
		"2021:06:05":                    "2021-06-05T00:00:00",
		"2021:06:05 14:03:09.25":        "2021-06-05T14:03:09",
		"0000:00:00 00:00:00":           "",
		"    :  :     :  :  ":           "",
		"2021:02:30 14:03:09":           "",
		"2021:06:05 24:00:00":           "",
		"0001:01:01 00:00:00":           "",
		"":                              "",
		strings.Repeat("\xff\x00é:", 9): "",
	} {
		got, ok := exifTime(s)
		assert.Equal(t, want, got, "%q", s)
		assert.Equal(t, want != "", ok)
	}
	for s, want := range map[string]string{"+02:00": "+02:00", "-09:30\x00": "-09:30", "Z": "+00:00", "": "", "2": "", "+25:99": ""} {
		got, _ := exifOffset(s)
		assert.Equal(t, want, got, "%q", s)
	}
}
