package kit

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"

	"onetrip/internal/catalog"
	"onetrip/internal/units"
)

// Substitutes says why parts cannot stand in for lines of a kit; instead has the part's
// SKU by the line's. The answer has the reasons by the line's SKU, and is empty when all
// of them fit together. A part fits when it passes what the rules ask of the needs that
// the line fills, today, and when the kit that has it in the line's place still joins:
// nothing is missing that was there, and no check is worse.
//
// That is found out by resolving the question in a shop that sells nothing but the parts
// of the kit, so whatever Resolve knows of joints, heights and lengths counts here.
func Substitutes(ctx context.Context, s *Snapshot, req *Request, k *Kit, instead map[string]string) (map[string][]string, error) {
	t := &swap{s: s, kit: k, instead: instead, question: *req, reasons: map[string][]string{}}
	t.question.Vehicle, t.question.VehicleID = k.Vehicle, ""
	t.question.Preferences.Objective, t.question.Preferences.Finish = ByPrice, "" // what fits does not depend on these
	if t.ties(); len(t.reasons) > 0 {
		return t.reasons, nil
	}
	if err := t.matches(); err != nil || len(t.reasons) > 0 {
		return t.reasons, err
	}
	return t.reasons, t.joins(ctx)
}

// swap is a kit with substitutes that are being tried.
type swap struct {
	s        *Snapshot
	kit      *Kit
	instead  map[string]string
	question Request
	reasons  map[string][]string // by the line's SKU
}

func (t *swap) refuse(line, format string, args ...any) {
	if reason := fmt.Sprintf(format, args...); !slices.Contains(t.reasons[line], reason) {
		t.reasons[line] = append(t.reasons[line], reason)
	}
}

// lines are those that something stands in for.
func (t *swap) lines() (lines []*Line) {
	for i := range t.kit.Lines {
		if t.instead[t.kit.Lines[i].SKU] != "" {
			lines = append(lines, &t.kit.Lines[i])
		}
	}
	return lines
}

// ties looks after what parts say of one another.
func (t *swap) ties() {
	parts := t.parts(t.instead)
	for _, l := range t.lines() {
		with := t.instead[l.SKU]
		p, err := t.s.Catalog.Part(with)
		if err != nil {
			t.refuse(l.SKU, "%v", err)
			continue
		}
		for _, sku := range p.Requires {
			if !t.has(parts, sku) {
				t.refuse(l.SKU, "requires: %s, which is not in this kit", sku)
			}
		}
		for _, sku := range p.Conflicts {
			if parts[sku] != nil {
				t.refuse(l.SKU, "conflicts: %s, which is in this kit", sku)
			}
		}
		for _, sku := range slices.Sorted(maps.Keys(parts)) {
			if slices.Contains(parts[sku].Conflicts, with) {
				t.refuse(l.SKU, "conflicts: %s, which is in this kit, must not be together with it", sku)
			}
			if slices.Contains(parts[sku].Requires, l.SKU) && !t.has(parts, l.SKU) {
				t.refuse(l.SKU, "requires: %s, which is in this kit, requires %s itself", sku, l.SKU)
			}
		}
	}
}

// has reports whether parts meet a requirement of a SKU.
func (t *swap) has(parts map[string]*catalog.Part, sku string) bool {
	p, err := t.s.Catalog.Part(sku)
	return err == nil && slices.ContainsFunc(t.s.Catalog.Replacements(p), func(r *catalog.Part) bool { return parts[r.SKU] != nil })
}

// matches holds each part against what the rules ask of every need of its line.
func (t *swap) matches() error {
	j, err := t.s.read(&t.question)
	if err != nil {
		return err
	}
	defer j.release()
	if err := j.demand(); err != nil {
		return err
	}
	parts := t.parts(t.instead)
	for _, l := range t.lines() {
		for _, need := range l.Fills {
			for _, fail := range j.fails(need, parts[t.instead[l.SKU]].Form) {
				t.refuse(l.SKU, "%s: %s", need, fail)
			}
		}
	}
	return nil
}

// fails is what a form lacks for a need; of several sizes of one need for that which it
// comes nearest to.
func (j *job) fails(need string, f *catalog.Form) (least []string) {
	first := true
	for _, d := range j.demands {
		if d.need != need {
			continue
		}
		var fails []string
		for _, m := range d.matches {
			fails = append(fails, m.Fails(f)...)
		}
		if first || len(fails) < len(least) {
			first, least = false, fails
		}
	}
	return least
}

// parts are those of the kit by SKU, bundles unpacked, and those in the box and on the
// shelf, as far as the catalogue still has them.
func (t *swap) parts(instead map[string]string) map[string]*catalog.Part {
	found := map[string]*catalog.Part{}
	add := func(sku string) {
		if p, err := t.s.Catalog.Part(sku); err == nil {
			found[sku] = p
		}
	}
	for _, l := range t.kit.Lines {
		if with := instead[l.SKU]; with != "" {
			add(with)
			continue
		}
		add(l.SKU)
		for _, content := range l.Contents {
			add(content.SKU)
		}
	}
	for _, in := range t.kit.Carburetor.InBox {
		add(in.SKU)
	}
	for _, h := range t.question.OnHand {
		add(h.SKU)
	}
	return found
}

// joins compares the kit that has the substitutes with the one that has not.
func (t *swap) joins(ctx context.Context) error {
	was, err := t.resolve(ctx, nil)
	if err != nil {
		return err
	}
	is, err := t.resolve(ctx, t.instead)
	if err != nil {
		return err
	}
	before := byID(was.Needs, func(n *Need) string { return n.ID })
	for _, l := range t.lines() {
		for _, m := range is.Missing {
			n := byID(is.Needs, func(n *Need) string { return n.ID })[m.Need]
			lost := before[m.Need] == nil || before[m.Need].Status != NotThere
			if n.Status == NotThere && (lost || slices.Contains(l.Fills, m.Need)) {
				t.refuse(l.SKU, "%s would be missing: %s", m.Need, strings.ReplaceAll(m.Reason, " in the catalogue", " in this kit"))
			}
		}
		for _, c := range is.Checks {
			if i := slices.IndexFunc(was.Checks, func(o Check) bool { return o.ID == c.ID }); i >= 0 && outcomeRank[c.Outcome] > outcomeRank[was.Checks[i].Outcome] {
				t.refuse(l.SKU, "%s: %s", c.ID, c.Text)
			}
		}
		with := t.instead[l.SKU]
		if need, may := t.packs(was, is, with); need > may && len(t.reasons[l.SKU]) == 0 {
			t.refuse(l.SKU, "quantity: %d of it would be needed, the line has %d", need, may)
		}
		used := slices.ContainsFunc(is.Lines, func(o Line) bool { return o.SKU == with }) || t.had(with)
		if !used && len(t.reasons[l.SKU]) == 0 {
			t.refuse(l.SKU, "%s: it joins nothing in this kit", strings.Join(l.Fills, ", "))
		}
	}
	return nil
}

// packs are how many packs of a substitute the kit takes, and how many it may: as many as the
// lines that it stands in for have, and as those of others that it leaves unused.
func (t *swap) packs(was, is *Kit, with string) (need, may int) {
	left := byID(is.Lines, func(l *Line) string { return l.SKU })
	if l := left[with]; l != nil {
		need = l.Quantity
	}
	for _, l := range t.kit.Lines {
		if t.instead[l.SKU] == with || l.SKU == with {
			may += l.Quantity
		}
	}
	for _, l := range was.Lines {
		switch o := left[l.SKU]; {
		case t.instead[l.SKU] == with || l.SKU == with:
		case o == nil:
			may += l.Quantity
		default:
			may += max(0, l.Quantity-o.Quantity)
		}
	}
	return need, may
}

var outcomeRank = map[Outcome]int{Info: 0, Pass: 0, Warn: 1, Fail: 2}

// had reports whether a SKU is in the box or on the shelf, so that no line shows it.
func (t *swap) had(sku string) bool {
	return slices.ContainsFunc(t.kit.Carburetor.InBox, func(in catalog.InBox) bool { return in.SKU == sku }) ||
		slices.ContainsFunc(t.question.OnHand, func(h OnHand) bool { return h.SKU == sku })
}

// resolve answers the question from the parts of the kit alone. Substitutes cost next to
// nothing, so that they are taken wherever they can be.
func (t *swap) resolve(ctx context.Context, instead map[string]string) (*Kit, error) {
	carburetor := *t.kit.Carburetor
	if today, err := t.s.Catalog.Carburetor(carburetor.SKU); err == nil {
		carburetor = *today
	}
	d := &catalog.Data{Revision: t.s.Catalog.Revision, Currency: t.s.Catalog.Currency, Locations: t.s.Catalog.Locations}
	parts := t.parts(instead)
	d.Carburetors = []*catalog.Carburetor{&carburetor}
	for sku, p := range parts {
		price := units.Money{AmountMinor: 100_000, Currency: d.Currency}
		for _, with := range instead {
			if with == sku {
				price.AmountMinor = 1
			}
		}
		d.Parts = append(d.Parts, &catalog.Part{
			Offer: catalog.Offer{SKU: sku, Name: p.Name, Finish: p.Finish, PackQuantity: p.PackQuantity, Price: price},
			Form:  &catalog.Form{Kind: p.Kind, Attributes: p.Attributes, Ends: p.Ends, LengthIn: p.LengthIn, HeightIn: p.HeightIn},
		})
	}
	cat, err := catalog.NewSnapshot(d)
	if err != nil {
		return nil, err
	}
	shop := NewSnapshot(cat, t.s.Rules)
	shop.wireGauges = t.s.wireGauges // the rules ask for the thinnest that is made, not for the thinnest of this kit
	return Resolve(ctx, shop, &t.question)
}
