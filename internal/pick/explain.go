package pick

import (
	"context"
	"errors"
	"fmt"
)

// explain finds a minimal reason why p is infeasible. It starts from everything and drops one constraint after
// another, keeping dropped what the rest does not need to be infeasible. What remains is irreducible: one pass is
// enough, since a constraint that could not be dropped from a larger set cannot be dropped from a smaller one.
func explain(ctx context.Context, p *Problem) error {
	q, err := waived(p)
	if err != nil {
		return err
	}
	w := new(work)
	needed := func() (bool, error) {
		_, err := w.solve(ctx, q.problem(), Limits{}, true)
		if errors.Is(err, errInfeasible) {
			return false, nil
		}
		if err != nil {
			return false, fmt.Errorf("pick: infeasible, but the reason was not reduced in time: %w", err)
		}
		return true, nil
	}
	e := &InfeasibleError{}
	// Conflicts and resources first: a reason with few of them is the easiest to read, and groups that only they
	// involve drop out after.
	for i, c := range p.Conflicts {
		q.conflict[i] = false
		keep, err := needed()
		if err != nil {
			return err
		}
		if keep {
			q.conflict[i] = true
			e.Conflicts = append(e.Conflicts, c)
		}
	}
	for r := range q.resource {
		if !q.resource[r] {
			continue
		}
		q.resource[r] = false
		keep, err := needed()
		if err != nil {
			return err
		}
		if keep {
			q.resource[r] = true
			e.Resources = append(e.Resources, int32(r))
		}
	}
	for g := range p.Groups {
		q.group[g] = false
		keep, err := needed()
		if err != nil {
			return err
		}
		if keep {
			q.group[g] = true
			e.Groups = append(e.Groups, int32(g))
			e.names = append(e.names, p.Groups[g].Name)
		}
	}
	return e
}

// A waiver is a problem with some of its constraints dropped. Costs are left out: only feasibility is asked.
type waiver struct {
	p                         *Problem
	group, conflict, resource []bool // constraint is in force
}

func waived(p *Problem) (*waiver, error) {
	nr, err := p.check()
	if err != nil {
		return nil, err
	}
	q := &waiver{p, make([]bool, len(p.Groups)), make([]bool, len(p.Conflicts)), make([]bool, nr)}
	for g := range q.group {
		q.group[g] = true
		for o := range p.Groups[g].Options {
			for _, a := range p.Groups[g].Options[o].Demands {
				q.resource[a.Resource] = true
			}
		}
	}
	for i := range q.conflict {
		q.conflict[i] = true
	}
	return q, nil
}

// problem returns p without what is waived: a waived group gains an option that asks for nothing, a waived
// resource is never demanded.
func (q *waiver) problem() *Problem {
	out := &Problem{Free: q.p.Free}
	for _, it := range q.p.Items {
		it.Unit, it.Charge = 0, 0
		out.Items = append(out.Items, it)
	}
	for g, grp := range q.p.Groups {
		options := make([]Option, 0, len(grp.Options)+1)
		for _, op := range grp.Options {
			var demands []Amount
			for _, a := range op.Demands {
				if q.resource[a.Resource] {
					demands = append(demands, a)
				}
			}
			options = append(options, Option{Demands: demands})
		}
		if !q.group[g] {
			options = append(options, Option{})
		}
		out.Groups = append(out.Groups, Group{Options: options, When: grp.When})
	}
	for i, c := range q.p.Conflicts {
		if q.conflict[i] {
			out.Conflicts = append(out.Conflicts, c)
		}
	}
	return out
}
