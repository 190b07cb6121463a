package catalog

import (
	"maps"
	"slices"
	"strings"
	"testing"
)

// Every attribute of every kind, and length and height, is said in words, with its unit;
// nothing else is.
func TestEveryAttributeHasWords(t *testing.T) {
	unsaid := maps.Clone(sayings)
	delete(unsaid, "length_in")
	delete(unsaid, "height_in")
	types := map[string]AttrType{}
	units := map[string]string{"_in": " in", "_psi": " psi", "_gph": " gph", "_a": " A", "_amps": " A", "_cfm": " cfm", "_percent": " %", "volts": " V", "awg": " AWG"}
	for _, k := range Kinds {
		for _, a := range k.Attrs {
			delete(unsaid, a.Name)
			if was, known := types[a.Name]; known && was != a.Type {
				t.Errorf("%s is of two types: its words depend on one", a.Name)
			}
			types[a.Name] = a.Type
			values := map[AttrType][]string{AttrBool: {"true", "false"}, AttrEnum: a.Accepted}[a.Type]
			if values == nil {
				values = []string{"at least 6"}
			}
			var said []string
			for _, v := range values {
				text, known := Says(a.Name, v)
				if !known || strings.ContainsAny(text, "_%!|") && !strings.HasSuffix(a.Name, "_percent") || !strings.Contains(text, " ") || slices.Contains(said, text) {
					t.Errorf("%s %s: %q", a.Name, v, text)
				}
				if a.Type != AttrBool && !strings.Contains(text, Words(v)) {
					t.Errorf("%s %s: %q", a.Name, v, text)
				}
				for end, unit := range units {
					if a.Type != AttrBool && a.Type != AttrEnum && strings.HasSuffix(a.Name, end) && !strings.Contains(text, v+unit) {
						t.Errorf("%s without its unit: %q", a.Name, text)
					}
				}
				said = append(said, text)
			}
		}
	}
	if len(unsaid) > 0 {
		t.Errorf("no kind has %v", slices.Collect(maps.Keys(unsaid)))
	}
}

func TestSaysAll(t *testing.T) {
	for want, asked := range map[string][][2]string{
		"": nil,
		"fits a spread bore or square bore flange":                                           {{"flange", "spread_bore or square_bore"}},
		"is for the Under_score series":                                                      {{"series", "Under_score"}},
		"has a bore of 3/8 in and withstands at least 6 psi and takes at least 10 % ethanol": {{"bore_in", "3/8"}, {"max_pressure_psi", "at least 6"}, {"max_ethanol_percent", "at least 10"}},
		"has a carburetor thread of 1/4-20 and a cleaner thread of 5/16-18 and is at least 5 in long": {
			{"carburetor_thread", "1/4-20"}, {"cleaner_thread", "5/16-18"}, {"length_in", "at least 5"}},
		"needs no return line": {{"needs_return", "false"}},
		"has unheard_of 3":     {{"unheard_of", "3"}},
	} {
		if got := SaysAll(asked); got != want {
			t.Errorf("%v: %q, want %q", asked, got, want)
		}
	}
}
