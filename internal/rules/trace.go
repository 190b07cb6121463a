package rules

import (
	"reflect"
	"strconv"
	"strings"
)

// Trace is how one rule came out on some facts.
type Trace struct {
	Rule  *Rule
	Facts []FactValue // in the order of Rule.Reads
	Fired []Fired     // once, for each element with for_each, or not at all
}

// FactValue is what a rule read: "vehicle.fuel.line_od_in" and "5/16". Parts of the
// elements of a list are separated by commas; what is not known is "unknown".
type FactValue struct{ Path, Value string }

// Trace is Evaluate that also tells of the rules that did not fire, and what all of them read.
func (s *Set) Trace(f *Facts) ([]Trace, error) {
	fired, err := s.Evaluate(f)
	if err != nil {
		return nil, err
	}
	list := make([]Trace, len(s.rules))
	for i, r := range s.rules {
		list[i].Rule = r
		for len(fired) > 0 && fired[0].Rule == r {
			list[i].Fired, fired = append(list[i].Fired, fired[0]), fired[1:]
		}
		for _, path := range r.reads {
			list[i].Facts = append(list[i].Facts, FactValue{path, show(reflect.ValueOf(f).Elem(), path)})
		}
	}
	return list, nil
}

// show prints the fact at a path.
func show(root reflect.Value, path string) string {
	path, inside, isElement := strings.Cut(path, "[]")
	f := lookup(schema, path)
	v := walk(root, f.index)
	switch {
	case isElement:
		elem := lookup(f.elem, strings.TrimPrefix(inside, "."))
		texts := make([]string, v.Len())
		for i := range texts {
			texts[i] = elem.show(walk(v.Index(i), elem.index))
		}
		if len(texts) == 0 {
			return "none"
		}
		return strings.Join(texts, ", ")
	case f.class == aList:
		return strconv.Itoa(v.Len()) + " in the list"
	}
	return f.show(v)
}

// lookup finds a field by its path from another, which for "" is that itself.
func lookup(f *field, path string) *field {
	for path != "" {
		var name string
		name, path, _ = strings.Cut(path, ".")
		f = f.fields[name]
	}
	return f
}

func (f *field) show(v reflect.Value) string {
	s := slot{field: f}
	switch {
	case f.optional && v.IsZero():
		return "unknown"
	case f.class == aBool:
		return strconv.FormatBool(s.readBool(v))
	case f.class == aText:
		return s.readText(v, &threadText{})
	case f.size:
		return string(appendSize(nil, s.readNumber(v)))
	}
	return string(appendNumber(nil, s.readNumber(v)))
}
