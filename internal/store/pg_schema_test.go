package store_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"reflect"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/jackc/pgx/v5/stdlib"
	"github.com/pressly/goose/v3"

	"onetrip/db"
	"onetrip/internal/catalog"
	"onetrip/internal/kit"
	"onetrip/internal/store"
	"onetrip/internal/store/storetest"
)

// provider runs single migrations, which the program never does.
func provider(t testing.TB, dsn string) *goose.Provider {
	t.Helper()
	config, err := pgx.ParseConfig(dsn)
	if err != nil {
		t.Fatal(err)
	}
	conn := stdlib.OpenDB(*config)
	t.Cleanup(func() { _ = conn.Close() })
	p, err := goose.NewProvider(goose.DialectPostgres, conn, db.Migrations())
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// schema describes every column, constraint, index and domain.
func schema(t testing.TB, pool *pgxpool.Pool) string {
	t.Helper()
	rows, err := pool.Query(context.Background(), `
		SELECT format('%s.%s %s %s %s', table_name, column_name, coalesce(domain_name, data_type), is_nullable, coalesce(column_default, generation_expression)) AS line
		FROM information_schema.columns WHERE table_schema = 'public'
		UNION ALL SELECT format('%s %s', conrelid::regclass, pg_get_constraintdef(oid)) FROM pg_constraint WHERE connamespace = 'public'::regnamespace
		UNION ALL SELECT indexdef FROM pg_indexes WHERE schemaname = 'public'
		UNION ALL SELECT pg_get_functiondef(oid) FROM pg_proc WHERE pronamespace = 'public'::regnamespace
		ORDER BY 1`)
	if err != nil {
		t.Fatal(err)
	}
	lines, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		t.Fatal(err)
	}
	return strings.Join(lines, "\n")
}

func TestMigrationsGoUpFromEveryVersionAndKeepTheCatalogue(t *testing.T) {
	ctx := context.Background()
	fresh := schema(t, storetest.Pool(t, storetest.Database(t)))
	if !strings.Contains(fresh, "stock") {
		t.Fatal("the schema is empty")
	}
	last := provider(t, storetest.Bare(t)).ListSources()
	from := append([]*goose.Source{{Version: 0}}, last...)
	if testing.Short() {
		from = from[len(from)-2:]
	}
	for _, source := range from {
		dsn := storetest.Bare(t)
		p := provider(t, dsn)
		pool := storetest.Pool(t, dsn)
		if source.Version > 0 {
			if _, err := p.UpTo(ctx, source.Version); err != nil {
				t.Fatal(err)
			}
			if err := store.ImportCatalogue(ctx, pool, seed(t)); err != nil {
				t.Fatalf("version %d: %v", source.Version, err)
			}
		}
		if err := store.Migrate(ctx, dsn); err != nil {
			t.Fatalf("from version %d: %v", source.Version, err)
		}
		if got := schema(t, pool); got != fresh {
			t.Errorf("from version %d the schema is\n%s\nwant\n%s", source.Version, got, fresh)
		}
		applied, newest, err := store.SchemaVersion(ctx, dsn)
		if err != nil || applied != newest || newest != last[len(last)-1].Version {
			t.Errorf("version %d of %d, %v", applied, newest, err)
		}
		if source.Version > 0 {
			same(t, load(t, pool), seed(t))
		}
		if err := store.Migrate(ctx, dsn); err != nil { // and again, which does nothing
			t.Error(err)
		}
		if _, err := p.DownTo(ctx, 0); err != nil {
			t.Fatalf("down: %v", err)
		}
		if got := schema(t, pool); strings.Contains(got, "catalogue") {
			t.Errorf("after going down there is still\n%s", got)
		}
	}
}

// Kits of versions that did not know optional totals and proven alternatives read as the
// contract has them; those that have both stay byte for byte.
func TestMigrationsMendSavedKits(t *testing.T) {
	ctx := t.Context()
	dsn := storetest.Bare(t)
	if _, err := provider(t, dsn).UpTo(ctx, 8); err != nil {
		t.Fatal(err)
	}
	pool := storetest.Pool(t, dsn)
	s, err := kit.Open(seed(t))
	if err != nil {
		t.Fatal(err)
	}
	req := &kit.Request{VehicleID: s.Catalog.Vehicles()[0].ID, CarburetorSKU: s.Catalog.Carburetors()[0].SKU, Preferences: kit.Preferences{Levels: []kit.Level{kit.Required, kit.Recommended, kit.Optional}}}
	k, err := kit.Resolve(ctx, s, req)
	if err != nil {
		t.Fatal(err)
	}
	if len(k.Alternatives) < 2 || k.Totals.Optional.AmountMinor == 0 {
		t.Fatalf("totals %+v, %d alternatives", k.Totals, len(k.Alternatives))
	}
	kits := &store.Kits{Pool: pool}
	save := func(old bool) (before *kit.Saved) {
		before, err := kits.Save(ctx, kit.Once{Actor: "test"}, func(context.Context) (*kit.Saved, error) {
			saved, err := kit.NewSaved(req, k, "test")
			if err != nil || !old {
				return saved, err
			}
			var answer map[string]any
			if err := json.Unmarshal(saved.Kit, &answer); err != nil {
				return nil, err
			}
			delete(answer["totals"].(map[string]any), "optional")
			for _, a := range answer["alternatives"].([]any) {
				delete(a.(map[string]any), "optimal")
			}
			saved.Kit, err = json.Marshal(answer)
			return saved, err
		})
		if err != nil {
			t.Fatal(err)
		}
		return before
	}
	today, earlier := save(false), save(true)
	if err := store.Migrate(ctx, dsn); err != nil {
		t.Fatal(err)
	}
	if again, err := kits.Find(ctx, today.Code); err != nil || !bytes.Equal(again.Kit, today.Kit) {
		t.Errorf("a kit of today is changed: %v", err)
	}
	mended, err := kits.Find(ctx, earlier.Code)
	if err != nil {
		t.Fatal(err)
	}
	var got, want any
	for i := range k.Alternatives {
		k.Alternatives[i].Optimal = false // not known any more
	}
	answer, err := json.Marshal(k)
	if err := errors.Join(err, json.Unmarshal(mended.Kit, &got), json.Unmarshal(answer, &want)); err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got %s\nwant %s", mended.Kit, answer)
	}
}

func TestManyReplicasMayMigrateAtOnce(t *testing.T) {
	dsn := storetest.Bare(t)
	errs := make(chan error)
	for range 4 {
		go func() { errs <- store.Migrate(context.Background(), dsn) }()
	}
	for range 4 {
		if err := <-errs; err != nil {
			t.Error(err)
		}
	}
}

func TestWithoutTheSchemaTheErrorSaysWhatToDo(t *testing.T) {
	pool := storetest.Pool(t, storetest.Bare(t))
	if _, err := store.Load(context.Background(), pool); err == nil || !strings.Contains(err.Error(), "go run ./api migrate") {
		t.Errorf("got %v", err)
	}
}

func TestADumpRestoresToTheSameCatalogue(t *testing.T) {
	dsn, pool := seeded(t)
	w := &store.Writer{Pool: pool}
	d := load(t, pool)
	part := dearer(d.Parts[0], 5)
	part.Name = nasty
	if _, err := w.PutPart(context.Background(), "test", part, catalog.Precondition{}); err != nil {
		t.Fatal(err)
	}
	copied := storetest.Copy(t, dsn)
	same(t, load(t, copied), load(t, pool))
	for _, table := range []string{"audit", "revisions", "imports", "api_keys"} {
		if got, want := table2text(t, copied, table), table2text(t, pool, table); got != want {
			t.Errorf("%s:\n%s\nwant\n%s", table, got, want)
		}
	}
	var answers [2]string
	for i, p := range []*pgxpool.Pool{pool, copied} {
		s, err := kit.Open(load(t, p))
		if err != nil {
			t.Fatal(err)
		}
		answer, err := resolveOne(s)
		if err != nil {
			t.Fatal(err)
		}
		answers[i] = string(answer)
	}
	if answers[0] != answers[1] {
		t.Errorf("the copy resolves to\n%s\nwant\n%s", answers[1], answers[0])
	}
	// And the copy can be written.
	if _, err := (&store.Writer{Pool: copied}).PutPart(context.Background(), "test", dearer(part, 1), catalog.Precondition{}); err != nil {
		t.Error(err)
	}
}

func table2text(t *testing.T, pool *pgxpool.Pool, table string) string {
	t.Helper()
	var text string
	if err := pool.QueryRow(context.Background(), "SELECT coalesce(string_agg(x::text, E'\\n' ORDER BY x::text), '') FROM "+table+" x").Scan(&text); err != nil {
		t.Fatal(err)
	}
	return text
}

// Constraints hold against whoever writes SQL by hand.
func TestTheSchemaRefusesWhatMakesNoSense(t *testing.T) {
	_, pool := seeded(t)
	ctx := context.Background()
	for _, c := range []string{
		"UPDATE vehicles SET fuel_line_od_in = '3/0'",
		"UPDATE vehicles SET fuel_line_od_in = '0/8'",
		"UPDATE vehicles SET fuel_line_od_in = 'wide'",
		"UPDATE vehicles SET fuel_line_od_in = '5/16 '",
		"UPDATE vehicles SET intake_stud_thread = '5/16'",
		"UPDATE vehicles SET fuel_pressure_psi = 'NaN'",
		"UPDATE vehicles SET fuel_pressure_psi = 'Infinity'",
		"UPDATE vehicles SET fuel_pressure_psi = -1",
		"UPDATE vehicles SET electrical_nominal_volts = 13.8",
		"UPDATE vehicles SET throttle_kind = 'wire'",
		"UPDATE vehicles SET transmission_kind = 'manual', transmission_downshift = 'detent_cable'",
		"UPDATE carburetors SET inlet_end = 'npt 3/8'",
		"UPDATE carburetors SET inlet_end = 'hose_barb 3/8 male'",
		"UPDATE carburetors SET throttle_ends = '{}'",
		"UPDATE carburetors SET throttle_ends = '{ball,hook}'",
		"UPDATE carburetors SET barrels = 5",
		"UPDATE carburetor_ports SET npt_in = '1/8', hose_in = '1/4'",
		"UPDATE carburetor_in_box SET need = NULL, part_sku = NULL",
		"UPDATE offers SET price_minor = 0",
		"UPDATE offers SET gtin = '123'",
		"UPDATE offers SET gtin = '00000000000000' WHERE article = 'part'",
		"UPDATE offers SET replaced_by = sku, discontinued = true",
		"UPDATE offers SET name = ' x'",
		"UPDATE offers SET name = E'a\\nb'",
		"UPDATE offers SET article = 'bundle' WHERE article = 'part'",
		"UPDATE offers SET pack_quantity = 2 WHERE article = 'bundle'",
		"UPDATE parts SET attributes = '[]'",
		"UPDATE parts SET end_1 = NULL, end_2 = 'hose 3/8'",
		"UPDATE bundle_contents SET quantity = 0",
		"UPDATE bundle_contents SET part_sku = (SELECT sku FROM carburetors LIMIT 1)",
		"UPDATE stock SET on_hand = -1",
		"UPDATE stock SET sku = 'NOT-THERE'",
		"UPDATE stock SET location = 'nowhere'",
		"UPDATE catalogue SET currency = 'usd'",
		"INSERT INTO catalogue VALUES (false, 'USD', 1)",
		"INSERT INTO offers SELECT * FROM offers LIMIT 1",
		"INSERT INTO part_relations SELECT sku, 'requires', sku, 0 FROM parts LIMIT 1",
		"DELETE FROM locations",
	} {
		tx, err := pool.Begin(ctx)
		if err != nil {
			t.Fatal(err)
		}
		_, err = tx.Exec(ctx, c+"; SET CONSTRAINTS ALL IMMEDIATE")
		if err == nil {
			t.Errorf("accepted: %s", c)
		}
		_ = tx.Rollback(ctx)
	}
}
