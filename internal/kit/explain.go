package kit

import (
	"context"
	"slices"

	"onetrip/internal/rules"
)

// RuleTrace is how one rule came out for a request.
type RuleTrace struct {
	rules.Trace
	Outcomes []RuleOutcome // one for each of Fired
}

// RuleOutcome is what became of the need that a rule raised.
type RuleOutcome struct {
	Status  Status    // of the need; "" for a rule without one
	Lines   []string  // SKUs that fill the need
	Meets   []string  // SKUs of all parts on sale that meet the rule's match, cheapest first
	Nearest []Nearest // up to three that fail it
}

// Explain tells of every rule, by id, what it read, whether it fired, and what meets
// what it asks for. Errors are those of Resolve.
func Explain(ctx context.Context, s *Snapshot, req *Request) ([]RuleTrace, error) {
	asked := *req
	asked.Preferences.ShowAll = true // also what fit takes no pieces for
	answer, err := Resolve(ctx, s, &asked)
	if err != nil {
		return nil, err
	}
	j, err := s.read(req)
	if err != nil {
		return nil, err
	}
	defer j.release()
	if err := j.demand(); err != nil {
		return nil, err
	}
	traces, err := s.Rules.Trace(j.facts())
	if err != nil {
		return nil, err
	}
	out := make([]RuleTrace, len(traces))
	for i, t := range traces {
		out[i] = RuleTrace{Trace: t, Outcomes: make([]RuleOutcome, len(t.Fired))}
		for n := range t.Fired {
			out[i].Outcomes[n] = j.outcome(answer, &t.Fired[n])
		}
	}
	return out, nil
}

func (j *job) outcome(answer *Kit, f *rules.Fired) (o RuleOutcome) {
	if f.Rule.Need == "" {
		return o
	}
	if at := slices.IndexFunc(answer.Needs, func(n Need) bool { return n.ID == f.Rule.Need }); at >= 0 {
		o.Status, o.Lines = answer.Needs[at].Status, answer.Needs[at].Lines
	}
	o.Meets = j.s.meeting(f.Match)
	spec, _ := f.Rule.Kind.Spec()
	o.Nearest = j.nearest(&demand{spec: spec, matches: []rules.Match{f.Match}})
	return o
}

// meeting lists the SKUs on sale that meet a match, cheapest first.
func (s *Snapshot) meeting(m rules.Match) []string {
	parts := s.Catalog.Parts()
	var found []int
	for i, p := range parts {
		if p.Kind == m.Kind && !p.Discontinued && m.Accepts(p.Form) {
			found = append(found, i)
		}
	}
	slices.SortStableFunc(found, func(a, b int) int {
		return int(parts[a].Price.AmountMinor - parts[b].Price.AmountMinor)
	})
	skus := make([]string, len(found))
	for i, at := range found {
		skus[i] = parts[at].SKU
	}
	return skus
}
