package httpapi

import (
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/go-json-experiment/json"
	"pgregory.net/rapid"
)

// bodySchemas are those of every JSON body that an operation reads.
func bodySchemas() map[string]*openapi3.Schema {
	all := map[string]*openapi3.Schema{}
	for id, op := range operations() {
		if op.RequestBody != nil {
			if content := op.RequestBody.Value.Content["application/json"]; content != nil {
				all[id] = content.Schema.Value
			}
		}
	}
	return all
}

// takenInFull is what accepts has to find, the long way.
func takenInFull(schema *openapi3.Schema, body []byte) bool {
	var value any
	return json.Unmarshal(body, &value) == nil && schema.VisitJSON(value, openapi3.MultiErrors()) == nil
}

type failer interface {
	Helper()
	Errorf(format string, args ...any)
}

// agree compares both ways of checking a body and returns what they say.
func agree(t failer, name string, schema *openapi3.Schema, body string) bool {
	t.Helper()
	got, want := accepts(schema, []byte(body)), takenInFull(schema, []byte(body))
	if got != want {
		t.Errorf("%s: accepted %v, kin-openapi %v: %s", name, got, want, body)
	}
	return got
}

// Bodies made after the contract, right and wrong in every place, are accepted and
// refused as by kin-openapi.
func TestBodiesAreAcceptedAsByKinOpenAPI(t *testing.T) {
	schemas := bodySchemas()
	if len(schemas) < 5 {
		t.Fatalf("only %d operations read a body", len(schemas))
	}
	said := map[bool]int{} // over all schemas: short runs draw few bodies of each
	for name, schema := range schemas {
		rapid.Check(t, func(t *rapid.T) {
			body := rapid.Custom(func(t *rapid.T) string {
				return drawBody(t, schema, rapid.SampledFrom([]int{0, 0, 20, 100}).Draw(t, "oddness"))
			}).Draw(t, "body")
			said[agree(t, name, schema, body)]++
		})
	}
	if least := len(schemas); said[true] < least || said[false] < least {
		t.Errorf("%d accepted and %d refused say little", said[true], said[false])
	}
}

// drawBody writes a value of a schema, in which about one value in oddness is something
// else; none when oddness is 0.
func drawBody(t *rapid.T, s *openapi3.Schema, oddness int) string {
	odd := func() bool { return oddness > 0 && rapid.IntRange(1, oddness).Draw(t, "odd") == 1 }
	if odd() {
		return rapid.SampledFrom([]string{"null", "true", "{}", "[]", "[null]", `{"a":1}`, `""`, `"x"`, `"\u0041"`, `"5/16"`, `"é"`, "\"\xff\"", `"` + strings.Repeat("é", 201) + `"`,
			"0", "-1", "-0", "8.0", "8.5", "1e1", "1e999", "-1e999", "01", "NaN", "9007199254740993", strings.Repeat("[", 50), "", "1,", "'x'"}).Draw(t, "other")
	}
	switch {
	case len(s.OneOf) > 0:
		return drawBody(t, rapid.SampledFrom(s.OneOf).Draw(t, "one of").Value, oddness)
	case len(s.Enum) > 0:
		word := rapid.SampledFrom(s.Enum).Draw(t, "word")
		if text, ok := word.(string); ok {
			return drawText(t, text)
		}
		return show(word)
	case s.Type.Is(openapi3.TypeObject):
		var members []string
		for _, name := range slices.Sorted(maps.Keys(s.Properties)) {
			if !odd() && (slices.Contains(s.Required, name) || rapid.Bool().Draw(t, name)) {
				members = append(members, drawText(t, name)+": "+drawBody(t, s.Properties[name].Value, oddness))
			}
		}
		if further := s.AdditionalProperties.Schema; further != nil || odd() {
			name, value := rapid.StringMatching("[a-z_]{1,5}").Draw(t, "name"), "1"
			if further != nil {
				value = drawBody(t, further.Value, oddness)
			}
			members = append(members, drawText(t, name)+":"+value)
		}
		if len(members) > 0 && odd() {
			members = append(members, members[0])
		}
		return "{" + strings.Join(members, ", ") + "}"
	case s.Type.Is(openapi3.TypeArray):
		items := make([]string, rapid.IntRange(0, 3).Draw(t, "items"))
		for i := range items {
			items[i] = drawBody(t, s.Items.Value, oddness)
		}
		return "[" + strings.Join(items, ",") + "]"
	case s.Type.Is(openapi3.TypeBoolean):
		return strconv.FormatBool(rapid.Bool().Draw(t, "flag"))
	case s.Type.Is(openapi3.TypeNumber):
		return strconv.FormatFloat(rapid.Float64Range(*s.Min, *s.Max).Draw(t, "number"), 'g', -1, 64)
	case s.Type.Is(openapi3.TypeInteger):
		return strconv.FormatInt(rapid.Int64Range(int64(*s.Min), int64(*s.Max)).Draw(t, "whole"), 10)
	case s.Pattern != "":
		return drawText(t, rapid.StringMatching(s.Pattern).Draw(t, "text"))
	case s.Format != "":
		return drawText(t, rapid.SampledFrom([]string{"3/8", "-6", "1-1/16", "5/16-18", "0.375"}).Draw(t, s.Format))
	}
	return drawText(t, rapid.StringN(int(s.MinLength), int(*s.MaxLength), -1).Draw(t, "text"))
}

// drawText writes a text, at times with an escape that it does not need.
func drawText(t *rapid.T, text string) string {
	quoted, err := json.Marshal(text)
	if err != nil {
		t.Fatal(err)
	}
	if c := text[:min(1, len(text))]; c >= "a" && c <= "z" && rapid.IntRange(0, 20).Draw(t, "escape") == 20 {
		return `"\u00` + strconv.FormatInt(int64(c[0]), 16) + string(quoted[2:])
	}
	return string(quoted)
}

// Keywords of schemas, those that the contract does not use among them.
func TestEveryKeywordIsHeeded(t *testing.T) {
	contract() // makes the formats known
	accepted := 0
	values := []string{"null", "true", "0", "1", "2.5", "3", "100", "1e400", `""`, `"a"`, `"ab"`, `"abcd"`, `"\u0061"`, `"3/8"`, `"2026-11-25"`, "[]", "[1]", "[1,1]", `["a","a"]`, "[1,2,3]", "{}",
		`{"a":1}`, `{"a":1,"b":2}`, `{"\u0061":1}`, `{"a":1,"a":1}`, `{"a":"x"}`, `{"a":{"a":{"a":{}}}}`, `{"b":2}`, `{"a":1}x`, `{"a":1} {}`, ""}
	for _, text := range []string{`{}`, `{"type":"string"}`, `{"type":"string","nullable":true}`, `{"type":"string","minLength":2,"maxLength":3}`, `{"type":"string","pattern":"^a"}`,
		`{"type":"string","format":"inch-size"}`, `{"type":"string","format":"date"}`, `{"type":"string","enum":["a","ab"]}`, `{"enum":[1,"a",null]}`, `{"type":"number"}`, `{"type":"number","minimum":1,"maximum":3}`,
		`{"type":"number","minimum":1,"exclusiveMinimum":true}`, `{"type":"number","multipleOf":2}`, `{"type":"number","minimum":1,"maximum":100,"enum":[1,3]}`, `{"type":"integer"}`, `{"type":"integer","minimum":0,"maximum":3}`,
		`{"type":"integer","format":"int32","minimum":0,"maximum":3}`, `{"type":"boolean"}`, `{"type":"boolean","enum":[false]}`, `{"type":"array","items":{}}`, `{"type":"array","items":{"type":"integer"},"minItems":1,"maxItems":2}`,
		`{"type":"array","items":{},"uniqueItems":true}`, `{"type":"object"}`, `{"type":"object","properties":{"a":{}}}`, `{"type":"object","properties":{"a":{"type":"integer","minimum":0,"maximum":3}},"additionalProperties":false}`,
		`{"type":"object","properties":{"a":{},"b":{}},"required":["b"],"additionalProperties":false}`, `{"type":"object","required":["z"],"additionalProperties":false}`, `{"type":"object","additionalProperties":{"type":"integer"}}`,
		`{"type":"object","properties":{"a":{}},"maxProperties":1,"additionalProperties":false}`, `{"type":"object","minProperties":1}`, `{"oneOf":[{"type":"string"},{"type":"number"},{"type":"integer"}]}`,
		`{"anyOf":[{"type":"string"},{"type":"object"}]}`, `{"allOf":[{"type":"object"},{"required":["b"]}]}`, `{"not":{"type":"string"}}`, `{"type":"string","not":{"enum":["a"]}}`} {
		var schema openapi3.Schema
		if err := schema.UnmarshalJSON([]byte(text)); err != nil {
			t.Fatal(err)
		}
		for _, value := range values {
			if agree(t, text, &schema, value) {
				accepted++
			}
		}
	}
	within := &openapi3.Schema{Type: &openapi3.Types{openapi3.TypeObject}, Properties: openapi3.Schemas{}, AdditionalProperties: openapi3.AdditionalProperties{Has: new(false)}}
	within.Properties["a"] = &openapi3.SchemaRef{Value: within}
	for _, value := range values {
		if agree(t, "a schema within itself", within, value) {
			accepted++
		}
	}
	if accepted < 100 {
		t.Errorf("only %d accepted", accepted)
	}
}

// FuzzAccepts holds the quick check and kin-openapi's together on every body schema.
func FuzzAccepts(f *testing.F) {
	for _, name := range exampleRequests(f) {
		text, err := os.ReadFile(name)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(string(text))
	}
	for _, seed := range []string{`{}`, `[`, `null`, `{"vehicle_id": "a", "carburetor_sku": "b"}`, `{"carburetor_sku": "b", "carburetor_sku": "b"}`, `{"carburetor_\u0073ku": "b"}`,
		`{"carburetor_sku": "b", "preferences": {"levels": ["required", "required"], "currency": "usd"}}`, `{"stock": [{"location": "a", "on_hand": 1e0}]}`, "{\"carburetor_sku\": \"\xff\"}"} {
		f.Add(seed)
	}
	schemas := bodySchemas()
	f.Fuzz(func(t *testing.T, body string) {
		for name, schema := range schemas {
			agree(t, name, schema, body)
		}
	})
}

func exampleRequests(t testing.TB) []string {
	names, err := filepath.Glob("../../testdata/requests/*.json")
	if err != nil || len(names) == 0 {
		t.Fatalf("no example requests: %v", err)
	}
	return names
}
