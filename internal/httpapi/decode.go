package httpapi

import (
	"bytes"
	stdjson "encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"sync"
	"unicode/utf8"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
	"github.com/labstack/echo/v4"

	"onetrip/internal/catalog"
	"onetrip/internal/kit"
)

// The body is read by the next encoding/json (github.com/go-json-experiment/json,
// the standard library's from Go 1.27): it refuses duplicate names, broken UTF-8 and
// names in the wrong case, and says where.

// DecodeResolve reads a request for a kit as POST /v1/kits/resolve does. The error
// is a *Problem; each of its Errors is one sentence with a pointer into body. What
// needs the catalogue to tell is left to kit.Resolve.
func DecodeResolve(body []byte) (*kit.Request, error) {
	return decode(body, schemaNamed("KitRequest"), func(r *kit.Request) []catalog.Violation { return validateVehicle(r.Vehicle) })
}

// DecodeSizing reads a request for sizing as POST /v1/sizing does.
func DecodeSizing(body []byte) (*SizingRequest, error) {
	return decode(body, schemaNamed("SizingRequest"), func(r *SizingRequest) []catalog.Violation {
		if r.Vehicle == nil {
			return nil
		}
		return catalog.Under("/vehicle/engine", r.Vehicle.Engine.Validate())
	})
}

// validateVehicle validates the vehicle inside a question.
func validateVehicle(v *catalog.Vehicle) []catalog.Violation {
	if v == nil {
		return nil
	}
	return catalog.Under("/vehicle", v.Validate())
}

func decodeVehicle(body []byte) (*catalog.Vehicle, error) {
	return decode(body, schemaNamed("Vehicle"), (*catalog.Vehicle).Validate)
}

func decodeCarburetor(body []byte) (*catalog.Carburetor, error) {
	return decode(body, schemaNamed("Carburetor"), (*catalog.Carburetor).Validate)
}

func decodePart(body []byte) (*catalog.Part, error) {
	return decode(body, schemaNamed("Part"), (*catalog.Part).Validate)
}

func decodeBundle(body []byte) (*catalog.Bundle, error) {
	return decode(body, schemaNamed("Bundle"), (*catalog.Bundle).Validate)
}

func decodePatch(body []byte) (*kit.Patch, error) {
	return decode(body, schemaNamed("KitPatch"), func(*kit.Patch) []catalog.Violation { return nil })
}

func decodeStock(body []byte) (*Stock, error) {
	return decode(body, schemaNamed("Stock"), func(*Stock) []catalog.Violation { return nil })
}

// decode reads a body: JSON first, then the contract's schema, then the Go type.
// When the schema finds faults the value is validated as well, so that the caller
// hears of everything at once; a body without faults is validated by whom it is for.
func decode[T any](body []byte, schema *openapi3.Schema, validate func(*T) []catalog.Violation) (*T, error) {
	body = bytes.TrimPrefix(body, []byte("\ufeff")) // RFC 8259 section 8.1 lets a reader ignore the mark
	if !accepts(schema, body) {
		var value any
		if err := json.Unmarshal(body, &value); err != nil {
			return nil, malformed(body, schema, err)
		}
		if faults := schemaFaults(schema, value, ""); len(faults) > 0 {
			return nil, invalid(merge(faults, validateRest(value, faults, validate)))
		}
	}
	request := new(T)
	if err := json.Unmarshal(body, request, jsontext.AllowDuplicateNames(true)); err != nil { // there are none: both checks above look
		return nil, undecodable(err, schema)
	}
	return request, nil
}

// validateRest validates a faulty body without the values that could not be read.
func validateRest[T any](value any, faults []fault, validate func(*T) []catalog.Violation) []catalog.Violation {
	for _, f := range faults {
		if f.void {
			takeOut(value, strings.Split(f.Pointer, "/")[1:])
		}
	}
	rest, err := json.Marshal(value)
	if err != nil {
		return nil
	}
	request := new(T)
	if err := json.Unmarshal(rest, request); err != nil {
		return nil // the schema's faults stand for themselves
	}
	return validate(request)
}

// takeOut takes the member that path leads to out of value; items of a list stay,
// as null, so that pointers behind them hold.
func takeOut(value any, path []string) {
	for i, token := range path {
		token = strings.NewReplacer("~1", "/", "~0", "~").Replace(token)
		last := i == len(path)-1
		switch v := value.(type) {
		case map[string]any:
			if last {
				delete(v, token)
				return
			}
			value = v[token]
		case []any:
			n, err := strconv.Atoi(token)
			if err != nil || n >= len(v) {
				return
			}
			if last {
				v[n] = nil
				return
			}
			value = v[n]
		default:
			return
		}
	}
}

// merge joins the schema's faults with the violations of the value. Where both
// speak of one value the latter knows the trade's units and wins, unless the value was
// void: then validation saw nothing there or below.
func merge(faults []fault, violations []catalog.Violation) []catalog.Violation {
	var merged []catalog.Violation
	for _, f := range faults {
		if f.void || !slices.ContainsFunc(violations, func(v catalog.Violation) bool { return v.Pointer == f.Pointer }) {
			merged = append(merged, f.Violation)
		}
	}
	for _, v := range violations {
		if !slices.ContainsFunc(faults, func(f fault) bool {
			return f.void && (v.Pointer == f.Pointer || strings.HasPrefix(v.Pointer, f.Pointer+"/"))
		}) {
			merged = append(merged, v)
		}
	}
	slices.SortStableFunc(merged, func(a, b catalog.Violation) int { return strings.Compare(a.Pointer, b.Pointer) })
	return merged
}

// undecodable tells of a number the schema lets pass and Go's type does not hold:
// 8.0 or 1e1 for a whole number.
func undecodable(err error, schema *openapi3.Schema) error {
	var wrong *catalog.InvalidError
	if errors.As(err, &wrong) { // a part, which reads itself
		return invalid(wrong.Violations)
	}
	var number *stdjson.UnmarshalTypeError
	if errors.As(err, &number) { // likewise; the path begins with names of Go's
		path := strings.Split(number.Field, ".")
		for len(path) > 1 && schema.Properties[path[0]] == nil {
			path = path[1:]
		}
		return invalid([]catalog.Violation{{Pointer: pointerOf(path),
			Detail: strings.TrimPrefix(number.Value, "number ") + " is not written as a whole number; write it without point and exponent"}})
	}
	var semantic *json.SemanticError
	if !errors.As(err, &semantic) {
		return err
	}
	detail := "cannot be read"
	if semantic.JSONKind == '0' {
		detail = fmt.Sprintf("%s is not written as a whole number; write it without point and exponent", clip(string(semantic.JSONValue)))
	} else if semantic.Err != nil {
		detail = semantic.Err.Error()
	}
	return invalid([]catalog.Violation{{Pointer: string(semantic.JSONPointer), Detail: detail}})
}

// malformed says where a body stops being JSON and what stands there.
func malformed(body []byte, schema *openapi3.Schema, err error) error {
	switch {
	case len(bytes.TrimSpace(body)) == 0:
		return newProblem(ProblemTypeMalformedJSON, "the body is empty; send a JSON object %s", sample(schema))
	case bytes.HasPrefix(body, []byte("\xff\xfe")), bytes.HasPrefix(body, []byte("\xfe\xff")):
		return newProblem(ProblemTypeMalformedJSON, "the body is UTF-16; save or send it as UTF-8")
	}
	var semantic *json.SemanticError
	if errors.As(err, &semantic) { // a number that no float64 holds
		return invalid([]catalog.Violation{{Pointer: string(semantic.JSONPointer), Detail: fmt.Sprintf("%s is too large a number", clip(string(semantic.JSONValue)))}})
	}
	var syntax *jsontext.SyntacticError
	if !errors.As(err, &syntax) {
		return newProblem(ProblemTypeMalformedJSON, "the body is not JSON: %v", err)
	}
	offset := min(int(syntax.ByteOffset), len(body))
	if errors.Is(err, jsontext.ErrDuplicateName) {
		pointer := string(syntax.JSONPointer)
		return withFaults(ProblemTypeMalformedJSON, []Fault{{Pointer: &pointer,
			Detail: fmt.Sprintf("%s is given twice in one object, again at %s; keep one", strconv.Quote(clip(syntax.JSONPointer.LastToken())), place(body, offset))}})
	}
	at, hint := syntaxHint(body, offset, syntax.Err)
	return newProblem(ProblemTypeMalformedJSON, "%s: %s", place(body, at), hint)
}

// sample is the contract's example of an object where it is short, else what must be in it.
func sample(schema *openapi3.Schema) string {
	text, err := json.Marshal(schema.Example, json.Deterministic(true))
	if schema.Example == nil || err != nil || len(text) > 160 {
		return "with " + strings.Join(schema.Required, ", ")
	}
	return "such as " + string(text)
}

func place(body []byte, offset int) string {
	line := 1 + bytes.Count(body[:offset], []byte("\n"))
	start := 1 + bytes.LastIndexByte(body[:offset], '\n')
	return fmt.Sprintf("line %d, column %d", line, 1+utf8.RuneCount(body[start:offset]))
}

// notJSON are ways of writing a value that other languages have.
var notJSON = []struct{ prefix, hint string }{
	{"NaN", "JSON has no NaN; leave the field out when the figure is unknown"},
	{"nan", "JSON has no nan; leave the field out when the figure is unknown"},
	{"Infinity", "JSON has no Infinity; give a number"},
	{"-Infinity", "JSON has no Infinity; give a number"},
	{"None", "JSON writes null; better leave the field out"},
	{"undefined", "JSON has no undefined; leave the field out"},
	{"True", "JSON writes true"},
	{"False", "JSON writes false"},
	{"'", "JSON puts texts and names in double quotes"},
	{"//", "JSON has no comments; take it out"},
	{"/*", "JSON has no comments; take it out"},
	{"#", "JSON has no comments; take it out"},
	{"+", "JSON writes numbers without a plus"},
	{".", "JSON writes a zero before the point: 0.5"},
	{"-.", "JSON writes a zero before the point: -0.5"},
}

// syntaxHint says what is wrong with a body and where exactly.
func syntaxHint(body []byte, offset int, cause error) (at int, hint string) {
	if errors.Is(cause, io.ErrUnexpectedEOF) {
		return len(body), "the body ends too early; something is cut off, or a bracket or quote is not closed"
	}
	// The reader may stop inside a word: at the I of -Infinity.
	start := offset
	for start > 0 && offset-start < len("-Infinity") && isWord(body[start-1]) {
		start--
	}
	for _, at := range []int{start, offset} {
		for _, n := range notJSON {
			if bytes.HasPrefix(body[at:], []byte(n.prefix)) {
				return at, fmt.Sprintf("found %s; %s", strconv.Quote(clip(word(body[at:]))), n.hint)
			}
		}
	}
	if rest, ok := bytes.CutPrefix(body[offset:], []byte(",")); ok {
		if after := bytes.TrimLeft(rest, " \t\r\n"); len(after) > 0 && (after[0] == '}' || after[0] == ']') {
			return offset, fmt.Sprintf("there is a comma before %q; take it out", after[0])
		}
	}
	reason := strings.TrimPrefix(cause.Error(), "jsontext: ")
	if strings.Contains(reason, "in literal") { // the reader knows after some letters what it should be
		return start, fmt.Sprintf("found %s; JSON has true, false and null, and puts texts in double quotes", strconv.Quote(clip(word(body[start:]))))
	}
	for _, n := range notWellFormed {
		if strings.Contains(reason, n.reason) {
			return offset, fmt.Sprintf(n.hint, found(body[offset:]))
		}
	}
	return offset, reason + "; write JSON (RFC 8259)"
}

// notWellFormed are the reader's reasons in words; %s is what stands there.
var notWellFormed = []struct{ reason, hint string }{
	{"after top-level value", "found %s after the end of the body; send one object and nothing after it"},
	{"exceeded max depth", "found %s more than 10,000 deep; take off brackets, a body has less than ten one inside another"},
	{"invalid UTF-8", "found %s, which is not UTF-8; save or send the body as UTF-8"},
	{"invalid surrogate pair", `found %s, a half of a character; write both halves, or the character itself`},
	{"invalid escape sequence", `found %s, which is no escape of JSON; write a backslash as \\`},
	{"in string (expecting non-control character)", `found %s in a text, a control character; write a line break as \n, a tab as \t`},
	{"after object value (expecting", "found %s after a value; write a comma before the next name, or } at the end"},
	{"after array element (expecting", "found %s after a value; write a comma before the next one, or ] at the end"},
	{"after object name (expecting", "found %s after a name; write a colon between name and value"},
	{"at start of string", "found %s where a name begins; names stand in double quotes"},
	{"at start of value", "found %s where a name or value begins; names and texts stand in double quotes"},
	{"in number", "found %s in a number; write digits with a decimal point: 5.125"},
}

// found is the character that text begins with, an escape whole.
func found(text []byte) string {
	r, size := utf8.DecodeRune(text)
	switch {
	case size == 0:
		return "the end"
	case r == utf8.RuneError && size == 1:
		return fmt.Sprintf("the byte 0x%02X", text[0])
	case bytes.HasPrefix(text, []byte(`\u`)):
		size = min(len(text), len(`\u0000`))
	case r == '\\':
		size = min(len(text), len(`\n`))
	default:
		return strconv.QuoteRune(r)
	}
	return strings.ToValidUTF8(string(text[:size]), "\uFFFD")
}

func isWord(b byte) bool {
	return b == '-' || 'a' <= b && b <= 'z' || 'A' <= b && b <= 'Z'
}

func word(text []byte) string {
	end := bytes.IndexAny(text, " \t\r\n,:]}")
	if end <= 0 {
		end = len(text)
	}
	return strings.ToValidUTF8(string(text[:end]), "�")
}

var bodies = sync.Pool{New: func() any { return new(bytes.Buffer) }}

// withBody is withText of JSON.
func (s *server) withBody(c echo.Context, use func(body []byte) error) error {
	return s.withText(c, echo.MIMEApplicationJSON, use)
}

// withText reads the body once into reusable memory and hands it to use, which must
// not keep it.
func (s *server) withText(c echo.Context, mediaType string, use func(body []byte) error) error {
	r := c.Request()
	if err := checkContentType(r, mediaType, ""); err != nil {
		return err
	}
	if r.ContentLength > s.maxBodyBytes {
		return s.tooLarge()
	}
	buf := bodies.Get().(*bytes.Buffer)
	buf.Reset()
	defer func() {
		if buf.Cap() <= maxPooledBytes {
			bodies.Put(buf)
		}
	}()
	if _, err := buf.ReadFrom(io.LimitReader(r.Body, s.maxBodyBytes+1)); err != nil {
		return newProblem(ProblemTypeUnreadableBody, "the body could not be read to its end; send it again")
	}
	if int64(buf.Len()) > s.maxBodyBytes {
		return s.tooLarge()
	}
	return use(buf.Bytes())
}

func (s *server) tooLarge() error {
	return newProblem(ProblemTypeBodyTooLarge, "the body is larger than %d bytes, the most this service reads; which is far above what one question or article needs", s.maxBodyBytes)
}

// answer runs a POST: read, decode, work out, write.
func answer[Q, A any](s *server, c echo.Context, decode func([]byte) (*Q, error), work func(*kit.Snapshot, *Q) (*A, error), write func(echo.Context, *A) error) error {
	snap, err := s.snapshot()
	if err != nil {
		return err
	}
	return s.withBody(c, func(body []byte) error {
		question, err := decode(body)
		if err != nil {
			return err
		}
		result, err := work(snap, question)
		if err != nil {
			return err
		}
		c.Response().Header().Set(echo.HeaderCacheControl, noStore)
		return write(c, result)
	})
}

// asJSON writes the answer of a POST.
func asJSON[A any](c echo.Context, result *A) error {
	return writeJSON(c, http.StatusOK, echo.MIMEApplicationJSON, result)
}
