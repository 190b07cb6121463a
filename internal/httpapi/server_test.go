package httpapi

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"maps"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/getkin/kin-openapi/openapi3filter"
	"github.com/getkin/kin-openapi/routers"

	"onetrip/internal/kit"
	"onetrip/internal/store"
)

func init() {
	for _, mediaType := range []string{"text/html", "text/css", "text/javascript"} {
		openapi3filter.RegisterBodyDecoder(mediaType, openapi3filter.PlainBodyDecoder)
	}
}

// checkResponse holds a response against the contract: its status must be one of the
// operation's, headers and body must match the schemas.
func checkResponse(r *http.Request, status int, header http.Header, body []byte) error {
	method := r.Method
	if method == http.MethodHead {
		method = http.MethodGet
		if len(body) > 0 {
			return fmt.Errorf("HEAD got a body of %d bytes", len(body))
		}
	}
	plain := contract().Paths.Value(r.URL.Path) != nil // then no operation with a parameter is meant
	matches := func(op operation) bool {
		return op.method == method && (op.path == r.URL.Path || !plain && pathPattern(op.path).MatchString(r.URL.Path))
	}
	all := slices.Collect(maps.Values(operations()))
	slices.SortFunc(all, func(a, b operation) int { return strings.Count(a.path, "{") - strings.Count(b.path, "{") }) // as routes are found
	if at := slices.IndexFunc(all, matches); at >= 0 {
		op := all[at]
		input := &openapi3filter.ResponseValidationInput{
			RequestValidationInput: &openapi3filter.RequestValidationInput{Request: r,
				Route: &routers.Route{Spec: contract(), Path: op.path, Method: op.method, Operation: op.Operation}},
			Status: status, Header: header,
			Options: &openapi3filter.Options{IncludeResponseStatus: true, MultiError: true, ExcludeResponseBody: r.Method == http.MethodHead},
		}
		input.SetBodyBytes(body)
		return openapi3filter.ValidateResponse(r.Context(), input)
	}
	// No operation: the answer can only be a problem, or the list of methods.
	if r.Method == http.MethodOptions && status == http.StatusNoContent {
		return nil
	}
	if got := header.Get("Content-Type"); got != "application/problem+json" {
		return fmt.Errorf("status %d with Content-Type %q for a path or method outside the contract", status, got)
	}
	if r.Method == http.MethodHead {
		return nil
	}
	var value any
	if err := json.Unmarshal(body, &value); err != nil {
		return err
	}
	return schemaNamed("Problem").VisitJSON(value, openapi3.MultiErrors())
}

func pathPattern(path string) *regexp.Regexp {
	return regexp.MustCompile("^" + regexp.MustCompile(`\\\{\w+\\\}`).ReplaceAllString(regexp.QuoteMeta(path), "[^/]+") + "$")
}

// client asks the handler and fails the test on any response outside the contract.
type client struct {
	t       testing.TB
	handler http.Handler
}

type reply struct {
	status int
	header http.Header
	body   []byte
}

func newClient(t testing.TB) client {
	snap := fixture(t)
	return client{t, New(Config{Snapshot: func() *kit.Snapshot { return snap }, Source: "fixture", Kits: store.NewMemoryKits(), Exports: csvExports})}
}

func (c client) do(method, target, body string, headers ...string) reply {
	c.t.Helper()
	r := httptest.NewRequestWithContext(c.t.Context(), method, target, strings.NewReader(body))
	if body != "" {
		r.Header.Set("Content-Type", "application/json")
	}
	for i := 0; i < len(headers); i += 2 {
		if headers[i+1] == "" {
			r.Header.Del(headers[i])
			continue
		}
		r.Header.Set(headers[i], headers[i+1])
	}
	rec := httptest.NewRecorder()
	c.handler.ServeHTTP(rec, r)
	got := reply{rec.Code, rec.Header(), rec.Body.Bytes()}
	if err := checkResponse(r, got.status, got.header, got.body); err != nil {
		c.t.Errorf("%s %s: response %d is outside the contract: %v\n%s", method, target, got.status, err, got.body[:min(len(got.body), 2000)])
	}
	return got
}

func (c client) get(target string, headers ...string) reply {
	c.t.Helper()
	return c.do(http.MethodGet, target, "", headers...)
}

func (c client) post(target, body string, headers ...string) reply {
	c.t.Helper()
	return c.do(http.MethodPost, target, body, headers...)
}

// read decodes a 200.
func read[T any](t testing.TB, r reply) T {
	t.Helper()
	if r.status != http.StatusOK {
		t.Fatalf("status %d, want 200: %s", r.status, r.body)
	}
	var v T
	if err := json.Unmarshal(r.body, &v); err != nil {
		t.Fatal(err)
	}
	return v
}

func problem(t testing.TB, r reply) Problem {
	t.Helper()
	var p Problem
	if err := json.Unmarshal(r.body, &p); err != nil {
		t.Fatalf("status %d is no problem document: %v\n%s", r.status, err, r.body)
	}
	if p.Status != r.status {
		t.Errorf("problem says status %d, the response has %d", p.Status, r.status)
	}
	return p
}

// faults are a problem's errors as "where: detail".
func faultLines(p Problem) []string {
	var lines []string
	if p.Errors == nil {
		return nil
	}
	for _, f := range *p.Errors {
		where := ""
		if f.Pointer != nil {
			where = *f.Pointer
		} else if f.Parameter != nil {
			where = *f.Parameter
		}
		lines = append(lines, where+": "+f.Detail)
	}
	return lines
}

// The response check must be able to fail.
func TestResponseCheckFindsBadResponses(t *testing.T) {
	good := newClient(t).get("/v1/parts/FC-M")
	r := httptest.NewRequestWithContext(t.Context(), http.MethodGet, "/v1/parts/FC-M", nil)
	without := func(name string) http.Header {
		h := good.header.Clone()
		h.Del(name)
		return h
	}
	for name, bad := range map[string]reply{
		"undeclared status":  {http.StatusTeapot, good.header, good.body},
		"missing field":      {good.status, good.header, []byte(strings.Replace(string(good.body), `"finish":"plain",`, "", 1))},
		"undeclared field":   {good.status, good.header, []byte(strings.Replace(string(good.body), `{`, `{"colour":"red",`, 1))},
		"undeclared enum":    {good.status, good.header, []byte(strings.Replace(string(good.body), `"finish":"plain"`, `"finish":"dull"`, 1))},
		"not JSON":           {good.status, good.header, []byte("<html>")},
		"other content type": {good.status, http.Header{"Content-Type": {"text/html"}, "Etag": {`"x"`}, "X-Request-Id": {"1"}}, good.body},
		"missing ETag":       {good.status, without("ETag"), good.body},
		"missing request id": {good.status, without("X-Request-Id"), good.body},
		"thin problem":       {http.StatusNotFound, http.Header{"Content-Type": {"application/problem+json"}, "X-Request-Id": {"1"}}, []byte(`{"title": "no"}`)},
	} {
		if err := checkResponse(r, bad.status, bad.header, bad.body); err == nil {
			t.Errorf("%s: not found", name)
		}
	}
	if err := checkResponse(r, good.status, good.header, good.body); err != nil {
		t.Errorf("the good response: %v", err)
	}
}

func TestResolve(t *testing.T) {
	c := newClient(t)
	request := strings.Replace(validRequest, `"TN-600"`, `"TN-600", "preferences": {"levels": ["required", "recommended", "optional"]}`, 1)
	first := c.post("/v1/kits/resolve", request)
	k := read[kit.Kit](t, first)
	if k.CatalogueRevision != 7 || k.Carburetor.SKU != "TN-600" || k.Vehicle.Engine.DisplacementIn3 != 318 {
		t.Errorf("revision %d, carburetor %s", k.CatalogueRevision, k.Carburetor.SKU)
	}
	status := map[string]kit.Status{}
	for _, n := range k.Needs {
		status[n.ID] = n.Status
	}
	if status["shop.fender_cover"] != kit.Filled || status["air.gasket"] != kit.InTheBox || status["fuel.filter"] != kit.NotThere || k.Verdict != kit.Incomplete {
		t.Errorf("verdict %s, needs %v", k.Verdict, status)
	}
	if first.header.Get("Cache-Control") != "no-store" {
		t.Errorf("Cache-Control is %q", first.header.Get("Cache-Control"))
	}
	if again := c.post("/v1/kits/resolve", request); !bytes.Equal(first.body, again.body) {
		t.Error("the same request got other bytes")
	}
	byID := read[kit.Kit](t, c.post("/v1/kits/resolve", `{"vehicle_id": "oxley-fen-1955", "carburetor_sku": "TN-500"}`))
	if byID.Vehicle.Make != "Oxley" {
		t.Errorf("vehicle is %+v", byID.Vehicle)
	}
	declined := read[kit.Kit](t, c.post("/v1/kits/resolve", `{"vehicle_id": "oxley-fen-1955", "carburetor_sku": "TN-500",
		"on_hand": [{"need": "fuel.filter"}, {"sku": "CG-5125", "quantity": 2}],
		"preferences": {"objective": "stock", "finish": "bright", "location": "depot", "levels": ["required"], "declined": ["shop.fender_cover"], "currency": "USD", "show_all": true}}`))
	for _, n := range declined.Needs {
		if n.ID == "fuel.filter" && n.Status != kit.OnTheShelf {
			t.Errorf("fuel.filter is %s", n.Status)
		}
	}
}

func TestSizing(t *testing.T) {
	c := newClient(t)
	inline := read[kit.Sizing](t, c.post("/v1/sizing", `{"vehicle": `+validVehicle+`}`))
	byID := read[kit.Sizing](t, c.post("/v1/sizing", `{"vehicle_id": "brindle-moorland-1971"}`))
	if len(inline.Carburetors) != 3 || inline.Carburetors[0].SKU != "TN-500" || inline.AirDemandCFM != byID.AirDemandCFM {
		t.Errorf("%+v", inline)
	}
	engine := c.post("/v1/sizing", `{"vehicle": {"engine": {"displacement_in3": 318, "cylinders": 8, "tune": "stock"}}}`)
	if !bytes.Equal(engine.body, c.post("/v1/sizing", `{"vehicle": `+validVehicle+`}`).body) {
		t.Errorf("the engine alone gives %s", engine.body)
	}
	p := problem(t, c.post("/v1/sizing", `{"vehicle": {"engine": {"displacement_in3": 5.2, "cylinders": 8, "tune": "stock"}}}`))
	if lines := faultLines(p); p.Status != 422 || len(lines) != 1 || !strings.HasPrefix(lines[0], "/vehicle/engine/displacement_in3: 5.2 is outside 20 to 1200 in³; 5.2 looks like litres") {
		t.Errorf("%q", lines)
	}
	// Source: Q = D·N·VE/3456 with 318 in³, 5000 rpm and 0.80, worked by hand: 368.1.
	if inline.AirDemandCFM != 368.1 {
		t.Errorf("air demand %v, want 368.1", inline.AirDemandCFM)
	}
}

// Each wrong input gets one problem that says where, what was found and the way out.
func TestWrongInputIsExplained(t *testing.T) {
	c := newClient(t)
	edit := func(old, replacement string) string {
		if !strings.Contains(validRequest, old) {
			t.Fatalf("%q is not in the request", old)
		}
		return strings.Replace(validRequest, old, replacement, 1)
	}
	for _, tc := range []struct {
		name, body string
		status     int
		want       string // a line of errors in full, or the detail
	}{
		{"unknown enum", edit(`"square_bore"`, `"squarebore"`), 422,
			`/vehicle/intake/flange: "squarebore" is not accepted, did you mean square_bore?; accepted: square_bore, spread_bore, two_bore_large, two_bore_small`},
		{"enum of preferences", edit(`"TN-600"`, `"TN-600", "preferences": {"objective": "cheap"}`), 422,
			`/preferences/objective: "cheap" is not accepted; accepted: price, stock, fewest`},
		{"negative displacement", edit(`318`, `-318`), 422, `/vehicle/engine/displacement_in3: -318 is outside 20 to 1200 in³`},
		{"litres", edit(`318`, `5.7`), 422, `/vehicle/engine/displacement_in3: 5.7 is outside 20 to 1200 in³; 5.7 looks like litres; 5.7 L is 347.8 in³`},
		{"3/0 as a size", edit(`"5/16"`, `"3/0"`), 422,
			`/vehicle/fuel/line_od_in: size "3/0": divides by zero; write a fraction (5/16), a mixed number (1-1/16), a decimal (0.375) or a dash size (-6)`},
		{"size as a number", edit(`"5/16"`, `0.3125`), 422, `/vehicle/fuel/line_od_in: is 0.3125; give a text, for example "5/16"`},
		{"size that no family has", edit(`"5/16", "line_end": "plain_tube"`, `"7/16", "line_end": "inverted_flare"`), 422,
			`/vehicle/fuel/line_od_in: end inverted_flare 7/16: no such size; accepted: 3/16 (3/8-24), 1/4 (7/16-24), 5/16 (1/2-20), 3/8 (5/8-18), 1/2 (3/4-18)`},
		{"bad thread", edit(`"hood_clearance_in": 9.5`, `"hood_clearance_in": 9.5, "stud_thread": "M8"`), 422,
			`/vehicle/intake/stud_thread: thread "M8": has no threads per inch; write nominal size and threads per inch (5/8-18, 1/4-18 NPT)`},
		{"number as text", edit(`318`, `"318"`), 422, `/vehicle/engine/displacement_in3: is the text "318"; write the number without quotes: 318`},
		{"null", edit(`"tune": "stock"`, `"tune": null`), 422,
			`/vehicle/engine/tune: is null; leave the field out when it is unknown, or give one of stock, mild, strong, race`},
		{"missing field", edit(`"cylinders": 8, `, ``), 422, `/vehicle/engine/cylinders: is missing; give a whole number from 1 to 16, for example 8: number of cylinders`},
		{"missing object", edit(`"site": {"altitude_ft": 2500},`, ``), 422, `/vehicle/site: is missing; give an object in { }: where the vehicle is driven`},
		{"missing carburetor", `{"vehicle_id": "oxley-fen-1955"}`, 422, `/carburetor_sku: is missing; give a text, for example "QYC-2A23": SKU of the carburetor chosen`},
		{"missing vehicle", `{"carburetor_sku": "TN-600"}`, 422, `/vehicle: is missing; describe the vehicle here, or name one of the catalogue in vehicle_id`},
		{"vehicle twice", edit(`"carburetor_sku"`, `"vehicle_id": "oxley-fen-1955", "carburetor_sku"`), 422, `/vehicle_id: given together with vehicle; give one of the two`},
		{"unknown field", edit(`"displacement_in3": 318`, `"displacement_in3": 318, "cylinder": 8`), 422,
			`/vehicle/engine/cylinder: "cylinder" is not a field here, did you mean cylinders?; accepted: cylinders, displacement_in3, idle_vacuum_inhg, redline_rpm, tune, volumetric_efficiency`},
		{"field in another case", edit(`"cylinders"`, `"Cylinders"`), 422, `/vehicle/engine/cylinders: is missing; give a whole number from 1 to 16, for example 8: number of cylinders`},
		{"half a cylinder", edit(`"cylinders": 8`, `"cylinders": 7.5`), 422, `/vehicle/engine/cylinders: 7.5 is not a whole number; accepted: 1 to 16`},
		{"whole number with a point", edit(`"cylinders": 8`, `"cylinders": 8.0`), 422,
			`/vehicle/engine/cylinders: 8.0 is not written as a whole number; write it without point and exponent`},
		{"huge number", edit(`318`, `1e999`), 422, `/vehicle/engine/displacement_in3: 1e999 is too large a number`},
		{"not nominal", edit(`"nominal_volts": 12`, `"nominal_volts": 13.8`), 422,
			`/vehicle/electrical/nominal_volts: 13.8 V is not a nominal voltage; accepted: 6, 12 or 24; 13.8 looks like the voltage while charging: write 12`},
		{"contradiction", edit(`"automatic"`, `"manual"`), 422,
			`/vehicle/transmission/downshift: a manual transmission has no vacuum_modulator; write downshift none, or kind automatic`},
		{"unknown carburetor", edit(`TN-600`, `TN-60O`), 422, `/carburetor_sku: no carburetor "TN-60O" in the catalogue; did you mean TN-600, TN-500`},
		{"unknown vehicle", `{"vehicle_id": "oxley-fen-1956", "carburetor_sku": "TN-600"}`, 422, `/vehicle_id: no vehicle "oxley-fen-1956" in the catalogue; did you mean oxley-fen-1955?`},
		{"unknown part on hand", edit(`"TN-600"`, `"TN-600", "on_hand": [{"need": "air.gasket"}, {"sku": "FC-N", "quantity": 1}]`), 422,
			`/on_hand/1/sku: no part "FC-N" in the catalogue; did you mean FC-M?`},
		{"malformed need", edit(`"TN-600"`, `"TN-600", "on_hand": [{"need": "filter"}]`), 422, `/on_hand/0/need: "filter" is not accepted; write group.name, as in vacuum.caps`},
		{"malformed need declined", edit(`"TN-600"`, `"TN-600", "preferences": {"declined": ["nope"]}`), 422, `/preferences/declined/0: "nope" is not accepted; write group.name, as in shop.fender_cover`},
		{"no quantity on hand", edit(`"TN-600"`, `"TN-600", "on_hand": [{"sku": "FC-M"}]`), 422, `/on_hand/0/quantity: is missing; give how many pieces`},
		{"nothing on hand", edit(`"TN-600"`, `"TN-600", "on_hand": [{"sku": "FC-M", "quantity": 0}]`), 422, `/on_hand/0/quantity: 0 is outside 1 to 10000`},
		{"level twice", edit(`"TN-600"`, `"TN-600", "preferences": {"levels": ["required", "required"]}`), 422, `/preferences/levels: names something twice; name it once`},
		{"no levels", edit(`"TN-600"`, `"TN-600", "preferences": {"levels": []}`), 422, `/preferences/levels: has too few items; at least 1, or leave it out`},
		{"currency", edit(`"TN-600"`, `"TN-600", "preferences": {"currency": "usd"}`), 422, `/preferences/currency: "usd" is not accepted; write the three capital letters of ISO 4217, as in USD`},
		{"location", edit(`"TN-600"`, `"TN-600", "preferences": {"location": "depo"}`), 422, `/preferences/location: no location "depo" in the catalogue; did you mean depot?; accepted: main-street, depot`},
		{"location far off", edit(`"TN-600"`, `"TN-600", "preferences": {"location": "x"}`), 422, `/preferences/location: no location "x" in the catalogue; accepted: main-street, depot`},
		{"empty text", edit(`"TN-600"`, `""`), 422, `/carburetor_sku: is empty; give a text, for example "QYC-2A23"`},
		{"a list", `[]`, 422, `: is a list; give an object in { }`},
		{"awkward name", edit(`"carburetor_sku"`, `"a/b~c": 1, "carburetor_sku"`), 422,
			`/a~1b~0c: "a/b~c" is not a field here; accepted: carburetor_sku, on_hand, preferences, vehicle, vehicle_id`},

		{"duplicate name", edit(`"tune": "stock"`, `"tune": "stock", "tune": "race"`), 400,
			`/vehicle/engine/tune: "tune" is given twice in one object, again at line 2, column 71; keep one`},
		{"NaN", edit(`318`, `NaN`), 400, `line 2, column 33: found "NaN"; JSON has no NaN; leave the field out when the figure is unknown`},
		{"minus infinity", edit(`318`, `-Infinity`), 400, `line 2, column 33: found "-Infinity"; JSON has no Infinity; give a number`},
		{"None", edit(`"stock"`, `None`), 400, `line 2, column 62: found "None"; JSON writes null; better leave the field out`},
		{"True", edit(`"pcv": true`, `"pcv": True`), 400, `line 8, column 25: found "True"; JSON writes true`},
		{"single quotes", edit(`"stock"`, `'stock'`), 400, `line 2, column 62: found "'stock'"; JSON puts texts and names in double quotes`},
		{"comment", edit(`"tune"`, `/* as made */ "tune"`), 400, `line 2, column 54: found "/*"; JSON has no comments; take it out`},
		{"leading point", edit(`9.5`, `.5`), 400, `line 3, column 59: found ".5"; JSON writes a zero before the point: 0.5`},
		{"trailing comma", edit(`"tune": "stock"`, `"tune": "stock",`), 400, `line 2, column 69: there is a comma before '}'; take it out`},
		{"cut off", validRequest[:len(validRequest)-30], 400, `line 13, column 1: the body ends too early; something is cut off, or a bracket or quote is not closed`},
		{"two values", validRequest + `{}`, 400, `line 13, column 31: found '{' after the end of the body; send one object and nothing after it`},
		{"not UTF-8", edit(`TN-600`, "TN-\xff600"), 400, `line 13, column 26: found the byte 0xFF, which is not UTF-8; save or send the body as UTF-8`},
		{"nested", strings.Repeat("[", 20_000), 400, `line 1, column 10001: found '[' more than 10,000 deep; take off brackets`},
		{"half a character", edit(`TN-600`, `\ud800`), 400, `line 13, column 23: found \ud800, a half of a character; write both halves, or the character itself`},
		{"no escape", edit(`TN-600`, `\x`), 400, `line 13, column 23: found \x, which is no escape of JSON; write a backslash as \\`},
		{"tab in a text", edit(`TN-600`, "TN\t600"), 400, `line 13, column 25: found '\t' in a text, a control character; write a line break as \n, a tab as \t`},
		{"no comma", edit(`9.5`, `9.5 "x": 1`), 400, `line 3, column 63: found '"' after a value; write a comma before the next name, or } at the end`},
		{"no comma in a list", `[1 2]`, 400, `line 1, column 4: found '2' after a value; write a comma before the next one, or ] at the end`},
		{"no colon", `{"a" 1}`, 400, `line 1, column 6: found '1' after a name; write a colon between name and value`},
		{"no quotes", `{a: 1}`, 400, `line 1, column 2: found 'a' where a name or value begins; names and texts stand in double quotes`},
		{"half a word", edit(`"pcv": true`, `"pcv": tru`), 400, `line 8, column 25: found "tru"; JSON has true, false and null, and puts texts in double quotes`},
		{"half a number", edit(`9.5`, `9.`), 400, `line 3, column 61: found '}' in a number; write digits with a decimal point: 5.125`},
		{"HTML", `<html>`, 400, `line 1, column 1: found '<' where a name or value begins; names and texts stand in double quotes`},
		{"blank", " \n", 400, `the body is empty; send a JSON object with carburetor_sku`},
		{"UTF-16", "\xff\xfe{\x00}\x00", 400, `the body is UTF-16; save or send it as UTF-8`},
	} {
		t.Run(tc.name, func(t *testing.T) {
			c := client{t, c.handler}
			p := problem(t, c.post("/v1/kits/resolve", tc.body))
			if p.Status != tc.status {
				t.Errorf("status %d, want %d", p.Status, tc.status)
			}
			lines := faultLines(p)
			if len(lines) == 0 {
				lines = []string{p.Detail}
			}
			if !slices.ContainsFunc(lines, func(l string) bool { return strings.HasPrefix(l, tc.want) }) {
				t.Errorf("got\n\t%s\nwant\n\t%s", strings.Join(lines, "\n\t"), tc.want)
			}
			if tc.status == 422 && tc.name != "field in another case" && len(lines) != 1 {
				t.Errorf("one thing is wrong, but %d faults are told:\n\t%s", len(lines), strings.Join(lines, "\n\t"))
			}
			// The command line prints the same sentences.
			if _, err := DecodeResolve([]byte(tc.body)); err != nil {
				var own *Problem
				if !errors.As(err, &own) || !slices.Equal(faultLines(*own), faultLines(p)) || own.Detail != p.Detail {
					t.Errorf("DecodeResolve says %v", err)
				}
			}
		})
	}
}

// Several faults of schema and vehicle are told at once, each at its place.
func TestAllFaultsAreTold(t *testing.T) {
	body := strings.NewReplacer(`318`, `5.7`, `"5/16"`, `"3/0"`, `"square_bore"`, `"round"`, `"cylinders": 8, `, ``, `"year"`, `"yeer"`).Replace(validRequest)
	body = strings.Replace(body, `"altitude_ft": 2500`, `"altitude_ft": "high", "hight": 1`, 1)
	p := problem(t, newClient(t).post("/v1/kits/resolve", body))
	var pointers []string
	for _, f := range *p.Errors {
		pointers = append(pointers, *f.Pointer)
	}
	want := []string{"/vehicle/engine/cylinders", "/vehicle/engine/displacement_in3", "/vehicle/fuel/line_od_in",
		"/vehicle/intake/flange", "/vehicle/site/altitude_ft", "/vehicle/site/hight"}
	if !slices.Equal(pointers, want) {
		t.Errorf("pointers %v\nwant %v", pointers, want)
	}
	if !strings.HasPrefix(p.Detail, "/vehicle/engine/cylinders: is missing") || !strings.HasSuffix(p.Detail, "(and 5 more, see errors)") {
		t.Errorf("detail is %q", p.Detail)
	}
}

func TestFaultsWithoutEndAreCutAndSaySo(t *testing.T) {
	var names strings.Builder
	for i := range 5000 {
		fmt.Fprintf(&names, `"x%d": 1, `, i)
	}
	p := problem(t, newClient(t).post("/v1/kits/resolve", strings.Replace(validRequest, `"carburetor_sku"`, names.String()+`"carburetor_sku"`, 1)))
	if n := len(*p.Errors); n != maxFaults+1 {
		t.Errorf("%d faults", n)
	}
	if last := (*p.Errors)[maxFaults].Detail; last != "4800 further faults are not listed; mend these first" {
		t.Errorf("the last says %q", last)
	}
}

func TestRefusalsBeforeTheBody(t *testing.T) {
	c := newClient(t)
	resolve := "/v1/kits/resolve"
	for _, tc := range []struct {
		name   string
		reply  reply
		status int
		want   string
	}{
		{"content type", c.post(resolve, validRequest, "Content-Type", "application/x-www-form-urlencoded"), 415,
			`Content-Type is "application/x-www-form-urlencoded"; send Content-Type: application/json`},
		{"no content type", c.post(resolve, validRequest, "Content-Type", ""), 415, `Content-Type is missing; send Content-Type: application/json`},
		{"charset", c.post(resolve, validRequest, "Content-Type", "application/json; charset=latin1"), 415, `Content-Type says charset "latin1"; JSON is sent in UTF-8`},
		{"compressed", c.post(resolve, validRequest, "Content-Encoding", "gzip"), 415, `Content-Encoding is "gzip"; send the body uncompressed`},
		{"too large", c.post(resolve, `{"x": "`+strings.Repeat("x", 1<<20)+`"}`), 413, `the body is larger than 1048576 bytes, the most this service reads; which is far above what one question or article needs`},
		{"accept", c.post(resolve, validRequest, "Accept", "application/pdf, application/xml;q=0.9"), 406,
			`Accept is "application/pdf, application/xml;q=0.9", but this path answers with application/json or text/html or text/csv; send Accept: application/json`},
		{"accept excludes", c.get("/v1/carburetors", "Accept", "*/*, application/json;q=0"), 406,
			`Accept is "*/*, application/json;q=0", but this path answers with application/json; send Accept: application/json`},
		{"accept neither", c.get("/v1/parts", "Accept", "text/html"), 406, `Accept is "text/html", but this path answers with application/json or text/csv; send Accept: application/json`},
		{"page of CSV", c.get("/v1/parts?limit=5", "Accept", "text/csv"), 400,
			`limit: belongs to pages of JSON; the CSV holds all parts and takes no parameters: leave it out, or send Accept: application/json`},
		{"query on a POST", c.post(resolve+"?dry_run=true", validRequest), 400, `dry_run: is not a parameter of this path; this path takes no query parameters`},
		{"path", c.get("/v1/carburetor"), 404, `there is no path "/v1/carburetor", did you mean /v1/carburetors?; /openapi.yaml lists them all`},
		{"slash", c.get("/v1/parts/"), 404, `there is no path "/v1/parts/", did you mean /v1/parts?; /openapi.yaml lists them all`},
		{"beginning of all", c.get("/v1"), 404, `there is no path "/v1"; /openapi.yaml lists them all`},
		{"nothing near", c.get("/index.php"), 404, `there is no path "/index.php"; /openapi.yaml lists them all`},
		{"method", c.do(http.MethodDelete, "/v1/parts", ""), 405, `/v1/parts does not have DELETE; accepted: OPTIONS, GET, HEAD`},
		{"write", c.do(http.MethodDelete, "/v1/parts/FC-M", "", "If-Match", "*"), 501, `the catalogue comes from files and is not changed by this service; attach a Postgres: ` +
			`set DATABASE_URL, run the program's migrate and import DIR (such as db/seed), and serve with the same DATABASE_URL`},
		{"write stock", c.do(http.MethodPut, "/v1/stock/FC-M", `{"stock": []}`), 501, `the catalogue comes from files and is not changed by this service; attach a Postgres: ` +
			`set DATABASE_URL, run the program's migrate and import DIR (such as db/seed), and serve with the same DATABASE_URL`},
		{"stock", c.get("/v1/stock/FC-N"), 404, `no article "FC-N" in the catalogue; did you mean FC-M?`},
		{"get for post", c.get("/v1/sizing"), 405, `/v1/sizing does not have GET; accepted: OPTIONS, POST`},
		{"part", c.get("/v1/parts/FH-01"), 404, `no part "FH-01" in the catalogue; did you mean FH-001, FH-010, FH-011?`},
		{"carburetor", c.get("/v1/carburetors/TN-650"), 404, `no carburetor "TN-650" in the catalogue; did you mean TN-600, TN-750, TN-500?`},
		{"bundle", c.get("/v1/bundles/KB-SHOPS"), 404, `no bundle "KB-SHOPS" in the catalogue; did you mean KB-SHOP, KB-HOSE?`},
		{"vehicle", c.get("/v1/vehicles/brindle-heath-68"), 404, `no vehicle "brindle-heath-68" in the catalogue; did you mean brindle-heath-1968?`},
		{"parameter", c.get("/v1/parts?knd=fuel_hose"), 400,
			`knd: is not a parameter of this path, did you mean kind?; accepted: q, kind, attribute, finish, discontinued, limit, cursor`},
		{"limit 0", c.get("/v1/parts?limit=0"), 400, `limit: 0 is outside 1 to 200`},
		{"limit text", c.get("/v1/parts?limit=all"), 400, `limit: "all" is not a whole number; accepted: 1 to 200`},
		{"limit twice", c.get("/v1/parts?limit=1&limit=2"), 400, `limit: is given 2 times; give it once`},
		{"flow", c.get("/v1/carburetors?min_flow_cfm=NaN"), 400, `min_flow_cfm: "NaN" is not a number; accepted: 0 to 3000`},
		{"boolean", c.get("/v1/parts?discontinued=yes"), 400, `discontinued: "yes" is not true or false`},
		{"enum", c.get("/v1/carburetors?flange=square"), 400,
			`flange: "square" is not accepted, did you mean square_bore?; accepted: square_bore, spread_bore, two_bore_large, two_bore_small`},
		{"attribute without kind", c.get("/v1/parts?attribute=bore_in:3/8"), 400, `attribute: needs kind beside it, which decides what attributes there are; add kind=…`},
		{"attribute of another kind", c.get("/v1/parts?kind=fuel_hose&attribute=bor_in:3/8"), 400,
			`attribute: a fuel_hose has no attribute "bor_in", did you mean bore_in?; accepted: bore_in, class, max_pressure_psi, max_ethanol_percent`},
		{"attribute without value", c.get("/v1/parts?kind=fuel_hose&attribute=bore_in"), 400, `attribute: "bore_in" is not accepted; write name:value, as in bore_in:3/8`},
		{"odd cursor", c.get("/v1/parts?cursor=a!"), 400, `cursor: "a!" is not accepted; write next_cursor of the page before`},
		{"blank sizing", c.post("/v1/sizing", " "), 400, `the body is empty; send a JSON object such as {"vehicle_id":"halvorne-ferrymaster-1972"}`},
		{"attribute value", c.get("/v1/parts?kind=fuel_hose&attribute=bore_in:3/0"), 400,
			`attribute: bore_in: size "3/0": divides by zero; write a fraction (5/16), a mixed number (1-1/16), a decimal (0.375) or a dash size (-6)`},
		{"not UTF-8", c.get("/v1/parts?q=%ff"), 400, `q: "\xff" is not UTF-8; percent-encode the bytes of UTF-8`},
		{"percent", c.get("/v1/parts?q=%zz"), 400, `the query is not well formed: invalid URL escape "%zz"; percent-encode names and values`},
		{"cursor", c.get("/v1/parts?cursor=abc"), 400, `cursor: is not a cursor of this service; take next_cursor of the page before, or leave it out`},
	} {
		p := problem(t, tc.reply)
		lines := append(faultLines(p), p.Detail)
		if p.Status != tc.status || lines[0] != tc.want {
			t.Errorf("%s: status %d, want %d\n\tgot  %s\n\twant %s", tc.name, p.Status, tc.status, lines[0], tc.want)
		}
	}
	if allow := c.do(http.MethodDelete, "/v1/parts", "").header.Get("Allow"); allow != "OPTIONS, GET, HEAD" {
		t.Errorf("Allow is %q", allow)
	}
}

// A body without Content-Length is bounded too.
func TestStreamedBodyIsBounded(t *testing.T) {
	c := newClient(t)
	r := httptest.NewRequestWithContext(t.Context(), http.MethodPost, "/v1/kits/resolve", io.MultiReader(strings.NewReader(`{"x":"`), strings.NewReader(strings.Repeat("x", 2<<20))))
	r.Header.Set("Content-Type", "application/json")
	if r.ContentLength != -1 {
		t.Fatal("the body has a length")
	}
	rec := httptest.NewRecorder()
	c.handler.ServeHTTP(rec, r)
	if err := checkResponse(r, rec.Code, rec.Header(), rec.Body.Bytes()); err != nil || rec.Code != http.StatusRequestEntityTooLarge {
		t.Errorf("status %d: %v", rec.Code, err)
	}
}

type page struct {
	Items      []map[string]any `json:"items"`
	NextCursor string           `json:"next_cursor"`
}

// Paging shows every item once, in order, whatever the size of a page.
func TestPagesCoverAllItemsOnce(t *testing.T) {
	c := newClient(t)
	for _, tc := range []struct {
		path  string
		key   string
		total int
	}{
		{"/v1/parts", "sku", 123}, {"/v1/parts?kind=fuel_hose&attribute=bore_in:0.375", "sku", 40}, {"/v1/carburetors", "sku", 3},
		{"/v1/vehicles", "id", 3}, {"/v1/bundles", "sku", 2}, {"/v1/parts?q=nothing+such", "sku", 0},
	} {
		for _, limit := range []string{"1", "7", "40", "200", ""} {
			target, _ := url.Parse(tc.path)
			query := target.Query()
			if limit != "" {
				query.Set("limit", limit)
			}
			target.RawQuery = query.Encode()
			var seen []string
			for next := target.String(); next != ""; {
				r := c.get(next)
				p := read[page](t, r)
				for _, item := range p.Items {
					seen = append(seen, item[tc.key].(string))
				}
				next = ""
				if link := r.header.Get("Link"); link != "" {
					if !strings.HasSuffix(link, `>; rel="next"`) {
						t.Fatalf("Link is %s", link)
					}
					next = strings.TrimSuffix(strings.TrimPrefix(link, "<"), `>; rel="next"`)
					if u, err := url.Parse(next); err != nil || u.Query().Get("cursor") != p.NextCursor || u.Query().Get("limit") != limit {
						t.Fatalf("Link %s does not carry cursor %s and limit %s", next, p.NextCursor, limit)
					}
				} else if p.NextCursor != "" {
					t.Fatal("next_cursor without Link")
				}
			}
			if len(seen) != tc.total || !slices.IsSorted(seen) || len(slices.Compact(slices.Clone(seen))) != tc.total {
				t.Errorf("%s limit %s: %d items %v", tc.path, limit, len(seen), seen)
			}
		}
	}
}

func TestCursorBelongsToItsQuestion(t *testing.T) {
	c := newClient(t)
	cursor := read[page](t, c.get("/v1/parts?kind=fuel_hose&limit=5")).NextCursor
	for target, ok := range map[string]bool{
		"/v1/parts?limit=9&kind=fuel_hose&cursor=" + cursor: true, // order of parameters and page size do not matter
		"/v1/parts?cursor=" + cursor:                        false,
		"/v1/parts?kind=fuel_hose&q=hose&cursor=" + cursor:  false,
		"/v1/bundles?cursor=" + cursor:                      false,
	} {
		r := c.get(target)
		if ok != (r.status == http.StatusOK) {
			t.Errorf("%s: status %d", target, r.status)
		}
		if !ok && problem(t, r).Type != ProblemTypeBadCursor {
			t.Errorf("%s: %s", target, r.body)
		}
	}
}

func TestFilters(t *testing.T) {
	c := newClient(t)
	for target, want := range map[string][]string{
		"/v1/vehicles?make=BRINDLE":                                                  {"brindle-heath-1968", "brindle-moorland-1971"},
		"/v1/vehicles?make=brindle&year=1968":                                        {"brindle-heath-1968"},
		"/v1/vehicles?model=fen":                                                     {"oxley-fen-1955"},
		"/v1/vehicles?flange=two_bore_small":                                         {"oxley-fen-1955"},
		"/v1/vehicles?q=moor+BRIN":                                                   {"brindle-moorland-1971"},
		"/v1/carburetors?min_flow_cfm=600&barrels=4":                                 {"TN-600", "TN-750"},
		"/v1/carburetors?max_flow_cfm=599.5&series=tarn+4":                           {"TN-500"},
		"/v1/carburetors?choke_kind=manual":                                          nil,
		"/v1/carburetors?flange=square_bore&choke_kind=electric&q=750":               {"TN-750"},
		"/v1/parts?kind=fender_cover":                                                {"FC-M"},
		"/v1/parts?finish=bright":                                                    nil,
		"/v1/parts?discontinued=true":                                                nil,
		"/v1/parts?q=gasket":                                                         {"CG-5125"},
		"/v1/parts?kind=metering_set&attribute=series:Tarn+4":                        {"JT-4"},
		"/v1/parts?kind=metering_set&attribute=jets_in:0.092+0.095+0.098":            {"JT-4"},
		"/v1/parts?kind=metering_set&attribute=rods_in:0.05":                         nil,
		"/v1/parts?kind=fuel_hose&attribute=bore_in:6/16&q=FH-00":                    {"FH-002", "FH-005", "FH-008"},
		"/v1/parts?kind=fuel_hose&attribute=bore_in:-4&attribute=class:30R9&q=FH-00": {"FH-000", "FH-003", "FH-006", "FH-009"},
		"/v1/bundles?contains=FH-001":                                                {"KB-HOSE"},
		"/v1/bundles?discontinued=false&finish=plain&q=shop":                         {"KB-SHOP"},
	} {
		var got []string
		for _, item := range read[page](t, c.get(target)).Items {
			key, ok := item["sku"].(string)
			if !ok {
				key = item["id"].(string)
			}
			got = append(got, key)
		}
		if !slices.Equal(got, want) {
			t.Errorf("%s: %v, want %v", target, got, want)
		}
	}
}

func TestStockIsShownWithGoods(t *testing.T) {
	c := newClient(t)
	want := []any{map[string]any{"location": "main-street", "on_hand": 0.0}, map[string]any{"location": "depot", "on_hand": 121.0}}
	one := read[map[string]any](t, c.get("/v1/parts/FC-M"))
	listed := read[page](t, c.get("/v1/parts?kind=fender_cover")).Items[0]
	for _, got := range []any{one["stock"], listed["stock"]} {
		if fmt.Sprint(got) != fmt.Sprint(want) {
			t.Errorf("stock %v, want %v", got, want)
		}
	}
	for _, target := range []string{"/v1/carburetors/TN-500", "/v1/bundles/KB-SHOP"} {
		if stock, ok := read[map[string]any](t, c.get(target))["stock"].([]any); !ok || len(stock) != 2 {
			t.Errorf("%s: stock %v", target, stock)
		}
	}
	if name := read[map[string]any](t, c.get("/v1/parts/JT-4"))["name"]; name != "Jet & rod set" {
		t.Errorf("name %v", name)
	}
	locations := read[page](t, c.get("/v1/locations"))
	if len(locations.Items) != 2 || locations.Items[0]["id"] != "main-street" {
		t.Errorf("locations %v", locations)
	}
}

func TestEntityTags(t *testing.T) {
	c := newClient(t)
	for _, target := range []string{"/v1/parts/FC-M", "/v1/parts?limit=3", "/v1/vehicles/oxley-fen-1955", "/v1/carburetors", "/v1/bundles/KB-SHOP", "/v1/stock/TN-500", "/v1/stock", "/v1/locations", "/openapi.yaml"} {
		first := c.get(target)
		tag := first.header.Get("ETag")
		if !regexp.MustCompile(`^"([0-9a-f]{32}|[A-Za-z0-9_-]{16}(\.[A-Za-z0-9_-]{16})?)"$`).MatchString(tag) || first.header.Get("Cache-Control") != "private, no-cache" {
			t.Errorf("%s: ETag %s, Cache-Control %s", target, tag, first.header.Get("Cache-Control"))
		}
		for header, status := range map[string]int{tag: 304, "W/" + tag: 304, `"other", ` + tag: 304, "*": 304, `"other"`: 200, "": 200} {
			again := c.get(target, "If-None-Match", header)
			if again.status != status || again.header.Get("ETag") != tag || (status == 304) != (len(again.body) == 0) {
				t.Errorf("%s If-None-Match %s: status %d, ETag %s, %d bytes", target, header, again.status, again.header.Get("ETag"), len(again.body))
			}
		}
		head := c.do(http.MethodHead, target, "")
		if head.status != 200 || head.header.Get("ETag") != tag || target != "/v1/stock" && head.header.Get("Content-Length") != fmt.Sprint(len(first.body)) {
			t.Errorf("HEAD %s: %d %v", target, head.status, head.header)
		}
	}
	if a, b := c.get("/v1/parts/FC-M").header.Get("ETag"), c.get("/v1/parts/CG-5125").header.Get("ETag"); a == b {
		t.Error("two parts have one tag")
	}
}

func TestHeadOfAProblemHasNoBody(t *testing.T) {
	if r := newClient(t).do(http.MethodHead, "/v1/parts/none", ""); r.status != http.StatusNotFound || len(r.body) != 0 {
		t.Errorf("status %d, %d bytes", r.status, len(r.body))
	}
}

func TestServicePaths(t *testing.T) {
	c := newClient(t)
	if got := c.get("/openapi.yaml"); !bytes.Equal(got.body, contractYAML) || got.header.Get("Content-Type") != "application/yaml" {
		t.Errorf("the contract is served as %s with %d bytes", got.header.Get("Content-Type"), len(got.body))
	}
	if got := read[Liveness](t, c.get("/livez")); got.Status != Alive {
		t.Errorf("%+v", got)
	}
	want := Readiness{Status: Ready, CatalogueRevision: 7, Source: "fixture", Counts: Counts{Vehicles: 3, Carburetors: 3, Parts: 123, Bundles: 2, Locations: 2}}
	if got := read[Readiness](t, c.get("/readyz")); got != want {
		t.Errorf("%+v", got)
	}
}

func TestWithoutACatalogue(t *testing.T) {
	c := client{t, New(Config{Snapshot: func() *kit.Snapshot { return nil }, Source: "none"})}
	if r := c.get("/livez"); r.status != http.StatusOK {
		t.Errorf("livez: %d", r.status)
	}
	for _, r := range []reply{c.get("/readyz"), c.get("/v1/parts"), c.get("/v1/parts/x"), c.get("/v1/vehicles"), c.get("/v1/vehicles/x"), c.get("/v1/carburetors"),
		c.get("/v1/carburetors/x"), c.get("/v1/bundles"), c.get("/v1/bundles/x"), c.get("/v1/locations"),
		c.post("/v1/kits/resolve", validRequest), c.post("/v1/sizing", "{}")} {
		if p := problem(t, r); p.Type != ProblemTypeNotReady || r.header.Get("Retry-After") != "2" {
			t.Errorf("%+v", p)
		}
	}
}

func TestRequestIDsAndLog(t *testing.T) {
	snap := fixture(t)
	var log bytes.Buffer
	c := client{t, New(Config{Snapshot: func() *kit.Snapshot { return snap }, Source: "fixture", Log: slog.New(slog.NewJSONHandler(&log, nil))})}
	if got := c.get("/livez", "X-Request-Id", "till-7.42_a").header.Get("X-Request-Id"); got != "till-7.42_a" {
		t.Errorf("id %q", got)
	}
	for _, bad := range []string{"two words", strings.Repeat("x", 65), "é", ""} {
		if got := c.get("/livez", "X-Request-Id", bad).header.Get("X-Request-Id"); got == bad || len(got) != 26 {
			t.Errorf("id %q for %q", got, bad)
		}
	}
	log.Reset()
	r := c.get("/v1/parts/none", "X-Request-Id", "find-me")
	if p := problem(t, r); p.RequestID == nil || *p.RequestID != "find-me" || p.Instance != "/v1/parts/none" {
		t.Errorf("%+v", p)
	}
	var line map[string]any
	if err := json.Unmarshal(log.Bytes(), &line); err != nil {
		t.Fatal(err)
	}
	if took, ok := line["took_us"].(float64); !ok || took < 0 {
		t.Errorf("took_us is %v", line["took_us"])
	}
	if line["request_id"] != "find-me" || line["status"] != 404.0 || line["path"] != "/v1/parts/none" || line["method"] != "GET" || line["bytes"] != float64(len(r.body)) {
		t.Errorf("%v", line)
	}
}

// A panic becomes a problem; its cause is in the log and not in the answer.
func TestPanicIsAnswered(t *testing.T) {
	var log bytes.Buffer
	c := client{t, New(Config{Snapshot: func() *kit.Snapshot { panic("the shelf fell down") }, Source: "x", Log: slog.New(slog.NewJSONHandler(&log, nil))})}
	r := c.get("/v1/parts")
	if p := problem(t, r); p.Type != ProblemTypeFailed || strings.Contains(string(r.body), "shelf") {
		t.Errorf("%s", r.body)
	}
	if !strings.Contains(log.String(), "the shelf fell down") || !strings.Contains(log.String(), "goroutine") {
		t.Errorf("the log lacks the cause: %s", log.String())
	}
	if r := c.get("/livez"); r.status != http.StatusOK {
		t.Errorf("then livez: %d", r.status)
	}
}

// A caller that leaves is no failure of the service.
func TestCallerThatLeaves(t *testing.T) {
	var log bytes.Buffer
	ctx, leave := context.WithCancel(t.Context())
	handler := New(Config{Snapshot: func() *kit.Snapshot { leave(); panic("unreachable shelf") }, Source: "x", Log: slog.New(slog.NewJSONHandler(&log, nil))})
	rec := httptest.NewRecorder()
	handler.ServeHTTP(rec, httptest.NewRequestWithContext(ctx, http.MethodGet, "/v1/parts", nil))
	if rec.Body.Len() != 0 || !strings.Contains(log.String(), "answer not finished") {
		t.Errorf("%d bytes; log %s", rec.Body.Len(), log.String())
	}
}

// No body makes the service fail or answer outside the contract.
func FuzzPost(f *testing.F) {
	for _, seed := range []string{validRequest, `{"vehicle_id": "oxley-fen-1955", "carburetor_sku": "TN-600"}`, `{"vehicle": ` + validVehicle + `}`,
		`{}`, `[`, `null`, `{"a": NaN}`, `{"vehicle": {"engine": {"cylinders": 8.0}}}`, "\ufeff{}", `{"on_hand": [{"need": "a.b"}, 1, null]}`,
		`{"vehicle": null, "preferences": {"levels": [null]}}`, `{"a": 1e999}`, `{"~/": {"": 1}}`, strings.Repeat("[", 20000)} {
		f.Add(seed)
	}
	c := newClient(f)
	f.Fuzz(func(t *testing.T, body string) {
		if body == "" {
			return // sent without Content-Type by the client above, which is another test
		}
		for _, target := range []string{"/v1/kits/resolve", "/v1/sizing"} {
			if r := (client{t, c.handler}).post(target, body); r.status >= 500 {
				t.Errorf("%s: status %d: %s", target, r.status, r.body)
			}
		}
	})
}

// No body of a write fails to be read other than with what is wrong where.
func FuzzDecodeThings(f *testing.F) {
	c := newClient(f)
	for _, target := range []string{"/v1/parts/FC-M", "/v1/parts/FH-001", "/v1/carburetors/TN-500", "/v1/bundles/KB-SHOP", "/v1/vehicles/oxley-fen-1955", "/v1/stock/FC-M"} {
		f.Add(string(c.get(target).body))
	}
	f.Add(`{"kind": "fuel_hose", "attributes": {"bore_in": 3, "class": []}, "ends": [null, {}]}`)
	f.Fuzz(func(t *testing.T, body string) {
		var errs []error
		collect := func(_ any, err error) { errs = append(errs, err) }
		text := []byte(body)
		collect(decodePart(text))
		collect(decodeCarburetor(text))
		collect(decodeBundle(text))
		collect(decodeVehicle(text))
		collect(decodeStock(text))
		for _, err := range errs {
			var p *Problem
			if err != nil && (!errors.As(err, &p) || p.Status != 400 && p.Status != 422) {
				t.Errorf("%v", err)
			}
		}
	})
}

// No query makes the service fail or answer outside the contract.
func FuzzQuery(f *testing.F) {
	for _, seed := range []string{"limit=5", "q=a&q=b", "cursor=e30", "kind=fuel_hose&attribute=bore_in:3/8", "attribute=:", "%", "a;b", "year=99999999999999999999", "limit=1.5&flange="} {
		f.Add(seed)
	}
	c := newClient(f)
	f.Fuzz(func(t *testing.T, query string) {
		for _, path := range []string{"/v1/parts", "/v1/carburetors", "/v1/vehicles", "/v1/bundles"} {
			r := httptest.NewRequestWithContext(t.Context(), http.MethodGet, path, nil)
			r.URL.RawQuery = query
			rec := httptest.NewRecorder()
			c.handler.ServeHTTP(rec, r)
			if err := checkResponse(r, rec.Code, rec.Header(), rec.Body.Bytes()); err != nil || rec.Code >= 500 {
				t.Errorf("%s?%s: status %d: %v", path, query, rec.Code, err)
			}
		}
	})
}
