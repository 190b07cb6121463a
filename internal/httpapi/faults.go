package httpapi

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/getkin/kin-openapi/openapi3"

	"onetrip/internal/catalog"
	"onetrip/internal/units"
)

// fault is a violation of the contract's schema. Void tells that the value at the
// pointer says nothing: it is missing, unknown or of the wrong type.
type fault struct {
	catalog.Violation
	void bool
}

// schemaFaults checks a value and puts every violation in words: what was found,
// what is accepted, how to mend it. There is one fault for a pointer; the list is
// ordered by pointer.
func schemaFaults(schema *openapi3.Schema, value any, base string) []fault {
	err := schema.VisitJSON(value, openapi3.MultiErrors())
	if err == nil {
		return nil
	}
	byPointer := map[string]fault{}
	add := func(pointer string, void bool, detail string) {
		if old, ok := byPointer[pointer]; !ok || void && !old.void {
			byPointer[pointer] = fault{catalog.Violation{Pointer: pointer, Detail: detail}, void}
		}
	}
	unknownDone := map[string]bool{}
	for _, e := range flatten(err) {
		pointer := base + pointerOf(e.JSONPointer())
		switch e.SchemaField {
		case "properties":
			if !unknownDone[pointer] {
				unknownDone[pointer] = true
				addUnknown(e, pointer, add)
			}
		case "required":
			path := e.JSONPointer()
			add(pointer, true, missing(e.Schema.Properties[path[len(path)-1]].Value))
		default:
			detail, void := describe(e)
			add(pointer, void, detail)
		}
	}
	faults := make([]fault, 0, len(byPointer))
	for _, f := range byPointer {
		faults = append(faults, f)
	}
	slices.SortFunc(faults, func(a, b fault) int { return strings.Compare(a.Pointer, b.Pointer) })
	return faults
}

func flatten(err error) []*openapi3.SchemaError {
	switch e := err.(type) { //nolint:errorlint // VisitJSON returns these two bare
	case *openapi3.SchemaError:
		return []*openapi3.SchemaError{e}
	case openapi3.MultiError:
		var all []*openapi3.SchemaError
		for _, one := range e {
			all = append(all, flatten(one)...)
		}
		return all
	}
	panic(fmt.Sprintf("httpapi: schema check returned %T: %v", err, err))
}

// addUnknown names every member that the object's schema does not have.
func addUnknown(e *openapi3.SchemaError, pointer string, add func(pointer string, void bool, detail string)) {
	known := make([]string, 0, len(e.Schema.Properties))
	for name := range e.Schema.Properties {
		known = append(known, name)
	}
	slices.Sort(known)
	object, _ := e.Value.(map[string]any)
	for name := range object {
		if _, ok := slices.BinarySearch(known, name); !ok {
			add(pointer+"/"+escapeToken(clip(name)), true, fmt.Sprintf("%s is not a field here%s; accepted: %s",
				strconv.Quote(clip(name)), didYouMean(name, known), strings.Join(known, ", ")))
		}
	}
}

// missing says what a required field is, in the contract's words.
func missing(s *openapi3.Schema) string {
	text := "is missing; " + wanted(s)
	if s.Description != "" {
		first, _, _ := strings.Cut(s.Description, "\n")
		text += ": " + lowerFirst(strings.TrimSuffix(first, "."))
	}
	return text
}

// describe puts one violation in words. The reasons of kin-openapi speak of schemas;
// these speak of the value.
func describe(e *openapi3.SchemaError) (detail string, void bool) {
	s, found := e.Schema, show(e.Value)
	if e.Value == nil {
		return "is null; leave the field out when it is unknown, or " + wanted(s), true
	}
	switch e.SchemaField {
	case "type", "nullable":
		if text, ok := e.Value.(string); ok && (s.Type.Is(openapi3.TypeNumber) || s.Type.Is(openapi3.TypeInteger)) {
			if _, err := strconv.ParseFloat(text, 64); err == nil {
				return fmt.Sprintf("is the text %s; write the number without quotes: %s", found, clip(text)), true
			}
		}
		if n, ok := e.Value.(float64); ok && s.Type.Is(openapi3.TypeInteger) && n != math.Trunc(n) {
			return fmt.Sprintf("%s is not a whole number; accepted: %s", found, bounds(s)), false
		}
		return fmt.Sprintf("is %s; %s", found, wanted(s)), true
	case "enum":
		accepted := enumTexts(s)
		text, _ := e.Value.(string)
		return fmt.Sprintf("%s is not accepted%s; accepted: %s", found, didYouMean(text, accepted), strings.Join(accepted, ", ")), false
	case "minimum":
		return fmt.Sprintf("%s is outside %s", found, bounds(s)), false
	case "maximum":
		return fmt.Sprintf("%s is outside %s", found, span(s)), false
	case "format":
		if s.Type.Is(openapi3.TypeInteger) { // too large for 64 bits
			return fmt.Sprintf("%s is outside %s", found, span(s)), false
		}
		text, _ := e.Value.(string)
		if s.Format == "date-time" && strings.Contains(text, " ") {
			return fmt.Sprintf("%s is not a date and time; a plus in a query stands for a space: write %%2B", found), false
		}
		if s.Format == "date-time" {
			return fmt.Sprintf("%s is not a date and time; write it as RFC 3339 has it, such as 2026-11-25T14:00:00Z", found), false
		}
		_, err := units.ParseSize(text)
		if s.Format == "inch-thread" {
			_, err = units.ParseThread(text)
		}
		return err.Error(), true
	case "minLength":
		if e.Value == "" {
			return "is empty; " + wanted(s), false
		}
		return fmt.Sprintf("%s is shorter than %d characters", found, s.MinLength), false
	case "maxLength":
		return fmt.Sprintf("%s is longer than %d characters", found, *s.MaxLength), false
	case "pattern":
		if form, ok := forms[s.Pattern]; ok {
			detail := fmt.Sprintf("%s is not accepted; write %s", found, form)
			if s.Example != nil {
				detail += fmt.Sprintf(", as in %s", s.Example)
			}
			return detail, false
		}
		return fmt.Sprintf("%s is not accepted; %s", found, wanted(s)), false
	case "minItems":
		return fmt.Sprintf("has too few items; at least %d, or leave it out", s.MinItems), false
	case "maxItems":
		return fmt.Sprintf("has too many items; at most %d are accepted", *s.MaxItems), false
	case "uniqueItems":
		return "names something twice; name it once", false
	}
	return e.Reason, false
}

// forms are the contract's patterns in words.
var forms = map[string]string{
	`^[a-z][a-z0-9_]*\.[a-z][a-z0-9_]*$`: "group.name",
	`^[A-Z]{3}$`:                         "the three capital letters of ISO 4217",
	`^[A-Za-z0-9][A-Za-z0-9._-]*$`:       "letters, digits and . _ -, first a letter or digit",
	`^([0-9]{8}|[0-9]{12,14})$`:          "8, 12, 13 or 14 digits",
	`^[a-z0-9_]+:.+$`:                    "name:value",
	`^[A-Za-z0-9_-]+$`:                   "next_cursor of the page before",
}

// wanted says what a schema takes.
func wanted(s *openapi3.Schema) string {
	what := "a text"
	switch {
	case len(s.Enum) > 0:
		return "give one of " + strings.Join(enumTexts(s), ", ")
	case s.Type.Is(openapi3.TypeNumber):
		what = "a number from " + bounds(s)
	case s.Type.Is(openapi3.TypeInteger):
		what = "a whole number from " + bounds(s)
	case s.Type.Is(openapi3.TypeBoolean):
		return "give true or false"
	case s.Type.Is(openapi3.TypeArray):
		return "give a list in [ ]"
	case s.Type.Is(openapi3.TypeObject):
		return "give an object in { }"
	}
	if s.Example != nil {
		what += ", for example " + show(s.Example)
	}
	return "give " + what
}

// bounds are what a number may be. A maximum of 2^53-1 only says how far numbers of JSON are
// exact (RFC 8259 section 6), which those who stay below it need not be told.
func bounds(s *openapi3.Schema) string {
	if s.Min != nil && s.Max != nil && *s.Max == 1<<53-1 {
		return number(*s.Min) + " and above"
	}
	return span(s)
}

// span is the least and the most that a number may be.
func span(s *openapi3.Schema) string {
	switch {
	case s.Min != nil && s.Max != nil:
		return number(*s.Min) + " to " + number(*s.Max)
	case s.Min != nil:
		return "at least " + number(*s.Min)
	case s.Max != nil:
		return "at most " + number(*s.Max)
	}
	return "any"
}

func number(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

func enumTexts(s *openapi3.Schema) []string {
	texts := make([]string, len(s.Enum))
	for i, v := range s.Enum {
		texts[i] = fmt.Sprint(v)
	}
	return texts
}

// show prints a JSON value as it would stand in a document, shortened.
func show(v any) string {
	switch v := v.(type) {
	case map[string]any:
		return "an object"
	case []any:
		return "a list"
	case float64:
		if math.Abs(v) < 1e15 {
			return number(v)
		}
	case string:
		return strconv.Quote(clip(v))
	}
	text, err := json.Marshal(v)
	if err != nil {
		return fmt.Sprint(v)
	}
	return clip(string(text))
}

func lowerFirst(s string) string {
	if len(s) > 1 && s[1] >= 'a' && s[1] <= 'z' {
		return strings.ToLower(s[:1]) + s[1:]
	}
	return s
}

func pointerOf(path []string) string {
	var b strings.Builder
	for _, token := range path {
		b.WriteByte('/')
		b.WriteString(escapeToken(token))
	}
	return b.String()
}

// escapeToken writes a member name as a reference token (RFC 6901 section 3).
func escapeToken(name string) string {
	return strings.NewReplacer("~", "~0", "/", "~1").Replace(name)
}
