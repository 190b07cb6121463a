package rules

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"go.yaml.in/yaml/v3"

	"onetrip/internal/catalog"
)

// maxText is the longest rule. The longest of the demo has some 2,000 bytes.
const maxText = 64 << 10

// Draft is rules being worked on: those that are published, and the changes that wait
// to be published together.
type Draft struct {
	Published []Text
	Changes   []Change // by id
}

// Change is what a rule was and became, by whom and when; a text is "" where there was
// no rule, or is none.
type Change struct {
	ID     string    `json:"id"`
	Before string    `json:"before,omitempty"`
	After  string    `json:"after,omitempty"`
	Actor  string    `json:"actor"`
	At     time.Time `json:"at"`
}

// Revision is a revision of the catalogue that changed rules.
type Revision struct {
	Revision int64     `json:"catalogue_revision"`
	Actor    string    `json:"actor"`
	At       time.Time `json:"at"`
	Summary  string    `json:"summary"`
	Added    []string  `json:"added"`
	Changed  []string  `json:"changed"`
	Deleted  []string  `json:"deleted"`
}

// HistoryEntry is one published change of one rule.
type HistoryEntry struct {
	Revision int64 `json:"catalogue_revision"`
	Change
}

// ETag identifies what the draft changes and from what.
func (d *Draft) ETag() string {
	state := make([][3]string, len(d.Changes))
	for i, c := range d.Changes {
		state[i] = [3]string{c.ID, c.Before, c.After}
	}
	return catalog.ETag(state)
}

// ETag identifies a rule's text as Normal has it; "" where there is no rule.
func ETag(text string) string {
	if text == "" {
		return ""
	}
	return catalog.ETag(text)
}

// Text is the text of a rule as Normal has it, with the changes; "" when there is none.
func (d *Draft) Text(id string) string {
	for _, c := range d.Changes {
		if c.ID == id {
			return c.After
		}
	}
	return d.PublishedText(id)
}

// PublishedText is Text without the changes.
func (d *Draft) PublishedText(id string) string {
	for _, t := range d.Published {
		if t.ID == id {
			return Normal(t.Source)
		}
	}
	return ""
}

// Texts are all rules with the changes, in the order of files. A new rule goes to the
// end of the file that the first word of its id names.
func (d *Draft) Texts() []Text {
	texts := slices.Clone(d.Published)
	for _, c := range d.Changes {
		at := slices.IndexFunc(texts, func(t Text) bool { return t.ID == c.ID })
		switch {
		case c.After == "" && at >= 0:
			texts = slices.Delete(texts, at, at+1)
		case c.After == "":
		case at >= 0 && Normal(texts[at].Source) != c.After:
			texts[at].Source = spaced(c.After, texts[at].Place)
		case at < 0:
			word, _, _ := strings.Cut(c.ID, "-")
			t := Text{ID: c.ID, File: word + ".yaml"}
			for _, other := range texts {
				if other.File == t.File {
					t.Place = max(t.Place, other.Place+1)
				}
			}
			t.Source = spaced(c.After, t.Place)
			texts = append(texts, t)
		}
	}
	return inFiles(texts)
}

// inFiles sorts texts as they stand in their files.
func inFiles(texts []Text) []Text {
	slices.SortFunc(texts, func(a, b Text) int {
		if c := strings.Compare(a.File, b.File); c != 0 {
			return c
		}
		return a.Place - b.Place
	})
	return texts
}

// spaced puts a blank line between a rule and the one before.
func spaced(text string, place int) string {
	if place == 0 {
		return text
	}
	return "\n" + text
}

// Rules are the rules with the changes, by id, each read by itself: together they need
// not be a set.
func (d *Draft) Rules() ([]*Rule, error) {
	var list []*Rule
	texts := d.Texts()
	needs := needsOf(texts)
	for _, t := range texts {
		set, err := parse(byRule([]Text{t}), needs)
		if err != nil {
			return nil, err
		}
		r := set.Rules()[0]
		r.File = t.File
		list = append(list, r)
	}
	slices.SortFunc(list, func(a, b *Rule) int { return strings.Compare(a.ID, b.ID) })
	return list, nil
}

// Check checks the rules with the changes as one set. The error is an Errors.
func (d *Draft) Check() (*Set, error) { return CheckTexts(d.Texts()) }

// CheckTexts checks a whole set as ParseTexts does, and that the files it makes up are
// read as the same rules.
func CheckTexts(texts []Text) (*Set, error) {
	texts = inFiles(slices.Clone(texts))
	set, err := ParseTexts(texts)
	if err != nil {
		return nil, err
	}
	again, err := Split(Join(texts))
	if err != nil {
		return nil, Errors{{File: texts[0].File, Line: 1, Column: 1, Detail: "the rules do not make up files: " + err.Error()}}
	}
	for i, t := range texts {
		if i >= len(again) || again[i].ID != t.ID || Normal(again[i].Source) != Normal(t.Source) {
			return nil, Errors{{File: t.ID, Line: 1, Column: 1, Detail: fmt.Sprintf("is not read as the same rule in file %s; write a plain list item that begins with - id: at the margin", t.File)}}
		}
	}
	return set, nil
}

// CheckText checks the new text of a rule by itself and tells all that is wrong with it: what
// is wrong between rules shows when the set is checked. A need that no other rule of the draft raises is refused
// unless newNeed. The error is an Errors.
func (d *Draft) CheckText(id, text string, newNeed bool) error {
	wrong := func(detail string) error { return Errors{{File: id, Line: 1, Column: 1, Detail: detail}} }
	if len(text) > maxText {
		return wrong(fmt.Sprintf("has %d bytes; a rule has at most %d", len(text), maxText))
	}
	if strings.TrimSpace(text) == "" {
		return wrong("holds no rule; write one list item that begins with - id:")
	}
	needs := needsOf(d.Texts())
	if newNeed {
		needs = append(needs, needsOf([]Text{{Source: text}})...)
	}
	var found Errors
	if _, err := parse(map[string]string{id: text}, needs); err != nil && !errors.As(err, &found) {
		return err
	}
	var list []struct {
		ID yaml.Node `yaml:"id"`
	}
	if yaml.Unmarshal([]byte(text), &list) != nil {
		return found // no YAML, or no list of rules: then that is what is wrong
	}
	between, err := Split(map[string]string{id: "- id: a\n" + text + "- id: z\n"})
	switch {
	case err != nil || len(between) != 3 || Normal(between[1].Source) != text:
		found = append(found, &Error{id, 1, 1, "is not read as one rule between others; write one list item at the margin that begins with - id:, comments above it, without --- or ..."})
	case list[0].ID.Value != "" && list[0].ID.Value != id:
		at := list[0].ID
		found = append(found, &Error{id, at.Line, at.Column, fmt.Sprintf("the rule's id is %s, the path says %s; make them the same, or write to the other path", at.Value, id)})
	}
	if len(found) > 0 {
		return found.sorted()
	}
	return nil
}

// needsOf lists the needs that rules name, whether or not the rules are right.
func needsOf(texts []Text) []string {
	needs := []string{} // a set of no rules has no needs, which is not the same as not knowing them
	for _, t := range texts {
		var rules []struct {
			Need string `yaml:"need"`
		}
		if yaml.Unmarshal([]byte(t.Source), &rules) != nil {
			continue
		}
		for _, r := range rules {
			if r.Need != "" && !slices.Contains(needs, r.Need) {
				needs = append(needs, r.Need)
			}
		}
	}
	return needs
}
