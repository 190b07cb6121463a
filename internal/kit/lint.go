package kit

import (
	"cmp"
	"fmt"
	"slices"

	"onetrip/internal/catalog"
	"onetrip/internal/rules"
)

// Finding is something in rules and catalogue that their authors may not have meant.
type Finding struct {
	Where string `json:"-"`    // "fuel.yaml:12", "part FOZ-2A07", "carburetor QYC-2A95"
	Rule  string `json:"rule"` // id; "" of a part or carburetor
	Text  string `json:"text"`
	Sure  bool   `json:"sure"` // false: not all cases could be tried
	Part  bool   `json:"-"`    // about a part, which may be sold for other ends
}

// Lint looks for rules that can never fire, rules that say the same, needs that
// carburetors have in the box and no rule raises, and parts on sale that no rule can
// choose and no other part requires.
func Lint(s *Snapshot) []Finding {
	found := s.Rules.Lint(s.Catalog.Carburetors(), s.Catalog.Forms)
	out := ruleFindings(&found)
	for _, c := range s.Catalog.Carburetors() {
		for _, b := range c.InBox {
			if _, known := s.Rules.NeedKind(b.Need); b.Need != "" && !known {
				out = append(out, Finding{Where: "carburetor " + c.SKU, Text: fmt.Sprintf("no rule raises the need %s, which is in its box", b.Need), Sure: true})
			}
		}
	}
	required := map[string]bool{}
	for _, p := range s.Catalog.Parts() {
		for _, sku := range p.Requires {
			required[sku] = true
		}
	}
	parts := func(forms []*catalog.Form, text string, sure bool) {
		var list []*catalog.Part
		for _, f := range forms {
			for _, p := range f.Parts() {
				if !p.Discontinued && !required[p.SKU] {
					list = append(list, p)
				}
			}
		}
		slices.SortFunc(list, func(a, b *catalog.Part) int { return cmp.Compare(a.SKU, b.SKU) })
		for _, p := range list {
			out = append(out, Finding{Where: "part " + p.SKU, Text: p.Name + ": " + text, Sure: sure, Part: true})
		}
	}
	parts(found.Unchosen, "no rule can choose it", true)
	parts(found.UndecidedForms, "no rule chose it in any case that was tried", false)
	return out
}

// ruleFindings says what is odd in rules.
func ruleFindings(found *rules.Lint) []Finding {
	out := []Finding{}
	add := func(r *rules.Rule, sure bool, format string, args ...any) {
		out = append(out, Finding{Where: place(r.File, r.Line), Rule: r.ID, Text: fmt.Sprintf(format, args...), Sure: sure})
	}
	for _, r := range found.Never {
		add(r, true, "rule %s can never fire: %s", r.ID, r.When)
	}
	for _, r := range found.UndecidedRules {
		add(r, false, "rule %s did not fire in any case that was tried: %s", r.ID, r.When)
	}
	for _, pair := range found.Duplicates {
		first, second := pair[0], pair[1]
		add(second, true, "rule %s says the same as rule %s at %s under the same condition", second.ID, first.ID, place(first.File, first.Line))
	}
	return out
}

func place(file string, line int) string { return fmt.Sprintf("%s:%d", file, line) }
