package kit_test

import (
	"bytes"
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"onetrip/internal/golden"
	"onetrip/internal/kit"
)

// goldenKit is a whole kit with what a reviewer says of it: Comment of the case, Why
// of every need that is in it.
type goldenKit struct {
	Comment string            `json:"comment"`
	Why     map[string]string `json:"why"`
	Request *kit.Request      `json:"request"`
	Kit     *kit.Kit          `json:"kit"`
}

const kitsDir = "../../testdata/kits"

func goldenFiles(t testing.TB) []string {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(kitsDir, "*.json"))
	if err != nil {
		t.Fatal(err)
	}
	if len(files) < 12 {
		t.Fatalf("%s holds %d kits, wanted at least 12", kitsDir, len(files))
	}
	return files
}

func readGolden(t testing.TB, file string) goldenKit {
	t.Helper()
	raw, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	var g goldenKit
	dec := json.NewDecoder(bytes.NewReader(raw))
	dec.DisallowUnknownFields()
	if err := dec.Decode(&g); err != nil {
		t.Fatalf("%s: %v", file, err)
	}
	return g
}

func TestGoldenKits(t *testing.T) {
	s := demoSnapshot(t)
	for _, file := range goldenFiles(t) {
		t.Run(strings.TrimSuffix(filepath.Base(file), ".json"), func(t *testing.T) {
			g := readGolden(t, file)
			k, err := kit.Resolve(context.Background(), s, g.Request)
			if err != nil {
				t.Fatal(err)
			}
			for _, n := range k.Needs {
				if g.Why[n.ID] == "" {
					t.Errorf("need %s: the file does not say why it is there", n.ID)
				}
			}
			for id := range g.Why {
				if !slices.ContainsFunc(k.Needs, func(n kit.Need) bool { return n.ID == id }) {
					t.Errorf("the file says why %s is there, and it is not", id)
				}
			}
			k.Proof.Nodes = 0 // how long the search took is no matter of the kit
			g.Kit = k
			got, err := json.MarshalIndent(g, "", "  ")
			if err != nil {
				t.Fatal(err)
			}
			golden.Equal(t, file, append(got, '\n'))
		})
	}
}

// Over all golden kits every need is met from the shelves, and every need of which a
// box, a shelf at home or a gap is possible shows that too.
func TestGoldenKitsCoverEveryNeedAndStatus(t *testing.T) {
	seen := map[string]map[kit.Status]bool{}
	for _, file := range goldenFiles(t) {
		for _, n := range readGolden(t, file).Kit.Needs {
			if seen[n.ID] == nil {
				seen[n.ID] = map[kit.Status]bool{}
			}
			seen[n.ID][n.Status] = true
		}
	}
	for _, need := range demoSnapshot(t).Rules.Needs() {
		for _, status := range []kit.Status{kit.Filled, kit.OnTheShelf} {
			if !seen[need][status] {
				t.Errorf("%s is never %s", need, status)
			}
		}
	}
	count := map[kit.Status]int{}
	for _, statuses := range seen {
		for status := range statuses {
			count[status]++
		}
	}
	for _, status := range []kit.Status{kit.InTheBox, kit.NotThere, kit.OutOfStock, kit.Declined} {
		if count[status] == 0 {
			t.Errorf("no need is ever %s", status)
		}
	}
}
