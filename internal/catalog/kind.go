package catalog

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"onetrip/internal/units"
)

// Kind is what a part is. Each kind has its own attributes, listed in Kinds.
type Kind string

// AttrType is the type of an attribute's value.
type AttrType string

// Attribute types. A size prints as a fraction and compares as a number of inches;
// a numbers value is a list such as the jets of a metering set.
const (
	AttrNumber  AttrType = "number"
	AttrSize    AttrType = "size"
	AttrThread  AttrType = "thread"
	AttrEnum    AttrType = "enum"
	AttrBool    AttrType = "bool"
	AttrText    AttrType = "text"
	AttrNumbers AttrType = "numbers"
)

// AttrSpec declares one attribute of a kind.
type AttrSpec struct {
	Name     string
	Type     AttrType
	Accepted []string // enum values
	Optional bool
}

// KindSpec declares a kind: its attributes, how many ends its parts have, and
// which of the two dimensions every part of the kind must state. ByLength goods
// (hose, wire) are needed in inches and cut from the piece sold.
type KindSpec struct {
	Kind        Kind
	Title       string
	Ends        int
	NeedsLength bool
	NeedsHeight bool
	ByLength    bool
	Attrs       []AttrSpec

	index int
}

// Index is the place of the kind in Kinds.
func (k *KindSpec) Index() int { return k.index }

// Attr returns the declaration of an attribute.
func (k *KindSpec) Attr(name string) (AttrSpec, bool) {
	for _, a := range k.Attrs {
		if a.Name == name {
			return a, true
		}
	}
	return AttrSpec{}, false
}

func num(name string) AttrSpec    { return AttrSpec{Name: name, Type: AttrNumber} }
func size(name string) AttrSpec   { return AttrSpec{Name: name, Type: AttrSize} }
func thread(name string) AttrSpec { return AttrSpec{Name: name, Type: AttrThread} }
func yes(name string) AttrSpec    { return AttrSpec{Name: name, Type: AttrBool} }
func text(name string) AttrSpec   { return AttrSpec{Name: name, Type: AttrText} }
func enum[T ~string](name string, accepted ...T) AttrSpec {
	a := AttrSpec{Name: name, Type: AttrEnum}
	for _, v := range accepted {
		a.Accepted = append(a.Accepted, string(v))
	}
	return a
}
func optional(a AttrSpec) AttrSpec { a.Optional = true; return a }

var (
	flanges  = []Flange{SquareBore, SpreadBore, TwoBoreLarge, TwoBoreSmall}
	linkEnds = []LinkEnd{EndBall, EndEyelet, EndClevis, EndPin}
)

// Kinds declares every kind of part. Validation, CSV columns, rule type checking
// and the contract's parts documentation all read this one table.
var Kinds = []KindSpec{
	// mounting
	{Kind: "adapter_plate", Title: "Adapter plate", NeedsHeight: true, Attrs: []AttrSpec{
		enum("carburetor_flange", flanges...), enum("manifold_flange", flanges...), enum("material", "aluminium", "phenolic", "steel")}},
	{Kind: "base_gasket", Title: "Base gasket", NeedsHeight: true, Attrs: []AttrSpec{
		enum("flange", flanges...), enum("material", "fibre", "cork", "composite")}},
	{Kind: "stud_set", Title: "Mounting stud set with nuts and washers", NeedsLength: true, Attrs: []AttrSpec{ // length: free length above the flange
		thread("thread"), num("studs")}},
	{Kind: "spacer", Title: "Heat spacer", NeedsHeight: true, Attrs: []AttrSpec{
		enum("flange", flanges...), enum("material", "phenolic", "wood_laminate", "aluminium")}},
	// fuel; pressures are the highest the part withstands
	{Kind: "fuel_fitting", Title: "Fuel fitting", Ends: 2, NeedsLength: true, Attrs: []AttrSpec{
		enum("shape", "straight", "elbow_45", "elbow_90"), enum("material", "brass", "steel", "aluminium"), num("max_pressure_psi")}},
	{Kind: "fuel_hose", Title: "Fuel hose", Ends: 2, NeedsLength: true, ByLength: true, Attrs: []AttrSpec{
		size("bore_in"), enum("class", "30R7", "30R9", "30R14"), num("max_pressure_psi"), num("max_ethanol_percent")}},
	{Kind: "fuel_filter", Title: "Inline fuel filter", Ends: 2, NeedsLength: true, Attrs: []AttrSpec{
		num("max_pressure_psi"), num("rated_flow_gph"), num("drop_psi_at_rated_flow"), num("max_ethanol_percent"), num("micron")}},
	{Kind: "hose_clamp", Title: "Hose clamp", Attrs: []AttrSpec{
		size("hose_in"), enum("style", "fuel_injection", "worm_drive", "spring")}},
	{Kind: "pressure_regulator", Title: "Fuel pressure regulator", Ends: 2, NeedsLength: true, Attrs: []AttrSpec{
		num("outlet_min_psi"), num("outlet_max_psi"), num("max_inlet_psi"), num("max_flow_gph"), yes("needs_return")}},
	{Kind: "fuel_pump", Title: "Fuel pump", Ends: 2, Attrs: []AttrSpec{
		enum("drive", PumpMechanical, PumpElectric), num("pressure_psi"), num("free_flow_gph"), num("volts"), yes("needs_return")}}, // volts 0: mechanical
	{Kind: "return_tee", Title: "Fuel return tee", Ends: 2, Attrs: []AttrSpec{
		size("run_in"), size("branch_in"), num("max_pressure_psi"), num("orifice_in")}},
	// throttle
	{Kind: "throttle_bracket", Title: "Throttle bracket", Attrs: []AttrSpec{
		enum("throttle", ThrottleCable, ThrottleRod), enum("mounts_on", BracketOnCarburetor, BracketOnManifold, BracketOnFirewall), enum("flange", flanges...)}},
	{Kind: "throttle_end", Title: "Throttle linkage end", Attrs: []AttrSpec{
		enum("linkage_end", linkEnds...), enum("lever_end", linkEnds...)}},
	{Kind: "return_spring_set", Title: "Throttle return spring set", Attrs: []AttrSpec{
		num("springs"), enum("throttle", ThrottleCable, ThrottleRod)}},
	// transmission
	{Kind: "kickdown_lever", Title: "Kickdown lever", Attrs: []AttrSpec{
		text("series"), enum("downshift", KickdownRod, DetentCable, ElectricSwitch)}},
	{Kind: "transmission_cable_bracket", Title: "Transmission cable bracket", Attrs: []AttrSpec{
		enum("downshift", DetentCable, ThrottleValveCable), enum("flange", flanges...)}},
	{Kind: "tv_geometry_kit", Title: "Throttle-valve cable geometry lever", Attrs: []AttrSpec{
		text("series"), num("radius_in"), num("cable_travel_in")}},
	// vacuum
	{Kind: "vacuum_hose", Title: "Vacuum hose", NeedsLength: true, ByLength: true, Attrs: []AttrSpec{
		size("bore_in"), enum("service", "vacuum", "pcv", "booster")}},
	{Kind: "vacuum_tee", Title: "Vacuum tee", Attrs: []AttrSpec{size("run_in"), size("branch_in")}},
	{Kind: "vacuum_reducer", Title: "Vacuum hose reducer", Attrs: []AttrSpec{size("large_in"), size("small_in")}},
	{Kind: "vacuum_cap", Title: "Vacuum cap", Attrs: []AttrSpec{size("hose_in")}},
	{Kind: "vacuum_nipple", Title: "Pipe thread to hose nipple", Attrs: []AttrSpec{size("npt_in"), size("hose_in")}},
	{Kind: "pipe_plug", Title: "Pipe plug", Attrs: []AttrSpec{size("npt_in"), enum("drive", "hex_socket", "square_head")}},
	// choke
	{Kind: "choke_wire", Title: "Choke wire", NeedsLength: true, ByLength: true, Attrs: []AttrSpec{
		num("awg"), enum("use", "feed", "ground"), optional(num("fuse_a"))}},
	{Kind: "choke_relay", Title: "Choke relay", Attrs: []AttrSpec{num("volts"), num("max_amps")}},
	{Kind: "choke_conversion", Title: "Choke conversion", Attrs: []AttrSpec{
		text("series"), enum("from", ChokeElectric, ChokeDivorced, ChokeManual, ChokeNone), enum("to", ChokeElectric, ChokeManual), num("volts")}}, // volts 0: manual
	// idle
	{Kind: "idle_solenoid", Title: "Idle stop solenoid", Attrs: []AttrSpec{text("series"), num("volts")}},
	// air
	{Kind: "neck_adapter", Title: "Air horn neck adapter", NeedsHeight: true, Attrs: []AttrSpec{num("carburetor_neck_in"), num("cleaner_neck_in")}},
	{Kind: "cleaner_gasket", Title: "Air cleaner gasket", NeedsHeight: true, Attrs: []AttrSpec{num("neck_in")}},
	{Kind: "cleaner_stud", Title: "Air cleaner stud with nut", NeedsLength: true, Attrs: []AttrSpec{
		thread("carburetor_thread"), thread("cleaner_thread")}},
	{Kind: "low_profile_cleaner", Title: "Low-profile air cleaner", NeedsHeight: true, Attrs: []AttrSpec{num("neck_in"), num("diameter_in"), num("flow_cfm")}},
	// tuning
	{Kind: "metering_set", Title: "Jet and rod set", Attrs: []AttrSpec{
		text("series"), {Name: "jets_in", Type: AttrNumbers}, {Name: "rods_in", Type: AttrNumbers, Optional: true}}},
	// shop
	{Kind: "fender_cover", Title: "Fender cover", Attrs: []AttrSpec{enum("grip", "magnetic", "weighted")}},
	{Kind: "gasket_scraper", Title: "Gasket scraper", Attrs: []AttrSpec{enum("blade", "steel", "plastic")}},
	{Kind: "thread_sealant", Title: "Thread sealant", Attrs: []AttrSpec{yes("fuel_safe"), enum("form", "paste", "tape")}},
}

// sayings are what a part with a value of an attribute is or does, with the unit at the
// value; of a boolean for true and for false. Attributes of one name mean the same
// whatever the kind.
var sayings = map[string]string{
	"awg":                    "has a gauge of %s AWG",
	"blade":                  "has a %s blade",
	"bore_in":                "has a bore of %s in",
	"branch_in":              "has a branch of %s in",
	"cable_travel_in":        "has a cable travel of %s in",
	"carburetor_flange":      "goes under a %s carburetor",
	"carburetor_neck_in":     "fits a carburetor neck of %s in",
	"carburetor_thread":      "has a carburetor thread of %s",
	"class":                  "is of class %s",
	"cleaner_neck_in":        "fits a cleaner neck of %s in",
	"cleaner_thread":         "has a cleaner thread of %s",
	"diameter_in":            "has a diameter of %s in",
	"downshift":              "is for a downshift by %s",
	"drive":                  "has %s drive",
	"drop_psi_at_rated_flow": "drops %s psi at its rated flow",
	"flange":                 "fits a %s flange",
	"flow_cfm":               "flows %s cfm",
	"form":                   "comes as %s",
	"free_flow_gph":          "delivers %s gph",
	"from":                   "converts from %s",
	"fuel_safe":              "is safe with fuel|is not safe with fuel",
	"fuse_a":                 "is for a fuse of %s A",
	"grip":                   "has a %s grip",
	"height_in":              "is %s in high",
	"hose_in":                "fits %s in hose",
	"jets_in":                "has jets of %s in",
	"large_in":               "has a large end of %s in",
	"length_in":              "is %s in long",
	"lever_end":              "joins %s at the lever",
	"linkage_end":            "joins %s at the linkage",
	"manifold_flange":        "goes on a %s manifold",
	"material":               "is made of %s",
	"max_amps":               "carries %s A",
	"max_ethanol_percent":    "takes %s %% ethanol",
	"max_flow_gph":           "passes %s gph",
	"max_inlet_psi":          "withstands %s psi at its inlet",
	"max_pressure_psi":       "withstands %s psi",
	"micron":                 "filters to %s micron",
	"mounts_on":              "mounts on the %s",
	"neck_in":                "fits a neck of %s in",
	"needs_return":           "needs a return line|needs no return line",
	"npt_in":                 "has a pipe thread of %s in",
	"orifice_in":             "has an orifice of %s in",
	"outlet_max_psi":         "has a highest outlet of %s psi",
	"outlet_min_psi":         "has a lowest outlet of %s psi",
	"pressure_psi":           "makes %s psi",
	"radius_in":              "has a radius of %s in",
	"rated_flow_gph":         "passes %s gph",
	"rods_in":                "has rods of %s in",
	"run_in":                 "has a run of %s in",
	"series":                 "is for the %s series",
	"service":                "is for %s service",
	"shape":                  "has the shape %s",
	"small_in":               "has a small end of %s in",
	"springs":                "has %s springs",
	"studs":                  "has %s studs",
	"style":                  "is of the %s style",
	"thread":                 "has a thread of %s",
	"throttle":               "is for a %s throttle",
	"to":                     "converts to %s",
	"use":                    "is for use as %s",
	"volts":                  "is for %s V",
}

// Says is what a part with a value of an attribute is or does, as people say it:
// "withstands at least 6 psi". The value is as CSV and rules write it, alone or as "at
// least 6" and "30R9 or 30R14". False when no kind has such an attribute.
func Says(attr, value string) (string, bool) {
	words, known := sayings[attr]
	if !known {
		return "", false
	}
	if yes, no, either := strings.Cut(words, "|"); either {
		if value == "true" {
			return yes, true
		}
		return no, true
	}
	if attr != "series" { // all other words are ours
		value = Words(value)
	}
	return fmt.Sprintf(words, value), true
}

// AppendWords adds a value of an enumeration to a text as people write it.
func AppendWords(b []byte, value string) []byte {
	switch Flange(value) {
	case TwoBoreLarge:
		return append(b, "large two-bore"...)
	case TwoBoreSmall:
		return append(b, "small two-bore"...)
	}
	from := len(b)
	b = append(b, value...)
	for i := from; i < len(b); i++ {
		if b[i] == '_' {
			b[i] = ' '
		}
	}
	return b
}

// Words is a value of an enumeration as people write it: "square bore".
func Words[T ~string](value T) string { return string(AppendWords(nil, string(value))) }

// SaysAll joins what Says says of several attributes: "has a bore of 3/8 in and withstands
// at least 6 psi". A verb that follows itself is said once.
func SaysAll(asked [][2]string) string {
	var b strings.Builder
	before := ""
	for _, a := range asked {
		words, known := Says(a[0], a[1])
		if !known {
			words = "has " + a[0] + " " + a[1]
		}
		verb, rest, _ := strings.Cut(words, " ")
		if before != "" {
			b.WriteString(" and ")
		}
		if verb == before {
			words = rest
		}
		b.WriteString(words)
		before = verb
	}
	return b.String()
}

var kindByName = func() map[Kind]*KindSpec {
	m := make(map[Kind]*KindSpec, len(Kinds))
	for i := range Kinds {
		Kinds[i].index = i
		m[Kinds[i].Kind] = &Kinds[i]
	}
	return m
}()

// Spec returns the declaration of a kind.
func (k Kind) Spec() (*KindSpec, bool) { s, ok := kindByName[k]; return s, ok }

// Value is the value of an attribute. Num holds numbers, sizes (inches) and bools
// (0 or 1); Text holds enum, text and the canonical form of sizes and threads;
// Numbers holds a list. Equal compares as the type demands.
type Value struct {
	Num     float64
	Text    string
	Numbers []float64
}

// Equal reports equality of two values of one attribute.
func (v Value) Equal(o Value) bool {
	return v.Num == o.Num && v.Text == o.Text && slices.Equal(v.Numbers, o.Numbers)
}

// Attr is one attribute of a part.
type Attr struct {
	Name  string
	Type  AttrType
	Value Value
}

// Compared is the value reduced to what equality of its type looks at: Num alone for
// numbers, sizes and bools, Text alone for the others.
func (a Attr) Compared() Value {
	switch a.Type {
	case AttrNumber, AttrSize, AttrBool:
		return Value{Num: a.Value.Num}
	}
	return Value{Text: a.Value.Text}
}

// ParseValue reads an attribute's value from text, as CSV and rules write it.
func (a AttrSpec) ParseValue(s string) (Value, error) {
	fail := func(want string) (Value, error) {
		return Value{}, fmt.Errorf("%s: %q is not %s", a.Name, s, want)
	}
	switch a.Type {
	case AttrNumber:
		n, err := parseNumber(s)
		if err != nil {
			return fail("a number")
		}
		return Value{Num: n}, nil
	case AttrSize:
		z, err := units.ParseSize(s)
		if err != nil {
			return Value{}, fmt.Errorf("%s: %w", a.Name, err)
		}
		return Value{Num: z.Inches(), Text: z.String()}, nil
	case AttrThread:
		t, err := units.ParseThread(s)
		if err != nil {
			return Value{}, fmt.Errorf("%s: %w", a.Name, err)
		}
		return Value{Num: t.Major.Inches(), Text: t.String()}, nil
	case AttrEnum:
		if !slices.Contains(a.Accepted, s) {
			return fail("one of " + strings.Join(a.Accepted, ", "))
		}
		return Value{Text: s}, nil
	case AttrBool:
		switch s {
		case "true":
			return Value{Num: 1}, nil
		case "false":
			return Value{}, nil
		}
		return fail("true or false")
	case AttrNumbers:
		var v Value
		for _, f := range strings.Fields(s) {
			n, err := parseNumber(f)
			if err != nil {
				return fail("a list of numbers separated by spaces")
			}
			v.Numbers = append(v.Numbers, n)
		}
		return v, nil
	}
	if s == "" {
		return fail("a text")
	}
	return Value{Text: s}, nil
}

// parseNumber reads a finite number; the checker knows what each attribute can be.
func parseNumber(s string) (float64, error) {
	n, err := strconv.ParseFloat(s, 64)
	if err == nil && (math.IsNaN(n) || math.IsInf(n, 0)) {
		err = strconv.ErrSyntax
	}
	return n, err
}

// String prints the value as ParseValue reads it.
func (a Attr) String() string {
	switch a.Type {
	case AttrNumber:
		return strconv.FormatFloat(a.Value.Num, 'g', -1, 64)
	case AttrBool:
		return strconv.FormatBool(a.Value.Num != 0)
	case AttrNumbers:
		parts := make([]string, len(a.Value.Numbers))
		for i, n := range a.Value.Numbers {
			parts[i] = strconv.FormatFloat(n, 'g', -1, 64)
		}
		return strings.Join(parts, " ")
	}
	return a.Value.Text
}
