package httpapi

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/getkin/kin-openapi/openapi3filter"

	"onetrip/internal/kit"
	"onetrip/internal/kit/kittest"
	"onetrip/internal/rules"
)

// Every line of a stream is held against the contract; the filter sees the last.
func init() {
	openapi3filter.RegisterBodyDecoder(mimeNDJSON, func(body io.Reader, _ http.Header, schema *openapi3.SchemaRef, _ openapi3filter.EncodingFn) (any, error) {
		var value any
		for lines := json.NewDecoder(body); lines.More(); {
			if err := lines.Decode(&value); err != nil {
				return nil, err
			}
			if err := schema.Value.VisitJSON(value, openapi3.MultiErrors()); err != nil {
				return nil, err
			}
		}
		return value, nil
	})
}

// events are the lines of a stream.
func events(t testing.TB, r reply) (list []RuleTrialEvent) {
	t.Helper()
	if r.status != http.StatusOK {
		t.Fatalf("status %d: %s", r.status, r.body)
	}
	for line := range bytes.Lines(r.body) {
		var e RuleTrialEvent
		if err := json.Unmarshal(line, &e); err != nil {
			t.Fatalf("%v: %s", err, line)
		}
		list = append(list, e)
	}
	return list
}

func result(t testing.TB, r reply) *kit.Trial {
	t.Helper()
	list := events(t, r)
	if first := list[0].Progress; first == nil || first.PairsDone != 0 {
		t.Errorf("the stream begins with %+v", list[0])
	}
	last := list[len(list)-1].Result
	if last == nil || last.Pairs != list[0].Progress.Pairs {
		t.Fatalf("the stream ends with %+v", list[len(list)-1])
	}
	return last
}

func encoded(t testing.TB, v any) string {
	t.Helper()
	text, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// Without a database changes come with the question.
func TestTrialOfGivenChanges(t *testing.T) {
	snap := fixture(t)
	c := newClient(t)
	covers := string(c.get("/v1/rules/shop-fender-cover", "Accept", "application/yaml").body)
	more := strings.Replace(covers, "quantity: 1", "quantity: 2", 1)
	got := result(t, c.post("/v1/rules/trial", encoded(t, map[string]any{"changes": []any{
		map[string]any{"id": "shop-fender-cover", "text": more}, map[string]any{"id": "shop-gasket-scraper"}}})))
	draft := &rules.Draft{Published: snap.Rules.Texts(), Changes: []rules.Change{{ID: "shop-fender-cover", After: more}, {ID: "shop-gasket-scraper"}}}
	after, err := draft.Check()
	if err != nil {
		t.Fatal(err)
	}
	want, err := kit.Try(t.Context(), snap, after, kit.TrialQuery{})
	if err != nil || want.Changed == 0 || !reflect.DeepEqual(got, want) {
		t.Errorf("got %+v\nwant %+v, %v", got, want, err)
	}
	some := result(t, c.post("/v1/rules/trial", encoded(t, map[string]any{"changes": []any{map[string]any{"id": "shop-fender-cover", "text": more}},
		"vehicle_ids": []string{"oxley-fen-1955", "oxley-fen-1955"}, "carburetor_skus": []string{"TN-600"}})))
	if some.Pairs != 1 || some.Changed != 1 || some.Groups[0].Examples[0].VehicleID != "oxley-fen-1955" {
		t.Errorf("%+v", some)
	}
	if none := result(t, c.post("/v1/rules/trial", "{}")); none.Changed != 0 || len(none.Groups) != 0 {
		t.Errorf("nothing changed, and %+v", none)
	}
}

func TestWrongTrialsAreExplained(t *testing.T) {
	c := newClient(t)
	change := func(members ...any) map[string]any {
		m := map[string]any{}
		for i := 0; i < len(members); i += 2 {
			m[members[i].(string)] = members[i+1]
		}
		return m
	}
	for _, wrong := range []struct {
		body any
		want string
	}{
		{change("changes", []any{change("id", "fuel-hoze")}), `/changes/0/id: no rule "fuel-hoze" is published`},
		{change("changes", []any{change("id", "fuel-hose"), change("id", "fuel-hose")}), "/changes/1/id: rule fuel-hose is changed already"},
		{change("changes", []any{change("id", "Fuel")}), "/changes/0/id: write two words or more"},
		{change("changes", []any{change("id", "road-test", "text", cautionRule("road-test", "{vehicle.yer}"))}), "rule road-test, line 4, column"},
		{change("vehicle_ids", []string{"oxley-fen-1956"}), `/vehicle_ids/0: no vehicle "oxley-fen-1956" in the catalogue; did you mean oxley-fen-1955?`},
		{change("carburetor_skus", []string{"TN-600", "TN-60"}), "/carburetor_skus/1: "},
		{change("vehicle_ids", []string{}), "/vehicle_ids: "},
		{change("vehicles", "all"), "/vehicles: "},
	} {
		p := problem(t, c.post("/v1/rules/trial", encoded(t, wrong.body)))
		if p.Status != http.StatusUnprocessableEntity || !strings.Contains(p.Detail, wrong.want) {
			t.Errorf("got  %s\nwant %s", p.Detail, wrong.want)
		}
	}
}

func TestTrialOfTheDraft(t *testing.T) {
	c, _ := onPostgres(t)
	if r := c.putRule("road-test", cautionRule("road-test", "Mind the gap."), "If-None-Match", "*"); r.status != http.StatusCreated {
		t.Fatalf("%s", r.body)
	}
	got := result(t, c.post("/v1/rules/trial", `{"carburetor_skus": ["QYC-2A95"]}`))
	if got.Changed == 0 || len(got.Groups) != 1 || got.Groups[0].Kind != kit.TrialCaution || got.Groups[0].Pairs != got.Changed || len(got.Groups[0].Examples) != 3 {
		t.Errorf("%+v", got)
	}
	if revisionNow(t, c) != 1 {
		t.Error("a trial published something")
	}
}

// everyKit is a trial that changes every kit.
const everyKit = `{"changes": [{"id": "fuel-filter"}, {"id": "fuel-clamps"}]}`

// A trial may take longer than the server gives other requests.
func TestALongTrialOutlivesTheServersTimeouts(t *testing.T) {
	snap := kittest.Demo(t)
	server := httptest.NewUnstartedServer(New(Config{Source: "demo", Snapshot: func() *kit.Snapshot { return snap }}))
	const short = 200 * time.Millisecond
	server.Config.ReadTimeout, server.Config.WriteTimeout = short, short
	server.Start()
	defer server.Close()
	r, err := http.NewRequestWithContext(t.Context(), http.MethodPost, server.URL+"/v1/rules/trial", strings.NewReader(everyKit))
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("Content-Type", "application/json")
	began := time.Now()
	answer, err := server.Client().Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	body, err := io.ReadAll(answer.Body)
	if err != nil {
		t.Fatal(err)
	}
	got := result(t, reply{answer.StatusCode, answer.Header, body})
	if got.Changed != got.Pairs {
		t.Errorf("%d of %d pairs change", got.Changed, got.Pairs)
	}
	if took := time.Since(began); took < 2*short {
		t.Errorf("took only %s, which tests nothing", took)
	}
}

// A caller that leaves ends the work.
func TestATrialEndsWithItsConnection(t *testing.T) {
	snap := kittest.Demo(t)
	logged := make(lines, 100)
	server := httptest.NewServer(New(Config{Source: "demo", Snapshot: func() *kit.Snapshot { return snap }, Log: slog.New(slog.NewTextHandler(logged, nil))}))
	defer server.Close()
	ctx, leave := context.WithCancel(t.Context())
	r, err := http.NewRequestWithContext(ctx, http.MethodPost, server.URL+"/v1/rules/trial", strings.NewReader(everyKit))
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("Content-Type", "application/json")
	answer, err := server.Client().Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	first, err := bufio.NewReader(answer.Body).ReadString('\n')
	if err != nil || !strings.HasPrefix(first, `{"progress":{"pairs":`) {
		t.Fatalf("%q, %v", first, err)
	}
	leave()
	for line := range logged {
		if strings.Contains(line, "answer not finished") {
			if !strings.Contains(line, "context canceled") {
				t.Error(line)
			}
			break
		}
		if strings.Contains(line, "msg=request ") {
			t.Fatalf("it went on to its end: %s", line)
		}
	}
}

// lines takes what a logger writes.
type lines chan string

func (l lines) Write(p []byte) (int, error) {
	l <- string(p)
	return len(p), nil
}
