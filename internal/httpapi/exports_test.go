//go:build !race

package httpapi

import (
	"bytes"
	"net/http"
	"regexp"
	"strings"
	"testing"
)

func TestWhatIsExportedIsImportedUnchanged(t *testing.T) {
	c, _ := onPostgres(t)
	csv := func(path string) reply { return c.get(path, "Accept", "text/csv, application/json;q=0.5") }
	parts, stock := csv("/v1/parts"), csv("/v1/stock")
	if got := parts.header.Get("Content-Type"); got != "text/csv; charset=utf-8; header=present" {
		t.Errorf("Content-Type is %s", got)
	}
	if again := c.get("/v1/parts", "Accept", "text/csv", "If-None-Match", parts.header.Get("ETag")); again.status != http.StatusNotModified {
		t.Errorf("status %d", again.status)
	}
	if other := c.get("/v1/parts").header; other.Get("ETag") == parts.header.Get("ETag") || other.Get("Vary") != "Accept" {
		t.Errorf("JSON and CSV are one: %v", other)
	}
	rows := int64(bytes.Count(stock.body, []byte("\r\n"))) - 1
	for kind, file := range map[string]reply{"parts": parts, "stock": stock} {
		if got := done(t, c.importCSV("kind="+kind, string(file.body))); got.Changed != 0 || got.Read == 0 || kind == "stock" && got.Read != rows {
			t.Errorf("%s: %+v", kind, got)
		}
	}
	if revision := revisionNow(t, c); revision != 1 {
		t.Errorf("revision %d", revision)
	}

	// Change what can be changed, some of it to what a spreadsheet would run.
	items := read[page](t, c.get("/v1/parts?limit=40")).Items
	for i, item := range items {
		target := "/v1/parts/" + item["sku"].(string)
		name := []string{"=1+1", "+cmd|' /C calc'!A0", "@sum", "-2", "'=quoted", "comma, \"quote\"", "€ ½ Ø", "'plain"}[i%8]
		body := change(t, c.get(target).body, func(p map[string]any) {
			p["name"] = name
			p["price"].(map[string]any)["amount_minor"] = 1 + i
			delete(p, "requires")
		})
		if r := c.do(http.MethodPut, target, body, "If-Match", "*"); r.status != http.StatusOK {
			t.Fatalf("%s: %d %s", name, r.status, r.body)
		}
	}
	done(t, c.importCSV("kind=stock", regexp.MustCompile(`,\d+\r\n`).ReplaceAllString(string(stock.body), ",77\r\n")))
	last := done(t, c.importCSV("kind=prices", "sku,price_minor\n"+items[0]["sku"].(string)+",12345\n"))
	eventually(t, "all of it shows", func() bool { return revisionNow(t, c) >= last.Revision })
	changed := csv("/v1/parts")
	for _, line := range strings.Split(string(changed.body), "\r\n")[1:] {
		for cell := range strings.SplitSeq(line, ",") {
			if cell = strings.TrimPrefix(cell, `"`); cell != "" && strings.ContainsAny(cell[:1], "=+@") {
				t.Errorf("a spreadsheet would run %s", cell)
			}
		}
	}
	if again := done(t, c.importCSV("kind=parts", string(changed.body))); again.Changed != 0 {
		t.Errorf("the changed export changes %d parts", again.Changed)
	}

	// And back again, byte by byte.
	done(t, c.importCSV("kind=parts", string(parts.body)))
	last = done(t, c.importCSV("kind=stock", gzipped(t, string(stock.body)), "Content-Encoding", "gzip"))
	eventually(t, "all of it shows", func() bool { return revisionNow(t, c) >= last.Revision })
	if again := csv("/v1/parts"); !bytes.Equal(again.body, parts.body) || again.header.Get("ETag") != parts.header.Get("ETag") {
		t.Error("the parts are not what they were")
	}
	if again := csv("/v1/stock"); !bytes.Equal(again.body, stock.body) {
		t.Error("the stock is not what it was")
	}
}
