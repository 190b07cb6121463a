package kit_test

import (
	"slices"
	"testing"

	"onetrip/internal/kit"
)

// A substitute's line has as many packs as the one that it stands in for, today's price and
// stock; one that has left the catalogue has neither.
func TestSubstitutesAtTheCounter(t *testing.T) {
	s := demoSnapshot(t)
	k := mustResolve(t, s, &kit.Request{Vehicle: usual(), CarburetorSKU: manualChoke, Preferences: kit.Preferences{Location: s.Catalog.Locations[1].ID}})
	k.Lines[0].Quantity = 3
	with := s.Catalog.Forms("fuel_hose")[0].Parts()[0]
	sv := &kit.Saved{Marks: map[string]kit.Mark{
		k.Lines[0].SKU: {Mark: kit.LineSubstituted, Substitute: with.SKU},
		k.Lines[1].SKU: {Mark: kit.LineSubstituted, Substitute: "GONE-1"},
		k.Lines[2].SKU: {Mark: kit.LineDeclined},
		k.Lines[3].SKU: {Mark: kit.LinePicked},
	}}
	lines := sv.AtTheCounter(s, k)
	if len(lines) != len(k.Lines) {
		t.Fatalf("%d lines of %d", len(lines), len(k.Lines))
	}
	first, gone := lines[0], lines[1]
	if first.SKU != with.SKU || first.InPlaceOf != k.Lines[0].SKU || first.Quantity != 3 || first.Amount != with.Price.Times(3) ||
		first.Stock.OnHand != s.Catalog.OnHand(&with.Offer, 1) || first.Stock.Location != s.Catalog.Locations[1].ID || !slices.Equal(first.Fills, k.Lines[0].Fills) {
		t.Errorf("%+v stands in for %+v", first, k.Lines[0])
	}
	if gone.SKU != "GONE-1" || gone.Name != "" || gone.UnitPrice.Currency != "" || gone.Quantity != k.Lines[1].Quantity {
		t.Errorf("what has left the catalogue is %+v", gone)
	}
	want := k.Totals.All.AmountMinor + first.Amount.AmountMinor
	for _, l := range k.Lines[:3] {
		want -= l.Amount.AmountMinor
	}
	k.Lines[0].UnitPrice.Currency = "EUR"
	if foreign := sv.AtTheCounter(s, k)[0]; foreign.UnitPrice.Currency != "" || foreign.Amount.AmountMinor != 0 {
		t.Errorf("a price of another currency is %+v", foreign)
	}
	if got := k.TotalsAfter(lines); got.All.AmountMinor != want || got.Required.Plus(got.Recommended).Plus(got.Optional) != got.All {
		t.Errorf("totals are %v, want %d together", got, want)
	}
}
