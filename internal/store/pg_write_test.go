package store_test

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"reflect"
	"strings"
	"sync"
	"testing"

	"onetrip/internal/catalog"
	"onetrip/internal/store"
)

func TestWritesReadBackAndKeepHistory(t *testing.T) {
	_, pool := seeded(t)
	live := follow(t, pool, nil)
	w := &store.Writer{Pool: pool, Live: live}
	ctx := context.Background()
	must := catalog.Precondition{IfNoneMatch: true}
	now := func() *catalog.Snapshot { return live.Snapshot().Catalog }

	part := *now().Parts()[0]
	part.SKU, part.GTIN, part.Name, part.Requires, part.Conflicts = "NEW-1", "", "New part", []string{now().Parts()[1].SKU}, []string{now().Parts()[2].SKU, now().Parts()[3].SKU}
	carburetor := *now().Carburetors()[0]
	carburetor.SKU, carburetor.GTIN = "NEW-2", ""
	carburetor.InBox = append([]catalog.InBox{{SKU: "NEW-1", Quantity: 2}}, carburetor.InBox...)
	bundle := catalog.Bundle{Offer: part.Offer, Contents: []catalog.Amount{{SKU: "NEW-1", Quantity: 3}, {SKU: now().Parts()[4].SKU, Quantity: 1}}}
	bundle.SKU, bundle.PackQuantity = "NEW-3", 1
	vehicle := *now().Vehicles()[0]
	vehicle.ID = "new-4"

	for _, put := range []struct {
		what string
		put  func(catalog.Precondition) (catalog.Written, error)
		get  func() (any, error)
		want any
	}{
		{"part", func(p catalog.Precondition) (catalog.Written, error) { return w.PutPart(ctx, "ann", &part, p) },
			func() (any, error) { return now().Part("NEW-1") }, &part},
		{"carburetor", func(p catalog.Precondition) (catalog.Written, error) {
			return w.PutCarburetor(ctx, "ann", &carburetor, p)
		},
			func() (any, error) { return now().Carburetor("NEW-2") }, &carburetor},
		{"bundle", func(p catalog.Precondition) (catalog.Written, error) { return w.PutBundle(ctx, "ann", &bundle, p) },
			func() (any, error) { return now().Bundle("NEW-3") }, &bundle},
		{"vehicle", func(p catalog.Precondition) (catalog.Written, error) { return w.PutVehicle(ctx, "ann", &vehicle, p) },
			func() (any, error) { return now().Vehicle("new-4") }, &vehicle},
	} {
		written, err := put.put(must)
		if err != nil {
			t.Fatalf("%s: %v", put.what, err)
		}
		await(t, live, written.Revision, patience)
		got, err := put.get()
		if err != nil {
			t.Fatalf("%s: %v", put.what, err)
		}
		if !written.Created || catalog.ETag(got) != written.ETag || catalog.ETag(put.want) != written.ETag {
			t.Errorf("%s: written %+v, read %s", put.what, written, catalog.ETag(got))
		}
		if _, err := put.put(must); !errors.Is(err, catalog.ErrPreconditionFailed) {
			t.Errorf("%s: created twice: %v", put.what, err)
		}
		again, err := put.put(catalog.Precondition{IfMatch: []string{"other", written.ETag + ".stock"}})
		if err != nil || again.Revision != written.Revision || again.Created {
			t.Errorf("%s: the same again: %+v, %v; want no new revision", put.what, again, err)
		}
	}

	changed := part
	changed.Name, changed.Requires = "Renamed", nil
	before := catalog.ETag(&part)
	written, err := w.PutPart(ctx, "bob", &changed, catalog.Precondition{IfMatch: []string{before}})
	if err != nil {
		t.Fatal(err)
	}
	await(t, live, written.Revision, patience)
	if _, err := w.PutPart(ctx, "bob", &part, catalog.Precondition{IfMatch: []string{before}}); !errors.Is(err, catalog.ErrPreconditionFailed) {
		t.Errorf("a write on an old ETag: %v", err)
	}
	got, _ := now().Part("NEW-1")
	if got.Name != "Renamed" || got.Requires != nil || len(got.Conflicts) != 2 {
		t.Errorf("got %+v", got)
	}

	history, err := store.Audit(ctx, pool, "part", "NEW-1")
	if err != nil || len(history) != 2 {
		t.Fatalf("history %v, %v", history, err)
	}
	if history[0].Actor != "bob" || history[1].Actor != "ann" || string(history[1].Before) != "null" ||
		!sameJSON(t, history[0].Before, &part) || !sameJSON(t, history[0].After, &changed) || history[0].At.Before(history[1].At) {
		t.Errorf("history %+v", history)
	}

	// What is named cannot go.
	var referenced *catalog.ReferencedError
	_, err = w.DeletePart(ctx, "ann", "NEW-1", catalog.Precondition{})
	if !errors.As(err, &referenced) || !reflect.DeepEqual(referenced.By, []catalog.Reference{{Kind: "bundle", ID: "NEW-3"}, {Kind: "carburetor", ID: "NEW-2"}}) {
		t.Errorf("deleting what is named: %v", err)
	}
	for _, del := range []func() (catalog.Written, error){
		func() (catalog.Written, error) {
			return w.DeleteBundle(ctx, "ann", "NEW-3", catalog.Precondition{IfMatch: []string{"*"}})
		},
		func() (catalog.Written, error) {
			return w.DeleteCarburetor(ctx, "ann", "NEW-2", catalog.Precondition{})
		},
		func() (catalog.Written, error) {
			return w.DeletePart(ctx, "ann", "NEW-1", catalog.Precondition{IfMatch: []string{catalog.ETag(&changed)}})
		},
		func() (catalog.Written, error) { return w.DeleteVehicle(ctx, "ann", "new-4", catalog.Precondition{}) },
	} {
		written, err := del()
		if err != nil {
			t.Error(err)
		}
		await(t, live, written.Revision, patience)
		var missing *catalog.NotFoundError
		if _, err := del(); !errors.As(err, &missing) && !errors.Is(err, catalog.ErrPreconditionFailed) {
			t.Errorf("deleted twice: %v", err)
		}
	}
	want := seed(t)
	want.Revision = now().Revision
	same(t, load(t, pool), want)
}

func sameJSON(t *testing.T, got json.RawMessage, want any) bool {
	t.Helper()
	text, err := json.Marshal(want)
	if err != nil {
		t.Fatal(err)
	}
	var a, b any
	if json.Unmarshal(got, &a) != nil || json.Unmarshal(text, &b) != nil {
		t.Fatal("no JSON")
	}
	return reflect.DeepEqual(a, b)
}

func TestADeleteThatARuleNamesIsRefused(t *testing.T) {
	_, pool := seeded(t)
	w := &store.Writer{Pool: pool}
	ctx := context.Background()
	d := load(t, pool)
	var free string // a part nothing names
	for _, p := range d.Parts {
		if _, err := w.DeletePart(ctx, "test", p.SKU, catalog.Precondition{IfMatch: []string{"never"}}); !errors.Is(err, catalog.ErrPreconditionFailed) {
			t.Fatal(err)
		}
		named := false
		for _, b := range d.Bundles {
			for _, a := range b.Contents {
				named = named || a.SKU == p.SKU
			}
		}
		for _, k := range d.Carburetors {
			for _, b := range k.InBox {
				named = named || b.SKU == p.SKU
			}
		}
		for _, q := range d.Parts {
			named = named || q.ReplacedBy == p.SKU
			for _, s := range append(q.Requires, q.Conflicts...) {
				named = named || s == p.SKU
			}
		}
		if !named {
			free = p.SKU
			break
		}
	}
	for _, source := range []string{`  when: carburetor.sku == "` + free + `"`, `  sku: ` + free + "\n", `  one_of: [ ` + free + `, x ]`} {
		if _, err := pool.Exec(ctx, "INSERT INTO rules VALUES ('names-a-part', 'z.yaml', 0, $1, 1) ON CONFLICT (id) DO UPDATE SET source = excluded.source", source); err != nil {
			t.Fatal(err)
		}
		var referenced *catalog.ReferencedError
		if _, err := w.DeletePart(ctx, "test", free, catalog.Precondition{}); !errors.As(err, &referenced) || referenced.By[0] != (catalog.Reference{Kind: "rule", ID: "names-a-part"}) {
			t.Errorf("%s: %v", source, err)
		}
	}
	if _, err := pool.Exec(ctx, "UPDATE rules SET source = $1 WHERE id = 'names-a-part'", `  because: "`+free+`0 and x`+free+` are other parts"`); err != nil {
		t.Fatal(err)
	}
	if _, err := w.DeletePart(ctx, "test", free, catalog.Precondition{}); err != nil {
		t.Errorf("a rule that names others: %v", err)
	}
}

func TestWritesAreRefusedWithPointers(t *testing.T) {
	_, pool := seeded(t)
	w := &store.Writer{Pool: pool}
	ctx := context.Background()
	d := load(t, pool)
	part, carburetor, bundle := d.Parts[0], d.Carburetors[0], d.Bundles[0]
	for _, c := range []struct {
		pointer string
		write   func() error
	}{
		{"/name", func() error {
			p := *part
			p.Name = ""
			_, err := w.PutPart(ctx, "test", &p, catalog.Precondition{})
			return err
		}},
		{"/sku", func() error {
			p := *part
			p.SKU = carburetor.SKU
			_, err := w.PutPart(ctx, "test", &p, catalog.Precondition{})
			return err
		}},
		{"/requires/1", func() error {
			p := *part
			p.Requires = []string{d.Parts[1].SKU, "NOT-THERE"}
			_, err := w.PutPart(ctx, "test", &p, catalog.Precondition{})
			return err
		}},
		{"/price/currency", func() error {
			p := *part
			p.Price.Currency = "XTS"
			_, err := w.PutPart(ctx, "test", &p, catalog.Precondition{})
			return err
		}},
		{"/replaced_by", func() error {
			p := *part
			p.Discontinued, p.ReplacedBy = true, "NOT-THERE"
			_, err := w.PutPart(ctx, "test", &p, catalog.Precondition{})
			return err
		}},
		{"/contents/0/sku", func() error {
			b := *bundle
			b.Contents = []catalog.Amount{{SKU: carburetor.SKU, Quantity: 1}}
			_, err := w.PutBundle(ctx, "test", &b, catalog.Precondition{})
			return err
		}},
		{"/in_box/0/sku", func() error {
			k := *carburetor
			k.InBox = []catalog.InBox{{SKU: "NOT-THERE", Quantity: 1}}
			_, err := w.PutCarburetor(ctx, "test", &k, catalog.Precondition{})
			return err
		}},
		{"/engine/cylinders", func() error {
			v := *d.Vehicles[0]
			v.Engine.Cylinders = -1
			_, err := w.PutVehicle(ctx, "test", &v, catalog.Precondition{})
			return err
		}},
		{"/0/on_hand", func() error {
			_, err := w.PutStock(ctx, "test", part.SKU, []catalog.StockLevel{{Location: d.Locations[0].ID, OnHand: 1_000_000_000}}, catalog.Precondition{})
			return err
		}},
		{"/0/location", func() error {
			_, err := w.PutStock(ctx, "test", part.SKU, []catalog.StockLevel{{Location: "nowhere", OnHand: 1}}, catalog.Precondition{})
			return err
		}},
		{"", func() error {
			_, err := w.PutStock(ctx, "test", part.SKU, []catalog.StockLevel{{Location: d.Locations[0].ID, OnHand: 1}}, catalog.Precondition{})
			return err
		}},
	} {
		var invalid *catalog.InvalidError
		err := c.write()
		if !errors.As(err, &invalid) || invalid.Violations[0].Pointer != c.pointer {
			t.Errorf("%s: %v", c.pointer, err)
		}
	}
	var missing *catalog.NotFoundError
	if _, err := w.PutStock(ctx, "test", "NOT-THERE", nil, catalog.Precondition{}); !errors.As(err, &missing) {
		t.Errorf("stock of nothing: %v", err)
	}
	same(t, load(t, pool), seed(t)) // nothing was written
}

func TestOneOf32WritersWinsPerETag(t *testing.T) {
	_, pool := seeded(t)
	w := &store.Writer{Pool: pool}
	ctx := context.Background()
	part := load(t, pool).Parts[0]
	const writers, rounds = 32, 5
	var names []string // of the winners
	for round := range rounds {
		etag := catalog.ETag(part)
		var mu sync.Mutex
		var won []*catalog.Part
		var group sync.WaitGroup
		for i := range writers {
			group.Go(func() {
				mine := *part
				mine.Name = fmt.Sprintf("round %d writer %d", round, i)
				_, err := w.PutPart(ctx, mine.Name, &mine, catalog.Precondition{IfMatch: []string{etag}})
				if err == nil {
					mu.Lock()
					won = append(won, &mine)
					mu.Unlock()
				} else if !errors.Is(err, catalog.ErrPreconditionFailed) {
					t.Error(err)
				}
			})
		}
		group.Wait()
		if len(won) != 1 {
			t.Fatalf("round %d: %d writers won", round, len(won))
		}
		part = won[0]
		names = append(names, part.Name)
	}
	history, err := store.Audit(ctx, pool, "part", part.SKU)
	if err != nil || len(history) != rounds {
		t.Fatalf("%d changes in the history, %v", len(history), err)
	}
	for i, row := range history { // each change is there, and each begins where the one before ended
		if row.Actor != names[rounds-1-i] {
			t.Errorf("change %d by %s, want %s", i, row.Actor, names[rounds-1-i])
		}
		if i+1 < len(history) && string(row.Before) != string(history[i+1].After) {
			t.Errorf("change %d begins with %s, the one before ended with %s", i, row.Before, history[i+1].After)
		}
	}
}

// nasty is text that a careless statement would run.
const nasty = `'); DROP TABLE parts; -- " \ $1 $$ %s ${x} {{x}} é 日本 ` + "\u200d" + ` =1+1`

func TestSQLInEveryTextIsText(t *testing.T) {
	_, pool := seeded(t)
	live := follow(t, pool, nil)
	w := &store.Writer{Pool: pool, Live: live}
	ctx := context.Background()
	s := live.Snapshot().Catalog

	part := *s.Parts()[0]
	part.SKU, part.GTIN, part.Name = "NASTY-1", "", nasty
	var series *catalog.Part // a kind with a text attribute
	for _, p := range s.Parts() {
		if _, ok := p.Attr("series"); ok {
			q := *p
			form := *p.Form
			form.Attributes = append([]catalog.Attr(nil), form.Attributes...)
			for i := range form.Attributes {
				if form.Attributes[i].Name == "series" {
					form.Attributes[i].Value.Text = `'; DROP--\"$1`
				}
			}
			q.SKU, q.GTIN, q.Name, q.Form = "NASTY-2", "", nasty, &form
			series = &q
			break
		}
	}
	carburetor := *s.Carburetors()[0]
	carburetor.SKU, carburetor.GTIN, carburetor.Name, carburetor.Series = "NASTY-3", "", nasty, `'; DROP--\"$1`
	bundle := catalog.Bundle{Offer: part.Offer, Contents: []catalog.Amount{{SKU: "NASTY-1", Quantity: 1}}}
	bundle.SKU, bundle.PackQuantity = "NASTY-4", 1
	vehicle := *s.Vehicles()[0]
	vehicle.ID, vehicle.Make, vehicle.Model = "nasty-5", nasty, nasty
	for _, write := range []func() (catalog.Written, error){
		func() (catalog.Written, error) { return w.PutPart(ctx, nasty, &part, catalog.Precondition{}) },
		func() (catalog.Written, error) { return w.PutPart(ctx, nasty, series, catalog.Precondition{}) },
		func() (catalog.Written, error) {
			return w.PutCarburetor(ctx, nasty, &carburetor, catalog.Precondition{})
		},
		func() (catalog.Written, error) { return w.PutBundle(ctx, nasty, &bundle, catalog.Precondition{}) },
		func() (catalog.Written, error) { return w.PutVehicle(ctx, nasty, &vehicle, catalog.Precondition{}) },
	} {
		written, err := write()
		if err != nil {
			t.Fatal(err)
		}
		await(t, live, written.Revision, patience)
	}
	now := live.Snapshot().Catalog
	for _, c := range []struct {
		get  func() (any, error)
		want any
	}{
		{func() (any, error) { return now.Part("NASTY-1") }, &part},
		{func() (any, error) { return now.Part("NASTY-2") }, series},
		{func() (any, error) { return now.Carburetor("NASTY-3") }, &carburetor},
		{func() (any, error) { return now.Bundle("NASTY-4") }, &bundle},
		{func() (any, error) { return now.Vehicle("nasty-5") }, &vehicle},
	} {
		got, err := c.get()
		if err != nil || catalog.ETag(got) != catalog.ETag(c.want) {
			t.Errorf("got %+v, %v", got, err)
		}
	}
	history, err := store.Audit(ctx, pool, "part", "NASTY-1")
	if err != nil || len(history) != 1 || history[0].Actor != nasty {
		t.Errorf("history %v, %v", history, err)
	}

	// Where such text cannot be, it is refused or found nowhere, and nothing happens.
	for _, id := range []string{nasty, "a\x00b", "' OR '1'='1"} {
		if _, err := w.DeletePart(ctx, "test", id, catalog.Precondition{}); err == nil {
			t.Errorf("%q was deleted", id)
		}
		p := part
		p.SKU = id
		if _, err := w.PutPart(ctx, "test", &p, catalog.Precondition{}); err == nil {
			t.Errorf("%q was accepted as a SKU", id)
		}
		if _, err := (&store.Writer{Pool: pool}).FindImport(ctx, id); err == nil {
			t.Errorf("%q is an import", id)
		}
	}
	done, err := w.Import(ctx, catalog.ImportRequest{Actor: nasty, Kind: "stock", Mode: "atomic", IdempotencyKey: nasty},
		strings.NewReader("sku,location,on_hand\n\"'); DROP TABLE stock; --\",\"$1\",1\n"))
	if err != nil || done.State != "rejected" {
		t.Errorf("import: %+v, %v", done, err)
	}
	if got := len(load(t, pool).Parts); got != len(s.Parts())+2 {
		t.Errorf("%d parts, want %d", got, len(s.Parts())+2)
	}
}
