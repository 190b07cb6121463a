// Package store reads and writes the catalogue: from a directory of CSV and YAML
// files, and as single CSV tables.
package store

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path"
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"

	"onetrip/internal/catalog"
	"onetrip/internal/units"
)

// ReadCatalogue reads a catalogue directory: catalogue.yaml (name, currency), the
// tables locations.csv, vehicles.csv, carburetors.csv, carburetor_ports.csv,
// carburetor_in_box.csv, bundles.csv, bundle_contents.csv, stock.csv and
// parts/<kind>.csv, and the rules as text from rules/*.yaml. Everything is
// validated, and every SKU and id that a row names must exist; FileErrors lists all
// that is wrong. The revision is 1.
func ReadCatalogue(fsys fs.FS) (*catalog.Data, error) {
	r := &reader{fsys: fsys, data: &catalog.Data{Revision: 1, RuleFiles: map[string]string{}}, articles: map[string]place{}, gtins: map[string]string{}, replacedBy: map[string]string{}}
	for _, read := range []func() error{
		r.settings, r.locations, r.vehicles, r.carburetors, r.parts, r.bundles, r.stock, r.rules, r.references, r.rings,
	} {
		if err := read(); err != nil {
			return nil, err
		}
	}
	if len(r.found) > 0 {
		return nil, r.found
	}
	return r.data, nil
}

// place is where a row stands.
type place struct {
	file string
	line int
}

func (p place) String() string { return fmt.Sprintf("%s:%d", p.file, p.line) }

// reader collects the catalogue and all that is wrong with it.
type reader struct {
	fsys       fs.FS
	data       *catalog.Data
	found      FileErrors
	articles   map[string]place  // every SKU of parts, carburetors and bundles
	gtins      map[string]string // whose each is, by units.GTIN14
	replacedBy map[string]string
	wanted     []reference
	broken     bool // some rows could not be read at all: what they define is unknown
}

// reference is a SKU that a row names.
type reference struct {
	place
	column, sku string
}

func (r *reader) bad(at place, column, format string, args ...any) {
	r.found = append(r.found, FileError{at.file, at.line, column, fmt.Sprintf(format, args...)})
}

func (r *reader) refer(at place, column string, skus ...string) {
	for _, s := range skus {
		if s != "" {
			r.wanted = append(r.wanted, reference{at, column, s})
		}
	}
}

// article notes SKU and GTIN, of which no two articles share one, and what replaces it.
func (r *reader) article(o *catalog.Offer, at place) {
	if first, taken := r.articles[o.SKU]; taken {
		r.bad(at, "sku", "%s is the SKU of %s already; give each article its own", o.SKU, first)
	} else if o.SKU != "" {
		r.articles[o.SKU], r.replacedBy[o.SKU] = at, o.ReplacedBy
	}
	r.refer(at, "replaced_by", o.ReplacedBy)
	if o.GTIN == "" {
		return
	}
	key := units.GTIN14(o.GTIN)
	if whose, taken := r.gtins[key]; taken && whose != o.SKU {
		r.bad(at, "gtin", gtinTaken, o.GTIN, whose)
	} else {
		r.gtins[key] = o.SKU
	}
}

// gtinTaken refuses a GTIN that is another SKU's.
const gtinTaken = "%s is the GTIN of %s already, and a scan must find one article; correct it or leave it out"

// unique notes an id of a vehicle or location and complains of a second.
func (r *reader) unique(seen map[string]place, id string, at place) {
	if first, taken := seen[id]; taken {
		r.bad(at, "id", "%s is the id of %s already; give each its own", id, first)
	} else if id != "" {
		seen[id] = at
	}
}

// eachRow hands the rows of a file to take, refused ones too, since other rows may
// name what they define, and keeps what is wrong with them. The error is of reading,
// not of content.
func eachRow[T any](r *reader, file string, table *Table[T], take func(row *T, at place)) error {
	f, err := r.fsys.Open(file)
	if errors.Is(err, fs.ErrNotExist) {
		r.broken = true
		r.bad(place{file: file}, "", "the file is missing; add it, with the header %s when there is nothing to list", strings.Join(table.Names(), ","))
		return nil
	}
	if err != nil {
		return err
	}
	defer f.Close()
	d := NewDecoder(f, file, table)
	for {
		row, err := d.Next()
		var wrong FileErrors
		switch {
		case errors.Is(err, io.EOF):
			return nil
		case errors.As(err, &wrong):
			r.found = append(r.found, wrong...)
		case err != nil:
			return err
		}
		if row == nil {
			r.broken = true
			continue
		}
		take(row, place{file, d.Line()})
	}
}

func (r *reader) settings() error {
	const file = "catalogue.yaml"
	text, err := fs.ReadFile(r.fsys, file)
	if errors.Is(err, fs.ErrNotExist) {
		r.bad(place{file: file}, "", "the file is missing; add it with name and currency")
		r.data.Currency = "USD" // so that the prices do not all complain
		return nil
	}
	if err != nil {
		return err
	}
	var settings map[string]string
	if err := yaml.Unmarshal(text, &settings); err != nil {
		r.bad(place{file: file}, "", "%s; write name and currency, each with a text", strings.ReplaceAll(err.Error(), "\n", " "))
	}
	for _, key := range keys(settings) {
		if key != "name" && key != "currency" {
			r.bad(place{file: file}, key, "no such setting%s; accepted: name, currency", near(key, []string{"name", "currency"}))
		}
	}
	if r.data.Currency = settings["currency"]; !units.ValidCurrency(r.data.Currency) {
		r.bad(place{file: file}, "currency", "%q is no currency code; write the three capital letters of ISO 4217: USD", r.data.Currency)
		r.data.Currency = "USD"
	}
	return nil
}

func (r *reader) locations() error {
	seen := map[string]place{}
	return eachRow(r, "locations.csv", LocationTable(), func(l *catalog.Location, at place) {
		r.unique(seen, l.ID, at)
		r.data.Locations = append(r.data.Locations, *l)
	})
}

func (r *reader) vehicles() error {
	seen := map[string]place{}
	return eachRow(r, "vehicles.csv", VehicleTable(), func(v *catalog.Vehicle, at place) {
		r.unique(seen, v.ID, at)
		r.data.Vehicles = append(r.data.Vehicles, v)
	})
}

func (r *reader) carburetors() error {
	bySKU := map[string]*catalog.Carburetor{}
	owner := func(sku string, at place) *catalog.Carburetor {
		k := bySKU[sku]
		if k == nil && sku != "" && !r.broken {
			r.bad(at, "carburetor_sku", "no carburetor has the SKU %q%s; correct it or take the row out", sku, near(sku, keys(bySKU)))
		}
		return k
	}
	err := eachRow(r, "carburetors.csv", CarburetorTable(r.data.Currency), func(k *catalog.Carburetor, at place) {
		r.article(&k.Offer, at)
		bySKU[k.SKU] = k
		r.data.Carburetors = append(r.data.Carburetors, k)
	})
	if err != nil {
		return err
	}
	type portKey struct{ carburetor, port string }
	ports := map[portKey]place{}
	err = eachRow(r, "carburetor_ports.csv", CarburetorPortTable(), func(p *CarburetorPort, at place) {
		key := portKey{p.CarburetorSKU, p.ID}
		if first, twice := ports[key]; twice && p.ID != "" {
			r.bad(at, "id", "%s is the id of the port of %s already; give each port of a carburetor its own", p.ID, first)
			return
		}
		ports[key] = at
		if k := owner(p.CarburetorSKU, at); k != nil {
			k.Ports = append(k.Ports, p.Port)
		}
	})
	if err != nil {
		return err
	}
	return eachRow(r, "carburetor_in_box.csv", CarburetorInBoxTable(), func(b *CarburetorInBox, at place) {
		r.refer(at, "sku", b.SKU)
		if k := owner(b.CarburetorSKU, at); k != nil {
			k.InBox = append(k.InBox, b.InBox)
		}
	})
}

func (r *reader) parts() error {
	files, err := fs.Glob(r.fsys, "parts/*.csv")
	if err != nil {
		return err
	}
	if len(files) == 0 {
		r.broken = true
		r.bad(place{file: "parts"}, "", "the directory has no CSV files; add one for each kind of part, named after it: parts/hose_clamp.csv")
	}
	for _, file := range files {
		kind := catalog.Kind(strings.TrimSuffix(path.Base(file), ".csv"))
		if _, known := kind.Spec(); !known {
			r.broken = true
			var kinds []string
			for _, k := range catalog.Kinds {
				kinds = append(kinds, string(k.Kind))
			}
			r.bad(place{file: file}, "", "%q is not a kind of part%s; name the file after a kind: %s", kind, near(string(kind), kinds), strings.Join(kinds, ", "))
			continue
		}
		err := eachRow(r, file, PartTable(r.data.Currency, kind), func(p *catalog.Part, at place) {
			r.article(&p.Offer, at)
			r.refer(at, "requires", p.Requires...)
			r.refer(at, "conflicts", p.Conflicts...)
			r.data.Parts = append(r.data.Parts, p)
		})
		if err != nil {
			return err
		}
	}
	return nil
}

func (r *reader) bundles() error {
	bySKU, places := map[string]*catalog.Bundle{}, map[string]place{}
	err := eachRow(r, "bundles.csv", BundleTable(r.data.Currency), func(b *catalog.Bundle, at place) {
		r.article(&b.Offer, at)
		bySKU[b.SKU], places[b.SKU] = b, at
		r.data.Bundles = append(r.data.Bundles, b)
	})
	if err != nil {
		return err
	}
	err = eachRow(r, "bundle_contents.csv", BundleContentTable(), func(c *BundleContent, at place) {
		b := bySKU[c.BundleSKU]
		switch {
		case b == nil && (r.broken || c.BundleSKU == ""):
		case b == nil:
			r.bad(at, "bundle_sku", "no bundle has the SKU %q%s; correct it or take the row out", c.BundleSKU, near(c.BundleSKU, keys(bySKU)))
		case bySKU[c.SKU] != nil:
			r.bad(at, "sku", "%s is a bundle, and a bundle cannot hold another; list what is in it", c.SKU)
		case c.SKU != "" && slices.ContainsFunc(b.Contents, func(a catalog.Amount) bool { return a.SKU == c.SKU }):
			r.bad(at, "sku", "%s is in bundle %s already; list it once with the sum", c.SKU, b.SKU)
		default:
			r.refer(at, "sku", c.SKU)
			b.Contents = append(b.Contents, c.Amount)
		}
	})
	if err != nil || r.broken {
		return err
	}
	for _, b := range r.data.Bundles {
		if len(b.Contents) == 0 {
			r.bad(places[b.SKU], "sku", "bundle %s is empty; list what is in it in bundle_contents.csv", b.SKU)
		}
	}
	return nil
}

func (r *reader) stock() error {
	type key struct{ sku, location string }
	first := map[key]place{}
	var locations []string
	for _, l := range r.data.Locations {
		locations = append(locations, l.ID)
	}
	return eachRow(r, "stock.csv", StockTable(), func(s *catalog.Stock, at place) {
		k := key{s.SKU, s.Location}
		if p, twice := first[k]; twice && s.SKU != "" {
			r.bad(at, "sku", "the stock of %s at %s stands at %s already; list it once", s.SKU, s.Location, p)
			return
		}
		first[k] = at
		r.refer(at, "sku", s.SKU)
		if s.Location != "" && !slices.Contains(locations, s.Location) && !r.broken {
			r.bad(at, "location", "no location has the id %q%s; accepted: %s", s.Location, near(s.Location, locations), strings.Join(locations, ", "))
		}
		r.data.Stock = append(r.data.Stock, *s)
	})
}

func (r *reader) rules() error {
	files, err := fs.Glob(r.fsys, "rules/*.yaml")
	if err != nil {
		return err
	}
	for _, file := range files {
		text, err := fs.ReadFile(r.fsys, file)
		if err != nil {
			return err
		}
		r.data.RuleFiles[path.Base(file)] = string(text)
	}
	return nil
}

// references checks that every SKU a row names exists. When rows could not be read
// their SKUs are unknown, and complaints about them would only mislead. Searching
// near spellings takes as long as the catalogue is large, so the first few get them.
func (r *reader) references() error {
	if r.broken {
		return nil
	}
	skus, suggestions := keys(r.articles), 20
	for _, w := range r.wanted {
		if _, ok := r.articles[w.sku]; ok {
			continue
		}
		meant := ""
		if suggestions--; suggestions >= 0 {
			meant = near(w.sku, skus)
		}
		r.bad(w.place, w.column, "no part, carburetor or bundle has the SKU %q%s; correct it or take it out", w.sku, meant)
	}
	return nil
}

// rings refuses articles that replace themselves.
func (r *reader) rings() error {
	for _, ring := range catalog.Rings(r.replacedBy) {
		for _, sku := range ring {
			r.bad(r.articles[sku], "replaced_by", "%s", ring)
		}
	}
	return nil
}

// near suggests what an unknown name may have meant.
func near(word string, among []string) string {
	if list := catalog.Near(word, among, 3); len(list) > 0 {
		return ", did you mean " + strings.Join(list, " or ") + "?"
	}
	return ""
}

func keys[V any](m map[string]V) []string {
	list := make([]string, 0, len(m))
	for k := range m {
		list = append(list, k)
	}
	slices.Sort(list)
	return list
}
