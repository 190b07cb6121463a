//go:build !race

package httpapi

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"testing"

	"onetrip/internal/catalog"
	"onetrip/internal/kit"
	"onetrip/internal/kit/kittest"
	"onetrip/internal/store"
)

// Everything in the demo catalogue, and a kit and a sizing for every vehicle of it,
// is what the contract says. The client fails on what is not.
func TestDemoCatalogueKeepsTheContract(t *testing.T) {
	snap := kittest.Demo(t)
	c := client{t, New(Config{Snapshot: func() *kit.Snapshot { return snap }, Source: "demo"})}
	for path, total := range map[string]int{"/v1/vehicles": len(snap.Catalog.Vehicles()), "/v1/carburetors": len(snap.Catalog.Carburetors()),
		"/v1/parts": len(snap.Catalog.Parts()), "/v1/bundles": len(snap.Catalog.Bundles())} {
		seen := 0
		for next := path + "?limit=200"; next != ""; {
			p := read[page](t, c.get(next))
			seen += len(p.Items)
			next = ""
			if p.NextCursor != "" {
				next = path + "?limit=200&cursor=" + p.NextCursor
			}
		}
		if seen != total || total == 0 {
			t.Errorf("%s: %d of %d", path, seen, total)
		}
	}
	verdicts := map[kit.Verdict]int{}
	for i, v := range snap.Catalog.Vehicles() {
		for j := range 3 {
			k := snap.Catalog.Carburetors()[(3*i+j)%len(snap.Catalog.Carburetors())]
			answer := read[kit.Kit](t, c.post("/v1/kits/resolve", fmt.Sprintf(`{"vehicle_id": %q, "carburetor_sku": %q, "preferences": {"show_all": %v}}`, v.ID, k.SKU, j == 0)))
			verdicts[answer.Verdict]++
		}
		if got := read[kit.Sizing](t, c.post("/v1/sizing", fmt.Sprintf(`{"vehicle_id": %q}`, v.ID))); len(got.Carburetors) != len(snap.Catalog.Carburetors()) {
			t.Errorf("%s: %d carburetors ranked", v.ID, len(got.Carburetors))
		}
	}
	if len(verdicts) < 2 {
		t.Errorf("only the verdicts %v", verdicts)
	}
	t.Logf("%d kits: %v", 3*len(snap.Catalog.Vehicles()), verdicts)
}

// The contract's filters and the catalogue agree: counting by kind adds up.
func TestDemoPartsByKind(t *testing.T) {
	snap := kittest.Demo(t)
	want := map[catalog.Kind]int{}
	for _, p := range snap.Catalog.Parts() {
		want[p.Kind]++
	}
	c := client{t, New(Config{Snapshot: func() *kit.Snapshot { return snap }, Source: "demo"})}
	for _, k := range catalog.Kinds {
		r := c.get("/v1/parts?limit=200&kind=" + string(k.Kind))
		if r.status != http.StatusOK {
			t.Fatalf("%s: %d", k.Kind, r.status)
		}
		if got := len(read[page](t, r).Items); got != min(want[k.Kind], 200) {
			t.Errorf("%s: %d listed, %d in the catalogue", k.Kind, got, want[k.Kind])
		}
	}
}

// What the contract shows as an example works on the demo catalogue: each request
// body is answered, each filter finds something, each path is there.
func TestContractExamplesWork(t *testing.T) {
	snap := kittest.Demo(t)
	c := client{t, New(Config{Snapshot: func() *kit.Snapshot { return snap }, Source: "demo", Kits: store.NewMemoryKits(), Exports: csvExports})}
	kept := c.post("/v1/kits", `{"vehicle_id": "halvorne-ferrymaster-1972", "carburetor_sku": "QYC-2A23"}`)
	skus := map[string]string{"getCarburetor": snap.Catalog.Carburetors()[0].SKU, "getPart": snap.Catalog.Parts()[0].SKU, "getBundle": snap.Catalog.Bundles()[0].SKU, "getStock": snap.Catalog.Parts()[0].SKU}
	for id, op := range operations() {
		if op.method == http.MethodPost && op.scopes()[0] == "read" && op.RequestBody.Value.Content["application/json"] != nil {
			example, err := json.Marshal(op.RequestBody.Value.Content["application/json"].Schema.Value.Example)
			if err != nil {
				t.Fatal(err)
			}
			if r := c.post(op.path, string(example)); r.status != http.StatusOK {
				t.Errorf("%s: %d %s", id, r.status, r.body)
			}
			continue
		}
		if op.method != http.MethodGet || id == "getImport" || id == "getCoverage" {
			continue // writes are tried on a database, reports in coverage_test.go
		}
		path := strings.NewReplacer("{sku}", skus[id], "/v1/kits/{code}", kept.header.Get("Location")).Replace(op.path)
		required := url.Values{}
		for _, ref := range op.Parameters {
			switch p := ref.Value; {
			case p.In == "path":
				path = strings.ReplaceAll(path, "{"+p.Name+"}", fmt.Sprint(p.Example))
			case p.In == "query" && p.Required:
				required.Set(p.Name, fmt.Sprint(p.Example))
			}
		}
		if len(required) > 0 {
			path += "?" + required.Encode()
		}
		if r := c.get(path); r.status != http.StatusOK {
			t.Errorf("%s %s: %d %s", id, path, r.status, r.body)
		}
		for _, ref := range op.Parameters {
			p := ref.Value
			if p.In != "query" || p.Required || p.Name == "cursor" {
				continue
			}
			query := url.Values{}
			switch example := p.Example.(type) {
			case []any:
				for _, v := range example {
					query.Add(p.Name, fmt.Sprint(v))
				}
			default:
				query.Set(p.Name, fmt.Sprint(example))
			}
			if p.Name == "attribute" {
				query.Set("kind", "fuel_hose")
			}
			if p.Name == "q" && id != "listParts" || p.Schema.Value.Format == "date-time" {
				continue // the example's words are those of a part; its day may be another
			}
			if id == "getRule" || id == "listRuleRevisions" || id == "listRuleHistory" {
				continue // one thing, or what only a database has
			}
			if got := read[page](t, c.get(path+"?"+query.Encode())); len(got.Items) == 0 {
				t.Errorf("%s?%s finds nothing", path, query.Encode())
			}
		}
	}
}
