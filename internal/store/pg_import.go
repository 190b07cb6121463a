package store

import (
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/jackc/pgx/v5"

	"onetrip/internal/catalog"
	"onetrip/internal/units"
)

// Import changes stock, prices or parts in bulk, from CSV (see Decoder; the columns
// are those of StockTable, PriceTable, and PartTable of every kind). It is one
// transaction: the file goes row by row into a temporary table, is checked there as a
// whole, and then applied, or not. Killed half way it leaves nothing. What was
// written already does not count as changed. A catalogue.Import with State rejected
// is an answer, not an error; ImportProblems lists what is wrong.
func (w *Writer) Import(ctx context.Context, req catalog.ImportRequest, body io.Reader) (catalog.Import, error) {
	if err := checkRequest(req); err != nil {
		return catalog.Import{}, err
	}
	var done catalog.Import
	sum := sha256.New()
	body = io.TeeReader(body, sum)
	err := pgx.BeginFunc(ctx, w.Pool, func(tx pgx.Tx) error {
		id, fresh, err := beginImport(ctx, tx, req)
		if err != nil {
			return err
		}
		if !fresh {
			if _, err := io.Copy(io.Discard, body); err != nil {
				return &bodyError{err}
			}
			done, err = repeated(ctx, tx, id, req, sum.Sum(nil))
			return err
		}
		var currency string
		err = tx.QueryRow(ctx, "SELECT currency FROM catalogue").Scan(&currency)
		if errors.Is(err, pgx.ErrNoRows) {
			return ErrEmpty
		}
		if err != nil {
			return err
		}
		in := importer{tx: tx, id: id, req: req}
		if err := in.run(ctx, body, currency); err != nil {
			return err
		}
		if _, err := io.Copy(io.Discard, body); err != nil { // what a wrong header left unread
			return &bodyError{err}
		}
		// A refused file gives its key back: mended, it comes under the same name.
		_, err = tx.Exec(ctx, `UPDATE imports SET body_sha256 = $2, state = $3, rows_read = $4, rows_bad = $5, rows_changed = $6, problems = $7, revision = $8,
			idempotency_key = CASE WHEN $3 <> 'rejected' THEN idempotency_key END WHERE id = $1`,
			id, sum.Sum(nil), in.state, in.read, in.bad, in.changed, in.problems, in.revision)
		if err != nil {
			return err
		}
		done, err = findImport(ctx, tx, id)
		return err
	})
	if err != nil {
		return catalog.Import{}, pgError(err)
	}
	w.await(ctx, done.Revision)
	return done, nil
}

func checkRequest(req catalog.ImportRequest) error {
	var found []catalog.Violation
	for _, f := range []struct {
		pointer, value string
		accepted       []string
	}{
		{"/kind", req.Kind, []string{catalog.ImportStock, catalog.ImportPrices, catalog.ImportParts}},
		{"/mode", req.Mode, []string{catalog.ImportAtomic, catalog.ImportValidRows}},
	} {
		if !slices.Contains(f.accepted, f.value) {
			found = append(found, catalog.Violation{Pointer: f.pointer, Detail: fmt.Sprintf("%q is not accepted%s; accepted: %s", f.value, near(f.value, f.accepted), strings.Join(f.accepted, ", "))})
		}
	}
	if len(found) > 0 {
		return &catalog.InvalidError{What: "import", Violations: found}
	}
	return nil
}

// beginImport takes the idempotency key, which a dry run leaves to the run that it is for.
// Where another import with the key is at work, it waits for that to end. fresh is false when
// the key was used: id is that import's.
func beginImport(ctx context.Context, tx pgx.Tx, req catalog.ImportRequest) (id string, fresh bool, err error) {
	id = randomID()
	var key *string
	if req.IdempotencyKey != "" && !req.DryRun {
		key = &req.IdempotencyKey
	}
	tag, err := tx.Exec(ctx, `INSERT INTO imports (id, actor, kind, mode, dry_run, idempotency_key) VALUES ($1, $2, $3, $4, $5, $6)
		ON CONFLICT (actor, idempotency_key) DO NOTHING`, id, req.Actor, req.Kind, req.Mode, req.DryRun, key)
	if err != nil || tag.RowsAffected() == 1 {
		return id, true, err
	}
	err = tx.QueryRow(ctx, "SELECT id FROM imports WHERE actor = $1 AND idempotency_key = $2", req.Actor, key).Scan(&id)
	return id, false, err
}

// repeated is the first answer to a request that came again, if it is the same request.
func repeated(ctx context.Context, tx pgx.Tx, id string, req catalog.ImportRequest, sum []byte) (catalog.Import, error) {
	var first []byte
	if err := tx.QueryRow(ctx, "SELECT body_sha256 FROM imports WHERE id = $1", id).Scan(&first); err != nil {
		return catalog.Import{}, err
	}
	done, err := findImport(ctx, tx, id)
	if err == nil && (!bytes.Equal(first, sum) || done.Kind != req.Kind || done.Mode != req.Mode) {
		err = catalog.ErrKeyReused
	}
	done.Repeated = true
	return done, err
}

func findImport(ctx context.Context, q querier, id string) (catalog.Import, error) {
	rows, err := q.Query(ctx, `SELECT id, at, kind, mode, dry_run, state, rows_read, rows_bad, rows_changed, problems, coalesce(revision, 0), false FROM imports WHERE id = $1`, id)
	if err != nil {
		return catalog.Import{}, err
	}
	done, err := pgx.CollectExactlyOneRow(rows, pgx.RowToStructByPos[catalog.Import])
	if errors.Is(err, pgx.ErrNoRows) {
		err = &catalog.NotFoundError{What: "import", ID: id, Where: "was made; the answer to POST /v1/imports has its id"}
	}
	return done, err
}

// FindImport returns the outcome of an import.
func (w *Writer) FindImport(ctx context.Context, id string) (catalog.Import, error) {
	done, err := findImport(ctx, w.Pool, id)
	return done, pgError(err)
}

// ImportProblems calls yield for what is wrong in an import's file, the first
// catalog.MostImportProblems in order of lines, until it returns an error.
func (w *Writer) ImportProblems(ctx context.Context, id string, yield func(catalog.ImportProblem) error) error {
	rows, err := w.Pool.Query(ctx, "SELECT line, field, value, detail FROM import_problems WHERE import_id = $1 ORDER BY line, place", id)
	if err != nil {
		return pgError(err)
	}
	var p catalog.ImportProblem
	_, err = pgx.ForEachRow(rows, []any{&p.Line, &p.Column, &p.Value, &p.Detail}, func() error { return yield(p) })
	return pgError(err)
}

// bodyError is an error of the file's source, which is not the database's.
type bodyError struct{ err error }

func (e *bodyError) Error() string { return e.err.Error() }
func (e *bodyError) Unwrap() error { return e.err }

// importer is one import at work.
type importer struct {
	tx  pgx.Tx
	id  string
	req catalog.ImportRequest

	state              string
	read, bad, changed int64
	problems, revision int64
}

func (in *importer) run(ctx context.Context, body io.Reader, currency string) error {
	var err error
	switch in.req.Kind {
	case catalog.ImportStock:
		err = stage(ctx, in, body, stockImport())
	case catalog.ImportPrices:
		err = stage(ctx, in, body, priceImport(currency))
	default:
		err = stage(ctx, in, body, partImport(currency))
	}
	return err
}

// importKind is how one sort of file is imported. The SQL is over the temporary table
// staged: a row for each row of the file, with its line and the columns; of a bad row those
// named that could be read, and what is wrong, in further rows where it is more than one thing.
type importKind[T any] struct {
	table   *Table[T]
	what    string // of the revision
	columns string // of staged
	types   string // their types
	row     func(*T) []any
	named   string // of columns, those that checks look at: staged of bad rows too, where they can be read

	checks []string // each inserts faults
	rings  bool     // whether rows can replace each other; then that is checked too
	prune  string   // deletes from staged what changes nothing
	apply  []string // writes what is left; :revision stands for the new one
}

// What is wrong is gathered in the temporary table faults: absent says what the
// value is none of, article or location, where the detail is still to be told.
const faults = `CREATE TEMPORARY TABLE faults (line integer, place bigint GENERATED ALWAYS AS IDENTITY, field text, value text, detail text, absent text NOT NULL DEFAULT '') ON COMMIT DROP`

// fault begins the statements that report rows of staged.
const fault = `INSERT INTO faults (line, field, value, detail) SELECT `

// unknown is fault for a value that names nothing.
const unknown = `INSERT INTO faults (line, field, value, absent) SELECT `

// unknownSKU reports rows whose SKU is of no article.
const unknownSKU = unknown + `line, 'sku', sku, 'article'
	FROM staged s WHERE sku IS NOT NULL AND NOT EXISTS (SELECT FROM offers o WHERE o.sku = s.sku)`

// twice reports all rows of one key but the first, which is one that is right, if any is. (What
// first_value says of a whole file of one row takes the database four times as long.)
func twice(key, column, what string) string {
	return fault + `line, '` + column + `', ` + column + `, '` + what + ` is on line ' || first || ' already; list it once' FROM (
		SELECT line, ` + column + `, coalesce(min(line) FILTER (WHERE detail IS NULL) OVER same, min(line) OVER same) AS first
		FROM staged WHERE (` + key + `) IS NOT NULL WINDOW same AS (PARTITION BY ` + key + `)) s WHERE line <> first`
}

func stockImport() importKind[catalog.Stock] {
	return importKind[catalog.Stock]{
		table: StockTable(), what: "stock",
		columns: "sku,location,on_hand", types: `sku text COLLATE "C", location text COLLATE "C", on_hand integer`,
		row:   func(s *catalog.Stock) []any { return []any{s.SKU, s.Location, s.OnHand} },
		named: "sku,location",
		checks: []string{
			twice("sku, location", "sku", "the stock of this SKU at this location"),
			unknownSKU,
			unknown + `line, 'location', location, 'location'
				FROM staged s WHERE location IS NOT NULL AND NOT EXISTS (SELECT FROM locations l WHERE l.id = s.location)`,
		},
		prune: `DELETE FROM staged s USING stock t WHERE t.sku = s.sku AND t.location = s.location AND t.on_hand = s.on_hand`,
		// Faster than INSERT with ON CONFLICT, and safe, since no one else writes meanwhile.
		apply: []string{
			`UPDATE stock t SET on_hand = s.on_hand, revision = :revision FROM staged s WHERE t.sku = s.sku AND t.location = s.location`,
			`INSERT INTO stock (sku, location, on_hand, revision) SELECT sku, location, on_hand, :revision FROM staged s
				WHERE NOT EXISTS (SELECT FROM stock t WHERE t.sku = s.sku AND t.location = s.location)`,
		},
	}
}

// Price is a row of a price list.
type Price struct {
	SKU   string      `json:"sku"`
	Price units.Money `json:"price"`
}

// PriceTable is a price list, in currency.
func PriceTable(currency string) *Table[Price] {
	return &Table[Price]{
		columns: columnsOf[Price](currency),
		blank:   func() *Price { return &Price{} },
		validate: func(p *Price) []catalog.Violation {
			o := catalog.Offer{SKU: p.SKU, Name: "-", Finish: catalog.FinishPlain, PackQuantity: 1, Price: p.Price}
			return o.Validate()
		},
	}
}

func priceImport(currency string) importKind[Price] {
	return importKind[Price]{
		table: PriceTable(currency), what: "catalogue",
		columns: "sku,price_minor", types: `sku text COLLATE "C", price_minor bigint`,
		row:    func(p *Price) []any { return []any{p.SKU, p.Price.AmountMinor} },
		named:  "sku",
		checks: []string{twice("sku", "sku", "this SKU"), unknownSKU},
		prune:  `DELETE FROM staged s USING offers o WHERE o.sku = s.sku AND o.price_minor = s.price_minor`,
		apply:  []string{`UPDATE offers o SET price_minor = s.price_minor FROM staged s WHERE o.sku = s.sku`},
	}
}

func partImport(currency string) importKind[catalog.Part] {
	return importKind[catalog.Part]{
		table: PartTable(currency), what: "catalogue",
		columns: offerColumns + "," + partColumns + ",requires,conflicts",
		types: `sku text COLLATE "C", name text, finish text, pack_quantity integer, price_minor bigint, lead_time_days integer, gtin text, discontinued boolean, replaced_by text COLLATE "C",
			kind text, attributes jsonb, end_1 text, end_2 text, length_in double precision, height_in double precision, requires text[], conflicts text[]`,
		row: func(p *catalog.Part) []any {
			return append(append(offerFields(&p.Offer), partValues(p)...), notNull(p.Requires), notNull(p.Conflicts))
		},
		named: "sku,gtin,replaced_by,requires,conflicts",
		rings: true,
		checks: []string{
			twice("sku", "sku", "this SKU"),
			fault + `line, 'sku', sku, 'is the SKU of a ' || o.article || '; give each article its own'
				FROM staged s JOIN offers o USING (sku) WHERE o.article <> 'part'`,
			// What a row names may be in the catalogue or in the file.
			unknown + `line, field, name, 'article' FROM (
				SELECT line, 'requires' AS field, unnest(requires) AS name FROM staged
				UNION ALL SELECT line, 'conflicts', unnest(conflicts) FROM staged
				UNION ALL SELECT line, 'replaced_by', replaced_by FROM staged WHERE replaced_by IS NOT NULL) n
				WHERE NOT EXISTS (SELECT FROM offers o WHERE o.sku = n.name) AND NOT EXISTS (SELECT FROM staged s WHERE s.sku = n.name)`,
			// The GTIN of another row, or of an article that keeps it.
			fault + `line, 'gtin', gtin, format('` + gtinTaken + `', gtin, whose) FROM (
				SELECT line, gtin, sku, first_value(sku) OVER (PARTITION BY lpad(gtin, 14, '0') ORDER BY detail IS NOT NULL, line) AS whose FROM staged WHERE (sku, gtin) IS NOT NULL
				UNION ALL SELECT line, s.gtin, s.sku, o.sku FROM staged s JOIN offers o ON lpad(o.gtin, 14, '0') = lpad(s.gtin, 14, '0')
					WHERE NOT EXISTS (SELECT FROM staged t WHERE t.sku = o.sku)) s WHERE sku <> whose`,
		},
		prune: `DELETE FROM staged s USING offers o JOIN parts p USING (sku)
			LEFT JOIN (
				SELECT sku, array_agg(other::text ORDER BY place) FILTER (WHERE relation = 'requires') AS requires, array_agg(other::text ORDER BY place) FILTER (WHERE relation = 'conflicts') AS conflicts
				FROM part_relations GROUP BY sku) r USING (sku)
			WHERE s.sku = o.sku
			AND (s.name, s.finish, s.pack_quantity, s.price_minor, s.lead_time_days, s.gtin, s.discontinued, s.replaced_by, s.kind, s.attributes, s.end_1, s.end_2, s.length_in, s.height_in, s.requires, s.conflicts)
			IS NOT DISTINCT FROM (o.name, o.finish, o.pack_quantity, o.price_minor, o.lead_time_days, o.gtin, o.discontinued, o.replaced_by, p.kind, p.attributes, p.end_1, p.end_2, p.length_in, p.height_in, coalesce(r.requires, '{}'), coalesce(r.conflicts, '{}'))`,
		apply: []string{
			upsert("offers", "article,"+offerColumns, "SELECT 'part',"+offerColumns+" FROM staged WHERE true"),
			upsert("parts", "sku,"+partColumns, "SELECT sku,"+partColumns+" FROM staged WHERE true"),
			`DELETE FROM part_relations r USING staged s WHERE r.sku = s.sku`,
			`INSERT INTO part_relations (sku, relation, other, place)
				SELECT sku, 'requires', other, place - 1 FROM staged, unnest(requires) WITH ORDINALITY AS r (other, place)
				UNION ALL SELECT sku, 'conflicts', other, place - 1 FROM staged, unnest(conflicts) WITH ORDINALITY AS r (other, place)`,
		},
	}
}

func notNull(list []string) []string {
	if list == nil {
		return []string{}
	}
	return list
}

// stage copies the file into the temporary table, checks it and applies it.
func stage[T any](ctx context.Context, in *importer, body io.Reader, kind importKind[T]) error {
	_, err := in.tx.Exec(ctx, "CREATE TEMPORARY TABLE staged (line integer, "+kind.types+", field text, value text, detail text) ON COMMIT DROP")
	if err != nil {
		return err
	}
	source := &stagedRows[T]{ctx: ctx, decoder: NewDecoder(body, "the file", kind.table), kind: &kind}
	_, err = in.tx.CopyFrom(ctx, pgx.Identifier{"staged"}, append([]string{"line"}, columns(kind.columns+",field,value,detail")...), source)
	if source.err != nil {
		return &bodyError{source.err}
	}
	if err != nil {
		return err
	}
	in.read = source.read
	for _, sql := range []string{
		faults,
		fault + "line, field, value, detail FROM staged WHERE detail IS NOT NULL ORDER BY line",
		"ANALYZE staged",
	} {
		if _, err := in.exec(ctx, sql); err != nil {
			return err
		}
	}
	// From here on no other writer, so that what is checked is what is changed.
	current, err := lockCatalogue(ctx, in.tx)
	if err != nil {
		return err
	}
	in.revision = current.revision
	for {
		for _, sql := range kind.checks {
			if _, err := in.exec(ctx, sql); err != nil {
				return err
			}
		}
		if kind.rings {
			if err := in.rings(ctx); err != nil {
				return err
			}
		}
		if in.req.Mode == catalog.ImportAtomic {
			break
		}
		// A row can name one that is refused, so once more without those.
		if gone, err := in.exec(ctx, "DELETE FROM staged WHERE line IN (SELECT line FROM faults)"); err != nil {
			return err
		} else if gone == 0 {
			break
		}
	}
	if err := in.tx.QueryRow(ctx, "SELECT count(DISTINCT line), count(*) FROM faults").Scan(&in.bad, &in.problems); err != nil {
		return err
	}
	if err := in.report(ctx); err != nil {
		return err
	}
	switch {
	case in.bad > 0 && (in.req.Mode == catalog.ImportAtomic || source.headerIsWrong()):
		in.state = "rejected"
		return nil
	case in.req.DryRun:
		in.state = "checked"
	default:
		in.state = "applied"
	}
	if _, err := in.exec(ctx, kind.prune); err != nil {
		return err
	}
	if err := in.tx.QueryRow(ctx, "SELECT count(*) FROM staged").Scan(&in.changed); err != nil || in.changed == 0 || in.req.DryRun {
		return err
	}
	in.revision, err = bump(ctx, in.tx, in.req.Actor, kind.what, fmt.Sprintf("import %s of %d %s", in.id, in.changed, in.req.Kind))
	if err != nil {
		return err
	}
	for _, sql := range kind.apply {
		if _, err := in.exec(ctx, strings.ReplaceAll(sql, ":revision", fmt.Sprint(in.revision))); err != nil {
			return err
		}
	}
	return audit(ctx, in.tx, in.req.Actor, in.revision, "import", in.id, nil, map[string]any{"kind": in.req.Kind, "rows_changed": in.changed})
}

// rings reports rows of articles that come to replace themselves.
func (in *importer) rings(ctx context.Context) error {
	replacedBy := map[string]string{}
	var sku, by string
	err := each(ctx, in.tx, `SELECT sku, replaced_by FROM staged WHERE (sku, replaced_by) IS NOT NULL
		UNION ALL SELECT sku, replaced_by FROM offers o WHERE replaced_by IS NOT NULL AND NOT EXISTS (SELECT FROM staged s WHERE s.sku = o.sku)
			AND EXISTS (SELECT FROM staged WHERE replaced_by IS NOT NULL)`, // else no row is part of a ring
		nil, []any{&sku, &by}, func() error {
			replacedBy[sku] = by
			return nil
		})
	if err != nil {
		return err
	}
	var skus, details []string
	for _, ring := range catalog.Rings(replacedBy) {
		skus, details = append(skus, ring...), append(details, slices.Repeat([]string{ring.String()}, len(ring))...)
	}
	_, err = in.tx.Exec(ctx, fault+`line, 'replaced_by', replaced_by, ring.detail
		FROM staged JOIN unnest($1::text[], $2::text[]) AS ring (sku, detail) USING (sku) WHERE replaced_by IS NOT NULL`, skus, details)
	return err
}

// exec runs a statement about staged.
func (in *importer) exec(ctx context.Context, sql string) (rows int64, err error) {
	tag, err := in.tx.Exec(ctx, sql)
	return tag.RowsAffected(), err
}

// report keeps the first faults, and says of unknown names what may have been meant. Looking
// for near spellings is slow, so the first few names get them.
func (in *importer) report(ctx context.Context) error {
	rows, err := in.tx.Query(ctx, `SELECT line, field, value, coalesce(detail, ''), absent FROM faults ORDER BY line, place LIMIT $1`, catalog.MostImportProblems)
	if err != nil {
		return err
	}
	type found struct {
		catalog.ImportProblem
		unknown string
	}
	list, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (f found, err error) {
		return f, row.Scan(&f.Line, &f.Column, &f.Value, &f.Detail, &f.unknown)
	})
	if err != nil || len(list) == 0 {
		return err
	}
	places, err := loadLocations(ctx, in.tx)
	if err != nil {
		return err
	}
	locations := make([]string, len(places))
	for i, l := range places {
		locations[i] = l.ID
	}
	meant, suggestions := map[string]string{}, 20
	kept := make([][]any, len(list))
	for i, f := range list {
		switch f.unknown {
		case "location":
			f.Detail = fmt.Sprintf("no location has the id %q%s; accepted: %s", f.Value, near(f.Value, locations), strings.Join(locations, ", "))
		case "article":
			if _, known := meant[f.Value]; !known && suggestions > 0 {
				suggestions--
				if meant[f.Value], err = nearSKU(ctx, in.tx, f.Value); err != nil {
					return err
				}
			}
			f.Detail = fmt.Sprintf("no part, carburetor or bundle has the SKU %q%s; correct it, or add the article first", f.Value, meant[f.Value])
		}
		kept[i] = []any{in.id, f.Line, f.Column, f.Value, f.Detail}
	}
	_, err = in.tx.CopyFrom(ctx, pgx.Identifier{"import_problems"}, columns("import_id,line,field,value,detail"), pgx.CopyFromRows(kept))
	return err
}

// nearSKU suggests which SKU an unknown one may have meant, of those that sort about it.
func nearSKU(ctx context.Context, tx pgx.Tx, sku string) (string, error) {
	rows, err := tx.Query(ctx, `(SELECT sku FROM offers WHERE sku >= $1 ORDER BY sku LIMIT 1000) UNION ALL (SELECT sku FROM offers WHERE sku < $1 ORDER BY sku DESC LIMIT 1000)`, sku)
	if err != nil {
		return "", err
	}
	skus, err := pgx.CollectRows(rows, pgx.RowTo[string])
	return near(sku, skus), err
}

// stagedRows feeds COPY from a decoder, in constant memory.
type stagedRows[T any] struct {
	ctx     context.Context
	decoder *Decoder[T]
	kind    *importKind[T]

	read    int64
	values  []any
	waiting FileErrors // of the row last read
	names   []any      // of that row, of the columns named; goes with the first of waiting
	err     error
}

// headerIsWrong reports whether nothing could be read at all.
func (s *stagedRows[T]) headerIsWrong() bool { return s.read == 0 }

// Next implements pgx.CopyFromSource.
func (s *stagedRows[T]) Next() bool {
	if len(s.waiting) == 0 {
		if s.err = s.ctx.Err(); s.err != nil {
			return false
		}
		row, err := s.decoder.Next()
		switch {
		case errors.Is(err, io.EOF):
			return false
		case err == nil:
			s.read++
			s.values = append(append([]any{s.decoder.Line()}, s.kind.row(row)...), nil, nil, nil)
			return true
		case !errors.As(err, &s.waiting):
			s.err = err
			return false
		}
		if s.decoder.Line() > 1 { // not the header
			s.read++
		}
		s.names = s.namesOf(row)
	}
	e := s.waiting[0]
	s.waiting = s.waiting[1:]
	line := e.Line
	if at := s.decoder.Line(); at > 1 {
		line = at // a row is known by the line it begins on
	}
	s.values = append([]any{line}, s.names...)
	s.names = make([]any, len(s.names))
	value := ""
	if at := s.decoder.Line(); at > 1 {
		value = asFound(s.decoder.Cell(e.Column))
	}
	s.values = append(s.values, e.Column, value, e.Detail)
	return true
}

// namesOf is a bad row as it is staged: of the columns named what could be read of it.
func (s *stagedRows[T]) namesOf(row *T) []any {
	all := columns(s.kind.columns)
	values := make([]any, len(all))
	if row == nil {
		return values
	}
	read := s.kind.row(row)
	for i, name := range all {
		if slices.Contains(columns(s.kind.named), name) && !namesColumn(s.waiting, name) {
			values[i] = read[i]
		}
	}
	return values
}

// asFound is a cell as a report can show it: clipped, and without what is no text.
func asFound(cell string) string {
	const most = 200 // characters; the longest text that is accepted has 120
	clean := strings.ReplaceAll(strings.ToValidUTF8(cell, "\uFFFD"), "\x00", "\uFFFD")
	if r := []rune(clean); len(r) > most {
		return string(r[:most]) + "…"
	}
	return clean
}

// Values implements pgx.CopyFromSource.
func (s *stagedRows[T]) Values() ([]any, error) { return s.values, nil }

// Err implements pgx.CopyFromSource.
func (s *stagedRows[T]) Err() error { return s.err }

// WriteParts writes all parts as CSV that Import reads back.
func WriteParts(w io.Writer, s *catalog.Snapshot) error {
	return writeAll(w, PartTable(s.Currency), s.Parts())
}

// WriteStock writes the stock of everything for sale at every location as CSV that
// Import reads back.
func WriteStock(w io.Writer, s *catalog.Snapshot) error {
	e, err := NewEncoder(w, StockTable())
	if err != nil {
		return err
	}
	one := func(o *catalog.Offer) {
		for i, l := range s.Locations {
			err = errors.Join(err, e.Encode(&catalog.Stock{SKU: o.SKU, Location: l.ID, OnHand: s.OnHand(o, i)}))
		}
	}
	for _, p := range s.Parts() {
		one(&p.Offer)
	}
	for _, k := range s.Carburetors() {
		one(&k.Offer)
	}
	for _, b := range s.Bundles() {
		one(&b.Offer)
	}
	return errors.Join(err, e.Flush())
}

func writeAll[T any](w io.Writer, table *Table[T], rows []*T) error {
	e, err := NewEncoder(w, table)
	if err != nil {
		return err
	}
	for _, row := range rows {
		if err := e.Encode(row); err != nil {
			return err
		}
	}
	return e.Flush()
}
