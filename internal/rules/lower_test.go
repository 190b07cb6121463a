package rules

import (
	"encoding/json"
	"fmt"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"onetrip/internal/catalog"
	"onetrip/internal/units"
)

// chooser draws whole numbers below n: from rapid, or from a fuzzer's bytes.
type chooser interface{ below(n int) int }

type rapidChooser struct{ *rapid.T }

func (c rapidChooser) below(n int) int { return rapid.IntRange(0, n-1).Draw(c.T, "choice") }

type bytesChooser struct{ rest []byte }

func (c *bytesChooser) below(n int) int {
	if len(c.rest) == 0 {
		return 0
	}
	b := int(c.rest[0])
	c.rest = c.rest[1:]
	return b % n
}

func pick[T any](c chooser, list ...T) T { return list[c.below(len(list))] }

var someNumbers = []float64{0, 1, 2, 3, 0.5, 0.3125, 5.125, 12, 368, -1, 1e300, 0.1}

// fill draws every fact of a Go value.
func fill(c chooser, v reflect.Value, f *field) {
	switch v.Interface().(type) {
	case units.Size:
		if s := pick(c, "", "5/16", "3/8", "1/4"); s != "" {
			size, _ := units.ParseSize(s)
			v.Set(reflect.ValueOf(size))
		}
		return
	case units.Thread:
		if s := pick(c, "", "5/16-18", "1/4-20"); s != "" {
			thread, _ := units.ParseThread(s)
			v.Set(reflect.ValueOf(thread))
		}
		return
	case units.Money:
		return
	case catalog.End:
		end, err := catalog.ParseEnd(pick(c, "hose_barb 3/8", "inverted_flare 5/8-18 female", "npt 1/4 male"))
		if err != nil {
			panic(err)
		}
		v.Set(reflect.ValueOf(end))
		return
	}
	switch v.Kind() {
	case reflect.Pointer:
		if v.Type().Elem().Kind() != reflect.Struct || scalarStruct(v.Type().Elem()) {
			if c.below(2) == 0 {
				return
			}
		}
		v.Set(reflect.New(v.Type().Elem()))
		fill(c, v.Elem(), f)
	case reflect.Struct:
		for i := range v.NumField() {
			if v.Type().Field(i).IsExported() {
				fill(c, v.Field(i), nil)
			}
		}
	case reflect.Slice:
		n := c.below(4)
		v.Set(reflect.MakeSlice(v.Type(), n, n))
		for i := range n {
			fill(c, v.Index(i), nil)
		}
	case reflect.String:
		if accepted := enums[v.Type()]; accepted != nil {
			v.SetString(pick(c, accepted...))
		} else {
			v.SetString(pick(c, "", "a", "b", "pcv"))
		}
	case reflect.Bool:
		v.SetBool(c.below(2) == 1)
	case reflect.Int:
		v.SetInt(int64(c.below(5)))
	case reflect.Float64:
		v.SetFloat(pick(c, someNumbers...))
	}
}

func someFacts(c chooser) *Facts {
	f := &Facts{}
	fill(c, reflect.ValueOf(f).Elem(), nil)
	return f
}

// writer draws expressions that type-check.
type writer struct {
	chooser
	scalars []variableFact // facts by path as an expression writes it
	loops   int
}

type variableFact struct {
	text string
	*field
}

func newWriter(c chooser, each *field) *writer {
	w := &writer{chooser: c}
	var add func(text string, f *field)
	add = func(text string, f *field) {
		if f.class == anObject {
			for _, name := range f.names() {
				add(text+"."+name, f.fields[name])
			}
			return
		}
		w.scalars = append(w.scalars, variableFact{text, f})
	}
	for _, name := range schema.names() {
		add(name, schema.fields[name])
	}
	if each != nil {
		for range 5 { // as often as the many other facts
			add("each", each.elem)
		}
	}
	return w
}

// some draws a fact of a class.
func (w *writer) some(want func(variableFact) bool) variableFact {
	from := w.below(len(w.scalars))
	for i := range w.scalars {
		if f := w.scalars[(from+i)%len(w.scalars)]; want(f) {
			return f
		}
	}
	panic("no such fact")
}

// read writes a fact of a class, behind has() when it is optional.
func (w *writer) read(c class) string {
	f := w.some(func(f variableFact) bool { return f.class == c })
	if !f.optional {
		return f.text
	}
	other := map[class]string{aNumber: "7", aText: `"none"`, aBool: "true"}[c]
	return fmt.Sprintf("(has(%s) ? %s : %s)", f.text, f.text, other)
}

func (w *writer) number(depth int) string {
	if depth == 0 {
		return pick(w.chooser, w.read(aNumber), strconv.FormatFloat(math.Abs(pick(w.chooser, someNumbers...)), 'g', -1, 64))
	}
	a := func() string { return w.number(depth - 1) }
	switch w.below(10) {
	case 0, 1:
		return "(" + a() + pick(w.chooser, " + ", " - ", " * ") + a() + ")"
	case 2:
		return "(" + a() + pick(w.chooser, " / ", " % ") + a() + ")"
	case 3:
		return pick(w.chooser, "min", "max") + "(" + a() + ", " + a() + ")"
	case 4:
		return pick(w.chooser, "abs", "ceil", "floor", "round") + "(" + a() + ")"
	case 5:
		return "(" + w.yes(depth-1) + " ? " + a() + " : " + a() + ")"
	case 6:
		return "(-" + a() + ")"
	case 7:
		list := w.some(func(f variableFact) bool { return f.class == aList && !strings.Contains(f.path, "[]") })
		return "size(" + list.text + ")"
	}
	return w.number(0)
}

func (w *writer) words(depth int) string {
	if depth > 0 {
		switch w.below(3) {
		case 0:
			return "(" + w.words(depth-1) + " + " + w.words(depth-1) + ")"
		case 1:
			return "(" + w.yes(depth-1) + " ? " + w.words(depth-1) + " : " + w.words(depth-1) + ")"
		}
	}
	return pick(w.chooser, w.read(aText), `"a"`, `"b"`, `""`)
}

func (w *writer) yes(depth int) string {
	if depth == 0 {
		return pick(w.chooser, w.read(aBool), "true", "false")
	}
	b := func() string { return w.yes(depth - 1) }
	switch w.below(12) {
	case 0, 1, 2:
		return "(" + b() + pick(w.chooser, " && ", " || ") + b() + ")"
	case 3:
		return "!" + b()
	case 4, 5:
		return "(" + w.number(depth-1) + pick(w.chooser, " == ", " != ", " < ", " <= ", " > ", " >= ") + w.number(depth-1) + ")"
	case 6:
		// text that is surely no enum on the left may meet any other
		return `("" + ` + w.words(depth-1) + pick(w.chooser, " == ", " != ") + w.words(depth-1) + ")"
	case 7:
		f := w.some(func(f variableFact) bool { return f.accepted != nil && f.class == aText && !f.optional })
		return "(" + f.text + pick(w.chooser, " == ", " != ") + strconv.Quote(pick(w.chooser, f.accepted...)) + ")"
	case 8:
		f := w.some(func(f variableFact) bool { return f.optional })
		return "has(" + f.text + ")"
	case 9:
		if w.below(2) == 0 {
			return "(" + w.number(depth-1) + " in [1, 0.5, 12])"
		}
		list := w.some(func(f variableFact) bool {
			return f.class == aList && f.elem.class == aText && !strings.Contains(f.path, "[]")
		})
		return `("" + ` + w.words(depth-1) + " in " + list.text + ")"
	case 10:
		if w.loops == maxLoops-1 {
			return w.yes(0)
		}
		list := w.some(func(f variableFact) bool { return f.class == aList && !strings.Contains(f.path, "[]") })
		v := fmt.Sprintf("v%d", w.loops)
		w.loops++
		before := w.scalars
		w.scalars = slices.Clone(before)
		for range 20 {
			if list.elem.class != anObject {
				w.scalars = append(w.scalars, variableFact{v, list.elem})
				continue
			}
			for _, name := range list.elem.names() {
				if part := list.elem.fields[name]; part.class != anObject && part.class != aList {
					w.scalars = append(w.scalars, variableFact{v + "." + name, part})
				}
			}
		}
		test := w.yes(depth - 1)
		w.scalars = before
		w.loops--
		return "(" + list.text + pick(w.chooser, ".exists(", ".all(") + v + ", " + test + "))"
	}
	return "(" + b() + " ? " + b() + " : " + b() + ")"
}

// differ compares the closures with cel-go on one expression.
func differ(t fataler, tb testing.TB, text string, each *field, facts *Facts) {
	e, layout := lowered(tb, text, each)
	program := celProgram(tb, text, each)
	fr := layout.newFrame()
	if err := layout.load(fr, facts); err != nil {
		t.Fatalf("%v", err)
	}
	elements := 1
	if each != nil {
		elements = walk(reflect.ValueOf(facts).Elem(), each.index).Len()
	}
	for i := range elements {
		fr.at[0] = i
		got, gotErr := e.run(fr)
		want, _, wantErr := program.Eval(celFacts(facts, each, i))
		if (gotErr != nil) != (wantErr != nil) {
			t.Fatalf("%s\nclosure: %v, %v\ncel-go: %v, %v", text, got, gotErr, want, wantErr)
		}
		if wantErr == nil && !same(got, want.Value()) {
			t.Fatalf("%s\nclosure: %v\ncel-go: %v", text, got, want)
		}
		if gotErr != nil && !strings.Contains(wantErr.Error(), gotErr.Error()) {
			t.Fatalf("%s\nclosure fails with %v\ncel-go with %v", text, gotErr, wantErr)
		}
	}
}

type fataler interface{ Fatalf(string, ...any) }

func same(a, b any) bool {
	x, isNumber := a.(float64)
	y, _ := b.(float64)
	return a == b || isNumber && math.IsNaN(x) && math.IsNaN(y)
}

// forEachLists are the lists that for_each can walk, and nil for none.
func forEachLists() []*field {
	calcs := schema.fields["calc"].fields
	return []*field{nil, nil, calcs["hoses"], calcs["tees"], schema.fields["carburetor"].fields["ports"], calcs["caps"]}
}

func drawDifference(c chooser, t fataler, tb testing.TB) {
	each := pick(c, forEachLists()...)
	w := newWriter(c, each)
	text := pick(c, w.yes, w.number, w.words)(4)
	differ(t, tb, text, each, someFacts(c))
}

func TestPropertyClosuresAgreeWithCELsEvaluator(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) { drawDifference(rapidChooser{rt}, rt, t) })
}

func FuzzClosuresAgreeWithCELsEvaluator(f *testing.F) {
	f.Add([]byte("expression"))
	f.Add([]byte{2, 9, 200, 31, 7, 7, 99, 3, 250, 18, 44, 61, 5, 0, 1, 2, 3, 4, 5, 6, 7, 8})
	f.Fuzz(func(t *testing.T, data []byte) { drawDifference(&bytesChooser{data}, t, t) })
}

// FuzzExpression: any text is refused with a position or agrees with cel-go.
func FuzzExpression(f *testing.F) {
	for _, text := range []string{`vehicle.intake.flange != carburetor.flange`, `1/0 > 1 || true`, `calc.hoses.exists(h, h.use == "pcv")`,
		`has(vehicle.engine.redline_rpm) && vehicle.engine.redline_rpm > 5000`, `[1,2`, `vehicle`, `1u`, `b"x"`, `{}`, `vehicle.nope`,
		`carburetor.ports.all(p, has(p.hose_in) ? p.hose_in < 1 : p.large)`, `"a" in ["a"]`, `size([1,2])`, `-(-5)`, `x.y.z`, "'\xff'", `calc{}`} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		_, _, errs := tryLower(text, nil)
		if len(errs) > 0 {
			for _, e := range errs {
				if e.Line < 1 || e.Column < 1 || e.Detail == "" {
					t.Fatalf("%q: %+v", text, e)
				}
			}
			return
		}
		differ(t, t, text, nil, someFacts(&bytesChooser{[]byte("some facts of a vehicle and a carburetor")}))
	})
}

func TestClosuresByHand(t *testing.T) {
	radius, size := 1.12, units.Inches(3, 8)
	thread, _ := units.ParseThread("5/16-18")
	facts := &Facts{Vehicle: &catalog.Vehicle{}, Carburetor: &catalog.Carburetor{}, Calc: &Calc{}}
	facts.Vehicle.Intake = catalog.Intake{Flange: catalog.SpreadBore, HoodClearanceIn: 7.5, StudThread: &thread}
	facts.Vehicle.Fuel.LineODIn = size
	facts.Vehicle.Year = 1968
	facts.Carburetor.SKU, facts.Carburetor.Barrels = "QQ-1", 4
	facts.Carburetor.Throttle = catalog.CarburetorThrottle{Ends: []catalog.LinkEnd{catalog.EndBall, catalog.EndPin}, TransmissionRadiusIn: &radius}
	facts.Carburetor.Inlet.End, _ = catalog.ParseEnd("inverted_flare 5/8-18 female")
	facts.Carburetor.Ports = []catalog.Port{{ID: "a", HoseIn: size, Large: true}, {ID: "b", NPTIn: units.Inches(1, 4)}}
	facts.OnHand.SKUs = []string{"X-1"}
	for text, want := range map[string]any{
		`vehicle.intake.flange`:                      "spread_bore",
		`vehicle.fuel.line_od_in`:                    0.375,
		`vehicle.year + 1`:                           1969.0,
		`vehicle.intake.flange != carburetor.flange`: true,
		`has(vehicle.intake.stud_length_in)`:         false,
		`has(vehicle.intake.stud_thread)`:            true,
		`carburetor.sku + "!"`:                       "QQ-1!",
		`carburetor.barrels == 4`:                    true,
		`carburetor.inlet.end.family`:                "inverted_flare",
		`carburetor.inlet.end.size`:                  0.375,
		`carburetor.inlet.end.gender == "female"`:    true,
		`"ball" in carburetor.throttle.ends`:         true,
		`vehicle.throttle.kind in ["cable", "rod"]`:  false,
		`size(carburetor.ports)`:                     2.0,
		`carburetor.ports.exists(p, has(p.npt_in))`:  true,
		`carburetor.ports.all(p, p.large)`:           false,
		`carburetor.ports.exists(p, p.large && has(p.hose_in) && p.hose_in == 0.375)`: true,
		`"X-1" in on_hand.skus`: true,
		`7 % 4 + 7 / 2`:         6.5,
		`-2 * 3`:                -6.0,
		`max(1, min(5, 3)) + abs(-2) + ceil(0.2) + floor(1.8) + round(2.5)`: 10.0,
		`1 / 0 > 1 || true`:  true,
		`false && 1 / 0 > 1`: false,
		`1 / 0 > 1 && false`: false,
		`vehicle.intake.hood_clearance_in >= 7.5 ? "fits" : "no"`:                                               "fits",
		`(has(vehicle.intake.stud_thread) ? vehicle.intake.stud_thread : "5/16-18") == "5/16-18"`:               true,
		`!has(vehicle.intake.stud_length_in) || vehicle.intake.stud_length_in > 1`:                              true,
		`has(carburetor.throttle.transmission_radius_in) && carburetor.throttle.transmission_radius_in == 1.12`: true,
		`carburetor.ports.exists(p, carburetor.ports.exists(q, p.large && !q.large))`:                           true,
		`1e308 * 10 - 1e308 * 10 < 1`:                            false, // NaN
		`carburetor.ports.all(p, 1 / 0 > 1 || true)`:             true,
		`carburetor.ports.exists(p, p.large ? true : 1 / 0 > 1)`: true,
	} {
		e, layout := lowered(t, text, nil)
		fr := layout.newFrame()
		if err := layout.load(fr, facts); err != nil {
			t.Fatal(err)
		}
		if got, err := e.run(fr); err != nil || got != want {
			t.Errorf("%s: %v (%v), want %v", text, got, err, want)
		}
		differ(t, t, text, nil, facts)
	}
	for text, want := range map[string]string{
		`1 / vehicle.air_cleaner.neck_in`:             "division by zero",
		`5 % vehicle.air_cleaner.neck_in`:             "division by zero",
		`1 / 0 > 1 || false`:                          "division by zero",
		`(1 / 0 > 1 ? 1 : 2) == 1 && (true || false)`: "division by zero",
		`(1 / 0 == 1) == (false && true)`:             "division by zero",
		`carburetor.ports.exists(p, 1 / 0 > 1)`:       "division by zero",
	} {
		e, layout := lowered(t, text, nil)
		fr := layout.newFrame()
		if err := layout.load(fr, facts); err != nil {
			t.Fatal(err)
		}
		if got, err := e.run(fr); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v (%v), want the error %q", text, got, err, want)
		}
		differ(t, t, text, nil, facts)
	}
}

// Names in CEL are those of the contract's JSON, and slots read what the JSON says.
func TestPropertyFactsReadAsTheirJSON(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		facts := someFacts(rapidChooser{rt})
		blob, err := json.Marshal(facts)
		if err != nil {
			rt.Fatal(err)
		}
		var doc any
		if err := json.Unmarshal(blob, &doc); err != nil {
			rt.Fatal(err)
		}
		l := &layout{}
		var all []*field
		var add func(f *field)
		add = func(f *field) {
			switch f.class {
			case anObject:
				for _, name := range f.names() {
					add(f.fields[name])
				}
			case aList:
			default:
				l.slot(f, false)
				if f.optional {
					l.slot(f, true)
				}
				all = append(all, f)
			}
		}
		add(schema)
		fr := l.newFrame()
		if err := l.load(fr, facts); err != nil {
			rt.Fatal(err)
		}
		for _, f := range all {
			v, found := lookUp(doc, f.path)
			if f.optional {
				if known := fr.yes[find(l.yes, f, true)]; known != found {
					rt.Fatalf("%s: has() says %v, JSON %v", f.path, known, found)
				}
			}
			if !found {
				if !f.optional && !isZero(l, fr, f) {
					rt.Fatalf("%s is not in the JSON", f.path)
				}
				continue
			}
			switch f.class {
			case aNumber:
				if text, ok := v.(string); ok { // a size
					size, err := units.ParseSize(text)
					if strings.HasSuffix(f.path, "end.size") { // may be a thread; the end itself knows its tube
						size, err = facts.Carburetor.Inlet.End.Size, nil
					}
					if err != nil && text != "" {
						rt.Fatal(err)
					}
					v = size.Inches()
				}
				if got := fr.number[find(l.number, f, false)]; got != v {
					rt.Fatalf("%s: %v, JSON %v", f.path, got, v)
				}
			case aText:
				if got := fr.text[find(l.text, f, false)]; got != v {
					rt.Fatalf("%s: %v, JSON %v", f.path, got, v)
				}
			case aBool:
				if got := fr.yes[find(l.yes, f, false)]; got != v {
					rt.Fatalf("%s: %v, JSON %v", f.path, got, v)
				}
			}
		}
	})
}

func lookUp(doc any, path string) (any, bool) {
	for name := range strings.SplitSeq(path, ".") {
		m, _ := doc.(map[string]any)
		var ok bool
		if doc, ok = m[name]; !ok {
			return nil, false
		}
	}
	return doc, true
}

// isZero: omitempty leaves zero values of facts that are always known out.
func isZero(l *layout, fr *frame, f *field) bool {
	switch f.class {
	case aNumber:
		return fr.number[find(l.number, f, false)] == 0
	case aText:
		return fr.text[find(l.text, f, false)] == ""
	}
	return !fr.yes[find(l.yes, f, false)]
}
