package words

import (
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// root is the folder of the whole source.
const root = "../../.."

// literal is a string in Go source.
type literal struct{ text, at string }

var prose = regexp.MustCompile(`[A-Za-z]{2,}[,;:]? [A-Za-z]{2,}`)

// quiet are the calls whose strings no reader of results sees: errors and panics end a run or stop a caller.
var quiet = map[string]bool{"Errorf": true, "New": true, "panic": true, "usage": true, "MustCompile": true}

// literals lists the strings of a folder's Go files, or of the files named, tests, imports, tags and quiet calls left out.
func literals(t *testing.T, dir string, names ...string) []literal {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(root, dir, "*.go"))
	require.NoError(t, err)
	require.NotEmpty(t, files, dir)
	only := map[string]bool{}
	for _, n := range names {
		only[n] = true
	}
	var out []literal
	for _, f := range files {
		base := filepath.Base(f)
		if strings.HasSuffix(base, "_test.go") || len(only) > 0 && !only[base] {
			continue
		}
		fset := token.NewFileSet()
		file, err := parser.ParseFile(fset, f, nil, parser.SkipObjectResolution)
		require.NoError(t, err)
		ast.Inspect(file, func(n ast.Node) bool {
			switch x := n.(type) {
			case *ast.ImportSpec:
				return false
			case *ast.Field:
				x.Tag = nil
			case *ast.CallExpr:
				name := ""
				switch f := x.Fun.(type) {
				case *ast.Ident:
					name = f.Name
				case *ast.SelectorExpr:
					name = f.Sel.Name
				}
				return !quiet[name]
			case *ast.BasicLit:
				if x.Kind == token.STRING {
					s, err := strconv.Unquote(x.Value)
					require.NoError(t, err)
					out = append(out, literal{s, fset.Position(x.Pos()).String()})
				}
			}
			return true
		})
	}
	return out
}

// pages returns the text of the report's templates.
func pages(t *testing.T) string {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(root, "pipeline/report/page/*.gohtml"))
	require.NoError(t, err)
	require.NotEmpty(t, files)
	var b strings.Builder
	for _, f := range files {
		src, err := os.ReadFile(f)
		require.NoError(t, err)
		b.Write(src)
	}
	return b.String()
}
