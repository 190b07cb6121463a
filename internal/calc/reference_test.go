package calc

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
)

// row is one line of a reference table by column name.
type row map[string]string

// readTable reads testdata/reference/name and checks how many rows it has, so that
// a truncated table cannot pass. Sources: testdata/reference/README.md.
func readTable(t *testing.T, name string, wantRows int) []row {
	t.Helper()
	f, err := os.Open("../../testdata/reference/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	lines, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var rows []row
	for _, line := range lines[1:] {
		r := row{}
		for i, column := range lines[0] {
			r[column] = line[i]
		}
		rows = append(rows, r)
	}
	if len(rows) != wantRows {
		t.Fatalf("%s has %d rows, want %d", name, len(rows), wantRows)
	}
	return rows
}

func (r row) num(t *testing.T, column string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(r[column], 64)
	if err != nil {
		t.Fatalf("column %q: %v", column, err)
	}
	return v
}

// near fails unless got is within a relative tolerance of want.
func near(t *testing.T, what string, got, want, relative float64) {
	t.Helper()
	if !(math.Abs(got-want) <= relative*math.Abs(want)) {
		t.Errorf("%s: got %.12g, want %.12g within %g relative", what, got, want, relative)
	}
}

// must returns the value of a call that has to succeed.
func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

// refuses fails unless err is one line that names the input and says how to mend it.
func refuses(t *testing.T, err error, name string) {
	t.Helper()
	switch {
	case err == nil:
		t.Errorf("%s: accepted", name)
	case !strings.Contains(err.Error(), name):
		t.Errorf("error %q does not name %s", err, name)
	case strings.Contains(err.Error(), "\n"):
		t.Errorf("error %q is not one line", err)
	}
}

// printedTo fails unless got, rounded to the decimals that the published table
// prints, is what it prints: within half a unit of the last digit.
func printedTo(t *testing.T, what string, got float64, printed string) {
	t.Helper()
	want, err := strconv.ParseFloat(printed, 64)
	if err != nil {
		t.Fatal(err)
	}
	_, decimals, _ := strings.Cut(printed, ".")
	half := 0.5 * math.Pow10(-len(decimals))
	if math.Abs(got-want) > half*(1+1e-6) {
		t.Errorf("%s: got %.9g, the table prints %s", what, got, printed)
	}
}

// Published table values, from memory of ISO 2533, the U.S. Standard Atmosphere
// 1976, the NBS Handbook 100 copper wire table and the Moody chart; each row of
// crosscheck.csv names its own.
func TestPublishedTablesAsRemembered(t *testing.T) {
	for _, r := range readTable(t, "crosscheck.csv", 55) {
		column, printed := r["column"], r["remembered_value"]
		key := map[string]float64{}
		for _, field := range strings.Fields(r["row"]) {
			name, value, _ := strings.Cut(field, "=")
			if v, err := strconv.ParseFloat(value, 64); err == nil {
				key[name] = v
			}
		}
		what := r["file"] + " " + r["row"] + " " + column
		atmosphere := func(air Air) float64 {
			switch column {
			case "temperature_K":
				return air.TemperatureK
			case "pressure_Pa":
				return air.PressurePa
			case "density_kg_m3":
				return air.DensityKgM3
			case "pressure_ratio":
				return air.PressureRatio
			case "density_ratio":
				return air.DensityRatio
			}
			t.Fatalf("%s: unknown column", what)
			return 0
		}
		switch r["file"] {
		case "standard_atmosphere.csv":
			ft, inFeet := key["altitude_ft"]
			if !inFeet {
				ft = key["altitude_m"] / 0.3048
			}
			printedTo(t, what, atmosphere(must(StandardAtmosphere(ft))), printed)
		case "wire_gauge.csv":
			awg := int(key["awg"])
			mm := must(WireDiameterMM(awg))
			switch column {
			case "diameter_mm":
				printedTo(t, what, mm, printed)
			case "area_mm2":
				printedTo(t, what, math.Pi/4*mm*mm, printed)
			case "resistance_20C_ohm_per_1000ft":
				printedTo(t, what, must(CopperOhmPerM(awg))*304.8, printed)
			default:
				t.Fatalf("%s: unknown column", what)
			}
		case "moody.csv":
			f, _, err := DarcyFriction(key["reynolds"], key["relative_roughness"])
			if err != nil {
				t.Fatal(err)
			}
			near(t, what, f, must(strconv.ParseFloat(printed, 64)), 0.02) // a chart is read to a few per cent
		case "(units stdatmT/stdatmP only)":
			// Geometric altitude read as geopotential, as a map's altitude is: the
			// difference that StandardAtmosphere's comment promises.
			air := must(StandardAtmosphere(key["geometric_altitude_m"] / 0.3048))
			near(t, what, atmosphere(air), must(strconv.ParseFloat(printed, 64)), 1e-3)
		default:
			t.Fatalf("%s: unknown table", what)
		}
	}
}
