package main

import (
	"encoding/json"
	"os"
	"strings"
	"testing"
	"unicode/utf8"

	"onetrip/internal/golden"
	"onetrip/internal/kit"
	"onetrip/internal/units"
)

// handmadeKit is testdata/kit.json: an invented kit with something in every section.
func handmadeKit(t *testing.T) *kit.Kit {
	t.Helper()
	text, err := os.ReadFile("testdata/kit.json")
	if err != nil {
		t.Fatal(err)
	}
	k := &kit.Kit{}
	if err := json.Unmarshal(text, k); err != nil {
		t.Fatal(err)
	}
	return k
}

func reportText(t *testing.T, k *kit.Kit, colour bool) string {
	t.Helper()
	var b strings.Builder
	if err := writeReport(&b, k, colour); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestReportOfHandmadeKitIsGolden(t *testing.T) {
	golden.Equal(t, "testdata/report.txt", []byte(reportText(t, handmadeKit(t), false)))
}

func TestReportFits80Columns(t *testing.T) {
	for line := range strings.Lines(reportText(t, handmadeKit(t), false)) {
		if n := utf8.RuneCountInString(strings.TrimSuffix(line, "\n")); n > reportWidth {
			t.Errorf("%d columns: %s", n, line)
		}
	}
}

func TestReportWithoutColourHasNoEscapes(t *testing.T) {
	if text := reportText(t, handmadeKit(t), false); strings.Contains(text, "\x1b") {
		t.Error("an escape sequence without colour")
	}
}

func TestColourChangesNoWord(t *testing.T) {
	colourless := strings.NewReplacer(bold, "", red, "", green, "", yellow, "", plain, "")
	coloured := reportText(t, handmadeKit(t), true)
	if !strings.Contains(coloured, red) {
		t.Fatal("no colour at all")
	}
	if colourless.Replace(coloured) != reportText(t, handmadeKit(t), false) {
		t.Error("the coloured report says something else than the plain one")
	}
}

func TestReportSaysWhenSelectionIsNotProven(t *testing.T) {
	k := handmadeKit(t)
	k.Proof.Optimal = false
	k.Proof.LowerBound.AmountMinor = 4000
	if text := reportText(t, k, false); !strings.Contains(text, "NOT PROVEN") || !strings.Contains(text, "40.00 USD") {
		t.Errorf("the gap is not told:\n%s", text)
	}
}

func TestReportShowsNeedsOfUnknownGroups(t *testing.T) {
	k := handmadeKit(t)
	k.Needs = append(k.Needs, kit.Need{ID: "paint.touch_up", Level: kit.Optional, Status: kit.Filled, Quantity: 1, Unit: "each"})
	if text := reportText(t, k, false); !strings.Contains(text, "paint.touch_up") {
		t.Error("a need that a new rule raised is not in the report")
	}
}

func TestWrapKeepsEveryWord(t *testing.T) {
	r := &report{}
	text := strings.Repeat("hose clamp ", 40) + strings.Repeat("x", 2*reportWidth) + " end"
	r.wrap("  - ", text)
	if got, want := strings.Fields(r.out.String()), strings.Fields("- "+text); strings.Join(got, " ") != strings.Join(want, " ") {
		t.Errorf("words differ: %q", got)
	}
}

func TestReportSaysWhatFinishCounts(t *testing.T) {
	k := handmadeKit(t)
	k.Proof.Cost.AmountMinor += 14 * kit.FinishMismatchMinor
	k.Proof.LowerBound, k.Proof.Nodes = k.Proof.Cost, 1
	text := strings.Join(strings.Fields(reportText(t, k, false)), " ")
	for _, want := range []string{"(of it 70.00 USD that nobody pays, for 14 places of parts in another finish), lower bound", "1 node searched"} {
		if !strings.Contains(text, want) {
			t.Errorf("the report does not say %q", want)
		}
	}
}

func TestReportSaysWhatIsAtHandAndInStockInstead(t *testing.T) {
	k := handmadeKit(t)
	k.Needs[0].AtHand = []kit.AtHand{{From: kit.Box, SKU: "T-G", Quantity: 1}}
	k.Needs[1].Status = kit.OutOfStock
	k.Missing = append(k.Missing, kit.Missing{Need: k.Needs[1].ID, Reason: "None."})
	k.Alternatives = []kit.Alternative{{Objective: "stock", Delta: units.Money{AmountMinor: 900, Currency: "USD"}, Changes: []kit.LineChange{
		{SKU: "T-Y", Name: "More", To: 1, Delta: units.Money{AmountMinor: 400, Currency: "USD"}},
		{SKU: "T-X", Name: "Other", To: 2, Fills: []string{k.Needs[1].ID}, Delta: units.Money{AmountMinor: 500, Currency: "USD"}},
	}}}
	text := strings.Join(strings.Fields(reportText(t, k, false)), " ")
	for _, want := range []string{"1 piece in the carburetor's box (T-G)", "in stock instead: 2 x T-X Other; with another change that goes with it +9.00 USD"} {
		if !strings.Contains(text, want) {
			t.Errorf("the report does not say %q in\n%s", want, text)
		}
	}
}
