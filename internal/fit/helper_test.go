package fit

import (
	"fmt"
	"maps"
	"testing"

	"pgregory.net/rapid"

	"onetrip/internal/catalog"
	_ "onetrip/internal/golden" // for the flag -update
)

// check draws times as many cases as rapid does by itself.
func check(t *testing.T, times int, property func(*rapid.T)) {
	t.Helper()
	for range times {
		rapid.Check(t, property)
	}
}

func mustEnd(text string) catalog.End {
	end, err := catalog.ParseEnd(text)
	if err != nil {
		panic(err)
	}
	return end
}

// part makes an invented part; attrs alternate name and text value.
func part(sku string, kind catalog.Kind, pack int, lengthIn, heightIn float64, ends []string, attrs ...string) *catalog.Part {
	p := &catalog.Part{Offer: catalog.Offer{SKU: sku, Name: sku, PackQuantity: pack}, Form: &catalog.Form{Kind: kind, LengthIn: lengthIn, HeightIn: heightIn}}
	for _, e := range ends {
		p.Ends = append(p.Ends, mustEnd(e))
	}
	spec, _ := kind.Spec()
	for i := 0; i < len(attrs); i += 2 {
		a, ok := spec.Attr(attrs[i])
		if !ok {
			panic(attrs[i])
		}
		v, err := a.ParseValue(attrs[i+1])
		if err != nil {
			panic(err)
		}
		p.Attributes = append(p.Attributes, catalog.Attr{Name: a.Name, Type: a.Type, Value: v})
	}
	// A snapshot makes the form know what its kind says.
	s, err := catalog.NewSnapshot(&catalog.Data{Parts: []*catalog.Part{p}})
	if err != nil {
		panic(err)
	}
	return s.Parts()[0]
}

// drawSavings is up to three sources that save up to so much.
func drawSavings(t *rapid.T) *Savings {
	s := &Savings{}
	for i := range rapid.IntRange(0, 3).Draw(t, "sources") {
		s.Add(int64(rapid.IntRange(0, 12).Draw(t, fmt.Sprint("source ", i, " saves at most"))))
	}
	return s
}

// drawPrices gives a candidate costs of every kind.
func drawPrices(t *rapid.T, p *catalog.Part, s *Savings) Candidate {
	rarely := func(what string) bool { return rapid.IntRange(0, 4).Draw(t, p.SKU+" "+what) == 4 }
	c := Candidate{Part: p, Cost: int64(rapid.IntRange(0, 9).Draw(t, p.SKU+" cost")), Tied: rarely("tied")}
	p.Price.AmountMinor = rapid.Int64Range(0, c.Cost).Draw(t, p.SKU+" price") // no cost is below it
	if rarely("has once") {
		c.Once, c.OnceAbove = int64(rapid.IntRange(1, 9).Draw(t, p.SKU+" once")), int32(rapid.IntRange(0, 2).Draw(t, p.SKU+" once above"))
	}
	if rarely("has penalty") {
		c.Penalty = int64(rapid.IntRange(1, 5).Draw(t, p.SKU+" penalty"))
	}
	for i := range s.most {
		if rarely(fmt.Sprint("from source ", i)) {
			c.Sources |= 1 << i
		}
	}
	return c
}

// bill is the units by part of an option, and its penalties.
type bill struct {
	units   map[*catalog.Part]int
	penalty int64
}

func (b bill) plus(c Candidate, units, places int) bill {
	with := bill{maps.Clone(b.units), b.penalty + int64(places)*c.Penalty}
	if with.units == nil {
		with.units = map[*catalog.Part]int{}
	}
	with.units[c.Part] += units
	return with
}

func billOf(o *Option) bill {
	b := bill{map[*catalog.Part]int{}, o.Penalty}
	for _, u := range o.Uses {
		b.units[u.Part] += u.Units
	}
	return b
}

// world is one way the rest of a kit may turn out: sources that give units of parts
// for a fee, so high that none saves more than it may; parts that cannot be had
// because of what they require or conflict with; units owned already; and units that other
// needs take, which are paid for in whatever an option costs.
type world struct {
	candidates map[*catalog.Part]Candidate
	fees       []int64
	gives      []map[*catalog.Part]int
	without    map[*catalog.Part]bool
	owned      map[*catalog.Part]int
	taken      map[*catalog.Part]int // by other needs
	required   map[*catalog.Part]int // in the kit, whatever for
}

func drawWorld(t *rapid.T, all []Candidate, s *Savings) world {
	w := world{candidates: map[*catalog.Part]Candidate{}, fees: make([]int64, len(s.most)), gives: make([]map[*catalog.Part]int, len(s.most)), without: map[*catalog.Part]bool{}}
	for _, c := range all {
		w.candidates[c.Part] = c
		w.without[c.Part] = c.Tied && rapid.Bool().Draw(t, c.Part.SKU+" cannot be had")
	}
	for i, most := range s.most {
		w.gives[i] = map[*catalog.Part]int{}
		worth := int64(0)
		for _, c := range all {
			if c.Sources&(1<<i) != 0 {
				n := rapid.SampledFrom([]int{1, 2, 4, 40}).Draw(t, fmt.Sprint(c.Part.SKU, " from source ", i))
				w.gives[i][c.Part] = n
				worth += int64(Packs(c.Part, n))*c.Cost + c.Once
			}
		}
		w.fees[i] = max(0, worth-most)
	}
	return w
}

// price is what an option costs in this world with the best choice of sources; ok is
// false when it cannot be had.
func (w world) price(b bill) (best int64, ok bool) {
	for p := range b.units {
		if w.without[p] {
			return 0, false
		}
	}
	for chosen := range 1 << len(w.fees) {
		sum := b.penalty
		free := map[*catalog.Part]int{}
		for i, fee := range w.fees {
			if chosen&(1<<i) != 0 {
				sum += fee
				for p, n := range w.gives[i] {
					free[p] += n
				}
			}
		}
		units := maps.Clone(b.units)
		for p, n := range w.taken {
			units[p] += n
		}
		for p, n := range w.required {
			units[p] = max(units[p], n)
		}
		for p, n := range units {
			packs := Packs(p, n-free[p]-w.owned[p])
			c := w.candidates[p]
			sum += int64(packs) * c.Cost
			if packs > int(c.OnceAbove) {
				sum += c.Once
			}
		}
		if !ok || sum < best {
			best, ok = sum, true
		}
	}
	return best, ok
}

func (w world) cheapest(options []bill) (best int64, ok bool) {
	for _, b := range options {
		if sum, can := w.price(b); can && (!ok || sum < best) {
			best, ok = sum, true
		}
	}
	return best, ok
}

func checkOption(t rapid.TB, o *Option, all []Candidate, s *Savings) {
	t.Helper()
	cost, sources := o.Penalty, uint64(0)
	b := billOf(o)
	for _, c := range all {
		if b.units[c.Part] > 0 {
			packs := Packs(c.Part, b.units[c.Part])
			cost += c.Cost * int64(packs)
			if packs > int(c.OnceAbove) {
				cost += c.Once
			}
			sources |= c.Sources
		}
	}
	floor := cost
	for i, most := range s.most {
		if sources&(1<<i) != 0 {
			floor -= most
		}
	}
	if o.Cost != cost || o.Floor != floor {
		t.Fatalf("option says cost %d floor %d, its packs %d and %d: %+v", o.Cost, o.Floor, cost, floor, o.Uses)
	}
	for i := 1; i < len(o.Uses); i++ {
		if a, b := o.Uses[i-1], o.Uses[i]; a.Need > b.Need || a.Need == b.Need && sku(a.Part) >= sku(b.Part) {
			t.Fatalf("uses are not sorted: %+v", o.Uses)
		}
	}
}
