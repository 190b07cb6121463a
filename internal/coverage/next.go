package coverage

import (
	"cmp"
	"slices"

	"onetrip/internal/catalog"
	"onetrip/internal/kit"
)

// State is what a report knows between rounds.
type State struct {
	Done       bool            `json:"done"`
	First      int64           `json:"first"` // revisions of the catalogue that chunks saw
	Last       int64           `json:"last"`
	Candidates []*catalog.Part `json:"candidates,omitempty"` // of basis catalogue
	Wanted     []string        `json:"wanted,omitempty"`     // of candidates made to measure, what they are
	Ranked     bool            `json:"ranked"`               // StockNext.Alone is known
	Chosen     []string        `json:"chosen,omitempty"`
	StockNext  StockNext       `json:"stock_next"`
}

// maxMade is how many parts made to measure are tried; those for most kits first.
const maxMade = 300

func (st *State) chosen() []string { return st.Chosen }

// Advance joins what the chunks of a round found, and says what the next round is about;
// when none is needed Done is set.
//
// A set of parts that completes a kit holds one that does so alone, or two of those that
// can help it. So each part is credited with the weight of kits that it completes alone
// and half the weight of those it can otherwise help: no k parts complete more than the
// k largest credits together. The best k parts together with those chosen so far complete
// no more than these and the k largest credits for what is left, so every round gives a
// bound, of which the least is kept. (Completing is not submodular, so what greedy choice
// achieves has no bound of its own.)
func (st *State) Advance(s *kit.Snapshot, scope *Scope, results []*Result) {
	for _, r := range results {
		if st.First == 0 || r.Revision < st.First {
			st.First = r.Revision
		}
		st.Last = max(st.Last, r.Revision)
	}
	next := &st.StockNext
	if scope.Question.Basis == kit.OnSale && !st.Ranked && st.Candidates == nil {
		next.Asked = *scope.Question.BestSet
		st.candidates(scope, results)
		if len(st.Candidates) > 0 && st.open(results) > 0 {
			return
		}
	}
	next.Unproven = 0
	gains, credits, left := st.add(s, results)
	ranking := st.rank(s, scope, gains)
	if !st.Ranked {
		st.Ranked = true
		next.Asked, next.Completed = *scope.Question.BestSet, left
		next.Alone, next.BestSet, next.Beyond = ranking, []Part{}, Count{}
		for _, r := range results {
			next.Beyond.add(r.Step.Beyond)
		}
		next.AtMost = left.Weight
	}
	slices.SortFunc(credits, func(a, b int64) int { return cmp.Compare(b, a) })
	bound := 2 * next.Completes.Weight
	for _, c := range credits[:min(next.Asked, len(credits))] {
		bound += c
	}
	next.AtMost = min(next.AtMost, bound/2)
	switch {
	case len(next.BestSet) == next.Asked:
		st.Done = true
	case len(ranking) == 0 || ranking[0].Completes.Weight == 0:
		st.Done = true
		next.Stopped = "no further part completes another kit by itself"
		if left.Kits == 0 {
			next.Stopped = "every kit that parts can complete is complete"
		}
	default:
		best := ranking[0]
		next.BestSet = append(next.BestSet, best)
		next.Completes.add(best.Completes)
		st.Chosen = append(st.Chosen, best.key)
		if len(next.BestSet) == next.Asked {
			st.Done = true
			if next.Asked == 1 {
				next.AtMost = next.Completes.Weight // the best of all single parts
			}
		}
	}
}

func (st *State) open(results []*Result) (n int) {
	for _, r := range results {
		n += len(r.Step.Open)
	}
	return n
}

// candidates are the parts to try on the basis of what is on sale.
func (st *State) candidates(scope *Scope, results []*Result) {
	st.Candidates = slices.Clone(scope.Question.TryParts)
	st.Wanted = make([]string, len(st.Candidates))
	all := tally[made]{}
	for _, r := range results {
		for _, m := range r.Step.Made {
			entry := all.at(m.Part.SKU, func() made { return made{Part: m.Part, Wanted: m.Wanted} })
			entry.Kits += m.Kits
			entry.Wanted = min(entry.Wanted, m.Wanted)
		}
	}
	list := all.list()
	slices.SortStableFunc(list, func(a, b made) int { return cmp.Compare(b.Kits, a.Kits) })
	st.StockNext.LeftOut = max(0, len(list)-maxMade)
	for _, m := range list[:min(len(list), maxMade)] {
		st.Candidates, st.Wanted = append(st.Candidates, m.Part), append(st.Wanted, m.Wanted)
	}
}

// add adds up, by candidate, the kits that it completes alone, and lists credits of
// parts that do not stand for each other, doubled. left is all kits still open.
func (st *State) add(s *kit.Snapshot, results []*Result) (gains map[string]*Count, credits []int64, left Count) {
	gains = map[string]*Count{}
	credit := map[string]int64{}
	for _, r := range results {
		st.StockNext.Unproven += r.Step.Unproven
		step := &r.Step
		// what a list is worth is added to its members once, not for every kit
		alone, among := make([]Count, len(step.Lists)), make([]Count, len(step.Lists))
		for _, o := range step.Open {
			n := Count{Kits: o.Kits, Weight: o.Weight}
			left.add(n)
			alone[o.Alone].add(n)
			among[o.Among].add(n)
			for stands := range set(st.stand(s, step.Lists[o.Alone])) {
				credit[stands] += 2 * o.Weight
				if slices.Contains(step.Lists[o.Among], stands) {
					credit[stands] -= o.Weight
				}
			}
		}
		for i, list := range step.Lists {
			for _, sku := range list {
				if alone[i].Kits > 0 {
					if gains[sku] == nil {
						gains[sku] = &Count{}
					}
					gains[sku].add(alone[i])
				}
				credit[sku] += among[i].Weight
			}
		}
	}
	for _, c := range credit {
		credits = append(credits, c)
	}
	return gains, credits, left
}

// stand maps SKUs to those that stand for them.
func (st *State) stand(s *kit.Snapshot, skus []string) []string {
	if st.Candidates != nil {
		return skus
	}
	out := make([]string, len(skus))
	for i, sku := range skus {
		out[i] = s.StandsFor(sku)
	}
	return out
}

// rank orders parts by the weight of what they complete, those of one form that complete
// the same together.
func (st *State) rank(s *kit.Snapshot, scope *Scope, gains map[string]*Count) []Part {
	out := []Part{}
	merged := map[string]bool{}
	for sku, n := range gains {
		if merged[sku] {
			continue
		}
		if st.Candidates != nil {
			out = append(out, st.candidate(sku, *n))
			continue
		}
		alike := []string{}
		for _, other := range s.Interchangeable(sku) {
			if g := gains[other]; g != nil && *g == *n {
				alike = append(alike, other)
				merged[other] = true
			}
		}
		if len(alike) == 0 { // deleted meanwhile, or tied and discontinued
			alike = []string{sku}
		}
		out = append(out, onSale(s, scope.Question.Location, alike, *n))
	}
	slices.SortFunc(out, func(a, b Part) int {
		return cmp.Or(cmp.Compare(b.Completes.Weight, a.Completes.Weight), cmp.Compare(b.Completes.Kits, a.Completes.Kits),
			cmp.Compare(price(&a), price(&b)), cmp.Compare(a.key, b.key))
	})
	return out
}

func price(p *Part) int64 {
	if p.Price == nil {
		return 0
	}
	return p.Price.AmountMinor
}

// onSale describes parts of the catalogue by the first of them.
func onSale(s *kit.Snapshot, location string, alike []string, n Count) Part {
	out := Part{SKU: alike[0], Name: alike[0], Interchangeable: alike[1:], Completes: n, key: alike[0]}
	o := s.Catalog.Offer(alike[0])
	if o == nil {
		return out
	}
	at := catalog.AllLocations
	if i, err := s.Catalog.Location(location); err == nil {
		at = i
	}
	onHand, cost := s.Catalog.OnHand(o, at), o.Price
	out.Name, out.OnHand, out.Price, out.LeadTimeDays = o.Name, &onHand, &cost, o.LeadTimeDays
	if p, err := s.Catalog.Part(alike[0]); err == nil {
		out.Kind = p.Kind
	}
	return out
}

// candidate describes a part that is not on sale.
func (st *State) candidate(key string, n Count) Part {
	i := slices.IndexFunc(st.Candidates, func(p *catalog.Part) bool { return p.SKU == key })
	p := st.Candidates[i]
	out := Part{Name: p.Name, Kind: p.Kind, Completes: n, key: key, Wanted: st.Wanted[i]}
	if out.Wanted == "" { // the caller's
		cost := p.Price
		out.SKU, out.Price, out.LeadTimeDays = p.SKU, &cost, p.LeadTimeDays
	}
	return out
}
