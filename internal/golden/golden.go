// Package golden compares output with files kept beside the tests. It registers the
// flag -update, which rewrites them; every test package imports it, if only for the
// flag, so that `go test ./... -update` is accepted everywhere.
package golden

import (
	"bytes"
	"flag"
	"os"
	"testing"
)

// Update is set by -update.
var Update = flag.Bool("update", false, "rewrite golden files with what the tests got")

// Equal fails the test unless got is what the file holds; with -update it writes the
// file instead.
func Equal(t testing.TB, file string, got []byte) {
	t.Helper()
	if *Update {
		if err := os.WriteFile(file, got, 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatalf("%v; go test -update writes it", err)
	}
	if !bytes.Equal(got, want) {
		t.Errorf("%s differs from line %d on; read the difference with -update and git diff", file, firstDifference(got, want))
	}
}

func firstDifference(a, b []byte) int {
	n := 0
	for n < len(a) && n < len(b) && a[n] == b[n] {
		n++
	}
	return 1 + bytes.Count(a[:n], []byte{'\n'})
}
