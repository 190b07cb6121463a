package httpapi

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"net/url"
	"os"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/labstack/echo/v4"

	"onetrip/internal/kit"
	"onetrip/internal/kit/kittest"
	"onetrip/internal/store"
	"onetrip/internal/store/storetest"
	"onetrip/internal/units"
)

const (
	ferrymaster = `{"vehicle_id": "halvorne-ferrymaster-1972", "carburetor_sku": "QYC-2A23"}`
	mergePatch  = "application/merge-patch+json"
)

// onMemory is a client of a service on the demo catalogue without a database.
func onMemory(t testing.TB, configure ...func(*Config)) client {
	t.Helper()
	snap := kittest.Demo(t)
	cfg := Config{Snapshot: func() *kit.Snapshot { return snap }, Source: "demo", Kits: store.NewMemoryKits(), Exports: csvExports}
	for _, change := range configure {
		change(&cfg)
	}
	return client{t, New(cfg)}
}

// onBoth runs a test against kits kept in memory and in Postgres.
func onBoth(t *testing.T, run func(t *testing.T, c client), configure ...func(*Config)) {
	t.Run("memory", func(t *testing.T) { run(t, onMemory(t, configure...)) })
	t.Run("postgres", func(t *testing.T) {
		c, _ := onPostgres(t, configure...)
		run(t, client{t, c.handler})
	})
}

// saveKit saves a kit and returns its path.
func (c client) saveKit(body string, headers ...string) (path string, r reply) {
	c.t.Helper()
	r = c.post("/v1/kits", body, headers...)
	if r.status != http.StatusCreated {
		c.t.Fatalf("status %d: %s", r.status, r.body)
	}
	return r.header.Get("Location"), r
}

// kitIn is the kit in an answer that holds a saved one.
func kitIn(t testing.TB, r reply) *kit.Kit {
	t.Helper()
	_, k, err := (&kit.Saved{Request: member(t, r.body, "request"), Kit: member(t, r.body, "kit")}).Read()
	if err != nil {
		t.Fatal(err)
	}
	return k
}

func (c client) mark(path, tag, marks string) reply {
	c.t.Helper()
	return c.do(http.MethodPatch, path, `{"marks": `+marks+`}`, "Content-Type", mergePatch, "If-Match", tag)
}

// member is a member of a JSON object, byte for byte.
func member(t testing.TB, body []byte, name string) []byte {
	t.Helper()
	var all map[string]json.RawMessage
	if err := json.Unmarshal(body, &all); err != nil {
		t.Fatal(err)
	}
	return all[name]
}

func TestSavedKitIsReadAsItWasSaved(t *testing.T) {
	onBoth(t, func(t *testing.T, c client) {
		path, saved := c.saveKit(ferrymaster)
		got := c.get(path)
		if !bytes.Equal(got.body, saved.body) || got.header.Get("ETag") != saved.header.Get("ETag") {
			t.Errorf("saved as\n%s\nread as\n%s", saved.body, got.body)
		}
		resolved := c.post("/v1/kits/resolve", ferrymaster)
		if kit := member(t, got.body, "kit"); !bytes.Equal(append(kit, '\n'), resolved.body) {
			t.Errorf("the kit is\n%s\nresolved it is\n%s", kit, resolved.body)
		}
		if r := c.get(path, "If-None-Match", got.header.Get("ETag")); r.status != http.StatusNotModified {
			t.Errorf("status %d for what the caller has", r.status)
		}
		if r := c.do(http.MethodHead, path, ""); r.status != http.StatusOK || r.header.Get("ETag") != got.header.Get("ETag") {
			t.Errorf("HEAD: %d %v", r.status, r.header)
		}
		sv := read[kit.Saved](t, got)
		if sv.Status != kit.SavedOpen || sv.SavedBy != "anyone" || sv.VehicleID != "halvorne-ferrymaster-1972" || sv.Vehicle != "1972 Halvorne Ferrymaster" || len(sv.History) != 1 ||
			sv.History[0].What != kit.KitSaved || !sv.ChangedAt.Equal(sv.SavedAt) || time.Since(sv.SavedAt) > time.Minute || "/v1/kits/"+sv.Code != path {
			t.Errorf("%+v", sv.SavedSummary)
		}
		if strings.Contains(t.Name(), "memory") != strings.HasPrefix(sv.Notice, "Kept in the memory of this service only, until it stops") {
			t.Errorf("the notice is %q", sv.Notice)
		}
		for _, spelled := range []string{strings.ToLower(sv.Code), strings.ReplaceAll(sv.Code, "-", ""), url.PathEscape(strings.ReplaceAll(sv.Code, "-", " "))} {
			if r := c.get("/v1/kits/" + spelled); !bytes.Equal(r.body, got.body) {
				t.Errorf("%s: %d", spelled, r.status)
			}
		}
		slip := []byte(sv.Code)
		slip[0], slip[1] = slip[1], slip[0]
		if slip[0] == slip[1] {
			slip[0] = '2' + slip[0]%2
		}
		unknown, err := kit.NewCode(strings.NewReader(strings.Repeat("\x01\x02\x03", 3)))
		if err != nil {
			t.Fatal(err)
		}
		for _, suffix := range []string{"", "/changes", "/sheet"} {
			if p := problem(t, c.get("/v1/kits/"+string(slip)+suffix)); p.Type != ProblemTypeMistypedCode || p.Status != 404 {
				t.Errorf("%s for %s: %+v", slip, sv.Code, p)
			}
			if p := problem(t, c.get("/v1/kits/"+unknown+suffix)); p.Type != ProblemTypeUnknownCode || p.Status != 404 || !strings.HasPrefix(p.Detail, "no kit has the code "+unknown) {
				t.Errorf("%+v", p)
			}
		}
		if p := problem(t, c.mark("/v1/kits/"+unknown, "*", `{}`)); p.Type != ProblemTypeUnknownCode {
			t.Errorf("%+v", p)
		}
		for name, body := range map[string]string{"unknown vehicle": strings.Replace(ferrymaster, "1972", "1973", 1), "nothing": `{}`} {
			if r := c.post("/v1/kits", body); r.status != http.StatusUnprocessableEntity {
				t.Errorf("%s: %d %s", name, r.status, r.body)
			}
		}
	})
}

func TestMarksOfLines(t *testing.T) {
	onBoth(t, func(t *testing.T, c client) {
		path, r := c.saveKit(ferrymaster)
		k := kitIn(t, r)
		a, b := k.Lines[0].SKU, k.Lines[1].SKU
		tag := r.header.Get("ETag")
		done := func(r reply, status kit.SavedStatus, marks string) kit.Saved {
			t.Helper()
			sv := read[kit.Saved](t, r)
			if got, err := json.Marshal(sv.Marks); err != nil || string(got) != marks || sv.Status != status {
				t.Fatalf("%s %s, want %s %s", sv.Status, got, status, marks)
			}
			if now := c.get(path); !bytes.Equal(now.body, r.body) || now.header.Get("ETag") != r.header.Get("ETag") || r.header.Get("ETag") == tag {
				t.Errorf("answered\n%s\nread\n%s", r.body, now.body)
			}
			if !bytes.Equal(member(t, r.body, "kit"), member(t, c.get(path).body, "kit")) {
				t.Error("the kit has changed")
			}
			tag = r.header.Get("ETag")
			return sv
		}
		done(c.mark(path, tag, `{"`+a+`": {"mark": "picked"}}`), kit.SavedPicking, `{"`+a+`":{"mark":"picked"}}`)
		done(c.mark(path, tag, `{"`+b+`": {"mark": "declined"}}`), kit.SavedPicking, both(a, `{"mark":"picked"}`, b, `{"mark":"declined"}`))
		if same := c.mark(path, tag, `{"`+a+`": {"mark": "picked"}}`); same.header.Get("ETag") != tag {
			t.Errorf("what was so already changed the tag: %s", same.body)
		}
		sv := done(c.mark(path, tag, `{"`+a+`": null}`), kit.SavedPicking, `{"`+b+`":{"mark":"declined"}}`)
		var history []string
		for _, e := range sv.History {
			history = append(history, fmt.Sprint(e.By, " ", e.What, " ", e.SKU))
			if e.At.Before(sv.SavedAt) || e.At.After(sv.ChangedAt) {
				t.Errorf("%+v is not between %v and %v", e, sv.SavedAt, sv.ChangedAt)
			}
		}
		if want := []string{"anyone saved ", "anyone picked " + a, "anyone declined " + b, "anyone cleared " + a}; !slices.Equal(history, want) {
			t.Errorf("history %v, want %v", history, want)
		}
		var all []string
		for _, l := range k.Lines {
			all = append(all, `"`+l.SKU+`": {"mark": "picked"}`)
		}
		if sv := read[kit.Saved](t, c.mark(path, "*", "{"+strings.Join(all, ",")+"}")); sv.Status != kit.SavedDone {
			t.Errorf("all lines are picked and the kit is %s", sv.Status)
		}

		if p := problem(t, c.mark(path, tag, `{}`)); p.Type != ProblemTypePreconditionFailed {
			t.Errorf("over a newer state: %+v", p)
		}
		if p := problem(t, c.do(http.MethodPatch, path, `{"marks": {}}`, "Content-Type", mergePatch)); p.Type != ProblemTypePreconditionRequired || strings.Contains(p.Detail, "create") {
			t.Errorf("without a precondition: %+v", p)
		}
		if p := problem(t, c.do(http.MethodPatch, path, `{"marks": {}}`, "If-Match", "*")); p.Type != ProblemTypeWrongContentType || !strings.Contains(p.Detail, mergePatch) {
			t.Errorf("as JSON: %+v", p)
		}
		for _, tc := range []struct{ body, want string }{
			{`{"marks": {"NONE-1": {"mark": "picked"}}}`, "/marks/NONE-1: is not the SKU of a line of this kit; kit/lines lists them"},
			{`{"marks": {"` + a + `X": null}}`, "/marks/" + a + "X: is not the SKU of a line of this kit; did you mean " + a + "?"},
			{`{"marks": {"` + a + `": {"mark": "taken"}}}`, "/marks/" + a + `/mark: "taken" is not accepted`},
			{`{"marks": {"` + a + `": {"mark": "picked", "substitute": "` + b + `"}}}`, "/marks/" + a + "/substitute: goes with the mark substituted only"},
			{`{"marks": {"` + a + `": {"mark": "substituted"}}}`, "/marks/" + a + "/substitute: is missing"},
			{`{"marks": {"` + a + `": {"mark": "substituted", "substitute": "` + a + `"}}}`, "/marks/" + a + "/substitute: is the line itself"},
			{`{"marks": {"` + a + `": {}}}`, "/marks/" + a + "/mark: is missing"},
			{`{"marks": {"x/y~z": null}}`, "/marks/x~1y~0z: is not the SKU"},
			{`{"status": "done"}`, "/marks: is missing"},
			{`{}`, "/marks: is missing"},
		} {
			p := problem(t, c.do(http.MethodPatch, path, tc.body, "Content-Type", mergePatch, "If-Match", "*"))
			if lines := append(faultLines(p), p.Detail); p.Status != 422 || !strings.HasPrefix(lines[0], tc.want) {
				t.Errorf("%s: %d %s, want %s", tc.body, p.Status, lines[0], tc.want)
			}
		}
	})
}

func both(a, x, b, y string) string {
	if a > b {
		a, x, b, y = b, y, a, x
	}
	return fmt.Sprintf(`{"%s":%s,"%s":%s}`, a, x, b, y)
}

func partOfKind(t *testing.T, c client, kind string) string {
	t.Helper()
	return read[page](t, c.get("/v1/parts?limit=1&kind="+kind)).Items[0]["sku"].(string)
}

// The sheet has the code and what was marked; before any mark the pick list is that of the kit.
func TestSheetOfASavedKit(t *testing.T) {
	onBoth(t, func(t *testing.T, c client) {
		path, r := c.saveKit(ferrymaster)
		k := kitIn(t, r)
		a, b := k.Lines[0].SKU, k.Lines[1].SKU
		plain := c.get(path + "/sheet")
		code := strings.TrimPrefix(path, "/v1/kits/")
		if plain.status != http.StatusOK || plain.header.Get("Content-Type") != mimeHTML || !strings.Contains(string(plain.body), code) || strings.Contains(string(plain.body), `<tbody class=`) {
			t.Errorf("%d %v", plain.status, plain.header)
		}
		list := c.get(path+"/sheet", "Accept", "text/csv")
		resolved := c.post("/v1/kits/resolve", ferrymaster, "Accept", "text/csv")
		if !bytes.Equal(list.body, resolved.body) || list.header.Get("Content-Type") != resolved.header.Get("Content-Type") {
			t.Errorf("the pick list is\n%s\nresolved it is\n%s", list.body, resolved.body)
		}
		if marked := c.mark(path, "*", both(a, `{"mark":"picked"}`, b, `{"mark":"declined"}`)); marked.status != http.StatusOK {
			t.Fatalf("%s", marked.body)
		}
		marked := c.get(path + "/sheet")
		for _, want := range []string{`<tbody class="picked">`, "Declined at the counter: <bdi class=\"sku\">" + b + "</bdi>"} {
			if !strings.Contains(string(marked.body), want) {
				t.Errorf("the sheet does not say %q", want)
			}
		}
		if same := c.get(path+"/sheet", "If-None-Match", marked.header.Get("ETag")); same.status != http.StatusNotModified || marked.header.Get("ETag") == plain.header.Get("ETag") {
			t.Errorf("%d, the tags are %s and %s", same.status, plain.header.Get("ETag"), marked.header.Get("ETag"))
		}
		for accept, want := range map[string]string{"*/*": mimeHTML, "text/*": mimeHTML, "text/html, text/csv;q=0.9": mimeHTML, "text/csv, text/html;q=0.9": mimeCSVFile} {
			if got := c.get(path+"/sheet", "Accept", accept).header.Get("Content-Type"); got != want {
				t.Errorf("Accept: %s gets %s", accept, got)
			}
		}
		if p := problem(t, c.get(path+"/sheet", "Accept", "application/pdf")); p.Status != http.StatusNotAcceptable {
			t.Errorf("%+v", p)
		}
	})
}

// Of writers who have all read the same state one wins.
func TestMarksAreNotLost(t *testing.T) {
	onBoth(t, func(t *testing.T, c client) {
		path, r := c.saveKit(ferrymaster)
		k := kitIn(t, r)
		const writers = 8
		status := make([]int, writers)
		var all sync.WaitGroup
		for i := range writers {
			all.Go(func() {
				status[i] = c.mark(path, r.header.Get("ETag"), `{"`+k.Lines[i%len(k.Lines)].SKU+`": {"mark": "picked"}}`).status
			})
		}
		all.Wait()
		won := 0
		for _, s := range status {
			if s == http.StatusOK {
				won++
			} else if s != http.StatusPreconditionFailed {
				t.Errorf("status %d", s)
			}
		}
		if sv := read[kit.Saved](t, c.get(path)); won != 1 || len(sv.Marks) != 1 || len(sv.History) != 2 {
			t.Errorf("%d of %d won, %d marks", won, writers, len(sv.Marks))
		}
	})
}

func TestSavingOnce(t *testing.T) {
	onBoth(t, func(t *testing.T, c client) {
		const key = "counter-2-0017"
		replies := make([]reply, 12)
		var all sync.WaitGroup
		for i := range replies {
			all.Go(func() { replies[i] = c.post("/v1/kits", ferrymaster, "Idempotency-Key", key) })
		}
		all.Wait()
		first := replies[0]
		for _, r := range replies {
			if r.status != http.StatusCreated || !bytes.Equal(r.body, first.body) || r.header.Get("ETag") != first.header.Get("ETag") || r.header.Get("Location") != first.header.Get("Location") {
				t.Errorf("%d %s, %d %s", r.status, r.header.Get("Location"), first.status, first.header.Get("Location"))
			}
		}
		path := first.header.Get("Location")
		k := kitIn(t, first)
		if r := c.mark(path, "*", `{"`+k.Lines[0].SKU+`": {"mark": "picked"}}`); r.status != http.StatusOK {
			t.Fatalf("%d %s", r.status, r.body)
		}
		if again := c.post("/v1/kits", ferrymaster, "Idempotency-Key", key); !bytes.Equal(again.body, first.body) {
			t.Errorf("after a mark the answer is\n%s\nit was\n%s", again.body, first.body)
		}
		if p := problem(t, c.post("/v1/kits", ferrymaster+" ", "Idempotency-Key", key)); p.Type != ProblemTypeKeyReused {
			t.Errorf("another body: %+v", p)
		}
		if p := problem(t, c.post("/v1/kits", ferrymaster, "Idempotency-Key", "two words")); p.Status != 400 || !strings.HasPrefix(p.Detail, "Idempotency-Key: is not 1 to 200 visible ASCII characters") {
			t.Errorf("%+v", p)
		}
		other, _ := c.saveKit(ferrymaster)
		if items := read[page](t, c.get("/v1/kits")).Items; other == path || len(items) != 2 {
			t.Errorf("%d kits are kept, want the one with the key and the one without", len(items))
		}
	})
}

func TestSavedKitsAreListed(t *testing.T) {
	onBoth(t, func(t *testing.T, c client) {
		before := time.Now().UTC()
		var paths []string
		for _, body := range []string{ferrymaster, `{"vehicle_id": "ostrind-plumgrove-1962", "carburetor_sku": "QYC-2A19"}`, `{"vehicle": ` + validVehicle + `, "carburetor_sku": "QYC-2A07"}`, ferrymaster, ferrymaster} {
			path, _ := c.saveKit(body)
			paths = append(paths, path)
		}
		slices.Reverse(paths)
		codes := func(query string) (found []string) {
			t.Helper()
			for next := "/v1/kits?" + query; next != ""; {
				r := c.get(next)
				for _, item := range read[page](t, r).Items {
					found = append(found, "/v1/kits/"+item["code"].(string))
				}
				link := r.header.Get("Link")
				if next = ""; link != "" {
					next = link[1:strings.Index(link, ">")]
				}
			}
			return found
		}
		want := func(query string, want ...string) {
			t.Helper()
			if got := codes(query); !slices.Equal(got, want) {
				t.Errorf("%s: %v, want %v", query, got, want)
			}
		}
		want("", paths...)
		want("limit=1", paths...)
		want("limit=2", paths...)
		want("limit=5", paths...)
		want("vehicle_id=halvorne-ferrymaster-1972&limit=2", paths[0], paths[1], paths[4])
		want("q=PLUM+1962", paths[3])
		want("q=318+cylinders", paths[2])
		want("q=nowhere")
		want("saved_from="+before.Format(time.RFC3339Nano), paths...)
		want("saved_before=" + before.Format(time.RFC3339Nano))
		want("status=picking")
		middle := read[kit.Saved](t, c.get(paths[2]))
		want("saved_from="+middle.SavedAt.Format(time.RFC3339Nano), paths[:3]...)
		want("saved_before="+middle.SavedAt.Format(time.RFC3339Nano), paths[3:]...)
		_, k, err := middle.Read()
		if err != nil {
			t.Fatal(err)
		}
		if r := c.mark(paths[2], "*", `{"`+k.Lines[0].SKU+`": {"mark": "picked"}}`); r.status != http.StatusOK {
			t.Fatalf("%s", r.body)
		}
		want("status=picking", paths[2])
		want("status=open", paths[0], paths[1], paths[3], paths[4])

		one := c.get("/v1/kits?limit=1")
		if r := c.get("/v1/kits?limit=1", "If-None-Match", one.header.Get("ETag")); r.status != http.StatusNotModified {
			t.Errorf("the page has not changed and is answered %d", r.status)
		}
		next := read[page](t, one).NextCursor
		if p := problem(t, c.get("/v1/kits?status=open&cursor="+next)); p.Type != ProblemTypeBadCursor {
			t.Errorf("%+v", p)
		}
		parts := read[page](t, c.get("/v1/parts?limit=1")).NextCursor
		if p := problem(t, c.get("/v1/kits?cursor="+parts)); p.Type != ProblemTypeBadCursor {
			t.Errorf("%+v", p)
		}
		for query, want := range map[string]string{
			"status=closed":                        `status: "closed" is not accepted; accepted: open, picking, done`,
			"saved_from=2026-11-25T14:00:00+02:00": `saved_from: "2026-11-25T14:00:00 02:00" is not a date and time; a plus in a query stands for a space: write %2B`,
			"saved_from=yesterday":                 `saved_from: "yesterday" is not a date and time; write it as RFC 3339 has it, such as 2026-11-25T14:00:00Z`,
		} {
			if p := problem(t, c.get("/v1/kits?"+query)); p.Status != 400 || p.Detail != want {
				t.Errorf("%s: %d %s", query, p.Status, p.Detail)
			}
		}
	})
}

// Keys need the scope, and their names go into the history.
func TestSavedKitsAskForTheirScope(t *testing.T) {
	onBoth(t, func(t *testing.T, c client) {
		if r := c.post("/v1/kits", ferrymaster, "Authorization", "Bearer key:stock"); r.status != http.StatusForbidden {
			t.Errorf("saved with the scope stock: %d", r.status)
		}
		path, r := c.saveKit(ferrymaster, "Authorization", "Bearer key:kits")
		var saved kit.Saved
		if err := json.Unmarshal(r.body, &saved); err != nil || saved.SavedBy != "till kits" || saved.History[0].By != "till kits" {
			t.Errorf("saved by %q (%v)", saved.SavedBy, err)
		}
		if r := c.get(path, "Authorization", "Bearer key:read"); r.status != http.StatusForbidden {
			t.Errorf("read with the scope read: %d", r.status)
		}
		// The same idempotency key of two callers is two.
		one, _ := c.saveKit(ferrymaster, "Authorization", "Bearer key:kits", "Idempotency-Key", "1")
		two, _ := c.saveKit(ferrymaster, "Authorization", "Bearer key:kits+stock", "Idempotency-Key", "1")
		if one == two {
			t.Errorf("both callers got %s", one)
		}
	}, withKeys)
}

// firstPart is the first line of a kit that is a part.
func firstPart(t *testing.T, saved []byte) string {
	t.Helper()
	var k kit.Kit
	if err := json.Unmarshal(member(t, saved, "kit"), &k); err != nil {
		t.Fatal(err)
	}
	for _, l := range k.Lines {
		if len(l.Contents) == 0 {
			return l.SKU
		}
	}
	t.Fatal("the kit has no part")
	return ""
}

// A saved kit is the same after a restart and whatever becomes of the catalogue; what
// became of that is told.
func TestSavedKitOutlivesRestartAndCatalogue(t *testing.T) {
	c, dsn := onPostgres(t)
	path, saved := c.saveKit(ferrymaster)
	if none := read[KitChanges](t, c.get(path+"/changes")); len(none.Changes) != 0 || none.SavedRevision != none.CatalogueRevision {
		t.Errorf("changes at once: %+v", none)
	}
	sku := "/v1/parts/" + firstPart(t, saved.body)
	part := c.get(sku)
	dearer := change(t, part.body, func(p map[string]any) { p["price"].(map[string]any)["amount_minor"] = 99_999 })
	if r := c.do(http.MethodPut, sku, dearer, "If-Match", part.header.Get("ETag")); r.status != http.StatusOK {
		t.Fatalf("%d %s", r.status, r.body)
	}
	vehicle := c.get("/v1/vehicles/halvorne-ferrymaster-1972")
	if r := c.do(http.MethodDelete, "/v1/vehicles/halvorne-ferrymaster-1972", "", "If-Match", vehicle.header.Get("ETag")); r.status != http.StatusOK {
		t.Fatalf("%d %s", r.status, r.body)
	}
	eventually(t, "the vehicle is gone", func() bool { return c.get("/v1/vehicles/halvorne-ferrymaster-1972").status == http.StatusNotFound })

	again := client{t, New(Config{Snapshot: func() *kit.Snapshot { return fixture(t) }, Source: "fixture", Kits: &store.Kits{Pool: storetest.Pool(t, dsn)}})}
	for name, c := range map[string]client{"before": c, "after a restart": again} {
		if got := c.get(path); !bytes.Equal(got.body, saved.body) || got.header.Get("ETag") != saved.header.Get("ETag") {
			t.Errorf("%s: saved as\n%s\nread as\n%s", name, saved.body, got.body)
		}
	}
	r := c.get(path + "/changes")
	changes := read[KitChanges](t, r)
	kinds := map[kit.ChangeKind]int{}
	for _, one := range changes.Changes {
		kinds[one.Kind]++
	}
	if changes.CatalogueRevision <= changes.SavedRevision || kinds[kit.VehicleChange] != 1 || kinds[kit.PartChange]+kinds[kit.PriceChange] == 0 {
		t.Errorf("%s", r.body)
	}
	if same := c.get(path+"/changes", "If-None-Match", r.header.Get("ETag")); same.status != http.StatusNotModified {
		t.Errorf("nothing more has changed: %d", same.status)
	}
	// In a catalogue that knows nothing of all this the question cannot be asked, which is an answer.
	if lost := read[KitChanges](t, again.get(path+"/changes")); !slices.ContainsFunc(lost.Changes, func(c kit.Change) bool { return c.Kind == kit.QuestionChange }) {
		t.Errorf("%+v", lost)
	}
	if p := problem(t, again.mark(path, "*", `{"`+sku[len("/v1/parts/"):]+`": {"mark": "substituted", "substitute": "FC-M"}}`)); p.Status != 422 || !strings.Contains(p.Detail, "cannot be found out any more") {
		t.Errorf("%+v", p)
	}
	// The key still gives the first answer, though the vehicle is gone.
	if r := c.post("/v1/kits", ferrymaster); r.status != http.StatusUnprocessableEntity {
		t.Errorf("the vehicle is gone: %d", r.status)
	}
}

func TestSavedKitsWhileTheDatabaseIsAway(t *testing.T) {
	c, dsn := onPostgres(t)
	path, saved := c.saveKit(ferrymaster, "Idempotency-Key", "1")
	end := storetest.Outage(t, dsn)
	for name, r := range map[string]reply{
		"read": c.get(path), "changes": c.get(path + "/changes"), "sheet": c.get(path + "/sheet"), "list": c.get("/v1/kits"), "save": c.post("/v1/kits", ferrymaster), "mark": c.mark(path, "*", `{}`),
	} {
		if p := problem(t, r); p.Type != ProblemTypeUnavailable || r.header.Get("Retry-After") == "" {
			t.Errorf("%s: %+v, Retry-After %q", name, p, r.header.Get("Retry-After"))
		}
	}
	end()
	eventually(t, "the kit is read again", func() bool { return c.get(path).status == http.StatusOK })
	if again := c.post("/v1/kits", ferrymaster, "Idempotency-Key", "1"); !bytes.Equal(again.body, saved.body) {
		t.Errorf("%s", again.body)
	}
}

// Sheet and pick list of a saved kit are those after its marks: what was declined costs
// nothing, what was taken instead stands in its row.
func TestSheetAfterMarks(t *testing.T) {
	throttleValve, err := os.ReadFile("../../testdata/requests/throttle-valve-cable.json")
	if err != nil {
		t.Fatal(err)
	}
	onBoth(t, func(t *testing.T, c client) {
		path, r := c.saveKit(string(throttleValve))
		k := kitIn(t, r)
		lineFor := func(need string) kit.Line {
			return k.Lines[slices.IndexFunc(k.Lines, func(l kit.Line) bool { return slices.Contains(l.Fills, need) })]
		}
		springs, hose := lineFor("throttle.return_springs"), lineFor("fuel.hose")
		with := substituteFor(t, c, path, "fuel_hose", hose.SKU)
		var rest []string
		for _, l := range k.Lines {
			if l.SKU != springs.SKU && l.SKU != hose.SKU {
				rest = append(rest, `"`+l.SKU+`": {"mark": "picked"}`)
			}
		}
		marked := c.mark(path, "*", `{"`+springs.SKU+`": {"mark": "declined"}, `+strings.Join(rest, ",")+"}")
		if sv := read[kit.Saved](t, marked); sv.Status != kit.SavedDone {
			t.Fatalf("the kit is %s", sv.Status)
		}
		part := read[struct {
			Price units.Money `json:"price"`
		}](t, c.get("/v1/parts/"+with))
		total := k.Totals.All
		total.AmountMinor += part.Price.AmountMinor*int64(hose.Quantity) - hose.Amount.AmountMinor - springs.Amount.AmountMinor

		page := string(c.get(path+"/sheet", echo.HeaderAccept, "text/html").body)
		for _, want := range []string{
			fmt.Sprintf("0 of %d lines left to pick", len(k.Lines)),
			"Declined at the counter: <bdi class=\"sku\">" + springs.SKU + "</bdi>",
			`<tbody class="declined">`, "in place of <bdi class=\"sku\">" + hose.SKU + "</bdi>",
			"added up again", `<td class="money" colspan="2">` + total.String() + "</td></tr>\n</tfoot>",
			fmt.Sprintf(`checked aria-label="%s picked"`, with),
		} {
			if !strings.Contains(page, want) {
				t.Errorf("the sheet has no %q", want)
			}
		}
		if got := strings.Count(page, " checked aria-label"); got != len(k.Lines)-1 {
			t.Errorf("%d rows are ticked of %d", got, len(k.Lines)-1)
		}
		if strings.Contains(page, "<small>With "+hose.SKU) || strings.Contains(page, `aria-label="`+hose.SKU+` picked"`) {
			t.Errorf("%s, which %s stands in for, is still to be picked or fitted", hose.SKU, with)
		}

		rows, err := csv.NewReader(bytes.NewReader(c.get(path+"/sheet", echo.HeaderAccept, "text/csv").body)).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		column := func(name string) int { return slices.Index(rows[0], name) }
		sum := 0.0
		for _, row := range rows[1:] {
			if row[0] != "line" {
				continue
			}
			amount, err := strconv.ParseFloat(row[column("amount")], 64)
			if err != nil {
				t.Fatal(err)
			}
			sum += amount
			want := []string{"picked", ""}
			switch row[column("sku")] {
			case springs.SKU:
				want[0] = "declined"
			case with:
				want = []string{"substituted", hose.SKU}
			case hose.SKU:
				t.Errorf("%s is still on the list", hose.SKU)
			}
			if got := []string{row[column("mark")], row[column("in_place_of")]}; !slices.Equal(got, want) {
				t.Errorf("%s is marked %v, want %v", row[column("sku")], got, want)
			}
		}
		if got := int64(math.Round(100 * sum)); got != total.AmountMinor {
			t.Errorf("the rows add up to %d, want %v", got, total)
		}
	})
}

// substituteFor marks a line with the first part of a kind that fits in its place.
func substituteFor(t *testing.T, c client, path, kind, line string) string {
	t.Helper()
	for _, item := range read[page](t, c.get("/v1/parts?kind="+kind+"&limit=60")).Items {
		sku := item["sku"].(string)
		if sku != line && c.mark(path, "*", `{"`+line+`": {"mark": "substituted", "substitute": "`+sku+`"}}`).status == http.StatusOK {
			return sku
		}
	}
	t.Fatalf("nothing fits in place of %s", line)
	return ""
}
