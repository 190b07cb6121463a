//go:build !race

package kit_test

import (
	"fmt"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"onetrip/internal/catalog"
	"onetrip/internal/fit"
	"onetrip/internal/kit"
	"onetrip/internal/kit/kittest"
)

// Among many offers of every height, length, finish, pack, price and stock the layers listed
// are enough: the stacks are those found when every part is looked at.
func TestLayersLeaveNoStackOut(t *testing.T) {
	t.Parallel()
	demo := demoSnapshot(t)
	like := map[catalog.Kind][]*catalog.Part{}
	kinds := []catalog.Kind{"adapter_plate", "base_gasket", "spacer", "stud_set", "neck_adapter", "cleaner_gasket", "low_profile_cleaner"}
	for _, p := range demo.Catalog.Parts() {
		if slices.Contains(kinds, p.Kind) {
			like[p.Kind] = append(like[p.Kind], p)
		}
	}
	stacked, several := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		data := kittest.Data(t)
		serial := 0
		for _, kind := range kinds {
			prices := rapid.SampledFrom([]int64{5, 40, 400}).Draw(t, "prices") // few make many ties
			for range rapid.IntRange(0, 60).Draw(t, string(kind)) {
				from := rapid.SampledFrom(like[kind]).Draw(t, "like")
				form := *from.Form
				form.HeightIn *= float64(rapid.IntRange(2, 8).Draw(t, "height")) / 5
				form.LengthIn *= float64(rapid.IntRange(3, 8).Draw(t, "length")) / 5
				p := &catalog.Part{Offer: from.Offer, Form: &form}
				serial++
				p.SKU, p.GTIN, p.Discontinued = fmt.Sprintf("%s-%04d", rapid.SampledFrom([]string{"AAP", "ZZP"}).Draw(t, "brand"), serial), "", false
				p.Finish = oneOf(t, "finish", catalog.FinishPlain, catalog.FinishBright)
				p.PackQuantity = rapid.IntRange(1, 4).Draw(t, "pack")
				p.Price.AmountMinor = p.Price.AmountMinor*2/3 + rapid.Int64Range(0, prices).Draw(t, "price")
				data.Parts = append(data.Parts, p)
				for _, l := range data.Locations {
					if n := rapid.IntRange(-3, 3).Draw(t, "on hand"); n > 0 {
						data.Stock = append(data.Stock, catalog.Stock{SKU: p.SKU, Location: l.ID, OnHand: n})
					}
				}
			}
		}
		s := kittest.Open(t, data)
		for range 40 {
			found, all, gaps, err := kit.Stacks(t.Context(), s, anyRequest(t, s))
			if err != nil {
				t.Fatal(err)
			}
			if got, want := stackTexts(found, gaps[0]), stackTexts(all, gaps[1]); !slices.Equal(got, want) {
				t.Fatalf("stacks %q\nwith every part looked at %q", got, want)
			}
			if len(found) > 0 {
				stacked++
			}
			if len(found) > 1 {
				several++
			}
		}
	})
	if stacked == 0 || several == 0 {
		t.Errorf("%d drawn requests had a stack, %d several: the test shows too little", stacked, several)
	}
}

func stackTexts(options []fit.StackOption, gap *fit.Gap) []string {
	if gap != nil {
		return []string{gap.Need + ": " + gap.Text}
	}
	var out []string
	for i := range options {
		o := &options[i]
		text := fmt.Sprintf("%d to %d:", o.Floor, o.Cost)
		for _, u := range o.Uses {
			if u.Part != nil {
				text += fmt.Sprintf(" %d %s", u.Units, u.Part.SKU)
			}
		}
		out = append(out, text)
	}
	return out
}
