package rules

import (
	"fmt"
	"slices"
	"strings"
)

// Error is one thing wrong in a rule file: where, and how to mend it. Lines and
// columns count from 1, columns in characters.
type Error struct {
	File   string `json:"file"`
	Line   int    `json:"line"`
	Column int    `json:"column"`
	Detail string `json:"detail"`
}

func (e *Error) Error() string {
	return fmt.Sprintf("%s:%d:%d: %s", e.File, e.Line, e.Column, e.Detail)
}

// Errors is all that is wrong in a set of rule files, in the order of the files.
type Errors []*Error

func (list Errors) Error() string {
	lines := make([]string, len(list))
	for i, e := range list {
		lines[i] = e.Error()
	}
	return strings.Join(lines, "\n")
}

func (list Errors) sorted() Errors {
	slices.SortStableFunc(list, func(a, b *Error) int {
		if c := strings.Compare(a.File, b.File); c != 0 {
			return c
		}
		if a.Line != b.Line {
			return a.Line - b.Line
		}
		return a.Column - b.Column
	})
	return list
}

// suggest ends the report of an unknown name: the nearest known one, or all of
// them when none comes near and they are few.
func suggest(name string, known []string) string {
	near := didYouMean(name, known)
	if near == "" && len(known) <= 16 {
		return "; known: " + strings.Join(slices.Sorted(slices.Values(known)), ", ")
	}
	return near
}

// didYouMean names the known name that is nearest, when one comes near.
func didYouMean(name string, known []string) string {
	best, bestDistance := "", len(name)/3+2
	for _, k := range known {
		d := distance(name, k)
		if name != "" && strings.HasPrefix(k, name) { // cut short
			d = min(d, 1)
		}
		if d < bestDistance || d == bestDistance && best != "" && k < best {
			best, bestDistance = k, d
		}
	}
	if best == "" {
		return ""
	}
	return fmt.Sprintf("; did you mean %s?", best)
}

// distance is the number of single-character edits between two names
// (Levenshtein), where a swap of neighbours counts as one.
func distance(a, b string) int {
	before, last, now := make([]int, len(b)+1), make([]int, len(b)+1), make([]int, len(b)+1)
	for j := range last {
		last[j] = j
	}
	for i := 1; i <= len(a); i++ {
		now[0] = i
		for j := 1; j <= len(b); j++ {
			change := 1
			if a[i-1] == b[j-1] {
				change = 0
			}
			now[j] = min(last[j]+1, now[j-1]+1, last[j-1]+change)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				now[j] = min(now[j], before[j-2]+1)
			}
		}
		before, last, now = last, now, before
	}
	return last[len(b)]
}
