package store

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"reflect"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"onetrip/internal/catalog"
	"onetrip/internal/units"
)

// readAll decodes a file to the end: its good rows, and all that is wrong, line by line.
func readAll[T any](t rapid.TB, text string, table *Table[T]) ([]*T, []string) {
	t.Helper()
	var rows []*T
	var wrong []string
	d := NewDecoder(strings.NewReader(text), "file.csv", table)
	for {
		row, err := d.Next()
		var list FileErrors
		switch {
		case errors.Is(err, io.EOF):
			return rows, wrong
		case errors.As(err, &list):
			wrong = append(wrong, strings.Split(list.Error(), "\n")...)
		case err != nil:
			t.Fatal(err)
		default:
			rows = append(rows, row)
		}
	}
}

func encode[T any](t rapid.TB, table *Table[T], rows ...*T) string {
	t.Helper()
	var b bytes.Buffer
	e, err := NewEncoder(&b, table)
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range rows {
		if err := e.Encode(row); err != nil {
			t.Fatal(err)
		}
	}
	if err := e.Flush(); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// identity checks that rows come back as they went.
func identity[T any](t rapid.TB, table *Table[T], rows ...*T) {
	t.Helper()
	text := encode(t, table, rows...)
	back, wrong := readAll(t, text, table)
	if len(wrong) > 0 {
		t.Fatalf("written, then refused: %s\n%s", strings.Join(wrong, "\n"), text)
	}
	if len(back) != len(rows) {
		t.Fatalf("%d rows came back of %d:\n%s", len(back), len(rows), text)
	}
	for i := range rows {
		if !reflect.DeepEqual(back[i], rows[i]) {
			t.Fatalf("row %d came back as\n%+v, was\n%+v\n%s", i, back[i], rows[i], text)
		}
	}
}

// Generators of valid values.

func anyOf[T any](list []T) *rapid.Generator[T] { return rapid.SampledFrom(list) }

func between(low, high float64) *rapid.Generator[float64] { return rapid.Float64Range(low, high) }

func maybe[T any](g *rapid.Generator[T]) *rapid.Generator[*T] { return rapid.Ptr(g, true) }

func anyID() *rapid.Generator[string] { return rapid.StringMatching(`[A-Za-z0-9][A-Za-z0-9._-]{0,39}`) }

// anyLabel draws texts that are hard on CSV: quotes, commas, formulas, foreign letters.
func anyLabel(max int) *rapid.Generator[string] {
	runes := []rune(`abcXYZ019 ,;"'=+-@<>&|\/ßäé車🔧%`)
	return rapid.Custom(func(t *rapid.T) string {
		s := rapid.StringOfN(rapid.SampledFrom(runes), 1, max, -1).Draw(t, "text")
		if s = strings.TrimSpace(s); s == "" {
			return "x"
		}
		return s
	})
}

func anyStudThread() *rapid.Generator[units.Thread] {
	return rapid.Custom(func(t *rapid.T) units.Thread {
		return units.Thread{Major: units.Inches(rapid.IntRange(8, 64).Draw(t, "64ths"), 64), PerInch: int16(rapid.IntRange(3, 100).Draw(t, "tpi"))}
	})
}

func anyVehicle() *rapid.Generator[*catalog.Vehicle] {
	return rapid.Custom(func(t *rapid.T) *catalog.Vehicle {
		v := &catalog.Vehicle{ID: anyID().Draw(t, "id")}
		if rapid.Bool().Draw(t, "named") {
			v.Make, v.Model, v.Year = anyLabel(30).Draw(t, "make"), anyLabel(30).Draw(t, "model"), rapid.IntRange(1900, 2100).Draw(t, "year")
		}
		v.Engine = catalog.Engine{DisplacementIn3: between(20, 1200).Draw(t, "in3"), Cylinders: rapid.IntRange(1, 16).Draw(t, "cylinders"), Tune: anyOf(catalog.Tunes).Draw(t, "tune"),
			RedlineRPM: maybe(between(500, 15000)).Draw(t, "redline"), VolumetricEfficiency: maybe(between(0.3, 1.5)).Draw(t, "ve"), IdleVacuumInHg: maybe(between(1, 25)).Draw(t, "vacuum")}
		v.Intake = catalog.Intake{Flange: anyOf(catalog.Flanges).Draw(t, "flange"), HoodClearanceIn: between(1, 40).Draw(t, "hood"),
			StudLengthIn: maybe(between(0, 6)).Draw(t, "stud"), StudThread: maybe(anyStudThread()).Draw(t, "thread")}
		v.Throttle = catalog.Throttle{Kind: anyOf(catalog.ThrottleKinds).Draw(t, "throttle"), End: anyOf(catalog.LinkEnds).Draw(t, "end"),
			BracketOn: anyOf(catalog.BracketPlaces).Draw(t, "bracket"), PedalTravelIn: between(0.5, 8).Draw(t, "pedal")}
		v.Transmission = catalog.Transmission{Kind: catalog.Automatic, Downshift: anyOf(catalog.Downshifts).Draw(t, "downshift")}
		switch v.Transmission.Downshift {
		case catalog.DownshiftNone:
			v.Transmission.Kind = anyOf(catalog.TransmissionKinds).Draw(t, "transmission")
		case catalog.DetentCable, catalog.ThrottleValveCable:
			v.Transmission.CableTravelIn = maybe(between(0.2, 8)).Draw(t, "travel")
		}
		v.Fuel = catalog.Fuel{Pump: anyOf(catalog.PumpKinds).Draw(t, "pump"), PressurePSI: between(0.5, 20).Draw(t, "psi"), FreeFlowGPH: maybe(between(1, 1000)).Draw(t, "gph"),
			LineODIn: units.Inches(rapid.SampledFrom([]int{4, 6, 8}).Draw(t, "line"), 16), LineEnd: anyOf(catalog.SupplyFamilies).Draw(t, "family"),
			RunLengthIn: between(1, 300).Draw(t, "run"), ReturnLine: rapid.Bool().Draw(t, "return"), EthanolPercent: between(1, 100).Draw(t, "ethanol")}
		v.Ignition.Advance = anyOf(catalog.Advances).Draw(t, "advance")
		yes := rapid.Bool()
		v.Accessories = catalog.Accessories{AirConditioning: yes.Draw(t, "ac"), IdleStopSolenoid: yes.Draw(t, "solenoid"), PowerBrakes: yes.Draw(t, "brakes"), PCV: yes.Draw(t, "pcv"),
			CanisterPurge: maybe(yes).Draw(t, "purge"), EGR: maybe(yes).Draw(t, "egr"), CruiseControl: maybe(yes).Draw(t, "cruise")}
		v.Electrical = catalog.Electrical{NominalVolts: rapid.SampledFrom([]float64{6, 12, 24}).Draw(t, "volts"), NegativeGround: yes.Draw(t, "ground"), ChokeFeedLengthFt: between(0.5, 50).Draw(t, "feed")}
		v.AirCleaner = catalog.AirCleaner{NeckIn: between(1, 10).Draw(t, "neck"), HeightIn: between(0.5, 15).Draw(t, "height"), StudThread: maybe(anyStudThread()).Draw(t, "cleaner stud")}
		v.Site.AltitudeFt = between(-1500, 20000).Draw(t, "altitude")
		v.Road = catalog.Road{OnRoad: yes.Draw(t, "road"), EmissionsControlled: yes.Draw(t, "emissions")}
		return v
	})
}

func anyOffer() *rapid.Generator[catalog.Offer] {
	return rapid.Custom(func(t *rapid.T) catalog.Offer {
		o := catalog.Offer{SKU: anyID().Draw(t, "sku"), Name: anyLabel(120).Draw(t, "name"), Finish: anyOf(catalog.Finishes).Draw(t, "finish"), PackQuantity: rapid.IntRange(1, 10000).Draw(t, "pack"),
			Price: units.Money{AmountMinor: rapid.Int64Range(1, 100_000_000).Draw(t, "price"), Currency: "USD"}, LeadTimeDays: rapid.IntRange(0, 730).Draw(t, "lead")}
		if body := rapid.StringMatching(`[0-9]{12}`).Draw(t, "gtin"); rapid.Bool().Draw(t, "has gtin") {
			digit, err := units.GTINCheckDigit(body)
			if err != nil {
				t.Fatal(err)
			}
			o.GTIN = fmt.Sprintf("%s%d", body, digit)
		}
		if o.Discontinued = rapid.Bool().Draw(t, "discontinued"); o.Discontinued {
			if by := anyID().Draw(t, "by"); by != o.SKU {
				o.ReplacedBy = by
			}
		}
		return o
	})
}

// anyPart draws a valid part of a kind: draw, and draw again where attributes
// contradict each other.
func anyPart(spec *catalog.KindSpec) *rapid.Generator[*catalog.Part] {
	ends := []string{"plain_tube 5/16", "inverted_flare 5/8-18 male", "an_flare -6 female", "hose_barb 3/8", "npt 1/8 female", "unf_port 7/8-20 female", "banjo 1/2-20 male", "hose 5/16"}
	number := func(t *rapid.T, name string) float64 {
		switch {
		case name == "volts":
			return rapid.SampledFrom([]float64{0, 6, 12, 24}).Draw(t, name)
		case strings.HasSuffix(name, "_cfm"):
			return between(50, 3000).Draw(t, name)
		case name == "jets_in" || name == "rods_in" || name == "orifice_in":
			return between(0.005, 0.35).Draw(t, name)
		case name == "outlet_min_psi":
			return between(1, 5).Draw(t, name)
		case name == "outlet_max_psi":
			return between(5, 9).Draw(t, name)
		case name == "max_inlet_psi":
			return between(9, 100).Draw(t, name)
		}
		return between(3, 4).Draw(t, name) // within the limits of every other attribute
	}
	return rapid.Custom(func(t *rapid.T) *catalog.Part {
		p := &catalog.Part{Offer: anyOffer().Draw(t, "offer"), Form: &catalog.Form{Kind: spec.Kind}}
		for _, a := range spec.Attrs {
			if a.Optional && rapid.Bool().Draw(t, "without "+a.Name) {
				continue
			}
			text := ""
			switch a.Type {
			case catalog.AttrNumber:
				text = catalog.Attr{Type: a.Type, Value: catalog.Value{Num: number(t, a.Name)}}.String()
			case catalog.AttrNumbers:
				var list []float64
				for range rapid.IntRange(1, 5).Draw(t, "numbers") {
					list = append(list, number(t, a.Name))
				}
				text = catalog.Attr{Type: a.Type, Value: catalog.Value{Numbers: list}}.String()
			case catalog.AttrSize:
				text = rapid.SampledFrom([]string{"1/8", "1/4", "3/8"}).Draw(t, a.Name)
			case catalog.AttrThread:
				text = anyStudThread().Draw(t, a.Name).String()
			case catalog.AttrEnum:
				text = anyOf(a.Accepted).Draw(t, a.Name)
			case catalog.AttrBool:
				text = rapid.SampledFrom([]string{"true", "false"}).Draw(t, a.Name)
			case catalog.AttrText:
				text = anyLabel(40).Draw(t, a.Name)
			}
			v, err := a.ParseValue(text)
			if err != nil {
				t.Fatal(err)
			}
			p.Attributes = append(p.Attributes, catalog.Attr{Name: a.Name, Type: a.Type, Value: v})
		}
		for range spec.Ends {
			text := anyOf(ends).Draw(t, "end")
			if spec.Kind == "fuel_hose" {
				text = "hose " + p.Text("bore_in")
			}
			e, err := catalog.ParseEnd(text)
			if err != nil {
				t.Fatal(err)
			}
			p.Ends = append(p.Ends, e)
		}
		if spec.NeedsLength {
			p.LengthIn = between(0.01, 3600).Draw(t, "length")
		}
		if spec.NeedsHeight {
			p.HeightIn = between(0.005, 12).Draw(t, "height")
		}
		p.Requires = slices.DeleteFunc(rapid.SliceOfNDistinct(anyID(), 0, 3, rapid.ID[string]).Draw(t, "requires"), func(s string) bool { return s == p.SKU })
		if len(p.Requires) == 0 {
			p.Requires = nil
		}
		return p
	}).Filter(func(p *catalog.Part) bool { return len(p.Validate()) == 0 })
}

func anyCarburetor() *rapid.Generator[*catalog.Carburetor] {
	return rapid.Custom(func(t *rapid.T) *catalog.Carburetor {
		inlet, err := catalog.ParseEnd(rapid.SampledFrom([]string{"inverted_flare 5/8-18 female", "an_flare -6 male", "hose_barb 3/8", "npt 1/8 female", "unf_port 7/8-20 female", "banjo 1/2-20 female"}).Draw(t, "inlet"))
		if err != nil {
			t.Fatal(err)
		}
		k := &catalog.Carburetor{Offer: anyOffer().Draw(t, "offer"), Series: anyLabel(40).Draw(t, "series"), FlowCFM: between(50, 1500).Draw(t, "flow"), RatedAtInHg: between(0.5, 5).Draw(t, "rated"),
			Barrels: rapid.IntRange(1, 2).Draw(t, "barrels"), Flange: anyOf(catalog.Flanges).Draw(t, "flange"), HeightIn: between(1, 12).Draw(t, "height"), NeckIn: between(1, 10).Draw(t, "neck"),
			Inlet: catalog.Inlet{End: inlet, Facing: anyOf(catalog.Facings).Draw(t, "facing")}, MaxFuelPSI: between(1, 30).Draw(t, "psi"), NeedleSeatIn: between(0.005, 0.35).Draw(t, "seat"),
			Choke: catalog.Choke{Kind: anyOf(catalog.ChokeKinds).Draw(t, "choke")}, AirCleanerStud: anyStudThread().Draw(t, "stud"), EmissionsCertified: rapid.Bool().Draw(t, "certified")}
		if k.Choke.Kind == catalog.ChokeElectric {
			k.Choke.AmpsSteady = between(0.05, 1).Draw(t, "steady")
			k.Choke.AmpsCold = between(1, 30).Draw(t, "cold")
		}
		k.Throttle = catalog.CarburetorThrottle{Ends: rapid.SliceOfNDistinct(anyOf(catalog.LinkEnds), 1, 4, rapid.ID[catalog.LinkEnd]).Draw(t, "ends"), CableRadiusIn: between(0.2, 4).Draw(t, "radius"),
			SwingDeg: between(30, 120).Draw(t, "swing"), TransmissionRadiusIn: maybe(between(0.2, 4)).Draw(t, "transmission")}
		k.Jets = catalog.Jets{MainIn: between(0.2, 0.35).Draw(t, "main"), SecondaryIn: maybe(between(0.005, 0.35)).Draw(t, "secondary"),
			RodCruiseIn: maybe(between(0.1, 0.19)).Draw(t, "cruise"), RodPowerIn: maybe(between(0.005, 0.1)).Draw(t, "power")}
		return k
	})
}

func TestPropertyVehiclesComeBackAsTheyWent(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		identity(t, VehicleTable(), rapid.SliceOfN(anyVehicle(), 0, 3).Draw(t, "vehicles")...)
	})
}

func TestPropertyCarburetorsComeBackAsTheyWent(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		identity(t, CarburetorTable("USD"), rapid.SliceOfN(anyCarburetor(), 0, 3).Draw(t, "carburetors")...)
	})
}

// Each kind in its own file, and kinds mixed in the one file that export writes.
func TestPropertyPartsComeBackAsTheyWent(t *testing.T) {
	for i := range catalog.Kinds {
		spec := &catalog.Kinds[i]
		t.Run(string(spec.Kind), rapid.MakeCheck(func(t *rapid.T) {
			part := anyPart(spec).Draw(t, "part")
			identity(t, PartTable("USD", spec.Kind), part)
			other := anyPart(&catalog.Kinds[rapid.IntRange(0, len(catalog.Kinds)-1).Draw(t, "kind")]).Draw(t, "other")
			identity(t, PartTable("USD"), part, other)
		}))
	}
}

func TestPropertyOtherTablesComeBackAsTheyWent(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		id, n := anyID(), rapid.IntRange(1, 1000)
		identity(t, StockTable(), &catalog.Stock{SKU: id.Draw(t, "sku"), Location: id.Draw(t, "location"), OnHand: n.Draw(t, "n")})
		identity(t, LocationTable(), &catalog.Location{ID: id.Draw(t, "id"), Name: anyLabel(120).Draw(t, "name")})
		identity(t, BundleContentTable(), &BundleContent{id.Draw(t, "bundle"), catalog.Amount{SKU: id.Draw(t, "sku"), Quantity: n.Draw(t, "n")}})
		identity(t, CarburetorInBoxTable(), &CarburetorInBox{id.Draw(t, "k"), catalog.InBox{Need: "fuel.filter", Quantity: n.Draw(t, "n")}},
			&CarburetorInBox{id.Draw(t, "k"), catalog.InBox{SKU: id.Draw(t, "sku"), Quantity: n.Draw(t, "n")}})
		port := catalog.Port{ID: id.Draw(t, "id"), Location: anyOf(catalog.PortLocations).Draw(t, "location"), Signal: anyOf(catalog.Signals).Draw(t, "signal"), Large: rapid.Bool().Draw(t, "large")}
		if rapid.Bool().Draw(t, "pipe") {
			port.NPTIn = units.Inches(1, 4)
		} else {
			port.HoseIn = units.Inches(rapid.IntRange(4, 64).Draw(t, "hose"), 64)
		}
		identity(t, CarburetorPortTable(), &CarburetorPort{id.Draw(t, "k"), port})
		offer := anyOffer().Draw(t, "offer")
		offer.PackQuantity = 1
		identity(t, BundleTable("USD"), &catalog.Bundle{Offer: offer})
	})
}

// No two columns of a table may share a name, or one would hide the other.
func TestColumnsHaveNamesOfTheirOwn(t *testing.T) {
	for what, names := range map[string][]string{"vehicles": VehicleTable().Names(), "carburetors": CarburetorTable("USD").Names(), "parts": PartTable("USD").Names(),
		"ports": CarburetorPortTable().Names(), "in box": CarburetorInBoxTable().Names(), "bundles": BundleTable("USD").Names(), "contents": BundleContentTable().Names()} {
		slices.Sort(names)
		if n := len(slices.Compact(slices.Clone(names))); n != len(names) {
			t.Errorf("%s: a name twice in %q", what, names)
		}
	}
}

func TestCellsThatLookLikeFormulasAreGuarded(t *testing.T) {
	for name, cell := range map[string]string{"=1+1": "'=1+1", "+x": "'+x", "-x": "'-x", "@x": "'@x", "'=x": "''=x", "'68": "'68", "a=b": "a=b"} {
		text := encode(t, LocationTable(), &catalog.Location{ID: "a", Name: name})
		if want := "id,name\r\na," + cell + "\r\n"; text != want {
			t.Errorf("%q is written %q, want %q", name, text, want)
		}
		identity(t, LocationTable(), &catalog.Location{ID: "a", Name: name})
	}
}

func TestReaderTakesWhatSpreadsheetsWrite(t *testing.T) {
	want := []*catalog.Stock{{SKU: "A-1", Location: "north", OnHand: 3}, {SKU: "B-1", Location: "south", OnHand: 0}}
	for what, text := range map[string]string{
		"LF":           "sku,location,on_hand\nA-1,north,3\nB-1,south,0\n",
		"CRLF":         "sku,location,on_hand\r\nA-1,north,3\r\nB-1,south,0\r\n",
		"BOM":          "\xef\xbb\xbfsku,location,on_hand\r\nA-1,north,3\r\nB-1,south,0\r\n",
		"BOM, quotes":  "\xef\xbb\xbf\"sku\",\"location\",\"on_hand\"\n\"A-1\",\"north\",\"3\"\n\"B-1\",\"south\",\"0\"",
		"other order":  "on_hand,sku,location\n3,A-1,north\n0,B-1,south\n",
		"spaces":       " sku , location,on_hand\n A-1 ,north , 3\nB-1,south,0\n",
		"no last line": "sku,location,on_hand\nA-1,north,3\nB-1,south,0",
		"blank lines":  "\nsku,location,on_hand\n\nA-1,north,3\n\r\nB-1,south,0\n\n",
	} {
		got, wrong := readAll(t, text, StockTable())
		if len(wrong) > 0 || !reflect.DeepEqual(got, want) {
			t.Errorf("%s: %+v %q", what, got, wrong)
		}
	}
}

func TestQuotesCommasAndBreaks(t *testing.T) {
	rows, wrong := readAll(t, "id,name\na,\"The \"\"North\"\", store\"\nb,\"two\nlines\"\nc,plain\n", LocationTable())
	if len(rows) != 2 || rows[0].Name != `The "North", store` || rows[1].ID != "c" {
		t.Errorf("%+v", rows)
	}
	want := `file.csv:3: name: "two\nlines" has a line break, tab or other control character; write one plain line`
	if len(wrong) != 1 || wrong[0] != want {
		t.Errorf("got  %q\nwant %q", wrong, want)
	}
}

func TestFilesAreRefusedAsAWhole(t *testing.T) {
	for what, c := range map[string]struct{ text, want string }{
		"empty":      {"", "file.csv:1: the file is empty; its first row names the columns: sku,location,on_hand"},
		"UTF-16":     {"\xff\xfes\x00k\x00u\x00", "file.csv:1: the file is UTF-16; save it as UTF-8"},
		"Latin-1":    {"sku,location,on_h\xe4nd\n", `file.csv:1: byte 0xE4 after "sku,location,on_h" is not UTF-8; save the file as UTF-8`},
		"gzip":       {"\x1f\x8b\x08\x00", "file.csv:1: the file is gzip; unpack it first"},
		"semicolons": {"sku;location;on_hand\nA;B;1\n", "file.csv:1: cells are separated by semicolons or tabs; save the file with commas"},
		"CR":         {"sku,location,on_hand\rA,B,1\r", "file.csv:1: lines end in CR alone; save the file with line ends LF or CRLF"},
		"missing":    {"sku,on_hand\nA,1\n", "file.csv:1: location: the header lacks this column; add it"},
		"misspelt":   {"sku,location,on_hand,onhnd\n", "file.csv:1: onhnd: no such column, did you mean on_hand?"},
		"unknown":    {"sku,location,on_hand,colour\n", "file.csv:1: colour: no such column; accepted: sku, location, on_hand"},
		"nameless":   {"sku,location,on_hand,\n", `file.csv:1: "": a column has no name; name it or take it out`},
		"twice":      {"sku,location,sku,on_hand\n", "file.csv:1: sku: the header has this column twice; take one out"},
		"open quote": {"sku,location,on_hand\nA,\"north,1\n" + strings.Repeat("B,north,1\n", 200_000), "file.csv:1: here or in the row that follows are more than 1048576 bytes; shorten the row, or close the quote left open"},
		"huge field": {"sku,location,on_hand\n" + strings.Repeat("x", 10<<20) + ",north,1\n", "file.csv:1: here or in the row that follows are more than 1048576 bytes; shorten the row, or close the quote left open"},
	} {
		rows, wrong := readAll(t, c.text, StockTable())
		if len(rows) != 0 || len(wrong) != 1 || wrong[0] != c.want {
			t.Errorf("%s: %d rows\n got %q\nwant %q", what, len(rows), wrong, c.want)
		}
	}
}

func TestEveryBadRowIsToldAndTheGoodOnesRead(t *testing.T) {
	text := `sku,location,on_hand
A,north,1
B,north
C,north,1000000000
D,north,99999999999999999999
E,north,1.5
F,north,-1
G,north,many
,north,1
H H,,
I,no"rth,1
J,"nor"th,1
K,north,2
` + "L,n\xf8rth,1\n"
	rows, wrong := readAll(t, text, StockTable())
	if len(rows) != 2 || rows[0].SKU != "A" || rows[1].SKU != "K" {
		t.Errorf("%+v", rows)
	}
	want := []string{
		"file.csv:3: has 2 cells, the header 3; a cell with a comma in it needs quotes around it",
		"file.csv:4: on_hand: 1000000000 is outside 0 to 1000000 packs",
		"file.csv:5: on_hand: 99999999999999999999 is too large a number; correct it",
		"file.csv:6: on_hand: \"1.5\" is not a whole number; write digits only: 12",
		"file.csv:7: on_hand: -1 is outside 0 to 1000000 packs",
		`file.csv:8: on_hand: "many" is not a whole number; write digits only: 12`,
		"file.csv:9: sku: is empty; every row needs a value here",
		"file.csv:10: location: is empty; every row needs a value here",
		"file.csv:10: on_hand: is empty; every row needs a value here",
		`file.csv:10: sku: "H H" is not accepted; write 1 to 40 of A-Z a-z 0-9 . _ -, first a letter or digit`,
		"file.csv:11: has a quote inside a cell without quotes, at character 5; put the cell in quotes and double those inside it",
		"file.csv:12: has a quote that is not closed, or text after a closing quote; double the quotes inside a quoted cell",
		`file.csv:14: location: byte 0xF8 after "n" is not UTF-8; save the file as UTF-8`,
	}
	if !slices.Equal(wrong, want) {
		t.Errorf("got\n%s\nwant\n%s", strings.Join(wrong, "\n"), strings.Join(want, "\n"))
	}
}

// badCells writes one row with some cells replaced and returns what is told of it.
func badCells[T any](t *testing.T, table *Table[T], row *T, cells map[string]string) []string {
	t.Helper()
	text := encode(t, table, row)
	record := strings.Split(strings.Split(text, "\r\n")[1], ",")
	for name, cell := range cells {
		at := slices.Index(table.Names(), name)
		if at < 0 {
			t.Fatalf("no column %s", name)
		}
		record[at] = cell
	}
	_, wrong := readAll(t, strings.Join(table.Names(), ",")+"\n"+strings.Join(record, ",")+"\n", table)
	return wrong
}

func TestBadCellsOfVehicles(t *testing.T) {
	vehicle := &catalog.Vehicle{ID: "a", Engine: catalog.Engine{DisplacementIn3: 318, Cylinders: 8, Tune: catalog.TuneStock}, Intake: catalog.Intake{Flange: catalog.SquareBore, HoodClearanceIn: 9},
		Throttle:     catalog.Throttle{Kind: catalog.ThrottleCable, End: catalog.EndBall, BracketOn: catalog.BracketOnManifold, PedalTravelIn: 2},
		Transmission: catalog.Transmission{Kind: catalog.Manual, Downshift: catalog.DownshiftNone},
		Fuel:         catalog.Fuel{Pump: catalog.PumpMechanical, PressurePSI: 6, LineODIn: units.Inches(5, 16), LineEnd: catalog.PlainTube, RunLengthIn: 24, EthanolPercent: 10},
		Ignition:     catalog.Ignition{Advance: catalog.AdvancePorted}, Electrical: catalog.Electrical{NominalVolts: 12, ChokeFeedLengthFt: 6}, AirCleaner: catalog.AirCleaner{NeckIn: 5, HeightIn: 3}}
	if wrong := badCells(t, VehicleTable(), vehicle, nil); len(wrong) > 0 {
		t.Fatal(wrong)
	}
	for _, c := range []struct{ column, cell, want string }{
		{"engine.displacement_in3", "5.7", "5.7 is outside 20 to 1200 in³; 5.7 looks like litres; 5.7 L is 347.8 in³"},
		{"engine.displacement_in3", "5.7L", `"5.7L" is not a number; write digits with a decimal point and no unit: 5.125`},
		{"engine.displacement_in3", "1e999", "1e999 is too large a number; correct it"},
		{"engine.displacement_in3", "NaN", `"NaN" is not a number; write digits with a decimal point and no unit: 5.125`},
		{"engine.displacement_in3", "Inf", `"Inf" is not a number; write digits with a decimal point and no unit: 5.125`},
		{"engine.displacement_in3", "0x1p8", `"0x1p8" is not a number; write digits with a decimal point and no unit: 5.125`},
		{"engine.displacement_in3", "", "is empty; every row needs a value here"},
		{"id", "", "is empty; every row needs a value here"},
		{"engine.cylinders", "8.5", `"8.5" is not a whole number; write digits only: 12`},
		{"engine.tune", "milde", `"milde" is not accepted, did you mean mild?; accepted: stock, mild, strong, race`},
		{"intake.stud_thread", "5/16", `thread "5/16": has no threads per inch; write nominal size and threads per inch (5/8-18, 1/4-18 NPT)`},
		{"fuel.line_od_in", "8", "8 in is outside 1/8 to 1 in; 8 looks like mm; 8 mm is 0.315 in, nearest 5/16"},
		{"fuel.line_od_in", "wide", `size "wide": has 'w' where a digit belongs; write a fraction (5/16), a mixed number (1-1/16), a decimal (0.375) or a dash size (-6)`},
		{"fuel.return_line", "yes", `"yes" is not accepted; write true or false`},
		{"accessories.egr", "1", `"1" is not accepted; write true or false`},
		{"transmission.downshift", "vacuum_modulator", "a manual transmission has no vacuum_modulator; write downshift none, or kind automatic"},
	} {
		wrong := badCells(t, VehicleTable(), vehicle, map[string]string{c.column: c.cell})
		if want := "file.csv:2: " + c.column + ": " + c.want; len(wrong) != 1 || wrong[0] != want {
			t.Errorf("got  %q\nwant %q", wrong, want)
		}
	}
	wrong := badCells(t, VehicleTable(), vehicle, map[string]string{"engine.cylinders": "many", "engine.tune": "x", "site.altitude_ft": "high"})
	if len(wrong) != 3 {
		t.Errorf("three cells are bad, told: %q", wrong)
	}
}

func TestBadCellsOfParts(t *testing.T) {
	hose := &catalog.Part{}
	if err := hose.UnmarshalJSON([]byte(`{"sku":"FH-1","name":"Hose","finish":"plain","pack_quantity":1,"price":{"amount_minor":1299,"currency":"USD"},"lead_time_days":0,"kind":"fuel_hose",
		"attributes":{"bore_in":"3/8","class":"30R9","max_pressure_psi":100,"max_ethanol_percent":15},"ends":[{"family":"hose","size":"3/8"},{"family":"hose","size":"3/8"}],"length_in":12}`)); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ column, cell, want string }{
		{"price_minor", "12.99", "12.99 is not in the minor unit of USD; for 12.99 write 1299"},
		{"price_minor", "$13", `"$13" is not a price; write a whole number in the minor unit of USD, digits only: 1299`},
		{"price_minor", "-5", "is -5; a price is above zero, in the minor unit of the currency: 12.99 is written 1299"},
		{"price_minor", "100000001", "is 100000001; at most 100000000 is accepted, in the minor unit of the currency: 12.99 is written 1299"},
		{"gtin", "6291041500214", `"6291041500214": check digit is 4, expected 3; correct the number or the digit that was mistyped`},
		{"kind", "fuel_hoes", `"fuel_hoes" is not accepted, did you mean fuel_hose?; accepted: ` + kinds()},
		{"kind", "", "is empty; every row needs a value here"},
		{"bore_in", "3/0", `size "3/0": divides by zero; write a fraction (5/16), a mixed number (1-1/16), a decimal (0.375) or a dash size (-6)`},
		{"class", "30R8", `"30R8" is not one of 30R7, 30R9, 30R14`},
		{"max_pressure_psi", "7 bar", `"7 bar" is not a number; write digits with a decimal point and no unit: 5.125`},
		{"max_pressure_psi", "-3", "-3 is outside 0.1 to 1000 psi"},
		{"max_pressure_psi", "5000", "5000 is outside 0.1 to 1000 psi"},
		{"end_2", "hose", `end "hose": write family, size and, where threaded, gender: hose_barb 3/8, inverted_flare 5/8-18 male`},
		{"end_2", "hose 5/16", "hose 5/16 is not the end of a hose of bore 3/8; write hose 3/8"},
		{"length_in", "1 ft", `"1 ft" is not a number; write digits with a decimal point and no unit: 5.125`},
		{"requires", "FH-2 FH-1", "is the part itself; name another or leave it out"},
		{"discontinued", "no", `"no" is not accepted; write true or false`},
	} {
		wrong := badCells(t, PartTable("USD", "fuel_hose"), hose, map[string]string{c.column: c.cell})
		if want := "file.csv:2: " + c.column + ": " + c.want; len(wrong) != 1 || wrong[0] != want {
			t.Errorf("%s %s: got\n%s\nwant\n%s", c.column, c.cell, strings.Join(wrong, "\n"), want)
		}
	}
	for _, c := range []struct{ column, cell, want string }{
		{"rated_flow_gph", "30", `rated_flow_gph: "30", but a fuel_hose has no such attribute; leave the cell empty`},
		{"height_in", "2", "height_in: 2, but a fuel_hose has no such dimension; leave it out"},
		{"bore_in", "", "bore_in: is missing; a fuel_hose needs it: a size such as 5/16"},
	} {
		wrong := badCells(t, PartTable("USD"), hose, map[string]string{c.column: c.cell})
		if want := "file.csv:2: " + c.want; !slices.Contains(wrong, want) {
			t.Errorf("got  %q\nwant %q", wrong, want)
		}
	}
	wrong := badCells(t, PartTable("USD", "hose_clamp", "vacuum_cap"), &catalog.Part{Offer: hose.Offer, Form: &catalog.Form{Kind: "fuel_hose"}}, nil)
	if want := "file.csv:2: kind: a fuel_hose does not belong in this file of hose_clamp; move the row to its own file"; len(wrong) == 0 || wrong[0] != want {
		t.Errorf("got  %q\nwant %q", wrong, want)
	}
}

func kinds() string {
	var names []string
	for _, k := range catalog.Kinds {
		names = append(names, string(k.Kind))
	}
	return strings.Join(names, ", ")
}

// A yen has no minor unit, a dinar three digits of it (ISO 4217, from memory).
func TestPriceHintFollowsTheCurrency(t *testing.T) {
	for _, c := range []struct{ cell, currency, want string }{
		{"12.50", "USD", "12.50 is not in the minor unit of USD; for 12.50 write 1250"},
		{"12.00", "JPY", "12.00 is not in the minor unit of JPY; for 12.00 write 12"},
		{"12.5", "BHD", "12.5 is not in the minor unit of BHD; for 12.5 write 12500"},
		{"12.5", "JPY", `"12.5" is not a price; write a whole number in the minor unit of JPY, digits only: 1299`},
		{"1e3", "USD", `"1e3" is not a price; write a whole number in the minor unit of USD, digits only: 1299`},
		{"99999999999999999999", "USD", `"99999999999999999999" is not a price; write a whole number in the minor unit of USD, digits only: 1299`},
	} {
		if _, err := parsePrice(c.cell, c.currency); err == nil || err.Error() != c.want {
			t.Errorf("%s %s: %v, want %s", c.cell, c.currency, err, c.want)
		}
	}
}

func TestReadingErrorsAreNotContentErrors(t *testing.T) {
	broken := errors.New("disk")
	d := NewDecoder(io.MultiReader(strings.NewReader("id,name\na,b\n"), failing{broken}), "file.csv", LocationTable())
	if _, err := d.Next(); err != nil {
		t.Fatal(err)
	}
	_, err := d.Next()
	var list FileErrors
	if !errors.Is(err, broken) || errors.As(err, &list) {
		t.Errorf("%v", err)
	}
	if _, err := d.Next(); !errors.Is(err, io.EOF) {
		t.Errorf("after the error: %v", err)
	}
}

type failing struct{ err error }

func (f failing) Read([]byte) (int, error) { return 0, f.err }

// Whatever the bytes, reading ends, and what is read can be written and read again.
func FuzzDecodeParts(f *testing.F) {
	f.Add([]byte("kind,sku,name,finish,pack_quantity,price_minor,lead_time_days,hose_in\nvacuum_cap,A,B,plain,1,100,0,1/4\n"))
	f.Add([]byte("\xef\xbb\xbfkind,sku\n\"a\"\"b\",\n"))
	f.Add([]byte("kind,\x00\n\"\n"))
	table := PartTable("USD")
	f.Fuzz(func(t *testing.T, data []byte) {
		rows, _ := readAll(t, string(data), table)
		identity(t, table, rows...)
	})
}

func BenchmarkDecodeStock(b *testing.B) {
	var text strings.Builder
	text.WriteString("sku,location,on_hand\n")
	for i := range 10_000 {
		fmt.Fprintf(&text, "SKU-%d,north,%d\n", i, i%50)
	}
	b.ReportAllocs()
	b.SetBytes(int64(text.Len()))
	for b.Loop() {
		d := NewDecoder(strings.NewReader(text.String()), "stock.csv", StockTable())
		rows := 0
		for {
			if _, err := d.Next(); errors.Is(err, io.EOF) {
				break
			} else if err != nil {
				b.Fatal(err)
			}
			rows++
		}
		if rows != 10_000 {
			b.Fatal(rows)
		}
	}
}
