package store_test

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"onetrip/db"
	"onetrip/internal/catalog"
	"onetrip/internal/kit"
	"onetrip/internal/store"
)

// keepable is a kit with these lines.
func keepable(skus ...string) (*kit.Saved, error) {
	data, err := store.ReadCatalogue(db.Seed())
	if err != nil {
		return nil, err
	}
	k := &kit.Kit{Vehicle: data.Vehicles[0], Carburetor: data.Carburetors[0]}
	for _, sku := range skus {
		k.Lines = append(k.Lines, kit.Line{SKU: sku})
	}
	return kit.NewSaved(&kit.Request{VehicleID: k.Vehicle.ID, CarburetorSKU: k.Carburetor.SKU}, k, "till")
}

// A thousand kits are kept in memory; the oldest goes first, with its idempotency key.
func TestMemoryKeepsTheNewestKits(t *testing.T) {
	const most = 1000
	kits := store.NewMemoryKits()
	one, err := keepable()
	if err != nil {
		t.Fatal(err)
	}
	save := func(key string) *kit.Saved {
		t.Helper()
		sv, err := kits.Save(t.Context(), kit.Once{Actor: "a", Key: key}, func(context.Context) (*kit.Saved, error) {
			return one, nil
		})
		if err != nil {
			t.Fatal(err)
		}
		return sv
	}
	var codes []string
	for i := range most + 3 {
		codes = append(codes, save(fmt.Sprint(i)).Code)
	}
	for i, code := range codes {
		_, err := kits.Find(t.Context(), code)
		var unknown *kit.UnknownCodeError
		if dropped := i < 3; dropped != errors.As(err, &unknown) || !dropped && err != nil {
			t.Errorf("kit %d: %v", i, err)
		} else if dropped && !strings.Contains(err.Error(), "in memory, the 1000 newest") {
			t.Errorf("it does not say why: %v", err)
		}
	}
	if again := save("3"); again.Code != codes[3] {
		t.Error("the key of a kit that is kept saved another")
	}
	if again := save("2"); again.Code == codes[2] {
		t.Error("the key of a kit that was dropped is still known")
	}
	list, err := kits.List(t.Context(), kit.SavedFilter{Limit: most + 1})
	if err != nil || len(list) != most || !slices.IsSortedFunc(list, func(a, b kit.SavedSummary) int { return b.SavedAt.Compare(a.SavedAt) }) {
		t.Errorf("%d kits are listed (%v)", len(list), err)
	}
}

// What a caller gets from memory is not changed by what is done afterwards.
func TestMemoryKitsAreNotShared(t *testing.T) {
	kits := store.NewMemoryKits()
	sv, err := kits.Save(t.Context(), kit.Once{}, func(context.Context) (*kit.Saved, error) {
		return keepable("A", "B")
	})
	if err != nil {
		t.Fatal(err)
	}
	before := catalog.ETag(sv)
	picked := &kit.Patch{Marks: map[string]*kit.Mark{"A": {Mark: kit.LinePicked}}}
	refused := errors.New("refused")
	for _, wanted := range []error{refused, nil} {
		_, err := kits.Change(t.Context(), sv.Code, catalog.Precondition{IfMatch: []string{before}}, func(ctx context.Context, sv *kit.Saved, now time.Time) error {
			if err := sv.Mark(ctx, nil, picked, "till", now); err != nil {
				return err
			}
			return wanted
		})
		if !errors.Is(err, wanted) {
			t.Fatal(err)
		}
		now, err := kits.Find(t.Context(), sv.Code)
		if changed := wanted == nil; err != nil || catalog.ETag(sv) != before || (catalog.ETag(now) != before) != changed {
			t.Errorf("after %v: the kit has changed: %v (%v)", wanted, catalog.ETag(now) != before, err)
		}
	}
}
