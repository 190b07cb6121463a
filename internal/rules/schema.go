package rules

import (
	"maps"
	"reflect"
	"slices"
	"strings"

	"cel.dev/cel-go/cel"
	"cel.dev/cel-go/common/types"
	"cel.dev/cel-go/common/types/ref"

	"onetrip/internal/catalog"
	"onetrip/internal/units"
)

// class is the kind of value an expression has.
type class uint8

const (
	aNumber class = iota + 1
	aText
	aBool
	anObject
	aList
)

func (c class) String() string {
	return [...]string{"nothing", "a number", "text", "true or false", "an object", "a list"}[c]
}

// field is a fact or a part of one. Its path is its name in CEL; parts of list
// elements have the list's path and [] in it: calc.hoses[].use.
type field struct {
	path     string
	class    class
	index    []int    // reflect index from Facts, or from the element of the list
	optional bool     // may be unknown: only read behind has()
	size     bool     // a number that prints as a fraction
	accepted []string // values of an enum
	fields   map[string]*field
	elem     *field // of a list
}

// namesNeed reports whether the fact is the id of a need.
func (f *field) namesNeed() bool {
	return f.path == "on_hand.needs[]" || f.path == "carburetor.in_box[].need"
}

func (f *field) names() []string { return slices.Sorted(maps.Keys(f.fields)) }

// typePrefix keeps the names of object types apart from the paths that expressions
// write, which CEL would else take for the types.
const typePrefix = "#"

// celType is the type the checker sees.
func (f *field) celType() *cel.Type {
	switch f.class {
	case aNumber:
		return cel.DoubleType
	case aText:
		return cel.StringType
	case aBool:
		return cel.BoolType
	case aList:
		return cel.ListType(f.elem.celType())
	}
	return cel.ObjectType(typePrefix + f.path)
}

// enums are the values of every enum a fact may have, by Go type.
var enums = map[reflect.Type][]string{}

func enum[T ~string](values ...T) {
	texts := make([]string, len(values))
	for i, v := range values {
		texts[i] = string(v)
	}
	enums[reflect.TypeFor[T]()] = texts
}

// schema is the root of all facts; objects finds them by path.
var schema, objects = func() (*field, map[string]*field) {
	enum(catalog.TuneStock, catalog.TuneMild, catalog.TuneStrong, catalog.TuneRace)
	enum(catalog.SquareBore, catalog.SpreadBore, catalog.TwoBoreLarge, catalog.TwoBoreSmall)
	enum(catalog.ThrottleCable, catalog.ThrottleRod)
	enum(catalog.EndBall, catalog.EndEyelet, catalog.EndClevis, catalog.EndPin)
	enum(catalog.BracketOnCarburetor, catalog.BracketOnManifold, catalog.BracketOnFirewall)
	enum(catalog.Manual, catalog.Automatic)
	enum(catalog.DownshiftNone, catalog.VacuumModulator, catalog.DetentCable, catalog.KickdownRod,
		catalog.ThrottleValveCable, catalog.ElectricSwitch)
	enum(catalog.PumpMechanical, catalog.PumpElectric)
	enum(catalog.AdvanceNone, catalog.AdvancePorted, catalog.AdvanceManifold)
	enum(catalog.ChokeElectric, catalog.ChokeManual, catalog.ChokeDivorced, catalog.ChokeNone)
	enum(catalog.SignalPorted, catalog.SignalManifold)
	enum(catalog.LocationFront, catalog.LocationRear, catalog.LocationDriver, catalog.LocationPassenger)
	enum(catalog.FacingFront, catalog.FacingRear, catalog.FacingDriver, catalog.FacingPassenger)
	enum(catalog.FinishPlain, catalog.FinishBright, catalog.FinishBraided)
	enum(catalog.Families...)
	enum(catalog.Male, catalog.Female, catalog.Neutral)
	objects := map[string]*field{}
	return describe(reflect.TypeFor[Facts](), "", nil, reflect.StructField{}, objects), objects
}()

// describe makes the field for a Go type; nil for types that rules cannot read
// (money).
func describe(t reflect.Type, path string, index []int, tag reflect.StructField, objects map[string]*field) *field {
	f := &field{path: path, index: index}
	if t.Kind() == reflect.Pointer {
		t = t.Elem()
		f.optional = t.Kind() != reflect.Struct || scalarStruct(t)
	}
	if scalarStruct(t) && strings.Contains(tag.Tag.Get("json"), "omitzero") {
		f.optional = true
	}
	f.accepted = enums[t]
	if list := tag.Tag.Get("enum"); list != "" {
		f.accepted = strings.Fields(list)
	}
	switch {
	case t == reflect.TypeFor[units.Size]():
		f.class, f.size = aNumber, true
	case t == reflect.TypeFor[units.Thread]():
		f.class = aText
	case t == reflect.TypeFor[units.Money]():
		return nil
	case t.Kind() == reflect.Struct:
		f.class, f.fields = anObject, map[string]*field{}
		objects[path] = f
		for i := range t.NumField() {
			sf := t.Field(i)
			name, _, _ := strings.Cut(sf.Tag.Get("json"), ",")
			switch {
			case !sf.IsExported():
				continue
			case sf.Anonymous:
				promoted := describe(sf.Type, path, append(slices.Clone(index), i), sf, objects)
				maps.Copy(f.fields, promoted.fields)
				objects[path] = f
				continue
			case t == reflect.TypeFor[catalog.End](): // its json is made by hand
				if name = strings.ToLower(sf.Name); name == "thread" {
					continue
				}
			}
			if sub := describe(sf.Type, strings.TrimPrefix(path+"."+name, "."), append(slices.Clone(index), i), sf, objects); sub != nil {
				f.fields[name] = sub
			}
		}
	case t.Kind() == reflect.Slice:
		f.class = aList
		f.elem = describe(t.Elem(), path+"[]", nil, reflect.StructField{}, objects)
	case t.Kind() == reflect.String:
		f.class = aText
	case t.Kind() == reflect.Bool:
		f.class = aBool
	default: // Go integers and floats alike
		f.class = aNumber
		f.size = tag.Tag.Get("unit") == "size"
	}
	return f
}

func scalarStruct(t reflect.Type) bool {
	return t == reflect.TypeFor[units.Size]() || t == reflect.TypeFor[units.Thread]()
}

// provider tells CEL's type checker about the facts.
type provider struct{}

func (provider) EnumValue(name string) ref.Val { return types.NewErr("unknown enum %s", name) }

func (provider) FindIdent(string) (ref.Val, bool) { return nil, false }

func object(typeName string) (*field, bool) {
	path, ok := strings.CutPrefix(typeName, typePrefix)
	return objects[path], ok && objects[path] != nil
}

func (provider) FindStructType(name string) (*types.Type, bool) {
	f, ok := object(name)
	if !ok {
		return nil, false
	}
	return types.NewTypeTypeWithParam(f.celType()), true
}

func (provider) FindStructFieldNames(name string) ([]string, bool) {
	f, ok := object(name)
	if !ok {
		return nil, false
	}
	return f.names(), true
}

func (provider) FindStructFieldType(name, part string) (*types.FieldType, bool) {
	f, ok := object(name)
	if !ok || f.fields[part] == nil {
		return nil, false
	}
	return &types.FieldType{Type: f.fields[part].celType()}, true
}

func (provider) NewValue(name string, _ map[string]ref.Val) ref.Val {
	return types.NewErr("rules cannot make a %s", name)
}
