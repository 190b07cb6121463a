package store_test

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"os"
	"reflect"
	"slices"
	"testing"

	"github.com/jackc/pgx/v5/pgxpool"

	"onetrip/internal/catalog"
	"onetrip/internal/kit/kittest"
	"onetrip/internal/store"
	"onetrip/internal/store/storetest"
)

func TestMain(m *testing.M) {
	if os.Getenv("ONETRIP_IMPORT_CHILD") != "" {
		importChild()
		return
	}
	os.Exit(storetest.Main(m))
}

// seed is a fresh copy of the demo catalogue.
func seed(t testing.TB) *catalog.Data {
	t.Helper()
	return kittest.Data(t)
}

// seeded is a database that holds the demo catalogue.
func seeded(t testing.TB) (dsn string, pool *pgxpool.Pool) {
	t.Helper()
	dsn = storetest.Database(t)
	pool = storetest.Pool(t, dsn)
	if err := store.ImportCatalogue(context.Background(), pool, seed(t)); err != nil {
		t.Fatal(err)
	}
	return dsn, pool
}

func load(t testing.TB, pool *pgxpool.Pool) *catalog.Data {
	t.Helper()
	d, err := store.Load(context.Background(), pool)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// same compares two catalogues in every field; the order of what has ids is free.
func same(t testing.TB, got, want *catalog.Data) {
	t.Helper()
	if got.Revision != want.Revision || got.Currency != want.Currency {
		t.Errorf("revision %d, currency %s; want %d, %s", got.Revision, got.Currency, want.Revision, want.Currency)
	}
	sameList(t, "locations", got.Locations, want.Locations, nil)
	sameList(t, "vehicles", got.Vehicles, want.Vehicles, func(v *catalog.Vehicle) string { return v.ID })
	sameList(t, "carburetors", got.Carburetors, want.Carburetors, func(k *catalog.Carburetor) string { return k.SKU })
	sameList(t, "parts", got.Parts, want.Parts, func(p *catalog.Part) string { return p.SKU })
	sameList(t, "bundles", got.Bundles, want.Bundles, func(b *catalog.Bundle) string { return b.SKU })
	sameList(t, "stock", got.Stock, want.Stock, func(s catalog.Stock) string { return s.SKU + " " + s.Location })
	if !reflect.DeepEqual(got.RuleFiles, want.RuleFiles) {
		for name, text := range want.RuleFiles {
			if got.RuleFiles[name] != text {
				t.Errorf("rule file %s:\n%s\nwant:\n%s", name, got.RuleFiles[name], text)
			}
		}
	}
}

func sameList[T any](t testing.TB, what string, got, want []T, key func(T) string) {
	t.Helper()
	if len(got) != len(want) {
		t.Errorf("%d %s, want %d", len(got), what, len(want))
		return
	}
	if key != nil {
		for _, list := range []*[]T{&got, &want} {
			*list = slices.Clone(*list)
			slices.SortFunc(*list, func(a, b T) int { return cmp.Compare(key(a), key(b)) })
		}
	}
	for i := range got {
		if reflect.DeepEqual(got[i], want[i]) {
			continue
		}
		g, _ := json.Marshal(got[i])
		w, _ := json.Marshal(want[i])
		t.Errorf("%s: got %+v\n%s\nwant %+v\n%s", what, got[i], g, want[i], w)
		return
	}
}

func TestLoadReturnsWhatWasImported(t *testing.T) {
	_, pool := seeded(t)
	same(t, load(t, pool), seed(t))
}

func TestImportCatalogueRefusesASecondCatalogue(t *testing.T) {
	_, pool := seeded(t)
	if err := store.ImportCatalogue(context.Background(), pool, seed(t)); !errors.Is(err, store.ErrNotEmpty) {
		t.Errorf("got %v", err)
	}
	same(t, load(t, pool), seed(t))
}

func TestLoadOfAnEmptyDatabaseSaysWhatToDo(t *testing.T) {
	pool := storetest.Pool(t, storetest.Database(t))
	if _, err := store.Load(context.Background(), pool); !errors.Is(err, store.ErrEmpty) {
		t.Errorf("got %v", err)
	}
}
