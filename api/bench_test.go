package main

import (
	"strings"
	"testing"

	"onetrip/internal/store/storetest"
)

var smallBench = []string{"bench", "catalogue", "--parts", "1500", "--vehicles", "60", "--carburetors", "55", "--pairs", "6", "--sweep", "6,2"}

func TestBenchMeasuresBothCatalogues(t *testing.T) {
	stdout, stderr, code := runProgram(t, "", smallBench...)
	if code != exitOK || stderr != "" {
		t.Fatalf("exit code %d, stderr %q", code, stderr)
	}
	for _, want := range []string{
		"made 1500 parts, 60 vehicles, 55 carburetors,", "the snapshot holds",
		"demo pairs, demo catalogue", "demo pairs, synthetic catalogue", "synthetic pairs, synthetic catalogue",
		"sweep of the demo catalogue, 6 vehicles x 2 carburetors, 1 workers:", "sweep of the synthetic catalogue,",
	} {
		if !strings.Contains(stdout, want) {
			t.Errorf("does not print %q:\n%s", want, stdout)
		}
	}
	for _, wrong := range [][]string{{"--parts", "3"}, {"--sweep", "6"}, {"--pairs", "0"}} {
		if _, _, code := runProgram(t, "", append(smallBench, wrong...)...); code != exitWrongInput {
			t.Errorf("%v: exit code %d", wrong, code)
		}
	}
}

// The catalogue goes into an empty database and comes back; one that is there stays.
func TestBenchFillsAnEmptyDatabaseOnly(t *testing.T) {
	t.Setenv(databaseVariable, storetest.Bare(t))
	succeed(t, "migrate")
	stdout, stderr, code := runProgram(t, "", smallBench...)
	if code != exitOK || !strings.Contains(stdout, "written to the database in") || !strings.Contains(stdout, "read from the database in") {
		t.Fatalf("exit code %d: %s%s", code, stdout, stderr)
	}
	if _, stderr, code := runProgram(t, "", smallBench...); code == exitOK || !strings.Contains(stderr, "holds a catalogue already") {
		t.Errorf("a second time: exit code %d: %s", code, stderr)
	}
}
