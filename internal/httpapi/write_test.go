package httpapi

import (
	"encoding/json"
	"fmt"
	"log/slog"
	"net/http"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"onetrip/internal/catalog"
	"onetrip/internal/kit"
	"onetrip/internal/kit/kittest"
	"onetrip/internal/store"
	"onetrip/internal/store/storetest"
)

func TestMain(m *testing.M) { os.Exit(storetest.Main(m)) }

// onPostgres is a client of a service on a database with the demo catalogue.
func onPostgres(t testing.TB, configure ...func(*Config)) (c client, dsn string) {
	t.Helper()
	dsn = storetest.Database(t)
	pool := storetest.Pool(t, dsn)
	if err := store.ImportCatalogue(t.Context(), pool, kittest.Data(t)); err != nil {
		t.Fatal(err)
	}
	live, err := store.Follow(t.Context(), pool, nil, slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(live.Close)
	cfg := Config{Snapshot: live.Snapshot, Source: "postgres", Database: live.Health, Writer: &store.Writer{Pool: pool, Live: live}, Kits: &store.Kits{Pool: pool}, Exports: csvExports}
	for _, change := range configure {
		change(&cfg)
	}
	return client{t, New(cfg)}, dsn
}

// withKeys asks for keys.
func withKeys(cfg *Config) { cfg.Access = fakeKeys(100000) }

// eventually waits for what the service shows a moment after a write.
func eventually(t testing.TB, what string, holds func() bool) {
	t.Helper()
	for deadline := time.Now().Add(20 * time.Second); !holds(); time.Sleep(5 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatalf("it did not come to be that %s", what)
		}
	}
}

// change decodes an answer, lets edit change it and encodes it again.
func change(t testing.TB, body []byte, edit func(map[string]any)) string {
	t.Helper()
	var thing map[string]any
	if err := json.Unmarshal(body, &thing); err != nil {
		t.Fatal(err)
	}
	edit(thing)
	text, err := json.Marshal(thing)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

func revisionOf(t testing.TB, r reply) int64 {
	t.Helper()
	var w Written
	if err := json.Unmarshal(r.body, &w); err != nil || r.status > 299 {
		t.Fatalf("status %d: %s (%v)", r.status, r.body, err)
	}
	return w.CatalogueRevision
}

func revisionNow(t testing.TB, c client) int64 {
	t.Helper()
	return read[Readiness](t, c.get("/readyz")).CatalogueRevision
}

// Reading, changing, creating and deleting is alike for all things.
func TestWhatIsNoTextIsRefusedBeforeTheDatabase(t *testing.T) {
	c, _ := onPostgres(t)
	for target, want := range map[string]string{
		"/v1/imports/%00":           `id: "/v1/imports/\x00" has a NUL; take it out`,
		"/v1/rules/a%00-b/history":  `id: "/v1/rules/a\x00-b/history" has a NUL; take it out`,
		"/v1/parts/%ff":             `sku: "/v1/parts/\xff" is not UTF-8; percent-encode the bytes of UTF-8`,
		"/v1/kits?q=%00":            `q: "\x00" has a NUL; take it out`,
		"/v1/kits?vehicle_id=a%00b": `vehicle_id: "a\x00b" has a NUL; take it out`,
	} {
		if p := problem(t, c.get(target)); p.Status != http.StatusBadRequest || p.Detail != want {
			t.Errorf("%s: %d %s, want %s", target, p.Status, p.Detail, want)
		}
	}
	if p := problem(t, c.do(http.MethodDelete, "/v1/parts/%00", "", "If-Match", "*")); p.Status != http.StatusBadRequest {
		t.Errorf("DELETE: %+v", p)
	}
}

func TestThingsAreWrittenUnderTheirETag(t *testing.T) {
	c, _ := onPostgres(t)
	for _, list := range []struct{ path, key, name string }{
		{"/v1/vehicles", "id", "model"}, {"/v1/carburetors", "sku", "name"}, {"/v1/parts", "sku", "name"}, {"/v1/bundles", "sku", "name"},
	} {
		t.Run(list.path, func(t *testing.T) {
			c := client{t, c.handler}
			target := list.path + "/" + read[page](t, c.get(list.path+"?limit=1")).Items[0][list.key].(string)
			first := c.get(target)
			tag, before := first.header.Get("ETag"), revisionNow(t, c)

			// What was read is written back as it is: nothing changes.
			same := c.do(http.MethodPut, target, string(first.body), "If-Match", tag)
			if same.status != http.StatusOK || revisionOf(t, same) != before {
				t.Fatalf("written back: %d %s", same.status, same.body)
			}
			if own, _, _ := strings.Cut(strings.Trim(tag, `"`), "."); same.header.Get("ETag") != `"`+own+`"` {
				t.Errorf("GET has the tag %s, PUT %s", tag, same.header.Get("ETag"))
			}

			renamed := change(t, first.body, func(thing map[string]any) { thing[list.name] = "Renamed'; DROP TABLE offers; -- \u200d\"\\ %s" })
			if p := problem(t, c.do(http.MethodPut, target, renamed)); p.Type != ProblemTypePreconditionRequired || !strings.Contains(p.Detail, "If-None-Match: *") {
				t.Errorf("without a precondition: %+v", p)
			}
			done := c.do(http.MethodPut, target, renamed, "If-Match", tag)
			if done.status != http.StatusOK {
				t.Fatalf("%d %s", done.status, done.body)
			}
			eventually(t, "the change shows", func() bool { return strings.Contains(string(c.get(target).body), "DROP TABLE") })
			now := c.get(target).header.Get("ETag")
			if now == tag || c.get(target, "If-None-Match", tag).status != http.StatusOK || c.get(target, "If-None-Match", now).status != http.StatusNotModified {
				t.Errorf("the tag was %s and is %s", tag, now)
			}
			if p := problem(t, c.do(http.MethodPut, target, string(first.body), "If-Match", tag)); p.Type != ProblemTypePreconditionFailed {
				t.Errorf("over a newer state: %+v", p)
			}
			if p := problem(t, c.do(http.MethodPut, target, string(first.body), "If-None-Match", "*")); p.Type != ProblemTypePreconditionFailed {
				t.Errorf("created over what is there: %+v", p)
			}

			fresh := list.path + "/" + "new-" + list.key
			created := change(t, first.body, func(thing map[string]any) {
				thing[list.key] = "new-" + list.key
				delete(thing, "gtin")
			})
			if p := problem(t, c.do(http.MethodPut, fresh, created, "If-Match", "*")); p.Type != ProblemTypePreconditionFailed {
				t.Errorf("over what is not there: %+v", p)
			}
			made := c.do(http.MethodPut, fresh, created, "If-None-Match", "*")
			if made.status != http.StatusCreated {
				t.Fatalf("create: %d %s", made.status, made.body)
			}
			eventually(t, "the new one shows", func() bool { return c.get(fresh).status == http.StatusOK })
			if p := problem(t, c.do(http.MethodPut, fresh+"x", created, "If-None-Match", "*")); p.Status != 422 || faultLines(p)[0] !=
				fmt.Sprintf(`/%s: is "new-%s", the path says "new-%sx"; make them the same, or write to the other path`, list.key, list.key, list.key) {
				t.Errorf("under another path: %+v", p)
			}

			if p := problem(t, c.do(http.MethodDelete, fresh, "", "If-None-Match", "*")); p.Type != ProblemTypePreconditionRequired || strings.Contains(p.Detail, "If-None-Match") {
				t.Errorf("deleted without a precondition: %+v", p)
			}
			if p := problem(t, c.do(http.MethodDelete, fresh, "", "If-Match", `"another"`)); p.Type != ProblemTypePreconditionFailed {
				t.Errorf("deleted in another state: %+v", p)
			}
			gone := c.do(http.MethodDelete, fresh, "", "If-Match", `"another", `+made.header.Get("ETag"))
			if gone.status != http.StatusOK || revisionOf(t, gone) <= revisionOf(t, made) {
				t.Fatalf("delete: %d %s", gone.status, gone.body)
			}
			eventually(t, "it is gone", func() bool { return c.get(fresh).status == http.StatusNotFound })
		})
	}
}

// Every thing of the demo catalogue can be read and written back without a change:
// reader and writer see one state under one tag.
func TestWhatIsReadIsWrittenBackUnchanged(t *testing.T) {
	c, _ := onPostgres(t)
	for path, key := range map[string]string{"/v1/vehicles": "id", "/v1/carburetors": "sku", "/v1/parts": "sku", "/v1/bundles": "sku"} {
		every := 1
		if path == "/v1/parts" {
			every = 5
		}
		seen := 0
		for next := path + "?limit=200"; next != ""; {
			p := read[page](t, c.get(next))
			for _, item := range p.Items {
				if seen++; seen%every != 0 {
					continue
				}
				target := path + "/" + item[key].(string)
				r := c.get(target)
				if w := c.do(http.MethodPut, target, string(r.body), "If-Match", r.header.Get("ETag")); w.status != http.StatusOK || revisionOf(t, w) != 1 {
					t.Errorf("%s: %d %s", target, w.status, w.body)
				}
			}
			if next = ""; p.NextCursor != "" {
				next = path + "?limit=200&cursor=" + p.NextCursor
			}
		}
	}
}

func TestStockIsWritten(t *testing.T) {
	c, _ := onPostgres(t)
	part := read[page](t, c.get("/v1/parts?limit=1")).Items[0]["sku"].(string)
	target := "/v1/stock/" + part
	first := c.get(target)
	stock := read[Stock](t, first)
	if *stock.SKU != part || len(stock.Stock) == 0 {
		t.Fatalf("%s", first.body)
	}
	stock.Stock[0].OnHand = 4321
	slices.Reverse(stock.Stock) // any order will do
	body, err := json.Marshal(Stock{Stock: stock.Stock})
	if err != nil {
		t.Fatal(err)
	}
	goods := c.get("/v1/parts/" + part)
	done := c.do(http.MethodPut, target, string(body), "If-Match", first.header.Get("ETag"))
	revision := revisionOf(t, done)
	eventually(t, "the stock shows", func() bool { return strings.Contains(string(c.get(target).body), "4321") })
	if got := c.get(target).header.Get("ETag"); got != done.header.Get("ETag") || got == first.header.Get("ETag") {
		t.Errorf("PUT has the tag %s, GET %s, before it was %s", done.header.Get("ETag"), got, first.header.Get("ETag"))
	}
	// The part's answer is another now, but the part is not: its old tag still serves.
	if again := c.get("/v1/parts/"+part, "If-None-Match", goods.header.Get("ETag")); again.status != http.StatusOK {
		t.Errorf("the part's answer did not change: %d", again.status)
	}
	if w := c.do(http.MethodPut, "/v1/parts/"+part, string(goods.body), "If-Match", goods.header.Get("ETag")); w.status != http.StatusOK || revisionOf(t, w) != revision {
		t.Errorf("the part's tag does not serve after a change of stock: %d %s", w.status, w.body)
	}

	for _, tc := range []struct {
		name, target, body string
		status             int
		want               string
	}{
		{"old tag", target, string(body), 412, "it has changed since you read it"},
		{"location left out", target, `{"stock": []}`, 422, "/stock: location "},
		{"unknown location", target, strings.Replace(string(body), `"location":"`, `"location":"un`, 1), 422, "/stock/0/location: no location has the id "},
		{"negative", target, strings.Replace(string(body), "4321", "-1", 1), 422, "/stock/2/on_hand: -1 is outside 0 to 1000000"},
		{"too many", target, strings.Replace(string(body), "4321", "2000000", 1), 422, "/stock/2/on_hand: 2000000 is outside 0 to 1000000"},
		{"half a pack", target, strings.Replace(string(body), "4321", "0.5", 1), 422, "/stock/2/on_hand: 0.5 is not a whole number"},
		{"whole with a point", target, strings.Replace(string(body), "4321", "1.0", 1), 422, "/stock/2/on_hand: 1.0 is not written as a whole number"},
		{"another SKU", target, `{"sku": "OTHER", "stock": []}`, 422, `/sku: is "OTHER", the path says `},
		{"unknown SKU", target + "X", string(body), 404, "no article "},
	} {
		tag := "*"
		if tc.name == "old tag" {
			tag = first.header.Get("ETag")
		}
		p := problem(t, c.do(http.MethodPut, tc.target, tc.body, "If-Match", tag))
		if lines := append(faultLines(p), p.Detail); p.Status != tc.status || !strings.HasPrefix(lines[0], tc.want) {
			t.Errorf("%s: %d %s", tc.name, p.Status, lines[0])
		}
	}
}

// A wrong thing gets every fault with its pointer, from the schema, from what the
// catalogue's nouns know, and from the catalogue it is written into.
func TestWrongThingsAreExplained(t *testing.T) {
	c, _ := onPostgres(t)
	first := func(path string) (target string, body string) {
		items := read[page](t, c.get(path)).Items
		if len(items) == 0 {
			t.Fatalf("nothing in %s", path)
		}
		key, ok := items[0]["sku"]
		if !ok {
			key = items[0]["id"]
		}
		target = strings.Split(path, "?")[0] + "/" + key.(string)
		return target, string(c.get(target).body)
	}
	part, partBody := first("/v1/parts?kind=fuel_fitting")
	filter, filterBody := first("/v1/parts?kind=fuel_filter")
	var sold struct{ SKU, GTIN string } // what the fitting is sold as
	if err := json.Unmarshal([]byte(partBody), &sold); err != nil || sold.GTIN == "" {
		t.Fatalf("%s: no GTIN (%v)", partBody, err)
	}
	carburetor, carburetorBody := first("/v1/carburetors")
	bundle, bundleBody := first("/v1/bundles")
	vehicle, vehicleBody := first("/v1/vehicles")
	sku := func(target string) string { return target[strings.LastIndex(target, "/")+1:] }
	in := func(thing map[string]any, path ...string) map[string]any {
		for _, name := range path {
			thing = thing[name].(map[string]any)
		}
		return thing
	}
	for _, tc := range []struct {
		name, target, body string
		edit               func(map[string]any)
		want               []string // each begins one of the faults
	}{
		{"several", filter, filterBody, func(p map[string]any) {
			p["finish"], p["pack_quantity"] = "golden", 0
			in(p, "price")["amount_minor"] = -1
		}, []string{`/finish: "golden" is not accepted`, "/pack_quantity: 0 ", "/price/amount_minor: is -1; a price is above zero"}},
		{"unknown kind", filter, filterBody, func(p map[string]any) { p["kind"] = "fuel_filtr" }, []string{`/kind: "fuel_filtr" is not accepted, did you mean fuel_filter?`}},
		{"unknown attribute", filter, filterBody, func(p map[string]any) { in(p, "attributes")["mikron"] = 10 },
			[]string{"/attributes/mikron: a fuel_filter has no such attribute, did you mean micron?"}},
		{"no attributes", filter, filterBody, func(p map[string]any) { delete(p, "attributes") }, []string{"/attributes: is missing; give an object in { }: the attributes of the kind"}},
		{"half a cent", filter, filterBody, func(p map[string]any) { in(p, "price")["amount_minor"] = 5.5 }, []string{"/price/amount_minor: 5.5 is not a whole number; accepted: 1 to 100000000"}},
		{"odd end", part, partBody, func(p map[string]any) {
			p["ends"].([]any)[1] = map[string]any{"family": "hose_barb", "size": "9/7"}
		}, []string{"/ends/1/size: 1-2/7 in is no size of the trade"}},
		{"missing attribute", filter, filterBody, func(p map[string]any) { delete(in(p, "attributes"), "micron") }, []string{"/attributes/micron: is missing"}},
		{"attribute of another type", filter, filterBody, func(p map[string]any) { in(p, "attributes")["micron"] = "fine" }, []string{`/attributes/micron: is the text "fine"; write a number without quotes`}},
		{"attribute below zero", filter, filterBody, func(p map[string]any) { in(p, "attributes")["micron"] = -3 }, []string{"/attributes/micron: -3 is outside 1 to 1000 micron"}},
		{"end", part, partBody, func(p map[string]any) {
			p["ends"].([]any)[1] = map[string]any{"family": "inverted_flare", "size": "7/16", "gender": "male"}
		}, []string{"/ends/1: end inverted_flare 7/16: no such size"}},
		{"currency", filter, filterBody, func(p map[string]any) { in(p, "price")["currency"] = "EUR" }, []string{"/price/currency: is EUR, but every price of this catalogue is in USD"}},
		{"unknown requirement", filter, filterBody, func(p map[string]any) { p["requires"] = []string{"NONE-1"} }, []string{`/requires/0: no part, carburetor or bundle has the SKU "NONE-1"`}},
		{"slip in a requirement", filter, filterBody, func(p map[string]any) { p["requires"] = []string{sold.SKU + "0"} },
			[]string{fmt.Sprintf("/requires/0: no part, carburetor or bundle has the SKU %q, did you mean %s or ", sold.SKU+"0", sold.SKU)}},
		{"GTIN", filter, filterBody, func(p map[string]any) { p["gtin"] = "96385075" }, []string{"/gtin: "}},
		{"point", filter, strings.Replace(filterBody, `"pack_quantity":1,`, `"pack_quantity":1.0,`, 1), nil, []string{"/pack_quantity: 1.0 is not written as a whole number"}},
		{"SKU of a bundle", "/v1/parts/" + sku(bundle), filterBody, func(p map[string]any) { p["sku"] = sku(bundle); delete(p, "gtin") }, []string{"/sku: " + sku(bundle) + " is the SKU of a bundle"}},
		{"GTIN of another", filter, filterBody, func(p map[string]any) { p["gtin"] = sold.GTIN }, []string{"/gtin: " + sold.GTIN + " is the GTIN of " + sold.SKU + " already"}},
		{"carburetor", carburetor, carburetorBody, func(k map[string]any) { in(k, "choke")["amps_cold"], k["barrels"] = 400, 9 }, []string{"/barrels: 9 ", "/choke/amps_cold: 400 "}},
		{"bundle of a carburetor", bundle, bundleBody, func(b map[string]any) { b["contents"].([]any)[0].(map[string]any)["sku"] = sku(carburetor) },
			[]string{"/contents/0/sku: " + sku(carburetor) + " is a carburetor; name a part"}},
		{"vehicle", vehicle, vehicleBody, func(v map[string]any) { in(v, "engine")["displacement_in3"] = 5.7 }, []string{"/engine/displacement_in3: 5.7 is outside 20 to 1200 in³; 5.7 looks like litres"}},
		{"field", vehicle, vehicleBody, func(v map[string]any) { v["maker"] = "x" }, []string{`/maker: "maker" is not a field here, did you mean make?`}},
		{"NUL", filter, filterBody, func(p map[string]any) { p["name"] = "a\x00b" }, []string{"/name: "}},
	} {
		body := tc.body
		if tc.edit != nil {
			body = change(t, []byte(tc.body), tc.edit)
		}
		precondition := "If-Match"
		if tc.name == "SKU of a bundle" { // under which there is no part yet
			precondition = "If-None-Match"
		}
		p := problem(t, c.do(http.MethodPut, tc.target, body, precondition, "*"))
		lines := faultLines(p)
		if p.Status != 422 || len(lines) != len(tc.want) {
			t.Errorf("%s: %d %s", tc.name, p.Status, strings.Join(append(lines, p.Detail), "\n\t"))
			continue
		}
		for i := range lines {
			if !strings.HasPrefix(lines[i], tc.want[i]) || strings.Contains(lines[i], "\n") || len(lines[i]) > 1000 {
				t.Errorf("%s: %s, want %s", tc.name, lines[i], tc.want[i])
			}
		}
	}
	for name, headers := range map[string][]string{
		`If-Match: is "abc"; send the ETag`:                  {"If-Match", "abc"},
		`If-None-Match: is "\"abc\""; a write takes * alone`: {"If-None-Match", `"abc"`},
	} {
		if p := problem(t, c.do(http.MethodPut, filter, filterBody, headers...)); p.Status != 400 || !strings.HasPrefix(p.Detail, name) || p.Title != "A parameter or header is wrong" {
			t.Errorf("%d %s, want %s", p.Status, p.Detail, name)
		}
	}
	weak := c.get(filter).header.Get("ETag")
	if p := problem(t, c.do(http.MethodPut, filter, filterBody, "If-Match", "W/"+weak)); p.Type != ProblemTypePreconditionFailed {
		t.Errorf("a weak tag: %+v", p)
	}
	if revision := revisionNow(t, c); revision != 1 {
		t.Errorf("something was written: revision %d", revision)
	}
}

func TestWhatOthersNameIsNotDeleted(t *testing.T) {
	c, _ := onPostgres(t)
	bundle := read[page](t, c.get("/v1/bundles?limit=1")).Items[0]
	sku := bundle["contents"].([]any)[0].(map[string]any)["sku"].(string)
	p := problem(t, c.do(http.MethodDelete, "/v1/parts/"+sku, "", "If-Match", "*"))
	if p.Type != ProblemTypeReferenced || p.ReferencedBy == nil || !slices.Contains(*p.ReferencedBy, catalog.Reference{Kind: "bundle", ID: bundle["sku"].(string)}) {
		t.Errorf("%+v %v", p, p.ReferencedBy)
	}
	if !strings.Contains(p.Detail, "is still named by ") || !strings.Contains(p.Detail, "change or delete those first") {
		t.Errorf("detail is %q", p.Detail)
	}
}

// Of 32 writers with one tag one wins; who reads again and repeats loses nothing.
func TestOneOfManyWritersWins(t *testing.T) {
	c, _ := onPostgres(t)
	sku := read[page](t, c.get("/v1/parts?limit=1")).Items[0]["sku"].(string)
	target := "/v1/parts/" + sku
	first := c.get(target)
	price := func(body []byte) int64 {
		var part catalog.Part
		if err := json.Unmarshal(body, &part); err != nil {
			t.Error(err)
		}
		return part.Price.AmountMinor
	}
	const writers = 12
	var wins, conflicts int
	var mu sync.Mutex
	var wg sync.WaitGroup
	for i := range writers {
		wg.Go(func() {
			body := change(t, first.body, func(p map[string]any) { p["name"] = fmt.Sprintf("Written by %d", i) })
			r := c.do(http.MethodPut, target, body, "If-Match", first.header.Get("ETag"))
			mu.Lock()
			defer mu.Unlock()
			switch r.status {
			case http.StatusOK:
				wins++
			case http.StatusPreconditionFailed:
				conflicts++
			default:
				t.Errorf("status %d: %s", r.status, r.body)
			}
		})
	}
	wg.Wait()
	if wins != 1 || conflicts != writers-1 {
		t.Errorf("%d won, %d lost", wins, conflicts)
	}
	for range writers {
		wg.Go(func() {
			for range 10000 {
				r := c.get(target)
				body := change(t, r.body, func(p map[string]any) {
					m := p["price"].(map[string]any)
					m["amount_minor"] = m["amount_minor"].(float64) + 1
				})
				if w := c.do(http.MethodPut, target, body, "If-Match", r.header.Get("ETag")); w.status == http.StatusOK {
					return
				}
			}
			t.Error("it never came through")
		})
	}
	wg.Wait()
	eventually(t, "all were counted", func() bool { return price(c.get(target).body) == price(first.body)+int64(writers) })
}

func TestWithoutPostgresReadingGoesOnAndWritingWaits(t *testing.T) {
	c, dsn := onPostgres(t)
	sku := read[page](t, c.get("/v1/parts?limit=1")).Items[0]["sku"].(string)
	target := "/v1/parts/" + sku
	first := c.get(target)
	end := storetest.Outage(t, dsn)
	w := c.do(http.MethodPut, target, string(first.body), "If-Match", first.header.Get("ETag"))
	if p := problem(t, w); p.Type != ProblemTypeUnavailable || w.header.Get("Retry-After") == "" || strings.Contains(p.Detail, "127.0.0.1") {
		t.Errorf("%v %s", w.header, w.body)
	}
	if p := problem(t, c.do(http.MethodDelete, target, "", "If-Match", "*")); p.Type != ProblemTypeUnavailable {
		t.Errorf("%+v", p)
	}
	eventually(t, "readyz says so", func() bool { return !read[Readiness](t, c.get("/readyz")).Database.Connected })
	if again := c.get(target); again.status != http.StatusOK || again.header.Get("ETag") != first.header.Get("ETag") {
		t.Errorf("the part: %d", again.status)
	}
	demo := read[kit.Kit](t, c.post("/v1/kits/resolve", `{"vehicle_id": "halvorne-ferrymaster-1972", "carburetor_sku": "QYC-2A23"}`))
	if demo.CatalogueRevision != 1 {
		t.Errorf("a kit of revision %d", demo.CatalogueRevision)
	}
	end()
	eventually(t, "writing works again", func() bool {
		return c.do(http.MethodPut, target, string(first.body), "If-Match", first.header.Get("ETag")).status == http.StatusOK
	})
}

func TestWritesNeedTheirScope(t *testing.T) {
	c, _ := onPostgres(t, withKeys)
	sku := read[page](t, c.get("/v1/parts?limit=1", "Authorization", "Bearer key:read")).Items[0]["sku"].(string)
	as := func(scopes, method, target, body string) reply {
		return c.do(method, target, body, "If-Match", "*", "Authorization", "Bearer key:"+scopes)
	}
	part := string(as("read", http.MethodGet, "/v1/parts/"+sku, "").body)
	stock := string(as("read", http.MethodGet, "/v1/stock/"+sku, "").body)
	for _, tc := range []struct {
		scopes, method, target, body string
		lacks                        string
	}{
		{"read", http.MethodPut, "/v1/parts/" + sku, part, "catalogue"},
		{"read+stock+kits", http.MethodPut, "/v1/parts/" + sku, part, "catalogue"},
		{"catalogue", http.MethodPut, "/v1/parts/" + sku, part, ""},
		{"stock", http.MethodDelete, "/v1/parts/" + sku, "", "catalogue"},
		{"read+catalogue", http.MethodPut, "/v1/stock/" + sku, stock, "stock"},
		{"stock", http.MethodPut, "/v1/stock/" + sku, stock, ""},
		{"stock", http.MethodGet, "/v1/stock/" + sku, "", ""},
	} {
		r := as(tc.scopes, tc.method, tc.target, tc.body)
		if tc.lacks == "" {
			if r.status != http.StatusOK {
				t.Errorf("%s may not %s %s: %s", tc.scopes, tc.method, tc.target, r.body)
			}
			continue
		}
		want := fmt.Sprintf(`Bearer realm="onetrip", error="insufficient_scope", scope="%s"`, tc.lacks)
		if p := problem(t, r); p.Type != ProblemTypeForbidden || r.header.Get("WWW-Authenticate") != want || !strings.Contains(p.Detail, "scope "+tc.lacks) {
			t.Errorf("%s %s %s: %v %s", tc.scopes, tc.method, tc.target, r.header, r.body)
		}
	}
}
