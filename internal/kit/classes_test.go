//go:build !race

package kit_test

import (
	"reflect"
	"slices"
	"strings"
	"testing"

	"onetrip/internal/catalog"
	"onetrip/internal/kit"
	"onetrip/internal/rules"
	"onetrip/internal/units"
)

// Not under the race detector, which has the same sweeps to watch elsewhere.

// Fields that classes do not look at change nothing, under rules that do not read them.
func TestClassesMissNothing(t *testing.T) {
	t.Parallel()
	s := demoSnapshot(t)
	files := map[string][]*rules.Rule{}
	for _, r := range s.Rules.Rules() {
		files[r.File] = append(files[r.File], r)
	}
	vehicles := s.Catalog.Vehicles()
	ignored := 0
	eachField(reflect.TypeFor[catalog.Vehicle](), "vehicle", nil, func(path string, index []int) {
		without := map[string]string{}
		for file, list := range files {
			for _, r := range list {
				if !slices.Contains(r.Reads(), path) {
					without[file] += r.Text + "\n"
				}
			}
		}
		set, err := rules.Parse(without)
		if err != nil {
			t.Fatal(err)
		}
		narrow := kit.NewSnapshot(s.Catalog, set)
		for i, v := range vehicles {
			other := *v
			from := reflect.ValueOf(vehicles[(i+7)%len(vehicles)]).Elem().FieldByIndex(index)
			reflect.ValueOf(&other).Elem().FieldByIndex(index).Set(from)
			if other == *v || len(other.Validate()) > 0 || len(kit.Classes(set, []*catalog.Vehicle{v, &other})) == 2 {
				continue
			}
			ignored++
			var kits [2][]*kit.Summary
			for n, one := range []*catalog.Vehicle{v, &other} {
				q := kit.SweepQuery{Vehicles: []*catalog.Vehicle{one}, Carburetors: s.Catalog.Carburetors()[i%9 : i%9+3]}
				if _, err := kit.Sweep(t.Context(), narrow, q, func(_ *kit.Class, _ *catalog.Carburetor, k *kit.Summary) error {
					kits[n] = append(kits[n], k)
					return nil
				}); err != nil {
					t.Fatal(err)
				}
			}
			if !reflect.DeepEqual(kits[0], kits[1]) {
				t.Errorf("%s of %s changes kits, and classes do not look at it", path, v.ID)
			}
		}
	})
	if ignored < len(vehicles) {
		t.Errorf("only %d pairs of vehicles that differ were of one class", ignored)
	}
}

func eachField(typ reflect.Type, path string, index []int, visit func(path string, index []int)) {
	for i := range typ.NumField() {
		f := typ.Field(i)
		at := append(slices.Clone(index), i)
		name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
		if f.Type.Kind() == reflect.Struct && f.Type != reflect.TypeFor[units.Size]() && f.Type != reflect.TypeFor[units.Thread]() {
			eachField(f.Type, path+"."+name, at, visit)
			continue
		}
		visit(path+"."+name, at)
	}
}
