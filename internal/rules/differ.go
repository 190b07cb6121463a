package rules

import "reflect"

// Differing are the rules of each of two sets that the other does not have with the
// same text, as sets of their own.
func Differing(a, b *Set) (onlyA, onlyB *Set, err error) {
	if onlyA, err = a.without(b); err != nil {
		return nil, nil, err
	}
	onlyB, err = b.without(a)
	return onlyA, onlyB, err
}

func (s *Set) without(other *Set) (*Set, error) {
	texts := map[string]string{}
	for _, r := range s.rules {
		texts[r.ID] = r.Text
	}
	for _, r := range other.rules {
		if texts[r.ID] == r.Text {
			delete(texts, r.ID)
		}
	}
	return parse(texts, append([]string{}, s.Needs()...))
}

// SameFired reports whether two lists of firings say the same, whatever the texts of
// their rules.
func SameFired(a, b []Fired) bool {
	if len(a) != len(b) {
		return false
	}
	for i := range a {
		x, y := &a[i], &b[i]
		if x.Rule.ID != y.Rule.ID || x.Rule.Need != y.Rule.Need || x.Rule.Severity != y.Rule.Severity || x.Rule.Source != y.Rule.Source ||
			x.Each != y.Each || x.Level != y.Level || x.Quantity != y.Quantity || x.ByFit != y.ByFit || x.Because != y.Because || x.Unsuitable != y.Unsuitable ||
			!reflect.DeepEqual(x.Caution, y.Caution) || !reflect.DeepEqual(x.Match, y.Match) {
			return false
		}
	}
	return true
}
