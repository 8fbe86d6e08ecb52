package pipeline

import (
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// layer orders the top folders: a package may import its own folder's packages and those of lower layers.
var layer = map[string]int{"cmd": 2, "pipeline": 1, "register": 0, "measure": 0}

// cgoAllowed are the only packages that may hold C or C++.
var cgoAllowed = map[string]bool{
	"register/internal/cv": true, "measure/internal/cv": true, "pipeline/intake/jpeg": true, "pipeline/intake/heif": true,
}

func TestLayersImportDownwardsOnlyAndCgoStaysInItsPlaces(t *testing.T) {
	root := ".."
	files := 0
	for from := range layer {
		err := filepath.WalkDir(filepath.Join(root, from), func(path string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") {
				return err
			}
			files++
			f, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.ImportsOnly)
			require.NoError(t, err)
			rel, err := filepath.Rel(root, filepath.Dir(path))
			require.NoError(t, err)
			for _, im := range f.Imports {
				name, err := strconv.Unquote(im.Path.Value)
				require.NoError(t, err)
				if name == "C" {
					assert.True(t, cgoAllowed[filepath.ToSlash(rel)], "%s holds C", path)
				}
				rest, own := strings.CutPrefix(name, "tilelapse/")
				if !own {
					continue
				}
				to, _, _ := strings.Cut(rest, "/")
				if to != from && layer[to] >= layer[from] {
					t.Errorf("%s imports %s: %s must not know %s", path, name, from, to)
				}
			}
			return nil
		})
		require.NoError(t, err)
	}
	assert.Greater(t, files, 20, "the walk found too few files to mean anything")
}

// Files of package measure must not read or write files: the figures depend on what is handed in alone.
func TestMeasureAndRegisterReadNoFiles(t *testing.T) {
	for _, from := range []string{"register", "measure"} {
		err := filepath.WalkDir(filepath.Join("..", from), func(path string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
				return err
			}
			f, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.ImportsOnly)
			require.NoError(t, err)
			src, err := os.ReadFile(path)
			require.NoError(t, err)
			assert.NotContains(t, string(src), "time.Now(", "%s: no figure may hang on the clock", path)
			for _, im := range f.Imports {
				for _, no := range []string{`"os"`, `"io/fs"`, `"net/http"`, `"encoding/csv"`, `"image/jpeg"`, `"image/png"`} {
					assert.NotEqual(t, no, im.Path.Value, path)
				}
			}
			return nil
		})
		require.NoError(t, err)
	}
}

func TestTopLevelIsTheHouse(t *testing.T) {
	want := map[string]bool{"cmd": true, "pipeline": true, "register": true, "measure": true, "testdata": true, "scripts": true,
		"go.mod": true, "go.sum": true, "README.md": true, "DEVELOPERS.md": true}
	ignored, err := os.ReadFile("../.gitignore")
	require.NoError(t, err)
	es, err := os.ReadDir("..")
	require.NoError(t, err)
	for _, e := range es {
		if strings.HasPrefix(e.Name(), ".") || strings.Contains(string(ignored), "/"+e.Name()+"/\n") {
			continue
		}
		assert.True(t, want[e.Name()], "%s has no place at the top level", e.Name())
	}
}
