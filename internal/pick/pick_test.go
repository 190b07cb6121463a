package pick_test

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"

	"onetrip/internal/pick"
	"onetrip/internal/pick/outside"
)

// agree checks Solve against the enumerator: feasibility, cost, the tie-break, and the proof; as it is, and with all
// that presolve leaves searched, however little it is.
func agree(p *pick.Problem) error {
	want := enumerate(p)
	if err := agreeWith(want, p); err != nil {
		return err
	}
	defer pick.SearchAll()()
	if err := agreeWith(want, p); err != nil {
		return fmt.Errorf("searched: %w", err)
	}
	return nil
}

func agreeWith(want *brute, p *pick.Problem) error {
	got, err := pick.Solve(context.Background(), p, pick.Limits{})
	if errors.Is(err, pick.ErrInfeasible) {
		if want.found {
			return fmt.Errorf("said infeasible, but %v %v costs %d", want.best.choice, want.best.buy, want.cost)
		}
		return nil
	}
	if err != nil {
		return err
	}
	if !want.found {
		return fmt.Errorf("found %+v for an infeasible problem", got)
	}
	cost, err := outside.Verify(p, got.Choice, got.Buy)
	if err != nil {
		return fmt.Errorf("%+v: %w", got, err)
	}
	if cost.Int64() != got.Cost || got.Cost != want.cost || !got.Optimal || got.LowerBound != got.Cost {
		return fmt.Errorf("got %+v, computed cost %v, want cost %d by %v %v", got, cost, want.cost, want.best.choice, want.best.buy)
	}
	if !slices.Equal(got.Buy, want.best.buy) || !slices.Equal(got.Choice, want.best.choice) {
		return fmt.Errorf("tie-break: got %v %v, want %v %v (cost %d)", got.Choice, got.Buy, want.best.choice, want.best.buy, want.cost)
	}
	return nil
}

func TestSolveAgreesWithEnumeration(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 1))
	problems, feasible := 8000, 0
	if testing.Short() {
		problems = 800
	}
	for n := range problems {
		p := small(r)
		if n%3 == 0 {
			p = smallCover(r)
		}
		if err := agree(p); err != nil {
			text, _ := json.Marshal(p)
			t.Fatalf("problem %d: %v\n%s", n, err, text)
		}
		if enumerate(p).found {
			feasible++
		}
	}
	if feasible < problems/2 || feasible > problems*39/40 {
		t.Errorf("%d of %d problems are feasible: the generator is out of balance", feasible, problems)
	}
}

// holds says by enumeration whether the listed constraints can hold together.
func holds(p *pick.Problem, sets []int32, e *pick.Reason) bool {
	q := &pick.Problem{Free: p.Free}
	for _, it := range p.Items {
		it.Unit, it.Charge = 0, 0
		q.Items = append(q.Items, it)
	}
	for g, grp := range p.Groups {
		n := pick.Group{When: grp.When}
		for _, op := range grp.Options {
			var demands []pick.Amount
			for _, a := range op.Demands {
				if slices.Contains(e.Resources, a.Resource) {
					demands = append(demands, a)
				}
			}
			n.Options = append(n.Options, pick.Option{Demands: demands})
		}
		if !slices.Contains(e.Groups, int32(g)) {
			n.Options = append(n.Options, pick.Option{})
		}
		q.Groups = append(q.Groups, n)
	}
	for i, c := range p.Conflicts {
		if slices.Contains(e.Conflicts, sets[i]) {
			q.Conflicts = append(q.Conflicts, c)
		}
	}
	return enumerate(q).found
}

// inSets puts conflicts into sets of so many each.
func inSets(p *pick.Problem, size int) []int32 {
	sets := make([]int32, len(p.Conflicts))
	for i := range sets {
		sets[i] = int32(i / size)
	}
	return sets
}

// why is the reason why nothing fits, nil when something does.
func why(t *testing.T, p *pick.Problem, sets []int32, l pick.Limits) *pick.Reason {
	t.Helper()
	_, err := pick.Solve(t.Context(), p, pick.Limits{})
	if !errors.Is(err, pick.ErrInfeasible) {
		return nil
	}
	reason, err := pick.Explain(t.Context(), p, sets, l)
	if err != nil {
		t.Fatal(err)
	}
	return reason
}

func TestInfeasibleReasonIsMinimal(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 2))
	seen := 0
	for n := 0; n < 6000; n++ {
		p := small(r)
		sets := inSets(p, 1+n%3)
		e := why(t, p, sets, pick.Limits{})
		if e == nil {
			continue
		}
		seen++
		if holds(p, sets, e) {
			text, _ := json.Marshal(p)
			t.Fatalf("problem %d: %+v can hold together\n%s", n, e, text)
		}
		for k := range e.Groups {
			less := *e
			less.Groups = slices.Delete(slices.Clone(e.Groups), k, k+1)
			if !holds(p, sets, &less) {
				t.Fatalf("problem %d: %+v: group %d is not needed", n, e, e.Groups[k])
			}
		}
		for k := range e.Conflicts {
			less := *e
			less.Conflicts = slices.Delete(slices.Clone(e.Conflicts), k, k+1)
			if !holds(p, sets, &less) {
				t.Fatalf("problem %d: %+v: conflicts %v are not needed", n, e, e.Conflicts[k])
			}
		}
		for k := range e.Resources {
			less := *e
			less.Resources = slices.Delete(slices.Clone(e.Resources), k, k+1)
			if !holds(p, sets, &less) {
				t.Fatalf("problem %d: %+v: resource %d is not needed", n, e, e.Resources[k])
			}
		}
	}
	if seen < 100 {
		t.Errorf("only %d infeasible problems", seen)
	}
}

// A reason must be found among thousands of constraints without trying each.
func TestReasonInALargeProblem(t *testing.T) {
	p := cover(rand.New(rand.NewPCG(3, 3)), 40, 2000, 100, true)
	p.Groups[7].Options = p.Groups[7].Options[:3]
	p.Conflicts = slices.DeleteFunc(p.Conflicts, func(c [2]pick.OptionRef) bool {
		return c[0].Group == 7 && c[0].Option > 2 || c[1].Group == 7 && c[1].Option > 2
	})
	for o := range p.Groups[7].Options {
		p.Groups[7].Options[o].Demands = []pick.Amount{{2000, 1}}
	}
	e := why(t, p, inSets(p, 1), pick.Limits{MaxNodes: 100})
	if e == nil || !slices.Equal(e.Groups, []int32{7}) || !slices.Equal(e.Resources, []int32{2000}) || len(e.Conflicts) != 0 {
		t.Fatalf("got %+v", e)
	}
}

// A bundle that a search bought and no longer needs is taken back, and packs beyond those
// that do; what is needed stays, also where an item lists a resource twice.
func TestNeedlessPacksAreDropped(t *testing.T) {
	p := &pick.Problem{
		Items: []pick.Item{
			{SKU: "a", Unit: 5, Charge: 7, ChargeAbove: 1, Supplies: []pick.Amount{{Resource: 0, Units: 2}}},
			{SKU: "b", Unit: 30, Supplies: []pick.Amount{{Resource: 0, Units: 1}, {Resource: 1, Units: 1}}},
			{SKU: "c", Unit: 20, Supplies: []pick.Amount{{Resource: 2, Units: 1}, {Resource: 2, Units: 1}}},
		},
		Groups: []pick.Group{{Name: "g", Options: []pick.Option{{}, {Penalty: 1, Demands: []pick.Amount{{Resource: 0, Units: 3}, {Resource: 2, Units: 3}}}}}},
		Free:   []pick.Amount{{Resource: 2, Units: 1}},
	}
	sol := pick.Solution{Choice: []int32{1}, Buy: []int32{3, 1, 2}, Cost: 1 + 15 + 7 + 30 + 40, LowerBound: 38}
	p.DropNeedless(&sol)
	if want := []int32{2, 0, 1}; !slices.Equal(sol.Buy, want) || sol.Cost != 1+10+7+20 || !sol.Optimal {
		t.Errorf("%+v, wanted to buy %v", sol, want)
	}
}
