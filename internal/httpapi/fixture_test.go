package httpapi

import (
	"errors"
	"fmt"
	"sync"
	"testing"

	"onetrip/db"
	"onetrip/internal/catalog"
	"onetrip/internal/kit"
	"onetrip/internal/store"
	"onetrip/internal/units"
)

// validVehicle has every field that is required and nothing else. Invented.
const validVehicle = `{
	"engine": {"displacement_in3": 318, "cylinders": 8, "tune": "stock"},
	"intake": {"flange": "square_bore", "hood_clearance_in": 9.5},
	"throttle": {"kind": "cable", "end": "ball", "bracket_on": "carburetor", "pedal_travel_in": 2.1},
	"transmission": {"kind": "automatic", "downshift": "vacuum_modulator"},
	"fuel": {"pump": "mechanical", "pressure_psi": 6, "line_od_in": "5/16", "line_end": "plain_tube", "run_length_in": 24, "return_line": false, "ethanol_percent": 10},
	"ignition": {"advance": "ported"},
	"accessories": {"pcv": true, "power_brakes": true, "air_conditioning": true, "idle_stop_solenoid": true},
	"electrical": {"nominal_volts": 12, "negative_ground": true, "choke_feed_length_ft": 6},
	"air_cleaner": {"neck_in": 5.125, "height_in": 3},
	"site": {"altitude_ft": 2500},
	"road": {"on_road": true, "emissions_controlled": false}
}`

const validRequest = `{"vehicle": ` + validVehicle + `, "carburetor_sku": "TN-600"}`

var csvExports = Exports{Parts: store.WriteParts, Stock: store.WriteStock}

// fixture is a small invented catalogue: enough of each thing for pages, filters
// and near spellings, and a kit that can be resolved.
func fixture(t testing.TB) *kit.Snapshot {
	t.Helper()
	snap, err := openFixture()
	if err != nil {
		t.Fatal(err)
	}
	return snap
}

var openFixture = sync.OnceValues(func() (*kit.Snapshot, error) {
	usd := func(minor int64) units.Money { return units.Money{AmountMinor: minor, Currency: "USD"} }
	offer := func(sku, name string, minor int64) catalog.Offer {
		return catalog.Offer{SKU: sku, Name: name, Finish: catalog.FinishPlain, PackQuantity: 1, Price: usd(minor), LeadTimeDays: 3}
	}
	seed, err := store.ReadCatalogue(db.Seed()) // its rules serve here as well
	if err != nil {
		return nil, err
	}
	d := &catalog.Data{Revision: 7, Currency: "USD",
		Locations: []catalog.Location{{ID: "main-street", Name: "Main Street counter"}, {ID: "depot", Name: "Depot"}},
		RuleFiles: seed.RuleFiles,
	}
	for i, id := range []string{"brindle-moorland-1971", "brindle-heath-1968", "oxley-fen-1955"} {
		request, err := DecodeResolve([]byte(validRequest))
		if err != nil {
			return nil, err
		}
		v := request.Vehicle
		v.ID, v.Make, v.Model, v.Year = id, []string{"Brindle", "Brindle", "Oxley"}[i], []string{"Moorland", "Heath", "Fen"}[i], []int{1971, 1968, 1955}[i]
		v.Intake.Flange = []catalog.Flange{catalog.SquareBore, catalog.SpreadBore, catalog.TwoBoreSmall}[i]
		d.Vehicles = append(d.Vehicles, v)
	}
	inlet, err := catalog.ParseEnd("inverted_flare 5/8-18 female")
	if err != nil {
		return nil, err
	}
	stud, err := units.ParseThread("1/4-20")
	if err != nil {
		return nil, err
	}
	for _, flow := range []float64{500, 600, 750} {
		sku := fmt.Sprintf("TN-%.0f", flow)
		d.Carburetors = append(d.Carburetors, &catalog.Carburetor{
			Offer: offer(sku, fmt.Sprintf("Tarn & Son 4, %.0f cfm", flow), 30000+int64(flow)), Series: "Tarn 4",
			FlowCFM: flow, RatedAtInHg: 1.5, Barrels: 4, Flange: catalog.SquareBore, HeightIn: 3.25, NeckIn: 5.125,
			Inlet: catalog.Inlet{End: inlet, Facing: catalog.FacingFront}, MaxFuelPSI: 6.5, NeedleSeatIn: 0.097,
			Choke: catalog.Choke{Kind: catalog.ChokeElectric, AmpsCold: 4, AmpsSteady: 1},
			Ports: []catalog.Port{
				{ID: "front-large", Location: catalog.LocationFront, HoseIn: units.Inches(3, 8), Signal: catalog.SignalManifold, Large: true},
				{ID: "rear", Location: catalog.LocationRear, NPTIn: units.Inches(1, 4), Signal: catalog.SignalManifold, Large: true},
				{ID: "front-ported", Location: catalog.LocationFront, HoseIn: units.Inches(3, 16), Signal: catalog.SignalPorted},
				{ID: "front-small", Location: catalog.LocationFront, HoseIn: units.Inches(3, 16), Signal: catalog.SignalManifold}},
			Throttle:       catalog.CarburetorThrottle{Ends: []catalog.LinkEnd{catalog.EndBall}, CableRadiusIn: 1.6, SwingDeg: 80},
			Jets:           catalog.Jets{MainIn: 0.098},
			InBox:          []catalog.InBox{{SKU: "CG-5125", Quantity: 1}},
			AirCleanerStud: stud,
		})
	}
	part := func(o catalog.Offer, kind catalog.Kind, attrs map[string]string, form catalog.Form) error {
		spec, _ := kind.Spec()
		form.Kind = kind
		for _, a := range spec.Attrs {
			if text, ok := attrs[a.Name]; ok {
				v, err := a.ParseValue(text)
				if err != nil {
					return err
				}
				form.Attributes = append(form.Attributes, catalog.Attr{Name: a.Name, Type: a.Type, Value: v})
			}
		}
		p := &catalog.Part{Offer: o, Form: &form}
		if found := p.Validate(); len(found) > 0 {
			return &catalog.InvalidError{What: o.SKU, Violations: found}
		}
		d.Parts = append(d.Parts, p)
		d.Stock = append(d.Stock, catalog.Stock{SKU: o.SKU, Location: "depot", OnHand: len(d.Parts)})
		return nil
	}
	for i := range 120 {
		bore := []string{"1/4", "5/16", "3/8"}[i%3]
		form := catalog.Form{LengthIn: 12 * float64(1+i/3)}
		for range 2 {
			end, err := catalog.NewEnd(catalog.Hose, bore, catalog.Neutral)
			if err != nil {
				return nil, err
			}
			form.Ends = append(form.Ends, end)
		}
		if err := part(offer(fmt.Sprintf("FH-%03d", i), fmt.Sprintf("Fuel hose %s, %g in", bore, form.LengthIn), int64(300+i)), "fuel_hose",
			map[string]string{"bore_in": bore, "class": "30R9", "max_pressure_psi": "100", "max_ethanol_percent": "85"}, form); err != nil {
			return nil, err
		}
	}
	if err := errors.Join(
		part(offer("FC-M", "Fender cover, magnetic", 2500), "fender_cover", map[string]string{"grip": "magnetic"}, catalog.Form{}),
		part(offer("CG-5125", "Cleaner gasket 5-1/8", 350), "cleaner_gasket", map[string]string{"neck_in": "5.125"}, catalog.Form{HeightIn: 0.06}),
		part(offer("JT-4", "Jet & rod set", 4200), "metering_set", map[string]string{"series": "Tarn 4", "jets_in": "0.092 0.095 0.098"}, catalog.Form{}),
	); err != nil {
		return nil, err
	}
	d.Bundles = []*catalog.Bundle{
		{Offer: offer("KB-SHOP", "Workshop bundle", 2700), Contents: []catalog.Amount{{SKU: "FC-M", Quantity: 1}, {SKU: "CG-5125", Quantity: 2}}},
		{Offer: offer("KB-HOSE", "Hose bundle", 900), Contents: []catalog.Amount{{SKU: "FH-001", Quantity: 1}}},
	}
	return kit.Open(d)
})
