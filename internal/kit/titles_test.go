package kit_test

import (
	"slices"
	"strings"
	"testing"

	"onetrip/internal/kit"
)

// Titles are words, and no two needs have the same.
func TestEveryNeedHasATitle(t *testing.T) {
	ids := slices.Clone(demoSnapshot(t).Rules.Needs())
	if len(ids) < 40 {
		t.Fatalf("%d needs", len(ids))
	}
	of := map[string]string{}
	for _, id := range ids {
		title := kit.NeedTitle(id)
		if of[title] != "" || strings.ContainsAny(title, "._") || title == "" {
			t.Errorf("%s and %q are both called %q", id, of[title], title)
		}
		of[title] = id
		if group, _, _ := strings.Cut(id, "."); group == "mount" && strings.HasPrefix(title, "mount ") || group == "shop" && strings.HasPrefix(title, "shop ") {
			t.Errorf("%s is called %q, by its id", id, title)
		}
	}
	if got := kit.NeedTitle("brakes.check_valve"); got != "brakes check valve" {
		t.Errorf("a need of other rules is called %q", got)
	}
}
