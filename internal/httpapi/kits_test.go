package httpapi

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/labstack/echo/v4"

	"onetrip/internal/kit"
	"onetrip/internal/kit/kittest"
	"onetrip/internal/sheet"
	"onetrip/internal/store"
)

const browserAccept = "text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8"

func TestKitsArePrintedAsAsked(t *testing.T) {
	c := newClient(t)
	asked := func(accept string) reply { return c.post("/v1/kits/resolve", validRequest, echo.HeaderAccept, accept) }
	for accept, want := range map[string]string{
		"application/json": echo.MIMEApplicationJSON,
		"*/*":              echo.MIMEApplicationJSON,
		browserAccept:      mimeHTML,
		"text/*;q=0.5, text/csv, application/json": echo.MIMEApplicationJSON,
		"text/csv":                        mimeCSVFile,
		"text/html;q=0.2, text/csv;q=0.9": mimeCSVFile,
		"text/html, application/pdf":      mimeHTML,
	} {
		got := asked(accept)
		if got.status != 200 || got.header.Get(echo.HeaderContentType) != want || got.header.Get(echo.HeaderVary) != echo.HeaderAccept || got.header.Get(echo.HeaderCacheControl) != noStore {
			t.Errorf("Accept: %s gets %d %v, want %s", accept, got.status, got.header, want)
		}
	}

	answer := read[kit.Kit](t, asked("application/json"))
	k := &answer
	today := time.Now()
	page := asked("text/html")
	if time.Now().UTC().Day() != today.UTC().Day() { // it was midnight
		today, page = time.Now(), asked("text/html")
	}
	if policy := page.header.Get(echo.HeaderContentSecurityPolicy); policy != sheetPolicy {
		t.Errorf("Content-Security-Policy is %q", policy)
	}
	var want bytes.Buffer
	if err := sheet.HTML(&want, k, sheet.Options{Asked: today}); err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(page.body, want.Bytes()) {
		t.Error("the sheet is not that of the kit in the JSON")
	}
	rows, err := csv.NewReader(bytes.NewReader(asked("text/csv").body)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	others := 2 + len(k.Missing) // the header, the verdict
	if len(rows) != others+len(k.Lines) || len(k.Lines) == 0 || rows[1][3] != string(k.Verdict) || rows[others][2] != k.Lines[0].SKU {
		t.Errorf("%d lines come as %d rows: %v", len(k.Lines), len(rows), rows)
	}
}

func TestMistakesAreProblemsWhateverIsAccepted(t *testing.T) {
	got := newClient(t).post("/v1/kits/resolve", strings.Replace(validRequest, "TN-600", "TN-601", 1), echo.HeaderAccept, browserAccept)
	if got.status != 422 || got.header.Get(echo.HeaderContentType) != "application/problem+json" {
		t.Errorf("%d %v", got.status, got.header)
	}
}

// A search that is stopped answers with the best kit found, and says so.
func TestKitsAreLookedForInTime(t *testing.T) {
	snap := kittest.Demo(t)
	hurried := client{t, New(Config{Snapshot: func() *kit.Snapshot { return snap }, Source: "demo", Kits: store.NewMemoryKits(), KitTime: 1})}
	body := fmt.Sprintf(`{"vehicle_id": %q, "carburetor_sku": %q, "preferences": {"objective": "fewest"}}`, snap.Catalog.Vehicles()[0].ID, snap.Catalog.Carburetors()[0].SKU)
	k := read[kit.Kit](t, hurried.post("/v1/kits/resolve", body))
	if k.Proof.Optimal || len(k.Lines) == 0 || len(k.Alternatives) > 0 {
		t.Errorf("proof %+v, %d lines, %d alternatives", k.Proof, len(k.Lines), len(k.Alternatives))
	}
	saved := hurried.post("/v1/kits", body)
	if saved.status != 201 || !strings.Contains(string(saved.body), `"optimal":false`) {
		t.Errorf("saving answers %d %s", saved.status, saved.body)
	}

	k = read[kit.Kit](t, client{t, New(Config{Snapshot: func() *kit.Snapshot { return snap }, Source: "demo"})}.post("/v1/kits/resolve", body))
	if !k.Proof.Optimal || len(k.Alternatives) == 0 {
		t.Errorf("with time: proof %+v, %d alternatives", k.Proof, len(k.Alternatives))
	}
}

func TestNoKitInTimeIsAProblem(t *testing.T) {
	p := problemOf(fmt.Errorf("selection: %w", kit.ErrLimit), nil)
	if p.Type != ProblemTypeNoKitInTime || p.Status != 503 {
		t.Errorf("%+v", p)
	}
}
