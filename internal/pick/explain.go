package pick

import (
	"context"
	"errors"
	"fmt"
	"slices"
)

// Explain finds a minimal reason, an *InfeasibleError, for a problem of which Solve says ErrInfeasible. That may take
// hundreds of times as long: it starts from everything and drops what the rest does not
// need to be infeasible, whole runs of constraints at a time and single ones last. What remains is irreducible in
// one pass: a constraint that could not be dropped from a larger set cannot be dropped from a smaller one.
func Explain(ctx context.Context, p *Problem) error {
	q, err := waived(p)
	if err != nil {
		return err
	}
	// Conflicts and resources before groups: a reason with few of them is the easiest to read, and the groups that
	// only they involve drop out after.
	for _, list := range [][]bool{q.conflict, q.resource, q.group} {
		if err := q.drop(ctx, list); err != nil {
			return fmt.Errorf("pick: nothing fits, and the reason was not found in time: %w", err)
		}
	}
	e := &InfeasibleError{}
	for i, c := range p.Conflicts {
		if q.conflict[i] {
			e.Conflicts = append(e.Conflicts, c)
		}
	}
	for r, on := range q.resource {
		if on {
			e.Resources = append(e.Resources, int32(r))
		}
	}
	for g := range p.Groups {
		if q.group[g] {
			e.Groups = append(e.Groups, int32(g))
			e.names = append(e.names, p.Groups[g].Name)
		}
	}
	return e
}

// drop waives as much of a run of constraints as leaves the problem infeasible.
func (q *waiver) drop(ctx context.Context, run []bool) error {
	if !slices.Contains(run, true) {
		return nil
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	before := slices.Clone(run)
	clear(run)
	_, err := q.work.solve(ctx, q.problem(), Limits{}, true)
	if errors.Is(err, ErrInfeasible) {
		return nil
	}
	copy(run, before)
	if err != nil || len(run) == 1 {
		return err
	}
	if err := q.drop(ctx, run[:len(run)/2]); err != nil {
		return err
	}
	return q.drop(ctx, run[len(run)/2:])
}

// A waiver is a problem with some of its constraints dropped. Costs are left out: only feasibility is asked.
type waiver struct {
	p                         *Problem
	work                      work
	group, conflict, resource []bool // constraint is in force
}

func waived(p *Problem) (*waiver, error) {
	nr, err := p.check()
	if err != nil {
		return nil, err
	}
	q := &waiver{p: p, group: make([]bool, len(p.Groups)), conflict: make([]bool, len(p.Conflicts)), resource: make([]bool, nr)}
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
