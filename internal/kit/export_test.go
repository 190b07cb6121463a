package kit

import (
	"context"
	"fmt"
	"slices"

	"onetrip/internal/catalog"
	"onetrip/internal/fit"
	"onetrip/internal/pick"
	"onetrip/internal/rules"
)

// Selection is the selection problem of a request under its own objective, and how it is
// solved. The problem stands in borrowed memory until release.
func Selection(ctx context.Context, s *Snapshot, req *Request) (p *pick.Problem, solution pick.Solution, release func(), err error) {
	j, err := s.read(req)
	if err != nil {
		return nil, pick.Solution{}, nil, err
	}
	if err = j.demand(); err == nil {
		sel := &selection{aim: j.aim, groups: j.groups(ctx, j.aim)}
		p, _ = j.problem(sel)
		solution, err = solve(ctx, p)
	}
	return p, solution, j.release, err
}

// Computed are the figures that rules see of a request.
func Computed(s *Snapshot, req *Request) (rules.Calc, error) {
	j, err := s.read(req)
	if err != nil {
		return rules.Calc{}, err
	}
	defer j.release()
	err = j.compute()
	return j.figures.Calc, err
}

// CodeAlphabet and CheckValue are what codes are made with.
const CodeAlphabet = codeAlphabet

var CheckValue = checkValue

// SetMostSettled bounds what sweeps share, until restore.
func SetMostSettled(n int) (restore func()) {
	was := mostSettled
	mostSettled = n
	return func() { mostSettled = was }
}

// Stacks are the mounting stacks of a request under its own objective, and those when every
// part that could be in one is looked at; gaps say why there are none.
func Stacks(ctx context.Context, s *Snapshot, req *Request) (found, all []fit.StackOption, gaps [2]*fit.Gap, err error) {
	j, err := s.read(req)
	if err != nil {
		return nil, nil, gaps, err
	}
	defer j.release()
	if err := j.demand(); err != nil {
		return nil, nil, gaps, err
	}
	j.weigh(ctx, j.aim)
	q := j.stackQuery(j.aim)
	found, gaps[0] = new(fit.StackSearch).Stack(ctx, q)
	every := func(list *[]fit.Candidate, need string, flange catalog.Flange) {
		if len(*list) == 1 && (*list)[0].Part == nil {
			return // in the box or at hand
		}
		d, out := j.role(need), slices.Clone(*list)
		if d == nil {
			return
		}
		for _, p := range s.Catalog.Parts() {
			listed := slices.ContainsFunc(*list, func(c fit.Candidate) bool { return c.Part == p })
			if !listed && p.Spec() == d.spec && !p.Discontinued && d.accepts(p.Form) && (flange == "" || p.Text("flange") == string(flange)) {
				out = append(out, j.candidate(p, j.aim))
			}
		}
		*list = out
	}
	every(&q.Adapter.Candidates, "mount.adapter", "")
	every(&q.BaseGasket.Candidates, "mount.base_gasket", j.carburetor.Flange)
	if q.SpacerGasket.Asked {
		every(&q.SpacerGasket.Candidates, "mount.base_gasket", j.carburetor.Flange)
	}
	if q.ManifoldGasket.Asked {
		every(&q.ManifoldGasket.Candidates, "mount.base_gasket", j.vehicle.Intake.Flange)
	}
	if q.Spacer.Asked {
		every(&q.Spacer.Candidates, "mount.spacer", "")
	}
	every(&q.Studs, "mount.studs", "")
	every(&q.NeckAdapter.Candidates, "air.neck_adapter", "")
	every(&q.CleanerGasket.Candidates, "air.gasket", "")
	every(&q.LowProfile, "air.low_profile", "")
	all, gaps[1] = new(fit.StackSearch).Stack(ctx, q)
	return found, all, gaps, nil
}

// CheckVerdicts asks all demands of a request about all forms, twice over, and compares with
// what their matches say; then about the parts that bundles are weighed by.
func CheckVerdicts(s *Snapshot, req *Request) error {
	j, err := s.read(req)
	if err != nil {
		return err
	}
	defer j.release()
	if err := j.demand(); err != nil {
		return err
	}
	for range 2 {
		for _, kind := range catalog.Kinds {
			for _, f := range s.Catalog.Forms(kind.Kind) {
				for _, d := range j.demands {
					if d.accepts(f) != d.matched(f) {
						return fmt.Errorf("%s accepts %s: %v", d.need, f.Key(), d.accepts(f))
					}
				}
			}
		}
	}
	return j.checkPeers()
}

// checkPeers asks all demands of a job about all parts that may take the place of what bundles
// hold and of tied parts, and compares with what is known from their numbers.
func (j *job) checkPeers() error {
	contents := slices.Clone(j.s.dominance.all.tied)
	for _, b := range j.s.dominance.all.bundles {
		contents = append(contents, b.contents...)
	}
	for _, c := range contents {
		if j.serves(&c) != j.usable(c.Form) {
			return fmt.Errorf("%s can serve: %v", c.SKU, j.serves(&c))
		}
		q := j.ask(c.peers)
		for i := range c.peers.Rows {
			for k, sold := range c.peers.Rows[i].Parts {
				numbers := c.peers.numbers[i][k*len(c.numbers):]
				some, all := false, true
				for _, d := range q.by {
					ok := d.accepts(sold.Form) && j.meters(d, sold.Form)
					some, all = some || ok, all && ok
				}
				switch {
				case some && !asMuch(numbers, q.any):
					return fmt.Errorf("%s has too little for any, yet some accept it", sold.Part.SKU)
				case !all && asMuch(numbers, q.all):
					return fmt.Errorf("%s has enough for all, yet some refuse it", sold.Part.SKU)
				}
				for d := range j.takers(sold.Form) {
					if j.usable(sold.Form) && !slices.Contains(q.by, d) && j.fits(d, sold.Form) {
						return fmt.Errorf("%s accepts %s, which is not known", d.need, sold.Part.SKU)
					}
				}
			}
		}
	}
	return nil
}

// Uncounted are needs of which no quantity on hand is taken.
var Uncounted = uncounted
