package units_test

import (
	"fmt"
	"testing"

	"pgregory.net/rapid"

	"onetrip/internal/units"
)

func TestTextsSayWhatSprintfSays(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var texts units.Texts
		x, n, word := rapid.Float64().Draw(t, "x"), rapid.Int().Draw(t, "n"), rapid.String().Draw(t, "word")
		size := units.Inches(rapid.IntRange(1, 400).Draw(t, "numerator"), rapid.IntRange(1, 100).Draw(t, "denominator"))
		thread := units.Thread{Major: size, PerInch: 18, Taper: rapid.Bool().Draw(t, "taper")}
		for _, layout := range []string{"%s in %d, %g and %.0f %% of %.3f (%+.1f), %s, %s.", "%s%d%g%.0f%.3f%+.1f%s%s", "100 %%: %s %d %g %.1f %.2f %+.4f %s %s%%"} {
			got := texts.Sayf(layout, word, n, x, x, x, x, size, thread)
			if want := fmt.Sprintf(layout, word, n, x, x, x, x, size, thread); got != want {
				t.Fatalf("says %q, Sprintf %q", got, want)
			}
		}
	})
}

func TestTextsStay(t *testing.T) {
	var texts units.Texts
	var said []string
	for i := range 500 {
		said = append(said, texts.Sayf("sentence %d", i))
	}
	for i, s := range said {
		if s != fmt.Sprint("sentence ", i) {
			t.Fatalf("sentence %d has become %q", i, s)
		}
	}
}

func TestTextsRefuseWhatTheyDoNotKnow(t *testing.T) {
	for _, say := range []func(*units.Texts){
		func(t *units.Texts) { t.Sayf("%d", "word") },
		func(t *units.Texts) { t.Sayf("%s", 1) },
		func(t *units.Texts) { t.Sayf("%v", 1.5) },
		func(t *units.Texts) { t.Sayf("%g", true) },
	} {
		func() {
			defer func() {
				if recover() == nil {
					t.Error("no panic")
				}
			}()
			say(new(units.Texts))
		}()
	}
}
