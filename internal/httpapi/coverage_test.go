package httpapi

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/labstack/echo/v4"

	"onetrip/internal/coverage"
	"onetrip/internal/kit"
	"onetrip/internal/kit/kittest"
)

// coverageClient answers reports in memory. The client holds every answer against the
// contract.
func coverageClient(t *testing.T, s *kit.Snapshot) client {
	current := func() *kit.Snapshot { return s }
	reports := coverage.NewMemory(current, 1)
	t.Cleanup(reports.Close)
	return client{t, New(Config{Snapshot: current, Source: "demo", Coverage: reports})}
}

// started posts a question.
func started(t *testing.T, c client, question string) (path string, r coverage.Report) {
	t.Helper()
	got := c.post("/v1/coverage", question)
	if err := json.Unmarshal(got.body, &r); err != nil || got.status != http.StatusAccepted {
		t.Fatalf("%d %s, %v", got.status, got.body, err)
	}
	path = got.header.Get(echo.HeaderLocation)
	if path != "/v1/coverage/"+r.ID {
		t.Errorf("Location is %s for report %s", path, r.ID)
	}
	return path, r
}

func ended(t *testing.T, c client, path string) coverage.Report {
	t.Helper()
	for end := time.Now().Add(time.Minute); time.Now().Before(end); time.Sleep(20 * time.Millisecond) {
		if r := read[coverage.Report](t, c.get(path)); r.Status != coverage.Running {
			return r
		}
	}
	t.Fatal("the report does not end")
	return coverage.Report{}
}

func TestCoverageOfTheContractsExample(t *testing.T) {
	c := coverageClient(t, kittest.Demo(t))
	example, err := json.Marshal(schemaNamed("CoverageQuestion").Example)
	if err != nil {
		t.Fatal(err)
	}
	path, first := started(t, c, string(example))
	if first.Status != coverage.Running || first.Progress.Kits == 0 || first.Answer != nil {
		t.Errorf("at the start: %+v", first)
	}
	if same, _ := started(t, c, string(example)); same != path {
		t.Errorf("the same question makes another report, %s", same)
	}
	r := ended(t, c, path)
	a := r.Answer
	if r.Status != coverage.Done || a == nil || a.Verdicts.All.Kits != first.Progress.Kits || len(a.StockNext.Alone) == 0 {
		t.Fatalf("%+v", r)
	}
	if sum := a.Verdicts.Complete.Kits + a.Verdicts.CompleteWithWarnings.Kits + a.Verdicts.Incomplete.Kits + a.Verdicts.Unsuitable.Kits; sum != a.Verdicts.All.Kits {
		t.Errorf("verdicts of %d kits, want %d", sum, a.Verdicts.All.Kits)
	}
	for _, class := range a.ByVehicle {
		if len(class.Cells) != len(a.ByCarburetor) {
			t.Errorf("%d cells for %d carburetors", len(class.Cells), len(a.ByCarburetor))
		}
	}

	rows, err := csv.NewReader(bytes.NewReader(c.get(path, echo.HeaderAccept, "text/csv").body)).ReadAll()
	if want := 2 + len(a.ByVehicle) + len(a.ByCarburetor) + len(a.ByNeed) + len(a.Gaps) + len(a.StockNext.Alone) + len(a.StockNext.BestSet); err != nil || len(rows) != want {
		t.Errorf("%d rows of CSV, want %d, %v", len(rows), want, err)
	}
	page := c.get(path, echo.HeaderAccept, browserAccept)
	if page.header.Get(echo.HeaderContentType) != mimeHTML || page.header.Get(echo.HeaderContentSecurityPolicy) != sheetPolicy ||
		strings.Count(string(page.body), "<rect ") < len(a.ByVehicle)*len(a.ByCarburetor) {
		t.Errorf("the page: %v, %d cells", page.header, strings.Count(string(page.body), "<rect "))
	}
	if again := c.get(path, "If-None-Match", c.get(path).header.Get("ETag")); again.status != http.StatusNotModified {
		t.Errorf("%d for what the caller has", again.status)
	}
	if got := c.do(http.MethodDelete, path, ""); got.status != http.StatusOK || read[coverage.Report](t, got).Status != coverage.Done {
		t.Errorf("a finished report is cancelled: %d %s", got.status, got.body)
	}
}

func TestCoverageIsCancelled(t *testing.T) {
	c := coverageClient(t, kittest.Demo(t))
	path, _ := started(t, c, `{"basis": "catalogue"}`)
	if got := c.get(path, echo.HeaderAccept, "text/csv"); got.status != http.StatusConflict || problem(t, got).Type != ProblemTypeNotDone {
		t.Errorf("CSV of a report at work: %d %s", got.status, got.body)
	}
	if page := c.get(path, echo.HeaderAccept, "text/html"); !bytes.Contains(page.body, []byte(`http-equiv="refresh"`)) {
		t.Error("the page of a report at work does not look again")
	}
	if got := read[coverage.Report](t, c.do(http.MethodDelete, path, "")); got.Status != coverage.Cancelled || got.FinishedAt == nil {
		t.Errorf("%+v", got)
	}
	if got := ended(t, c, path); got.Status != coverage.Cancelled || got.Answer != nil {
		t.Errorf("%+v", got)
	}
	if p := problem(t, c.get(path, echo.HeaderAccept, "text/csv")); p.Status != http.StatusConflict || p.Detail != "the report is cancelled and has no tables; ask for it anew with POST /v1/coverage" {
		t.Errorf("CSV of a cancelled report: %+v", p)
	}
	if again, _ := started(t, c, `{"basis": "catalogue"}`); again == path {
		t.Error("a cancelled report is given for the question again")
	}
}

func TestQuestionsForCoverageAreChecked(t *testing.T) {
	c := coverageClient(t, kittest.Demo(t))
	part := `{"sku": %q, "name": "Linkage end", "finish": "plain", "pack_quantity": 1, "price": {"amount_minor": 900, "currency": %q}, "lead_time_days": 3, "discontinued": false,
		"kind": "throttle_end", "attributes": {"linkage_end": "clevis", "lever_end": "eyelet"}, "ends": [], "conflicts": %s}`
	for question, want := range map[string]string{
		`{}`:                 "/basis",
		`{"basis": "shelf"}`: "/basis",
		`{"basis": "catalogue", "location": "tarnsley"}`:                                            "/location",
		`{"basis": "stock", "location": "tarnsly"}`:                                                 "did you mean tarnsley",
		`{"basis": "stock", "makes": ["Halvorn"]}`:                                                  "did you mean Halvorne",
		`{"basis": "stock", "vehicle_ids": ["nothing"]}`:                                            "/vehicle_ids/0",
		`{"basis": "stock", "makes": ["Halvorne"], "vehicle_ids": ["wrenfold-tollkeeper-1980"]}`:    "no vehicle passes both",
		`{"basis": "stock", "carburetor_skus": ["QYC-0"]}`:                                          "/carburetor_skus/0",
		`{"basis": "stock", "flanges": ["oval"]}`:                                                   "/flanges/0",
		`{"basis": "stock", "weights": [{"vehicle_id": "nothing", "weight": 1}]}`:                   "/weights/0/vehicle_id",
		`{"basis": "stock", "weights": [{"vehicle_id": "wrenfold-tollkeeper-1980", "weight": -1}]}`: "/weights/0/weight",
		`{"basis": "stock", "weights": [{"vehicle_id": "wrenfold-tollkeeper-1980", "weight": 1}, {"vehicle_id": "wrenfold-tollkeeper-1980", "weight": 2}]}`: "/weights/1/vehicle_id",
		`{"basis": "stock", "best_set": 11}`:                                                                                                                         "/best_set",
		`{"basis": "stock", "try_parts": [` + fmt.Sprintf(part, "NEW-1", "USD", "[]") + `]}`:                                                                         "/try_parts",
		`{"basis": "catalogue", "try_parts": [` + fmt.Sprintf(part, "FOZ-2A07", "USD", "[]") + `]}`:                                                                  "/try_parts/0/sku",
		`{"basis": "catalogue", "try_parts": [` + fmt.Sprintf(part, "NEW-1", "EUR", "[]") + `]}`:                                                                     "/try_parts/0/price/currency",
		`{"basis": "catalogue", "try_parts": [` + fmt.Sprintf(part, "NEW-1", "USD", `["FOZ-2A07"]`) + `]}`:                                                           "/try_parts/0",
		`{"basis": "catalogue", "try_parts": [` + fmt.Sprintf(part, "NEW-1", "USD", "[]") + `, ` + fmt.Sprintf(part, "NEW-1", "USD", "[]") + `]}`:                    "/try_parts/1/sku",
		`{"basis": "catalogue", "try_parts": [` + strings.Replace(fmt.Sprintf(part, "NEW-1", "USD", "[]"), `"lever_end": "eyelet"`, `"lever_end": "hook"`, 1) + `]}`: "lever_end",
	} {
		got := c.post("/v1/coverage", question)
		if got.status != http.StatusUnprocessableEntity || !strings.Contains(strings.Join(faultLines(problem(t, got)), "\n"), want) {
			t.Errorf("%s: %d %s, want %s", question, got.status, got.body, want)
		}
	}
	if got := c.get("/v1/coverage/nosuchreport"); got.status != http.StatusNotFound {
		t.Errorf("an unknown report: %d %s", got.status, got.body)
	}
}

func TestCoverageOfAnEmptyCatalogueIsRefused(t *testing.T) {
	d := kittest.Data(t)
	d.Vehicles, d.Carburetors, d.Stock = nil, nil, nil
	c := coverageClient(t, kittest.Open(t, d))
	got := faultLines(problem(t, c.post("/v1/coverage", `{"basis": "stock"}`)))
	if want := []string{"the catalogue has no vehicle to look at; add one first", "the catalogue has no carburetor to look at; add one first"}; len(got) != 2 || !strings.HasSuffix(got[0], want[0]) || !strings.HasSuffix(got[1], want[1]) {
		t.Errorf("got %q, want %q", got, want)
	}
}

func TestTooManyReportsAreRefused(t *testing.T) {
	s := kittest.Demo(t)
	current := func() *kit.Snapshot { return s }
	stuck := coverage.NewMemory(current, 0) // without a worker nothing ends
	t.Cleanup(stuck.Close)
	c := client{t, New(Config{Snapshot: current, Source: "demo", Coverage: stuck})}
	for i := range coverage.MaxRunning {
		started(t, c, fmt.Sprintf(`{"basis": "stock", "vehicle_ids": [%q]}`, s.Catalog.Vehicles()[i].ID))
	}
	got := c.post("/v1/coverage", `{"basis": "stock"}`)
	if got.status != http.StatusServiceUnavailable || problem(t, got).Type != ProblemTypeBusy || got.header.Get(echo.HeaderRetryAfter) == "" {
		t.Errorf("%d %v %s", got.status, got.header, got.body)
	}
}
