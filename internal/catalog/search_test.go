package catalog

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"onetrip/internal/units"
)

// A search finds what looking at every part finds, in order, from any part on.
func TestPropertySearchFindsWhatLookingAtAllFinds(t *testing.T) {
	found := 0
	rapid.Check(t, func(t *rapid.T) {
		syllable := rapid.SampledFrom([]string{"a", "A", "ab", "Ba", "é", "É", "ß", "3/8", "-", " ", "\n", "語", "\xff", "İ", "K"})
		text := rapid.Map(rapid.SliceOfN(syllable, 0, 6), func(s []string) string { return strings.Join(s, "") })
		d := &Data{Currency: "USD"}
		for i, name := range rapid.SliceOfN(text, 0, 8).Draw(t, "names") {
			d.Parts = append(d.Parts, &Part{Form: &Form{Kind: "fender_cover"},
				Offer: Offer{SKU: fmt.Sprintf("%s-%d", rapid.SampledFrom([]string{"AB", "ba", "É"}).Draw(t, "sku"), i), Name: name, Price: units.Money{AmountMinor: 1, Currency: "USD"}}})
		}
		s, err := NewSnapshot(d)
		if err != nil {
			t.Fatal(err)
		}
		words := strings.Fields(strings.Join(rapid.SliceOfN(text, 0, 3).Draw(t, "words"), " "))
		from := rapid.IntRange(0, len(d.Parts)).Draw(t, "from")
		var want []*Part
		for _, p := range s.Parts()[from:] {
			if !slices.ContainsFunc(words, func(w string) bool {
				w = strings.ToLower(w)
				return !strings.Contains(strings.ToLower(p.SKU), w) && !strings.Contains(strings.ToLower(p.Name), w)
			}) {
				want = append(want, p)
			}
		}
		if got := slices.Collect(s.SearchParts(words, from)); !slices.Equal(got, want) {
			t.Fatalf("%d found, %d wanted", len(got), len(want))
		}
		for p := range s.SearchParts(words, from) { // which may stop
			if p != want[0] {
				t.Fatalf("%s is not the first", p.SKU)
			}
			found++
			break
		}
	})
	if found == 0 {
		t.Error("nothing was ever found")
	}
}
