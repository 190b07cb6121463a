package catalog

import (
	"cmp"
	"slices"
	"strings"
)

// Near returns at most max of among that word may have been meant for, likeliest
// first: within three edits, fewer for short words, or the word is the beginning of
// it. An edit is a letter lost, added or replaced, or two neighbours exchanged; case
// is ignored.
func Near(word string, among []string, max int) []string {
	type candidate struct {
		text  string
		edits int
	}
	lower := strings.ToLower(word)
	if lower == "" || len(lower) > maxNear {
		return nil
	}
	limit := min(3, (len(lower)+1)/3)
	var found []candidate
	for _, text := range among {
		t := strings.ToLower(text)
		edits := distance(lower, t, limit)
		if edits > limit && len(lower) >= 2 && strings.HasPrefix(t, lower) {
			edits = limit + 1 // a beginning comes after slips of the pen
		} else if edits > limit {
			continue
		}
		found = append(found, candidate{text, edits})
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

// maxNear is the longest word that is looked at; no name of ours is that long.
const maxNear = 60

// distance is the number of edits from a to b by the recurrence of Damerau and
// Levenshtein in which no piece is edited twice (optimal string alignment), limit+1
// as soon as it must be above limit. Bytes are compared: our names are ASCII. (The
// ready-made agext/levenshtein 1.2.3 gave distances too small under a limit: 3 for
// kickdown_rod and vacuum_mdulator.)
func distance(a, b string, limit int) int {
	if d := len(a) - len(b); d > limit || -d > limit || len(b) > maxNear+3 {
		return limit + 1
	}
	var rows [3][maxNear + 4]int // of the last letter but one, the last, and this
	before, last, this := &rows[0], &rows[1], &rows[2]
	for j := range len(b) + 1 {
		last[j] = j
	}
	for i := 1; i <= len(a); i++ {
		this[0] = i
		least := i
		for j := 1; j <= len(b); j++ {
			replace := last[j-1]
			if a[i-1] != b[j-1] {
				replace++
			}
			this[j] = min(replace, last[j]+1, this[j-1]+1)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				this[j] = min(this[j], before[j-2]+1)
			}
			least = min(least, this[j])
		}
		if least > limit+1 { // an exchange may still come from the row before
			return limit + 1
		}
		before, last, this = last, this, before
	}
	return last[len(b)]
}
