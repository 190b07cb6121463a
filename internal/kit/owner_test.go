//go:build !race

package kit_test

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"onetrip/internal/catalog"
	"onetrip/internal/kit"
	"onetrip/internal/kit/kittest"
)

// The owner may decline what the swap requires; the answer does not call that complete, and
// reckons with a regulator only where there is one.
func TestDeclinedIsNotCovered(t *testing.T) {
	s := demoSnapshot(t)
	r := &kit.Request{CarburetorSKU: manualChoke, Vehicle: usual(func(v *catalog.Vehicle) { v.Fuel.PressurePSI = 7 })}
	k := mustResolve(t, s, r)
	if c := check(t, k, "fuel.delivered_pressure"); c.Outcome != kit.Pass {
		t.Fatalf("with a regulator: %+v", c)
	}
	for _, need := range []string{"fuel.pressure_regulator", "throttle.return_springs"} {
		r.Preferences.Declined = []string{need}
		k = mustResolve(t, s, r)
		if k.Verdict != kit.CompleteWithWarnings || !slices.ContainsFunc(k.VerdictReasons, func(text string) bool { return strings.HasPrefix(text, need+": left out as asked") }) {
			t.Errorf("without %s: %s, %q", need, k.Verdict, k.VerdictReasons)
		}
	}
	r.Preferences.Declined = []string{"fuel.pressure_regulator"}
	k = mustResolve(t, s, r)
	if c := check(t, k, "fuel.delivered_pressure"); c.Outcome != kit.Fail || c.Value != 7 {
		t.Errorf("with the regulator declined: %+v", c)
	}
	if slices.ContainsFunc(k.FuelPath, func(p kit.PathStep) bool { return strings.Contains(p.Name, "regulator") }) {
		t.Errorf("a declined regulator is in the path: %+v", k.FuelPath)
	}
	r.OnHand = []kit.OnHand{{Need: "fuel.pressure_regulator"}}
	r.Preferences.Declined = nil
	if c := check(t, mustResolve(t, s, r), "fuel.delivered_pressure"); c.Outcome != kit.Pass {
		t.Errorf("with the owner's regulator: %+v", c)
	}
	r.Preferences.Levels = []kit.Level{kit.Optional}
	if k = mustResolve(t, s, r); k.Verdict != kit.CompleteWithWarnings || len(k.VerdictReasons) < 10 {
		t.Errorf("of optional needs alone: %s, %q", k.Verdict, k.VerdictReasons)
	}
}

// The cautions about the pedal's travel are there when its check warns.
func TestPedalIsCautionedAboutWhenItsCheckWarns(t *testing.T) {
	s := demoSnapshot(t)
	warned := 0
	for pedalIn := 1.4; pedalIn < 2; pedalIn += 0.02 { // the lever takes 1.575 in
		k := mustResolve(t, s, &kit.Request{CarburetorSKU: manualChoke, Vehicle: usual(func(v *catalog.Vehicle) { v.Throttle.PedalTravelIn = pedalIn })})
		travel, want := check(t, k, "throttle.travel"), "throttle.short_travel"
		if pedalIn > 1.575 {
			want = "throttle.over_travel"
		}
		for _, id := range []string{"throttle.short_travel", "throttle.over_travel"} {
			cautioned := slices.ContainsFunc(k.Cautions, func(c kit.Caution) bool { return c.ID == id })
			if cautioned != (travel.Outcome == kit.Warn && id == want) {
				t.Errorf("%.2f in: check %s, caution %s: %v", pedalIn, travel.Outcome, id, cautioned)
			}
		}
		if travel.Outcome == kit.Warn {
			warned++
		}
	}
	if warned < 10 {
		t.Errorf("only %d warn", warned)
	}
}

// A regulator that nobody sells regulates nothing.
func TestMissingRegulatorFloods(t *testing.T) {
	k := swap(t, usual(func(v *catalog.Vehicle) { v.Fuel.Pump, v.Fuel.PressurePSI = catalog.PumpElectric, 90 }), manualChoke)
	if n, _ := need(k, "fuel.pressure_regulator"); n.Status != kit.NotThere || len(k.FuelPath) == 0 {
		t.Fatalf("%+v, path %+v", n, k.FuelPath)
	}
	if c := check(t, k, "fuel.delivered_pressure"); c.Outcome != kit.Fail || c.Value != 90 {
		t.Errorf("%+v", c)
	}
}

// What is on hand by need counts as far as it goes: inches of hose only in one piece. Where
// the quantity that is enough is not known beforehand, none is taken.
func TestOnHandCounts(t *testing.T) {
	s := demoSnapshot(t)
	r := &kit.Request{Vehicle: usual(), CarburetorSKU: manualChoke}
	wanted, ok := need(mustResolve(t, s, r), "vacuum.pcv_hose")
	if !ok || wanted.Unit != "inch" {
		t.Fatalf("%+v", wanted)
	}
	for _, c := range []struct {
		inches int
		status kit.Status
	}{{1, kit.Filled}, {int(wanted.Quantity) - 1, kit.Filled}, {int(wanted.Quantity), kit.OnTheShelf}, {0, kit.OnTheShelf}} {
		r.OnHand = []kit.OnHand{{Need: "vacuum.pcv_hose", Quantity: c.inches}}
		if n, _ := need(mustResolve(t, s, r), "vacuum.pcv_hose"); n.Status != c.status {
			t.Errorf("of %g in %d on hand: %s, wanted %s", wanted.Quantity, c.inches, n.Status, c.status)
		}
	}
	for _, id := range kit.Uncounted {
		r.OnHand = []kit.OnHand{{Need: id, Quantity: 1}}
		_, err := kit.Resolve(t.Context(), s, r)
		var invalid *catalog.InvalidError
		if !errors.As(err, &invalid) || invalid.Violations[0].Pointer != "/on_hand/0/quantity" {
			t.Errorf("%s: %v", id, err)
		}
	}
}

// The caution about the float valve is there when its check warns, and says the same. The
// pressure that the kit says to set is the one that its checks reckon with. A
// regulator that the kit buys never starves a float valve that passes the demand within the
// carburetor's limit.
func TestFloatValveIsFedOrCautionedAbout(t *testing.T) {
	s := demoSnapshot(t)
	warned, bought := 0, 0
	for _, v := range s.Catalog.Vehicles() {
		for _, c := range s.Catalog.Carburetors() {
			k := mustResolve(t, s, &kit.Request{VehicleID: v.ID, CarburetorSKU: c.SKU})
			valve := check(t, k, "fuel.float_valve")
			i := slices.IndexFunc(k.Cautions, func(c kit.Caution) bool { return c.ID == valve.ID })
			switch {
			case (i >= 0) != (valve.Outcome == kit.Warn):
				t.Errorf("%s with %s: check %s, caution %v", v.ID, c.SKU, valve.Outcome, i >= 0)
			case i >= 0 && !strings.HasPrefix(k.Cautions[i].Text, valve.Text):
				t.Errorf("%s with %s: %q beside %q", v.ID, c.SKU, k.Cautions[i].Text, valve.Text)
			case i >= 0:
				warned++
			}
			if i := slices.IndexFunc(k.Settings, func(s kit.Setting) bool { return s.What == "fuel pressure" }); i >= 0 {
				var psi, limit float64
				if _, err := fmt.Sscanf(k.Settings[i].Value, "%g psi at the inlet, engine idling; never above %g psi", &psi, &limit); err != nil {
					t.Fatal(err)
				}
				inlet, loss := check(t, k, "fuel.delivered_pressure"), check(t, k, "fuel.line_loss")
				if psi > limit || math.Abs(psi-loss.Value-inlet.Value) > 0.006 {
					t.Errorf("%s with %s: set to %g of %g psi, of which %g are lost, the check has %g", v.ID, c.SKU, psi, limit, loss.Value, inlet.Value)
				}
			}
			n, ok := need(k, "fuel.pressure_regulator")
			if !ok || n.Status != kit.Filled {
				continue
			}
			bought++
			r := &kit.Request{VehicleID: v.ID, CarburetorSKU: c.SKU, OnHand: []kit.OnHand{{Need: "fuel.pressure_regulator"}}}
			widest := check(t, mustResolve(t, s, r), "fuel.float_valve") // the owner's may be set to the limit
			if valve.Outcome == kit.Warn && widest.Value > 1.06*(*widest.Limit.AtLeast) {
				t.Errorf("%s with %s: passes %g gph with %v, up to %g, of %g", v.ID, c.SKU, valve.Value, n.Lines, widest.Value, *widest.Limit.AtLeast)
			}
		}
	}
	if warned < 100 || bought < 20 {
		t.Errorf("only %d warn, %d kits have a regulator", warned, bought)
	}
}

// Nothing says how to feed an electric choke that the vehicle's electrics do not suit, whoever
// sees to its conversion; a choke that the owner converts is set as what it becomes.
func TestChokeIsAdvisedOnAsItEndsUp(t *testing.T) {
	s := demoSnapshot(t)
	positive := usual(func(v *catalog.Vehicle) { v.Electrical.NegativeGround = false })
	const divorced = "QYC-2B07"
	owned := []kit.OnHand{{Need: "choke.conversion"}}
	declined := kit.Preferences{Declined: []string{"choke.conversion"}}
	for _, c := range []struct {
		name, setting string
		request       kit.Request
		fed           bool
	}{
		{"electric", "choke index", kit.Request{Vehicle: usual(), CarburetorSKU: usualCarburetor}, true},
		{"converted", "choke cable", kit.Request{Vehicle: positive, CarburetorSKU: usualCarburetor}, false},
		{"converted by the owner", "choke cable", kit.Request{Vehicle: positive, CarburetorSKU: usualCarburetor, OnHand: owned}, false},
		{"not converted", "", kit.Request{Vehicle: positive, CarburetorSKU: usualCarburetor, Preferences: declined}, false},
		{"divorced", "choke rod", kit.Request{Vehicle: usual(), CarburetorSKU: divorced, Preferences: declined}, false},
		{"divorced, to electric by the owner", "choke index", kit.Request{Vehicle: usual(), CarburetorSKU: divorced, OnHand: owned}, false},
		{"divorced, to manual by the owner", "choke cable", kit.Request{Vehicle: positive, CarburetorSKU: divorced, OnHand: owned}, false},
	} {
		k := mustResolve(t, s, &c.request)
		setting := ""
		for _, set := range k.Settings {
			if strings.HasPrefix(set.What, "choke") {
				setting = set.What
			}
		}
		if setting != c.setting {
			t.Errorf("%s: setting %q, want %q", c.name, setting, c.setting)
		}
		for _, id := range []string{"choke.voltage_drop", "choke.fuse"} {
			if fed := slices.ContainsFunc(k.Checks, func(check kit.Check) bool { return check.ID == id }); fed != c.fed {
				t.Errorf("%s: check %s is there: %v", c.name, id, fed)
			}
		}
	}
}

// Wire is bought for a choke that is made electric, not for one that stays divorced, be the
// conversion declined, not on sale or in conflict with the rest; nor is its feed cautioned about.
func TestOnlyAConvertedChokeIsFed(t *testing.T) {
	unsold, clashing := kittest.Data(t), kittest.Data(t)
	for _, p := range unsold.Parts {
		p.Discontinued = p.Discontinued || p.Kind == "choke_conversion"
	}
	for _, p := range clashing.Parts {
		if p.Kind == "choke_conversion" {
			for _, gasket := range clashing.Parts {
				if gasket.Kind == "base_gasket" {
					p.Conflicts = append(p.Conflicts, gasket.SKU)
				}
			}
		}
	}
	request := func(change func(r *kit.Request)) *kit.Request {
		r := &kit.Request{Vehicle: usual(), CarburetorSKU: "QYC-2B55", OnHand: []kit.OnHand{{Need: "choke.ground_wire"}}}
		change(r)
		return r
	}
	asked := request(func(*kit.Request) {})
	for _, c := range []struct {
		name       string
		s          *kit.Snapshot
		r          *kit.Request
		conversion kit.Status
		fed        bool
	}{
		{"bought", demoSnapshot(t), asked, kit.Filled, true},
		{"the owner's", demoSnapshot(t), request(func(r *kit.Request) { r.OnHand = append(r.OnHand, kit.OnHand{Need: "choke.conversion"}) }), kit.OnTheShelf, true},
		{"declined", demoSnapshot(t), request(func(r *kit.Request) { r.Preferences.Declined = []string{"choke.conversion"} }), kit.Declined, false},
		{"not on sale", kittest.Open(t, unsold), asked, kit.NotThere, false},
		{"in conflict", kittest.Open(t, clashing), asked, kit.NotThere, false},
	} {
		k := mustResolve(t, c.s, c.r)
		wantStatus(t, k, "choke.conversion", c.conversion)
		for _, id := range []string{"choke.feed_wire", "choke.ground_wire"} {
			if _, there := need(k, id); there != c.fed {
				t.Errorf("%s: %s is there: %v", c.name, id, there)
			}
		}
		if wire := slices.ContainsFunc(k.Lines, func(l kit.Line) bool { return strings.HasPrefix(l.Name, "Choke feed wire") }); wire != c.fed {
			t.Errorf("%s: feed wire is bought: %v", c.name, wire)
		}
		if told := slices.ContainsFunc(k.Cautions, func(o kit.Caution) bool { return o.ID == "choke.feed" }); told != c.fed {
			t.Errorf("%s: the feed is cautioned about: %v", c.name, told)
		}
	}
}
