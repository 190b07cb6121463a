//go:build !race

package kit_test

import (
	"encoding/json"
	"testing"

	"onetrip/internal/catalog"
	"onetrip/internal/kit"
	"onetrip/internal/rules"
)

// Not under the race detector, which has the same sweeps to watch elsewhere.

// A part made to measure passes every test of its gap, also after it was kept as JSON,
// and is made wherever attributes alone decide.
func TestMadeToMeasurePassesEveryTest(t *testing.T) {
	t.Parallel()
	s := demoSnapshot(t)
	made, kinds := 0, map[catalog.Kind]bool{}
	_, err := kit.Sweep(t.Context(), s, kit.SweepQuery{}, func(_ *kit.Class, _ *catalog.Carburetor, k *kit.Summary) error {
		for i := range k.Gaps {
			g := &k.Gaps[i]
			part := s.MadeToMeasure(g)
			if part == nil {
				if g.Cause == kit.NothingMatches && g.Need == "throttle.end" {
					t.Errorf("nothing is made for %s", g.Wanted())
				}
				continue
			}
			made++
			kinds[part.Kind] = true
			text, err := json.Marshal(part)
			if err != nil {
				return err
			}
			var read catalog.Part
			if err := json.Unmarshal(text, &read); err != nil {
				return err
			}
			for n := range g.Tests {
				if !g.Tests[n].Accepts(part.Form) || !g.Tests[n].Accepts(read.Form) {
					t.Errorf("%s is made for %s and fails %s %s", part.Form.Key(), g.Wanted(), g.Tests[n].Attr, g.Tests[n].Wanted())
				}
			}
			if read.Form.Key() != part.Form.Key() {
				t.Errorf("%s is read as %s", part.Form.Key(), read.Form.Key())
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if made < 50 || len(kinds) < 4 {
		t.Errorf("only %d parts of %d kinds were made", made, len(kinds))
	}
}

func TestMadeToMeasureOfTestsThatContradictIsNothing(t *testing.T) {
	s := demoSnapshot(t)
	long := func(op rules.Op, in float64) rules.Test {
		return rules.Test{Attr: "length_in", Type: catalog.AttrNumber, Op: op, Value: catalog.Value{Num: in}}
	}
	g := &kit.Gap{Need: "air.stud", Kind: "cleaner_stud", Cause: kit.NothingMatches, Tests: []rules.Test{long(rules.AtLeast, 5), long(rules.AtMost, 4)}}
	if part := s.MadeToMeasure(g); part != nil {
		t.Errorf("made %s", part.Form.Key())
	}
	g.Tests = []rules.Test{long(rules.AtMost, 6), long(rules.AtLeast, 3), long(rules.AtLeast, 5)}
	if part := s.MadeToMeasure(g); part == nil || part.LengthIn != 5 {
		t.Errorf("made %+v, want 5 in long", part)
	}
	g.Cause = kit.NoPort
	if part := s.MadeToMeasure(g); part != nil {
		t.Errorf("made %s where no part helps", part.Form.Key())
	}
}
