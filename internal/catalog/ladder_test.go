package catalog

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// drawOffers draws offers of low-profile air cleaners, of some of which the flow is not
// stated.
func drawOffers(t *rapid.T) *Snapshot {
	d := &Data{Currency: "USD"}
	for i := range rapid.IntRange(1, 60).Draw(t, "offers") {
		f := &Form{Kind: "low_profile_cleaner", HeightIn: float64(rapid.IntRange(1, 8).Draw(t, "height")) / 4}
		f.Attributes = append(f.Attributes, Attr{"neck_in", AttrNumber, Value{Num: float64(rapid.IntRange(4, 5).Draw(t, "neck"))}})
		if flow := rapid.IntRange(0, 6).Draw(t, "flow"); flow > 0 {
			f.Attributes = append(f.Attributes, Attr{"flow_cfm", AttrNumber, Value{Num: float64(100 * flow)}})
		}
		o := Offer{SKU: fmt.Sprintf("%c-%02d", 'A'+rapid.IntRange(0, 3).Draw(t, "brand"), i), Finish: FinishPlain, PackQuantity: rapid.IntRange(1, 5).Draw(t, "pack")}
		o.Price.AmountMinor, o.Price.Currency = rapid.Int64Range(1, 30).Draw(t, "price"), d.Currency
		o.Discontinued = rapid.IntRange(0, 9).Draw(t, "discontinued") == 9
		d.Parts = append(d.Parts, &Part{Offer: o, Form: f})
	}
	s, err := NewSnapshot(d)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestLaddersLeadOverWhatIsNoBetter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := drawOffers(t)
		by := Laddering{Least: "flow_cfm", Packs: rapid.Bool().Draw(t, "packs")}
		var listed []*Part
		for _, l := range s.Index("low_profile_cleaner", nil, by).Lookup(nil).Ladders {
			for i, r := range l.Rungs {
				listed = append(listed, r.Part)
				if by.Packs && min(r.Part.PackQuantity, LadderPack) != l.Pack || !by.Packs && l.Pack != 0 {
					t.Fatalf("a pack of %d on the ladder of %d", r.Part.PackQuantity, l.Pack)
				}
				if flow, stated := r.Part.Attr("flow_cfm"); stated && r.Has != flow.Value.Num || !stated && !math.IsInf(r.Has, -1) {
					t.Fatalf("%s has %g: %+v", r.Part.SKU, r.Has, flow)
				}
				first := func(what string, got int32, better func(o *Rung) bool) {
					want := slices.IndexFunc(l.Rungs[i+1:], func(o Rung) bool { return better(&o) })
					if want < 0 {
						want = len(l.Rungs) - i - 1
					}
					if int(got) != i+1+want {
						t.Fatalf("from rung %d %s is %d, not %d of %+v", i, what, got, i+1+want, l.Rungs)
					}
				}
				first("the next", r.Next, func(o *Rung) bool {
					return cmp.Or(cmp.Compare(o.Part.Price.AmountMinor, r.Part.Price.AmountMinor), strings.Compare(o.Part.SKU, r.Part.SKU)) < 0
				})
				first("more", r.More, func(o *Rung) bool { return o.Has > r.Has })
				first("past", r.Past, func(o *Rung) bool { return o.Part.Form != r.Part.Form })
				if i > 0 && l.Rungs[i-1].Part.HeightIn > r.Part.HeightIn {
					t.Fatalf("rung %d is lower than the one before: %+v", i, l.Rungs)
				}
			}
			least := float64(rapid.IntRange(0, 7).Draw(t, "least")) * 100
			want := slices.IndexFunc(l.Rungs, func(r Rung) bool { return r.Has >= least })
			if want < 0 {
				want = len(l.Rungs)
			}
			if got := l.From(least); got != want {
				t.Fatalf("from %g on: rung %d, not %d of %+v", least, got, want, l.Rungs)
			}
		}
		slices.SortFunc(listed, func(a, b *Part) int { return strings.Compare(a.SKU, b.SKU) })
		sold := slices.DeleteFunc(slices.Clone(s.Parts()), func(p *Part) bool { return p.Discontinued })
		if !slices.Equal(listed, sold) {
			t.Fatalf("%d of %d parts are on ladders", len(listed), len(sold))
		}
	})
}

func TestRowsLeadToWhatHasMore(t *testing.T) {
	asGood := func(f, as *Form) bool {
		flow, _ := f.Attr("flow_cfm")
		wanted, stated := as.Attr("flow_cfm")
		return !stated || flow.Value.Num >= wanted.Value.Num
	}
	rapid.Check(t, func(t *rapid.T) {
		b := drawOffers(t).Index("low_profile_cleaner", nil, Laddering{AsGood: asGood}).Lookup(nil)
		for _, r := range b.Rows {
			for i := range r.Parts {
				want := i + 1
				for want < len(r.Parts) && slices.ContainsFunc(r.Parts[:want], func(p RowPart) bool { return asGood(p.Form, r.Parts[want].Form) }) {
					want++
				}
				if got := int(r.Parts[i].More); got != want {
					t.Fatalf("from part %d more is %d, not %d of %+v", i, got, want, r.Parts)
				}
			}
		}
	})
}

func TestIndexFindsWhatStatesTheValues(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := drawOffers(t)
		ix := s.Index("low_profile_cleaner", []string{"neck_in", "flow_cfm"}, Laddering{})
		for _, neck := range []float64{4, 5} {
			for flow := 0.0; flow <= 700; flow += 100 {
				var want []*Form
				for _, f := range s.Forms("low_profile_cleaner") {
					if a, stated := f.Attr("flow_cfm"); stated && a.Value.Num == flow && f.Num("neck_in") == neck {
						want = append(want, f)
					}
				}
				if got := ix.Lookup([]Value{{Num: neck}, {Num: flow}}).Forms; !slices.Equal(got, want) {
					t.Fatalf("neck %g, flow %g: %d forms, not %d", neck, flow, len(got), len(want))
				}
			}
		}
	})
}
