package store_test

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/jackc/pgx/v5/pgxpool"

	"onetrip/internal/catalog"
	"onetrip/internal/kit"
	"onetrip/internal/store"
)

func ask(kind, mode string) catalog.ImportRequest {
	return catalog.ImportRequest{Actor: "test", Kind: kind, Mode: mode}
}

func problems(t testing.TB, pool *pgxpool.Pool, id string) (list []catalog.ImportProblem) {
	t.Helper()
	if err := (&store.Writer{Pool: pool}).ImportProblems(context.Background(), id, func(p catalog.ImportProblem) error {
		list = append(list, p)
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	return list
}

func TestImportReportsEveryBadRow(t *testing.T) {
	_, pool := seeded(t)
	w := &store.Writer{Pool: pool}
	d := load(t, pool)
	sku, place := d.Parts[0].SKU, d.Locations[0].ID
	other := d.Parts[1].SKU
	good := other + "," + place + ",3\n"
	for _, c := range []struct {
		name, kind, body string
		line             int
		column, value    string
		detail           string // part of it
	}{
		{"a billion on hand", "stock", "sku,location,on_hand\n" + good + sku + "," + place + ",1000000000\n", 3, "on_hand", "1000000000", "1000000"},
		{"less than none", "stock", "sku,location,on_hand\n" + sku + "," + place + ",-1\n" + good, 2, "on_hand", "-1", "0"},
		{"half a pack", "stock", "sku,location,on_hand\n" + sku + "," + place + ",1.5\n" + good, 2, "on_hand", "1.5", "whole number"},
		{"unknown SKU", "stock", "sku,location,on_hand\n" + good + "NOT-THERE," + place + ",1\n", 3, "sku", "NOT-THERE", "has the SKU"},
		{"unknown location", "stock", "sku,location,on_hand\n" + good + sku + ",nowhere,1\n", 3, "location", "nowhere", "accepted: " + place},
		{"twice", "stock", "sku,location,on_hand\n" + good + good, 3, "sku", other, "is on line 2 already"},
		{"a comma too many", "stock", "sku,location,on_hand\n" + good + sku + "," + place + ",1,\n", 3, "", "", "4 cells"},
		{"quote left open", "stock", "sku,location,on_hand\n" + good + "\"" + sku + "," + place + ",1\n", 3, "", "", "quote"},
		{"quote inside", "stock", "sku,location,on_hand\n" + good + sku + "\"x," + place + ",1\n", 3, "", "", "quote"},
		{"line break in a SKU", "stock", "sku,location,on_hand\n\"" + sku + "\nX\"," + place + ",1\n" + good, 2, "sku", sku + "\nX", "not accepted"},
		{"NUL in a SKU", "stock", "sku,location,on_hand\n" + sku + "\x00," + place + ",1\n" + good, 2, "sku", sku + "\uFFFD", "not accepted"},
		{"Latin-1", "stock", "sku,location,on_hand\n" + sku + "\xe9," + place + ",1\n" + good, 2, "sku", sku + "\uFFFD", "UTF-8"},
		{"UTF-16", "stock", "\xff\xfes\x00k\x00u\x00", 1, "", "", "UTF-16"},
		{"column missing", "stock", "sku,on_hand\n" + sku + ",1\n", 1, "location", "", "lacks this column"},
		{"column unknown", "stock", "sku,location,on_hnad\n" + sku + ",a,1\n", 1, "on_hand", "", "lacks this column"},
		{"semicolons", "stock", "sku;location;on_hand\n", 1, "", "", "semicolons"},
		{"empty", "stock", "", 1, "", "", "empty"},
		{"ten megabytes in a cell", "stock", "sku,location,on_hand\n" + strings.Repeat("x", 10<<20) + "," + place + ",1\n", 0, "", "", "bytes"},
		{"negative price", "prices", "sku,price_minor\n" + sku + ",-5\n", 2, "price_minor", "-5", "above zero"},
		{"price with a point", "prices", "sku,price_minor\n" + sku + ",12.99\n", 2, "price_minor", "12.99", "write 1299"},
		{"price of nothing", "prices", "sku,price_minor\nNOT-THERE,100\n", 2, "sku", "NOT-THERE", "has the SKU"},
		{"price twice", "prices", "sku,price_minor\n" + sku + ",100\n" + sku + ",200\n", 3, "sku", sku, "is on line 2 already"},
		{"a part of no kind", "parts", "kind,sku,name,finish,pack_quantity,price_minor,lead_time_days,discontinued\nflux_box,F-1,Box,plain,1,100,0,false\n", 2, "kind", "flux_box", "accepted"},
		{"a part under a carburetor's SKU", "parts", "kind,sku,name,hose_in,finish,pack_quantity,price_minor,lead_time_days\nvacuum_cap," + d.Carburetors[0].SKU + ",Cap,1/4,plain,1,100,0\n", 2, "sku", d.Carburetors[0].SKU, "is the SKU of a carburetor"},
		{"a part that needs nothing there", "parts", "kind,sku,name,hose_in,finish,pack_quantity,price_minor,lead_time_days,requires\nvacuum_cap,F-1,Cap,1/4,plain,1,100,0,F-2\n", 2, "requires", "F-2", "has the SKU"},
	} {
		t.Run(c.name, func(t *testing.T) {
			done, err := w.Import(context.Background(), ask(c.kind, "atomic"), strings.NewReader(c.body))
			if err != nil {
				t.Fatal(err)
			}
			found := problems(t, pool, done.ID)
			if done.State != "rejected" || done.Bad != 1 || done.Changed != 0 || done.Revision != 1 || len(found) == 0 || int(done.Found) != len(found) {
				t.Fatalf("%+v, %v", done, found)
			}
			p := found[0]
			if c.line > 0 && p.Line != c.line || p.Column != c.column || !strings.Contains(p.Detail, c.detail) || p.Value != c.value {
				t.Errorf("got line %d, column %q, value %q: %s", p.Line, p.Column, p.Value, p.Detail)
			}
		})
	}
	same(t, load(t, pool), seed(t)) // none of them left anything
}

func TestImportReadsWhatSpreadsheetsWrite(t *testing.T) {
	_, pool := seeded(t)
	w := &store.Writer{Pool: pool}
	d := load(t, pool)
	sku, place := d.Parts[0].SKU, d.Locations[0].ID
	for i, body := range []string{
		"sku,location,on_hand\n%s,%s,%d\n",
		"sku,location,on_hand\r\n%s,%s,%d\r\n",
		"\xef\xbb\xbfsku,location,on_hand\r\n\"%s\",\"%s\",\"%d\"\r\n",
		"sku,location,on_hand\n %s , %s , %d ", // no line end at the end
	} {
		done, err := w.Import(context.Background(), ask("stock", "atomic"), strings.NewReader(fmt.Sprintf(body, sku, place, 100+i)))
		if err != nil || done.State != "applied" || done.Read != 1 || done.Changed != 1 {
			t.Errorf("%q: %+v, %v, %v", body, done, err, problems(t, pool, done.ID))
		}
	}
	for _, s := range load(t, pool).Stock {
		if s.SKU == sku && s.Location == place && s.OnHand != 103 {
			t.Errorf("%d on hand", s.OnHand)
		}
	}
}

func TestImportModes(t *testing.T) {
	_, pool := seeded(t)
	live := follow(t, pool, nil)
	w := &store.Writer{Pool: pool, Live: live}
	ctx := context.Background()
	d := load(t, pool)
	place := d.Locations[0].ID
	imported := func(req catalog.ImportRequest, body string) (catalog.Import, error) {
		done, err := w.Import(ctx, req, strings.NewReader(body))
		await(t, live, done.Revision, patience)
		return done, err
	}
	onHand := func(sku string) int {
		s := live.Snapshot().Catalog
		at, _ := s.Location(place)
		return s.OnHand(s.Offer(sku), at)
	}
	a, b := d.Parts[0].SKU, d.Parts[1].SKU
	body := fmt.Sprintf("sku,location,on_hand\n%s,%s,901\nNOT-THERE,%s,1\n%s,%s,902\n%s,%s,903\n%s,%s,x\n", a, place, place, b, place, b, place, a, place)

	done, err := imported(ask("stock", "atomic"), body)
	if err != nil || done.State != "rejected" || done.Read != 5 || done.Bad != 3 || onHand(a) == 901 {
		t.Errorf("atomic: %+v, %v", done, err)
	}
	dry := ask("stock", "valid_rows")
	dry.DryRun = true
	done, err = imported(dry, body)
	if err != nil || done.State != "checked" || done.Bad != 3 || done.Changed != 2 || done.Revision != 1 || onHand(a) == 901 {
		t.Errorf("dry run: %+v, %v", done, err)
	}
	done, err = imported(ask("stock", "valid_rows"), body)
	if err != nil || done.State != "applied" || done.Read != 5 || done.Bad != 3 || done.Changed != 2 || done.Revision != 2 {
		t.Errorf("valid rows: %+v, %v", done, err)
	}
	if onHand(a) != 901 || onHand(b) != 902 {
		t.Errorf("%d and %d on hand", onHand(a), onHand(b))
	}
	if deltas, loads := live.Refreshes(); deltas != 1 || loads != 1 {
		t.Errorf("%d deltas, %d loads; a stock import is a delta", deltas, loads)
	}
	again, err := imported(ask("stock", "valid_rows"), body)
	if err != nil || again.Changed != 0 || again.Revision != 2 || live.Snapshot().Catalog.Revision != 2 {
		t.Errorf("again: %+v, %v; want no new revision", again, err)
	}

	done, err = imported(ask("prices", "atomic"), fmt.Sprintf("sku,price_minor\n%s,4242\n%s,%d\n", a, b, d.Parts[1].Price.AmountMinor))
	if err != nil || done.Changed != 1 || live.Snapshot().Catalog.Offer(a).Price.AmountMinor != 4242 {
		t.Errorf("prices: %+v, %v", done, err)
	}

	// A part that names a refused part is refused with it, and so on.
	header := "kind,sku,name,hose_in,finish,pack_quantity,price_minor,lead_time_days,requires\n"
	done, err = imported(ask("parts", "valid_rows"), header+
		"vacuum_cap,C-1,Cap,1/4,plain,1,100,0,C-2\nvacuum_cap,C-2,Cap,1/4,plain,1,100,0,C-3\nvacuum_cap,C-3,Cap,1/4,plain,1,100,0,NOT-THERE\nvacuum_cap,C-4,Cap,1/4,plain,1,100,0,C-5\nvacuum_cap,C-5,Cap,1/4,plain,1,100,0,\n")
	if err != nil || done.Bad != 3 || done.Changed != 2 {
		t.Errorf("chain: %+v, %v, %v", done, err, problems(t, pool, done.ID))
	}
	if p, err := live.Snapshot().Catalog.Part("C-4"); err != nil || p.Requires[0] != "C-5" || p.Text("hose_in") != "1/4" {
		t.Errorf("%+v, %v", p, err)
	}

	var invalid *catalog.InvalidError
	if _, err := w.Import(ctx, ask("stok", "atomc"), strings.NewReader("")); !errors.As(err, &invalid) || len(invalid.Violations) != 2 {
		t.Errorf("unknown kind and mode: %v", err)
	}
	if _, err := w.Import(ctx, ask("stock", "atomic"), io.MultiReader(strings.NewReader("sku,location,on_hand\n"), brokenBody{})); !errors.Is(err, errBroken) {
		t.Errorf("a body that breaks off: %v", err)
	}
}

var errBroken = errors.New("the caller hung up")

type brokenBody struct{}

func (brokenBody) Read([]byte) (int, error) { return 0, errBroken }

func TestAnIdempotencyKeyReturnsTheFirstAnswer(t *testing.T) {
	_, pool := seeded(t)
	w := &store.Writer{Pool: pool}
	ctx := context.Background()
	d := load(t, pool)
	body := func(n int) io.Reader {
		return strings.NewReader(fmt.Sprintf("sku,location,on_hand\n%s,%s,%d\n", d.Parts[0].SKU, d.Locations[0].ID, n))
	}
	req := ask("stock", "atomic")
	req.IdempotencyKey = "monday"

	// Several at once: one works, the others wait and get its answer.
	var mu sync.Mutex
	var answers []catalog.Import
	var group sync.WaitGroup
	for range 8 {
		group.Go(func() {
			done, err := w.Import(ctx, req, body(77))
			if err != nil {
				t.Error(err)
			}
			mu.Lock()
			answers = append(answers, done)
			mu.Unlock()
		})
	}
	group.Wait()
	fresh := 0
	for _, a := range answers {
		if !a.Repeated {
			fresh++
		}
		if a.ID != answers[0].ID || a.State != "applied" || a.Changed != 1 || a.Revision != 2 {
			t.Errorf("%+v", a)
		}
	}
	if fresh != 1 {
		t.Errorf("%d of the answers are first answers", fresh)
	}
	found, err := (&store.Writer{Pool: pool}).FindImport(ctx, answers[0].ID)
	if err != nil || found.Changed != 1 {
		t.Errorf("%+v, %v", found, err)
	}

	if _, err := w.Import(ctx, req, body(78)); !errors.Is(err, catalog.ErrKeyReused) {
		t.Errorf("another file with the same key: %v", err)
	}
	dry := req // of which nothing is left to repeat
	dry.DryRun = true
	for _, n := range []int{77, 78} {
		if done, err := w.Import(ctx, dry, body(n)); err != nil || done.State != "checked" || done.Repeated || done.Changed != int64(n-77) {
			t.Errorf("%+v, %v", done, err)
		}
	}
	elsewhere := req
	elsewhere.Actor = "someone else"
	if done, err := w.Import(ctx, elsewhere, body(79)); err != nil || done.Repeated {
		t.Errorf("the same key of another caller: %+v, %v", done, err)
	}

	// A file can be tried under its own name.
	req.IdempotencyKey, dry.IdempotencyKey = "eve", "eve"
	if done, err := w.Import(ctx, dry, body(80)); err != nil || done.State != "checked" || done.Changed != 1 {
		t.Errorf("%+v, %v", done, err)
	}
	if done, err := w.Import(ctx, req, body(80)); err != nil || done.State != "applied" || done.Repeated {
		t.Errorf("%+v, %v", done, err)
	}

	// A refused file gives its key back: mended, it comes under the same name.
	req.IdempotencyKey = "tuesday"
	first, err := w.Import(ctx, req, body(-1))
	if err != nil || first.State != "rejected" {
		t.Fatalf("%+v, %v", first, err)
	}
	for range 4 { // also to those that wait for it
		group.Go(func() {
			if done, err := w.Import(ctx, req, body(-1)); err != nil || done.State != "rejected" || done.Repeated {
				t.Errorf("%+v, %v", done, err)
			}
		})
	}
	group.Wait()
	second, err := w.Import(ctx, req, body(81))
	if err != nil || second.State != "applied" || second.Repeated || second.Changed != 1 {
		t.Errorf("%+v, %v", second, err)
	}
	if again, err := w.Import(ctx, req, body(81)); err != nil || again.ID != second.ID || !again.Repeated {
		t.Errorf("%+v, %v", again, err)
	}
	if refused, err := w.FindImport(ctx, first.ID); err != nil || refused.State != "rejected" || len(problems(t, pool, first.ID)) != 1 {
		t.Errorf("%+v, %v", refused, err)
	}
}

// All of a row is told at once, whatever else is wrong in it.
func TestImportTellsAllOfARowAtOnce(t *testing.T) {
	_, pool := seeded(t)
	w := &store.Writer{Pool: pool}
	d := load(t, pool)
	const header = "kind,sku,name,hose_in,finish,pack_quantity,price_minor,lead_time_days,gtin,requires\n"
	gtin := d.Parts[slices.IndexFunc(d.Parts, func(p *catalog.Part) bool { return p.GTIN != "" })]
	near := d.Parts[0].SKU[:len(d.Parts[0].SKU)-1]
	for _, c := range []struct {
		kind, body string
		want       []string
	}{
		{"stock", "sku,location,on_hand\n" + near + ",tarnsly,x\n", []string{
			`2 on_hand "x" is not a whole number; write digits only: 12`,
			`2 sku no part, carburetor or bundle has the SKU "` + near + `", did you mean `,
			`2 location no location has the id "tarnsly", did you mean tarnsley?; accepted: brindlecote, tarnsley, wexhollow`}},
		{"stock", "sku,location,on_hand\n" + d.Parts[0].SKU + ",tarnsley,x\n" + d.Parts[0].SKU + ",tarnsley,y\n", []string{
			"2 on_hand ", "3 on_hand ", "3 sku the stock of this SKU at this location is on line 2 already"}},
		{"stock", "sku,location,on_hand\n" + d.Parts[0].SKU + ",tarnsley,x\n" + d.Parts[0].SKU + ",tarnsley,1\n", []string{
			"2 on_hand ", "2 sku the stock of this SKU at this location is on line 3 already"}},
		{"prices", "sku,price_minor\n" + near + ",-1\n", []string{
			"2 price_minor is -1", `2 sku no part, carburetor or bundle has the SKU "` + near + `", did you mean `}},
		{"parts", header + "vacuum_cap,C-1,,1/4,plain,1,100,0," + gtin.GTIN + "," + near + "\n", []string{
			"2 name is empty", `2 requires no part, carburetor or bundle has the SKU "` + near + `", did you mean `,
			"2 gtin " + gtin.GTIN + " is the GTIN of " + gtin.SKU + " already, and a scan must find one article; correct it or leave it out"}},
	} {
		done, err := w.Import(context.Background(), ask(c.kind, "atomic"), strings.NewReader(c.body))
		if err != nil || done.State != "rejected" {
			t.Fatalf("%+v, %v", done, err)
		}
		found := problems(t, pool, done.ID)
		if len(found) != len(c.want) {
			t.Errorf("%s: %+v", c.body, found)
			continue
		}
		for i, p := range found {
			if got := fmt.Sprint(p.Line, " ", p.Column, " ", p.Detail); !strings.HasPrefix(got, c.want[i]) {
				t.Errorf("got %s\nwant %s", got, c.want[i])
			}
		}
	}
}

// A scan must find one article, whether a bar code is read with 12 digits or with 13.
func TestAGTINIsOneArticles(t *testing.T) {
	ctx := context.Background()
	_, pool := seeded(t)
	w := &store.Writer{Pool: pool}
	d := load(t, pool)
	a, b := *d.Parts[0], *d.Parts[1]
	// Source: GS1's example GTIN-12, as in internal/units; GTINs in fields of 14 digits are
	// filled with zeros in front (GS1 General Specifications).
	a.GTIN, b.GTIN = "614141123452", "0614141123452"
	if _, err := w.PutPart(ctx, "test", &a, catalog.Precondition{}); err != nil {
		t.Fatal(err)
	}
	want := "0614141123452 is the GTIN of " + a.SKU + " already, and a scan must find one article; correct it or leave it out"
	b.Discontinued, b.ReplacedBy = true, a.SKU // not even of what replaces it
	bundle := *d.Bundles[0]
	bundle.GTIN = b.GTIN
	for _, write := range []func() (catalog.Written, error){
		func() (catalog.Written, error) { return w.PutPart(ctx, "test", &b, catalog.Precondition{}) },
		func() (catalog.Written, error) { return w.PutBundle(ctx, "test", &bundle, catalog.Precondition{}) },
	} {
		_, err := write()
		var invalid *catalog.InvalidError
		if !errors.As(err, &invalid) || invalid.Violations[0] != (catalog.Violation{Pointer: "/gtin", Detail: want}) {
			t.Errorf("got %v", err)
		}
	}
	if _, err := pool.Exec(ctx, "UPDATE offers SET gtin = $1 WHERE sku = $2", b.GTIN, b.SKU); err == nil {
		t.Error("the database takes it")
	}

	header := "kind,sku,name,hose_in,finish,pack_quantity,price_minor,lead_time_days,gtin\n"
	row := func(sku, gtin string) string { return "vacuum_cap," + sku + ",Cap,1/4,plain,1,100,0," + gtin + "\n" }
	if done, err := w.Import(ctx, ask("parts", "atomic"), strings.NewReader(header+row("C-1", "80614141123458")+row("C-2", "6291041500213"))); err != nil || done.Changed != 2 {
		t.Fatalf("%+v, %v", done, err)
	}
	if done, err := w.Import(ctx, ask("parts", "atomic"), strings.NewReader(header+row("C-1", "6291041500213")+row("C-2", "80614141123458"))); err != nil || done.Changed != 2 {
		t.Errorf("two cannot be exchanged: %+v, %v", done, err)
	}
	for _, c := range []struct {
		body string
		bad  int64
	}{
		{row("C-3", "96385074") + row("C-4", "96385074"), 1},
		{row("C-3", "6291041500213"), 1},
	} {
		done, err := w.Import(ctx, ask("parts", "atomic"), strings.NewReader(header+c.body))
		if err != nil || done.State != "rejected" || done.Bad != c.bad || problems(t, pool, done.ID)[0].Column != "gtin" {
			t.Errorf("%q: %+v, %v, %v", c.body, done, err, problems(t, pool, done.ID))
		}
	}
	// C-1 is refused, so it keeps what C-3 would take.
	done, err := w.Import(ctx, ask("parts", "valid_rows"), strings.NewReader(header+row("C-1", "x")+row("C-3", "6291041500213")))
	if err != nil || done.Bad != 2 || done.Changed != 0 {
		t.Errorf("%+v, %v, %v", done, err, problems(t, pool, done.ID))
	}
}

// What replaces what must end with something that is for sale or replaced by nothing.
func TestNothingComesToReplaceItself(t *testing.T) {
	ctx := context.Background()
	_, pool := seeded(t)
	w := &store.Writer{Pool: pool}
	d := load(t, pool)
	a, k, b := *d.Parts[0], *d.Carburetors[0], *d.Bundles[0]
	a.Discontinued, a.ReplacedBy = true, k.SKU
	k.Discontinued, k.ReplacedBy = true, b.SKU
	b.Discontinued, b.ReplacedBy = true, "C-1"
	header := "kind,sku,name,hose_in,finish,pack_quantity,price_minor,lead_time_days,discontinued,replaced_by\n"
	row := func(sku, replacedBy string) string {
		return fmt.Sprintf("vacuum_cap,%s,Cap,1/4,plain,1,100,0,%t,%s\n", sku, replacedBy != "", replacedBy)
	}
	mustImport := func(body string, changed, bad int64) catalog.Import {
		t.Helper()
		done, err := w.Import(ctx, ask("parts", "valid_rows"), strings.NewReader(header+body))
		if err != nil || done.Changed != changed || done.Bad != bad {
			t.Fatalf("%+v, %v", done, err)
		}
		return done
	}
	mustImport(row("C-1", ""), 1, 0)
	for _, write := range []func() error{
		func() error { _, err := w.PutPart(ctx, "test", &a, catalog.Precondition{}); return err },
		func() error { _, err := w.PutCarburetor(ctx, "test", &k, catalog.Precondition{}); return err },
		func() error { _, err := w.PutBundle(ctx, "test", &b, catalog.Precondition{}); return err },
	} {
		if err := write(); err != nil {
			t.Fatal(err)
		}
	}

	// The last link, by PUT and by a file.
	last := *d.Parts[1]
	last.SKU, last.GTIN, last.Discontinued, last.ReplacedBy = "C-1", "", true, a.SKU
	_, err := w.PutPart(ctx, "test", &last, catalog.Precondition{})
	var invalid *catalog.InvalidError
	if !errors.As(err, &invalid) || len(invalid.Violations) != 1 || invalid.Violations[0].Pointer != "/replaced_by" ||
		!strings.Contains(invalid.Violations[0].Detail, "C-1 -> "+a.SKU) {
		t.Errorf("got %v", err)
	}
	done := mustImport(row("C-1", a.SKU)+row("C-2", "C-3")+row("C-3", "C-2")+row("C-4", "C-1"), 1, 3)
	for i, name := range []string{"C-1 -> " + a.SKU, "C-2 -> C-3 -> C-2", "C-2 -> C-3 -> C-2"} {
		if p := problems(t, pool, done.ID)[i]; p.Line != i+2 || p.Column != "replaced_by" || !strings.Contains(p.Detail, name) {
			t.Errorf("%+v", p)
		}
	}
	// What breaks the ring elsewhere may come with it.
	mustImport(row("C-1", a.SKU)+row(a.SKU, ""), 2, 0)
}

func TestAHopelessFileIsCountedAndItsFirstFaultsTold(t *testing.T) {
	_, pool := seeded(t)
	w := &store.Writer{Pool: pool}
	d := load(t, pool)
	row := d.Parts[0].SKU + "," + d.Locations[0].ID + ",1\n"
	const rows = 20_000
	done, err := w.Import(context.Background(), ask("stock", "atomic"), strings.NewReader("sku,location,on_hand\n"+strings.Repeat(row, rows)))
	if err != nil || done.Bad != rows-1 || done.Found != rows-1 {
		t.Fatalf("%+v, %v", done, err)
	}
	found := problems(t, pool, done.ID)
	if len(found) != catalog.MostImportProblems || found[0].Line != 3 || found[len(found)-1].Line != catalog.MostImportProblems+2 {
		t.Errorf("%d told", len(found))
	}
}

func TestExportThenImportIsAnIdentity(t *testing.T) {
	_, pool := seeded(t)
	ctx := context.Background()
	w := &store.Writer{Pool: pool}
	formula := *load(t, pool).Parts[0]
	formula.SKU, formula.GTIN, formula.Name = "FORMULA-1", "", `=HYPERLINK("x"), "quoted"; '+@`
	if _, err := w.PutPart(ctx, "test", &formula, catalog.Precondition{}); err != nil {
		t.Fatal(err)
	}
	want := load(t, pool)
	s, err := kit.Open(load(t, pool))
	if err != nil {
		t.Fatal(err)
	}
	var parts, stock bytes.Buffer
	if err := errors.Join(store.WriteParts(&parts, s.Catalog), store.WriteStock(&stock, s.Catalog)); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(parts.String(), `"'=HYPERLINK(`) {
		t.Error("a name that looks like a formula is exported as one")
	}

	for _, c := range []struct{ kind, text string }{{"parts", parts.String()}, {"stock", stock.String()}} {
		done, err := w.Import(ctx, ask(c.kind, "atomic"), strings.NewReader(c.text))
		if err != nil || done.State != "applied" || c.kind == "parts" && done.Changed != 0 {
			t.Fatalf("%s: %+v, %v, %v", c.kind, done, err, problems(t, pool, done.ID))
		}
	}
	// Everything an export holds is spoiled, and comes back.
	if _, err := pool.Exec(ctx, `
		UPDATE offers SET name = 'x', finish = 'braided', pack_quantity = 7, price_minor = price_minor + 1, lead_time_days = 9, gtin = NULL, replaced_by = NULL, discontinued = NOT discontinued WHERE article = 'part';
		UPDATE parts SET kind = 'x', attributes = '{}', end_1 = NULL, end_2 = NULL, length_in = NULL, height_in = 9;
		DELETE FROM part_relations; UPDATE stock SET on_hand = on_hand + 1`); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ kind, text string }{{"parts", parts.String()}, {"stock", stock.String()}} {
		done, err := w.Import(ctx, ask(c.kind, "atomic"), strings.NewReader(c.text))
		if err != nil || done.State != "applied" || done.Changed == 0 {
			t.Fatalf("%s: %+v, %v", c.kind, done, err)
		}
	}
	got := load(t, pool)
	got.Revision = want.Revision
	zeros := map[catalog.Stock]bool{} // an export says 0 where there was no row
	for _, l := range want.Stock {
		zeros[catalog.Stock{SKU: l.SKU, Location: l.Location}] = true
	}
	for _, l := range got.Stock {
		if l.OnHand == 0 && !zeros[catalog.Stock{SKU: l.SKU, Location: l.Location}] {
			want.Stock = append(want.Stock, l)
		}
	}
	same(t, got, want)
}

// enlarge adds n parts like those there are, with stock at every location.
func enlarge(t testing.TB, pool *pgxpool.Pool, n int) {
	t.Helper()
	ctx := context.Background()
	tx, err := pool.Begin(ctx)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = tx.Rollback(ctx) }()
	for i, sql := range []string{
		`CREATE TEMP TABLE copies ON COMMIT DROP AS
			SELECT 'BULK-' || lpad(i::text, 7, '0') AS copy, base.sku AS base FROM generate_series(1, ` + strconv.Itoa(n) + `) i
			JOIN (SELECT sku, row_number() OVER (ORDER BY sku) - 1 AS n, count(*) OVER () AS total FROM parts) base ON base.n = i % base.total`,
		`INSERT INTO offers (article, sku, name, finish, pack_quantity, price_minor, lead_time_days, discontinued)
			SELECT 'part', copy, left(name, 100) || ' ' || copy, finish, pack_quantity, price_minor, lead_time_days, false FROM copies JOIN offers ON sku = base`,
		`INSERT INTO parts (sku, kind, attributes, end_1, end_2, length_in, height_in) SELECT copy, kind, attributes, end_1, end_2, length_in, height_in FROM copies JOIN parts ON sku = base`,
		`INSERT INTO stock (sku, location, on_hand, revision) SELECT copy, id, 1, 1 FROM copies, locations`,
	} {
		if _, err := tx.Exec(ctx, sql); err != nil {
			t.Fatalf("statement %d: %v", i, err)
		}
	}
	if err := tx.Commit(ctx); err != nil {
		t.Fatal(err)
	}
	if _, err := pool.Exec(ctx, "ANALYZE"); err != nil {
		t.Fatal(err)
	}
}

// stockFile is a stock import of rows rows over the first location, as a stream.
func stockFile(location string, rows, onHand int) io.Reader {
	r, w := io.Pipe()
	go func() {
		b := bufio.NewWriter(w)
		_, err := fmt.Fprint(b, "sku,location,on_hand\n")
		for i := 0; i < rows && err == nil; i++ {
			_, err = fmt.Fprintf(b, "BULK-%07d,%s,%d\n", i+1, location, onHand)
		}
		w.CloseWithError(errors.Join(err, b.Flush()))
	}()
	return r
}

// importChild is another process that imports, so that it can be killed: it says
// "half" in the middle of the file, "read" at its end and "done" after the commit.
func importChild() {
	ctx := context.Background()
	pool, err := store.Pool(ctx, os.Getenv("ONETRIP_IMPORT_CHILD"))
	if err != nil {
		panic(err)
	}
	rows, _ := strconv.Atoi(os.Getenv("ONETRIP_IMPORT_ROWS"))
	var location string
	if err := pool.QueryRow(ctx, "SELECT id FROM locations ORDER BY place LIMIT 1").Scan(&location); err != nil {
		panic(err)
	}
	req := ask("stock", "atomic")
	req.IdempotencyKey = "nightly"
	done, err := (&store.Writer{Pool: pool}).Import(ctx, req, io.MultiReader(
		&reporter{r: stockFile(location, rows, 55), after: rows * 12, say: "half"}, &reporter{r: strings.NewReader(""), say: "read"}))
	if err != nil {
		panic(err)
	}
	var memory runtime.MemStats
	runtime.ReadMemStats(&memory)
	fmt.Println("done", done.State, done.Changed, memory.Sys>>20, "MB")
}

// reporter says a word when so many bytes went through it.
type reporter struct {
	r     io.Reader
	after int
	say   string
}

func (p *reporter) Read(b []byte) (int, error) {
	n, err := p.r.Read(b)
	if p.after -= n; p.after <= 0 && p.say != "" {
		fmt.Println(p.say)
		p.say = ""
	}
	return n, err
}

func startImportChild(t testing.TB, dsn string, rows int) (*exec.Cmd, *bufio.Scanner) {
	t.Helper()
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), "ONETRIP_IMPORT_CHILD="+dsn, "ONETRIP_IMPORT_ROWS="+strconv.Itoa(rows))
	cmd.Stderr = os.Stderr
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	return cmd, bufio.NewScanner(out)
}

func TestAKilledImportLeavesNothing(t *testing.T) {
	const rows = 20000
	dsn, pool := seeded(t)
	enlarge(t, pool, rows)
	ctx := context.Background()
	want := load(t, pool)
	applied := func() bool { // all or nothing
		t.Helper()
		var changed, imports int
		if err := pool.QueryRow(ctx, "SELECT (SELECT count(*) FROM stock WHERE on_hand = 55 AND sku LIKE 'BULK-%'), (SELECT count(*) FROM imports)").Scan(&changed, &imports); err != nil {
			t.Fatal(err)
		}
		if !(changed == 0 && imports == 0 || changed == rows && imports == 1) {
			t.Fatalf("%d rows changed, %d imports", changed, imports)
		}
		return changed > 0
	}
	killed := 0
	for _, moment := range []struct {
		word string
		wait time.Duration
	}{{"half", 0}, {"half", 5 * time.Millisecond}, {"read", 0}, {"read", 20 * time.Millisecond}, {"read", 60 * time.Millisecond}, {"read", 120 * time.Millisecond}} {
		child, out := startImportChild(t, dsn, rows)
		for out.Scan() && out.Text() != moment.word {
		}
		time.Sleep(moment.wait)
		if err := child.Process.Kill(); err != nil && !errors.Is(err, os.ErrProcessDone) {
			t.Fatal(err)
		}
		_ = child.Wait() // ends with the kill
		for began := time.Now(); ; time.Sleep(5 * time.Millisecond) {
			var others int // the server's side of the dead connection
			if err := pool.QueryRow(ctx, "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() AND application_name = 'onetrip' AND state <> 'idle' AND pid <> pg_backend_pid()").Scan(&others); err != nil {
				t.Fatal(err)
			}
			if others == 0 {
				break
			}
			if time.Since(began) > 20*time.Second {
				t.Fatal("the dead import still has a transaction")
			}
		}
		if applied() {
			t.Logf("killed %v after %q, after the commit", moment.wait, moment.word)
			break
		}
		killed++
		same(t, load(t, pool), want)
	}
	if killed < 2 {
		t.Errorf("only %d imports were killed before their commit", killed)
	}

	child, out := startImportChild(t, dsn, rows) // the repeat, with the same key
	last := ""
	for out.Scan() {
		last = out.Text()
	}
	if err := child.Wait(); err != nil || !strings.HasPrefix(last, "done applied 20000") || !applied() {
		t.Errorf("the repeat: %q, %v", last, err)
	}
}

func TestImportMemoryDoesNotGrowWithTheFile(t *testing.T) {
	if testing.Short() {
		t.Skip("under the race detector memory is mostly the detector's")
	}
	dsn, pool := seeded(t)
	enlarge(t, pool, 100000)
	peak := func(rows int) int {
		if _, err := pool.Exec(context.Background(), "DELETE FROM imports"); err != nil {
			t.Fatal(err)
		}
		child, out := startImportChild(t, dsn, rows)
		last := ""
		for out.Scan() {
			last = out.Text()
		}
		if err := child.Wait(); err != nil {
			t.Fatal(err, last)
		}
		f := strings.Fields(last)
		mb, err := strconv.Atoi(f[3])
		if err != nil {
			t.Fatal(last)
		}
		return mb
	}
	small, large := peak(1000), peak(100000)
	t.Logf("memory taken from the system: %d MB for 1,000 rows, %d MB for 100,000", small, large)
	if large > small+40 { // the rows alone, kept as values, would be about 100 MB
		t.Errorf("importing takes %d MB for 1,000 rows and %d MB for 100,000", small, large)
	}
}
