package coverage_test

import (
	"context"
	"slices"
	"sync"
	"testing"
	"time"

	"onetrip/db"
	"onetrip/internal/catalog"
	"onetrip/internal/coverage"
	_ "onetrip/internal/golden"
	"onetrip/internal/kit"
	"onetrip/internal/store"
)

var demo = sync.OnceValues(func() (*kit.Snapshot, error) {
	data, err := store.ReadCatalogue(db.Seed())
	if err != nil {
		return nil, err
	}
	return kit.Open(data)
})

func demoSnapshot(t testing.TB) *kit.Snapshot {
	t.Helper()
	s, err := demo()
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// report works a question out in memory.
func report(t testing.TB, s *kit.Snapshot, q coverage.Question, workers int) *coverage.Answer {
	t.Helper()
	m := coverage.NewMemory(func() *kit.Snapshot { return s }, workers)
	t.Cleanup(m.Close)
	r, err := m.Start(t.Context(), q)
	if err != nil {
		t.Fatal(err)
	}
	for r.Status == coverage.Running {
		time.Sleep(5 * time.Millisecond)
		if r, err = m.Report(t.Context(), r.ID); err != nil {
			t.Fatal(err)
		}
	}
	if r.Status != coverage.Done {
		t.Fatalf("%s: %s", r.Status, r.Failure)
	}
	return r.Answer
}

func number(n int) *int { return &n }

// complete counts the kits of a snapshot that a location completes, by resolving each.
func complete(t testing.TB, s *kit.Snapshot, vehicles []*catalog.Vehicle, carburetors []string, p kit.Preferences, only func(v, c int) bool) map[[2]int]bool {
	t.Helper()
	out := map[[2]int]bool{}
	p.Levels = []kit.Level{kit.Required}
	for vi, v := range vehicles {
		for ci, c := range carburetors {
			if only != nil && !only(vi, ci) {
				continue
			}
			k, err := kit.Resolve(context.Background(), s, &kit.Request{Vehicle: v, CarburetorSKU: c, Preferences: p})
			if err != nil {
				t.Fatal(err)
			}
			if k.Verdict == kit.Complete || k.Verdict == kit.CompleteWithWarnings {
				out[[2]int{vi, ci}] = true
			}
		}
	}
	return out
}

func TestShowDemo(t *testing.T) {
	s := demoSnapshot(t)
	start := time.Now()
	a := report(t, s, coverage.Question{Basis: kit.InStock, Location: "tarnsley"}, 2)
	t.Logf("%v: %+v", time.Since(start), a.Verdicts)
	n := a.StockNext
	for _, p := range n.Alone[:min(8, len(n.Alone))] {
		t.Logf("%s %s %v %v", p.SKU, p.Name, p.Interchangeable, p.Completes)
	}
	for _, p := range n.BestSet {
		t.Logf("best %s %s %v", p.SKU, p.Name, p.Completes)
	}
	n.Alone, n.BestSet = nil, nil
	t.Logf("%+v", n)
	start = time.Now()
	a = report(t, s, coverage.Question{Basis: kit.OnSale, BestSet: number(5)}, 2)
	t.Logf("%v: %+v", time.Since(start), a.Verdicts)
	n = a.StockNext
	for _, p := range n.Alone[:min(8, len(n.Alone))] {
		t.Logf("%s %s %v %v", p.Wanted, p.Name, p.Interchangeable, p.Completes)
	}
	for _, p := range n.BestSet {
		t.Logf("best %s %s %v", p.Wanted, p.Name, p.Completes)
	}
	n.Alone, n.BestSet = nil, nil
	t.Logf("%+v", n)
	t.Log(slices.Max([]int{1}), a.SharingFactor, a.Classes)
	for _, g := range a.Gaps[:10] {
		t.Logf("%+v", g)
	}
}
