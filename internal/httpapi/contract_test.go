package httpapi

import (
	"bytes"
	"encoding/json"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"maps"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/getkin/kin-openapi/openapi3"
	"go.yaml.in/yaml/v3"

	"onetrip/internal/calc"
	"onetrip/internal/catalog"
	"onetrip/internal/coverage"
	"onetrip/internal/kit"
	"onetrip/internal/rules"
	"onetrip/internal/units"
)

func TestContractIsTheRootDocumentAndValid(t *testing.T) {
	root, err := os.ReadFile("../../openapi.yaml")
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(root, contractYAML) {
		t.Error("openapi.gen.yaml is not the root's openapi.yaml; run go generate ./internal/httpapi")
	}
	if err := contract().Validate(t.Context()); err != nil { // examples too
		t.Error(err)
	}
}

// Every field says what it is, shows an example and has limits.
func TestEveryFieldIsDescribed(t *testing.T) {
	var visit func(at string, s *openapi3.Schema)
	visit = func(at string, s *openapi3.Schema) {
		bad := func(format string, args ...any) { t.Errorf("%s: "+format, append([]any{at}, args...)...) }
		if s.Description == "" {
			bad("no description")
		}
		switch {
		case s.Type.Is(openapi3.TypeObject):
			for name, p := range s.Properties {
				if p.Ref == "" {
					visit(at+"/"+name, p.Value)
				}
			}
			for _, name := range s.Required {
				if s.Properties[name] == nil {
					bad("requires %s, which it does not have", name)
				}
			}
			if extra := s.AdditionalProperties.Schema; extra != nil {
				visit(at+"/*", extra.Value)
			}
		case s.Type.Is(openapi3.TypeArray):
			if s.MaxItems == nil {
				bad("no maxItems")
			}
			if s.Items.Ref == "" {
				visit(at+"[]", s.Items.Value)
			}
		case len(s.OneOf) > 0:
			for i, one := range s.OneOf {
				visit(fmt.Sprintf("%s|%d", at, i), one.Value)
			}
		default:
			if s.Example == nil {
				bad("no example")
			}
			number := s.Type.Is(openapi3.TypeNumber) || s.Type.Is(openapi3.TypeInteger)
			if number && len(s.Enum) == 0 && (s.Min == nil || s.Max == nil) {
				bad("no minimum and maximum")
			}
			if s.Type.Is(openapi3.TypeString) && len(s.Enum) == 0 && s.MaxLength == nil {
				bad("no maxLength")
			}
		}
	}
	for name, ref := range contract().Components.Schemas {
		visit(name, ref.Value)
		if ref.Value.Type.Is(openapi3.TypeObject) && ref.Value.AdditionalProperties.Schema == nil &&
			(ref.Value.AdditionalProperties.Has == nil || *ref.Value.AdditionalProperties.Has) {
			t.Errorf("%s: takes additional properties", name)
		}
	}
	for name, ref := range contract().Components.Parameters {
		if ref.Value.Description == "" || ref.Value.Example == nil {
			t.Errorf("parameter %s: no description or example", name)
		}
	}
}

// goTypes are the Go types that overlay.yaml names.
var goTypes = func() map[string]reflect.Type {
	m := map[string]reflect.Type{}
	for _, v := range []any{
		coverage.Question{}, coverage.Weight{}, coverage.Report{}, coverage.Progress{}, coverage.Answer{}, coverage.Revisions{}, coverage.Count{},
		coverage.Share{}, coverage.Verdicts{}, coverage.Class{}, coverage.Carburetor{}, coverage.Need{}, coverage.Gap{}, coverage.Wanted{},
		coverage.StockNext{}, coverage.Part{},
		catalog.Vehicle{}, catalog.Engine{}, catalog.Tune(""), catalog.Intake{}, catalog.Flange(""), catalog.Throttle{}, catalog.ThrottleKind(""),
		catalog.LinkEnd(""), catalog.BracketOn(""), catalog.Transmission{}, catalog.TransmissionKind(""), catalog.Downshift(""), catalog.Fuel{},
		catalog.PumpKind(""), catalog.Ignition{}, catalog.Advance(""), catalog.Accessories{}, catalog.Electrical{}, catalog.AirCleaner{},
		catalog.Site{}, catalog.Road{}, catalog.Finish(""), catalog.StockLevel{}, catalog.Reference{}, catalog.Import{}, catalog.ImportProblem{}, catalog.Amount{}, catalog.Location{}, catalog.Carburetor{},
		catalog.Inlet{}, catalog.Facing(""), catalog.End{}, catalog.Family(""), catalog.Gender(""), catalog.Choke{}, catalog.ChokeKind(""),
		catalog.Port{}, catalog.PortLocation(""), catalog.Signal(""), catalog.CarburetorThrottle{}, catalog.Jets{}, catalog.InBox{},
		catalog.Kind(""), catalog.Part{}, catalog.Bundle{}, units.Money{}, calc.Verdict(""),
		kit.Request{}, kit.OnHand{}, kit.Preferences{}, kit.Objective(""), kit.Level(""), kit.Kit{}, kit.Verdict(""), kit.Need{}, kit.AtHand{}, kit.Place(""), kit.Status(""),
		kit.Because{}, kit.Line{}, kit.LineStock{}, kit.Missing{}, kit.Severity(""), kit.Nearest{}, kit.Check{}, kit.Outcome(""), kit.SI{},
		kit.Limit{}, kit.PathStep{}, kit.PortUse{}, kit.StackItem{}, kit.Setting{}, kit.Tool{}, kit.Caution{}, kit.Question{}, kit.Totals{},
		kit.Alternative{}, kit.LineChange{}, kit.Proof{}, kit.Sizing{}, kit.Band{}, kit.CurvePoint{}, kit.SizedCarburetor{},
		kit.Trial{}, kit.TrialGroup{}, kit.TrialKind(""), kit.TrialExample{}, kit.TrialKit{}, kit.TrialKitNeed{}, kit.TrialKitLine{}, kit.Finding{},
		rules.Change{}, rules.Revision{}, rules.HistoryEntry{},
		kit.Saved{}, kit.SavedSummary{}, kit.SavedStatus(""), kit.Mark{}, kit.MarkKind(""), kit.Patch{}, kit.Event{}, kit.EventKind(""), kit.Change{}, kit.ChangeKind(""),
	} {
		t := reflect.TypeOf(v)
		m[t.String()] = t
	}
	return m
}()

// overlayTypes reads which Go type overlay.yaml gives each schema.
func overlayTypes(t *testing.T) map[string]string {
	text, err := os.ReadFile("overlay.yaml")
	if err != nil {
		t.Fatal(err)
	}
	var overlay struct {
		Actions []struct {
			Target string         `yaml:"target"`
			Update map[string]any `yaml:"update"`
		} `yaml:"actions"`
	}
	if err := yaml.Unmarshal(text, &overlay); err != nil {
		t.Fatal(err)
	}
	types := map[string]string{}
	for _, a := range overlay.Actions {
		if goType, ok := a.Update["x-go-type"].(string); ok {
			types[strings.TrimPrefix(a.Target, "$.components.schemas.")] = goType
		}
	}
	return types
}

// TestSchemasEqualGoTypes walks the Go types that the overlay names and the
// contract's schemas together: names, types, what may be absent, enum values.
func TestSchemasEqualGoTypes(t *testing.T) {
	types := overlayTypes(t)
	if len(types) < len(goTypes) {
		t.Errorf("overlay.yaml names %d schemas, want at least %d", len(types), len(goTypes))
	}
	w := walker{t: t, types: types, constants: constants(t)}
	for name, goType := range types {
		rt, ok := goTypes[goType]
		if !ok {
			t.Errorf("overlay.yaml gives %s the type %s, which this test does not know", name, goType)
			continue
		}
		ref := contract().Components.Schemas[name]
		if ref == nil {
			t.Errorf("overlay.yaml names %s, which the contract does not have", name)
			continue
		}
		w.compare(name, ref.Value, rt)
	}
	// The reverse: an object of the contract is a Go type or one of those made here.
	generated := []string{"SizingRequest", "Liveness", "Readiness", "Database", "Counts", "Stock", "Written", "Problem", "Fault", "CheckId",
		"Rule", "RuleText", "RuleYAML", "RuleDraft", "RuleRollback", "RulePage", "RuleRevisionPage", "RuleHistoryPage",
		"RuleTrialRequest", "RuleTrialEvent", "RuleTrialProgress", "RuleEdit",
		"VehiclePage", "CarburetorPage", "PartPage", "BundlePage", "LocationList", "SavedKitPage", "KitChanges"}
	for name := range contract().Components.Schemas {
		if types[name] == "" && !slices.Contains(generated, name) {
			t.Errorf("schema %s has no Go type in overlay.yaml", name)
		}
	}
}

type walker struct {
	t         *testing.T
	types     map[string]string
	constants map[string][]string
}

func (w walker) compare(name string, s *openapi3.Schema, rt reflect.Type) {
	switch rt {
	case reflect.TypeFor[catalog.End](), reflect.TypeFor[catalog.Part]():
		w.compareMarshaled(name, s, rt)
		return
	}
	if rt.Kind() == reflect.String {
		w.compareEnum(name, s, rt)
		return
	}
	fields := map[string]bool{}
	w.compareFields(name, s, rt, fields)
	for property := range s.Properties {
		if !fields[property] && property != "stock" && property != "problems" { // offers.go adds stock, imports.go problems
			w.t.Errorf("%s.%s is not a field of %s", name, property, rt)
		}
	}
}

func (w walker) compareFields(name string, s *openapi3.Schema, rt reflect.Type, seen map[string]bool) {
	for i := range rt.NumField() {
		f := rt.Field(i)
		if f.Anonymous {
			w.compareFields(name, s, f.Type, seen)
			continue
		}
		if !f.IsExported() {
			continue
		}
		tag := strings.Split(f.Tag.Get("json"), ",")
		if tag[0] == "-" {
			continue
		}
		at := name + "." + tag[0]
		seen[tag[0]] = true
		ref := s.Properties[tag[0]]
		if ref == nil {
			w.t.Errorf("%s: %s.%s is not in the contract", at, rt, f.Name)
			continue
		}
		mayBeAbsent := slices.Contains(tag, "omitempty") || slices.Contains(tag, "omitzero")
		if required := slices.Contains(s.Required, tag[0]); required == mayBeAbsent && name != "SizedVehicle" { // a vehicle of which the engine alone is asked for
			w.t.Errorf("%s: required is %v, but the Go field %s may be absent: %v", at, required, f.Name, mayBeAbsent)
		}
		w.compareValue(at, ref, f.Type)
	}
}

func (w walker) compareValue(at string, ref *openapi3.SchemaRef, rt reflect.Type) {
	if rt.Kind() == reflect.Pointer {
		rt = rt.Elem()
	}
	s := ref.Value
	is := func(kind, format string) {
		if !s.Type.Is(kind) || format != "" && s.Format != format {
			w.t.Errorf("%s: is %s %s, want %s %s for %s", at, s.Type.Slice(), s.Format, kind, format, rt)
		}
	}
	switch rt {
	case reflect.TypeFor[units.Size]():
		is(openapi3.TypeString, "inch-size")
		return
	case reflect.TypeFor[units.Thread]():
		is(openapi3.TypeString, "inch-thread")
		return
	case reflect.TypeFor[time.Time]():
		is(openapi3.TypeString, "date-time")
		return
	case reflect.TypeFor[kit.Inputs]():
		is(openapi3.TypeObject, "")
		if extra := s.AdditionalProperties.Schema; extra == nil || !extra.Value.Type.Is(openapi3.TypeNumber) {
			w.t.Errorf("%s: is not an object of numbers", at)
		}
		return
	}
	if rt == reflect.TypeFor[json.RawMessage]() { // a noun of the contract, kept as JSON
		is(openapi3.TypeObject, "")
		return
	}
	if ref.Ref != "" {
		schema := strings.TrimPrefix(ref.Ref, "#/components/schemas/")
		if schema == "CheckId" && rt.Kind() == reflect.String {
			return // ids are literals in package kit; every kit of every test is checked against the enum
		}
		if w.types[schema] != rt.String() {
			w.t.Errorf("%s: refers to %s (%s), but the Go type is %s", at, schema, w.types[schema], rt)
		}
		return
	}
	switch rt.Kind() {
	case reflect.Float64:
		is(openapi3.TypeNumber, "")
	case reflect.Int64:
		is(openapi3.TypeInteger, "int64")
	case reflect.Int:
		is(openapi3.TypeInteger, "")
	case reflect.Bool:
		is(openapi3.TypeBoolean, "")
	case reflect.String:
		is(openapi3.TypeString, "")
		if rt.Name() != "string" {
			w.compareEnum(at, s, rt)
		}
	case reflect.Map:
		is(openapi3.TypeObject, "")
		w.compareValue(at+"/*", s.AdditionalProperties.Schema, rt.Elem())
	case reflect.Slice:
		is(openapi3.TypeArray, "")
		w.compareValue(at+"[]", s.Items, rt.Elem())
	default:
		w.t.Errorf("%s: %s is not a type this test knows", at, rt)
	}
}

func (w walker) compareEnum(at string, s *openapi3.Schema, rt reflect.Type) {
	want := w.constants[rt.String()]
	switch {
	case rt == reflect.TypeFor[catalog.Kind]():
		want = nil
		for _, k := range catalog.Kinds {
			want = append(want, string(k.Kind))
		}
	case at == "LineEnd":
		want = nil
		for _, f := range catalog.SupplyFamilies {
			want = append(want, string(f))
		}
	}
	got := enumTexts(s)
	slices.Sort(got)
	want = slices.Sorted(slices.Values(want))
	if len(want) == 0 || !slices.Equal(got, want) {
		w.t.Errorf("%s: enum is %v, the constants of %s are %v", at, got, rt, want)
	}
}

// compareMarshaled compares types that write their own JSON by what they write: all
// fields of a full value, and of a bare one those that are required.
func (w walker) compareMarshaled(name string, s *openapi3.Schema, rt reflect.Type) {
	full, bare := any(catalog.End{Family: catalog.NPT, Size: units.Inches(1, 4), Gender: catalog.Male}), any(catalog.End{Family: catalog.Hose, Size: units.Inches(3, 8)})
	if rt == reflect.TypeFor[catalog.Part]() {
		full = &catalog.Part{Offer: catalog.Offer{GTIN: "1", ReplacedBy: "2"}, Form: &catalog.Form{LengthIn: 1, HeightIn: 1}, Requires: []string{"3"}, Conflicts: []string{"4"}}
		bare = &catalog.Part{Form: &catalog.Form{}}
	}
	keys := func(v any) []string {
		text, err := json.Marshal(v)
		if err != nil {
			w.t.Fatal(err)
		}
		var m map[string]any
		if err := json.Unmarshal(text, &m); err != nil {
			w.t.Fatal(err)
		}
		return slices.Sorted(maps.Keys(m))
	}
	var properties []string
	for p := range s.Properties {
		if p != "stock" {
			properties = append(properties, p)
		}
	}
	slices.Sort(properties)
	if got := keys(full); !slices.Equal(got, properties) {
		w.t.Errorf("%s: properties are %v, %s writes %v", name, properties, rt, got)
	}
	if got, required := keys(bare), slices.Sorted(slices.Values(s.Required)); !slices.Equal(got, required) {
		w.t.Errorf("%s: requires %v, %s always writes %v", name, required, rt, got)
	}
}

// constants reads the values of typed string constants out of the source.
func constants(t *testing.T) map[string][]string {
	found := map[string][]string{}
	for _, pkg := range []string{"catalog", "kit", "calc", "coverage"} {
		files, err := filepath.Glob("../" + pkg + "/*.go")
		if err != nil {
			t.Fatal(err)
		}
		for _, file := range files {
			if strings.HasSuffix(file, "_test.go") {
				continue
			}
			tree, err := parser.ParseFile(token.NewFileSet(), file, nil, 0)
			if err != nil {
				t.Fatal(err)
			}
			ast.Inspect(tree, func(n ast.Node) bool {
				spec, ok := n.(*ast.ValueSpec)
				if !ok || len(spec.Values) != 1 {
					return true
				}
				typ, ok := spec.Type.(*ast.Ident)
				value, isLiteral := spec.Values[0].(*ast.BasicLit)
				if !ok || !isLiteral || value.Kind != token.STRING {
					return true
				}
				if text, err := strconv.Unquote(value.Value); err == nil && text != "" {
					found[pkg+"."+typ.Name] = append(found[pkg+"."+typ.Name], text)
				}
				return true
			})
		}
	}
	return found
}

// The walker must be able to fail: it compares types and schemas that differ.
func TestSchemaComparisonFindsDifferences(t *testing.T) {
	probe := &testing.T{}
	w := walker{t: probe, types: overlayTypes(t), constants: constants(t)}
	for name, rt := range map[string]reflect.Type{
		"Engine": reflect.TypeFor[catalog.Intake](), "Tune": reflect.TypeFor[catalog.Flange](),
		"Part": reflect.TypeFor[catalog.End](), "Limit": reflect.TypeFor[kit.SI](),
	} {
		*probe = testing.T{}
		w.compare(name, schemaNamed(name), rt)
		if !probe.Failed() {
			t.Errorf("%s compared with %s: no difference found", name, rt)
		}
	}
}

// Every kind of part is described with its attributes, as catalog.Kinds declares them.
func TestPartAttributesAreDocumented(t *testing.T) {
	text := schemaNamed("Part").Properties["attributes"].Value.Description
	for _, k := range catalog.Kinds {
		row := regexp.MustCompile("(?m)^\\| `" + string(k.Kind) + "` \\| (.*) \\|$").FindStringSubmatch(text)
		if row == nil {
			t.Errorf("no row for %s", k.Kind)
			continue
		}
		var want []string
		for _, a := range k.Attrs {
			cell := "`" + a.Name + "` " + map[catalog.AttrType]string{catalog.AttrBool: "boolean"}[a.Type]
			switch a.Type {
			case catalog.AttrBool:
			case catalog.AttrEnum:
				cell += strings.Join(a.Accepted, ` \| `)
			default:
				cell += string(a.Type)
			}
			if a.Optional {
				cell += ", optional"
			}
			want = append(want, cell)
		}
		if got := row[1]; got != strings.Join(want, "; ") {
			t.Errorf("%s: the contract says\n%s\nkind.go says\n%s", k.Kind, got, strings.Join(want, "; "))
		}
	}
}

// The contract's limits on a vehicle are the ones that Validate holds.
func TestVehicleLimitsAreThoseOfValidate(t *testing.T) {
	tested := 0
	var visit func(at string, s *openapi3.Schema)
	visit = func(at string, s *openapi3.Schema) {
		for name, ref := range s.Properties {
			p := ref.Value
			if p.Type.Is(openapi3.TypeObject) {
				visit(at+"/"+name, p)
			}
			if p.Min == nil || p.Max == nil {
				continue
			}
			tested++
			step := 0.001
			if p.Type.Is(openapi3.TypeInteger) {
				step = 1
			}
			for value, ok := range map[float64]bool{*p.Min: true, *p.Max: true, *p.Min - step: false, *p.Max + step: false} {
				if refused := vehicleRefuses(t, at+"/"+name, value); refused == ok {
					t.Errorf("%s/%s = %v: the contract accepts: %v, Validate refuses: %v", at, name, value, ok, refused)
				}
			}
		}
	}
	visit("", schemaNamed("Vehicle"))
	if tested < 15 {
		t.Errorf("only %d fields with limits found", tested)
	}
}

func vehicleRefuses(t *testing.T, pointer string, value float64) bool {
	v := decodeAny(t, validVehicle).(map[string]any)
	// These two are what some fields need to be there at all.
	v["fuel"].(map[string]any)["pump"] = "electric"
	v["transmission"].(map[string]any)["downshift"] = "detent_cable"
	path := strings.Split(pointer, "/")[1:]
	at := v
	for _, token := range path[:len(path)-1] {
		at = at[token].(map[string]any)
	}
	at[path[len(path)-1]] = value
	text, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	var vehicle catalog.Vehicle
	if err := json.Unmarshal(text, &vehicle); err != nil {
		t.Fatal(err)
	}
	return slices.ContainsFunc(vehicle.Validate(), func(v catalog.Violation) bool { return v.Pointer == pointer })
}

func decodeAny(t *testing.T, text string) any {
	var v any
	if err := json.Unmarshal([]byte(text), &v); err != nil {
		t.Fatal(err)
	}
	return v
}
