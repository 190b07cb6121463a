package kit

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"onetrip/internal/catalog"
	"onetrip/internal/fit"
	"onetrip/internal/pick"
)

// giveUp solves a problem that has no solution without the needs that are in each other's way:
// the least important, of the fuel path and the stack only what no single need can give way
// to. Then these are gaps, and the rest of the kit is to be chosen anew. What a kit lacks is
// known once one is chosen: an alternative to it lacks no more.
func (j *job) giveUp(ctx context.Context, sel *selection, p *pick.Problem) error {
	if j.chosen {
		return pick.ErrInfeasible
	}
	for i := range sel.groups {
		g := &sel.groups[i]
		ranks := len(levels) * len(severities)
		cost := ranks - len(severities)*g.demands[0].level.rank() - g.demands[0].severity.rank()
		switch {
		case g.options[0].stack != nil: // of which most needs are then met one by one
			cost = ranks * len(sel.groups)
		case g.options[0].path != nil:
			cost = 2 * ranks * len(sel.groups)
		}
		p.Groups[i].Options = append(p.Groups[i].Options, pick.Option{Penalty: int64(cost) * standInCost})
	}
	solution, err := solve(ctx, p)
	if err != nil {
		return err
	}
	var taken []*catalog.Part
	for i := range sel.groups {
		if g := &sel.groups[i]; int(solution.Choice[i]) < len(g.options) {
			taken = append(taken, j.withRequired(g.options[solution.Choice[i]].uses)...)
		}
	}
	for i := range sel.groups {
		g := &sel.groups[i]
		if int(solution.Choice[i]) < len(g.options) {
			continue
		}
		need, text := j.conflict(g, taken)
		if g.options[0].stack != nil {
			j.stackGap = &fit.Gap{Need: need, Text: text}
		}
		for _, d := range g.demands {
			if d.status == "" && (g.options[0].stack == nil || d.need == need) {
				j.gap(d, Conflict, text+".")
			}
		}
	}
	return nil
}

// withRequired lists the parts of some uses and those that they bring along.
func (j *job) withRequired(uses []fit.Use) []*catalog.Part {
	out := j.bringsAlong(uses)
	for _, u := range uses {
		if real(u.Part) {
			out = append(out, u.Part)
		}
	}
	return out
}

// conflict says which parts of a group's options conflict with parts that the kit takes, or with
// each other, and the need of the first of them.
func (j *job) conflict(g *group, taken []*catalog.Part) (need, text string) {
	var pairs []string
	for i := range g.options {
		uses := g.options[i].uses
		own := j.withRequired(uses)
		for _, a := range own {
			for _, b := range slices.Concat(taken, own) {
				if !slices.Contains(a.Conflicts, b.SKU) && !slices.Contains(b.Conflicts, a.SKU) {
					continue
				}
				if need == "" {
					need = uses[max(0, slices.IndexFunc(uses, func(u fit.Use) bool { return u.Part == a }))].Need
				}
				pair, turned := a.SKU+" with "+b.SKU, b.SKU+" with "+a.SKU
				if !slices.Contains(pairs, pair) && !slices.Contains(pairs, turned) {
					pairs = append(pairs, pair)
				}
			}
		}
	}
	return need, "What fits conflicts with what else the kit takes: " + listed(pairs)
}

// listed names the first few of a list and counts the others.
func listed(list []string) string {
	const most = 5
	if more := len(list) - most; more > 0 {
		return fmt.Sprintf("%s and %d more", strings.Join(list[:most], ", "), more)
	}
	return strings.Join(list, ", ")
}
