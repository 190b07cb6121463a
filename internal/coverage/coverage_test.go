package coverage_test

import (
	"context"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"onetrip/internal/catalog"
	"onetrip/internal/coverage"
	_ "onetrip/internal/golden"
	"onetrip/internal/kit"
	"onetrip/internal/kit/kittest"
)

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

// all is every vehicle with every carburetor that a question asks for.
type pairs struct {
	vehicles    []*catalog.Vehicle
	carburetors []string
}

func (p pairs) question(basis kit.Basis) coverage.Question {
	q := coverage.Question{Basis: basis, CarburetorSKUs: p.carburetors}
	for _, v := range p.vehicles {
		q.VehicleIDs = append(q.VehicleIDs, v.ID)
	}
	return q
}

// some takes every so manieth vehicle and carburetor of a snapshot.
func some(s *kit.Snapshot, vehicle, carburetor int) (p pairs) {
	for i, v := range s.Catalog.Vehicles() {
		if i%vehicle == 0 {
			p.vehicles = append(p.vehicles, v)
		}
	}
	for i, c := range s.Catalog.Carburetors() {
		if i%carburetor == 0 {
			p.carburetors = append(p.carburetors, c.SKU)
		}
	}
	return p
}

// complete resolves each of the pairs that only lists, all when it is nil, and returns
// those that are complete, with warnings or without.
func (p pairs) complete(t testing.TB, s *kit.Snapshot, prefer kit.Preferences, only [][2]int) (complete, incomplete [][2]int) {
	t.Helper()
	prefer.Levels = []kit.Level{kit.Required}
	if only == nil {
		for v := range p.vehicles {
			for c := range p.carburetors {
				only = append(only, [2]int{v, c})
			}
		}
	}
	for _, at := range only {
		k, err := kit.Resolve(context.Background(), s, &kit.Request{Vehicle: p.vehicles[at[0]], CarburetorSKU: p.carburetors[at[1]], Preferences: prefer})
		if err != nil {
			t.Fatal(err)
		}
		switch k.Verdict {
		case kit.Complete, kit.CompleteWithWarnings:
			complete = append(complete, at)
		case kit.Incomplete:
			incomplete = append(incomplete, at)
		case kit.Unsuitable:
		}
	}
	return complete, incomplete
}

// The counts of a report are those of resolving every pair.
func TestSharesEqualResolve(t *testing.T) {
	s := kittest.Demo(t)
	p := some(s, 5, 2)
	for _, basis := range []kit.Basis{kit.InStock, kit.OnSale} {
		on, prefer := s, kit.Preferences{Objective: kit.ByStock}
		if basis == kit.OnSale {
			on, prefer = s.WithPlenty(), kit.Preferences{}
		}
		complete, incomplete := p.complete(t, on, prefer, nil)
		got := report(t, s, p.question(basis), 2).Verdicts
		if got.Complete.Kits+got.CompleteWithWarnings.Kits != len(complete) || got.Incomplete.Kits != len(incomplete) || got.All.Kits != len(p.vehicles)*len(p.carburetors) {
			t.Errorf("%s: %+v, want %d complete and %d incomplete", basis, got, len(complete), len(incomplete))
		}
	}
}

func TestAReportIsTheSameForAnyNumberOfWorkers(t *testing.T) {
	s := kittest.Demo(t)
	q := coverage.Question{Basis: kit.InStock, Location: "wexhollow", Flanges: []catalog.Flange{catalog.SquareBore}}
	if one, three := report(t, s, q, 1), report(t, s, q, 3); !reflect.DeepEqual(one, three) {
		t.Errorf("one worker\n%+v\nthree\n%+v", one, three)
	}
}

// Vehicles of equal facts are one group, worked out once.
func TestVehiclesOfEqualFactsShareTheWork(t *testing.T) {
	data := kittest.Data(t)
	for _, v := range slices.Clone(data.Vehicles[:5]) {
		for year := range 3 {
			twin := *v
			twin.ID, twin.Year = fmt.Sprintf("%s-twin-%d", v.ID, year), v.Year+year
			data.Vehicles = append(data.Vehicles, &twin)
		}
	}
	data.Vehicles = append(data.Vehicles[:5:5], data.Vehicles[len(data.Vehicles)-15:]...)
	s := kittest.Open(t, data)
	a := report(t, s, coverage.Question{Basis: kit.OnSale}, 1)
	if kits := 20 * len(s.Catalog.Carburetors()); a.Vehicles != 20 || a.Classes != 5 || a.SharingFactor != 4 || a.Verdicts.All.Kits != kits || a.Resolved*4 != kits {
		t.Errorf("%d vehicles in %d groups, factor %g, %d kits for %d", a.Vehicles, a.Classes, a.SharingFactor, a.Resolved, a.Verdicts.All.Kits)
	}
}

// A gap says its limit as the kits do that it keeps incomplete, so that both are looked for alike.
func TestGapsSayWhatKitsSay(t *testing.T) {
	s := kittest.Demo(t)
	p := some(s, 3, 5)
	reasons := map[string][]string{}
	for _, v := range p.vehicles {
		for _, c := range p.carburetors {
			k, err := kit.Resolve(t.Context(), s.WithPlenty(), &kit.Request{Vehicle: v, CarburetorSKU: c, Preferences: kit.Preferences{Levels: []kit.Level{kit.Required}}})
			if err != nil {
				t.Fatal(err)
			}
			for _, m := range k.Missing {
				reasons[m.Need] = append(reasons[m.Need], m.Reason)
			}
		}
	}
	limits := 0
	for _, g := range report(t, s, p.question(kit.OnSale), 1).Gaps {
		for _, w := range g.Wanted {
			if !strings.HasPrefix(w.Wanted, "at least ") || g.Cause != kit.NothingMatches {
				continue
			}
			limits++
			words, _ := catalog.Says(w.Attribute, w.Wanted)
			_, words, _ = strings.Cut(words, " ") // without the verb, which is said once
			if !slices.ContainsFunc(reasons[g.Need], func(reason string) bool { return strings.Contains(reason, words) }) {
				t.Errorf("no kit lacks %s that is %s: %q", g.Need, words, reasons[g.Need])
			}
		}
	}
	if limits == 0 {
		t.Error("no gap has a limit")
	}
}
