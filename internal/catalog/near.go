package catalog

import (
	"cmp"
	"slices"
	"strings"

	"github.com/agext/levenshtein"
)

// Near returns at most max of among that word may have been meant for, likeliest
// first: within three edits, fewer for short words, or the word is the
// beginning of it. Case is ignored.
func Near(word string, among []string, max int) []string {
	type candidate struct {
		text  string
		edits int
	}
	lower := strings.ToLower(word)
	if lower == "" || len(lower) > 200 { // no spelling of ours is that long, and the cost grows with the length
		return nil
	}
	limit := min(3, (len(lower)+1)/2)
	params := levenshtein.NewParams().MaxCost(limit)
	var found []candidate
	for _, text := range among {
		t := strings.ToLower(text)
		edits := limit + 1
		if d := len(t) - len(lower); -limit <= d && d <= limit {
			edits = levenshtein.Distance(lower, t, params)
		}
		if edits > limit && len(lower) >= 2 && strings.HasPrefix(t, lower) {
			edits = limit
		}
		if edits <= limit {
			found = append(found, candidate{text, edits})
		}
	}
	slices.SortFunc(found, func(a, b candidate) int {
		return cmp.Or(cmp.Compare(a.edits, b.edits), strings.Compare(a.text, b.text))
	})
	found = slices.CompactFunc(found, func(a, b candidate) bool { return a.text == b.text })
	var texts []string
	for _, c := range found[:min(max, len(found))] {
		texts = append(texts, c.text)
	}
	return texts
}
