package httpapi

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"
	"time"

	"onetrip/internal/catalog"
	"onetrip/internal/store/storetest"
)

// report is an import as answered.
type report struct {
	catalog.Import
	Problems []catalog.ImportProblem `json:"problems"`
}

func (c client) importCSV(query, body string, headers ...string) reply {
	c.t.Helper()
	return c.do(http.MethodPost, "/v1/imports?"+query, body, append([]string{"Content-Type", "text/csv"}, headers...)...)
}

// done decodes a 201.
func done(t testing.TB, r reply) report {
	t.Helper()
	var out report
	if err := json.Unmarshal(r.body, &out); err != nil || r.status != http.StatusCreated {
		t.Fatalf("status %d: %s (%v)", r.status, r.body, err)
	}
	return out
}

// rejected decodes a 422 with its report.
func rejected(t testing.TB, r reply) (Problem, report) {
	t.Helper()
	var out struct {
		Import report `json:"import"`
	}
	if err := json.Unmarshal(r.body, &out); err != nil || r.status != http.StatusUnprocessableEntity {
		t.Fatalf("status %d: %s (%v)", r.status, r.body, err)
	}
	return problem(t, r), out.Import
}

func gzipped(t testing.TB, text string) string {
	t.Helper()
	var b bytes.Buffer
	w := gzip.NewWriter(&b)
	if _, err := w.Write([]byte(text)); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestImports(t *testing.T) {
	c, _ := onPostgres(t)
	items := read[page](t, c.get("/v1/parts?limit=3")).Items
	sku := func(i int) string { return items[i]["sku"].(string) }
	place := read[page](t, c.get("/v1/locations")).Items[0]["id"].(string)
	row := func(i int, onHand string) string { return sku(i) + "," + place + "," + onHand + "\n" }
	onHand := func(i int) int { return read[Stock](t, c.get("/v1/stock/"+sku(i))).Stock[0].OnHand }
	const header = "sku,location,on_hand\n"

	r := c.importCSV("kind=stock", header+row(0, "7001")+row(1, "7002"))
	first := done(t, r)
	if first.State != "applied" || first.Read != 2 || first.Bad != 0 || first.Changed != 2 || first.Revision != 2 || first.Mode != "atomic" || len(first.Problems) != 0 {
		t.Errorf("%s", r.body)
	}
	eventually(t, "the stock shows", func() bool { return onHand(0) == 7001 && onHand(1) == 7002 })
	if again := c.get(r.header.Get("Location")); !bytes.Equal(again.body, r.body) {
		t.Errorf("read again it is %s", again.body)
	}
	if same := done(t, c.importCSV("kind=stock", header+row(0, "7001"))); same.Changed != 0 || same.Revision != 2 {
		t.Errorf("what was there already: %+v", same)
	}

	t.Run("gzip", func(t *testing.T) {
		c := client{t, c.handler}
		if got := done(t, c.importCSV("kind=stock", gzipped(t, "\ufeff"+strings.ReplaceAll(header+row(2, "7003"), "\n", "\r\n")), "Content-Encoding", "gzip")); got.Changed != 1 {
			t.Errorf("%+v", got)
		}
	})
	t.Run("dry run", func(t *testing.T) {
		c := client{t, c.handler}
		before := revisionNow(t, c)
		if got := done(t, c.importCSV("kind=stock&dry_run=true", header+row(0, "1"))); got.State != "checked" || got.Changed != 1 || !got.DryRun || revisionNow(t, c) != before {
			t.Errorf("%+v", got)
		}
	})
	bad := header + row(0, "11") + row(1, "-3") + "NONE-1," + place + ",1\n" + sku(2) + ",nowhere,many\n"
	wantLines := []string{"3 on_hand -3", "4 sku NONE-1", "5 on_hand many", "5 location nowhere"}
	lines := func(r report) (got []string) {
		for _, p := range r.Problems {
			got = append(got, fmt.Sprint(p.Line, " ", p.Column, " ", p.Value))
			if p.Detail == "" {
				t.Errorf("no detail: %+v", p)
			}
		}
		return got
	}
	t.Run("atomic", func(t *testing.T) {
		c := client{t, c.handler}
		r := c.importCSV("kind=stock&mode=atomic", bad)
		p, got := rejected(t, r)
		if p.Type != ProblemTypeImportRejected || got.State != "rejected" || got.Bad != 3 || got.Changed != 0 || !slices.Equal(lines(got), wantLines) {
			t.Errorf("%s", r.body)
		}
		if !strings.HasPrefix(p.Detail, "nothing was changed; line 3, on_hand: ") || !strings.HasSuffix(p.Detail, " (and 2 more rows, see import.problems)") {
			t.Errorf("detail is %q", p.Detail)
		}
		if kept := read[report](t, c.get(r.header.Get("Location"))); !slices.Equal(lines(kept), wantLines) {
			t.Errorf("kept: %+v", kept)
		}
	})
	t.Run("valid rows", func(t *testing.T) {
		c := client{t, c.handler}
		got := done(t, c.importCSV("kind=stock&mode=valid_rows", bad))
		if got.State != "applied" || got.Read != 4 || got.Bad != 3 || got.Changed != 1 || !slices.Equal(lines(got), wantLines) {
			t.Errorf("%+v", got)
		}
		eventually(t, "the good row shows", func() bool { return onHand(0) == 11 })
	})
	t.Run("header", func(t *testing.T) {
		c := client{t, c.handler}
		p, got := rejected(t, c.importCSV("kind=prices&mode=valid_rows", "sku,price\nA,1\n"))
		if len(got.Problems) != 2 || !strings.Contains(p.Detail, "line 1, price") {
			t.Errorf("%s %+v", p.Detail, got)
		}
	})
	t.Run("prices", func(t *testing.T) {
		c := client{t, c.handler}
		if got := done(t, c.importCSV("kind=prices", "price_minor,sku\n987654,"+sku(0)+"\n")); got.Changed != 1 {
			t.Errorf("%+v", got)
		}
		eventually(t, "the price shows", func() bool { return strings.Contains(string(c.get("/v1/parts/"+sku(0)).body), `"amount_minor":987654`) })
	})
	t.Run("idempotency", func(t *testing.T) {
		c := client{t, c.handler}
		first := c.importCSV("kind=stock", header+row(0, "21"), "Idempotency-Key", `"night-1"`)
		done(t, first)
		eventually(t, "it shows", func() bool { return onHand(0) == 21 })
		done(t, c.importCSV("kind=stock", header+row(0, "22"))) // in between
		again := c.importCSV("kind=stock", header+row(0, "21"), "Idempotency-Key", `"night-1"`)
		if again.status != first.status || !bytes.Equal(again.body, first.body) || again.header.Get("Location") != first.header.Get("Location") {
			t.Errorf("the first answer was %s, the second %s", first.body, again.body)
		}
		eventually(t, "the repeat did nothing", func() bool { return onHand(0) == 22 })
		if checked := done(t, c.importCSV("kind=stock&dry_run=true", header+row(0, "21"), "Idempotency-Key", `"night-1"`)); checked.State != "checked" || checked.Changed != 1 {
			t.Errorf("a dry run: %+v", checked)
		}
		if p := problem(t, c.importCSV("kind=stock&mode=valid_rows", header+row(0, "21"), "Idempotency-Key", `"night-1"`)); p.Type != ProblemTypeKeyReused {
			t.Errorf("another mode: %+v", p)
		}
		if p := problem(t, c.importCSV("kind=stock", header+row(0, "23"), "Idempotency-Key", `"night-1"`)); p.Type != ProblemTypeKeyReused {
			t.Errorf("another file: %+v", p)
		}
		rejected(t, c.importCSV("kind=stock", bad, "Idempotency-Key", "night-2"))
		if mended := done(t, c.importCSV("kind=stock", header+row(0, "24"), "Idempotency-Key", "night-2")); mended.Changed != 1 {
			t.Errorf("the mended file: %+v", mended)
		}
	})
	t.Run("every problem is counted", func(t *testing.T) {
		c := client{t, c.handler}
		const rows = 5000
		p, got := rejected(t, c.importCSV("kind=stock", header+strings.Repeat("NONE-1,"+place+",1000000000000\n", rows)))
		if len(got.Problems) != 1000 || got.Bad != rows || got.Found != 3*rows-1 { // on_hand, SKU, and after the first twice
			t.Errorf("%d problems of %d, %d bad rows", len(got.Problems), got.Found, got.Bad)
		}
		if want := " (and 4999 more rows; import.problems lists the first 1000 of 14999 things wrong)"; !strings.HasSuffix(p.Detail, want) {
			t.Errorf("detail is %s", p.Detail)
		}
	})
	t.Run("refused", func(t *testing.T) {
		for _, tc := range []struct {
			name   string
			reply  reply
			status int
			want   string
		}{
			{"no kind", c.importCSV("", header), 400, "kind: is missing; give one of stock, prices, parts"},
			{"kind", c.importCSV("kind=stocks", header), 400, `kind: "stocks" is not accepted, did you mean stock?`},
			{"mode", c.importCSV("kind=stock&mode=some", header), 400, `mode: "some" is not accepted`},
			{"dry run", c.importCSV("kind=stock&dry_run=1", header), 400, `dry_run: "1" is not true or false`},
			{"JSON", c.importCSV("kind=stock", "{}", "Content-Type", "application/json"), 415, `Content-Type is "application/json"; send Content-Type: text/csv`},
			{"encoding", c.importCSV("kind=stock", header, "Content-Type", "text/csv; charset=latin1"), 415, `Content-Type says charset "latin1"; CSV is sent in UTF-8`},
			{"compression", c.importCSV("kind=stock", header, "Content-Encoding", "br"), 415, `Content-Encoding is "br"; send the body uncompressed or in gzip`},
			{"not gzip", c.importCSV("kind=stock", header, "Content-Encoding", "gzip"), 400, "Content-Encoding is gzip, but the body is not, or is cut off"},
			{"cut gzip", c.importCSV("kind=stock", gzipped(t, strings.Repeat(header, 1000))[:40], "Content-Encoding", "gzip"), 400, "Content-Encoding is gzip, but the body is not, or is cut off"},
			{"empty key", c.importCSV("kind=stock", header, "Idempotency-Key", "two words"), 400, "Idempotency-Key: is not 1 to 200 visible ASCII characters"},
			{"unknown", c.get("/v1/imports/nothing"), 404, `no import "nothing" was made; `},
		} {
			p := problem(t, tc.reply)
			if lines := append(faultLines(p), p.Detail); p.Status != tc.status || !strings.HasPrefix(lines[0], tc.want) {
				t.Errorf("%s: %d %s", tc.name, p.Status, lines[0])
			}
		}
	})
}

func TestImportsNeedTheScopeOfTheirKind(t *testing.T) {
	c, _ := onPostgres(t, withKeys)
	for _, tc := range []struct {
		scopes, kind string
		lacks        string
	}{
		{"stock", "stock", ""}, {"catalogue", "prices", ""}, {"catalogue", "parts", ""},
		{"catalogue", "stock", "stock"}, {"stock", "prices", "catalogue"}, {"stock", "parts", "catalogue"},
		{"read", "stock", "stock"}, {"read", "prices", "catalogue"}, {"read", "parts", "catalogue"},
	} {
		r := c.importCSV("kind="+tc.kind, "wrong\n", "Authorization", "Bearer key:"+tc.scopes)
		if tc.lacks == "" {
			rejected(t, r) // for its header, so it was let in
			continue
		}
		challenge := fmt.Sprintf(`Bearer realm="onetrip", error="insufficient_scope", scope="%s"`, tc.lacks)
		if p := problem(t, r); p.Type != ProblemTypeForbidden || r.header.Get("WWW-Authenticate") != challenge || !strings.Contains(p.Detail, "the scope "+tc.lacks+",") {
			t.Errorf("%+v: %v %s", tc, r.header, r.body)
		}
	}
	// A kind that is given twice, or is none, gives no way round.
	for _, query := range []string{"kind=stock&kind=parts", "kind=parts&kind=stock", "kind=everything", ""} {
		if p := problem(t, c.importCSV(query, "wrong\n", "Authorization", "Bearer key:stock")); p.Type != ProblemTypeBadParameter {
			t.Errorf("%s: %+v", query, p)
		}
	}
	if p := problem(t, c.get("/v1/imports/any", "Authorization", "Bearer key:read")); p.Type != ProblemTypeForbidden || !strings.Contains(p.Detail, "stock or catalogue") {
		t.Errorf("a key that may only read sees imports: %+v", p)
	}
}

func TestImportsAreBounded(t *testing.T) {
	c, _ := onPostgres(t, func(cfg *Config) { cfg.MaxImportBytes = 1000 })
	long := "sku,location,on_hand\n" + strings.Repeat("A,B,1\n", 1000)
	for name, r := range map[string]reply{
		"plain":  c.importCSV("kind=stock", long),
		"packed": c.importCSV("kind=stock", gzipped(t, long), "Content-Encoding", "gzip"),
	} {
		if p := problem(t, r); p.Type != ProblemTypeBodyTooLarge || !strings.Contains(p.Detail, "1000 bytes") {
			t.Errorf("%s: %+v", name, p)
		}
	}
}

// The server's own limits are for short questions; a slow file may take longer, and so
// may what comes after it.
func TestASlowImportOutlivesTheServersTimeouts(t *testing.T) {
	c, _ := onPostgres(t)
	server := httptest.NewUnstartedServer(c.handler)
	server.Config.ReadTimeout, server.Config.WriteTimeout = 300*time.Millisecond, 300*time.Millisecond
	server.Start()
	defer server.Close()
	reader, writer := io.Pipe()
	go func() {
		defer writer.Close()
		for _, text := range []string{"sku,location,on_hand\n", "NONE-1,nowhere,1\n", "NONE-2,nowhere,1\n"} {
			time.Sleep(250 * time.Millisecond)
			if _, err := writer.Write([]byte(text)); err != nil {
				t.Error(err)
			}
		}
	}()
	asked, err := http.NewRequestWithContext(t.Context(), http.MethodPost, server.URL+"/v1/imports?kind=stock", reader)
	if err != nil {
		t.Fatal(err)
	}
	asked.Header.Set("Content-Type", "text/csv")
	answered, err := http.DefaultClient.Do(asked)
	if err != nil {
		t.Fatal(err)
	}
	defer answered.Body.Close()
	var out struct {
		Import report `json:"import"`
	}
	if err := json.NewDecoder(answered.Body).Decode(&out); err != nil || answered.StatusCode != http.StatusUnprocessableEntity || len(out.Import.Problems) != 4 {
		t.Errorf("status %d, %+v (%v)", answered.StatusCode, out, err)
	}
}

func TestImportsWaitForPostgres(t *testing.T) {
	c, dsn := onPostgres(t)
	end := storetest.Outage(t, dsn)
	for _, r := range []reply{c.importCSV("kind=stock", "sku,location,on_hand\n"), c.get("/v1/imports/any")} {
		if p := problem(t, r); p.Type != ProblemTypeUnavailable || r.header.Get("Retry-After") == "" {
			t.Errorf("%v %s", r.header, r.body)
		}
	}
	end()
	eventually(t, "imports work again", func() bool {
		return c.importCSV("kind=stock", "sku,location,on_hand\n").status == http.StatusCreated
	})
	if p := problem(t, newClient(t).importCSV("kind=stock", "sku,location,on_hand\n")); p.Type != ProblemTypeNoDatabase {
		t.Errorf("without a database: %+v", p)
	}
}
