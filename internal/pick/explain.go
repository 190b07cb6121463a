package pick

import (
	"context"
	"errors"
	"fmt"
	"slices"
)

// A Reason is why no selection exists: the groups, conflicts and resource balances it lists cannot hold together, and
// dropping any one of them leaves something that can.
type Reason struct {
	Groups    []int32 // indexes of groups that need an option
	Conflicts []int32 // sets of conflicts
	Resources []int32 // resources that cannot be supplied in the amounts demanded
}

// Explain finds a minimal reason for a problem of which Solve says ErrInfeasible. Of each conflict sets names the set
// it belongs to, by a dense id from 0: one fact may be a conflict between many pairs of options, which stand or fall
// together. It may take hundreds of times as long as Solve, as it starts from everything and drops what the rest does
// not need to be infeasible, whole runs of constraints at a time and single ones last. What remains is irreducible in
// one pass: a constraint that could not be dropped from a larger set cannot be dropped from a smaller one. The limits
// are those of its searches together; one that they stop is an error.
func Explain(ctx context.Context, p *Problem, sets []int32, l Limits) (*Reason, error) {
	q, err := waived(p, sets, l)
	if err != nil {
		return nil, err
	}
	// Conflicts and resources before groups: a reason with few of them is the easiest to read, and the groups that
	// only they involve drop out after.
	for _, list := range [][]bool{q.conflict, q.resource, q.group} {
		if err := q.drop(ctx, list); err != nil {
			return nil, fmt.Errorf("pick: nothing fits, and the reason was not found in time: %w", err)
		}
	}
	indexes := func(on []bool) (out []int32) {
		for i := range on {
			if on[i] {
				out = append(out, int32(i))
			}
		}
		return out
	}
	return &Reason{Groups: indexes(q.group), Conflicts: indexes(q.conflict), Resources: indexes(q.resource)}, nil
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
	_, err := q.work.solve(ctx, q.problem(), q.limits, true)
	if q.limits.MaxNodes > 0 {
		q.limits.MaxNodes = max(1, q.limits.MaxNodes-q.work.lim.nodes)
	}
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
	limits                    Limits
	work                      work
	set                       []int32 // of each conflict
	group, conflict, resource []bool  // group, set of conflicts, resource is in force
}

func waived(p *Problem, sets []int32, l Limits) (*waiver, error) {
	nr, err := p.check()
	if err != nil {
		return nil, err
	}
	most := int32(-1)
	for _, set := range sets {
		most = max(most, set)
	}
	q := &waiver{p: p, limits: l, set: sets, group: make([]bool, len(p.Groups)), conflict: make([]bool, most+1), resource: make([]bool, nr)}
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
		if q.conflict[q.set[i]] {
			out.Conflicts = append(out.Conflicts, c)
			out.Groups[c[0].Group].Options[c[0].Option].Penalty++ // those are tried first that have fewest
			out.Groups[c[1].Group].Options[c[1].Option].Penalty++
		}
	}
	return out
}
