package catalog

import (
	"cmp"
	"encoding/binary"
	"fmt"
	"math"
	"slices"
	"sort"
	"sync"
)

// Snapshot is the catalogue at one revision: immutable, indexed and safe to share
// between goroutines. NewSnapshot takes ownership of the Data it is given, but for parts and
// bundles, which it copies.
type Snapshot struct {
	Revision  int64
	Currency  string
	Locations []Location

	vehicles    []*Vehicle
	carburetors []*Carburetor
	parts       []*Part
	tied        []*Part // of parts
	bundles     []*Bundle

	vehicleByID map[string]*Vehicle
	bySKU       map[string]any // *Part, *Carburetor or *Bundle

	forms     map[Kind][]*Form
	formCount int32
	joining   map[kindEnd][]*Form

	offers int     // how many there are: parts, carburetors and bundles
	stock  []int32 // by offer ordinal, then location

	texts func() *partTexts // see SearchParts
}

type kindEnd struct {
	kind Kind
	end  End
}

// NewSnapshot indexes a catalogue. It fails on what would make answers wrong:
// a duplicate id or SKU, a bundle of unknown parts, stock of an unknown SKU or
// location, a price in another currency.
func NewSnapshot(d *Data) (*Snapshot, error) {
	s := &Snapshot{
		Revision: d.Revision, Currency: d.Currency, Locations: d.Locations,
		vehicles: d.Vehicles, carburetors: d.Carburetors, bundles: slices.Clone(d.Bundles),
		vehicleByID: make(map[string]*Vehicle, len(d.Vehicles)),
		bySKU:       make(map[string]any, len(d.Parts)+len(d.Carburetors)+len(d.Bundles)),
		forms:       map[Kind][]*Form{},
		joining:     map[kindEnd][]*Form{},
	}
	slices.SortFunc(s.vehicles, func(a, b *Vehicle) int { return cmp.Compare(a.ID, b.ID) })
	slices.SortFunc(s.carburetors, func(a, b *Carburetor) int { return cmp.Compare(a.SKU, b.SKU) })
	slices.SortFunc(s.bundles, func(a, b *Bundle) int { return cmp.Compare(a.SKU, b.SKU) })
	for _, v := range s.vehicles {
		if _, twice := s.vehicleByID[v.ID]; twice {
			return nil, fmt.Errorf("vehicle %q is in the catalogue twice", v.ID)
		}
		s.vehicleByID[v.ID] = v
	}
	s.gather(d.Parts)
	for _, p := range s.parts {
		if err := s.offer(&p.Offer, p); err != nil {
			return nil, err
		}
		if len(p.Requires)+len(p.Conflicts) > 0 {
			s.tie(p)
		}
	}
	for _, p := range s.parts {
		for i, skus := range [...][]string{p.Requires, p.Conflicts} {
			for _, sku := range skus {
				other, ok := s.bySKU[sku].(*Part)
				switch {
				case !ok:
				case i == 0:
					for _, r := range s.Replacements(other) {
						s.tie(r)
						r.required = true
					}
				default:
					s.tie(other)
				}
			}
		}
	}
	slices.SortFunc(s.tied, func(a, b *Part) int { return cmp.Compare(a.SKU, b.SKU) })
	s.offers = len(s.parts)
	for _, c := range s.carburetors {
		c.ordinal = int32(s.offers)
		if err := s.offer(&c.Offer, c); err != nil {
			return nil, err
		}
		s.offers++
	}
	for i, given := range s.bundles {
		b := &Bundle{Offer: given.Offer, Contents: given.Contents, index: i}
		s.bundles[i], b.ordinal = b, int32(s.offers)
		if err := s.offer(&b.Offer, b); err != nil {
			return nil, err
		}
		s.offers++
		for _, a := range b.Contents {
			p, ok := s.bySKU[a.SKU].(*Part)
			if !ok {
				return nil, fmt.Errorf("bundle %q holds %q, which is not a part of the catalogue", b.SKU, a.SKU)
			}
			if !p.Discontinued {
				p.bundles = append(p.bundles, b)
			}
			b.parts = append(b.parts, p)
		}
	}
	s.texts = sync.OnceValue(func() *partTexts { return textsOf(s.parts) })
	s.stock = make([]int32, s.offers*len(s.Locations))
	if err := setStock(s, d.Stock); err != nil {
		return nil, err
	}
	return s, nil
}

// tie notes a part that is tied.
func (s *Snapshot) tie(p *Part) {
	if !p.tied {
		p.tied = true
		s.tied = append(s.tied, p)
	}
}

// offer files what is for sale under its SKU.
func (s *Snapshot) offer(o *Offer, thing any) error {
	if _, twice := s.bySKU[o.SKU]; twice {
		return fmt.Errorf("SKU %q is in the catalogue twice", o.SKU)
	}
	if o.Price.Currency != s.Currency {
		return fmt.Errorf("SKU %q: price is in %s, the catalogue's currency is %s", o.SKU, o.Price.Currency, s.Currency)
	}
	s.bySKU[o.SKU] = thing
	return nil
}

// gather makes the parts anew, and one Form for all of equal form, where the cheapest of each
// kind lie together: those are what searches look at, and in a large catalogue that lies all
// about each would have to be fetched from far away. Ordinals are in that order, parts are
// listed by SKU.
func (s *Snapshot) gather(given []*Part) {
	s.parts = slices.SortedFunc(slices.Values(given), func(a, b *Part) int {
		return cmp.Or(cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.Price.AmountMinor, b.Price.AmountMinor), cmp.Compare(a.SKU, b.SKU))
	})
	parts, known := make([]Part, len(given)), make(map[string]*Form, len(given)/2)
	var forms pile[Form]
	var attributes pile[Attr]
	var ends pile[End]
	for n, from := range s.parts {
		p := &parts[n]
		*p = Part{Offer: from.Offer, Requires: from.Requires, Conflicts: from.Conflicts}
		p.ordinal = int32(n)
		key := from.Form.Key()
		f := known[key]
		if f == nil {
			f = &forms.take(1)[0]
			*f = Form{Kind: from.Kind, Attributes: attributes.take(len(from.Attributes)), Ends: ends.take(len(from.Ends)), LengthIn: from.LengthIn, HeightIn: from.HeightIn}
			copy(f.Attributes, from.Attributes)
			copy(f.Ends, from.Ends)
			known[key] = f
		}
		p.Form, f.parts, s.parts[n] = f, append(f.parts, p), p
	}
	slices.SortFunc(s.parts, func(a, b *Part) int { return cmp.Compare(a.SKU, b.SKU) })
	for _, p := range s.parts {
		if p.number == 0 {
			s.file(p.Form)
		}
	}
}

// A pile hands out memory that lies together.
type pile[T any] struct{ room []T }

func (p *pile[T]) take(n int) []T {
	if len(p.room) < n {
		p.room = make([]T, max(n, 1024))
	}
	taken := p.room[:n:n]
	p.room = p.room[n:]
	return taken
}

// file files a form under its kind and ends.
func (s *Snapshot) file(f *Form) {
	f.thread = f.Thread()
	if f.spec, _ = f.Kind.Spec(); f.spec != nil {
		f.Kind = f.spec.Kind // one text for all, which makes comparing quick
	}
	s.formCount++
	f.place, f.number = len(s.forms[f.Kind]), s.formCount
	s.forms[f.Kind] = append(s.forms[f.Kind], f)
	for i, e := range f.Ends {
		if i == 0 || e != f.Ends[0] {
			s.joining[kindEnd{f.Kind, e}] = append(s.joining[kindEnd{f.Kind, e}], f)
		}
	}
}

func setStock(s *Snapshot, levels []Stock) error {
	locations := make(map[string]int, len(s.Locations))
	for i, l := range s.Locations {
		locations[l.ID] = i
	}
	for _, l := range levels {
		o := s.Offer(l.SKU)
		at, ok := locations[l.Location]
		switch {
		case o == nil:
			return fmt.Errorf("stock of %q: no such SKU in the catalogue", l.SKU)
		case !ok:
			return fmt.Errorf("stock of %q: no location %q in the catalogue", l.SKU, l.Location)
		case l.OnHand < 0 || l.OnHand > math.MaxInt32:
			return fmt.Errorf("stock of %q at %q: %d is not a count from 0 to %d", l.SKU, l.Location, l.OnHand, math.MaxInt32)
		}
		s.stock[int(o.ordinal)*len(s.Locations)+at] = int32(l.OnHand)
	}
	return nil
}

// WithStock is the snapshot with other stock levels and a new revision. Everything
// but the stock table is shared.
func (s *Snapshot) WithStock(revision int64, levels []Stock) (*Snapshot, error) {
	next := *s
	next.Revision = revision
	next.stock = slices.Clone(s.stock)
	if err := setStock(&next, levels); err != nil {
		return nil, err
	}
	return &next, nil
}

// plenty is more packs of one part than any kit takes.
const plenty = 1 << 20

// WithPlenty is the snapshot as if every location had plenty of every offer: what the
// catalogue sells, whatever is in stock. Everything but the stock table is shared.
func (s *Snapshot) WithPlenty() *Snapshot {
	next := *s
	next.stock = make([]int32, len(s.stock))
	for i := range next.stock {
		next.stock[i] = plenty
	}
	return &next
}

// WithParts is the snapshot as if it sold further parts too, plenty of each, for trying
// what they would do: rules and fit find them, by form; their SKUs are not known. They
// must be valid, and neither require nor conflict with others.
func (s *Snapshot) WithParts(parts []*Part) *Snapshot {
	next := *s
	next.forms, next.joining = make(map[Kind][]*Form, len(s.forms)), make(map[kindEnd][]*Form, len(s.joining))
	for k, forms := range s.forms {
		next.forms[k] = slices.Clip(forms)
	}
	for k, forms := range s.joining {
		next.joining[k] = slices.Clip(forms)
	}
	next.stock, next.offers = slices.Clone(s.stock), s.offers+len(parts)
	for i, p := range parts {
		own, form := *p, *p.Form
		own.Form, own.ordinal = &form, int32(s.offers+i)
		form.parts = []*Part{&own}
		next.file(&form)
		for range s.Locations {
			next.stock = append(next.stock, plenty)
		}
	}
	return &next
}

// Vehicles lists vehicles by id; the slice must not be changed. So for the others.
func (s *Snapshot) Vehicles() []*Vehicle { return s.vehicles }

// Carburetors lists carburetors by SKU.
func (s *Snapshot) Carburetors() []*Carburetor { return s.carburetors }

// Parts lists parts by SKU.
func (s *Snapshot) Parts() []*Part { return s.parts }

// Tied lists the parts that are tied by SKU.
func (s *Snapshot) Tied() []*Part { return s.tied }

// Bundles lists bundles by SKU.
func (s *Snapshot) Bundles() []*Bundle { return s.bundles }

// Vehicle returns a vehicle by id, or a NotFoundError with near spellings.
func (s *Snapshot) Vehicle(id string) (*Vehicle, error) {
	if v, ok := s.vehicleByID[id]; ok {
		return v, nil
	}
	return nil, &NotFoundError{What: "vehicle", ID: id, Near: nearIDs(id, s.vehicles, func(v *Vehicle) string { return v.ID })}
}

// Carburetor returns a carburetor by SKU, or a NotFoundError with near spellings.
func (s *Snapshot) Carburetor(sku string) (*Carburetor, error) {
	if c, ok := s.bySKU[sku].(*Carburetor); ok {
		return c, nil
	}
	return nil, &NotFoundError{What: "carburetor", ID: sku, Near: nearIDs(sku, s.carburetors, func(c *Carburetor) string { return c.SKU })}
}

// Part returns a part by SKU, or a NotFoundError with near spellings.
func (s *Snapshot) Part(sku string) (*Part, error) {
	if p, ok := s.bySKU[sku].(*Part); ok {
		return p, nil
	}
	return nil, &NotFoundError{What: "part", ID: sku, Near: nearIDs(sku, s.parts, func(p *Part) string { return p.SKU })}
}

// Replacements lists a part and what takes its place: while none of these is sold any more,
// the part that replaces the last.
func (s *Snapshot) Replacements(p *Part) []*Part {
	all := []*Part{p}
	for p.Discontinued {
		next, ok := s.bySKU[p.ReplacedBy].(*Part)
		if !ok || slices.Contains(all, next) {
			break
		}
		p, all = next, append(all, next)
	}
	return all
}

// Bundle returns a bundle by SKU, or a NotFoundError with near spellings.
func (s *Snapshot) Bundle(sku string) (*Bundle, error) {
	if b, ok := s.bySKU[sku].(*Bundle); ok {
		return b, nil
	}
	return nil, &NotFoundError{What: "bundle", ID: sku, Near: nearIDs(sku, s.bundles, func(b *Bundle) string { return b.SKU })}
}

// nearWindow bounds how many ids are compared for a near spelling: those around
// the place where the wrong id would sort, so that a typing error never costs a
// walk over a million SKUs.
const nearWindow = 2000

func nearIDs[T any](id string, sorted []T, idOf func(T) string) []string {
	at := sort.Search(len(sorted), func(i int) bool { return idOf(sorted[i]) >= id })
	from, to := max(0, at-nearWindow/2), min(len(sorted), at+nearWindow/2)
	ids := make([]string, 0, to-from)
	for _, v := range sorted[from:to] {
		ids = append(ids, idOf(v))
	}
	return Near(id, ids, 3)
}

// Offers is how many parts, carburetors and bundles there are; Offer.Ordinal numbers them.
func (s *Snapshot) Offers() int { return s.offers }

// Offer returns what is for sale under a SKU, nil when nothing is.
func (s *Snapshot) Offer(sku string) *Offer {
	switch t := s.bySKU[sku].(type) {
	case *Part:
		return &t.Offer
	case *Carburetor:
		return &t.Offer
	case *Bundle:
		return &t.Offer
	}
	return nil
}

// Location returns the index of a location in Locations, or a NotFoundError that lists them.
func (s *Snapshot) Location(id string) (int, error) {
	if i := slices.IndexFunc(s.Locations, func(l Location) bool { return l.ID == id }); i >= 0 {
		return i, nil
	}
	all := make([]string, len(s.Locations))
	for i, l := range s.Locations {
		all[i] = l.ID
	}
	return -1, &NotFoundError{What: "location", ID: id, Near: Near(id, all, 3), All: all}
}

// AllLocations as a location index means stock in all locations together.
const AllLocations = -1

// OnHand is how many packs of an offer a location has; AllLocations adds up.
func (s *Snapshot) OnHand(o *Offer, location int) int {
	row := s.stock[int(o.ordinal)*len(s.Locations):][:len(s.Locations)]
	if location != AllLocations {
		return int(row[location])
	}
	total := 0
	for _, n := range row {
		total += int(n)
	}
	return total
}

// StockLevels lists an offer's stock at every location, in the order of Locations.
func (s *Snapshot) StockLevels(o *Offer) []StockLevel {
	levels := make([]StockLevel, len(s.Locations))
	for i, l := range s.Locations {
		levels[i] = StockLevel{Location: l.ID, OnHand: s.OnHand(o, i)}
	}
	return levels
}

// Forms lists the forms of a kind.
func (s *Snapshot) Forms(k Kind) []*Form { return s.forms[k] }

// FormsJoining calls yield for every form of a kind with an end that mates with e.
func (s *Snapshot) FormsJoining(k Kind, e End, yield func(*Form)) {
	visit := func(e End) {
		for _, f := range s.joining[kindEnd{k, e}] {
			yield(f)
		}
	}
	switch e.Family {
	case Hose:
		visit(End{Family: HoseBarb, Size: e.Size})
		visit(End{Family: PlainTube, Size: e.Size})
	case HoseBarb, PlainTube:
		visit(End{Family: Hose, Size: e.Size})
	default:
		if m, ok := e.Mate(); ok {
			visit(m)
		}
	}
}

// Index finds the forms of one kind by equality of a fixed list of attributes, in
// time that does not grow with the catalogue.
type Index struct {
	attrs   []string
	buckets map[string]*Bucket // by appendKey of the values
}

// A Bucket is forms that are found together, in the order of Snapshot.Forms, and their
// parts on sale that are not tied as a search for the cheapest wants them: in Rows, for the
// price of tied ones says little. Of kinds that stand in the mounting stack those of
// Rows are on Ladders too.
type Bucket struct {
	Forms   []*Form
	Rows    []Row
	Ladders []Ladder

	Finishes []Finish // of all parts of Forms
}

// A Row is parts of one finish and pack, cheapest first, so that a search ends where
// nothing better can come. In buckets by length they are of one length too. Of rows, too,
// the one with the cheapest part is first.
type Row struct {
	Finish   Finish
	Pack     int     // 1 for all where one piece is all that is taken
	LengthIn float64 // 0 unless by length
	Parts    []RowPart
}

// A RowPart is a part of a row, with what is looked at first beside it: a catalogue is
// larger than any cache.
type RowPart struct {
	PriceMinor int64
	Form       *Form
	Part       *Part
	More       int32 // in an Index: the first after it that may be accepted where all before that are refused
}

// UnitsPerPack is how many units one pack holds: pieces, in buckets by length whole inches.
func (r *Row) UnitsPerPack() int { return max(r.Pack, 1) * max(int(r.LengthIn), 1) }

// Packs is how many packs so many units take, one or more.
func (r *Row) Packs(units int) int64 { return int64((units-1)/r.UnitsPerPack() + 1) }

// A Rowing is how much is taken of parts in a row: as many as are to be cut from their
// length, or one piece, or some.
type Rowing int8

// Rowings.
const (
	SomePieces Rowing = iota
	OnePiece
	ByLength
)

// NewBucket sorts the parts of forms.
func NewBucket(forms []*Form, by Rowing) *Bucket {
	type kind struct {
		finish   Finish
		pack     int
		lengthIn float64
	}
	b, rows := &Bucket{Forms: forms}, map[kind]int{}
	for _, f := range forms {
		for _, p := range f.parts {
			if !slices.Contains(b.Finishes, p.Finish) {
				b.Finishes = append(b.Finishes, p.Finish)
			}
			if !p.Discontinued && !p.Tied() {
				k := kind{finish: p.Finish, pack: p.PackQuantity}
				switch by {
				case OnePiece:
					k.pack = 1
				case ByLength:
					k.lengthIn = f.LengthIn
				}
				i, known := rows[k]
				if !known {
					i = len(b.Rows)
					rows[k] = i
					b.Rows = append(b.Rows, Row{Finish: k.finish, Pack: k.pack, LengthIn: k.lengthIn})
				}
				b.Rows[i].Parts = append(b.Rows[i].Parts, RowPart{PriceMinor: p.Price.AmountMinor, Form: f, Part: p})
			}
		}
	}
	for _, r := range b.Rows {
		slices.SortStableFunc(r.Parts, func(a, b RowPart) int { return cmp.Compare(a.PriceMinor, b.PriceMinor) })
	}
	slices.SortStableFunc(b.Rows, func(a, b Row) int { return cmp.Compare(a.Parts[0].PriceMinor, b.Parts[0].PriceMinor) })
	return b
}

// Index builds an index over the attributes named. Build once, look up often.
func (s *Snapshot) Index(k Kind, attrs []string, by Laddering) *Index {
	values := make([]Value, len(attrs))
	forms := map[string][]*Form{}
next:
	for _, f := range s.forms[k] {
		for i, name := range attrs {
			a, stated := f.Attr(name)
			if !stated {
				continue next
			}
			values[i] = a.Compared()
		}
		key := string(appendKey(nil, values))
		forms[key] = append(forms[key], f)
	}
	spec, _ := k.Spec()
	rowing := SomePieces
	if spec.ByLength {
		rowing = ByLength
	}
	stacked := spec.NeedsHeight || spec.NeedsLength && !spec.ByLength && spec.Ends == 0 // layers and studs
	ix := &Index{attrs: attrs, buckets: make(map[string]*Bucket, len(forms))}
	for key, list := range forms {
		b := NewBucket(list, rowing)
		for i := range b.Rows {
			b.Rows[i].link(by.AsGood)
		}
		if stacked {
			b.Ladders = newLadders(b.Rows, by)
		}
		ix.buckets[key] = b
	}
	return ix
}

// link finds More of the parts of a row.
func (r *Row) link(asGood func(f, as *Form) bool) {
	more, first := 0, []*Form{} // those that may be accepted where all before them are refused
	for k := range r.Parts {
		form := r.Parts[k].Form
		if slices.ContainsFunc(first, func(f *Form) bool { return f == form || asGood != nil && asGood(f, form) }) {
			continue
		}
		first = append(first, form)
		for ; more < k; more++ {
			r.Parts[more].More = int32(k)
		}
	}
	for ; more < len(r.Parts); more++ {
		r.Parts[more].More = int32(len(r.Parts))
	}
}

// Lookup returns the forms whose attributes equal values (as Attr.Compared gives them), in
// the order of the index's attributes.
func (ix *Index) Lookup(values []Value) *Bucket {
	var room [128]byte
	if b := ix.buckets[string(appendKey(room[:0], values))]; b != nil {
		return b
	}
	return &noForms
}

var noForms Bucket

// appendKey appends the values to a key, which differs when any of them does.
func appendKey(key []byte, values []Value) []byte {
	for _, v := range values {
		key = binary.LittleEndian.AppendUint64(key, math.Float64bits(v.Num+0)) // +0 folds -0 into 0
		key = binary.LittleEndian.AppendUint32(key, uint32(len(v.Text)))
		key = append(key, v.Text...)
	}
	return key
}
