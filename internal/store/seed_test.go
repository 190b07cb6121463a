package store

import (
	"errors"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"onetrip/db"
	"onetrip/internal/catalog"
)

func TestDemoCatalogueIsWhole(t *testing.T) {
	d, err := ReadCatalogue(db.Seed())
	if err != nil {
		t.Fatal(err)
	}
	for what, c := range map[string]struct{ got, atLeast int }{
		"vehicles": {len(d.Vehicles), 40}, "carburetors": {len(d.Carburetors), 30}, "parts": {len(d.Parts), 800},
		"bundles": {len(d.Bundles), 25}, "locations": {len(d.Locations), 3}, "stock": {len(d.Stock), 1},
	} {
		if c.got < c.atLeast {
			t.Errorf("%d %s, at least %d expected", c.got, what, c.atLeast)
		}
	}

	parts := tally{}
	for _, p := range d.Parts {
		parts.add("kind", string(p.Kind))
		parts.add("finish", string(p.Finish))
		parts.add("discontinued", yesNo(p.Discontinued))
	}
	for _, k := range catalog.Kinds {
		parts.wants(t, "part", "kind", string(k.Kind))
	}
	expect(t, parts, "part", "finish", catalog.Finishes)
	parts.wants(t, "part", "discontinued", "yes", "no")

	vehicles := tally{}
	for _, v := range d.Vehicles {
		vehicles.add("tune", string(v.Engine.Tune))
		vehicles.add("flange", string(v.Intake.Flange))
		vehicles.add("throttle", string(v.Throttle.Kind))
		vehicles.add("end", string(v.Throttle.End))
		vehicles.add("bracket", string(v.Throttle.BracketOn))
		vehicles.add("transmission", string(v.Transmission.Kind))
		vehicles.add("downshift", string(v.Transmission.Downshift))
		vehicles.add("pump", string(v.Fuel.Pump))
		vehicles.add("line end", string(v.Fuel.LineEnd))
		vehicles.add("return line", yesNo(v.Fuel.ReturnLine))
		vehicles.add("advance", string(v.Ignition.Advance))
		for accessory, has := range map[string]bool{"air conditioning": v.Accessories.AirConditioning, "solenoid": v.Accessories.IdleStopSolenoid,
			"brakes": v.Accessories.PowerBrakes, "pcv": v.Accessories.PCV, "ground": v.Electrical.NegativeGround, "road": v.Road.OnRoad, "emissions": v.Road.EmissionsControlled} {
			vehicles.add(accessory, yesNo(has))
		}
		for accessory, has := range map[string]*bool{"purge": v.Accessories.CanisterPurge, "egr": v.Accessories.EGR, "cruise": v.Accessories.CruiseControl} {
			if has == nil {
				vehicles.add(accessory, "unknown")
			} else {
				vehicles.add(accessory, yesNo(*has))
			}
		}
	}
	expect(t, vehicles, "vehicle", "tune", catalog.Tunes)
	expect(t, vehicles, "vehicle", "flange", catalog.Flanges)
	expect(t, vehicles, "vehicle", "throttle", catalog.ThrottleKinds)
	expect(t, vehicles, "vehicle", "end", catalog.LinkEnds)
	expect(t, vehicles, "vehicle", "bracket", catalog.BracketPlaces)
	expect(t, vehicles, "vehicle", "transmission", catalog.TransmissionKinds)
	expect(t, vehicles, "vehicle", "downshift", catalog.Downshifts)
	expect(t, vehicles, "vehicle", "pump", catalog.PumpKinds)
	expect(t, vehicles, "vehicle", "line end", catalog.SupplyFamilies)
	expect(t, vehicles, "vehicle", "advance", catalog.Advances)
	for _, field := range []string{"return line", "air conditioning", "solenoid", "brakes", "pcv", "ground", "road", "emissions", "purge", "egr", "cruise"} {
		vehicles.wants(t, "vehicle", field, "yes", "no")
	}

	carburetors := tally{}
	for _, k := range d.Carburetors {
		carburetors.add("flange", string(k.Flange))
		carburetors.add("choke", string(k.Choke.Kind))
		carburetors.add("facing", string(k.Inlet.Facing))
		for _, p := range k.Ports {
			carburetors.add("signal", string(p.Signal))
		}
		for _, e := range k.Throttle.Ends {
			carburetors.add("end", string(e))
		}
	}
	expect(t, carburetors, "carburetor", "flange", catalog.Flanges)
	expect(t, carburetors, "carburetor", "choke", catalog.ChokeKinds)
	expect(t, carburetors, "carburetor", "signal", catalog.Signals)
	expect(t, carburetors, "carburetor", "end", catalog.LinkEnds)
}

// tally counts the values of fields.
type tally map[[2]string]int

func (c tally) add(field, value string) { c[[2]string{field, value}]++ }

func (c tally) wants(t *testing.T, what, field string, values ...string) {
	t.Helper()
	for _, v := range values {
		if c[[2]string{field, v}] == 0 {
			t.Errorf("no %s has %s %s", what, field, v)
		}
	}
}

func expect[T ~string](t *testing.T, c tally, what, field string, values []T) {
	t.Helper()
	for _, v := range values {
		c.wants(t, what, field, string(v))
	}
}

func yesNo(b bool) string {
	if b {
		return "yes"
	}
	return "no"
}

// smallCatalogue is a whole catalogue of a few rows.
func smallCatalogue() fstest.MapFS {
	files := fstest.MapFS{}
	for name, text := range map[string]string{
		"catalogue.yaml": "name: Test\ncurrency: USD\n",
		"locations.csv":  "id,name\nnorth,North\n",
		"vehicles.csv": strings.Join(VehicleTable().Names(), ",") + "\n" +
			"v1,,,,318,8,stock,,,,square_bore,9,,,cable,ball,manifold,2,manual,none,,mechanical,6,,5/16,plain_tube,24,false,10,ported,false,false,false,true,,,,12,true,6,5,3,,0,true,false\n",
		"carburetors.csv": strings.Join(CarburetorTable("USD").Names(), ",") + "\n" +
			"K-1,Carburetor,plain,1,39900,2,,,,quill,500,1.5,4,square_bore,3.25,5.125,inverted_flare 5/8-18 female,front,6.5,0.11,manual,,,ball,1.4,75,,0.092,,,,1/4-20,false\n",
		"carburetor_ports.csv":  "carburetor_sku,id,location,hose_in,npt_in,signal,large\nK-1,p1,front,3/8,,manifold,true\n",
		"carburetor_in_box.csv": "carburetor_sku,need,sku,quantity\nK-1,,CL-1,2\nK-1,mount.base_gasket,,1\n",
		"parts/hose_clamp.csv":  "kind,sku,name,hose_in,style,finish,pack_quantity,price_minor,lead_time_days,discontinued,replaced_by\nhose_clamp,CL-1,Clamp,3/8,spring,plain,2,150,1,,\nhose_clamp,CL-2,Clamp,3/8,worm_drive,plain,2,250,1,true,CL-1\n",
		"parts/vacuum_cap.csv":  "kind,sku,name,hose_in,finish,pack_quantity,price_minor,lead_time_days,requires\nvacuum_cap,CP-1,Cap,1/4,plain,5,300,1,CL-1\n",
		"bundles.csv":           "sku,name,finish,price_minor,lead_time_days\nBN-1,Bundle,plain,400,1\n",
		"bundle_contents.csv":   "bundle_sku,sku,quantity\nBN-1,CL-1,2\nBN-1,CP-1,5\n",
		"stock.csv":             "sku,location,on_hand\nCL-1,north,4\nBN-1,north,0\n",
		"rules/mount.yaml":      "- id: a\n",
		"README.md":             "not read",
	} {
		files[name] = &fstest.MapFile{Data: []byte(text)}
	}
	return files
}

func TestReadCatalogueJoinsItsTables(t *testing.T) {
	d, err := ReadCatalogue(smallCatalogue())
	if err != nil {
		t.Fatal(err)
	}
	k, b, p := d.Carburetors[0], d.Bundles[0], d.Parts[2]
	if d.Revision != 1 || d.Currency != "USD" || len(d.Vehicles) != 1 || len(d.Parts) != 3 || len(d.Stock) != 2 {
		t.Errorf("%+v", d)
	}
	if len(k.Ports) != 1 || k.Ports[0].ID != "p1" || len(k.InBox) != 2 || k.InBox[0] != (catalog.InBox{SKU: "CL-1", Quantity: 2}) || k.Price.String() != "399.00 USD" {
		t.Errorf("%+v", k)
	}
	if len(b.Contents) != 2 || b.Contents[1] != (catalog.Amount{SKU: "CP-1", Quantity: 5}) || b.PackQuantity != 1 {
		t.Errorf("%+v", b)
	}
	if p.Kind != "vacuum_cap" || p.Text("hose_in") != "1/4" || p.Requires[0] != "CL-1" {
		t.Errorf("%+v", p)
	}
	if !maps.Equal(d.RuleFiles, map[string]string{"mount.yaml": "- id: a\n"}) {
		t.Errorf("%q", d.RuleFiles)
	}
	for _, l := range slices.Concat(k.Validate(), b.Validate()) {
		t.Error(l)
	}
}

func TestReadCatalogueRefusals(t *testing.T) {
	add := func(file, row string) func(fstest.MapFS) {
		return func(files fstest.MapFS) { files[file].Data = append(files[file].Data, row+"\n"...) }
	}
	write := func(file, text string) func(fstest.MapFS) {
		return func(files fstest.MapFS) { files[file] = &fstest.MapFile{Data: []byte(text)} }
	}
	const noSKU = "; correct it or take it out"
	for what, c := range map[string]struct {
		spoil func(fstest.MapFS)
		want  string
	}{
		"no file": {func(f fstest.MapFS) { delete(f, "bundle_contents.csv") },
			"bundle_contents.csv: the file is missing; add it, with the header bundle_sku,sku,quantity when there is nothing to list"},
		"no settings":  {func(f fstest.MapFS) { delete(f, "catalogue.yaml") }, "catalogue.yaml: the file is missing; add it with name and currency"},
		"bad settings": {write("catalogue.yaml", "currency: USD\ncurency: x\n"), "catalogue.yaml: curency: no such setting, did you mean currency?; accepted: name, currency"},
		"no text":      {write("catalogue.yaml", "currency: [USD]\n"), "catalogue.yaml: yaml: unmarshal errors:   line 1: cannot unmarshal !!seq into string; write name and currency, each with a text\ncatalogue.yaml: currency: \"\" is no currency code; write the three capital letters of ISO 4217: USD"},
		"currency":     {write("catalogue.yaml", "currency: usd\n"), `catalogue.yaml: currency: "usd" is no currency code; write the three capital letters of ISO 4217: USD`},
		"kind of file": {write("parts/hose_clmp.csv", "kind\n"), `parts/hose_clmp.csv: "hose_clmp" is not a kind of part, did you mean hose_clamp?; name the file after a kind: ` + kinds()},
		"wrong file": {add("parts/vacuum_cap.csv", "hose_clamp,CL-3,Clamp,1/4,plain,5,300,1,"),
			"parts/vacuum_cap.csv:3: kind: a hose_clamp does not belong in this file of vacuum_cap; move the row to its own file"},
		"part twice":     {add("parts/vacuum_cap.csv", "vacuum_cap,CL-1,Cap,1/4,plain,5,300,1,"), "parts/vacuum_cap.csv:3: sku: CL-1 is the SKU of parts/hose_clamp.csv:2 already; give each article its own"},
		"bundle's SKU":   {add("bundles.csv", "K-1,Bundle,plain,400,1"), "bundles.csv:3: sku: K-1 is the SKU of carburetors.csv:2 already; give each article its own\nbundles.csv:3: sku: bundle K-1 is empty; list what is in it in bundle_contents.csv"},
		"location twice": {add("locations.csv", "north,N"), "locations.csv:3: id: north is the id of locations.csv:2 already; give each its own"},
		"vehicle twice":  {func(f fstest.MapFS) { add("vehicles.csv", strings.Split(string(f["vehicles.csv"].Data), "\n")[1])(f) }, "vehicles.csv:3: id: v1 is the id of vehicles.csv:2 already; give each its own"},
		"port's owner":   {add("carburetor_ports.csv", "K-2,p1,front,3/8,,manifold,"), `carburetor_ports.csv:3: carburetor_sku: no carburetor has the SKU "K-2", did you mean K-1?; correct it or take the row out`},
		"port twice":     {add("carburetor_ports.csv", "K-1,p1,rear,,1/4,manifold,"), "carburetor_ports.csv:3: id: p1 is the id of the port of carburetor_ports.csv:2 already; give each port of a carburetor its own"},
		"port's size":    {add("carburetor_ports.csv", "K-1,p2,rear,,5/16,manifold,"), "carburetor_ports.csv:3: npt_in: end npt 5/16: no such size; accepted: 1/16 (1/16-27), 1/8 (1/8-27), 1/4 (1/4-18), 3/8 (3/8-18), 1/2 (1/2-14)"},
		"in box of whom": {add("carburetor_in_box.csv", "Z,,CL-1,1"), `carburetor_in_box.csv:4: carburetor_sku: no carburetor has the SKU "Z"; correct it or take the row out`},
		"in box what":    {add("carburetor_in_box.csv", "K-1,,CL-9,1"), `carburetor_in_box.csv:4: sku: no part, carburetor or bundle has the SKU "CL-9", did you mean CL-1 or CL-2?` + noSKU},
		"in box both":    {add("carburetor_in_box.csv", "K-1,fuel.filter,CL-1,1"), "carburetor_in_box.csv:4: sku: both need and sku are given; leave one out"},
		"replaced by":    {add("parts/hose_clamp.csv", "hose_clamp,CL-3,Clamp,3/8,spring,plain,2,150,1,true,QQQQ"), `parts/hose_clamp.csv:4: replaced_by: no part, carburetor or bundle has the SKU "QQQQ"` + noSKU},
		"replaced: ring": {func(f fstest.MapFS) {
			add("parts/hose_clamp.csv", "hose_clamp,CL-3,Clamp,3/8,spring,plain,2,150,1,true,CL-2")(f)
			f["parts/hose_clamp.csv"].Data = []byte(strings.Replace(string(f["parts/hose_clamp.csv"].Data), "true,CL-1", "true,CP-2", 1))
			write("parts/vacuum_cap.csv", "kind,sku,name,hose_in,finish,pack_quantity,price_minor,lead_time_days,discontinued,replaced_by\n"+
				"vacuum_cap,CP-1,Cap,1/4,plain,5,300,1,,\nvacuum_cap,CP-2,Cap,1/4,plain,5,300,1,true,CL-3\n")(f)
		}, strings.Join([]string{
			"parts/hose_clamp.csv:3: replaced_by: goes in a ring, CL-2 -> CP-2 -> CL-3 -> CL-2",
			"parts/vacuum_cap.csv:3: replaced_by: goes in a ring, CL-2 -> CP-2 -> CL-3 -> CL-2",
			"parts/hose_clamp.csv:4: replaced_by: goes in a ring, CL-2 -> CP-2 -> CL-3 -> CL-2",
		}, "; let one of these be replaced by something else, or by nothing\n") + "; let one of these be replaced by something else, or by nothing"},
		"requires":         {add("parts/vacuum_cap.csv", "vacuum_cap,CP-2,Cap,1/4,plain,5,300,1,CL-1 QQQQ"), `parts/vacuum_cap.csv:3: requires: no part, carburetor or bundle has the SKU "QQQQ"` + noSKU},
		"bundle of whom":   {add("bundle_contents.csv", "BN-2,CL-1,1"), `bundle_contents.csv:4: bundle_sku: no bundle has the SKU "BN-2", did you mean BN-1?; correct it or take the row out`},
		"bundle of what":   {add("bundle_contents.csv", "BN-1,QQQQ,1"), `bundle_contents.csv:4: sku: no part, carburetor or bundle has the SKU "QQQQ"` + noSKU},
		"bundle of bundle": {add("bundle_contents.csv", "BN-1,BN-1,1"), "bundle_contents.csv:4: sku: BN-1 is a bundle, and a bundle cannot hold another; list what is in it"},
		"content twice":    {add("bundle_contents.csv", "BN-1,CL-1,1"), "bundle_contents.csv:4: sku: CL-1 is in bundle BN-1 already; list it once with the sum"},
		"GTIN twice": {func(f fstest.MapFS) {
			write("bundles.csv", "sku,name,finish,price_minor,lead_time_days,gtin\nBN-1,Bundle,plain,400,1,0614141123452\n")(f)
			write("parts/vacuum_cap.csv", "kind,sku,name,hose_in,finish,pack_quantity,price_minor,lead_time_days,gtin\nvacuum_cap,CP-1,Cap,1/4,plain,5,300,1,614141123452\n")(f)
		}, "bundles.csv:2: gtin: 0614141123452 is the GTIN of CP-1 already, and a scan must find one article; correct it or leave it out"},
		"empty bundle":  {add("bundles.csv", "BN-2,Bundle,plain,400,1"), "bundles.csv:3: sku: bundle BN-2 is empty; list what is in it in bundle_contents.csv"},
		"stock of what": {add("stock.csv", "QQQQ,north,1"), `stock.csv:4: sku: no part, carburetor or bundle has the SKU "QQQQ"` + noSKU},
		"stock where":   {add("stock.csv", "CL-2,nrth,1"), `stock.csv:4: location: no location has the id "nrth", did you mean north?; accepted: north`},
		"stock twice":   {add("stock.csv", "CL-1,north,1"), "stock.csv:4: sku: the stock of CL-1 at north stands at stock.csv:2 already; list it once"},
		"refused row's SKU still counts": {func(f fstest.MapFS) {
			f["parts/hose_clamp.csv"].Data = []byte(strings.Replace(string(f["parts/hose_clamp.csv"].Data), "CL-1,Clamp,3/8", "CL-1,Clamp,3/0", 1))
		}, `parts/hose_clamp.csv:2: hose_in: size "3/0": divides by zero; write a fraction (5/16), a mixed number (1-1/16), a decimal (0.375) or a dash size (-6)`},
	} {
		files := smallCatalogue()
		c.spoil(files)
		_, err := ReadCatalogue(files)
		if err == nil || err.Error() != c.want {
			t.Errorf("%s: got\n%v\nwant\n%s", what, err, c.want)
		}
	}
}

func TestReadCatalogueTellsAllFilesAtOnce(t *testing.T) {
	_, err := ReadCatalogue(fstest.MapFS{})
	var list FileErrors
	if !errors.As(err, &list) {
		t.Fatal(err)
	}
	var files []string
	for _, e := range list {
		files = append(files, e.File)
	}
	want := []string{"catalogue.yaml", "locations.csv", "vehicles.csv", "carburetors.csv", "carburetor_ports.csv", "carburetor_in_box.csv", "parts", "bundles.csv", "bundle_contents.csv", "stock.csv"}
	if !slices.Equal(files, want) {
		t.Errorf("%q", files)
	}
}

// The catalogue on disk and the one built in are read by the same code.
func TestDemoCatalogueReadsFromDisk(t *testing.T) {
	dir := t.TempDir()
	if err := os.CopyFS(dir, db.Seed()); err != nil {
		t.Fatal(err)
	}
	if _, err := ReadCatalogue(os.DirFS(dir)); err != nil {
		t.Fatal(err)
	}
	stock := filepath.Join(dir, "stock.csv")
	text, err := os.ReadFile(stock)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(stock, append([]byte("\xef\xbb\xbf"), strings.ReplaceAll(string(text), "\n", "\r\n")...), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := ReadCatalogue(os.DirFS(dir)); err != nil {
		t.Errorf("with byte order mark and CRLF: %v", err)
	}
}

// What is written from the demo catalogue reads back to the same values.
func TestDemoCatalogueComesBackAsItWent(t *testing.T) {
	d, err := ReadCatalogue(db.Seed())
	if err != nil {
		t.Fatal(err)
	}
	identity(t, VehicleTable(), d.Vehicles...)
	identity(t, PartTable(d.Currency), d.Parts...)
	var stock []*catalog.Stock
	for i := range d.Stock {
		stock = append(stock, &d.Stock[i])
	}
	identity(t, StockTable(), stock...)
}

func BenchmarkReadDemoCatalogue(b *testing.B) {
	var seed fs.FS = db.Seed()
	b.ReportAllocs()
	for b.Loop() {
		if _, err := ReadCatalogue(seed); err != nil {
			b.Fatal(err)
		}
	}
}
