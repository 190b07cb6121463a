package kit

import (
	"fmt"
	"maps"
	"reflect"
	"slices"
	"strings"

	"onetrip/internal/catalog"
	"onetrip/internal/rules"
)

// A Class is vehicles that get the same kit with every carburetor: they agree in all
// that figures, fit, checks and rules read of a vehicle.
type Class struct {
	Index    int                // in the order of Classes
	Vehicles []*catalog.Vehicle // in the order given
}

// Classes sorts vehicles into classes under a set of rules. Classes that differ in little
// but the engine stand together; the order depends on nothing but the facts.
func Classes(set *rules.Set, vehicles []*catalog.Vehicle) []*Class {
	fields := readFields(set)
	byKey := make(map[string]*Class, len(vehicles))
	var key []byte
	for _, v := range vehicles {
		key = key[:0]
		root := reflect.ValueOf(v).Elem()
		for _, index := range fields {
			key = appendField(key, root.FieldByIndex(index))
		}
		c := byKey[string(key)]
		if c == nil {
			c = &Class{}
			byKey[string(key)] = c
		}
		c.Vehicles = append(c.Vehicles, v)
	}
	out := make([]*Class, 0, len(byKey))
	for i, key := range slices.Sorted(maps.Keys(byKey)) {
		byKey[key].Index = i
		out = append(out, byKey[key])
	}
	return out
}

// computedFrom are the fields of a vehicle that computations, fit and checks read,
// whatever the rules. TestClassesMissNothing finds one left out.
var computedFrom = []string{
	"engine.displacement_in3", "engine.tune", "engine.redline_rpm", "engine.volumetric_efficiency",
	"intake.flange", "intake.hood_clearance_in", "intake.stud_length_in", "intake.stud_thread",
	"throttle.pedal_travel_in",
	"transmission.downshift", "transmission.cable_travel_in",
	"fuel.pressure_psi", "fuel.free_flow_gph", "fuel.line_od_in", "fuel.line_end", "fuel.run_length_in", "fuel.ethanol_percent",
	"ignition.advance",
	"accessories.power_brakes", "accessories.pcv", "accessories.canister_purge", "accessories.egr", "accessories.cruise_control",
	"electrical.nominal_volts", "electrical.choke_feed_length_ft",
	"air_cleaner.neck_in", "air_cleaner.height_in",
	"site.altitude_ft",
}

// readFields are the fields of a vehicle that decide about kits, as reflect indexes.
func readFields(set *rules.Set) [][]int {
	var out [][]int
	reads := set.Reads()
	var visit func(t reflect.Type, path string, index []int)
	visit = func(t reflect.Type, path string, index []int) {
		for i := range t.NumField() {
			f := t.Field(i)
			name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
			below, at := strings.TrimPrefix(path+"."+name, "."), append(slices.Clone(index), i)
			switch {
			case f.Type.Kind() == reflect.Struct && f.Type.PkgPath() == t.PkgPath():
				visit(f.Type, below, at)
			case slices.Contains(computedFrom, below), slices.Contains(reads, "vehicle."+below):
				out = append(out, at)
			}
		}
	}
	vehicle := reflect.TypeFor[catalog.Vehicle]()
	visit(vehicle, "", nil)
	engineLast := func(index []int) int {
		if name := vehicle.Field(index[0]).Name; name == "Engine" || name == "Site" {
			return 1
		}
		return 0
	}
	slices.SortStableFunc(out, func(a, b []int) int { return engineLast(a) - engineLast(b) })
	return out
}

// appendField adds a value so that different values never look alike.
func appendField(b []byte, v reflect.Value) []byte {
	if v.Kind() == reflect.Pointer {
		if v.IsNil() {
			return append(b, "-;"...)
		}
		v = v.Elem()
	}
	return fmt.Appendf(b, "%v;", v.Interface())
}
