package rules

import (
	"fmt"
	"reflect"
	"testing"

	"cel.dev/cel-go/cel"
	"cel.dev/cel-go/common/types"
	"cel.dev/cel-go/common/types/ref"
	"go.yaml.in/yaml/v3"

	"onetrip/internal/units"
)

// The outside check of lower.go: cel-go's own evaluator on the same checked
// expression. This file lets it read the facts, by their Go fields.

// object is a fact that is an object, or an element of a list, as cel-go sees it.
type celObject struct {
	base  reflect.Value // what field.index of its parts starts from
	field *field
}

func (o celObject) ConvertToNative(reflect.Type) (any, error) { return o, nil }
func (o celObject) ConvertToType(ref.Type) ref.Val            { return types.NewErr("no conversion") }
func (o celObject) Equal(ref.Val) ref.Val                     { return types.NewErr("no equality") }
func (o celObject) Type() ref.Type                            { return o.field.celType() }
func (o celObject) Value() any                                { return o }

type celAdapter struct{}

func (celAdapter) NativeToValue(v any) ref.Val {
	if r, ok := v.(ref.Val); ok {
		return r
	}
	return types.DefaultTypeAdapter.NativeToValue(v)
}

type celProvider struct{ provider }

func (p celProvider) FindStructFieldType(name, part string) (*types.FieldType, bool) {
	ft, ok := p.provider.FindStructFieldType(name, part)
	if !ok {
		return nil, false
	}
	owner, _ := object(name)
	f := owner.fields[part]
	goField := func(target any) reflect.Value {
		v := target.(celObject).base
		for _, i := range f.index {
			v = reflect.Indirect(v).Field(i)
		}
		return v
	}
	ft.IsSet = func(target any) bool { return !goField(target).IsZero() }
	ft.GetFrom = func(target any) (any, error) {
		if f.class == anObject {
			return celObject{target.(celObject).base, f}, nil
		}
		v := goField(target)
		if f.optional && v.IsZero() {
			return nil, fmt.Errorf("%s is not there", f.path)
		}
		return celValue(reflect.Indirect(v), f), nil
	}
	return ft, true
}

func celValue(v reflect.Value, f *field) ref.Val {
	switch x := v.Interface().(type) {
	case units.Size:
		return types.Double(x.Inches())
	case units.Thread:
		return types.String(x.String())
	}
	switch v.Kind() {
	case reflect.String:
		return types.String(v.String())
	case reflect.Bool:
		return types.Bool(v.Bool())
	case reflect.Float64:
		return types.Double(v.Float())
	case reflect.Int, reflect.Int64:
		return types.Double(v.Int())
	case reflect.Slice:
		items := make([]any, v.Len())
		for i := range items {
			if f.elem.class == anObject {
				items[i] = celObject{v.Index(i), f.elem}
			} else {
				items[i] = celValue(v.Index(i), f.elem)
			}
		}
		return types.NewDynamicList(celAdapter{}, items)
	}
	panic("no CEL value for " + v.Type().String())
}

// celProgram compiles an expression for cel-go's evaluator.
func celProgram(t testing.TB, text string, each *field) cel.Program {
	t.Helper()
	c := &compiler{layout: &layout{}, envs: map[*field]*cel.Env{}}
	e, err := c.env(each)
	if err != nil {
		t.Fatal(err)
	}
	if e, err = e.Extend(cel.CustomTypeAdapter(celAdapter{}), cel.CustomTypeProvider(celProvider{})); err != nil {
		t.Fatal(err)
	}
	parsed, issues := e.Parse(text)
	if issues.Err() != nil {
		t.Fatalf("%s: %v", text, issues.Err())
	}
	wholeNumbersToDoubles(parsed.NativeRep())
	checked, issues := e.Check(parsed)
	if issues.Err() != nil {
		t.Fatalf("%s: %v", text, issues.Err())
	}
	program, err := e.Program(checked)
	if err != nil {
		t.Fatalf("%s: %v", text, err)
	}
	return program
}

// celFacts are the variables of a celProgram.
func celFacts(f *Facts, each *field, at int) map[string]any {
	root := reflect.ValueOf(f).Elem()
	vars := map[string]any{}
	for name, part := range schema.fields {
		vars[name] = celObject{root, part}
	}
	if each != nil {
		vars["each"] = celObject{walk(root, each.index).Index(at), each.elem}
	}
	return vars
}

// lowered compiles an expression alone, with the frame it reads.
func lowered(t testing.TB, text string, each *field) (*expr, *layout) {
	t.Helper()
	e, l, errs := tryLower(text, each)
	if len(errs) > 0 {
		t.Fatalf("%s\n%v", text, errs)
	}
	return e, l
}

func tryLower(text string, each *field) (*expr, *layout, Errors) {
	var errs Errors
	c := &compiler{layout: &layout{}, envs: map[*field]*cel.Env{}}
	node := &yaml.Node{Kind: yaml.ScalarNode, Value: text, Line: 1, Column: 1}
	e := c.compile(source{newFile("x", text, &errs), node, 0, text}, 0, scope{each: each})
	return e, c.layout, errs
}

// run gives a number, text or bool, or the error.
func (e *expr) run(fr *frame) (any, error) {
	fr.err = nil
	var v any
	switch e.class {
	case aNumber:
		v = e.number(fr)
	case aText:
		v = e.text(fr)
	case aBool:
		v = e.yes(fr)
	}
	return v, fr.err
}
