package store

import (
	"context"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"math"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"onetrip/internal/catalog"
	"onetrip/internal/rules"
	"onetrip/internal/units"
)

// Load reads the whole catalogue as it is at one moment: one query a table, in one
// repeatable-read transaction. ErrEmpty when there is none.
func Load(ctx context.Context, pool *pgxpool.Pool) (*catalog.Data, error) {
	var d *catalog.Data
	err := pgx.BeginTxFunc(ctx, pool, pgx.TxOptions{IsoLevel: pgx.RepeatableRead, AccessMode: pgx.ReadOnly}, func(tx pgx.Tx) (err error) {
		d, err = load(ctx, tx)
		return err
	})
	return d, pgError(err)
}

func load(ctx context.Context, tx pgx.Tx) (*catalog.Data, error) {
	d := &catalog.Data{RuleFiles: map[string]string{}}
	err := tx.QueryRow(ctx, "SELECT revision, currency FROM catalogue").Scan(&d.Revision, &d.Currency)
	if errors.Is(err, pgx.ErrNoRows) {
		return nil, ErrEmpty
	}
	if err != nil {
		return nil, err
	}
	for _, read := range []func() error{
		func() (err error) { d.Locations, err = loadLocations(ctx, tx); return },
		func() (err error) { d.Vehicles, err = loadVehicles(ctx, tx, ""); return },
		func() (err error) { d.Carburetors, err = loadCarburetors(ctx, tx, d.Currency, ""); return },
		func() (err error) { d.Parts, err = loadParts(ctx, tx, d.Currency, ""); return },
		func() (err error) { d.Bundles, err = loadBundles(ctx, tx, d.Currency, ""); return },
		func() (err error) { d.Stock, err = loadStock(ctx, tx, ""); return },
		func() (err error) { d.RuleFiles, err = loadRules(ctx, tx); return },
	} {
		if err := read(); err != nil {
			return nil, err
		}
	}
	return d, nil
}

// each runs a query and calls take for each row after scanning it into fields.
func each(ctx context.Context, tx pgx.Tx, sql string, args []any, fields []any, take func() error) error {
	rows, err := tx.Query(ctx, sql, args...)
	if err != nil {
		return err
	}
	_, err = pgx.ForEachRow(rows, fields, take)
	return err
}

// where is the condition that picks one row when an id is given.
func where(column, id string) (sql string, args []any) {
	if id == "" {
		return "", nil
	}
	return " WHERE " + column + " = $1", []any{id}
}

func loadLocations(ctx context.Context, tx pgx.Tx) (list []catalog.Location, err error) {
	var l catalog.Location
	err = each(ctx, tx, "SELECT id, name FROM locations ORDER BY place", nil, []any{&l.ID, &l.Name}, func() error {
		list = append(list, l)
		return nil
	})
	return list, err
}

// loadVehicles reads all vehicles, or the one with the id. So for the others.
func loadVehicles(ctx context.Context, tx pgx.Tx, id string) ([]*catalog.Vehicle, error) {
	cond, args := where("id", id)
	rows, err := tx.Query(ctx, "SELECT "+vehicleColumns+" FROM vehicles"+cond, args...)
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, func(row pgx.CollectableRow) (*catalog.Vehicle, error) {
		v := &catalog.Vehicle{}
		return v, row.Scan(vehicleFields(v)...)
	})
}

func loadCarburetors(ctx context.Context, tx pgx.Tx, currency, sku string) ([]*catalog.Carburetor, error) {
	cond, args := where("sku", sku)
	rows, err := tx.Query(ctx, "SELECT "+offerColumns+","+carburetorColumns+" FROM offers JOIN carburetors USING (sku)"+cond, args...)
	if err != nil {
		return nil, err
	}
	bySKU := map[string]*catalog.Carburetor{}
	list, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (*catalog.Carburetor, error) {
		k := &catalog.Carburetor{}
		k.Price.Currency = currency
		err := row.Scan(append(offerFields(&k.Offer), carburetorFields(k)...)...)
		bySKU[k.SKU] = k
		return k, err
	})
	if err != nil {
		return nil, err
	}
	var owner string
	var p catalog.Port
	err = each(ctx, tx, "SELECT sku,"+portColumns+" FROM carburetor_ports"+cond+" ORDER BY sku, place", args, append([]any{&owner}, portFields(&p)...), func() error {
		bySKU[owner].Ports = append(bySKU[owner].Ports, p)
		p = catalog.Port{} // a NULL leaves a field as it is
		return nil
	})
	if err != nil {
		return nil, err
	}
	var b catalog.InBox
	err = each(ctx, tx, "SELECT sku,"+inBoxColumns+" FROM carburetor_in_box"+cond+" ORDER BY sku, place", args, append([]any{&owner}, inBoxFields(&b)...), func() error {
		bySKU[owner].InBox = append(bySKU[owner].InBox, b)
		b = catalog.InBox{}
		return nil
	})
	return list, err
}

func loadBundles(ctx context.Context, tx pgx.Tx, currency, sku string) ([]*catalog.Bundle, error) {
	cond, args := where("sku", sku)
	rows, err := tx.Query(ctx, "SELECT "+offerColumns+" FROM offers JOIN bundles USING (sku)"+cond, args...)
	if err != nil {
		return nil, err
	}
	bySKU := map[string]*catalog.Bundle{}
	list, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (*catalog.Bundle, error) {
		b := &catalog.Bundle{}
		b.Price.Currency = currency
		err := row.Scan(offerFields(&b.Offer)...)
		bySKU[b.SKU] = b
		return b, err
	})
	if err != nil {
		return nil, err
	}
	var owner string
	var a catalog.Amount
	cond, args = where("bundle_sku", sku)
	err = each(ctx, tx, "SELECT bundle_sku, part_sku, quantity FROM bundle_contents"+cond+" ORDER BY bundle_sku, place", args, []any{&owner, &a.SKU, &a.Quantity}, func() error {
		bySKU[owner].Contents = append(bySKU[owner].Contents, a)
		return nil
	})
	return list, err
}

func loadRules(ctx context.Context, tx pgx.Tx) (map[string]string, error) {
	texts, err := loadRuleTexts(ctx, tx)
	return rules.Join(texts), err
}

// The two tables that can be large are read from the wire format: a million parts
// through Scan would take several times as long, and most of their texts and forms
// repeat.

// binaryResults asks for the wire format the functions below read.
var binaryResults = pgx.QueryResultFormats{pgx.BinaryFormatCode}

func loadStock(ctx context.Context, tx pgx.Tx, cond string, args ...any) ([]catalog.Stock, error) {
	rows, err := tx.Query(ctx, "SELECT sku, location, on_hand FROM stock"+cond, append([]any{binaryResults}, args...)...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var list []catalog.Stock
	texts := interner{}
	var s catalog.Stock
	for rows.Next() {
		raw := rows.RawValues()
		if string(raw[0]) != s.SKU { // rows of one SKU mostly lie together
			s.SKU = string(raw[0])
		}
		s.Location, s.OnHand = texts.text(raw[1]), int(rawInt(raw[2]))
		list = append(list, s)
	}
	return list, rows.Err()
}

func loadParts(ctx context.Context, tx pgx.Tx, currency, sku string) ([]*catalog.Part, error) {
	relations, err := loadRelations(ctx, tx, sku)
	if err != nil {
		return nil, err
	}
	cond, args := where("sku", sku)
	rows, err := tx.Query(ctx, "SELECT "+offerColumns+","+partColumns+" FROM offers JOIN parts USING (sku)"+cond, append([]any{binaryResults}, args...)...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	r := partReader{texts: interner{}, forms: map[string]*catalog.Form{}}
	var list []*catalog.Part
	for rows.Next() {
		p, err := r.part(rows.RawValues(), currency)
		if err != nil {
			return nil, err
		}
		if rel, ok := relations[p.SKU]; ok {
			p.Requires, p.Conflicts = rel.requires, rel.conflicts
		}
		list = append(list, p)
	}
	return list, rows.Err()
}

type partRelations struct{ requires, conflicts []string }

func loadRelations(ctx context.Context, tx pgx.Tx, sku string) (map[string]partRelations, error) {
	cond, args := where("sku", sku)
	bySKU := map[string]partRelations{}
	var owner, relation, other string
	err := each(ctx, tx, "SELECT sku, relation, other FROM part_relations"+cond+" ORDER BY sku, relation, place", args, []any{&owner, &relation, &other}, func() error {
		r := bySKU[owner]
		if relation == "requires" {
			r.requires = append(r.requires, other)
		} else {
			r.conflicts = append(r.conflicts, other)
		}
		bySKU[owner] = r
		return nil
	})
	return bySKU, err
}

// interner keeps one copy of each text.
type interner map[string]string

func (in interner) text(b []byte) string {
	if s, ok := in[string(b)]; ok {
		return s
	}
	s := string(b)
	in[s] = s
	return s
}

// partReader reads rows of offerColumns and partColumns. Parts of one form share it.
type partReader struct {
	texts interner
	forms map[string]*catalog.Form
	key   []byte
}

func (r *partReader) part(raw [][]byte, currency string) (*catalog.Part, error) {
	p := &catalog.Part{Offer: catalog.Offer{
		SKU:          string(raw[0]),
		Name:         string(raw[1]),
		Finish:       catalog.Finish(r.texts.text(raw[2])),
		PackQuantity: int(rawInt(raw[3])),
		Price:        units.Money{AmountMinor: rawInt(raw[4]), Currency: currency},
		LeadTimeDays: int(rawInt(raw[5])),
		GTIN:         string(raw[6]),
		Discontinued: raw[7][0] != 0,
		ReplacedBy:   string(raw[8]),
	}}
	form := raw[9:]
	r.key = r.key[:0]
	for _, value := range form {
		r.key = binary.AppendVarint(r.key, int64(len(value)))
		r.key = append(r.key, value...)
	}
	if f, ok := r.forms[string(r.key)]; ok {
		p.Form = f
		return p, nil
	}
	f, err := r.form(form)
	if err != nil {
		return nil, fmt.Errorf("part %q in the database: %w", p.SKU, err)
	}
	r.forms[string(r.key)], p.Form = f, f
	return p, nil
}

func (r *partReader) form(raw [][]byte) (*catalog.Form, error) {
	f := &catalog.Form{Kind: catalog.Kind(r.texts.text(raw[0])), LengthIn: rawFloat(raw[4]), HeightIn: rawFloat(raw[5])}
	for _, text := range raw[2:4] {
		if text == nil {
			continue
		}
		e, err := catalog.ParseEnd(string(text))
		if err != nil {
			return nil, err
		}
		f.Ends = append(f.Ends, e)
	}
	var typed catalog.Part // reads attributes as their kind demands
	const jsonbVersion = 1 // length of the version before the text of a jsonb value
	text := fmt.Appendf(nil, `{"kind":%q,"attributes":%s}`, f.Kind, raw[1][jsonbVersion:])
	if err := json.Unmarshal(text, &typed); err != nil {
		return nil, err
	}
	f.Attributes = typed.Attributes
	return f, nil
}

func rawInt(b []byte) int64 {
	switch len(b) {
	case 2:
		return int64(int16(binary.BigEndian.Uint16(b)))
	case 4:
		return int64(int32(binary.BigEndian.Uint32(b)))
	}
	return int64(binary.BigEndian.Uint64(b))
}

func rawFloat(b []byte) float64 {
	if b == nil {
		return 0
	}
	return math.Float64frombits(binary.BigEndian.Uint64(b))
}

// attributesJSON is an object of a part's attributes.
func attributesJSON(attrs []catalog.Attr) []byte {
	object := make(map[string]any, len(attrs))
	for _, a := range attrs {
		switch a.Type {
		case catalog.AttrNumber:
			object[a.Name] = a.Value.Num
		case catalog.AttrBool:
			object[a.Name] = a.Value.Num != 0
		case catalog.AttrNumbers:
			object[a.Name] = a.Value.Numbers
		default:
			object[a.Name] = a.Value.Text
		}
	}
	text, err := json.Marshal(object)
	if err != nil { // numbers are finite since Validate, the rest always marshals
		panic(err)
	}
	return text
}
