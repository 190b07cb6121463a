package rules

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"
)

// Text is one rule as its author wrote it: the lines of its list item with the
// comments above. The texts of a file, in order of place, put together are the file.
type Text struct {
	ID     string `json:"id"`
	File   string `json:"file"`
	Place  int    `json:"place"`
	Source string `json:"source"`
}

// Normal is a rule's text without blank lines around it: what authors read and write.
func Normal(source string) string {
	lines := strings.Split(strings.TrimRight(source, " \t\r\n"), "\n")
	for len(lines) > 1 && strings.TrimSpace(lines[0]) == "" {
		lines = lines[1:]
	}
	return strings.Join(lines, "\n") + "\n"
}

// Split cuts rule files, given as YAML text by file name, into their rules.
func Split(files map[string]string) (list []Text, err error) {
	for _, name := range slices.Sorted(maps.Keys(files)) {
		var doc yaml.Node
		if err := yaml.Unmarshal([]byte(files[name]), &doc); err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		if len(doc.Content) == 0 {
			continue // nothing but comments
		}
		root := doc.Content[0]
		if root.Kind != yaml.SequenceNode || root.Style&yaml.FlowStyle != 0 {
			return nil, fmt.Errorf("%s:%d: is not a list of rules; begin each rule with a dash on a line of its own: - id: …", name, root.Line)
		}
		for i, piece := range pieces(files[name], root) {
			list = append(list, Text{idOf(root.Content[i]), name, i, piece})
		}
	}
	return list, nil
}

// idOf is the id of a rule, "" when it has none.
func idOf(rule *yaml.Node) string {
	for i := 0; i+1 < len(rule.Content) && rule.Kind == yaml.MappingNode; i += 2 {
		if rule.Content[i].Value == "id" {
			return rule.Content[i+1].Value
		}
	}
	return ""
}

// pieces cuts the text of a block sequence into its items. What stands above the first
// goes with it, as comments between two go with the second.
func pieces(text string, sequence *yaml.Node) []string {
	lines := strings.SplitAfter(text, "\n")
	list := make([]string, len(sequence.Content))
	start := 0
	for i, item := range sequence.Content {
		end := len(lines)
		if i+1 < len(sequence.Content) {
			end = sequence.Content[i+1].Line - 1
			for end > item.Line && !hasDash(lines[end], sequence.Column) { // the dash may stand on a line above the item
				end--
			}
			for end > item.Line && isMargin(lines[end-1]) {
				end--
			}
		}
		list[i] = strings.Join(lines[start:end], "")
		start = end
	}
	return list
}

func hasDash(line string, column int) bool {
	return len(line) >= column && line[column-1] == '-' && strings.TrimSpace(line[:column-1]) == ""
}

// isMargin reports whether a line between two rules belongs to the second. An indented
// comment can be text of a block scalar, so only those at the margin do.
func isMargin(line string) bool {
	return strings.HasPrefix(line, "#") || strings.TrimSpace(line) == ""
}

// Join puts texts together to their files.
func Join(texts []Text) map[string]string {
	files := map[string]string{}
	for _, t := range inFiles(slices.Clone(texts)) {
		files[t.File] += t.Source
	}
	return files
}

// Texts are the texts of the rules as Normal gives them, in the order of files.
func (s *Set) Texts() []Text {
	texts := make([]Text, len(s.rules))
	for i, r := range s.rules {
		texts[i] = Text{r.ID, r.File, r.Line, r.Text}
	}
	return inFiles(texts)
}

// ParseTexts is Parse with a file for each rule: the File of an error is the rule's id,
// and lines count within its text as Normal gives it.
func ParseTexts(texts []Text) (*Set, error) {
	return Parse(byRule(texts))
}

func byRule(texts []Text) map[string]string {
	files := make(map[string]string, len(texts))
	for _, t := range texts {
		files[t.ID] = Normal(t.Source)
	}
	return files
}
