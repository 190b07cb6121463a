package httpapi

import (
	"bytes"
	"io"
	"math"
	"reflect"
	"regexp"
	"slices"
	"sync"
	"unicode/utf8"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
)

// Nearly every body is right. accepts finds that out while it reads the body, without
// building the value that kin-openapi's check needs; only what it refuses is checked
// once more by schemaFaults, for the words. Both know the same contract, and a fuzz
// test holds them together.

// accepts reports whether body is one JSON value that the schema takes.
func accepts(schema *openapi3.Schema, body []byte) bool {
	known, ok := checks.Load(schema)
	if !ok {
		known, _ = checks.LoadOrStore(schema, compile(schema, nil))
	}
	r := readers.Get().(*reader)
	defer readers.Put(r)
	r.body = *bytes.NewBuffer(body) // which the decoder reads in place
	r.Reset(&r.body)
	if !known.(check)(r) {
		return false
	}
	_, err := r.ReadToken()
	return err == io.EOF //nolint:errorlint // jsontext returns it bare
}

// check reads the next value and reports whether its schema takes it.
type check func(*reader) bool

var checks sync.Map // check by *openapi3.Schema; as many as the contract has bodies

// reader refuses what is not JSON, duplicate names and broken UTF-8 among it.
type reader struct {
	body bytes.Buffer
	jsontext.Decoder
}

var readers = sync.Pool{New: func() any { return new(reader) }}

// compile makes the check of a schema. within are the schemas that it is part of.
func compile(s *openapi3.Schema, within []*openapi3.Schema) check {
	within = append(within, s)
	child := func(ref *openapi3.SchemaRef) check {
		if slices.Contains(within, ref.Value) {
			return inFull(ref.Value)
		}
		return compile(ref.Value, slices.Clip(within))
	}
	known := openapi3.Schema{Extensions: s.Extensions, Origin: s.Origin, Title: s.Title, Description: s.Description, Example: s.Example, Type: s.Type}
	switch {
	case s.Type.Is(openapi3.TypeObject):
		known.Properties, known.Required, known.AdditionalProperties = s.Properties, s.Required, openapi3.AdditionalProperties{Has: new(false)}
		unnamed := func(required string) bool { return s.Properties[required] == nil }
		if len(s.Properties) <= 64 && !slices.ContainsFunc(s.Required, unnamed) && reflect.DeepEqual(known, *s) {
			return objectCheck(s, child)
		}
	case s.Type.Is(openapi3.TypeArray):
		known.Items, known.MinItems, known.MaxItems = s.Items, s.MinItems, s.MaxItems
		if s.Items != nil && s.MaxItems != nil && reflect.DeepEqual(known, *s) {
			return arrayCheck(child(s.Items), s.MinItems, *s.MaxItems)
		}
	case s.Type.Is(openapi3.TypeString):
		known.Enum, known.MinLength, known.MaxLength, known.Pattern = s.Enum, s.MinLength, s.MaxLength, s.Pattern
		if formats[s.Format] != nil {
			known.Format = s.Format
		}
		if pattern, err := regexp.Compile(s.Pattern); err == nil && reflect.DeepEqual(known, *s) {
			return textCheck(s, pattern)
		}
	case s.Type.Is(openapi3.TypeNumber), s.Type.Is(openapi3.TypeInteger):
		known.Min, known.Max = s.Min, s.Max
		if s.Min != nil && s.Max != nil && reflect.DeepEqual(known, *s) {
			return numberCheck(*s.Min, *s.Max, s.Type.Is(openapi3.TypeInteger))
		}
	case s.Type.Is(openapi3.TypeBoolean):
		if reflect.DeepEqual(known, *s) {
			return booleanCheck
		}
	}
	return inFull(s)
}

// inFull leaves a value with keywords that are not known here to kin-openapi.
func inFull(s *openapi3.Schema) check {
	return func(r *reader) bool {
		raw, err := r.ReadValue()
		if err != nil {
			return false
		}
		var value any
		return json.Unmarshal(raw, &value) == nil && s.VisitJSON(value) == nil
	}
}

// objectCheck wants the properties of a schema, each at most once, and all that are required.
func objectCheck(s *openapi3.Schema, child func(*openapi3.SchemaRef) check) check {
	type property struct {
		bit   uint64
		check check
	}
	properties := make(map[string]property, len(s.Properties))
	var required uint64
	for name, ref := range s.Properties {
		p := property{1 << len(properties), child(ref)}
		properties[name] = p
		if slices.Contains(s.Required, name) {
			required |= p.bit
		}
	}
	return func(r *reader) bool {
		if token, err := r.ReadToken(); err != nil || token.Kind() != jsontext.KindBeginObject {
			return false
		}
		var seen uint64
		for r.PeekKind() == jsontext.KindString {
			name, err := r.ReadValue()
			if err != nil {
				return false
			}
			p, ok := properties[string(unquoted(name))]
			if !ok || !p.check(r) {
				return false
			}
			seen |= p.bit
		}
		_, err := r.ReadToken()
		return err == nil && seen&required == required
	}
}

func arrayCheck(item check, least, most uint64) check {
	return func(r *reader) bool {
		if token, err := r.ReadToken(); err != nil || token.Kind() != jsontext.KindBeginArray {
			return false
		}
		n := uint64(0)
		for ; r.PeekKind() != jsontext.KindEndArray; n++ {
			if n == most || !item(r) {
				return false
			}
		}
		_, err := r.ReadToken()
		return err == nil && n >= least
	}
}

// textCheck wants one of an enum, so many characters, or of a pattern or format.
func textCheck(s *openapi3.Schema, pattern *regexp.Regexp) check {
	words := map[string]bool{}
	for _, v := range s.Enum {
		if word, ok := v.(string); ok {
			words[word] = true
		}
	}
	least, most := int(s.MinLength), math.MaxInt
	if s.MaxLength != nil {
		most = int(*s.MaxLength)
	}
	format := formats[s.Format]
	return func(r *reader) bool {
		raw, err := r.ReadValue()
		if err != nil || raw.Kind() != jsontext.KindString {
			return false
		}
		value := unquoted(raw)
		if len(s.Enum) > 0 && !words[string(value)] {
			return false
		}
		n := utf8.RuneCount(value)
		return least <= n && n <= most && (s.Pattern == "" || pattern.Match(value)) && (format == nil || format(string(value)) == nil)
	}
}

// unquoted is a text without its quotes and escapes, which few have.
func unquoted(raw jsontext.Value) []byte {
	if bytes.IndexByte(raw, '\\') < 0 {
		return raw[1 : len(raw)-1]
	}
	text, _ := jsontext.AppendUnquote(nil, raw) // what was read is well formed
	return text
}

func numberCheck(least, most float64, whole bool) check {
	return func(r *reader) bool {
		token, err := r.ReadToken()
		if err != nil || token.Kind() != jsontext.KindNumber {
			return false
		}
		n, err := token.Float()
		return err == nil && least <= n && n <= most && (!whole || n == math.Trunc(n))
	}
}

func booleanCheck(r *reader) bool {
	token, err := r.ReadToken()
	return err == nil && (token.Kind() == jsontext.KindTrue || token.Kind() == jsontext.KindFalse)
}
