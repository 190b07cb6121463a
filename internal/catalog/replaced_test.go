package catalog_test

import (
	"fmt"
	"slices"
	"testing"

	"onetrip/internal/catalog"
)

func TestRings(t *testing.T) {
	long := map[string]string{}
	for i := range 10 {
		long[fmt.Sprint("P-", i)] = fmt.Sprint("P-", (i+1)%10)
	}
	const mend = "; let one of these be replaced by something else, or by nothing"
	for name, c := range map[string]struct {
		replacedBy map[string]string
		want       []string
	}{
		"nothing":                {nil, nil},
		"a chain":                {map[string]string{"A": "B", "B": "C"}, nil},
		"a chain, no longer":     {map[string]string{"A": "B", "B": ""}, nil},
		"two by one":             {map[string]string{"A": "C", "B": "C", "C": "D"}, nil},
		"by itself":              {map[string]string{"A": "A", "B": "A"}, nil},
		"two":                    {map[string]string{"A": "B", "B": "A"}, []string{"A -> B -> A"}},
		"a chain into a ring":    {map[string]string{"A": "D", "B": "C", "C": "D", "D": "B"}, []string{"D -> B -> C -> D"}},
		"two rings":              {map[string]string{"A": "C", "B": "D", "C": "A", "D": "B"}, []string{"A -> C -> A", "B -> D -> B"}},
		"a ring of many is told": {long, []string{"P-0 -> P-1 -> P-2 -> P-3 -> P-4 -> P-5 -> 4 more -> P-0"}},
	} {
		var got []string
		for _, ring := range catalog.Rings(c.replacedBy) {
			got = append(got, ring.String())
		}
		for i := range c.want {
			c.want[i] = "goes in a ring, " + c.want[i] + mend
		}
		if !slices.Equal(got, c.want) {
			t.Errorf("%s: got %q, want %q", name, got, c.want)
		}
	}
}
