package httpapi

import (
	"bytes"
	"encoding/csv"
	"strings"
	"testing"

	"github.com/labstack/echo/v4"

	"onetrip/internal/kit"
	"onetrip/internal/sheet"
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
	page := asked("text/html")
	if policy := page.header.Get(echo.HeaderContentSecurityPolicy); policy != sheetPolicy {
		t.Errorf("Content-Security-Policy is %q", policy)
	}
	var want bytes.Buffer
	if err := sheet.HTML(&want, k, sheet.Options{}); err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(page.body, want.Bytes()) {
		t.Error("the sheet is not that of the kit in the JSON")
	}
	rows, err := csv.NewReader(bytes.NewReader(asked("text/csv").body)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(rows) != len(k.Lines)+1 || len(k.Lines) == 0 || rows[1][1] != k.Lines[0].SKU {
		t.Errorf("%d lines come as %d rows: %v", len(k.Lines), len(rows), rows)
	}
}

func TestMistakesAreProblemsWhateverIsAccepted(t *testing.T) {
	got := newClient(t).post("/v1/kits/resolve", strings.Replace(validRequest, "TN-600", "TN-601", 1), echo.HeaderAccept, browserAccept)
	if got.status != 422 || got.header.Get(echo.HeaderContentType) != "application/problem+json" {
		t.Errorf("%d %v", got.status, got.header)
	}
}
