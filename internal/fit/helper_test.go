package fit

import (
	"testing"

	"pgregory.net/rapid"

	"onetrip/internal/catalog"
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
	return p
}

// drawPrices gives a candidate costs of every kind: unshared, shared, owned, tied.
func drawPrices(t *rapid.T, p *catalog.Part) Candidate {
	c := Candidate{Part: p, Cost: int64(rapid.IntRange(0, 9).Draw(t, p.SKU+" cost")), Tied: rapid.IntRange(0, 5).Draw(t, p.SKU+" tied") == 0}
	if rapid.IntRange(0, 3).Draw(t, p.SKU+" has once") == 0 {
		c.Once, c.OnceAbove = int64(rapid.IntRange(1, 9).Draw(t, p.SKU+" once")), int32(rapid.IntRange(0, 2).Draw(t, p.SKU+" once above"))
	}
	switch rapid.IntRange(0, 3).Draw(t, p.SKU+" sharing") {
	case 0:
	case 1:
		c.Floor = int64(rapid.IntRange(0, int(c.Cost)).Draw(t, p.SKU+" floor"))
	default:
		c.Floor = c.Cost
	}
	return c
}

// world is one way the rest of a kit may turn out: what a pack of each part really
// adds, units of shared parts that other needs take anyway, and parts that cannot be
// had because of what they require or conflict with.
type world struct {
	adds    map[*catalog.Part]int64
	once    map[*catalog.Part]Candidate
	taken   map[*catalog.Part]int
	without map[*catalog.Part]bool
}

func drawWorld(t *rapid.T, all []Candidate) world {
	w := world{map[*catalog.Part]int64{}, map[*catalog.Part]Candidate{}, map[*catalog.Part]int{}, map[*catalog.Part]bool{}}
	for _, c := range all {
		w.adds[c.Part] = int64(rapid.IntRange(int(c.Floor), int(c.Cost)).Draw(t, c.Part.SKU+" adds"))
		if c.Floor == c.Cost || rapid.Bool().Draw(t, c.Part.SKU+" once is due") {
			w.once[c.Part] = c
		}
		if c.Floor == 0 && c.Cost > 0 {
			w.taken[c.Part] = rapid.IntRange(0, 3).Draw(t, c.Part.SKU+" taken")
		}
		w.without[c.Part] = c.Tied && rapid.Bool().Draw(t, c.Part.SKU+" cannot be had")
	}
	return w
}

// price is what an option adds to the kit in this world; ok is false when it cannot
// be had.
func (w world) price(uses map[*catalog.Part]int) (sum int64, ok bool) {
	for p, n := range uses {
		if w.without[p] {
			return 0, false
		}
		before, after := Packs(p, w.taken[p]), Packs(p, w.taken[p]+n)
		sum += w.adds[p] * int64(after-before)
		if c := w.once[p]; after > int(c.OnceAbove) && before <= int(c.OnceAbove) {
			sum += c.Once
		}
	}
	return sum, true
}

func (w world) cheapest(options []map[*catalog.Part]int) (best int64, ok bool) {
	for _, uses := range options {
		if sum, can := w.price(uses); can && (!ok || sum < best) {
			best, ok = sum, true
		}
	}
	return best, ok
}

func unitsByPart(uses []Use) map[*catalog.Part]int {
	m := map[*catalog.Part]int{}
	for _, u := range uses {
		m[u.Part] += u.Units
	}
	return m
}

func checkOption(t rapid.TB, o *Option, all []Candidate) {
	t.Helper()
	var cost, floor int64
	byPart := unitsByPart(o.Uses)
	for _, c := range all {
		packs := Packs(c.Part, byPart[c.Part])
		cost += c.Cost * int64(packs)
		floor += c.Floor * int64(packs)
		if packs > int(c.OnceAbove) {
			cost += c.Once
			if c.Floor == c.Cost {
				floor += c.Once
			}
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
