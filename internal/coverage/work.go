package coverage

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"onetrip/internal/catalog"
	"onetrip/internal/kit"
)

// Task is one chunk in one round.
type Task struct {
	Scope    *Scope
	State    *State
	Vehicles []string // one of Scope.Chunks
	Prior    *Result  // of the round before, nil in the first
}

// Result is what comes of a chunk. Sweep is set by the first round and kept.
type Result struct {
	Revision int64  `json:"revision"` // of the catalogue that the round saw
	Sweep    *Sweep `json:"sweep,omitempty"`
	Step     Step   `json:"step"`
}

// Sweep is the part of a report that the vehicles of a chunk make.
type Sweep struct {
	Classes []Class `json:"classes"`
	Needs   []Need  `json:"needs"`
	Gaps    []Gap   `json:"gaps"`
	Gone    int     `json:"gone"` // vehicles that were deleted meanwhile
}

// Step is what further parts do for the kits of a chunk.
type Step struct {
	Open     []open         `json:"open"`
	Lists    [][]string     `json:"lists"` // of parts, that open kits share
	Made     []made         `json:"made,omitempty"`
	Beyond   Count          `json:"beyond"` // incomplete kits that no candidate can complete
	Unproven int            `json:"unproven,omitempty"`
	listed   map[string]int // index of a list
}

// open is a kit that some set of candidates may complete.
type open struct {
	VehicleID  string `json:"v"` // the first of its class
	Carburetor int    `json:"c"`
	Kits       int    `json:"n"`
	Weight     int64  `json:"w"`
	Alone      int    `json:"a"` // list of those that complete it alone
	Among      int    `json:"m"` // list of those of which it takes two at least otherwise
}

// made is a part made to measure for kits that lack nothing else of its kind.
type made struct {
	Part   *catalog.Part `json:"part"`
	Kits   int           `json:"kits"`
	Wanted string        `json:"wanted"`
}

// Cells of a class, one for each carburetor.
const (
	cellComplete   = 'C'
	cellWarnings   = 'W'
	cellShort      = 'S' // incomplete for want of stock alone
	cellIncomplete = 'I'
	cellUnsuitable = 'U'
	cellGone       = '-' // the carburetor was deleted meanwhile
)

// Work does one chunk of one round on a snapshot.
func Work(ctx context.Context, s *kit.Snapshot, t *Task) (*Result, error) {
	out := &Result{Revision: s.Catalog.Revision}
	out.Step.listed = map[string]int{}
	w := worker{s: s, task: t, q: &t.Scope.Question, step: &out.Step, weights: map[string]int64{}}
	for _, given := range w.q.Weights {
		w.weights[given.VehicleID] = given.Weight
	}
	var err error
	switch {
	case t.Prior == nil:
		out.Sweep, err = w.sweep(ctx)
	case w.q.Basis == kit.InStock:
		out.Sweep = t.Prior.Sweep
		err = w.restock(ctx)
	case len(t.State.Chosen) == 0:
		out.Sweep = t.Prior.Sweep
		err = w.try(ctx)
	default:
		out.Sweep = t.Prior.Sweep
		err = w.tryFurther(ctx)
	}
	return out, err
}

type worker struct {
	s    *kit.Snapshot
	task *Task
	q    *Question
	step *Step

	weights map[string]int64         // of vehicles by id, where given
	plenty  *kit.Snapshot            // for the basis catalogue
	with    map[string]*kit.Snapshot // further parts, by their keys
}

// each sweeps the chunk. The carburetor is told by its index in the scope.
func (w *worker) each(ctx context.Context, yield func(class *kit.Class, carburetor int, k *kit.Summary) error) (gone int, err error) {
	scope := w.task.Scope
	query := kit.SweepQuery{Basis: w.q.Basis, Workers: 1, Vehicles: []*catalog.Vehicle{},
		Preferences: kit.Preferences{Location: w.q.Location, Levels: []kit.Level{kit.Required}}}
	for _, id := range w.task.Vehicles {
		if v, err := w.s.Catalog.Vehicle(id); err == nil {
			query.Vehicles = append(query.Vehicles, v)
		}
	}
	index := map[string]int{}
	for i, sku := range scope.Carburetors {
		if c, err := w.s.Catalog.Carburetor(sku); err == nil {
			index[sku] = i
			query.Carburetors = append(query.Carburetors, c)
		}
	}
	gone = len(w.task.Vehicles) - len(query.Vehicles)
	if len(query.Vehicles) == 0 || len(query.Carburetors) == 0 {
		return gone, nil
	}
	_, err = kit.Sweep(ctx, w.s, query, func(class *kit.Class, c *catalog.Carburetor, k *kit.Summary) error {
		return yield(class, index[c.SKU], k)
	})
	return gone, err
}

// sweep is the first round.
func (w *worker) sweep(ctx context.Context) (*Sweep, error) {
	out := &Sweep{Classes: []Class{}, Needs: []Need{}, Gaps: []Gap{}}
	needs, gaps := tally[Need]{}, tally[Gap]{}
	made := tally[made]{}
	var class *Class
	var of *kit.Class
	var cells []byte
	finish := func() {
		if class != nil {
			class.Cells = string(cells)
			out.Classes = append(out.Classes, *class)
		}
	}
	gone, err := w.each(ctx, func(c *kit.Class, carburetor int, k *kit.Summary) error {
		if of != c {
			finish()
			of, class = c, &Class{Vehicles: make([]string, len(c.Vehicles))}
			for i, v := range c.Vehicles {
				class.Vehicles[i] = v.ID
				weight, given := w.weights[v.ID]
				if !given {
					weight = 1
				}
				class.Weight += weight
			}
			cells = []byte(strings.Repeat(string(cellGone), len(w.task.Scope.Carburetors)))
		}
		n := Count{Kits: len(class.Vehicles), Weight: class.Weight}
		cells[carburetor] = cell(k)
		if k.Verdict == kit.Unsuitable {
			return nil
		}
		for i := range k.Needs {
			needs.at(k.Needs[i].ID, func() Need { return Need{ID: k.Needs[i].ID} }).add(k.Needs[i].Status, n)
		}
		for i := range k.Gaps {
			g := gapOf(&k.Gaps[i])
			entry := gaps.at(g.key(), func() Gap { return g })
			entry.Blocks.add(n)
			if len(k.Gaps) == 1 {
				entry.OnlyGap.add(n)
			}
		}
		if k.Verdict != kit.Incomplete {
			return nil
		}
		if w.q.Basis == kit.InStock && cells[carburetor] != cellShort { // what is not on sale cannot be restocked
			w.step.Beyond.add(n)
			return nil
		}
		if w.q.Basis == kit.InStock {
			return w.short(ctx, class.Vehicles[0], carburetor, n, nil)
		}
		return w.propose(k, class.Vehicles[0], carburetor, n, made)
	})
	finish()
	out.Gone = gone
	out.Needs, out.Gaps = needs.list(), gaps.list()
	w.step.Made = made.list()
	return out, err
}

func cell(k *kit.Summary) byte {
	switch k.Verdict {
	case kit.Complete:
		return cellComplete
	case kit.CompleteWithWarnings:
		return cellWarnings
	case kit.Unsuitable:
		return cellUnsuitable
	}
	if !slices.ContainsFunc(k.Gaps, func(g kit.Gap) bool { return g.Cause != kit.ShortOfStock }) {
		return cellShort
	}
	return cellIncomplete
}

// short looks for what completes a kit out of stock, with plenty of some SKUs.
func (w *worker) short(ctx context.Context, vehicleID string, carburetor int, n Count, plenty []string) error {
	var short kit.Shortage
	v, err := w.s.Catalog.Vehicle(vehicleID)
	if err == nil {
		short, err = w.s.Shortage(ctx, v, w.task.Scope.Carburetors[carburetor], w.q.Location, plenty)
	}
	switch {
	case gone(err):
		return nil
	case err != nil:
		return fmt.Errorf("vehicle %s with carburetor %s: %w", vehicleID, w.task.Scope.Carburetors[carburetor], err)
	}
	if short.Unproven {
		w.step.Unproven += n.Kits
	}
	switch {
	case short.Beyond:
		w.step.Beyond.add(n)
	case short.Lines > 0:
		w.step.open(vehicleID, carburetor, n, short.Alone, short.Among)
	}
	return nil
}

// restock is a later round by stock: what the part just chosen completes is no longer
// open, and what it could help is looked at again.
func (w *worker) restock(ctx context.Context) error {
	chosen := w.task.State.chosen()
	last := chosen[len(chosen)-1]
	prior := &w.task.Prior.Step
	w.step.Beyond = prior.Beyond
	for _, o := range prior.Open {
		n := Count{Kits: o.Kits, Weight: o.Weight}
		switch alone, among := prior.Lists[o.Alone], prior.Lists[o.Among]; {
		case slices.Contains(alone, last):
		case slices.Contains(among, w.s.StandsFor(last)):
			if err := w.short(ctx, o.VehicleID, o.Carburetor, n, chosen); err != nil {
				return err
			}
		default:
			w.step.open(o.VehicleID, o.Carburetor, n, alone, among)
		}
	}
	return nil
}

// propose notes a kit that parts not sold yet could complete, and the parts made to
// measure for it.
func (w *worker) propose(k *kit.Summary, vehicleID string, carburetor int, n Count, into tally[made]) error {
	for i := range k.Gaps {
		g := &k.Gaps[i]
		p := w.s.MadeToMeasure(g)
		if g.Cause == kit.NoPort || g.Cause == kit.NotMeasured || p == nil && len(w.q.TryParts) == 0 {
			w.step.Beyond.add(n)
			return nil
		}
		if p != nil {
			into.at(p.SKU, func() made { return made{Part: p, Wanted: g.Wanted()} }).Kits += n.Kits
		}
	}
	w.step.open(vehicleID, carburetor, n, nil, nil)
	return nil
}

// try is the second round by catalogue: every candidate with every open kit.
func (w *worker) try(ctx context.Context) error {
	open := map[string]open{}
	for _, o := range w.task.Prior.Step.Open {
		open[fmt.Sprint(o.VehicleID, " ", o.Carburetor)] = o
	}
	w.step.Beyond = w.task.Prior.Step.Beyond
	_, err := w.each(ctx, func(c *kit.Class, carburetor int, k *kit.Summary) error {
		o, ok := open[fmt.Sprint(c.Vehicles[0].ID, " ", carburetor)]
		if !ok {
			return nil
		}
		var alone, among []string
		for _, p := range w.task.State.Candidates {
			some, all := helps(w.s, p, k.Gaps, w.isTryPart(p))
			if !some {
				continue
			}
			among = append(among, p.SKU)
			if !all {
				continue
			}
			done, err := w.suffices(ctx, c.Vehicles[0], carburetor, []string{p.SKU})
			if err != nil {
				return err
			}
			if done {
				alone = append(alone, p.SKU)
			}
		}
		n := Count{Kits: o.Kits, Weight: o.Weight}
		if len(among) == 0 {
			w.step.Beyond.add(n)
			return nil
		}
		w.step.open(o.VehicleID, o.Carburetor, n, alone, among)
		return nil
	})
	return err
}

// helps reports whether a part could close some of a kit's gaps, and whether it could
// close all. Where more than attributes decide, a part that the caller gave may.
func helps(s *kit.Snapshot, p *catalog.Part, gaps []kit.Gap, given bool) (some, all bool) {
	all = true
	for i := range gaps {
		g := &gaps[i]
		ok := given
		if s.MadeToMeasure(g) != nil {
			ok = p.Kind == g.Kind
			for n := range g.Tests {
				ok = ok && g.Tests[n].Accepts(p.Form)
			}
		}
		some, all = some || ok, all && ok
	}
	return some, all
}

func (w *worker) isTryPart(p *catalog.Part) bool {
	return slices.ContainsFunc(w.q.TryParts, func(t *catalog.Part) bool { return t.SKU == p.SKU })
}

// tryFurther is a later round by catalogue.
func (w *worker) tryFurther(ctx context.Context) error {
	chosen := w.task.State.chosen()
	last := chosen[len(chosen)-1]
	prior := &w.task.Prior.Step
	w.step.Beyond = prior.Beyond
	for _, o := range prior.Open {
		n := Count{Kits: o.Kits, Weight: o.Weight}
		alone, among := prior.Lists[o.Alone], prior.Lists[o.Among]
		if slices.Contains(alone, last) {
			continue
		}
		if slices.Contains(among, last) {
			v, err := w.s.Catalog.Vehicle(o.VehicleID)
			if err != nil {
				continue // deleted meanwhile
			}
			var now []string
			for _, sku := range among {
				if slices.Contains(chosen, sku) {
					continue
				}
				done, err := w.suffices(ctx, v, o.Carburetor, append(slices.Clone(chosen), sku))
				if err != nil {
					return err
				}
				if done {
					now = append(now, sku)
				}
			}
			alone = now
		}
		w.step.open(o.VehicleID, o.Carburetor, n, alone, among)
	}
	return nil
}

// suffices reports whether the catalogue and some candidates cover a kit.
func (w *worker) suffices(ctx context.Context, v *catalog.Vehicle, carburetor int, skus []string) (bool, error) {
	if w.plenty == nil {
		w.plenty, w.with = w.s.WithPlenty(), map[string]*kit.Snapshot{}
	}
	key := strings.Join(skus, "\n")
	s, known := w.with[key]
	if !known {
		var parts []*catalog.Part
		for _, sku := range skus {
			at := slices.IndexFunc(w.task.State.Candidates, func(p *catalog.Part) bool { return p.SKU == sku })
			parts = append(parts, w.task.State.Candidates[at])
		}
		s = w.plenty.WithParts(parts)
		w.with[key] = s
	}
	done, err := s.Suffices(ctx, v, w.task.Scope.Carburetors[carburetor])
	if gone(err) {
		return false, nil
	}
	return done, err
}

// gone tells what was deleted since the report began from what fails.
func gone(err error) bool {
	var missing *catalog.NotFoundError
	return errors.As(err, &missing)
}

func (st *Step) open(vehicleID string, carburetor int, n Count, alone, among []string) {
	st.Open = append(st.Open, open{vehicleID, carburetor, n.Kits, n.Weight, st.list(alone), st.list(among)})
}

// list is the index of a list of SKUs; equal ones are kept once.
func (st *Step) list(skus []string) int {
	key := strings.Join(skus, "\n")
	i, known := st.listed[key]
	if !known {
		i = len(st.Lists)
		st.listed[key] = i
		st.Lists = append(st.Lists, skus)
	}
	return i
}

// tally collects things by key, in any order.
type tally[T any] map[string]*T

func (t tally[T]) at(key string, fresh func() T) *T {
	entry := t[key]
	if entry == nil {
		v := fresh()
		entry = &v
		t[key] = entry
	}
	return entry
}

// list gives what was collected in the order of keys.
func (t tally[T]) list() []T {
	keys := make([]string, 0, len(t))
	for key := range t {
		keys = append(keys, key)
	}
	slices.Sort(keys)
	out := make([]T, len(keys))
	for i, key := range keys {
		out[i] = *t[key]
	}
	return out
}
