package catalog

import (
	"cmp"
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strings"

	"onetrip/internal/units"
)

// Form is the physical form of a part: everything that decides whether it fits.
// Parts of one form are interchangeable and differ only in maker, finish, price
// and stock, so fit and rules look at forms and selection looks at parts.
type Form struct {
	Kind       Kind
	Attributes []Attr // in the order KindSpec declares them
	Ends       []End  // 0 to 2
	LengthIn   float64
	HeightIn   float64

	parts  []*Part   // of this form, by price then SKU; set by NewSnapshot
	spec   *KindSpec // set by NewSnapshot
	place  int       // among the forms of the kind; set by NewSnapshot
	number int32     // among all forms, from 1; set by NewSnapshot
	thread units.Thread
}

// Parts lists the parts of this form, cheapest first, then by SKU.
func (f *Form) Parts() []*Part { return f.parts }

// ComparePrice orders forms by their cheapest parts.
func (f *Form) ComparePrice(o *Form) int {
	return cmp.Or(cmp.Compare(f.parts[0].Price.AmountMinor, o.parts[0].Price.AmountMinor), strings.Compare(f.parts[0].SKU, o.parts[0].SKU))
}

// Place is the form's among Snapshot.Forms of its kind.
func (f *Form) Place() int { return f.place }

// Number is the form's among all of a Snapshot, from 1; 0 for others.
func (f *Form) Number() int32 { return f.number }

// Spec declares the form's kind. Known of the forms of a Snapshot; nil of others.
func (f *Form) Spec() *KindSpec { return f.spec }

// ByLength reports whether the form is cut from the length sold. Known as Spec is;
// false of others.
func (f *Form) ByLength() bool { return f.spec != nil && f.spec.ByLength }

// Thread is the attribute thread, the zero Thread when there is none.
func (f *Form) Thread() units.Thread {
	if f.thread.IsZero() {
		t, _ := units.ParseThread(f.Text("thread"))
		return t
	}
	return f.thread
}

// Attr returns an attribute by name. length_in and height_in answer as numbers.
func (f *Form) Attr(name string) (Attr, bool) {
	switch name {
	case "length_in":
		return Attr{name, AttrNumber, Value{Num: f.LengthIn}}, f.LengthIn > 0
	case "height_in":
		return Attr{name, AttrNumber, Value{Num: f.HeightIn}}, f.HeightIn > 0
	}
	for _, a := range f.Attributes {
		if a.Name == name {
			return a, true
		}
	}
	return Attr{}, false
}

// Num returns a numeric attribute (number, size in inches, bool as 0 or 1), 0 when absent.
func (f *Form) Num(name string) float64 { a, _ := f.Attr(name); return a.Value.Num }

// Text returns an enum, text, size or thread attribute as text, "" when absent.
func (f *Form) Text(name string) string { a, _ := f.Attr(name); return a.Value.Text }

// Key is the same for two forms exactly when they are physically the same.
func (f *Form) Key() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s|%g|%g", f.Kind, f.LengthIn, f.HeightIn)
	for _, a := range f.Attributes {
		b.WriteByte('|')
		b.WriteString(a.Name)
		b.WriteByte('=')
		b.WriteString(a.String())
	}
	for _, e := range f.Ends {
		b.WriteByte('|')
		b.WriteString(e.String())
	}
	return b.String()
}

// Part is one SKU of a Form. Requires names SKUs that must be in the kit when this
// one is, or what replaces them when they are discontinued; Conflicts SKUs that must not.
type Part struct {
	Offer
	*Form
	Requires  []string
	Conflicts []string

	tied, required bool      // set by NewSnapshot
	bundles        []*Bundle // that hold it; set by NewSnapshot
}

// Tied reports whether the part requires or conflicts with another, or the other way
// about. Known of the parts of a Snapshot, as are Bundles.
func (p *Part) Tied() bool { return p.tied }

// Required reports whether another part requires it, or something discontinued that it
// replaces. Known as Tied is.
func (p *Part) Required() bool { return p.required }

// Bundles lists the bundles that the part can be had in: those that hold it, none when it is
// discontinued.
func (p *Part) Bundles() []*Bundle { return p.bundles }

type partJSON struct {
	Offer
	Kind       Kind                       `json:"kind"`
	Attributes map[string]json.RawMessage `json:"attributes"`
	Ends       []End                      `json:"ends"`
	LengthIn   float64                    `json:"length_in,omitempty"`
	HeightIn   float64                    `json:"height_in,omitempty"`
	Requires   []string                   `json:"requires,omitempty"`
	Conflicts  []string                   `json:"conflicts,omitempty"`
}

// MarshalJSON writes the contract's Part without stock.
func (p *Part) MarshalJSON() ([]byte, error) {
	j := partJSON{Offer: p.Offer, Kind: p.Kind, Attributes: map[string]json.RawMessage{}, Ends: p.Ends,
		LengthIn: p.LengthIn, HeightIn: p.HeightIn, Requires: p.Requires, Conflicts: p.Conflicts}
	if j.Ends == nil {
		j.Ends = []End{}
	}
	for _, a := range p.Attributes {
		var v any
		switch a.Type {
		case AttrNumber:
			v = a.Value.Num
		case AttrBool:
			v = a.Value.Num != 0
		case AttrNumbers:
			v = a.Value.Numbers
		default:
			v = a.Value.Text
		}
		raw, err := json.Marshal(v)
		if err != nil {
			return nil, err
		}
		j.Attributes[a.Name] = raw
	}
	return json.Marshal(j)
}

// UnmarshalJSON reads the contract's Part; attributes are typed by kind. What cannot
// be read is an InvalidError with a violation for each end and attribute.
func (p *Part) UnmarshalJSON(data []byte) error {
	j := struct { // the inner ends hide the outer, whose errors do not say which end they are about
		partJSON
		Ends []json.RawMessage `json:"ends"`
	}{}
	if err := json.Unmarshal(data, &j); err != nil {
		return err
	}
	form := &Form{Kind: j.Kind, LengthIn: j.LengthIn, HeightIn: j.HeightIn}
	spec, ok := j.Kind.Spec()
	if !ok { // Validate says which there are
		*p = Part{Offer: j.Offer, Form: form}
		return nil
	}
	var c checker
	for i, raw := range j.Ends {
		var e End
		if err := json.Unmarshal(raw, &e); err != nil {
			c.add(fmt.Sprintf("/ends/%d", i), "%v", err)
		}
		form.Ends = append(form.Ends, e)
	}
	names := make([]string, len(spec.Attrs))
	for i, a := range spec.Attrs {
		names[i] = a.Name
		raw, ok := j.Attributes[a.Name]
		if !ok {
			continue
		}
		delete(j.Attributes, a.Name)
		v, err := a.parseJSON(raw)
		if err != nil {
			c.add("/attributes/"+a.Name, "%s", strings.TrimPrefix(err.Error(), a.Name+": "))
		}
		form.Attributes = append(form.Attributes, Attr{a.Name, a.Type, v})
	}
	for _, name := range slices.Sorted(maps.Keys(j.Attributes)) {
		c.add("/attributes/"+name, "a %s has no such attribute%s; accepted: %s", j.Kind, didYouMean(name, names), strings.Join(names, ", "))
	}
	if len(c.found) > 0 {
		return &InvalidError{What: "part " + j.SKU, Violations: c.found}
	}
	*p = Part{Offer: j.Offer, Form: form, Requires: j.Requires, Conflicts: j.Conflicts}
	return nil
}

// parseJSON turns the JSON spelling into the text ParseValue reads: a string keeps
// its text, a list becomes words, numbers and booleans are spelled alike in both.
func (a AttrSpec) parseJSON(raw json.RawMessage) (Value, error) {
	s := string(raw)
	switch {
	case strings.HasPrefix(s, `"`) && a.Type == AttrNumber:
		return Value{}, fmt.Errorf("%s: is the text %s; write a number without quotes", a.Name, s)
	case strings.HasPrefix(s, `"`) && a.Type == AttrBool:
		return Value{}, fmt.Errorf("%s: is the text %s; write true or false without quotes", a.Name, s)
	case a.Type == AttrNumbers:
		s = strings.NewReplacer("[", " ", "]", " ", ",", " ").Replace(s)
	case strings.HasPrefix(s, `"`):
		if err := json.Unmarshal(raw, &s); err != nil {
			return Value{}, fmt.Errorf("%s: %w", a.Name, err)
		}
	case a.Type != AttrNumber && a.Type != AttrBool && a.Type != AttrSize:
		return Value{}, fmt.Errorf("%s: %s is not a string", a.Name, s)
	}
	return a.ParseValue(s)
}
