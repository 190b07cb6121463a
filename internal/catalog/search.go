package catalog

import (
	"cmp"
	"iter"
	"slices"
	"sort"
	"strings"
)

// partTexts are SKU and name of every part in lower case, one after another, each behind a
// line end, which no word of a search has: so one pass over all of them finds a word.
type partTexts struct {
	all  string
	ends []int // of each part's, by its index
}

func textsOf(parts []*Part) *partTexts {
	t := &partTexts{ends: make([]int, len(parts))}
	size := 0
	for _, p := range parts {
		size += len("\n") + len(p.SKU) + len("\n") + len(p.Name)
	}
	var b strings.Builder
	b.Grow(size)
	for i, p := range parts {
		for _, text := range [...]string{p.SKU, p.Name} {
			b.WriteByte('\n')
			b.WriteString(strings.ToLower(text))
		}
		t.ends[i] = b.Len()
	}
	t.all = b.String()
	return t
}

// SearchParts yields the parts, of Parts from an index on, in whose SKU or name every word
// occurs, in either case. Words have no white space. The texts that are searched are made
// for the first who asks.
func (s *Snapshot) SearchParts(words []string, from int) iter.Seq[*Part] {
	lower := make([]string, len(words))
	for i, w := range words {
		lower[i] = strings.ToLower(w)
	}
	longest := "\n" // every part has it
	if len(lower) > 0 {
		longest = slices.MaxFunc(lower, func(a, b string) int { return cmp.Compare(len(a), len(b)) })
	}
	return func(yield func(*Part) bool) {
		t := s.texts()
		for at := from; at < len(s.parts); at++ {
			begin := 0
			if at > 0 {
				begin = t.ends[at-1]
			}
			found := strings.Index(t.all[begin:], longest)
			if found < 0 {
				return
			}
			if end := begin + found; end >= t.ends[at] { // in the text of a later part
				at += sort.SearchInts(t.ends[at:], end+1)
				begin = t.ends[at-1]
			}
			text := t.all[begin:t.ends[at]]
			if !slices.ContainsFunc(lower, func(w string) bool { return !strings.Contains(text, w) }) && !yield(s.parts[at]) {
				return
			}
		}
	}
}
