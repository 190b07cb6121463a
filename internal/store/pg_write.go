package store

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"onetrip/internal/catalog"
	"onetrip/internal/units"
)

// writeTimeout bounds a write of one thing, waiting for other writers included.
const writeTimeout = 10 * time.Second

// Writer changes the catalogue. Each method is one transaction that validates, writes,
// keeps an audit row, makes a new revision and tells every replica. What is written
// already makes no new revision. Errors: *catalog.InvalidError, *catalog.NotFoundError,
// *catalog.ReferencedError, catalog.ErrPreconditionFailed, catalog.ErrUnavailable.
type Writer struct {
	Pool *pgxpool.Pool
	Live *Live // when set, a method returns after Live shows the revision, or a quarter of a second
}

// PutVehicle creates or replaces a vehicle.
func (w *Writer) PutVehicle(ctx context.Context, actor string, v *catalog.Vehicle, pre catalog.Precondition) (catalog.Written, error) {
	found := v.Validate()
	if v.ID == "" {
		found = append(found, catalog.Violation{Pointer: "/id", Detail: "is missing; a vehicle of the catalogue needs an id"})
	}
	return w.put(ctx, change{
		actor: actor, kind: "vehicle", key: v.ID, pre: pre, found: found, after: v,
		read: readVehicle, rows: &catalog.Data{Vehicles: []*catalog.Vehicle{v}},
	})
}

// DeleteVehicle deletes a vehicle that no rule names.
func (w *Writer) DeleteVehicle(ctx context.Context, actor, id string, pre catalog.Precondition) (catalog.Written, error) {
	return w.delete(ctx, change{actor: actor, kind: "vehicle", key: id, pre: pre, read: readVehicle})
}

// PutCarburetor creates or replaces a carburetor.
func (w *Writer) PutCarburetor(ctx context.Context, actor string, k *catalog.Carburetor, pre catalog.Precondition) (catalog.Written, error) {
	if len(k.Ports) == 0 || len(k.InBox) == 0 { // an empty list and none are one state, with one ETag
		same := *k
		if len(k.Ports) == 0 {
			same.Ports = nil
		}
		if len(k.InBox) == 0 {
			same.InBox = nil
		}
		k = &same
	}
	names := []name{{"/replaced_by", k.ReplacedBy, ""}}
	for i, b := range k.InBox {
		names = append(names, name{fmt.Sprintf("/in_box/%d/sku", i), b.SKU, ""})
	}
	return w.put(ctx, change{
		actor: actor, kind: "carburetor", key: k.SKU, pre: pre, found: k.Validate(), after: k, offer: &k.Offer, names: names,
		read: readCarburetor, rows: &catalog.Data{Carburetors: []*catalog.Carburetor{k}},
	})
}

// DeleteCarburetor deletes a carburetor that nothing names, and its stock.
func (w *Writer) DeleteCarburetor(ctx context.Context, actor, sku string, pre catalog.Precondition) (catalog.Written, error) {
	return w.delete(ctx, change{actor: actor, kind: "carburetor", key: sku, pre: pre, read: readCarburetor})
}

// PutPart creates or replaces a part.
func (w *Writer) PutPart(ctx context.Context, actor string, p *catalog.Part, pre catalog.Precondition) (catalog.Written, error) {
	names := []name{{"/replaced_by", p.ReplacedBy, ""}}
	for i, s := range p.Requires {
		names = append(names, name{fmt.Sprintf("/requires/%d", i), s, ""})
	}
	for i, s := range p.Conflicts {
		names = append(names, name{fmt.Sprintf("/conflicts/%d", i), s, ""})
	}
	return w.put(ctx, change{
		actor: actor, kind: "part", key: p.SKU, pre: pre, found: p.Validate(), after: p, offer: &p.Offer, names: names,
		read: readPart, rows: &catalog.Data{Parts: []*catalog.Part{p}},
	})
}

// DeletePart deletes a part that nothing names, and its stock.
func (w *Writer) DeletePart(ctx context.Context, actor, sku string, pre catalog.Precondition) (catalog.Written, error) {
	return w.delete(ctx, change{actor: actor, kind: "part", key: sku, pre: pre, read: readPart})
}

// PutBundle creates or replaces a bundle.
func (w *Writer) PutBundle(ctx context.Context, actor string, b *catalog.Bundle, pre catalog.Precondition) (catalog.Written, error) {
	names := []name{{"/replaced_by", b.ReplacedBy, ""}}
	for i, a := range b.Contents {
		names = append(names, name{fmt.Sprintf("/contents/%d/sku", i), a.SKU, "part"})
	}
	return w.put(ctx, change{
		actor: actor, kind: "bundle", key: b.SKU, pre: pre, found: b.Validate(), after: b, offer: &b.Offer, names: names,
		read: readBundle, rows: &catalog.Data{Bundles: []*catalog.Bundle{b}},
	})
}

// DeleteBundle deletes a bundle that nothing names, and its stock.
func (w *Writer) DeleteBundle(ctx context.Context, actor, sku string, pre catalog.Precondition) (catalog.Written, error) {
	return w.delete(ctx, change{actor: actor, kind: "bundle", key: sku, pre: pre, read: readBundle})
}

// PutStock replaces the stock of one SKU; every location must be listed. The ETag is
// of the levels in the order of the catalogue's locations, as Snapshot.StockLevels
// lists them.
func (w *Writer) PutStock(ctx context.Context, actor, sku string, levels []catalog.StockLevel, pre catalog.Precondition) (catalog.Written, error) {
	var found []catalog.Violation
	for i, l := range levels {
		for _, v := range (catalog.Stock{SKU: sku, Location: l.Location, OnHand: l.OnHand}).Validate() {
			if v.Pointer != "/sku" {
				found = append(found, catalog.Violation{Pointer: fmt.Sprintf("/%d%s", i, v.Pointer), Detail: v.Detail})
			}
		}
	}
	if len(found) > 0 {
		return catalog.Written{}, &catalog.InvalidError{What: "stock of " + sku, Violations: found}
	}
	return w.commit(ctx, func(ctx context.Context, tx pgx.Tx, current catalogueRow) (catalog.Written, error) {
		before, err := readStock(ctx, tx, sku)
		if err != nil {
			return catalog.Written{}, err
		}
		after, err := everyLocation(sku, before, levels)
		if err != nil {
			return catalog.Written{}, err
		}
		etag := catalog.ETag(before)
		if !pre.Holds(etag) {
			return catalog.Written{}, catalog.ErrPreconditionFailed
		}
		if slices.Equal(before, after) {
			return catalog.Written{Revision: current.revision, ETag: etag}, nil
		}
		revision, err := bump(ctx, tx, actor, "stock", "put stock "+sku)
		if err != nil {
			return catalog.Written{}, err
		}
		locations, counts := make([]string, len(after)), make([]int, len(after))
		for i, l := range after {
			locations[i], counts[i] = l.Location, l.OnHand
		}
		_, err = tx.Exec(ctx, `
			INSERT INTO stock (sku, location, on_hand, revision)
			SELECT $1, location, on_hand, $4 FROM unnest($2::text[], $3::integer[]) AS level (location, on_hand)
			ON CONFLICT (sku, location) DO UPDATE SET on_hand = excluded.on_hand, revision = excluded.revision
			WHERE stock.on_hand <> excluded.on_hand`, sku, locations, counts, revision)
		if err != nil {
			return catalog.Written{}, err
		}
		return catalog.Written{Revision: revision, ETag: catalog.ETag(after)}, audit(ctx, tx, actor, revision, "stock", sku, before, after)
	})
}

// everyLocation puts the levels in the order of before, which has every location.
func everyLocation(sku string, before, levels []catalog.StockLevel) ([]catalog.StockLevel, error) {
	var found []catalog.Violation
	index := func(list []catalog.StockLevel, location string) int {
		return slices.IndexFunc(list, func(l catalog.StockLevel) bool { return l.Location == location })
	}
	var ids []string
	for _, l := range before {
		ids = append(ids, l.Location)
	}
	for i, l := range levels {
		switch {
		case index(before, l.Location) < 0:
			found = append(found, catalog.Violation{Pointer: fmt.Sprintf("/%d/location", i), Detail: fmt.Sprintf("no location has the id %q%s; accepted: %s", l.Location, near(l.Location, ids), strings.Join(ids, ", "))})
		case index(levels, l.Location) < i:
			found = append(found, catalog.Violation{Pointer: fmt.Sprintf("/%d/location", i), Detail: fmt.Sprintf("%s is listed twice; list it once", l.Location)})
		}
	}
	after := slices.Clone(before)
	for i := range after {
		at := index(levels, after[i].Location)
		if at < 0 {
			found = append(found, catalog.Violation{Pointer: "", Detail: fmt.Sprintf("location %s is missing; list every location, with on_hand 0 where there is none", after[i].Location)})
			continue
		}
		after[i].OnHand = levels[at].OnHand
	}
	if len(found) > 0 {
		return nil, &catalog.InvalidError{What: "stock of " + sku, Violations: found}
	}
	return after, nil
}

// readStock reads the levels of a SKU at every location, in the catalogue's order.
func readStock(ctx context.Context, tx pgx.Tx, sku string) ([]catalog.StockLevel, error) {
	var exists bool
	if err := tx.QueryRow(ctx, "SELECT EXISTS (SELECT FROM offers WHERE sku = $1)", sku).Scan(&exists); err != nil {
		return nil, err
	}
	if !exists {
		return nil, &catalog.NotFoundError{What: "article", ID: sku}
	}
	rows, err := tx.Query(ctx, `SELECT l.id, coalesce(s.on_hand, 0) FROM locations l LEFT JOIN stock s ON s.location = l.id AND s.sku = $1 ORDER BY l.place`, sku)
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, func(row pgx.CollectableRow) (l catalog.StockLevel, err error) {
		return l, row.Scan(&l.Location, &l.OnHand)
	})
}

// change is the writing of one vehicle or article.
type change struct {
	actor, kind, key string
	pre              catalog.Precondition
	found            []catalog.Violation // by Validate
	offer            *catalog.Offer      // nil for a vehicle
	names            []name
	after            any
	rows             *catalog.Data // after, as rows of the tables
	read             func(ctx context.Context, tx pgx.Tx, currency, key string) (any, error)
}

// name is a SKU that a thing names; article says what it must be, "" for any.
type name struct{ pointer, sku, article string }

func (w *Writer) put(ctx context.Context, c change) (catalog.Written, error) {
	if len(c.found) > 0 {
		return catalog.Written{}, &catalog.InvalidError{What: c.kind + " " + c.key, Violations: c.found}
	}
	return w.commit(ctx, func(ctx context.Context, tx pgx.Tx, current catalogueRow) (catalog.Written, error) {
		before, etag, err := c.state(ctx, tx, current.currency)
		if err != nil {
			return catalog.Written{}, err
		}
		if !c.pre.Holds(etag) {
			return catalog.Written{}, catalog.ErrPreconditionFailed
		}
		after := catalog.Written{Revision: current.revision, ETag: catalog.ETag(c.after), Created: before == nil}
		if after.ETag == etag {
			return after, nil
		}
		found, err := c.unknownNames(ctx, tx)
		if err != nil {
			return catalog.Written{}, err
		}
		if c.offer != nil && c.offer.GTIN != "" {
			taken, err := c.takenGTIN(ctx, tx)
			if err != nil {
				return catalog.Written{}, err
			}
			found = append(found, taken...)
		}
		if c.offer != nil && c.offer.ReplacedBy != "" {
			ring, err := c.ring(ctx, tx)
			if err != nil {
				return catalog.Written{}, err
			}
			found = append(found, ring...)
		}
		if c.offer != nil && c.offer.Price.Currency != current.currency {
			found = append(found, wrongCurrency(c.offer.Price.Currency, current.currency))
		}
		if len(found) > 0 {
			return catalog.Written{}, &catalog.InvalidError{What: c.kind + " " + c.key, Violations: found}
		}
		if after.Revision, err = bump(ctx, tx, c.actor, "catalogue", "put "+c.kind+" "+c.key); err != nil {
			return catalog.Written{}, err
		}
		if err := replace(ctx, tx, c.key, c.rows); err != nil {
			return catalog.Written{}, err
		}
		return after, audit(ctx, tx, c.actor, after.Revision, c.kind, c.key, before, c.after)
	})
}

func (w *Writer) delete(ctx context.Context, c change) (catalog.Written, error) {
	return w.commit(ctx, func(ctx context.Context, tx pgx.Tx, current catalogueRow) (catalog.Written, error) {
		before, etag, err := c.state(ctx, tx, current.currency)
		switch {
		case err != nil:
			return catalog.Written{}, err
		case before == nil && len(c.pre.IfMatch) == 0:
			return catalog.Written{}, &catalog.NotFoundError{What: c.kind, ID: c.key}
		case !c.pre.Holds(etag):
			return catalog.Written{}, catalog.ErrPreconditionFailed
		}
		by, err := references(ctx, tx, c.kind, c.key)
		if err != nil {
			return catalog.Written{}, err
		}
		if len(by) > 0 {
			return catalog.Written{}, &catalog.ReferencedError{What: c.kind, ID: c.key, By: by}
		}
		revision, err := bump(ctx, tx, c.actor, "catalogue", "delete "+c.kind+" "+c.key)
		if err != nil {
			return catalog.Written{}, err
		}
		sql := "DELETE FROM offers WHERE sku = $1"
		if c.kind == "vehicle" {
			sql = "DELETE FROM vehicles WHERE id = $1"
		}
		if _, err := tx.Exec(ctx, sql, c.key); err != nil {
			return catalog.Written{}, err
		}
		return catalog.Written{Revision: revision}, audit(ctx, tx, c.actor, revision, c.kind, c.key, before, nil)
	})
}

// state reads the thing as it is, nil and no ETag when it is not there.
func (c *change) state(ctx context.Context, tx pgx.Tx, currency string) (before any, etag string, err error) {
	if before, err = c.read(ctx, tx, currency, c.key); before != nil {
		etag = catalog.ETag(before)
	}
	return before, etag, err
}

func readVehicle(ctx context.Context, tx pgx.Tx, _, id string) (any, error) {
	return only(loadVehicles(ctx, tx, id))
}

func readCarburetor(ctx context.Context, tx pgx.Tx, currency, sku string) (any, error) {
	return only(loadCarburetors(ctx, tx, currency, sku))
}

func readPart(ctx context.Context, tx pgx.Tx, currency, sku string) (any, error) {
	return only(loadParts(ctx, tx, currency, sku))
}

func readBundle(ctx context.Context, tx pgx.Tx, currency, sku string) (any, error) {
	return only(loadBundles(ctx, tx, currency, sku))
}

func only[T any](list []*T, err error) (any, error) {
	if err != nil || len(list) == 0 {
		return nil, err
	}
	return list[0], nil
}

// unknownNames lists the names of what is not in the catalogue, or not what it must be.
func (c *change) unknownNames(ctx context.Context, tx pgx.Tx) ([]catalog.Violation, error) {
	var skus []string
	for _, n := range c.names {
		skus = append(skus, n.sku)
	}
	var sku, article string
	articles := map[string]string{}
	err := each(ctx, tx, "SELECT sku, article FROM offers WHERE sku = ANY($1::text[])", []any{append(skus, c.key)}, []any{&sku, &article}, func() error {
		articles[sku] = article
		return nil
	})
	if err != nil {
		return nil, err
	}
	var found []catalog.Violation
	bad := func(pointer, format string, args ...any) {
		found = append(found, catalog.Violation{Pointer: pointer, Detail: fmt.Sprintf(format, args...)})
	}
	if own := articles[c.key]; c.offer != nil && own != "" && own != c.kind {
		bad("/sku", "%s is the SKU of a %s; give each article its own", c.key, own)
	}
	for _, n := range c.names {
		switch is := articles[n.sku]; {
		case n.sku == "" || is != "" && (n.article == "" || n.article == is):
		case is == "":
			meant, err := nearSKU(ctx, tx, n.sku)
			if err != nil {
				return nil, err
			}
			bad(n.pointer, "no part, carburetor or bundle has the SKU %q%s; correct it, or add the article first", n.sku, meant)
		default:
			bad(n.pointer, "%s is a %s; name a %s", n.sku, is, n.article)
		}
	}
	return found, nil
}

// takenGTIN refuses a GTIN that another article has.
func (c *change) takenGTIN(ctx context.Context, tx pgx.Tx) ([]catalog.Violation, error) {
	var whose string
	err := tx.QueryRow(ctx, "SELECT sku FROM offers WHERE lpad(gtin, 14, '0') = $1 AND sku <> $2", units.GTIN14(c.offer.GTIN), c.key).Scan(&whose)
	switch {
	case errors.Is(err, pgx.ErrNoRows):
		return nil, nil
	case err != nil:
		return nil, err
	}
	return []catalog.Violation{{Pointer: "/gtin", Detail: fmt.Sprintf(gtinTaken, c.offer.GTIN, whose)}}, nil
}

// ring refuses an article that comes to replace itself.
func (c *change) ring(ctx context.Context, tx pgx.Tx) ([]catalog.Violation, error) {
	replacedBy := map[string]string{c.key: c.offer.ReplacedBy}
	var sku, by string
	err := each(ctx, tx, `WITH RECURSIVE chain AS (
			SELECT sku, replaced_by FROM offers WHERE sku = $1
			UNION SELECT o.sku, o.replaced_by FROM chain c JOIN offers o ON o.sku = c.replaced_by)
		SELECT sku, replaced_by FROM chain WHERE replaced_by IS NOT NULL AND sku <> $2`, []any{c.offer.ReplacedBy, c.key}, []any{&sku, &by}, func() error {
		replacedBy[sku] = by
		return nil
	})
	if err != nil {
		return nil, err
	}
	for _, ring := range catalog.Rings(replacedBy) {
		if slices.Contains(ring, c.key) {
			return []catalog.Violation{{Pointer: "/replaced_by", Detail: ring.String()}}, nil
		}
	}
	return nil, nil
}

// references lists what names a vehicle or an article, by kind and id.
func references(ctx context.Context, tx pgx.Tx, kind, id string) ([]catalog.Reference, error) {
	// In a rule an id stands in quotes or is a YAML value of its own.
	escaped := strings.ReplaceAll(id, ".", `\.`)
	pattern := `(?n)["']` + escaped + `["']|[:,[{-]\s+` + escaped + `\s*([],}#]|$)`
	sql, args := "SELECT 'rule', id FROM rules WHERE source ~ $1", []any{pattern}
	if kind != "vehicle" { // only rules name vehicles
		sql, args = sql+`
		UNION SELECT 'bundle', bundle_sku FROM bundle_contents WHERE part_sku = $2
		UNION SELECT 'carburetor', sku FROM carburetor_in_box WHERE part_sku = $2
		UNION SELECT 'part', sku FROM part_relations WHERE other = $2
		UNION SELECT article, sku FROM offers WHERE replaced_by = $2`, append(args, id)
	}
	rows, err := tx.Query(ctx, sql+" ORDER BY 1, 2", args...)
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, func(row pgx.CollectableRow) (r catalog.Reference, err error) {
		return r, row.Scan(&r.Kind, &r.ID)
	})
}

// owners names the column that says whose a row is, of the tables whose rows are
// exchanged as a whole; the other tables have one row for each thing.
var owners = map[string]string{
	"carburetor_ports": "sku", "carburetor_in_box": "sku", "part_relations": "sku", "bundle_contents": "bundle_sku",
}

// replace writes the rows of one thing over those that are there.
func replace(ctx context.Context, tx pgx.Tx, key string, rows *catalog.Data) error {
	for _, table := range tables(rows, nil) {
		owner, isList := owners[table.name]
		if isList {
			if _, err := tx.Exec(ctx, "DELETE FROM "+table.name+" WHERE "+owner+" = $1", key); err != nil {
				return err
			}
			if _, err := tx.CopyFrom(ctx, pgx.Identifier{table.name}, columns(table.columns), table.rows); err != nil {
				return err
			}
			continue
		}
		for table.rows.Next() { // once, for the tables of this sort of thing
			values, err := table.rows.Values()
			if err != nil {
				return err
			}
			if _, err := tx.Exec(ctx, upsert(table.name, table.columns, placeholders(len(values))), values...); err != nil {
				return err
			}
		}
	}
	return nil
}

// upsert is the statement that writes rows from source over those with the same key.
func upsert(table, list, source string) string {
	key := "sku"
	if table == "vehicles" {
		key = "id"
	}
	var set []string
	for _, c := range columns(list) {
		if c != key {
			set = append(set, c+" = excluded."+c)
		}
	}
	do := "NOTHING"
	if len(set) > 0 {
		do = "UPDATE SET " + strings.Join(set, ", ")
	}
	return "INSERT INTO " + table + " (" + list + ") " + source + " ON CONFLICT (" + key + ") DO " + do
}

func placeholders(n int) string {
	list := make([]string, n)
	for i := range list {
		list[i] = fmt.Sprintf("$%d", i+1)
	}
	return "VALUES (" + strings.Join(list, ",") + ")"
}

// catalogueRow is what a writer locks.
type catalogueRow struct {
	revision int64
	currency string
}

// lockCatalogue makes other writers wait until this transaction ends.
func lockCatalogue(ctx context.Context, tx pgx.Tx) (row catalogueRow, err error) {
	err = tx.QueryRow(ctx, "SELECT revision, currency FROM catalogue FOR UPDATE").Scan(&row.revision, &row.currency)
	if errors.Is(err, pgx.ErrNoRows) {
		err = ErrEmpty
	}
	return row, err
}

// commit runs one write of one thing.
func (w *Writer) commit(ctx context.Context, do func(context.Context, pgx.Tx, catalogueRow) (catalog.Written, error)) (catalog.Written, error) {
	var written catalog.Written
	err := within(ctx, writeTimeout, func(ctx context.Context) error {
		return pgx.BeginFunc(ctx, w.Pool, func(tx pgx.Tx) error {
			current, err := lockCatalogue(ctx, tx)
			if err == nil {
				written, err = do(ctx, tx, current)
			}
			return err
		})
	})
	if err != nil {
		return catalog.Written{}, err
	}
	w.await(ctx, written.Revision)
	return written, nil
}

// within bounds how long the database may take. Errors are of the domain.
func within(ctx context.Context, limit time.Duration, do func(context.Context) error) error {
	limited, cancel := context.WithTimeout(ctx, limit)
	defer cancel()
	err := do(limited)
	if err != nil && limited.Err() != nil && ctx.Err() == nil { // our limit, not the caller's
		return fmt.Errorf("%w (no answer within %s)", catalog.ErrUnavailable, limit)
	}
	return pgError(err)
}

// await lets a writer read what it wrote, from the replica it wrote through. The write
// stands whether or not the snapshot is there in time.
func (w *Writer) await(ctx context.Context, revision int64) {
	if w.Live == nil {
		return
	}
	ctx, cancel := context.WithTimeout(ctx, swapPromise)
	defer cancel()
	_ = w.Live.Await(ctx, revision)
}

// bump makes the next revision and tells every replica.
func bump(ctx context.Context, tx pgx.Tx, actor, what, summary string) (revision int64, err error) {
	err = tx.QueryRow(ctx, `
		WITH next AS (UPDATE catalogue SET revision = revision + 1 RETURNING revision)
		INSERT INTO revisions (revision, actor, what, summary) SELECT revision, $1, $2, $3 FROM next RETURNING revision`,
		actor, what, summary).Scan(&revision)
	if err != nil {
		return 0, err
	}
	return revision, notify(ctx, tx, revision, what)
}

// audit keeps what a thing was and became; nil is "was not there".
func audit(ctx context.Context, tx pgx.Tx, actor string, revision int64, kind, key string, before, after any) error {
	text := func(v any) (*string, error) {
		if v == nil {
			return nil, nil
		}
		blob, err := json.Marshal(v)
		s := string(blob)
		return &s, err
	}
	was, err := text(before)
	if err != nil {
		return err
	}
	is, err := text(after)
	if err != nil {
		return err
	}
	_, err = tx.Exec(ctx, "INSERT INTO audit (actor, revision, kind, key, before, after) VALUES ($1, $2, $3, $4, $5::text::jsonb, $6::text::jsonb)", actor, revision, kind, key, was, is)
	return err
}

// AuditRow is one change of one thing: Before is null for a creation, After for a
// deletion.
type AuditRow struct {
	At       time.Time       `json:"at"`
	Actor    string          `json:"actor"`
	Revision int64           `json:"revision"`
	Kind     string          `json:"kind"`
	Key      string          `json:"key"`
	Before   json.RawMessage `json:"before"`
	After    json.RawMessage `json:"after"`
}

// Audit lists the changes of one thing, newest first.
func Audit(ctx context.Context, pool *pgxpool.Pool, kind, key string) ([]AuditRow, error) {
	rows, err := pool.Query(ctx, `SELECT at, actor, revision, kind, key, coalesce(before, 'null'), coalesce(after, 'null')
		FROM audit WHERE kind = $1 AND key = $2 ORDER BY id DESC`, kind, key)
	if err != nil {
		return nil, pgError(err)
	}
	list, err := pgx.CollectRows(rows, pgx.RowToStructByPos[AuditRow])
	return list, pgError(err)
}
