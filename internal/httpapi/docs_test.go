package httpapi

import (
	"net/http"
	"os"
	"regexp"
	"strings"
	"testing"
)

// What the page of the contract loads is there, and comes from nowhere else.
func TestDocsLoadsOnlyWhatTheServiceHas(t *testing.T) {
	c := newClient(t)
	page := c.get("/docs", "Accept", "text/html,application/xhtml+xml,*/*;q=0.8")
	if page.status != http.StatusOK || page.header.Get("Content-Type") != "text/html; charset=utf-8" {
		t.Fatalf("status %d, %s", page.status, page.header.Get("Content-Type"))
	}
	policy := page.header.Get("Content-Security-Policy")
	if !strings.Contains(policy, "default-src 'none'") || !strings.Contains(policy, "script-src 'self';") {
		t.Errorf("the policy is %q", policy)
	}
	loaded := regexp.MustCompile(`(?:src|href)="([^"]*)"`).FindAllSubmatch(page.body, -1)
	if len(loaded) < 5 {
		t.Errorf("the page refers to %d files only", len(loaded))
	}
	for _, match := range loaded {
		address := string(match[1])
		switch got := c.get("/" + address); {
		case address == "data:,": // no icon
		case strings.Contains(address, ":") || strings.HasPrefix(address, "/"):
			t.Errorf("%s is not relative to the page", address)
		case got.status != http.StatusOK:
			t.Errorf("%s: status %d", address, got.status)
		}
	}
}

func TestDocsFiles(t *testing.T) {
	c := newClient(t)
	for name, mediaType := range map[string]string{"docs.js": "text/javascript", "docs.css": "text/css", "swagger-ui.css": "text/css",
		"swagger-ui-bundle.js": "text/javascript", "LICENSE": "text/plain", "NOTICE": "text/plain", "swagger-ui-bundle.js.LICENSE.txt": "text/plain"} {
		got := c.get("/docs/" + name)
		if got.status != http.StatusOK || got.header.Get("Content-Type") != mediaType+"; charset=utf-8" || len(got.body) == 0 {
			t.Errorf("%s: status %d, %s, %d bytes", name, got.status, got.header.Get("Content-Type"), len(got.body))
		}
		if again := c.get("/docs/"+name, "If-None-Match", got.header.Get("ETag")); again.status != http.StatusNotModified {
			t.Errorf("%s: status %d for a copy that is current", name, again.status)
		}
	}
	if len(docsFiles()) != 7 {
		t.Errorf("%d files are served", len(docsFiles()))
	}
	for _, name := range []string{"docs.html", "vendor.sh", "..%2Fdocs.go", "swagger-ui"} {
		if got := c.get("/docs/" + name); got.status != http.StatusNotFound {
			t.Errorf("%s: status %d", name, got.status)
		}
	}
}

// Our own files name no other server.
func TestDocsNameNoOtherServer(t *testing.T) {
	for _, name := range []string{"docs.html", "docs.js", "docs.css"} {
		text, err := os.ReadFile("docs/" + name)
		if err != nil {
			t.Fatal(err)
		}
		if strings.Contains(string(text), "//") && regexp.MustCompile(`(?m)["'(]\s*(https?:)?//`).Match(text) {
			t.Errorf("%s names an address elsewhere", name)
		}
	}
}
