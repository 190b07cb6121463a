// Package coverage reports how many swaps a shop can supply: every vehicle asked for with
// every carburetor, what keeps kits from being complete, and what to stock next. Kits are
// looked at as far as what the swap requires goes (level required), so a report counts a
// kit as complete when Resolve, asked for the required level, calls it complete or
// complete with warnings.
//
// A report is worked out in rounds, and a round in chunks of vehicles: the first round
// sweeps, later ones find what further part completes most. Chunks of a round know
// nothing of each other, so that they can be worked on anywhere; State.Advance joins
// them. All of it is pure; who runs the chunks, and keeps what comes of them, is Memory
// or package store.
package coverage

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"slices"

	"onetrip/internal/catalog"
	"onetrip/internal/kit"
)

// Question is what a report is asked for. Filters hold together; an empty one lets
// everything pass. openapi.yaml describes every field.
type Question struct {
	Makes          []string         `json:"makes,omitempty"`
	VehicleIDs     []string         `json:"vehicle_ids,omitempty"`
	Flanges        []catalog.Flange `json:"flanges,omitempty"`
	CarburetorSKUs []string         `json:"carburetor_skus,omitempty"`
	Basis          kit.Basis        `json:"basis"`
	Location       string           `json:"location,omitempty"` // of basis stock; "" is all together
	Weights        []Weight         `json:"weights,omitempty"`  // 1 where none is given
	BestSet        *int             `json:"best_set,omitempty"` // how many parts the best set may have
	TryParts       []*catalog.Part  `json:"try_parts,omitempty"`
}

// Weight is what every kit of a vehicle counts for, such as how many are registered.
type Weight struct {
	VehicleID string `json:"vehicle_id"`
	Weight    int64  `json:"weight"`
}

// Limits of a question.
const (
	defaultBestSet = 3
	maxBestSet     = 10
	maxTryParts    = 50
	maxWeight      = 1_000_000_000
)

// chunkKits is how many kits of distinct vehicles one chunk resolves: a second of work
// where shelves are full, and no more than a minute where so much is short that hundreds
// of parts are tried with each kit. So little is lost with a worker.
const chunkKits = 100

// Scope is a question made definite on a catalogue: what to look at, cut in chunks.
type Scope struct {
	Question    Question   `json:"question"`
	Carburetors []string   `json:"carburetors"`
	Revision    int64      `json:"revision"`
	Chunks      [][]string `json:"-"` // vehicle ids; vehicles of one class are together
	Kits        int        `json:"-"`
}

// Scope checks a question against a catalogue. Errors are *catalog.InvalidError, or
// *catalog.NotFoundError with a pointer.
func (q Question) Scope(s *kit.Snapshot) (*Scope, error) {
	cat := s.Catalog
	var bad []catalog.Violation
	add := func(pointer, format string, args ...any) {
		bad = append(bad, catalog.Violation{Pointer: pointer, Detail: fmt.Sprintf(format, args...)})
	}
	switch {
	case q.Basis != kit.InStock && q.Basis != kit.OnSale:
		add("/basis", "%q is not accepted; accepted: %s, %s", q.Basis, kit.InStock, kit.OnSale)
	case q.Location != "" && q.Basis != kit.InStock:
		add("/location", "is for the basis %s; leave it out, or ask for that", kit.InStock)
	case q.Location != "":
		if _, err := cat.Location(q.Location); err != nil {
			return nil, pointAt(err, "/location")
		}
	}
	if q.BestSet == nil {
		k := defaultBestSet
		q.BestSet = &k
	} else if *q.BestSet < 0 || *q.BestSet > maxBestSet {
		add("/best_set", "%d parts; give 0 to %d", *q.BestSet, maxBestSet)
	}
	weighed := map[string]bool{}
	for i, w := range q.Weights {
		at := fmt.Sprintf("/weights/%d", i)
		if _, err := cat.Vehicle(w.VehicleID); err != nil {
			return nil, pointAt(err, at+"/vehicle_id")
		}
		if weighed[w.VehicleID] {
			add(at+"/vehicle_id", "%s is here twice", w.VehicleID)
		}
		weighed[w.VehicleID] = true
		if w.Weight < 0 || w.Weight > maxWeight {
			add(at+"/weight", "%d; give a whole number from 0 to %d", w.Weight, maxWeight)
		}
	}
	bad = append(bad, checkTryParts(q.TryParts, q.Basis, s)...)
	vehicles, err := q.vehicles(cat)
	if err != nil {
		return nil, err
	}
	carburetors, err := q.carburetors(cat)
	if err != nil {
		return nil, err
	}
	switch {
	case len(cat.Vehicles()) == 0:
		add("", "the catalogue has no vehicle to look at; add one first")
	case len(vehicles) == 0:
		add("/vehicle_ids", "no vehicle passes both makes and vehicle_ids; leave one of them out")
	}
	switch {
	case len(cat.Carburetors()) == 0:
		add("", "the catalogue has no carburetor to look at; add one first")
	case len(carburetors) == 0:
		add("/carburetor_skus", "no carburetor passes both flanges and carburetor_skus; leave one of them out")
	}
	if len(bad) > 0 {
		return nil, &catalog.InvalidError{What: "question", Violations: bad}
	}
	for _, list := range []*[]string{&q.Makes, &q.VehicleIDs, &q.CarburetorSKUs} {
		*list = sorted(*list)
	}
	q.Flanges = sorted(q.Flanges)
	q.Weights = slices.Clone(q.Weights)
	slices.SortFunc(q.Weights, func(a, b Weight) int { return cmp.Compare(a.VehicleID, b.VehicleID) })
	out := &Scope{Question: q, Carburetors: carburetors, Revision: cat.Revision}
	size := 0
	for _, class := range kit.Classes(s.Rules, vehicles) {
		if size == 0 || size+len(carburetors) > chunkKits {
			out.Chunks, size = append(out.Chunks, nil), 0
		}
		size += len(carburetors)
		last := len(out.Chunks) - 1
		out.Kits += len(class.Vehicles) * len(carburetors)
		for _, v := range class.Vehicles {
			out.Chunks[last] = append(out.Chunks[last], v.ID)
		}
	}
	return out, nil
}

// Key is the same for the same question at the same revision of the catalogue.
func (sc *Scope) Key() string {
	text, err := json.Marshal(struct {
		Question *Question
		Revision int64
	}{&sc.Question, sc.Revision})
	if err != nil { // a question always marshals
		panic(err)
	}
	sum := sha256.Sum256(text)
	return hex.EncodeToString(sum[:])
}

func (q *Question) vehicles(cat *catalog.Snapshot) ([]*catalog.Vehicle, error) {
	makes := map[string]bool{}
	for _, v := range cat.Vehicles() {
		makes[v.Make] = true
	}
	for i, name := range q.Makes {
		if !makes[name] {
			return nil, &catalog.NotFoundError{What: "make", ID: name, Near: catalog.Near(name, slices.Sorted(maps.Keys(makes)), 3), Pointer: fmt.Sprintf("/makes/%d", i)}
		}
	}
	for i, id := range q.VehicleIDs {
		if _, err := cat.Vehicle(id); err != nil {
			return nil, pointAt(err, fmt.Sprintf("/vehicle_ids/%d", i))
		}
	}
	var out []*catalog.Vehicle
	makes, ids := set(q.Makes), set(q.VehicleIDs)
	for _, v := range cat.Vehicles() {
		if (len(makes) == 0 || makes[v.Make]) && (len(ids) == 0 || ids[v.ID]) {
			out = append(out, v)
		}
	}
	return out, nil
}

func (q *Question) carburetors(cat *catalog.Snapshot) ([]string, error) {
	for i, sku := range q.CarburetorSKUs {
		if _, err := cat.Carburetor(sku); err != nil {
			return nil, pointAt(err, fmt.Sprintf("/carburetor_skus/%d", i))
		}
	}
	var out []string
	skus, flanges := set(q.CarburetorSKUs), set(q.Flanges)
	for _, c := range cat.Carburetors() {
		if (len(flanges) == 0 || flanges[c.Flange]) && (len(skus) == 0 || skus[c.SKU]) {
			out = append(out, c.SKU)
		}
	}
	return out, nil
}

func checkTryParts(parts []*catalog.Part, basis kit.Basis, s *kit.Snapshot) (bad []catalog.Violation) {
	add := func(pointer, format string, args ...any) {
		bad = append(bad, catalog.Violation{Pointer: pointer, Detail: fmt.Sprintf(format, args...)})
	}
	if len(parts) > 0 && basis != kit.OnSale {
		add("/try_parts", "are for the basis %s, where what is not sold yet can be added; ask for that", kit.OnSale)
	}
	if len(parts) > maxTryParts {
		add("/try_parts", "%d parts; give %d at most", len(parts), maxTryParts)
		return bad
	}
	seen := map[string]bool{}
	for i, p := range parts {
		at := fmt.Sprintf("/try_parts/%d", i)
		for _, v := range p.Validate() {
			bad = append(bad, catalog.Violation{Pointer: at + v.Pointer, Detail: v.Detail})
		}
		switch {
		case s.Catalog.Offer(p.SKU) != nil:
			add(at+"/sku", "%s is in the catalogue already; give the new part a SKU of its own", p.SKU)
		case seen[p.SKU]:
			add(at+"/sku", "%s is here twice", p.SKU)
		case len(p.Requires)+len(p.Conflicts) > 0:
			add(at, "a part to try cannot require or conflict with others; leave requires and conflicts out")
		case p.Discontinued:
			add(at+"/discontinued", "a part to try is on sale; leave it out")
		case p.Price.Currency != s.Catalog.Currency:
			add(at+"/price/currency", "%s is not the catalogue's currency; prices are in %s", p.Price.Currency, s.Catalog.Currency)
		}
		seen[p.SKU] = true
	}
	return bad
}

func set[T comparable](list []T) map[T]bool {
	out := make(map[T]bool, len(list))
	for _, v := range list {
		out[v] = true
	}
	return out
}

func sorted[T ~string](list []T) []T {
	list = slices.Clone(list)
	slices.Sort(list)
	return slices.Compact(list)
}

func pointAt(err error, pointer string) error {
	var missing *catalog.NotFoundError
	if errors.As(err, &missing) {
		missing.Pointer = pointer
	}
	return err
}
