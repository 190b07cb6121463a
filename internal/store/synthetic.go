package store

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"

	"onetrip/internal/catalog"
	"onetrip/internal/units"
)

// Synthetic is how large a catalogue to make up. Counts include those of the catalogue
// that it is made from.
type Synthetic struct {
	Parts, Vehicles, Carburetors int
	Seed                         uint64
}

// What a large catalogue looks like is a guess: common practice, no source.
const (
	newFormShare   = 12   // of so many parts one has a form of its own
	maxOffers      = 48   // of one form
	brandCount     = 40   // of parts
	seriesSize     = 6    // carburetors
	enginesPerBay  = 8    // vehicles that differ in the engine but not in what is around it, on average
	yearsPerEngine = 10   // vehicles that differ in name and year only, on average
	partsPerBundle = 2000 // parts in the catalogue for each bundle
	formAttempts   = 8    // at a form that is valid and new
)

// MakeSynthetic makes a catalogue of a retailer's size out of a small one, which it
// takes over: everything of base, and vehicles, carburetors, parts, bundles and stock in
// the manner of base under invented names. The same size and base give the same
// catalogue. It is for measuring: that its parts exist or fit anything is not claimed.
func MakeSynthetic(base *catalog.Data, size Synthetic) (*catalog.Data, error) {
	if size.Parts < len(base.Parts) || size.Vehicles < len(base.Vehicles) || size.Carburetors < len(base.Carburetors) {
		return nil, fmt.Errorf("a synthetic catalogue holds the one it is made from: at least %d parts, %d vehicles and %d carburetors",
			len(base.Parts), len(base.Vehicles), len(base.Carburetors))
	}
	m := &maker{Rand: rand.New(rand.NewPCG(size.Seed, 0)), d: base}
	for _, l := range [...]catalog.Location{{ID: "quosholm", Name: "Quosholm Yard"}, {ID: "yarvelden", Name: "Yarvelden Depot"}} {
		if !slices.Contains(base.Locations, l) {
			base.Locations = append(base.Locations, l)
		}
	}
	m.vehicles(size.Vehicles)
	m.carburetors(size.Carburetors)
	m.parts(size.Parts)
	m.bundles(size.Parts / partsPerBundle)
	return base, nil
}

type maker struct {
	*rand.Rand
	d      *catalog.Data
	serial int
	series []string
}

// one picks an element.
func one[T any](m *maker, list []T) T { return list[m.IntN(len(list))] }

// chance is true once in n times.
func (m *maker) chance(n int) bool { return m.IntN(n) == 0 }

// step is one of the multiples of a step from -n to n.
func (m *maker) step(n int, step float64) float64 { return float64(m.IntN(2*n+1)-n) * step }

// Made-up names.
var (
	nameStarts = []string{"Vrel", "Quos", "Zimb", "Thrupp", "Oskel", "Wexl", "Brund", "Yarv", "Plimm", "Snodd", "Fesk", "Hurv", "Jolb", "Kwenn", "Drusk", "Mivv"}
	nameEnds   = []string{"ander", "ivick", "omere", "ustle", "arrow", "inck", "olby", "edge", "umble", "axter"}
)

// invented is the n-th made-up name.
func invented(n int) string {
	name := nameStarts[n%len(nameStarts)] + nameEnds[n/len(nameStarts)%len(nameEnds)]
	if round := n / len(nameStarts) / len(nameEnds); round > 0 {
		name += fmt.Sprintf(" %d", round+1)
	}
	return name
}

// sku is the next one of a brand; base has none with so many digits.
func (m *maker) sku(brand int) string {
	m.serial++
	const letters = "BCDFGHJKLMNPQRSTVWXZ"
	return fmt.Sprintf("%c%c-%07d", letters[brand%len(letters)], letters[(brand*7+brand/len(letters))%len(letters)], m.serial)
}

// gtin is a number of the range that GS1 leaves to the shops themselves (prefix 2), for
// most articles.
func (m *maker) gtin() string {
	if m.chance(3) {
		return ""
	}
	body := fmt.Sprintf("29%010d", m.serial)
	check, err := units.GTINCheckDigit(body)
	if err != nil {
		return ""
	}
	return fmt.Sprintf("%s%d", body, check)
}

// vehicles come as engine bays, each with a few engines, each sold for some years.
func (m *maker) vehicles(count int) {
	base := m.d.Vehicles
	for bay := 1; len(m.d.Vehicles) < count; bay++ {
		v := m.bay(base)
		for engine := range 1 + m.IntN(2*enginesPerBay-1) {
			v := m.engine(v, base)
			if len(v.Validate()) > 0 {
				continue
			}
			for i := range min(1+m.IntN(2*yearsPerEngine-1), count-len(m.d.Vehicles)) {
				one := v
				one.Year = min(v.Year+i/2, 1995)
				one.ID = fmt.Sprintf("%s-%d-b%d-e%d-%d", strings.ToLower(v.Make), one.Year, bay, engine+1, i+1)
				m.d.Vehicles = append(m.d.Vehicles, &one)
			}
		}
	}
}

// bay mixes two vehicles of the base and moves figures a little.
func (m *maker) bay(base []*catalog.Vehicle) catalog.Vehicle {
	v, other := *one(m, base), one(m, base)
	v.Model = other.Model
	switch m.IntN(4) {
	case 0:
		v.Transmission = other.Transmission
	case 1:
		v.Throttle = other.Throttle
	case 2:
		v.Accessories, v.Ignition = other.Accessories, other.Ignition
	}
	v.Intake.HoodClearanceIn += m.step(4, 0.25)
	v.Intake.StudLengthIn = other.Intake.StudLengthIn
	v.Fuel.RunLengthIn += float64(m.IntN(7))
	v.Electrical.ChokeFeedLengthFt = other.Electrical.ChokeFeedLengthFt
	v.AirCleaner.HeightIn += m.step(2, 0.25)
	return v
}

// engine puts an engine into a bay.
func (m *maker) engine(v catalog.Vehicle, base []*catalog.Vehicle) catalog.Vehicle {
	other := one(m, base).Engine
	v.Engine.DisplacementIn3 = math.Round(v.Engine.DisplacementIn3 * (1 + m.step(15, 0.01)))
	v.Engine.Tune, v.Engine.RedlineRPM, v.Engine.IdleVacuumInHg = other.Tune, other.RedlineRPM, other.IdleVacuumInHg
	v.Site.AltitudeFt = one(m, []float64{0, 0, 0, 500, 1000, 2500, 5000, 7000})
	return v
}

func (m *maker) carburetors(count int) {
	base := m.d.Carburetors
	for _, c := range base {
		if !slices.Contains(m.series, c.Series) {
			m.series = append(m.series, c.Series)
		}
	}
	for n := 0; len(m.d.Carburetors) < count; {
		group := one(m, base)
		brand := brandCount + n/seriesSize%12
		series := invented(brandCount + 12 + n/seriesSize)
		m.series = append(m.series, series)
		for range min(seriesSize, count-len(m.d.Carburetors)) {
			c := *group
			c.Series = series
			c.FlowCFM = max(150, c.FlowCFM+m.step(6, 25))
			c.HeightIn += m.step(4, 0.0625)
			if c.Choke.Kind == catalog.ChokeElectric && m.chance(3) {
				c.Choke = catalog.Choke{Kind: catalog.ChokeManual}
			}
			c.SKU = m.sku(brand)
			c.Finish = catalog.FinishPlain
			c.Name = fmt.Sprintf("%s %s %.0f, %s, %s choke", invented(brand), series, c.FlowCFM, spaced(c.Flange), spaced(c.Choke.Kind))
			c.Price.AmountMinor = c.Price.AmountMinor * int64(80+m.IntN(50)) / 100
			c.GTIN, c.Discontinued, c.ReplacedBy = m.gtin(), false, ""
			m.d.Carburetors = append(m.d.Carburetors, &c)
			m.stock(c.SKU)
			n++
		}
	}
}

func spaced[T ~string](v T) string { return strings.ReplaceAll(string(v), "_", " ") }

// A family is what there is of one kind.
type family struct {
	spec  *catalog.KindSpec
	base  []*catalog.Part // from which forms and prices are taken
	forms []madeForm      // those with room for more offers
	known map[string]bool // keys of all forms
}

type madeForm struct {
	form   *catalog.Form
	like   *catalog.Part
	offers int
}

func (m *maker) parts(count int) {
	families := map[catalog.Kind]*family{}
	var weighted []*family // one entry for each part of base
	for _, p := range m.d.Parts {
		f := families[p.Kind]
		if f == nil {
			spec, _ := p.Kind.Spec()
			f = &family{spec: spec, known: map[string]bool{}}
			families[p.Kind] = f
		}
		f.base = append(f.base, p)
		if key := p.Form.Key(); !f.known[key] {
			f.known[key] = true
			f.forms = append(f.forms, madeForm{form: p.Form, like: p})
		}
		weighted = append(weighted, f)
	}
	made := make([]catalog.Part, count-len(m.d.Parts))
	m.d.Parts = slices.Grow(m.d.Parts, len(made))
	var clamps []string
	for i := range made {
		var at int
		f := one(m, weighted)
		for {
			if at = m.form(f); at >= 0 {
				break
			}
			// No form of the kind can take another offer.
			weighted = slices.DeleteFunc(weighted, func(o *family) bool { return o == f })
			f = one(m, weighted)
		}
		p := &made[i]
		m.offer(p, &f.forms[at])
		if f.forms[at].offers++; f.forms[at].offers == maxOffers {
			f.forms[at] = f.forms[len(f.forms)-1]
			f.forms = f.forms[:len(f.forms)-1]
		}
		switch {
		case p.Kind == "hose_clamp" && m.chance(100):
			clamps = append(clamps, p.SKU)
		case p.Kind == "fuel_hose" && len(clamps) > 0 && m.chance(1000):
			p.Conflicts = []string{one(m, clamps)}
		}
		m.d.Parts = append(m.d.Parts, p)
		m.stock(p.SKU)
	}
}

// form picks the form for one more offer, now and then a new one; -1 when there is none.
func (m *maker) form(f *family) int {
	if len(f.forms) == 0 || m.chance(newFormShare) {
		for range formAttempts {
			like := one(m, f.base)
			form := m.vary(f, like)
			key := form.Key()
			trial := catalog.Part{Offer: like.Offer, Form: form}
			if f.known[key] || len(trial.Validate()) > 0 {
				continue
			}
			f.known[key] = true
			f.forms = append(f.forms, madeForm{form: form, like: like})
			return len(f.forms) - 1
		}
	}
	if len(f.forms) == 0 {
		return -1
	}
	return m.IntN(len(f.forms))
}

// soldLengthsIn are those of hose and wire.
var soldLengthsIn = []float64{12, 18, 24, 30, 36, 48, 60, 72, 96, 120, 144, 180, 240, 300, 600}

// vary is the form of a part with some of its attributes changed: to values that other
// parts of the kind have, or for figures by a step. It may be invalid.
func (m *maker) vary(f *family, like *catalog.Part) *catalog.Form {
	form := &catalog.Form{Kind: like.Kind, LengthIn: like.LengthIn, HeightIn: like.HeightIn}
	scale := 1 + m.step(6, 0.05) // one for all, so that figures that go together stay so
	for _, a := range like.Attributes {
		spec, _ := f.spec.Attr(a.Name)
		from := one(m, f.base)
		switch {
		case a.Type == catalog.AttrText:
			a.Value = catalog.Value{Text: one(m, m.series)}
		case a.Type == catalog.AttrNumbers:
			shift := m.step(5, 0.001)
			list := make([]float64, len(a.Value.Numbers))
			for i, n := range a.Value.Numbers {
				list[i] = rounded(n+shift, 4)
			}
			a.Value = catalog.Value{Numbers: list}
		case a.Type == catalog.AttrNumber && scalable(a.Name):
			a.Value = catalog.Value{Num: rounded(a.Value.Num*scale, 3)}
		case !m.chance(3):
		case a.Type == catalog.AttrEnum:
			a.Value = catalog.Value{Text: one(m, spec.Accepted)}
		default:
			if other, ok := from.Attr(a.Name); ok {
				a.Value = other.Value
			}
		}
		form.Attributes = append(form.Attributes, a)
	}
	form.Ends = slices.Clone(like.Ends)
	switch like.Kind {
	case "fuel_fitting":
		for i := range form.Ends {
			if m.chance(2) {
				form.Ends[i] = one(m, one(m, f.base).Ends)
			}
		}
	case "fuel_hose":
		if bore, err := units.ParseSize(form.Text("bore_in")); err == nil {
			for i := range form.Ends {
				form.Ends[i].Size = bore
			}
		}
	}
	switch {
	case f.spec.ByLength:
		form.LengthIn = one(m, soldLengthsIn)
	case form.LengthIn > 0:
		form.LengthIn += float64(m.IntN(33)) / 16
	}
	if form.HeightIn > 0 {
		form.HeightIn = rounded(max(0.02, form.HeightIn*(1+m.step(8, 0.05))), 4)
	}
	return form
}

// scalable tells figures of which parts come in all values from those that come in a few.
func scalable(attr string) bool {
	for _, suffix := range []string{"_psi", "_gph", "_cfm", "_flow", "diameter_in", "radius_in", "travel_in", "max_amps", "orifice_in", "micron"} {
		if strings.HasSuffix(attr, suffix) {
			return true
		}
	}
	return false
}

func rounded(v float64, decimals int) float64 {
	p := math.Pow10(decimals)
	return math.Round(v*p) / p
}

// packs are the quantities that small goods come in.
var packs = []int{1, 1, 1, 2, 4, 5, 10}

// offer makes one more offer of a form.
func (m *maker) offer(p *catalog.Part, f *madeForm) {
	brand := m.IntN(brandCount)
	p.Form = f.form
	like := &f.like.Offer
	p.SKU, p.GTIN = m.sku(brand), m.gtin()
	p.Finish, p.PackQuantity = like.Finish, like.PackQuantity
	price := float64(like.Price.AmountMinor) * (0.7 + 0.8*m.Float64())
	if spec, _ := p.Kind.Spec(); like.Price.AmountMinor < 1000 && !spec.ByLength {
		p.PackQuantity = one(m, packs)
		price = price / float64(like.PackQuantity) * math.Pow(float64(p.PackQuantity), 0.85)
	}
	if p.Finish == catalog.FinishPlain && m.chance(5) {
		p.Finish = catalog.FinishBright
		price *= 1.4
	}
	p.Price = units.Money{AmountMinor: max(1, int64(price)), Currency: like.Price.Currency}
	p.LeadTimeDays = 1 + m.IntN(10)
	p.Discontinued = m.chance(33)
	p.Name = partName(p, invented(brand))
}

// partName says what a part is, as far as a label has room.
func partName(p *catalog.Part, brand string) string {
	spec, _ := p.Kind.Spec()
	var b strings.Builder
	b.WriteString(spec.Title)
	add := func(text string) {
		if b.Len()+len(text)+len(brand)+4 <= 120 {
			b.WriteString(", ")
			b.WriteString(text)
		}
	}
	for _, a := range p.Attributes {
		if a.Type == catalog.AttrEnum || a.Type == catalog.AttrSize || a.Type == catalog.AttrThread || a.Type == catalog.AttrText {
			add(spaced(a.Value.Text))
		}
	}
	if len(p.Ends) == 2 {
		add(p.Ends[0].String() + " to " + p.Ends[1].String())
	}
	if p.PackQuantity > 1 {
		add(fmt.Sprintf("pack of %d", p.PackQuantity))
	}
	add(brand)
	return b.String()
}

// stock gives an article stock at some locations.
func (m *maker) stock(sku string) {
	for _, l := range m.d.Locations {
		if m.chance(2) {
			m.d.Stock = append(m.d.Stock, catalog.Stock{SKU: sku, Location: l.ID, OnHand: 1 + m.IntN(20)})
		}
	}
}

// bundled are the kinds that bundles hold.
var bundled = []catalog.Kind{"fuel_fitting", "fuel_filter", "hose_clamp", "base_gasket", "stud_set", "cleaner_gasket", "vacuum_cap", "vacuum_hose"}

func (m *maker) bundles(count int) {
	for len(m.d.Bundles) < count {
		b := &catalog.Bundle{Offer: catalog.Offer{
			SKU: m.sku(len(m.d.Bundles)), Finish: catalog.FinishPlain, PackQuantity: 1, LeadTimeDays: 3,
			Price: units.Money{Currency: m.d.Currency}, GTIN: m.gtin(),
		}}
		b.Name = fmt.Sprintf("Fitting kit %d, %s", len(m.d.Bundles)+1, invented(m.IntN(brandCount)))
		var kinds []catalog.Kind
		for size := 3 + m.IntN(3); len(b.Contents) < size; {
			p := one(m, m.d.Parts)
			if p.Discontinued || slices.Contains(kinds, p.Kind) || !slices.Contains(bundled, p.Kind) {
				continue
			}
			kinds = append(kinds, p.Kind)
			b.Contents = append(b.Contents, catalog.Amount{SKU: p.SKU, Quantity: p.PackQuantity})
			b.Price.AmountMinor += max(1, p.Price.AmountMinor*85/100)
		}
		m.d.Bundles = append(m.d.Bundles, b)
		m.stock(b.SKU)
	}
}
