//go:build !race

package coverage_test

import (
	"slices"
	"testing"

	"onetrip/internal/coverage"
	"onetrip/internal/kit"
	"onetrip/internal/kit/kittest"
)

// The README tells these figures of the demo catalogue.
func TestFiguresOfTheReadme(t *testing.T) {
	a := report(t, kittest.Demo(t), coverage.Question{Basis: kit.InStock, Location: "tarnsley"}, 2)
	v, next := a.Verdicts, a.StockNext
	got := []int{v.Complete.Kits + v.CompleteWithWarnings.Kits, v.All.Kits, v.Incomplete.Kits, v.OutOfStock.Kits, len(next.BestSet), next.Completes.Kits, int(next.AtMost)}
	if want := []int{613, 2254, 715, 189, 3, 125, 131}; !slices.Equal(got, want) {
		t.Errorf("figures %v, the README has %v", got, want)
	}
}
