package main

import (
	"encoding/json"
	"os"
	"strings"
	"testing"
	"unicode/utf8"

	"onetrip/internal/golden"
	"onetrip/internal/kit"
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
