package kit

import (
	"context"
	"maps"
	"slices"

	"onetrip/internal/catalog"
)

// A Shortage is what keeps a kit from being had out of stock at one location, as far as
// what the swap requires goes.
type Shortage struct {
	// Lines is the number of lines that the location has not enough of, at best.
	Lines int
	// Alone lists the SKUs of all parts and bundles each of which, had in any quantity,
	// makes the kit complete all by itself.
	Alone []string
	// Among lists what can help at all: every set that makes the kit complete holds one of
	// Alone, or two of these. Of parts that are Interchangeable the first is named.
	Among []string
	// Beyond says that no stock helps: something required is not on sale at all, or
	// there is no room or no port for it.
	Beyond bool
	// Unproven says that a search stopped at its limit: Lines may be fewer, Alone longer.
	Unproven bool
}

// restock is the aim of looking for what to restock: of plenty there is enough, and a
// short line of something shunned counts twice.
type restock struct{ plenty, shunned map[*catalog.Offer]bool }

// Shortage works out what the stock of a location lacks for a kit, when there is plenty
// of some SKUs. location "" takes all locations together. Where Resolve, asked for what
// is required under the objective stock, answers that the kit is complete, with warnings
// or without, Lines is 0 and Beyond false; the verdict unsuitable is not looked at.
func (s *Snapshot) Shortage(ctx context.Context, v *catalog.Vehicle, carburetorSKU, location string, plenty []string) (Shortage, error) {
	req := &Request{Vehicle: v, CarburetorSKU: carburetorSKU,
		Preferences: Preferences{Objective: ByStock, Location: location, Levels: []Level{Required}}}
	j, sel, err := s.restocked(ctx, req, plenty)
	if err != nil {
		return Shortage{}, err
	}
	defer j.release()
	if !j.onSale(sel) {
		return Shortage{Beyond: true}, nil
	}
	short := j.short(sel)
	out := Shortage{Lines: len(short), Unproven: sel.maybeFewer()}
	if len(short) == 0 {
		return out, nil
	}
	out.Among = j.among(short)
	if len(short) == 1 {
		if err := j.alone(ctx, short[0], &out); err != nil {
			return Shortage{}, err
		}
	}
	slices.Sort(out.Alone)
	return out, nil
}

// onSale reports whether everything that a kit takes is on sale.
func (j *job) onSale(sel *selection) bool {
	return len(j.gaps) == 0 && len(sel.gone) == 0 && !j.fuelBroken
}

// restocked selects a kit by stock with plenty of some SKUs. The job must be released.
func (s *Snapshot) restocked(ctx context.Context, req *Request, plenty []string) (*job, *selection, error) {
	j, err := s.read(req)
	if err != nil {
		return nil, nil, err
	}
	j.aim.restock = &restock{plenty: map[*catalog.Offer]bool{}, shunned: map[*catalog.Offer]bool{}}
	for _, sku := range plenty {
		j.aim.restock.plenty[s.Catalog.Offer(sku)] = true
	}
	var sel *selection
	if err = j.demand(); err == nil {
		sel, err = j.choose(ctx, j.aim)
	}
	if err != nil {
		j.release()
		return nil, nil, err
	}
	return j, sel, nil
}

// maybeFewer reports whether the search stopped before it knew the least number of lines
// that are short. Which of them cost least does not matter here.
func (sel *selection) maybeFewer() bool {
	return sel.solution.LowerBound/lineWeight < sel.solution.Cost/lineWeight
}

// short lists the purchases that stock does not cover.
func (j *job) short(sel *selection) []buy {
	var out []buy
	for _, b := range sel.buys {
		if j.aim.onHand(j.s.Catalog, b.offer) < b.packs {
			out = append(out, b)
		}
	}
	return out
}

// alone finds all that would do in place of the one line that is short: each found is
// shunned, so that a selection with one short line must be short of another, until
// there is none.
func (j *job) alone(ctx context.Context, b buy, out *Shortage) error {
	shunned := j.aim.restock.shunned
	for {
		for _, sku := range j.s.Interchangeable(b.offer.SKU) {
			out.Alone = append(out.Alone, sku)
			shunned[j.s.Catalog.Offer(sku)] = true
		}
		sel, err := j.choose(ctx, j.aim)
		if err != nil {
			return err
		}
		out.Unproven = out.Unproven || sel.maybeFewer()
		short := j.short(sel)
		if len(short) != 1 || shunned[short[0].offer] {
			return nil
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

// StandsFor is the SKU that is named for all that are interchangeable with it.
func (s *Snapshot) StandsFor(sku string) string {
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
			if d.accepts(f) && j.usable(f) {
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
			if other := j.asRequired(sku); other != nil {
				enter(other)
			}
		}
		if j.aim.onHand(j.s.Catalog, &p.Offer) < enoughStock {
			sku := j.s.StandsFor(p.SKU)
			found[sku] = append(found[sku], p.Kind)
		}
		for _, b := range p.Bundles() {
			if b.Discontinued {
				continue
			}
			if j.aim.onHand(j.s.Catalog, &b.Offer) < 1 { // a kit takes one of a bundle
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
