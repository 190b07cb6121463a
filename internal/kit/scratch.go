package kit

import (
	"sync"

	"onetrip/internal/catalog"
	"onetrip/internal/fit"
	"onetrip/internal/pick"
	"onetrip/internal/rules"
)

// scratch is memory that jobs use one after another: everything between request and
// answer that the answer does not keep.
type scratch struct {
	demands     []demand
	demandList  []*demand
	rules       []*rules.Rule
	matches     []rules.Match
	forms       []*catalog.Form
	candidates  []fit.Candidate
	layer       []fit.Candidate
	costs       []layerCost
	climbs      []climb
	bids        []bid
	choices     []group
	options     []option
	chosen      []*option
	uses        []fit.Use
	parts       []*catalog.Part
	groups      []pick.Group
	pickOptions []pick.Option
	amounts     []pick.Amount
	items       []pick.Item
	buys        []buy
	owned       []ownedUnits
	held        []uint64
	switches    []fit.Switch
	holdings    []fit.Holding
	bundles     []*catalog.Bundle
	selections  []selection
	byKind      [][]*demand // by KindSpec.Index
	verdicts    verdicts
	problem     pick.Problem
	refs        [2][]pick.OptionRef
	changes     []LineChange
	serving     []served
	savings     fit.Savings
	facts       rules.Facts
	ids         []int32 // by ordinal of a part: its resource, if that is of the part
	evaluation  rules.Memory
	key         []byte

	job       int64           // number of the job that uses it
	choice    int64           // number of the choice made
	sources   []source        // by index of bundle; of no account when of another job or choice
	apart     []*catalog.Part // that are tied or that bundles may bring, and worth a look
	elsewhere []fit.Switch    // what other needs may take of the fuel path's parts
	live      []liveBundle
	asked     []asked // by index of peers; of no account when of another job
	wants     []float64
	least     []int64
}

var scratches = sync.Pool{New: func() any { return &scratch{byKind: make([][]*demand, len(catalog.Kinds))} }}

// enter takes scratch memory for a job.
func (j *job) enter() {
	j.scratch = scratches.Get().(*scratch)
	j.scratch.job++
	j.writer, j.savings = newWriter(), &j.scratch.savings
	if n := len(j.s.Catalog.Bundles()); len(j.scratch.sources) < n {
		j.scratch.sources = make([]source, n)
	}
	if n := j.s.dominance.peers; len(j.scratch.asked) < n {
		j.scratch.asked = append(j.scratch.asked, make([]asked, n-len(j.scratch.asked))...)
	}
	if n := j.s.Catalog.Offers(); len(j.scratch.ids) < n {
		j.scratch.ids = make([]int32, n)
	}
}

// lend hands out n zero elements of a pile that stay where they are when it grows.
func lend[T any](pile *[]T, n int) []T {
	if cap(*pile)-len(*pile) < n {
		*pile = make([]T, 0, max(64, n, 2*cap(*pile)))
	}
	from := len(*pile)
	*pile = (*pile)[:from+n]
	return (*pile)[from : from+n : from+n]
}

// release empties the scratch for the next job, so that it keeps no catalogue alive.
func (s *scratch) release() {
	empty(&s.demands)
	empty(&s.demandList)
	for i := range s.byKind {
		empty(&s.byKind[i])
	}
	empty(&s.rules)
	empty(&s.matches)
	empty(&s.forms)
	empty(&s.candidates)
	empty(&s.layer)
	empty(&s.costs)
	empty(&s.climbs)
	empty(&s.bids)
	empty(&s.choices)
	empty(&s.options)
	empty(&s.chosen)
	empty(&s.uses)
	empty(&s.parts)
	empty(&s.groups)
	empty(&s.pickOptions)
	empty(&s.amounts)
	empty(&s.items)
	empty(&s.buys)
	empty(&s.owned)
	empty(&s.held)
	empty(&s.switches)
	empty(&s.holdings)
	empty(&s.bundles)
	empty(&s.selections)
	s.problem.Items, s.problem.Groups = nil, nil // which are of the piles above
	empty(&s.changes)
	empty(&s.serving)
	s.savings.Reset()
	s.facts.Vehicle, s.facts.Carburetor, s.facts.Calc = nil, nil, nil
	empty(&s.apart)
	empty(&s.elsewhere)
	empty(&s.live)
	s.evaluation.Release()
	scratches.Put(s)
}

func empty[T any](pile *[]T) {
	clear(*pile)
	*pile = (*pile)[:0]
}
