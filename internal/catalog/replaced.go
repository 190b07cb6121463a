package catalog

import (
	"fmt"
	"maps"
	"slices"
	"strings"
)

// Ring is SKUs of which each is replaced by the next and the last by the first: no one would
// ever learn what takes their place.
type Ring []string

// Rings finds every ring of two or more among articles, by what replaces each.
func Rings(replacedBy map[string]string) []Ring {
	var rings []Ring
	walk := map[string]string{} // of a SKU that was passed, the one the walk began with
	for _, start := range slices.Sorted(maps.Keys(replacedBy)) {
		sku := start
		for walk[sku] == "" && replacedBy[sku] != "" {
			walk[sku], sku = start, replacedBy[sku]
		}
		if walk[sku] != start || replacedBy[sku] == sku { // one that replaces itself is refused by Validate
			continue
		}
		ring := Ring{sku}
		for next := replacedBy[sku]; next != sku; next = replacedBy[next] {
			ring = append(ring, next)
		}
		rings = append(rings, ring)
	}
	return rings
}

// String says what is wrong, and how to mend it. Of a long ring it names the first.
func (r Ring) String() string {
	names, more := r, ""
	if n := len(r) - 6; n > 0 {
		names, more = r[:6], fmt.Sprintf(" -> %d more", n)
	}
	return fmt.Sprintf("goes in a ring, %s%s -> %s; let one of these be replaced by something else, or by nothing", strings.Join(names, " -> "), more, r[0])
}
