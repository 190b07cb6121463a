package kit

import (
	"context"
	"math"
	"slices"
	"strings"

	"onetrip/internal/catalog"
	"onetrip/internal/rules"
	"onetrip/internal/units"
)

// reelIn is the length of hose or wire made to measure: longer than any run in an
// engine bay.
const reelIn = 1200

// MadeToMeasure is a part that is exactly what a gap asks for: equal where a test asks
// for a value, at the bound where one asks for at least or at most, the first of a list.
// Nil when a part is more than attributes (in the fuel path and the stack ends and
// heights decide too), when no part helps, or when the tests contradict each other. It
// is for trying with WithParts and has no price.
func (s *Snapshot) MadeToMeasure(g *Gap) *catalog.Part {
	if g.Cause != NothingMatches || slices.Contains(pathNeeds, g.Need) || slices.Contains(stackNeeds, g.Need) {
		return nil
	}
	spec, _ := g.Kind.Spec()
	f := &catalog.Form{Kind: g.Kind}
	if spec.ByLength {
		f.LengthIn = reelIn
	}
	for _, a := range spec.Attrs {
		if v, asked := measure(g.Tests, a); asked {
			f.Attributes = append(f.Attributes, catalog.Attr{Name: a.Name, Type: a.Type, Value: v})
		}
	}
	if v, asked := measure(g.Tests, catalog.AttrSpec{Name: "length_in", Type: catalog.AttrNumber}); asked {
		f.LengthIn = max(f.LengthIn, v.Num)
	}
	if v, asked := measure(g.Tests, catalog.AttrSpec{Name: "height_in", Type: catalog.AttrNumber}); asked {
		f.HeightIn = v.Num
	}
	if slices.ContainsFunc(g.Tests, func(t rules.Test) bool { return !t.Accepts(f) }) {
		return nil
	}
	return &catalog.Part{Form: f, Offer: catalog.Offer{
		SKU: f.Key(), Name: spec.Title + ", made to measure", Finish: catalog.FinishPlain, PackQuantity: 1, Price: units.Money{Currency: s.Catalog.Currency}}}
}

// measure is the value of an attribute that passes the strictest test of it, if there is
// any test.
func measure(tests []rules.Test, a catalog.AttrSpec) (v catalog.Value, asked bool) {
	rank := math.MaxInt
	for i := range tests {
		t := &tests[i]
		r := slices.Index([]rules.Op{rules.Equal, rules.AtLeast, rules.AtMost, rules.OneOf}, t.Op)
		if t.Attr != a.Name || r > rank || r == rank && t.Value.Num <= v.Num {
			continue
		}
		rank, asked, v = r, true, t.Value
		text := t.Wanted()
		if t.Op == rules.OneOf {
			v, text = t.Values[0], strings.Split(text, " or ")[0]
		}
		text = strings.TrimPrefix(strings.TrimPrefix(text, "at least "), "at most ")
		if read, err := a.ParseValue(text); err == nil { // tests hold only the half that is compared
			if a.Type == catalog.AttrNumber {
				read.Num = v.Num // the text is rounded
			}
			v = read
		}
	}
	return v, asked
}

// Suffices reports whether what is on sale covers all that a swap requires, on a snapshot
// WithPlenty of stock.
func (s *Snapshot) Suffices(ctx context.Context, v *catalog.Vehicle, carburetorSKU string) (bool, error) {
	j, sel, err := s.restocked(ctx, &Request{Vehicle: v, CarburetorSKU: carburetorSKU, Preferences: Preferences{Levels: []Level{Required}}}, nil)
	if err != nil {
		return false, err
	}
	defer j.release()
	return j.onSale(sel) && len(j.short(sel)) == 0, nil
}
