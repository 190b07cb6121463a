package httpapi

import (
	"fmt"
	"mime"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/labstack/echo/v4"

	"onetrip/internal/catalog"
)

// checkRequest refuses, before the handler runs, what the operation's contract does
// not have: another media type, an unknown or bad query parameter.
func checkRequest(op operation) echo.MiddlewareFunc {
	mediaType := op.mediaType()
	declared := map[string]*openapi3.Schema{}
	var names []string
	for _, ref := range op.Parameters {
		if ref.Value.In == openapi3.ParameterInQuery {
			declared[ref.Value.Name] = ref.Value.Schema.Value
			names = append(names, ref.Value.Name)
		}
	}
	return func(next echo.HandlerFunc) echo.HandlerFunc {
		return func(c echo.Context) error {
			r := c.Request()
			if !accepts(r.Header.Values(echo.HeaderAccept), mediaType) {
				return newProblem(ProblemTypeNotAcceptable, "Accept is %s, but this path answers with %s; send Accept: %s",
					strconv.Quote(clip(strings.Join(r.Header.Values(echo.HeaderAccept), ", "))), mediaType, mediaType)
			}
			if r.URL.RawQuery != "" {
				if err := checkQuery(r.URL.RawQuery, declared, names); err != nil {
					return err
				}
			}
			return next(c)
		}
	}
}

// accepts reads Accept (RFC 9110 section 12.5.1): the most specific range that
// covers the media type decides, and q=0 excludes.
func accepts(headers []string, mediaType string) bool {
	if len(headers) == 0 {
		return true
	}
	group, _, _ := strings.Cut(mediaType, "/")
	best, accepted := -1, false
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
			best, accepted = specific, err != nil || q > 0
		}
	}
	return accepted
}

// checkQuery reports every fault of the query at once.
func checkQuery(raw string, declared map[string]*openapi3.Schema, names []string) error {
	query, err := url.ParseQuery(raw)
	if err != nil {
		return newProblem(ProblemTypeBadParameter, "the query is not well formed: %v; percent-encode names and values", err)
	}
	var faults []Fault
	fault := func(name, format string, args ...any) {
		name = clip(name)
		faults = append(faults, Fault{Parameter: &name, Detail: fmt.Sprintf(format, args...)})
	}
	given := make([]string, 0, len(query))
	for name := range query {
		given = append(given, name)
	}
	slices.Sort(given)
	for _, name := range given {
		schema, ok := declared[name]
		if !ok {
			accepted := "this path takes no query parameters"
			if len(names) > 0 {
				accepted = "accepted: " + strings.Join(names, ", ")
			}
			fault(name, "is not a parameter of this path%s; %s", didYouMean(name, names), accepted)
			continue
		}
		values := query[name]
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

// checkContentType accepts JSON in UTF-8, uncompressed.
func checkContentType(r *http.Request) error {
	if encoding := r.Header.Get(echo.HeaderContentEncoding); encoding != "" && !strings.EqualFold(encoding, "identity") {
		return newProblem(ProblemTypeWrongContentType, "Content-Encoding is %s; send the body uncompressed", strconv.Quote(clip(encoding)))
	}
	declared := r.Header.Get(echo.HeaderContentType)
	if declared == "" {
		return newProblem(ProblemTypeWrongContentType, "Content-Type is missing; send Content-Type: application/json")
	}
	name, params, err := mime.ParseMediaType(declared)
	if err != nil || name != "application/json" {
		return newProblem(ProblemTypeWrongContentType, "Content-Type is %s; send Content-Type: application/json", strconv.Quote(clip(declared)))
	}
	if charset, ok := params["charset"]; ok && !strings.EqualFold(charset, "utf-8") {
		return newProblem(ProblemTypeWrongContentType, "Content-Type says charset %s; JSON is sent in UTF-8", strconv.Quote(clip(charset)))
	}
	return nil
}
