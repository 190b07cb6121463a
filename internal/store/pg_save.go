package store

import (
	"context"
	"errors"
	"fmt"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"onetrip/internal/catalog"
	"onetrip/internal/rules"
)

// ImportCatalogue writes a whole catalogue into an empty database, all or nothing,
// as revision 1. ErrNotEmpty when a catalogue is there.
func ImportCatalogue(ctx context.Context, pool *pgxpool.Pool, d *catalog.Data) error {
	if err := validate(d); err != nil {
		return err
	}
	texts, err := rules.Split(d.RuleFiles)
	if err != nil {
		return err
	}
	return pgError(pgx.BeginFunc(ctx, pool, func(tx pgx.Tx) error {
		tag, err := tx.Exec(ctx, "INSERT INTO catalogue (currency, revision) VALUES ($1, 1) ON CONFLICT DO NOTHING", d.Currency)
		if err != nil {
			return err
		}
		if tag.RowsAffected() == 0 {
			return ErrNotEmpty
		}
		for _, table := range tables(d, texts) {
			if _, err := tx.CopyFrom(ctx, pgx.Identifier{table.name}, columns(table.columns), table.rows); err != nil {
				return fmt.Errorf("%s: %w", table.name, err)
			}
		}
		return nil
	}))
}

func validate(d *catalog.Data) error {
	var all []error
	check := func(what, id string, found []catalog.Violation) {
		if len(found) > 0 {
			all = append(all, &catalog.InvalidError{What: what + " " + id, Violations: found})
		}
	}
	offer := func(what string, o *catalog.Offer, found []catalog.Violation) {
		if o.Price.Currency != d.Currency {
			found = append(found, wrongCurrency(o.Price.Currency, d.Currency))
		}
		check(what, o.SKU, found)
	}
	for _, l := range d.Locations {
		check("location", l.ID, l.Validate())
	}
	for _, v := range d.Vehicles {
		check("vehicle", v.ID, v.Validate())
	}
	for _, k := range d.Carburetors {
		offer("carburetor", &k.Offer, k.Validate())
	}
	for _, p := range d.Parts {
		offer("part", &p.Offer, p.Validate())
	}
	for _, b := range d.Bundles {
		offer("bundle", &b.Offer, b.Validate())
	}
	for _, s := range d.Stock {
		check("stock", s.SKU, s.Validate())
	}
	return errors.Join(all...)
}

func wrongCurrency(found, want string) catalog.Violation {
	return catalog.Violation{Pointer: "/price/currency", Detail: fmt.Sprintf("is %s, but every price of this catalogue is in %s; write the price in %s", found, want, want)}
}

// copyTable is rows for one table, in COPY's form.
type copyTable struct {
	name    string
	columns string
	rows    pgx.CopyFromSource
}

func copyRows(name, columns string, n int, row func(i int) []any) copyTable {
	return copyTable{name, columns, pgx.CopyFromSlice(n, func(i int) ([]any, error) { return row(i), nil })}
}

// tables is the catalogue as rows, what is named before what names it.
func tables(d *catalog.Data, texts []rules.Text) []copyTable {
	type child struct {
		owner  string
		place  int
		values []any
	}
	rows := func(name, columns string, list []child) copyTable {
		return copyRows(name, columns, len(list), func(i int) []any {
			return append([]any{list[i].owner, list[i].place}, list[i].values...)
		})
	}
	var ports, inBox, contents, relations []child
	for _, k := range d.Carburetors {
		for i := range k.Ports {
			ports = append(ports, child{k.SKU, i, portFields(&k.Ports[i])})
		}
		for i := range k.InBox {
			inBox = append(inBox, child{k.SKU, i, inBoxFields(&k.InBox[i])})
		}
	}
	for _, b := range d.Bundles {
		for i, a := range b.Contents {
			contents = append(contents, child{b.SKU, i, []any{a.SKU, a.Quantity}})
		}
	}
	for _, p := range d.Parts {
		for _, r := range relationRows(p) {
			relations = append(relations, child{p.SKU, r.place, []any{r.relation, r.other}})
		}
	}
	return []copyTable{
		copyRows("locations", "id,name,place", len(d.Locations), func(i int) []any { return []any{d.Locations[i].ID, d.Locations[i].Name, i} }),
		copyRows("vehicles", vehicleColumns, len(d.Vehicles), func(i int) []any { return vehicleFields(d.Vehicles[i]) }),
		copyRows("offers", "article,"+offerColumns, len(d.Parts), func(i int) []any { return append([]any{"part"}, offerFields(&d.Parts[i].Offer)...) }),
		copyRows("offers", "article,"+offerColumns, len(d.Carburetors), func(i int) []any {
			return append([]any{"carburetor"}, offerFields(&d.Carburetors[i].Offer)...)
		}),
		copyRows("offers", "article,"+offerColumns, len(d.Bundles), func(i int) []any { return append([]any{"bundle"}, offerFields(&d.Bundles[i].Offer)...) }),
		copyRows("parts", "sku,"+partColumns, len(d.Parts), func(i int) []any { return append([]any{d.Parts[i].SKU}, partValues(d.Parts[i])...) }),
		rows("part_relations", "sku,place,relation,other", relations),
		copyRows("carburetors", "sku,"+carburetorColumns, len(d.Carburetors), func(i int) []any {
			return append([]any{d.Carburetors[i].SKU}, carburetorFields(d.Carburetors[i])...)
		}),
		rows("carburetor_ports", "sku,place,"+portColumns, ports),
		rows("carburetor_in_box", "sku,place,"+inBoxColumns, inBox),
		copyRows("bundles", "sku", len(d.Bundles), func(i int) []any { return []any{d.Bundles[i].SKU} }),
		rows("bundle_contents", "bundle_sku,place,part_sku,quantity", contents),
		copyRows("stock", "sku,location,on_hand,revision", len(d.Stock), func(i int) []any {
			return []any{d.Stock[i].SKU, d.Stock[i].Location, d.Stock[i].OnHand, 1}
		}),
		copyRows("rules", "id,file,place,source,revision", len(texts), func(i int) []any {
			return []any{texts[i].ID, texts[i].File, texts[i].Place, texts[i].Source, 1}
		}),
	}
}

type relationRow struct {
	relation, other string
	place           int
}

func relationRows(p *catalog.Part) (list []relationRow) {
	for i, sku := range p.Requires {
		list = append(list, relationRow{"requires", sku, i})
	}
	for i, sku := range p.Conflicts {
		list = append(list, relationRow{"conflicts", sku, i})
	}
	return list
}
