package fit

import (
	"fmt"
	"testing"

	"onetrip/internal/catalog"
)

// retailShop is an invented shop of 3 finishes: 3 x 36 fittings, 24 filters, 9
// regulators, 24 hoses, 18 clamps; and four bundles, each of a fitting, a filter, a hose
// and clamps, that save 1.50 on what these cost alone. Other needs may bear three
// quarters of a bundle's price.
func retailShop() *shop {
	s := &shop{}
	n := 0
	add := func(list *[]Candidate, kind catalog.Kind, lengthIn float64, ends []string, attrs ...string) {
		for finish := range 3 {
			n++
			p := part(fmt.Sprintf("P%03d", n), kind, 1, lengthIn, 0, ends, attrs...)
			*list = append(*list, candidate(int64(300+37*n%400+150*finish), p))
		}
	}
	for _, end := range []string{"inverted_flare 5/16 female", "inverted_flare 3/8 female", "inverted_flare 1/2 female", "an_flare -6 male", "an_flare -8 male", "npt 1/8 male", "npt 1/4 male", "npt 3/8 male", "unf_port 7/8-20 male", "unf_port 9/16-24 male", "inverted_flare 3/8 male", "an_flare -6 female"} {
		for _, barb := range []string{"hose_barb 5/16", "hose_barb 3/8", "hose_barb 1/2"} {
			add(&s.fittings, "fuel_fitting", 1.5, []string{end, barb})
		}
	}
	for _, bore := range []string{"5/16", "3/8"} {
		for range 4 {
			add(&s.filters, "fuel_filter", 3, []string{"hose_barb " + bore, "hose_barb " + bore})
			add(&s.hoses, "fuel_hose", 36, []string{"hose " + bore, "hose " + bore})
		}
		for range 3 {
			add(&s.clamps, "hose_clamp", 0, nil, "hose_in", bore)
		}
	}
	for range 3 {
		add(&s.regulators, "pressure_regulator", 3, []string{"npt 1/4 female", "npt 1/4 female"})
	}
	for i := range 4 {
		b := bundle{priceMinor: -150}
		for _, list := range [][]Candidate{s.fittings, s.filters, s.hoses, s.clamps} {
			c := list[5*i%len(list)]
			b.priceMinor += c.Cost
			b.holds = append(b.holds, Holding{c.Part, PieceUnits(c.Part)})
		}
		b.otherMinor = b.priceMinor * 3 / 4
		s.bundles = append(s.bundles, b)
	}
	return s
}

// indexed prices from a table, as a catalogue does.
func indexed(s *shop) PathPrices {
	priced := map[*catalog.Part]Candidate{}
	for _, c := range s.all() {
		priced[c.Part] = c
	}
	prices := s.prices()
	prices.Price = func(p *catalog.Part) Candidate { return priced[p] }
	return prices
}

func BenchmarkPaths(b *testing.B) {
	for _, c := range []struct {
		name      string
		regulator bool
	}{{"plain", false}, {"regulator", true}} {
		b.Run(c.name, func(b *testing.B) {
			s := retailShop()
			q, prices := s.query("inverted_flare 3/8 male", "unf_port 7/8-20 female", 30, c.regulator), indexed(s)
			b.ReportAllocs()
			options := 0
			for b.Loop() {
				search := NewPathSearch(q)
				options = len(search.Paths(b.Context(), prices))
				search.Release()
			}
			b.ReportMetric(float64(options), "options")
		})
	}
}

func BenchmarkVacuum(b *testing.B) {
	v := &catalog.Vehicle{Ignition: catalog.Ignition{Advance: catalog.AdvancePorted}, Transmission: catalog.Transmission{Downshift: catalog.VacuumModulator}}
	v.Accessories = catalog.Accessories{PowerBrakes: true, PCV: true, CanisterPurge: new(true)}
	c := fourBarrel()
	b.ReportAllocs()
	for b.Loop() {
		Vacuum(v, c)
	}
}

func BenchmarkVacuumWorst(b *testing.B) {
	v := &catalog.Vehicle{Ignition: catalog.Ignition{Advance: catalog.AdvancePorted}, Transmission: catalog.Transmission{Downshift: catalog.VacuumModulator}}
	v.Accessories = catalog.Accessories{PowerBrakes: true, PCV: true, CanisterPurge: new(true), EGR: new(true), CruiseControl: new(true)}
	c := &catalog.Carburetor{Ports: append(append(fourBarrel().Ports, fourBarrel().Ports...), fourBarrel().Ports...)}
	b.ReportAllocs()
	for b.Loop() {
		Vacuum(v, c)
	}
}

func BenchmarkStack(b *testing.B) {
	q := adapterStack()
	bundle := q.Savings.Add(300)
	for i := range 12 {
		c := candidate(int64(2000+100*i), part(fmt.Sprint("PLATE", i), "adapter_plate", 1, 0, 0.5+float64(i%4)/4, nil))
		if i%2 == 0 {
			c.Sources = bundle
		}
		q.Adapter.Candidates = append(q.Adapter.Candidates, c)
	}
	b.ReportAllocs()
	for b.Loop() {
		s := NewStackSearch()
		s.Stack(b.Context(), &q)
		s.Release()
	}
}
