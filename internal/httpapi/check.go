package httpapi

import (
	"fmt"
	"maps"
	"mime"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/labstack/echo/v4"

	"onetrip/internal/catalog"
)

// mediaTypeKey is where checkRequest leaves the media type that the caller prefers.
const mediaTypeKey = "media_type"

// checkRequest refuses, before the handler runs, what the operation's contract does
// not have: another media type, an unknown, missing or bad query parameter, a path that is no text.
func checkRequest(op operation) echo.MiddlewareFunc {
	mediaTypes := op.mediaTypes()
	var declared []*openapi3.Parameter
	for _, ref := range op.Parameters {
		if ref.Value.In == openapi3.ParameterInQuery {
			declared = append(declared, ref.Value)
		}
	}
	needsQuery := slices.ContainsFunc(declared, func(p *openapi3.Parameter) bool { return p.Required })
	return func(next echo.HandlerFunc) echo.HandlerFunc {
		return func(c echo.Context) error {
			r := c.Request()
			mediaType := preferred(r.Header.Values(echo.HeaderAccept), mediaTypes)
			if mediaType == "" {
				return newProblem(ProblemTypeNotAcceptable, "Accept is %s, but this path answers with %s; send Accept: %s",
					strconv.Quote(clip(strings.Join(r.Header.Values(echo.HeaderAccept), ", "))), strings.Join(mediaTypes, " or "), mediaTypes[0])
			}
			c.Set(mediaTypeKey, mediaType)
			if what := noText(r.URL.Path); what != "" && len(c.ParamNames()) > 0 {
				return badParameter(c.ParamNames()[0], "%s", what)
			}
			if r.URL.RawQuery != "" || needsQuery {
				if err := checkQuery(r.URL.RawQuery, declared); err != nil {
					return err
				}
			}
			return next(c)
		}
	}
}

// onlyItsPaths keeps an operation whose path has a parameter from the plain paths beside
// it: GET /v1/kits/resolve asks for no kit with the code resolve, but by a method that
// this path does not have.
func onlyItsPaths(op operation) echo.MiddlewareFunc {
	methods := map[string]string{}
	for plain, item := range contract().Paths.Map() {
		if strings.Contains(op.path, "{") && !strings.Contains(plain, "{") && item.GetOperation(op.method) == nil {
			methods[plain] = strings.Join(append([]string{http.MethodOptions}, slices.Sorted(maps.Keys(item.Operations()))...), ", ")
		}
	}
	return func(next echo.HandlerFunc) echo.HandlerFunc {
		return func(c echo.Context) error {
			if allow, other := methods[c.Request().URL.Path]; other {
				c.Response().Header().Set(echo.HeaderAllow, allow)
				return echo.ErrMethodNotAllowed
			}
			return next(c)
		}
	}
}

// preferred is the media type offered that Accept (RFC 9110 section 12.5.1) gives the
// highest quality, the first of equals; "" when it leaves none.
func preferred(headers, offered []string) string {
	if len(headers) == 0 {
		return offered[0]
	}
	best, bestQuality := "", 0.0
	for _, mediaType := range offered {
		if q := quality(headers, mediaType); q > bestQuality {
			best, bestQuality = mediaType, q
		}
	}
	return best
}

// quality is what the most specific range that covers a media type gives it.
func quality(headers []string, mediaType string) float64 {
	group, _, _ := strings.Cut(mediaType, "/")
	best, given := -1, 0.0
	for _, header := range headers {
		for part := range strings.SplitSeq(header, ",") {
			name, params, err := mime.ParseMediaType(part)
			if err != nil {
				continue
			}
			specific := slices.Index([]string{"*/*", group + "/*", mediaType}, name)
			if specific < best || specific < 0 {
				continue
			}
			q, err := strconv.ParseFloat(params["q"], 64)
			if err != nil || q != q {
				q = 1
			}
			best, given = specific, q
		}
	}
	return given
}

// checkQuery reports every fault of the query at once.
func checkQuery(raw string, declared []*openapi3.Parameter) error {
	query, err := url.ParseQuery(raw)
	if err != nil {
		return newProblem(ProblemTypeBadParameter, "the query is not well formed: %v; percent-encode names and values", err)
	}
	var faults []Fault
	fault := func(name, format string, args ...any) {
		name = clip(name)
		faults = append(faults, Fault{Parameter: &name, Detail: fmt.Sprintf(format, args...)})
	}
	names := make([]string, len(declared))
	for i, p := range declared {
		names[i] = p.Name
		if p.Required && !query.Has(p.Name) {
			fault(p.Name, "%s", missing(p.Schema.Value))
		}
	}
	given := make([]string, 0, len(query))
	for name := range query {
		given = append(given, name)
	}
	slices.Sort(given)
	for _, name := range given {
		at := slices.Index(names, name)
		if at < 0 {
			accepted := "this path takes no query parameters"
			if len(names) > 0 {
				accepted = "accepted: " + strings.Join(names, ", ")
			}
			fault(name, "is not a parameter of this path%s; %s", didYouMean(name, names), accepted)
			continue
		}
		values, schema := query[name], declared[at].Schema.Value
		if i := slices.IndexFunc(values, func(v string) bool { return noText(v) != "" }); i >= 0 {
			fault(name, "%s", noText(values[i]))
			continue
		}
		if len(values) > 1 && !schema.Type.Is(openapi3.TypeArray) {
			fault(name, "is given %d times; give it once", len(values))
			continue
		}
		value, problem := queryValue(schema, values)
		if problem != "" {
			fault(name, "%s", problem)
			continue
		}
		for _, f := range schemaFaults(schema, value, "") {
			fault(name, "%s", f.Detail)
		}
	}
	if len(faults) > 0 {
		return withFaults(ProblemTypeBadParameter, faults)
	}
	return nil
}

// noText says what keeps a decoded path or value from being a text that a database keeps, "" when
// nothing does.
func noText(s string) string {
	switch {
	case !utf8.ValidString(s):
		return strconv.Quote(clip(s)) + " is not UTF-8; percent-encode the bytes of UTF-8"
	case strings.ContainsRune(s, 0):
		return strconv.Quote(clip(s)) + " has a NUL; take it out"
	}
	return ""
}

// queryValue reads text by the parameter's type.
func queryValue(schema *openapi3.Schema, values []string) (value any, problem string) {
	text := values[0]
	switch {
	case schema.Type.Is(openapi3.TypeArray):
		list := make([]any, len(values))
		for i, v := range values {
			list[i] = v
		}
		return list, ""
	case schema.Type.Is(openapi3.TypeInteger):
		n, err := strconv.ParseInt(text, 10, 64)
		if err != nil {
			return nil, fmt.Sprintf("%s is not a whole number; accepted: %s", strconv.Quote(clip(text)), bounds(schema))
		}
		return float64(n), ""
	case schema.Type.Is(openapi3.TypeNumber):
		n, err := strconv.ParseFloat(text, 64)
		if err != nil || n != n {
			return nil, fmt.Sprintf("%s is not a number; accepted: %s", strconv.Quote(clip(text)), bounds(schema))
		}
		return n, ""
	case schema.Type.Is(openapi3.TypeBoolean):
		if text != "true" && text != "false" {
			return nil, fmt.Sprintf("%s is not true or false", strconv.Quote(clip(text)))
		}
		return text == "true", ""
	}
	return text, ""
}

func didYouMean(word string, among []string) string {
	if near := catalog.Near(word, among, 1); len(near) > 0 {
		return ", did you mean " + near[0] + "?"
	}
	return ""
}

// checkContentType accepts one media type in UTF-8, in one of the encodings; "" stands
// for none.
func checkContentType(r *http.Request, mediaType string, encodings ...string) error {
	if encoding := strings.ToLower(r.Header.Get(echo.HeaderContentEncoding)); encoding != "identity" && !slices.Contains(encodings, encoding) {
		return newProblem(ProblemTypeWrongContentType, "Content-Encoding is %s; send the body uncompressed%s", strconv.Quote(clip(encoding)), strings.Join(encodings, " or in "))
	}
	declared := r.Header.Get(echo.HeaderContentType)
	if declared == "" {
		return newProblem(ProblemTypeWrongContentType, "Content-Type is missing; send Content-Type: %s", mediaType)
	}
	name, params, err := mime.ParseMediaType(declared)
	if err != nil || name != mediaType {
		return newProblem(ProblemTypeWrongContentType, "Content-Type is %s; send Content-Type: %s", strconv.Quote(clip(declared)), mediaType)
	}
	if charset, ok := params["charset"]; ok && !strings.EqualFold(charset, "utf-8") {
		return newProblem(ProblemTypeWrongContentType, "Content-Type says charset %s; %s is sent in UTF-8", strconv.Quote(clip(charset)), mediaTypeNames[mediaType])
	}
	return nil
}

var mediaTypeNames = map[string]string{echo.MIMEApplicationJSON: "JSON", mimeCSV: "CSV", mimeYAML: "YAML"}
