package kit

import (
	"context"
	"fmt"
	"maps"
	"slices"

	"onetrip/internal/catalog"
)

// A Shortage is what keeps a kit from being had out of stock at one location, as far as
// what the swap requires goes. SKUs stand for all that are Interchangeable with them.
type Shortage struct {
	// Lines is the least number of lines that the location has not enough of, whatever
	// parts are chosen: so many SKUs must be restocked, no fewer. 0: the kit is complete.
	Lines int
	// Alone lists every part and bundle that, had in any quantity, makes the kit complete
	// all by itself. Only with one Line, and then never empty.
	Alone []string
	// Among lists parts and bundles of which every set that makes the kit complete holds
	// at least so many as there are Lines. With one Line it equals Alone.
	Among []string
	// Beyond says that no stock helps: something required is not on sale at all, or
	// there is no room or no port for it.
	Beyond bool
	// Unproven says that a search stopped at its limit: Lines may be fewer, Alone longer.
	Unproven bool
}

// Shortage works out what the stock of a location lacks for a kit. location "" takes
// all locations together. Where Resolve, asked for what is required under the objective
// stock, answers that the kit is complete, with warnings or without, Lines is 0 and
// Beyond false; the verdict unsuitable is not looked at.
func (s *Snapshot) Shortage(ctx context.Context, v *catalog.Vehicle, carburetorSKU, location string) (Shortage, error) {
	j, err := s.read(&Request{Vehicle: v, CarburetorSKU: carburetorSKU,
		Preferences: Preferences{Objective: ByStock, Location: location, Levels: []Level{Required}}})
	if err != nil {
		return Shortage{}, err
	}
	defer j.release()
	if err := j.demand(); err != nil {
		return Shortage{}, err
	}
	sel, err := j.choose(ctx, j.aim)
	if err != nil {
		return Shortage{}, err
	}
	if len(j.gaps) > 0 || j.fuelBroken {
		return Shortage{Beyond: true}, nil
	}
	out := Shortage{Unproven: !sel.solution.Optimal}
	short := j.short(sel)
	switch out.Lines = len(short); out.Lines {
	case 0:
	case 1:
		out.Alone, err = j.alone(ctx, short[0], &out)
		out.Among = out.Alone
	default:
		out.Among = j.among(short)
	}
	return out, err
}

// short lists the purchases that stock does not cover.
func (j *job) short(sel *selection) []buy {
	var out []buy
	for _, b := range sel.buys {
		if j.s.Catalog.OnHand(b.offer, j.aim.location) < b.packs {
			out = append(out, b)
		}
	}
	return out
}

// alone finds all that would do in place of the one line that is short: each found is
// shunned, so that a selection with one short line must be short of another, until
// there is none.
func (j *job) alone(ctx context.Context, b buy, out *Shortage) ([]string, error) {
	shunned := map[*catalog.Offer]bool{}
	a := j.aim
	a.shunned = &shunned
	var skus []string
	for {
		skus = append(skus, j.s.standsFor(b.offer.SKU))
		for _, sku := range j.s.Interchangeable(b.offer.SKU) {
			shunned[j.s.Catalog.Offer(sku)] = true
		}
		clear(j.room.sourceBits) // what bundles can save depends on who is shunned
		sel, err := j.choose(ctx, a)
		if err != nil {
			return nil, err
		}
		out.Unproven = out.Unproven || !sel.solution.Optimal
		short := j.short(sel)
		if len(short) != 1 || shunned[short[0].offer] {
			slices.Sort(skus)
			return skus, nil
		}
		b = short[0]
	}
}

// Interchangeable lists the SKUs that do whatever one does when all are in stock, by
// price: the parts of its form. What is tied to others, and a bundle, stands for itself.
func (s *Snapshot) Interchangeable(sku string) []string {
	p, err := s.Catalog.Part(sku)
	if err != nil || p.Tied() {
		return []string{sku}
	}
	var out []string
	for _, o := range p.Form.Parts() {
		if !o.Discontinued && !o.Tied() {
			out = append(out, o.SKU)
		}
	}
	return out
}

// standsFor is the SKU that is named for all that are interchangeable with it.
func (s *Snapshot) standsFor(sku string) string {
	if all := s.Interchangeable(sku); len(all) > 0 {
		return all[0]
	}
	return sku
}

// among lists all that a kit could take beyond what stock has, of the kinds in which it
// is short. Kinds of parts that no option, bundle or tie brings together are chosen
// independently, so those that are not short never have to be restocked.
func (j *job) among(short []buy) []string {
	joined := map[catalog.Kind]catalog.Kind{}
	var root func(k catalog.Kind) catalog.Kind
	root = func(k catalog.Kind) catalog.Kind {
		if up, ok := joined[k]; ok && up != k {
			return root(up)
		}
		return k
	}
	join := func(a, b catalog.Kind) { joined[root(a)] = root(b) }

	found := map[string][]catalog.Kind{} // what could be short, with kinds that it serves
	var parts []*catalog.Part
	enter := func(p *catalog.Part) {
		if !slices.Contains(parts, p) {
			parts = append(parts, p)
		}
	}
	for _, needs := range [][]string{pathNeeds, stackNeeds} {
		var first catalog.Kind
		for _, need := range needs {
			if d := j.role(need); d != nil {
				if first == "" {
					first = d.spec.Kind
				}
				join(d.spec.Kind, first)
			}
		}
	}
	for _, d := range j.demands {
		if d.status != "" {
			continue
		}
		for _, f := range j.s.Catalog.Forms(d.spec.Kind) {
			if d.accepts(f) && (d.spec.Kind != "fuel_fitting" || j.pathForms()[f]) {
				for _, p := range f.Parts() {
					if !p.Discontinued {
						enter(p)
					}
				}
			}
		}
	}
	for i := 0; i < len(parts); i++ { // grows by what parts require
		p := parts[i]
		for _, tied := range [][]string{p.Requires, p.Conflicts} {
			for _, sku := range tied {
				if other, err := j.s.Catalog.Part(sku); err == nil {
					join(p.Kind, other.Kind)
				}
			}
		}
		for _, sku := range p.Requires {
			if other, err := j.s.Catalog.Part(sku); err == nil {
				enter(other)
			}
		}
		if j.s.Catalog.OnHand(&p.Offer, j.aim.location) < enoughStock {
			sku := j.s.standsFor(p.SKU)
			found[sku] = append(found[sku], p.Kind)
		}
		for _, b := range j.s.Catalog.BundlesHolding(p) {
			if b.Discontinued {
				continue
			}
			if j.s.Catalog.OnHand(&b.Offer, j.aim.location) < 1 { // a kit takes one of a bundle
				found[b.SKU] = append(found[b.SKU], p.Kind)
			}
			for _, content := range b.Contents {
				if other, err := j.s.Catalog.Part(content.SKU); err == nil && slices.Contains(parts, other) {
					join(p.Kind, other.Kind)
				}
			}
		}
	}
	lacking := map[catalog.Kind]bool{}
	for _, b := range short {
		if b.part != nil {
			lacking[root(b.part.Kind)] = true
			continue
		}
		for _, content := range b.bundle.Contents {
			if p, err := j.s.Catalog.Part(content.SKU); err == nil && slices.Contains(parts, p) {
				lacking[root(p.Kind)] = true
			}
		}
	}
	for sku, kinds := range found {
		if !slices.ContainsFunc(kinds, func(k catalog.Kind) bool { return lacking[root(k)] }) {
			delete(found, sku)
		}
	}
	return slices.Sorted(maps.Keys(found))
}

// Restocked is the snapshot with plenty of some SKUs at a location, "" for every one.
func (s *Snapshot) Restocked(location string, skus []string) (*Snapshot, error) {
	if len(skus) == 0 {
		return s, nil
	}
	var levels []catalog.Stock
	for _, sku := range skus {
		if s.Catalog.Offer(sku) == nil {
			return nil, fmt.Errorf("restock %q: %w", sku, &catalog.NotFoundError{What: "part", ID: sku})
		}
		for _, at := range s.Catalog.Locations {
			if location == "" || at.ID == location {
				levels = append(levels, catalog.Stock{SKU: sku, Location: at.ID, OnHand: 10 * enoughStock})
			}
		}
	}
	return s.WithStock(s.Catalog.Revision, levels)
}
