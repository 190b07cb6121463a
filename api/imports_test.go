package main

import (
	"go/parser"
	"go/token"
	"io/fs"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// allowed is which packages of ours each package may import outside its tests. The
// order is that of the program: api wires adapters (store, httpapi, sheet), these
// stand around kit, kit on pick, fit and rules, these on calc and catalog, all on
// units. A new package is a new row.
var allowed = map[string][]string{
	"internal/units":    {},
	"internal/calc":     {"internal/units"},
	"internal/catalog":  {"internal/units"},
	"internal/rules":    {"internal/calc", "internal/catalog", "internal/units"},
	"internal/fit":      {"internal/calc", "internal/catalog", "internal/units"},
	"internal/pick":     {"internal/calc", "internal/catalog", "internal/units"},
	"internal/kit":      {"internal/pick", "internal/fit", "internal/rules", "internal/calc", "internal/catalog", "internal/units"},
	"internal/coverage": {"internal/kit", "internal/catalog", "internal/units"},
	"internal/store":    {"db", "internal/coverage", "internal/kit", "internal/rules", "internal/catalog", "internal/units"},
	"internal/sheet":    {"internal/coverage", "internal/kit", "internal/calc", "internal/catalog", "internal/units"},
	"internal/httpapi":  {"internal/sheet", "internal/coverage", "internal/kit", "internal/rules", "internal/calc", "internal/catalog", "internal/units"},
	"db":                {},

	// helpers of tests
	"internal/deadline":        {},
	"internal/golden":          {},
	"internal/kit/kittest":     {"internal/store", "internal/kit", "internal/rules", "internal/catalog", "db"},
	"internal/pick/outside":    {"internal/pick"},
	"internal/store/storetest": {"internal/store", "internal/kit", "internal/catalog", "internal/units", "db"},
	"api": {"db", "internal/httpapi", "internal/store", "internal/sheet", "internal/coverage", "internal/kit", "internal/pick", "internal/fit", "internal/rules",
		"internal/calc", "internal/catalog", "internal/units"},
}

// outside are the modules and packages of technology that only an adapter may know,
// by import path prefix, with the packages that may.
var outside = map[string][]string{
	"net/http":                          {"internal/httpapi", "api"},
	"database/sql":                      {"internal/store", "internal/store/storetest"},
	"github.com/labstack/echo":          {"internal/httpapi"},
	"github.com/getkin/kin-openapi":     {"internal/httpapi"},
	"github.com/oapi-codegen/":          {"internal/httpapi"},
	"github.com/jackc/":                 {"internal/store", "internal/store/storetest"},
	"github.com/riverqueue/":            {"internal/store"},
	"github.com/pressly/goose":          {"internal/store"},
	"github.com/testcontainers/":        {"internal/store/storetest"},
	"github.com/alecthomas/kong":        {"api"},
	"cel.dev/":                          {"internal/rules"},
	"github.com/google/cel-go":          {"internal/rules"},
	"google.golang.org/genproto/google": {"internal/rules"},
}

func TestImportsPointDown(t *testing.T) {
	for pkg, imports := range importsOf(t, "..") {
		permitted, known := allowed[pkg]
		if !known {
			t.Errorf("%s is in no row of the table: add it with what it may import", pkg)
		}
		for _, imported := range imports {
			if bad := forbidden(pkg, permitted, imported); bad != "" {
				t.Errorf("%s imports %s: %s", pkg, imported, bad)
			}
		}
	}
}

// TestImportGuardSeesWhatIsWrong keeps the guard from passing because it looks at nothing.
func TestImportGuardSeesWhatIsWrong(t *testing.T) {
	for _, wrong := range []struct{ pkg, imported string }{
		{"internal/calc", "onetrip/internal/catalog"},
		{"internal/kit", "onetrip/internal/store"},
		{"internal/fit", "onetrip/internal/pick"},
		{"internal/kit", "github.com/labstack/echo/v4"},
		{"internal/catalog", "github.com/jackc/pgx/v5"},
		{"internal/httpapi", "github.com/jackc/pgx/v5/pgxpool"},
		{"internal/store", "net/http"},
	} {
		if forbidden(wrong.pkg, allowed[wrong.pkg], wrong.imported) == "" {
			t.Errorf("%s may import %s", wrong.pkg, wrong.imported)
		}
	}
	if got := importsOf(t, ".."); !slices.Contains(got["internal/catalog"], "onetrip/internal/units") || !slices.Contains(got["api"], "github.com/alecthomas/kong") {
		t.Errorf("imports known to be there were not found: %v", got)
	}
}

// forbidden says why pkg may not import a path, "" when it may.
func forbidden(pkg string, permitted []string, imported string) string {
	if own, ok := strings.CutPrefix(imported, "onetrip/"); ok {
		if !slices.Contains(permitted, own) {
			return "allowed are " + strings.Join(permitted, ", ")
		}
		return ""
	}
	for prefix, users := range outside {
		if strings.HasPrefix(imported, prefix) && !slices.Contains(users, pkg) {
			return "only " + strings.Join(users, ", ") + " may know it"
		}
	}
	return ""
}

// importsOf lists what each package of the tree imports outside its tests, by
// directory relative to root.
func importsOf(t *testing.T, root string) map[string][]string {
	t.Helper()
	found := map[string][]string{}
	err := filepath.WalkDir(root, func(file string, entry fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		name := entry.Name()
		if entry.IsDir() && (name == "testdata" || name == "node_modules" || strings.HasPrefix(name, ".") && name != "..") {
			return filepath.SkipDir
		}
		if path.Ext(name) != ".go" || strings.HasSuffix(name, "_test.go") {
			return nil
		}
		parsed, err := parser.ParseFile(token.NewFileSet(), file, nil, parser.ImportsOnly)
		if err != nil {
			return err
		}
		dir, err := filepath.Rel(root, filepath.Dir(file))
		if err != nil {
			return err
		}
		pkg := filepath.ToSlash(dir)
		if found[pkg] == nil {
			found[pkg] = []string{}
		}
		for _, spec := range parsed.Imports {
			imported, err := strconv.Unquote(spec.Path.Value)
			if err != nil {
				return err
			}
			found[pkg] = append(found[pkg], imported)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return found
}
