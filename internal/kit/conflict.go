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
	sets, facts := distinct(sel.clashes)
	given := func(i int) bool { return i < len(sel.groups) && int(solution.Choice[i]) == len(sel.groups[i].options) }
	for i := range sel.groups {
		if !given(i) {
			continue
		}
		// Why this one: all the others that are given up may be.
		strict := *p
		strict.Groups = slices.Clone(p.Groups)
		for k := range sel.groups {
			if k == i || !given(k) {
				strict.Groups[k].Options = p.Groups[k].Options[:len(sel.groups[k].options)]
			}
		}
		g := &sel.groups[i]
		reason, err := pick.Explain(ctx, &strict, sets, pickLimits)
		if err != nil || !solution.Optimal { // no time to find out which conflicts it takes
			reason = &pick.Reason{Conflicts: conflictsOf(g, facts)}
		}
		need, text := j.conflict(sel, i, p, reason, facts)
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

// distinct numbers clashes so that one has one number, whichever part is first in it.
func distinct(clashes []clash) (numbers []int32, out []clash) {
	for _, c := range clashes {
		at := slices.IndexFunc(out, func(o clash) bool { return o == c || o == clash{c[1], c[0]} })
		if at < 0 {
			at = len(out)
			out = append(out, c)
		}
		numbers = append(numbers, int32(at))
	}
	return numbers, out
}

// conflictsOf lists, by index, the clashes with parts of a group's options.
func conflictsOf(g *group, facts []clash) (out []int32) {
	for i, c := range facts {
		with := func(u fit.Use) bool { return u.Part == c[0] || u.Part == c[1] }
		if slices.ContainsFunc(g.options, func(o option) bool { return slices.ContainsFunc(o.uses, with) }) {
			out = append(out, int32(i))
		}
	}
	return out
}

// conflict puts a reason why a group cannot be met into words, and names the need of
// its first part that stands in them.
func (j *job) conflict(sel *selection, given int, p *pick.Problem, reason *pick.Reason, facts []clash) (need, text string) {
	var others, requires, excludes []string
	var named []*catalog.Part
	say := func(list *[]string, a *catalog.Part, verb string, b *catalog.Part) {
		named = append(named, a, b)
		if fact := a.SKU + verb + b.SKU; !slices.Contains(*list, fact) {
			*list = append(*list, fact)
		}
	}
	// parts are those that an option uses; of a group that stands for a required part, that one.
	parts := func(r pick.OptionRef) (out []*catalog.Part) {
		for _, d := range p.Groups[r.Group].Options[r.Option].Demands {
			out = append(out, sel.parts[d.Resource])
		}
		return out
	}
	for _, g := range reason.Groups {
		if int(g) < len(sel.groups) {
			if int(g) != given {
				others = append(others, "the "+NeedTitle(sel.groups[g].name))
			}
			continue
		}
		required := parts(pick.OptionRef{Group: g})[0]
		for _, when := range p.Groups[g].When {
			used := parts(when)
			for _, a := range append(used, j.bringsAlong(sel.groups[when.Group].options[when.Option].uses)...) {
				if slices.ContainsFunc(a.Requires, func(sku string) bool { return j.asRequired(sku) == required }) {
					say(&requires, a, " requires ", required)
				}
			}
		}
	}
	for _, c := range reason.Conflicts {
		if a, b := facts[c][0], facts[c][1]; a != b {
			say(&excludes, a, " conflicts with ", b)
		}
	}
	uses := sel.groups[given].options[0].uses
	for i := range sel.groups[given].options {
		of := sel.groups[given].options[i].uses
		if at := slices.IndexFunc(of, func(u fit.Use) bool { return slices.Contains(named, u.Part) }); at >= 0 {
			uses = of[at:]
			break
		}
	}
	with := "what else the kit takes"
	switch {
	case len(others) > 0:
		with = "what fits for " + strings.Join(others, " and ")
	case len(requires) > 0:
		with = "what it requires"
	}
	text = "What fits does not go with " + with + ": " + listed(excludes)
	if len(requires) > 0 {
		text += "; " + listed(requires)
	}
	return uses[0].Need, text
}

// listed names the first few of a list and counts the others.
func listed(list []string) string {
	const most = 5
	if more := len(list) - most; more > 0 {
		return fmt.Sprintf("%s and %d more", strings.Join(list[:most], ", "), more)
	}
	return strings.Join(list, ", ")
}
