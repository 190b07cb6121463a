package pick

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
)

// agree checks Solve against the enumerator: feasibility, cost, the tie-break, and the proof.
func agree(p *Problem) error {
	want := enumerate(p)
	got, err := Solve(context.Background(), p, Limits{})
	var inf *InfeasibleError
	if errors.As(err, &inf) {
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
	cost, err := verify(p, got.Choice, got.Buy)
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
	feasible := 0
	for n := 0; n < 8000; n++ {
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
	if feasible < 4000 || feasible > 7800 {
		t.Errorf("%d of 8000 problems are feasible: the generator is out of balance", feasible)
	}
}

// holds says by enumeration whether the listed constraints can hold together.
func holds(p *Problem, e *InfeasibleError) bool {
	q := &Problem{Free: p.Free}
	for _, it := range p.Items {
		it.Unit, it.Charge = 0, 0
		q.Items = append(q.Items, it)
	}
	for g, grp := range p.Groups {
		n := Group{When: grp.When}
		for _, op := range grp.Options {
			var demands []Amount
			for _, a := range op.Demands {
				if slices.Contains(e.Resources, a.Resource) {
					demands = append(demands, a)
				}
			}
			n.Options = append(n.Options, Option{Demands: demands})
		}
		if !slices.Contains(e.Groups, int32(g)) {
			n.Options = append(n.Options, Option{})
		}
		q.Groups = append(q.Groups, n)
	}
	q.Conflicts = e.Conflicts
	return enumerate(q).found
}

func TestInfeasibleReasonIsMinimal(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 2))
	seen := 0
	for n := 0; n < 6000; n++ {
		p := small(r)
		_, err := Solve(context.Background(), p, Limits{})
		var e *InfeasibleError
		if !errors.As(err, &e) {
			continue
		}
		seen++
		if holds(p, e) {
			text, _ := json.Marshal(p)
			t.Fatalf("problem %d: %+v can hold together\n%s", n, e, text)
		}
		for k := range e.Groups {
			less := *e
			less.Groups = slices.Delete(slices.Clone(e.Groups), k, k+1)
			if !holds(p, &less) {
				t.Fatalf("problem %d: %+v: group %d is not needed", n, e, e.Groups[k])
			}
		}
		for k := range e.Conflicts {
			less := *e
			less.Conflicts = slices.Delete(slices.Clone(e.Conflicts), k, k+1)
			if !holds(p, &less) {
				t.Fatalf("problem %d: %+v: conflict %v is not needed", n, e, e.Conflicts[k])
			}
		}
		for k := range e.Resources {
			less := *e
			less.Resources = slices.Delete(slices.Clone(e.Resources), k, k+1)
			if !holds(p, &less) {
				t.Fatalf("problem %d: %+v: resource %d is not needed", n, e, e.Resources[k])
			}
		}
	}
	if seen < 100 {
		t.Errorf("only %d infeasible problems", seen)
	}
}
