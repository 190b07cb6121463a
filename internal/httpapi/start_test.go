package httpapi

import (
	"html"
	"net/http"
	"regexp"
	"strings"
	"testing"

	"onetrip/internal/catalog"
	"onetrip/internal/kit"
	"onetrip/internal/kit/kittest"
	"onetrip/internal/units"
)

func serving(t testing.TB, data *catalog.Data, access *Access) client {
	t.Helper()
	snap := kittest.Open(t, data)
	return client{t, New(Config{Snapshot: func() *kit.Snapshot { return snap }, Source: "test", Access: access})}
}

var sheetLink = regexp.MustCompile(`href="(v1/kits/resolve\?[^"]*)"`)

// The links of the start page show sheets, of kits that are complete, and every
// address on it is there.
func TestStartPageLinksToSheets(t *testing.T) {
	c := serving(t, kittest.Data(t), nil)
	const browser = "text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8"
	page := c.get("/", "Accept", browser)
	links := sheetLink.FindAllSubmatch(page.body, -1)
	if page.status != http.StatusOK || len(links) != 3 {
		t.Fatalf("status %d, %d links to sheets", page.status, len(links))
	}
	for _, link := range links {
		address := "/" + html.UnescapeString(string(link[1]))
		got := c.get(address, "Accept", browser)
		if got.status != http.StatusOK || got.header.Get("Content-Type") != mimeHTML || !strings.Contains(string(got.body), "Workshop sheet") {
			t.Errorf("%s: status %d, %s", address, got.status, got.header.Get("Content-Type"))
		}
		if again := c.get(address, "Accept", browser, "If-None-Match", got.header.Get("ETag")); again.status != http.StatusNotModified {
			t.Errorf("%s: status %d for a copy that is current", address, again.status)
		}
		if k := read[kit.Kit](t, c.get(address)); k.Verdict != kit.Complete && k.Verdict != kit.CompleteWithWarnings {
			t.Errorf("%s: %s", address, k.Verdict)
		}
	}
	for _, match := range regexp.MustCompile(`href="([a-z./]+)"`).FindAllSubmatch(page.body, -1) {
		if got := c.get("/" + string(match[1])); got.status != http.StatusOK {
			t.Errorf("%s: status %d", match[1], got.status)
		}
	}
	if strings.Contains(string(page.body), "<script") {
		t.Error("the page has a script")
	}
}

func TestStartPageOfAnotherCatalogue(t *testing.T) {
	if page := newClient(t).get("/"); !strings.Contains(string(page.body), "vehicle_id=brindle-heath-1968&amp;carburetor_sku=TN-") {
		t.Errorf("no link to a vehicle of the catalogue:\n%s", page.body)
	}
	empty := serving(t, &catalog.Data{Revision: 1, Currency: "USD", RuleFiles: kittest.Data(t).RuleFiles}, nil)
	if page := empty.get("/"); page.status != http.StatusOK || !strings.Contains(string(page.body), "nothing to work out") {
		t.Errorf("status %d:\n%s", page.status, page.body)
	}
}

// Where keys are asked for the page tells how to send one, and nothing of the catalogue.
func TestStartPageKeepsTheCatalogueBehindKeys(t *testing.T) {
	c := guarded(t, fakeKeys(1000))
	page := c.get("/")
	if page.status != http.StatusOK || sheetLink.Match(page.body) || strings.Contains(string(page.body), "rindle") || !strings.Contains(string(page.body), "Bearer $KEY") {
		t.Errorf("status %d:\n%s", page.status, page.body)
	}
	if got := c.get("/v1/kits/resolve?vehicle_id=brindle-heath-1968&carburetor_sku=TN-500"); got.status != http.StatusUnauthorized {
		t.Errorf("status %d without a key", got.status)
	}
}

// Names show as text, whatever they hold.
func TestStartPageShowsNamesAsText(t *testing.T) {
	data := kittest.Data(t)
	v, k := data.Vehicles[0], data.Carburetors[0]
	v.Make, v.Model, k.Name = `<script>alert(1)</script>`, "a\u202eb", `"><img src=x>`
	data.Vehicles, data.Carburetors, data.Bundles, data.Parts, data.Stock = data.Vehicles[:1], data.Carburetors[:1], nil, nil, nil
	k.Offer.Price = units.Money{AmountMinor: 1, Currency: data.Currency}
	k.InBox, k.ReplacedBy = nil, ""
	page := string(serving(t, data, nil).get("/").body)
	for _, raw := range []string{"<script", "<img", "\u202e"} {
		if strings.Contains(page, raw) {
			t.Errorf("the page has %q", raw)
		}
	}
	if !strings.Contains(page, "&lt;script&gt;alert(1)") || !strings.Contains(page, "[U+202E]") {
		t.Errorf("the names are not there as text:\n%s", page)
	}
}

func TestKitOfTheCatalogueAsALink(t *testing.T) {
	c := newClient(t)
	const address = "/v1/kits/resolve?vehicle_id=brindle-heath-1968&carburetor_sku=TN-600"
	got := read[kit.Kit](t, c.get(address))
	posted := read[kit.Kit](t, c.post("/v1/kits/resolve", `{"vehicle_id": "brindle-heath-1968", "carburetor_sku": "TN-600"}`))
	if got.Verdict != posted.Verdict || len(got.Lines) != len(posted.Lines) || got.Carburetor.SKU != "TN-600" {
		t.Errorf("GET and POST differ: %s with %d lines, %s with %d", got.Verdict, len(got.Lines), posted.Verdict, len(posted.Lines))
	}
	if list := c.get(address, "Accept", "text/csv"); !strings.HasPrefix(string(list.body), "row,quantity,sku,") {
		t.Errorf("no pick list: %s", list.body)
	}
	for target, detail := range map[string]string{
		"/v1/kits/resolve?vehicle_id=brindle-heath-1968":                                              "carburetor_sku: is missing",
		"/v1/kits/resolve?vehicle_id=brindle-heath-1986&carburetor_sku=TN-600":                        "did you mean brindle-heath-1968",
		"/v1/kits/resolve?vehicle_id=brindle-heath-1968&carburetor_sku=TN-60":                         "carburetor_sku: no carburetor",
		"/v1/kits/resolve?vehicle_id=brindle-heath-1986&carburetor_sku=TN-60":                         "(and 1 more, see errors)",
		"/v1/kits/resolve?vehicle_id=brindle-heath-1968&carburetor_sku=TN-600&preferences=everything": "is not a parameter of this path",
	} {
		r := c.get(target)
		if p := problem(t, r); r.status != http.StatusBadRequest || !strings.Contains(p.Detail, detail) {
			t.Errorf("%s: %d %s", target, r.status, p.Detail)
		}
	}
}
