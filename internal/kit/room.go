package kit

import (
	"sync"

	"onetrip/internal/catalog"
	"onetrip/internal/fit"
	"onetrip/internal/pick"
	"onetrip/internal/rules"
)

// room is memory that jobs use one after another: everything between request and
// answer that the answer does not keep.
type room struct {
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

	job       int64           // number of the job that uses the room
	choice    int64           // number of the choice made
	sources   []source        // by index of bundle; of no account when of another job or choice
	apart     []*catalog.Part // that are tied or that bundles may bring, and worth a look
	elsewhere []fit.Switch    // what other needs may take of the fuel path's parts
	live      []liveBundle
	asked     []asked // by index of peers; of no account when of another job
	wants     []float64
	least     []int64
}

var rooms = sync.Pool{New: func() any { return &room{byKind: make([][]*demand, len(catalog.Kinds))} }}

// enter takes a room for a job.
func (j *job) enter() {
	j.room = rooms.Get().(*room)
	j.room.job++
	j.writer, j.savings = newWriter(), &j.room.savings
	if n := len(j.s.Catalog.Bundles()); len(j.room.sources) < n {
		j.room.sources = make([]source, n)
	}
	if n := j.s.dominance.peers; len(j.room.asked) < n {
		j.room.asked = append(j.room.asked, make([]asked, n-len(j.room.asked))...)
	}
	if n := j.s.Catalog.Offers(); len(j.room.ids) < n {
		j.room.ids = make([]int32, n)
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

// release empties the room for the next job, so that it keeps no catalogue alive.
func (r *room) release() {
	empty(&r.demands)
	empty(&r.demandList)
	for i := range r.byKind {
		empty(&r.byKind[i])
	}
	empty(&r.rules)
	empty(&r.matches)
	empty(&r.forms)
	empty(&r.candidates)
	empty(&r.layer)
	empty(&r.costs)
	empty(&r.climbs)
	empty(&r.bids)
	empty(&r.choices)
	empty(&r.options)
	empty(&r.chosen)
	empty(&r.uses)
	empty(&r.parts)
	empty(&r.groups)
	empty(&r.pickOptions)
	empty(&r.amounts)
	empty(&r.items)
	empty(&r.buys)
	empty(&r.owned)
	empty(&r.held)
	empty(&r.switches)
	empty(&r.holdings)
	empty(&r.bundles)
	empty(&r.selections)
	r.problem.Items, r.problem.Groups = nil, nil // which are of the piles above
	empty(&r.changes)
	empty(&r.serving)
	r.savings.Reset()
	r.facts.Vehicle, r.facts.Carburetor, r.facts.Calc = nil, nil, nil
	empty(&r.apart)
	empty(&r.elsewhere)
	empty(&r.live)
	r.evaluation.Release()
	rooms.Put(r)
}

func empty[T any](pile *[]T) {
	clear(*pile)
	*pile = (*pile)[:0]
}
