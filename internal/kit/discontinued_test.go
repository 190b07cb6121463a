package kit_test

import (
	"slices"
	"strings"
	"testing"

	"onetrip/internal/catalog"
	"onetrip/internal/kit"
	"onetrip/internal/units"
)

// The only plate left, and what it requires: the studs made for it.
const onlyPlate, itsStuds = "DUV-2A35", "ZUD-2A75"

// takesOnlyPlate asks for a kit that takes that plate. The vehicle's studs are long enough, so
// that nothing but the plate asks for new ones.
func takesOnlyPlate(had ...kit.OnHand) *kit.Request {
	stud := 5.0
	return &kit.Request{CarburetorSKU: manualChoke, OnHand: had, Vehicle: usual(func(v *catalog.Vehicle) {
		v.Intake.Flange, v.Intake.HoodClearanceIn, v.Intake.StudLengthIn = catalog.SpreadBore, 9, &stud
	})}
}

func withOnlyPlate(t *testing.T, change func(*catalog.Data)) *kit.Snapshot {
	return changedSnapshot(t, func(d *catalog.Data) {
		for _, p := range d.Parts {
			p.Discontinued = p.Discontinued || p.Kind == "adapter_plate" && p.SKU != onlyPlate
		}
		change(d)
	})
}

// A part that another requires is not bought when it is discontinued: what is at hand of it,
// or replaces it, does, else the kit says what is missing.
func TestRequiredPartIsNotBoughtWhenDiscontinued(t *testing.T) {
	const longer, longest = "ZUD-2A79", "ZUD-2A83"
	type change = func(*catalog.Data)
	gone := func(sku, replacedBy string) change {
		return func(d *catalog.Data) { p := partOf(t, d, sku); p.Discontinued, p.ReplacedBy = true, replacedBy }
	}
	bundle := func(d *catalog.Data) {
		d.Bundles = append(d.Bundles, &catalog.Bundle{Contents: []catalog.Amount{{SKU: itsStuds, Quantity: 1}, {SKU: "XUG-2A03", Quantity: 1}},
			Offer: catalog.Offer{SKU: "ZZB-0001", Name: "Studs and a scraper", Finish: catalog.FinishPlain, PackQuantity: 1, Price: units.Money{AmountMinor: 1, Currency: d.Currency}}})
	}
	for name, c := range map[string]struct {
		changes []change
		had     string
		missing bool
		buys    string // of the studs
	}{
		"nothing else":                     {[]change{gone(itsStuds, "")}, "", true, ""},
		"what replaces it":                 {[]change{gone(itsStuds, longer)}, "", false, longer},
		"what replaces what replaces it":   {[]change{gone(itsStuds, longest), gone(longest, longer)}, "", false, longer},
		"each replaces the other":          {[]change{gone(itsStuds, longer), gone(longer, itsStuds)}, "", true, ""},
		"a bundle replaces it":             {[]change{gone(itsStuds, "OYB-2A75")}, "", true, ""},
		"a bundle holds it":                {[]change{gone(itsStuds, ""), bundle}, "", true, ""},
		"at hand":                          {[]change{gone(itsStuds, "")}, itsStuds, false, ""},
		"at hand, and what replaces it":    {[]change{gone(itsStuds, longer)}, itsStuds, false, ""},
		"what replaces it is at hand":      {[]change{gone(itsStuds, longer)}, longer, false, ""},
		"so it is when that is gone too":   {[]change{gone(itsStuds, longer), gone(longer, "")}, longer, false, ""},
		"something else is at hand, as is": {[]change{gone(itsStuds, "")}, longer, true, ""},
	} {
		t.Run(name, func(t *testing.T) {
			s := withOnlyPlate(t, func(d *catalog.Data) {
				for _, change := range c.changes {
					change(d)
				}
			})
			request := takesOnlyPlate()
			if c.had != "" {
				request.OnHand = []kit.OnHand{{SKU: c.had, Quantity: 1}}
			}
			k := mustResolve(t, s, request)
			neverBuys(t, s, k)
			if !hasLine(k, onlyPlate) || !k.Proof.Optimal {
				t.Errorf("%s bought: %v, proof %+v", onlyPlate, hasLine(k, onlyPlate), k.Proof)
			}
			for _, l := range k.Lines {
				if p, err := s.Catalog.Part(l.SKU); err == nil && p.Kind == "stud_set" && l.SKU != c.buys {
					t.Errorf("%s is bought, wanted %q", l.SKU, c.buys)
				}
			}
			if c.buys != "" && !hasLine(k, c.buys) {
				t.Errorf("%s is not bought", c.buys)
			}
			if !c.missing {
				wantStatus(t, k, "mount.adapter", kit.Filled)
				return
			}
			wantStatus(t, k, "mount.adapter", kit.NotThere)
			wantGone(t, k, itsStuds, onlyPlate)
		})
	}
}

// wantGone wants a kit that lacks for its plate a part that another one requires.
func wantGone(t *testing.T, k *kit.Kit, sku, requirer string) {
	t.Helper()
	want := sku + ", which " + requirer + " requires, is discontinued, and no part on sale takes its place; find one elsewhere and give it as on hand."
	at := slices.IndexFunc(k.Missing, func(m kit.Missing) bool { return m.Need == "mount.adapter" })
	if at < 0 || k.Verdict != kit.Incomplete {
		t.Fatalf("%s, missing %+v", k.Verdict, k.Missing)
	}
	if m := k.Missing[at]; m.Severity != kit.Blocking || m.Reason != want || len(m.Nearest) != 1 || m.Nearest[0].SKU != sku {
		t.Errorf("missing %+v, want %s", m, want)
	}
}

// What a required part requires comes along too, and serves what the first serves.
func TestRequiredPartBringsItsOwnAlong(t *testing.T) {
	const scraper = "XUG-2A07"
	shop := func(gone bool) *kit.Snapshot {
		return withOnlyPlate(t, func(d *catalog.Data) {
			partOf(t, d, itsStuds).Requires, partOf(t, d, scraper).Discontinued = []string{scraper}, gone
		})
	}
	k := mustResolve(t, shop(false), takesOnlyPlate())
	at := slices.IndexFunc(k.Lines, func(l kit.Line) bool { return l.SKU == scraper })
	if at < 0 || !slices.Contains(k.Lines[at].Fills, "mount.adapter") {
		t.Errorf("the scraper's line is %d of %d, or does not serve the plate", at, len(k.Lines))
	}
	wantGone(t, mustResolve(t, shop(true), takesOnlyPlate()), scraper, itsStuds)
}

// Sweeps and shortages know it too: no stock helps.
func TestSweepTellsWhatIsDiscontinued(t *testing.T) {
	s := withOnlyPlate(t, func(d *catalog.Data) { partOf(t, d, itsStuds).Discontinued = true })
	request := takesOnlyPlate()
	c, err := s.Catalog.Carburetor(request.CarburetorSKU)
	if err != nil {
		t.Fatal(err)
	}
	for _, basis := range []kit.Basis{kit.OnSale, kit.InStock} {
		_, err := kit.Sweep(t.Context(), s, kit.SweepQuery{Vehicles: []*catalog.Vehicle{request.Vehicle}, Carburetors: []*catalog.Carburetor{c}, Basis: basis},
			func(_ *kit.Class, _ *catalog.Carburetor, k *kit.Summary) error {
				at := slices.IndexFunc(k.Gaps, func(g kit.Gap) bool { return g.Need == "mount.adapter" })
				if at < 0 || k.Verdict != kit.Incomplete {
					t.Fatalf("%s: %s, gaps %+v", basis, k.Verdict, k.Gaps)
				}
				if g := k.Gaps[at]; g.Cause != kit.Discontinued || !slices.Equal(g.SKUs, []string{itsStuds}) || len(g.Tests) > 0 {
					t.Errorf("%s: gap %+v", basis, g)
				}
				return nil
			})
		if err != nil {
			t.Fatal(err)
		}
	}
	short, err := s.Shortage(t.Context(), request.Vehicle, request.CarburetorSKU, "", nil)
	if err != nil || !short.Beyond {
		t.Errorf("shortage %+v, %v", short, err)
	}
}

// More of a discontinued part than is at hand is missing when nothing else does.
func TestTooFewOfADiscontinuedPart(t *testing.T) {
	const caps, largeCap = "VAQ-2A23", "VAQ-2A95" // two of 3/16 in and one of 3/8 in are wanted
	s := changedSnapshot(t, func(d *catalog.Data) {
		for _, c := range d.Carburetors {
			c.InBox = nil
		}
		for _, p := range d.Parts {
			p.Discontinued = p.Discontinued || p.Kind == "vacuum_cap"
		}
	})
	for pieces, want := range []kit.Status{1: kit.NotThere, 2: kit.OnTheShelf} {
		if pieces == 0 {
			continue
		}
		k := mustResolve(t, s, &kit.Request{VehicleID: "braddimore-candlewick-1952", CarburetorSKU: "QYC-2A67",
			OnHand: []kit.OnHand{{SKU: caps, Quantity: pieces}, {SKU: largeCap, Quantity: 1}}})
		neverBuys(t, s, k)
		wantStatus(t, k, "vacuum.caps", want)
		said := slices.ContainsFunc(k.Missing, func(m kit.Missing) bool {
			return m.Need == "vacuum.caps" && strings.HasPrefix(m.Reason, caps+" is discontinued, there are fewer at hand than it takes")
		})
		if said != (want == kit.NotThere) {
			t.Errorf("%d at hand: missing %+v", pieces, k.Missing)
		}
	}
}

// neverBuys fails when a kit, or an alternative to it, buys what is discontinued.
func neverBuys(t interface{ Errorf(string, ...any) }, s *kit.Snapshot, k *kit.Kit) {
	for _, l := range k.Lines {
		if s.Catalog.Offer(l.SKU).Discontinued {
			t.Errorf("%s is discontinued, and bought", l.SKU)
		}
	}
	for _, a := range k.Alternatives {
		for _, c := range a.Changes {
			if s.Catalog.Offer(c.SKU).Discontinued {
				t.Errorf("%s: %s is discontinued, and bought", a.Objective, c.SKU)
			}
		}
	}
}
