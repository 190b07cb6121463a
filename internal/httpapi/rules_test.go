package httpapi

import (
	"fmt"
	"net/http"
	"slices"
	"strings"
	"testing"

	"onetrip/internal/rules"
)

// cautionRule is a rule in YAML with a text of one's own.
func cautionRule(id, text string) string {
	return fmt.Sprintf("# A test.\n- id: %s\n  when: vehicle.road.on_road\n  caution: {id: road.test, text: %q, source: s}\n  source: s\n", id, text)
}

func (c client) putRule(id, text string, headers ...string) reply {
	c.t.Helper()
	return c.do(http.MethodPut, "/v1/rules/"+id, text, append([]string{"Content-Type", "application/yaml"}, headers...)...)
}

func TestRulesAreListedAndRead(t *testing.T) {
	c := newClient(t)
	all := read[page](t, c.get("/v1/rules?limit=200"))
	if len(all.Items) < 80 {
		t.Fatalf("%d rules", len(all.Items))
	}
	for _, item := range all.Items {
		path := "/v1/rules/" + item["id"].(string)
		r := c.get(path)
		one := read[Rule](t, r)
		text := c.get(path, "Accept", "application/yaml")
		if text.header.Get("Content-Type") != "application/yaml" || string(text.body) != one.Text || !strings.Contains(one.Text, "- id: "+one.ID+"\n") {
			t.Errorf("%s: text %q", path, text.body)
		}
		if r.header.Get("ETag") == text.header.Get("ETag") {
			t.Errorf("%s: two representations have one tag", path)
		}
	}
	hoses := read[page](t, c.get("/v1/rules?need=fuel.hose&kind=fuel_hose"))
	if len(hoses.Items) != 3 {
		t.Errorf("%d rules raise fuel.hose", len(hoses.Items))
	}
	one := read[Rule](t, c.get("/v1/rules/fuel-hose-ethanol"))
	if one.File != "fuel.yaml" || *one.Need != "fuel.hose" || *one.Kind != "fuel_hose" || *one.Severity != "blocking" ||
		one.When != "vehicle.fuel.ethanol_percent > 10" || !slices.Equal(one.Reads, []string{"vehicle.fuel.ethanol_percent"}) || one.Unsuitable != nil {
		t.Errorf("%+v", one)
	}
	if p := problem(t, c.get("/v1/rules/fuel-hose-etanol")); p.Status != 404 || !strings.Contains(p.Detail, `did you mean fuel-hose-ethanol`) {
		t.Errorf("%+v", p)
	}
}

// Without a database rules are read, the draft is empty, and writes say how to attach one.
func TestRulesWithoutADatabase(t *testing.T) {
	c := newClient(t)
	if d := read[RuleDraft](t, c.get("/v1/rules/draft")); len(d.Changes) != 0 || len(d.Errors) != 0 {
		t.Errorf("%+v", d)
	}
	for _, path := range []string{"/v1/rules/revisions", "/v1/rules/fuel-hose/history"} {
		if got := read[page](t, c.get(path)); len(got.Items) != 0 {
			t.Errorf("%s: %+v", path, got)
		}
	}
	if p := problem(t, c.get("/v1/rules/fuel-hos/history")); p.Status != 404 || p.Detail != `no rule "fuel-hos" in the catalogue; did you mean fuel-hose, fuel-hose-ethanol, fuel-hose-high-pressure?` {
		t.Errorf("%+v", p)
	}
	if r := read[Rule](t, c.get("/v1/rules/fuel-hose?draft=true")); r.ID != "fuel-hose" {
		t.Errorf("%+v", r)
	}
	for _, r := range []reply{
		c.putRule("road-test", cautionRule("road-test", "x"), "If-None-Match", "*"),
		c.do(http.MethodDelete, "/v1/rules/fuel-hose", "", "If-Match", "*"),
		c.do(http.MethodDelete, "/v1/rules/draft", "", "If-Match", "*"),
		c.post("/v1/rules/publish", "", "If-Match", "*"),
		c.post("/v1/rules/rollback", `{"catalogue_revision": 1}`),
	} {
		if p := problem(t, r); p.Type != ProblemTypeNoDatabase || !strings.Contains(p.Detail, "DATABASE_URL") {
			t.Errorf("%+v", p)
		}
	}
}

func TestRulesAreChangedOverHTTP(t *testing.T) {
	c, _ := onPostgres(t)
	const path = "/v1/rules/fuel-hose-ethanol"
	first := c.get(path, "Accept", "application/yaml")
	tag := first.header.Get("ETag")
	changed := strings.Replace(string(first.body), "> 10", "> 15", 1)

	if p := problem(t, c.putRule("fuel-hose-ethanol", changed)); p.Type != ProblemTypePreconditionRequired {
		t.Errorf("%+v", p)
	}
	done := c.putRule("fuel-hose-ethanol", changed, "If-Match", tag)
	if done.status != http.StatusOK || revisionOf(t, done) != 1 || done.header.Get("ETag") != `"`+rules.ETag(changed)+`"` {
		t.Fatalf("%d %s", done.status, done.body)
	}
	if p := problem(t, c.putRule("fuel-hose-ethanol", changed, "If-Match", tag)); p.Type != ProblemTypePreconditionFailed {
		t.Errorf("over a newer text: %+v", p)
	}
	if r := c.putRule("road-test", cautionRule("road-test", "Mind the gap."), "If-None-Match", "*"); r.status != http.StatusCreated {
		t.Fatalf("%d %s", r.status, r.body)
	}
	if r := c.do(http.MethodDelete, "/v1/rules/shop-fender-cover", "", "If-Match", c.get("/v1/rules/shop-fender-cover").header.Get("ETag")); r.status != http.StatusOK {
		t.Fatalf("%d %s", r.status, r.body)
	}

	// Published and draft are told apart.
	if r := read[Rule](t, c.get(path)); r.When != "vehicle.fuel.ethanol_percent > 10" {
		t.Errorf("published already: %s", r.When)
	}
	if r := c.get(path + "?draft=true"); read[Rule](t, r).When != "vehicle.fuel.ethanol_percent > 15" || !strings.HasPrefix(r.header.Get("ETag"), strings.TrimSuffix(done.header.Get("ETag"), `"`)+".") {
		t.Errorf("%s", r.body)
	}
	if c.get("/v1/rules/shop-fender-cover?draft=true").status != http.StatusNotFound || c.get("/v1/rules/road-test").status != http.StatusNotFound {
		t.Error("the draft's deletion is not shown, or its addition is as if published")
	}
	if got := read[page](t, c.get("/v1/rules?need=fuel.hose&draft=true")); len(got.Items) != 3 {
		t.Errorf("%+v", got)
	}

	draft := c.get("/v1/rules/draft")
	d := read[RuleDraft](t, draft)
	if len(d.Changes) != 3 || len(d.Errors) != 0 || d.Changes[0].After != changed || d.Changes[0].Actor != "anyone" || d.Changes[2].After != "" {
		t.Fatalf("%s", draft.body)
	}
	if r := c.get("/v1/rules/draft", "If-None-Match", draft.header.Get("ETag")); r.status != http.StatusNotModified {
		t.Errorf("status %d", r.status)
	}
	if p := problem(t, c.post("/v1/rules/publish", "")); p.Type != ProblemTypePreconditionRequired {
		t.Errorf("%+v", p)
	}
	if p := problem(t, c.post("/v1/rules/publish", "", "If-Match", `"another"`)); p.Type != ProblemTypePreconditionFailed {
		t.Errorf("%+v", p)
	}
	published := c.post("/v1/rules/publish", "", "If-Match", draft.header.Get("ETag"))
	if revisionOf(t, published) != 2 {
		t.Fatalf("%s", published.body)
	}
	eventually(t, "the rules show", func() bool { return c.get("/v1/rules/road-test").status == http.StatusOK })
	if r := c.get("/v1/rules/road-test"); read[Rule](t, r).Text != cautionRule("road-test", "Mind the gap.") {
		t.Errorf("%s", r.body)
	}
	kit := c.post("/v1/kits/resolve", `{"vehicle_id": "halvorne-ferrymaster-1972", "carburetor_sku": "QYC-2A95"}`)
	if !strings.Contains(string(kit.body), "Mind the gap.") {
		t.Errorf("the new rule does not fire: %s", kit.body)
	}

	// A page at a time, newest first.
	if r := c.post("/v1/rules/rollback", `{"catalogue_revision": 1}`); revisionOf(t, r) != 3 {
		t.Fatalf("%s", r.body)
	}
	newest := read[page](t, c.get("/v1/rules/revisions?limit=1"))
	if len(newest.Items) != 1 || newest.Items[0]["catalogue_revision"] != 3.0 || newest.NextCursor == "" {
		t.Fatalf("%+v", newest)
	}
	if older := read[page](t, c.get("/v1/rules/revisions?limit=1&cursor="+newest.NextCursor)); older.Items[0]["catalogue_revision"] != 2.0 || older.NextCursor != "" {
		t.Errorf("%+v", older)
	}
	if history := read[page](t, c.get(path+"/history")); len(history.Items) != 2 || history.Items[0]["before"] != changed || history.Items[1]["after"] != changed {
		t.Errorf("%+v", history)
	}
	for revision, want := range map[string]string{
		"9":                "9 is no revision of this catalogue; accepted: 1 to 3",
		"0":                "0 is no revision of this catalogue; accepted: 1 to 3",
		"-1":               "-1 is outside 0 and above",
		"1.5":              "1.5 is not a whole number; accepted: 0 and above",
		"1e300":            "1e+300 is outside 0 to 9007199254740991",
		"9007199254740992": "9007199254740992 is outside 0 to 9007199254740991",
	} {
		if p := problem(t, c.post("/v1/rules/rollback", `{"catalogue_revision": `+revision+`}`)); p.Status != 422 || faultLines(p)[0] != "/catalogue_revision: "+want {
			t.Errorf("%s: %v", revision, faultLines(p))
		}
	}
	if r := c.do(http.MethodDelete, "/v1/rules/draft", "", "If-Match", "*"); r.status != http.StatusOK {
		t.Errorf("%s", r.body)
	}
}

func TestWrongRulesAreExplained(t *testing.T) {
	c, _ := onPostgres(t)
	hose := string(c.get("/v1/rules/fuel-hose", "Accept", "application/yaml").body)
	for _, wrong := range []struct{ old, new, want string }{
		{"Hose for {vehicle.fuel.pressure_psi}", "Hose for {vehicle.fuel.presure_psi}", `: unknown field "presure_psi" of vehicle.fuel; did you mean pressure_psi?`},
		{"max_ethanol_percent:", "max_etanol_percent:", `a fuel_hose has no "max_etanol_percent"; did you mean max_ethanol_percent?`},
		{"need: fuel.hose", "need: fuel.hoze", `no other rule raises the need "fuel.hoze"; did you mean fuel.hose?`},
		{`when: "true"`, "when: vehicle.year + 1", "gives a number, wanted true or false"},
		{`when: "true"`, "when: on_hand.skus.all(a, on_hand.skus.all(b, on_hand.skus.all(c, a == b && b == c)))", "may cost "},
		{"because: ", `because: "Stud {vehicle.intake.stud_length_in}." # `, "vehicle.intake.stud_length_in may be unknown"},
	} {
		if !strings.Contains(hose, wrong.old) {
			t.Fatalf("%q is not in %s", wrong.old, hose)
		}
		p := problem(t, c.putRule("fuel-hose", strings.Replace(hose, wrong.old, wrong.new, 1), "If-Match", "*"))
		if p.Type != ProblemTypeInvalid || p.Errors == nil || len(*p.Errors) == 0 {
			t.Errorf("%s: %+v", wrong.new, p)
			continue
		}
		f := (*p.Errors)[0]
		if line := fmt.Sprintf("%s:%d:%d: %s", *f.Rule, *f.Line, *f.Column, f.Detail); !strings.Contains(line, wrong.want) || !strings.HasPrefix(p.Detail, "rule fuel-hose, line ") {
			t.Errorf("got  %s (%s)\nwant %s", line, p.Detail, wrong.want)
		}
	}
	for _, id := range []string{"road", "Road-Test", "road--test"} {
		if p := problem(t, c.putRule(id, cautionRule("road-test", "x"), "If-None-Match", "*")); p.Status != 400 {
			t.Errorf("%s: %+v", id, p)
		}
	}
	if p := problem(t, c.do(http.MethodPut, "/v1/rules/fuel-hose", "{}", "If-Match", "*")); p.Type != ProblemTypeWrongContentType {
		t.Errorf("%+v", p)
	}
	// Right by themselves, wrong together: the draft says so and is not published.
	if r := c.putRule("fuel-hose", strings.Replace(hose, "by_fit", "2", 1), "If-Match", "*"); r.status != http.StatusOK {
		t.Fatalf("%s", r.body)
	}
	draft := c.get("/v1/rules/draft")
	if d := read[RuleDraft](t, draft); len(d.Errors) != 2 || *d.Errors[0].Rule != "fuel-hose-ethanol" {
		t.Errorf("%s", draft.body)
	}
	if p := problem(t, c.post("/v1/rules/publish", "", "If-Match", draft.header.Get("ETag"))); p.Type != ProblemTypeInvalid || len(*p.Errors) != 2 {
		t.Errorf("%+v", p)
	}
	if revisionNow(t, c) != 1 {
		t.Error("something was published")
	}
}

func TestRulesNeedTheirScope(t *testing.T) {
	c, _ := onPostgres(t, withKeys)
	if r := c.get("/v1/rules", "Authorization", "Bearer key:stock"); r.status != http.StatusOK {
		t.Errorf("%d %s", r.status, r.body)
	}
	if p := problem(t, c.putRule("road-test", cautionRule("road-test", "x"), "If-None-Match", "*", "Authorization", "Bearer key:stock")); p.Type != ProblemTypeForbidden {
		t.Errorf("%+v", p)
	}
}

// A rule that checks but cannot be worked out for something in the catalogue would leave
// that without any answer: it is not published.
func TestRulesThatFailAreNotPublished(t *testing.T) {
	c, _ := onPostgres(t)
	for id, quantity := range map[string]string{"test-negative": "=-5", "test-division": "=vehicle.engine.cylinders / (vehicle.engine.cylinders - 8)"} {
		text := "- id: " + id + "\n  when: \"true\"\n  need: shop.fender_cover\n  level: optional\n  quantity: \"" + quantity +
			"\"\n  match: {kind: fender_cover}\n  because: x\n  severity: minor\n  source: s\n"
		if r := c.putRule(id, text, "If-None-Match", "*"); r.status != http.StatusCreated {
			t.Fatalf("%s", r.body)
		}
		draft := c.get("/v1/rules/draft")
		if d := read[RuleDraft](t, draft); len(d.Errors) != 1 || *d.Errors[0].Rule != id || !strings.Contains(d.Errors[0].Detail, "quantity: ") || !strings.Contains(d.Errors[0].Detail, "for vehicle ") {
			t.Errorf("%s", draft.body)
		}
		if p := problem(t, c.post("/v1/rules/publish", "", "If-Match", draft.header.Get("ETag"))); p.Type != ProblemTypeInvalid || len(*p.Errors) != 1 || *(*p.Errors)[0].Rule != id {
			t.Errorf("%+v", p)
		}
		if revisionNow(t, c) != 1 {
			t.Fatal("something was published")
		}
		if r := c.do(http.MethodDelete, "/v1/rules/draft", "", "If-Match", draft.header.Get("ETag")); r.status != http.StatusOK {
			t.Fatalf("%s", r.body)
		}
	}
}
