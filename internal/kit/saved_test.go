//go:build !race

package kit_test

import (
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"onetrip/internal/catalog"
	"onetrip/internal/kit"
)

// Not under the race detector: nothing here works beside itself, and it takes long there.

// Several lines take substitutes at once, and a patch that is refused changes nothing.
func TestSubstitutesAreTriedTogether(t *testing.T) {
	s := demoSnapshot(t)
	r := &kit.Request{Vehicle: usual(), CarburetorSKU: manualChoke}
	k := mustResolve(t, s, r)
	sv, err := kit.NewSaved(r, k, "till")
	if err != nil {
		t.Fatal(err)
	}
	at := time.Date(2026, 3, 4, 5, 6, 7, 0, time.UTC)
	sv.Begin("7KFM3-WX9R5", at)

	var line, with []string
	for _, need := range []string{"fuel.hose", "fuel.clamps"} {
		l := linePart(t, k, need, map[string]catalog.Kind{"fuel.hose": "fuel_hose", "fuel.clamps": "hose_clamp"}[need])
		line = append(line, l.SKU)
		for _, p := range s.Catalog.Parts() {
			if p.Kind == l.Kind && p.SKU != l.SKU && whyNot(t, s, r, k, map[string]string{l.SKU: p.SKU}) == "" {
				with = append(with, p.SKU)
				break
			}
		}
	}
	if len(with) != 2 {
		t.Fatalf("for %v there are %v", line, with)
	}
	substitute := func(sku string) *kit.Mark { return &kit.Mark{Mark: kit.LineSubstituted, Substitute: sku} }
	mark := func(marks map[string]*kit.Mark) error {
		return sv.Mark(t.Context(), s, &kit.Patch{Marks: marks}, "till", at.Add(time.Hour))
	}
	if err := mark(map[string]*kit.Mark{line[0]: substitute(with[0]), line[1]: substitute(with[1])}); err != nil {
		t.Fatal(err)
	}
	if len(sv.Marks) != 2 || len(sv.History) != 3 || !sv.ChangedAt.Equal(at.Add(time.Hour)) || sv.Status != kit.SavedPicking {
		t.Errorf("%+v", sv.SavedSummary)
	}
	before := slices.Clone(sv.History)
	err = mark(map[string]*kit.Mark{line[0]: substitute(linePart(t, k, "fuel.filter", "fuel_filter").SKU), line[1]: nil})
	var invalid *catalog.InvalidError
	if !errors.As(err, &invalid) || len(invalid.Violations) != 1 || invalid.Violations[0].Pointer != "/marks/"+line[0]+"/substitute" || !strings.Contains(invalid.Violations[0].Detail, "fuel.hose: kind: fuel_filter, wanted fuel_hose") {
		t.Errorf("%v", err)
	}
	if !slices.Equal(sv.History, before) || len(sv.Marks) != 2 {
		t.Error("a patch that was refused has changed the kit")
	}
	first, err := sv.AsSaved()
	if err != nil || len(first.Marks) != 0 || len(first.History) != 1 || first.Status != kit.SavedOpen || !first.ChangedAt.Equal(at) {
		t.Errorf("as it was saved: %+v (%v)", first.SavedSummary, err)
	}
}

// What is left by a history is what its last entries say.
func TestMarksFollowFromHistory(t *testing.T) {
	at := time.Now()
	marks := kit.MarksOf([]kit.Event{
		{At: at, What: kit.KitSaved}, {What: kit.EventPicked, SKU: "A"}, {What: kit.EventSubstituted, SKU: "B", Substitute: "C"},
		{What: kit.EventDeclined, SKU: "A"}, {What: kit.EventPicked, SKU: "D"}, {What: kit.EventCleared, SKU: "D"},
	})
	if len(marks) != 2 || marks["A"] != (kit.Mark{Mark: kit.LineDeclined}) || marks["B"] != (kit.Mark{Mark: kit.LineSubstituted, Substitute: "C"}) {
		t.Errorf("%+v", marks)
	}
}

// A history is bounded, and says what to do then.
func TestHistoryIsBounded(t *testing.T) {
	r := &kit.Request{Vehicle: usual(), CarburetorSKU: manualChoke}
	k := mustResolve(t, demoSnapshot(t), r)
	sv, err := kit.NewSaved(r, k, "till")
	if err != nil {
		t.Fatal(err)
	}
	sv.Begin("7KFM3-WX9R5", time.Now())
	sku := k.Lines[0].SKU
	for len(sv.History) < 10_000 {
		sv.History = append(sv.History, kit.Event{What: kit.EventCleared, SKU: sku})
	}
	err = sv.Mark(t.Context(), demoSnapshot(t), &kit.Patch{Marks: map[string]*kit.Mark{sku: {Mark: kit.LinePicked}}}, "till", time.Now())
	if err == nil || !strings.Contains(err.Error(), "/marks: the history of the kit would pass 10000 entries; save the kit anew") {
		t.Errorf("%v", err)
	}
}
