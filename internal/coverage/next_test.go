package coverage

import (
	"fmt"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"onetrip/internal/catalog"
	"onetrip/internal/kit"
)

// No set of parts beats the bound, whatever sets complete a kit: kits are made up with
// the least sets that complete them, and all sets of parts are tried.
func TestNoSetBeatsTheBound(t *testing.T) {
	cat, err := catalog.NewSnapshot(&catalog.Data{Currency: "USD"})
	if err != nil {
		t.Fatal(err)
	}
	s := &kit.Snapshot{Catalog: cat} // knows none of the parts: each stands for itself
	rapid.Check(t, func(t *rapid.T) {
		const parts = 6
		type madeUp struct {
			weight int64
			sets   []int // bits of parts
		}
		kits := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) madeUp {
			return madeUp{rapid.Int64Range(0, 5).Draw(t, "weight"), rapid.SliceOfN(rapid.IntRange(1, 1<<parts-1), 1, 3).Draw(t, "sets")}
		}), 1, 12).Draw(t, "kits")
		complete := func(k madeUp, set int) bool {
			return slices.ContainsFunc(k.sets, func(need int) bool { return need&^set == 0 })
		}
		worth := func(set int) (sum int64) {
			for _, k := range kits {
				if complete(k, set) {
					sum += k.weight
				}
			}
			return sum
		}
		k := rapid.IntRange(0, 4).Draw(t, "k")
		scope := &Scope{Question: Question{Basis: kit.InStock, BestSet: &k}}
		name := func(part int) string { return fmt.Sprintf("part-%d", part) }
		state, chosen := &State{}, 0
		for !state.Done {
			result := &Result{Step: Step{listed: map[string]int{}}}
			for i, kit := range kits {
				if complete(kit, chosen) {
					continue
				}
				var alone, among []string
				for part := range parts {
					if complete(kit, chosen|1<<part) {
						alone = append(alone, name(part))
					}
					if slices.ContainsFunc(kit.sets, func(set int) bool { return set&^chosen&(1<<part) != 0 }) {
						among = append(among, name(part))
					}
				}
				result.Step.open(name(i), 0, Count{1, kit.weight}, alone, among)
			}
			state.Advance(s, scope, []*Result{result})
			if n := len(state.Chosen); n > 0 {
				for part := range parts {
					if name(part) == state.Chosen[n-1] {
						chosen |= 1 << part
					}
				}
			}
		}
		next := state.StockNext
		if got := worth(chosen); got != next.Completes.Weight {
			t.Fatalf("the set %v completes %d, said %d", state.Chosen, got, next.Completes.Weight)
		}
		for set := range 1 << parts {
			n := 0
			for part := range parts {
				n += set >> part & 1
			}
			if n <= k && worth(set) > next.AtMost {
				t.Fatalf("%d parts %b complete %d, at most %d was said (greedy %v: %d)", n, set, worth(set), next.AtMost, state.Chosen, next.Completes.Weight)
			}
		}
	})
}

// A report whose chunks saw several revisions of the catalogue names the first and the last.
func TestRevisionsOfChunksAreTold(t *testing.T) {
	cat, err := catalog.NewSnapshot(&catalog.Data{Currency: "USD"})
	if err != nil {
		t.Fatal(err)
	}
	s, k := &kit.Snapshot{Catalog: cat}, 1
	scope, state := &Scope{Question: Question{Basis: kit.InStock, BestSet: &k}}, &State{}
	results := []*Result{{Revision: 6, Sweep: &Sweep{}}, {Revision: 4, Sweep: &Sweep{}}, {Revision: 5, Sweep: &Sweep{}}}
	state.Advance(s, scope, results)
	if a := state.Answer(s, scope, results); !state.Done || a.Revisions != (Revisions{4, 6}) {
		t.Errorf("done %v, %+v", state.Done, a.Revisions)
	}
}
