package httpapi

import (
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus/testutil/promlint"

	"onetrip/internal/kit"
	"onetrip/internal/kit/kittest"
)

// Figures count what was asked and found, and read as the format's own linter wants them.
func TestMetrics(t *testing.T) {
	snap := kittest.Demo(t)
	c := client{t, New(Config{Snapshot: func() *kit.Snapshot { return snap }})}
	var verdict kit.Verdict
	for range 2 {
		verdict = read[kit.Kit](t, c.post("/v1/kits/resolve", ferrymaster)).Verdict
	}
	c.post("/v1/kits/resolve", "{}")
	c.get("/v1/parts/nothing-of-the-kind")
	c.get("/nowhere/7")
	c.get("/nowhere/8")
	r := c.get("/metrics")
	if got := r.header.Get("Content-Type"); r.status != http.StatusOK || !strings.HasPrefix(got, "text/plain; version=0.0.4") {
		t.Fatalf("status %d, %s", r.status, got)
	}
	text := string(r.body)
	for _, line := range []string{
		`onetrip_request_seconds_count{operation="resolveKit",status="200"} 2`,
		`onetrip_request_seconds_count{operation="resolveKit",status="422"} 1`,
		`onetrip_request_seconds_count{operation="getPart",status="404"} 1`,
		`onetrip_request_seconds_count{operation="none",status="404"} 2`,
		`onetrip_kits_total{optimal="true",verdict="` + string(verdict) + `"} 2`,
		"onetrip_catalogue_revision 1",
	} {
		if !strings.Contains(text, "\n"+line+"\n") {
			t.Errorf("no line %s in\n%s", line, text)
		}
	}
	for _, absent := range []string{"nowhere", "nothing-of-the-kind", "onetrip_database_connected"} {
		if strings.Contains(text, absent) {
			t.Errorf("%s is there", absent)
		}
	}
	problems, err := promlint.New(strings.NewReader(text)).Lint()
	for _, p := range problems {
		t.Errorf("%s: %s", p.Metric, p.Text)
	}
	if err != nil {
		t.Error(err)
	}
}

func TestMetricsOfADatabase(t *testing.T) {
	c := client{t, New(Config{
		Snapshot: func() *kit.Snapshot { return nil },
		Database: func() (bool, time.Duration) { return false, 90 * time.Second },
	})}
	text := string(c.get("/metrics").body)
	for _, line := range []string{"onetrip_catalogue_revision 0", "onetrip_catalogue_age_seconds 90", "onetrip_database_connected 0"} {
		if !strings.Contains(text, "\n"+line+"\n") {
			t.Errorf("no line %s in\n%s", line, text)
		}
	}
}

func TestMetricsAskForAKey(t *testing.T) {
	c := guarded(t, fakeKeys(1000))
	if r := c.get("/metrics"); r.status != http.StatusUnauthorized {
		t.Errorf("without a key: status %d", r.status)
	}
	if r := c.get("/metrics", "Authorization", "Bearer key:read"); r.status != http.StatusOK {
		t.Errorf("with one: status %d", r.status)
	}
}
