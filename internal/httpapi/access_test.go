package httpapi

import (
	"bytes"
	"log/slog"
	"net/http"
	"slices"
	"strings"
	"testing"

	"onetrip/internal/kit"
)

// fakeKeys are keys named after what they may do: "read", "stock catalogue".
func fakeKeys(perMinute int) *Access {
	return &Access{
		Required: func() bool { return true },
		Verify: func(key string) (Caller, bool) {
			scopes, ok := strings.CutPrefix(key, "key:")
			return Caller{ID: scopes, Name: "till " + scopes, Allows: func(scope string) bool {
				return scope == "read" || slices.Contains(strings.Split(scopes, "+"), scope)
			}}, ok
		},
		RequestsPerMinute: perMinute,
	}
}

func guarded(t testing.TB, access *Access) client {
	snap := fixture(t)
	return client{t, New(Config{Snapshot: func() *kit.Snapshot { return snap }, Source: "fixture", Access: access})}
}

// Every operation below /v1, and /metrics, asks for a key with a scope there is, the others for none.
func TestEveryOperationSaysWhichScopeItNeeds(t *testing.T) {
	c := guarded(t, fakeKeys(1000))
	for id, op := range operations() {
		public := op.Security != nil && len(*op.Security) == 0
		if guarded := strings.HasPrefix(op.path, "/v1/") || op.path == "/metrics"; guarded == public || guarded != (len(op.scopes()) > 0) {
			t.Errorf("%s: public %v, scopes %v", id, public, op.scopes())
		}
		for _, scope := range op.scopes() {
			if !slices.Contains([]string{"read", "kits", "stock", "catalogue", "admin"}, scope) {
				t.Errorf("%s: no such scope: %s", id, scope)
			}
		}
		want := http.StatusOK
		if !public {
			want = http.StatusUnauthorized
		}
		body := ""
		if op.RequestBody != nil {
			body = "{}"
		}
		if r := c.do(op.method, strings.NewReplacer("{file}", "docs.js", "{", "", "}", "").Replace(op.path), body); r.status != want {
			t.Errorf("%s: status %d, want %d", id, r.status, want)
		}
	}
}

func TestKeysAreAskedFor(t *testing.T) {
	c := guarded(t, fakeKeys(1000))
	for _, tc := range []struct{ name, header, challenge, detail string }{
		{"none", "", `Bearer realm="onetrip"`, "no key was sent; send Authorization: Bearer KEY"},
		{"another scheme", "Basic a2V5OnJlYWQ=", `Bearer realm="onetrip"`, "no key was sent"},
		{"no key", "Bearer", `Bearer realm="onetrip", error="invalid_token"`, "the key is not in force"},
		{"wrong key", "Bearer kei:read", `Bearer realm="onetrip", error="invalid_token"`, "the key is not in force"},
	} {
		r := c.get("/v1/locations", "Authorization", tc.header)
		if p := problem(t, r); p.Type != ProblemTypeUnauthorized || !strings.HasPrefix(p.Detail, tc.detail) || r.header.Get("WWW-Authenticate") != tc.challenge {
			t.Errorf("%s: %s %s", tc.name, r.header.Get("WWW-Authenticate"), r.body)
		}
		if strings.Contains(string(r.body), "kei:read") {
			t.Errorf("%s: the answer repeats the key", tc.name)
		}
	}
	for _, header := range []string{"Bearer key:read", "bearer key:stock"} {
		if r := c.get("/v1/locations", "Authorization", header); r.status != http.StatusOK {
			t.Errorf("%s: status %d", header, r.status)
		}
	}
	if r := c.get("/v1/locations?access_token=key:read"); r.status != http.StatusUnauthorized {
		t.Errorf("a key in the query: status %d", r.status)
	}
	open := fakeKeys(1000)
	open.Required = func() bool { return false }
	if r := guarded(t, open).get("/v1/locations"); r.status != http.StatusOK || r.header.Get("RateLimit") != "" {
		t.Errorf("where none is required: status %d, RateLimit %q", r.status, r.header.Get("RateLimit"))
	}
}

func TestTheLogSaysWhoAskedAndNotWithWhat(t *testing.T) {
	var log bytes.Buffer
	snap := fixture(t)
	c := client{t, New(Config{Snapshot: func() *kit.Snapshot { return snap }, Source: "fixture", Access: fakeKeys(1000), Log: slog.New(slog.NewJSONHandler(&log, nil))})}
	c.get("/v1/locations", "Authorization", "Bearer key:stock+kits")
	c.get("/v1/locations", "Authorization", "Bearer kei:wrong")
	if text := log.String(); !strings.Contains(text, `"caller":"stock+kits"`) || strings.Contains(text, "key:stock") || strings.Contains(text, "kei:wrong") {
		t.Errorf("%s", text)
	}
}

func TestEachKeyHasItsOwnRequests(t *testing.T) {
	c := guarded(t, fakeKeys(2))
	one := func(key string) reply { return c.get("/v1/locations", "Authorization", "Bearer "+key) }
	for i, want := range []string{`"key";r=1;t=30`, `"key";r=0;t=60`} {
		if r := one("key:read"); r.status != http.StatusOK || r.header.Get("RateLimit") != want || r.header.Get("RateLimit-Policy") != `"key";q=2;w=60` {
			t.Errorf("%d: status %d, %s, %s", i, r.status, r.header.Get("RateLimit-Policy"), r.header.Get("RateLimit"))
		}
	}
	r := one("key:read")
	if p := problem(t, r); p.Type != ProblemTypeTooManyRequests || r.header.Get("Retry-After") != "30" || r.header.Get("RateLimit") != `"key";r=0;t=60` {
		t.Errorf("%v %s", r.header, r.body)
	}
	if r := one("key:stock"); r.status != http.StatusOK {
		t.Errorf("another key: status %d", r.status)
	}
	if r := c.get("/livez"); r.status != http.StatusOK {
		t.Errorf("livez: status %d", r.status)
	}
}
