package store

import (
	"encoding"
	"errors"
	"fmt"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"

	"onetrip/internal/catalog"
	"onetrip/internal/units"
)

// LocationTable is locations.csv.
func LocationTable() *Table[catalog.Location] {
	return &Table[catalog.Location]{
		blank:    func() *catalog.Location { return new(catalog.Location) },
		columns:  columnsOf[catalog.Location](""),
		validate: func(l *catalog.Location) []catalog.Violation { return l.Validate() },
	}
}

// VehicleTable is vehicles.csv: a column for each JSON path.
func VehicleTable() *Table[catalog.Vehicle] {
	t := &Table[catalog.Vehicle]{
		blank:    func() *catalog.Vehicle { return new(catalog.Vehicle) },
		columns:  columnsOf[catalog.Vehicle](""),
		validate: (*catalog.Vehicle).Validate,
	}
	t.columns[0].required = true // a vehicle sent inline needs no id, one in the catalogue does
	return t
}

// CarburetorTable is carburetors.csv: a column for each JSON path but ports and
// in_box, which are tables of their own. Prices are in currency.
func CarburetorTable(currency string) *Table[catalog.Carburetor] {
	return &Table[catalog.Carburetor]{
		blank:    func() *catalog.Carburetor { return new(catalog.Carburetor) },
		columns:  columnsOf[catalog.Carburetor](currency),
		validate: (*catalog.Carburetor).Validate,
	}
}

// CarburetorPort is a row of carburetor_ports.csv.
type CarburetorPort struct {
	CarburetorSKU string `json:"carburetor_sku"`
	catalog.Port
}

// CarburetorPortTable is carburetor_ports.csv.
func CarburetorPortTable() *Table[CarburetorPort] {
	return &Table[CarburetorPort]{
		blank:    func() *CarburetorPort { return new(CarburetorPort) },
		columns:  columnsOf[CarburetorPort](""),
		validate: func(p *CarburetorPort) []catalog.Violation { return p.Port.Validate() },
	}
}

// CarburetorInBox is a row of carburetor_in_box.csv.
type CarburetorInBox struct {
	CarburetorSKU string `json:"carburetor_sku"`
	catalog.InBox
}

// CarburetorInBoxTable is carburetor_in_box.csv.
func CarburetorInBoxTable() *Table[CarburetorInBox] {
	return &Table[CarburetorInBox]{
		blank:    func() *CarburetorInBox { return new(CarburetorInBox) },
		columns:  columnsOf[CarburetorInBox](""),
		validate: func(b *CarburetorInBox) []catalog.Violation { return b.InBox.Validate() },
	}
}

// BundleTable is bundles.csv. Contents are a table of their own, and a bundle is
// sold one at a time. Prices are in currency.
func BundleTable(currency string) *Table[catalog.Bundle] {
	return &Table[catalog.Bundle]{
		blank: func() *catalog.Bundle { return &catalog.Bundle{Offer: catalog.Offer{PackQuantity: 1}} },
		columns: slices.DeleteFunc(columnsOf[catalog.Bundle](currency), func(c column[catalog.Bundle]) bool {
			return c.name == "pack_quantity"
		}),
		validate: func(b *catalog.Bundle) []catalog.Violation { return b.Offer.Validate() },
	}
}

// BundleContent is a row of bundle_contents.csv.
type BundleContent struct {
	BundleSKU string `json:"bundle_sku"`
	catalog.Amount
}

// BundleContentTable is bundle_contents.csv.
func BundleContentTable() *Table[BundleContent] {
	return &Table[BundleContent]{
		blank:    func() *BundleContent { return new(BundleContent) },
		columns:  columnsOf[BundleContent](""),
		validate: func(a *BundleContent) []catalog.Violation { return a.Amount.Validate() },
	}
}

// StockTable is stock.csv.
func StockTable() *Table[catalog.Stock] {
	return &Table[catalog.Stock]{
		blank:    func() *catalog.Stock { return new(catalog.Stock) },
		columns:  columnsOf[catalog.Stock](""),
		validate: func(s *catalog.Stock) []catalog.Violation { return s.Validate() },
	}
}

// PartTable is a file of parts of the given kinds, of every kind when none is given.
// It has a column for each attribute of any of them; a part leaves those of other
// kinds empty. Prices are in currency.
func PartTable(currency string, kinds ...catalog.Kind) *Table[catalog.Part] {
	var specs []*catalog.KindSpec
	for i := range catalog.Kinds {
		if k := &catalog.Kinds[i]; len(kinds) == 0 || slices.Contains(kinds, k.Kind) {
			specs = append(specs, k)
		}
	}
	t := &Table[catalog.Part]{
		blank:    func() *catalog.Part { return &catalog.Part{Form: &catalog.Form{}} },
		validate: (*catalog.Part).Validate,
	}
	offer := columnsOf[catalog.Offer](currency)
	addOffer := func(c column[catalog.Offer]) {
		t.columns = append(t.columns, column[catalog.Part]{c.name, c.required, c.freeText,
			func(p *catalog.Part) string { return c.get(&p.Offer) },
			func(p *catalog.Part, s string) error { return c.set(&p.Offer, s) }})
	}
	// The kind comes first: the columns after it depend on it.
	t.columns = append(t.columns, column[catalog.Part]{name: "kind", required: true,
		get: func(p *catalog.Part) string { return string(p.Kind) },
		set: func(p *catalog.Part, s string) error {
			p.Kind = catalog.Kind(s)
			if _, known := p.Kind.Spec(); known && !slices.ContainsFunc(specs, func(k *catalog.KindSpec) bool { return k.Kind == p.Kind }) {
				p.Kind = "" // its attributes are no concern of this file
				return fmt.Errorf("a %s does not belong in this file of %s; move the row to its own file", s, specs[0].Kind)
			}
			return nil
		}})
	addOffer(offer[0]) // sku
	addOffer(offer[1]) // name

	ends, length, height := 0, false, false
	var attrs []catalog.AttrSpec
	for _, k := range specs {
		ends, length, height = max(ends, k.Ends), length || k.NeedsLength, height || k.NeedsHeight
		for _, a := range k.Attrs {
			if !slices.ContainsFunc(attrs, func(b catalog.AttrSpec) bool { return b.Name == a.Name }) {
				attrs = append(attrs, a)
			}
		}
	}
	for _, a := range attrs {
		t.columns = append(t.columns, attributeColumn(a, len(specs) == 1))
	}
	for i := range ends {
		t.columns = append(t.columns, column[catalog.Part]{name: fmt.Sprintf("end_%d", i+1), required: len(specs) == 1,
			get: func(p *catalog.Part) string {
				if i < len(p.Ends) {
					return p.Ends[i].String()
				}
				return ""
			},
			set: func(p *catalog.Part, s string) error {
				e, err := catalog.ParseEnd(s)
				p.Ends = append(p.Ends, e)
				return err
			}})
	}
	dimension := func(name string, of func(*catalog.Part) *float64) {
		t.columns = append(t.columns, column[catalog.Part]{name: name, required: len(specs) == 1,
			get: func(p *catalog.Part) string { return formatNumber(*of(p), true) },
			set: func(p *catalog.Part, s string) (err error) { *of(p), err = parseNumber(s); return }})
	}
	if length {
		dimension("length_in", func(p *catalog.Part) *float64 { return &p.LengthIn })
	}
	if height {
		dimension("height_in", func(p *catalog.Part) *float64 { return &p.HeightIn })
	}
	for _, c := range offer[2:] {
		addOffer(c)
	}
	words := func(name string, of func(*catalog.Part) *[]string) {
		t.columns = append(t.columns, column[catalog.Part]{name: name,
			get: func(p *catalog.Part) string { return strings.Join(*of(p), " ") },
			set: func(p *catalog.Part, s string) error { *of(p) = strings.Fields(s); return nil }})
	}
	words("requires", func(p *catalog.Part) *[]string { return &p.Requires })
	words("conflicts", func(p *catalog.Part) *[]string { return &p.Conflicts })
	return t
}

// attributeColumn is the column of an attribute, for every kind that declares one
// of its name.
func attributeColumn(a catalog.AttrSpec, oneKind bool) column[catalog.Part] {
	return column[catalog.Part]{name: a.Name, required: oneKind && !a.Optional, freeText: a.Type == catalog.AttrText,
		get: func(p *catalog.Part) string {
			attr, ok := p.Attr(a.Name)
			if !ok {
				return ""
			}
			return attr.String()
		},
		set: func(p *catalog.Part, s string) error {
			spec, known := p.Kind.Spec()
			if !known {
				return nil // the kind is refused already
			}
			own, ok := spec.Attr(a.Name)
			if !ok {
				return fmt.Errorf("%q, but a %s has no such attribute; leave the cell empty", clip(s), spec.Kind)
			}
			if own.Type == catalog.AttrNumber {
				if _, err := parseNumber(s); err != nil {
					return err
				}
			}
			v, err := own.ParseValue(s)
			if err != nil {
				return fmt.Errorf("%s", strings.TrimPrefix(err.Error(), a.Name+": "))
			}
			// Forms keep their attributes in the order the kind declares them.
			place := func(name string) int {
				return slices.IndexFunc(spec.Attrs, func(b catalog.AttrSpec) bool { return b.Name == name })
			}
			at := 0
			for at < len(p.Attributes) && place(p.Attributes[at].Name) < place(a.Name) {
				at++
			}
			p.Attributes = slices.Insert(p.Attributes, at, catalog.Attr{Name: a.Name, Type: own.Type, Value: v})
			return nil
		}}
}

// mayBeBlank are columns in which an empty cell is a plain "no" or "none", though
// the field has no way to be absent.
var mayBeBlank = []string{"discontinued", "choke.amps_cold", "choke.amps_steady", "large"}

// columnsOf makes a column for every scalar of T, named by its JSON path. Lists of
// structs are left out. A field that JSON may omit may be absent.
func columnsOf[T any](currency string) []column[T] {
	var columns []column[T]
	var walk func(t reflect.Type, prefix string, index []int)
	walk = func(t reflect.Type, prefix string, index []int) {
		for i := range t.NumField() {
			f := t.Field(i)
			path := append(slices.Clone(index), i)
			name, options, _ := strings.Cut(f.Tag.Get("json"), ",")
			switch {
			case f.Anonymous:
				walk(f.Type, prefix, path)
				continue
			case !f.IsExported():
				continue
			case f.Type == reflect.TypeFor[units.Money]():
				name = "price_minor"
			}
			name = prefix + name
			code, ok := codecOf(f.Type, currency)
			if !ok {
				if f.Type.Kind() == reflect.Struct {
					walk(f.Type, name+".", path)
				}
				continue
			}
			optional := options != "" || f.Type.Kind() == reflect.Pointer || slices.Contains(mayBeBlank, name)
			columns = append(columns, column[T]{
				name:     name,
				required: !optional,
				freeText: f.Type == reflect.TypeFor[string](),
				get: func(row *T) string {
					v := reflect.ValueOf(row).Elem().FieldByIndex(path)
					if optional && v.IsZero() {
						return ""
					}
					return code.get(v)
				},
				set: func(row *T, s string) error {
					return code.set(reflect.ValueOf(row).Elem().FieldByIndex(path), s)
				},
			})
		}
	}
	walk(reflect.TypeFor[T](), "", nil)
	return columns
}

// codec turns a field to a cell and back.
type codec struct {
	get func(reflect.Value) string
	set func(reflect.Value, string) error
}

// codecOf is the codec of a type, false for structs without a text form and for
// lists of them.
func codecOf(t reflect.Type, currency string) (codec, bool) {
	switch t {
	case reflect.TypeFor[units.Money]():
		return codec{
			func(v reflect.Value) string { return strconv.FormatInt(v.Interface().(units.Money).AmountMinor, 10) },
			func(v reflect.Value, s string) error {
				n, err := parsePrice(s, currency)
				v.Set(reflect.ValueOf(units.Money{AmountMinor: n, Currency: currency}))
				return err
			}}, true
	case reflect.TypeFor[catalog.End]():
		return codec{
			func(v reflect.Value) string { return v.Interface().(catalog.End).String() },
			func(v reflect.Value, s string) error {
				e, err := catalog.ParseEnd(s)
				v.Set(reflect.ValueOf(e))
				return err
			}}, true
	case reflect.TypeFor[[]catalog.LinkEnd]():
		return codec{
			func(v reflect.Value) string {
				var words []string
				for _, e := range v.Interface().([]catalog.LinkEnd) {
					words = append(words, string(e))
				}
				return strings.Join(words, " ")
			},
			func(v reflect.Value, s string) error {
				var list []catalog.LinkEnd
				for _, word := range strings.Fields(s) {
					list = append(list, catalog.LinkEnd(word))
				}
				v.Set(reflect.ValueOf(list))
				return nil
			}}, true
	}
	if t.Implements(reflect.TypeFor[encoding.TextMarshaler]()) && t.Kind() != reflect.Pointer {
		return codec{
			func(v reflect.Value) string {
				text, _ := v.Interface().(encoding.TextMarshaler).MarshalText() // sizes and threads always print
				return string(text)
			},
			func(v reflect.Value, s string) error {
				return v.Addr().Interface().(encoding.TextUnmarshaler).UnmarshalText([]byte(s))
			}}, true
	}
	switch t.Kind() {
	case reflect.Pointer:
		inner, ok := codecOf(t.Elem(), currency)
		return codec{
			func(v reflect.Value) string { return inner.get(v.Elem()) },
			func(v reflect.Value, s string) error {
				v.Set(reflect.New(t.Elem()))
				return inner.set(v.Elem(), s)
			}}, ok
	case reflect.String:
		return codec{reflect.Value.String, func(v reflect.Value, s string) error { v.SetString(s); return nil }}, true
	case reflect.Bool:
		return codec{
			func(v reflect.Value) string { return strconv.FormatBool(v.Bool()) },
			func(v reflect.Value, s string) error {
				if s != "true" && s != "false" {
					return fmt.Errorf("%q is not accepted; write true or false", clip(s))
				}
				v.SetBool(s == "true")
				return nil
			}}, true
	case reflect.Int:
		return codec{
			func(v reflect.Value) string { return strconv.FormatInt(v.Int(), 10) },
			func(v reflect.Value, s string) error {
				n, err := parseWhole(s)
				v.SetInt(n)
				return err
			}}, true
	case reflect.Float64:
		return codec{
			func(v reflect.Value) string { return formatNumber(v.Float(), false) },
			func(v reflect.Value, s string) error {
				n, err := parseNumber(s)
				v.SetFloat(n)
				return err
			}}, true
	}
	return codec{}, false
}

func formatNumber(n float64, zeroIsAbsent bool) string {
	if n == 0 && zeroIsAbsent {
		return ""
	}
	return strconv.FormatFloat(n, 'f', -1, 64)
}

// parseNumber reads a decimal number: digits with a point, no unit.
func parseNumber(s string) (float64, error) {
	n, err := strconv.ParseFloat(s, 64)
	switch {
	case strings.ContainsAny(s, "xXpP_"): // Go's own notations
	case err == nil && !math.IsNaN(n) && !math.IsInf(n, 0):
		return n, nil
	case err != nil && math.IsInf(n, 0):
		return 0, fmt.Errorf("%s is too large a number; correct it", clip(s))
	}
	return 0, fmt.Errorf("%q is not a number; write digits with a decimal point and no unit: 5.125", clip(s))
}

func parseWhole(s string) (int64, error) {
	n, err := strconv.ParseInt(s, 10, 64)
	if err == nil {
		return n, nil
	}
	if errors.Is(err, strconv.ErrRange) {
		return 0, fmt.Errorf("%s is too large a number; correct it", clip(s))
	}
	return 0, fmt.Errorf("%q is not a whole number; write digits only: 12", clip(s))
}

// parsePrice reads an amount in the currency's minor unit.
func parsePrice(s, currency string) (int64, error) {
	n, err := strconv.ParseInt(s, 10, 64)
	if err == nil {
		return n, nil
	}
	if major, numberErr := parseNumber(s); numberErr == nil && math.Abs(major) < 1e9 && strings.Contains(s, ".") {
		minor := major * math.Pow10(units.MinorDigits(currency))
		if whole := math.Round(minor); math.Abs(minor-whole) < 1e-3 {
			return 0, fmt.Errorf("%s is not in the minor unit of %s; for %s write %.0f", clip(s), currency, clip(s), whole)
		}
	}
	return 0, fmt.Errorf("%q is not a price; write a whole number in the minor unit of %s, digits only: 1299", clip(s), currency)
}

func clip(s string) string {
	if r := []rune(s); len(r) > 60 {
		return string(r[:60]) + "…"
	}
	return s
}
