package fit

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"onetrip/internal/catalog"
	"onetrip/internal/deadline"
	"onetrip/internal/units"
)

func drawStack(t *rapid.T) (StackQuery, []Candidate) {
	var all []Candidate
	savings := drawSavings(t)
	layers := func(prefix string, kind catalog.Kind, least int, heights ...float64) (list []Candidate) {
		for i := range rapid.IntRange(least, 3).Draw(t, prefix) {
			sku := fmt.Sprint(prefix, i)
			height := rapid.SampledFrom(heights).Draw(t, sku+" height")
			list = append(list, drawPrices(t, part(sku, kind, rapid.IntRange(1, 2).Draw(t, sku+" pack"), 0, height, nil), savings))
		}
		all = append(all, list...)
		return list
	}
	role := func(prefix string, kind catalog.Kind, heights ...float64) StackRole {
		asked := rapid.Bool().Draw(t, prefix+" asked")
		least := 1
		if rapid.IntRange(0, 9).Draw(t, prefix+" may lack") == 0 {
			least = 0
		}
		return StackRole{Asked: asked, Candidates: layers(prefix, kind, least, heights...)}
	}
	q := StackQuery{
		Savings:            savings,
		HoodClearanceIn:    rapid.SampledFrom([]float64{9, 8, 8.5, 7.5, 10}).Draw(t, "hood"),
		CarburetorHeightIn: 3.5, CleanerHeightIn: rapid.SampledFrom([]float64{3, 3.5}).Draw(t, "cleaner"),
		Adapter:        role("a", "adapter_plate", 0.5, 1, 1.5),
		BaseGasket:     role("b", "base_gasket", 0.06, 0.25),
		ManifoldGasket: role("m", "base_gasket", 0.06, 0.25),
		Spacer:         role("s", "spacer", 0.5, 1),
		NeckAdapter:    role("n", "neck_adapter", 0.4, 0.6),
		CleanerGasket:  role("g", "cleaner_gasket", 0.1, 0.2),
		LowProfile:     layers("l", "low_profile_cleaner", 0, 2, 2.5),
	}
	for i := range rapid.IntRange(0, 3).Draw(t, "studs") {
		sku := fmt.Sprint("u", i)
		length := rapid.SampledFrom([]float64{1.25, 1.5, 2, 2.5, 3}).Draw(t, sku+" length")
		thread := rapid.SampledFrom([]string{"5/16-18", "5/16-24", "3/8-16"}).Draw(t, sku+" thread")
		c := drawPrices(t, part(sku, "stud_set", 1, length, 0, nil, "thread", thread, "studs", "4"), savings)
		q.Studs, all = append(q.Studs, c), append(all, c)
	}
	if rapid.Bool().Draw(t, "own studs known") {
		own := rapid.SampledFrom([]float64{1.25, 1.5, 2, 3}).Draw(t, "own studs")
		q.StudLengthIn = &own
	}
	return q, all
}

// everyStack tries every choice of every layer and returns the bills of those that fit.
func everyStack(q *StackQuery) []bill {
	var found []bill
	type layer struct {
		list    []Candidate
		clamped bool
	}
	try := func(layers []layer, aboveIn float64) {
		chosen := make([]Candidate, len(layers))
		var choose func(i int)
		choose = func(i int) {
			if i < len(layers) {
				for _, c := range layers[i].list {
					chosen[i] = c
					choose(i + 1)
				}
				return
			}
			total, clamped := q.CarburetorHeightIn+aboveIn, 0.5
			var uses bill
			for k, c := range chosen {
				total += c.Part.HeightIn
				if layers[k].clamped {
					clamped += c.Part.HeightIn
				}
				uses = uses.plus(c, 1, 1)
			}
			if total+0.5 > q.HoodClearanceIn+1e-9 {
				return
			}
			// Washer 0.065, nut of 5/16 17/64 and of 3/8 21/64 high (ASME B18.2.2), one diameter.
			if q.StudLengthIn != nil && *q.StudLengthIn+1e-9 >= clamped+0.065+17./64+0.3125 {
				found = append(found, uses)
				return
			}
			for _, c := range q.Studs {
				needed := clamped + 0.065 + 17./64 + 0.3125
				if strings.HasPrefix(c.Part.Text("thread"), "3/8") {
					needed = clamped + 0.065 + 21./64 + 0.375
				}
				if c.Part.LengthIn+1e-9 >= needed {
					found = append(found, uses.plus(c, 1, 1))
				}
			}
		}
		choose(0)
	}
	var layers []layer
	add := func(r StackRole, clamped bool) {
		if r.Asked {
			layers = append(layers, layer{r.Candidates, clamped})
		}
	}
	if q.Adapter.Asked {
		add(q.ManifoldGasket, true)
		add(q.Adapter, true)
	}
	if q.Spacer.Asked {
		add(q.Spacer, true)
		add(q.BaseGasket, true)
	}
	add(q.BaseGasket, true)
	add(q.CleanerGasket, false)
	below := slices.Clone(layers)
	add(q.NeckAdapter, false)
	try(layers, q.CleanerHeightIn)
	if len(q.LowProfile) > 0 {
		try(append(below, layer{q.LowProfile, false}), 0)
	}
	return found
}

func TestPropertyStackHoldsEveryOptimum(t *testing.T) {
	stacked := 0
	check(t, 10, func(t *rapid.T) {
		q, all := drawStack(t)
		options, gap := new(StackSearch).Stack(t.Context(), &q)
		stacks := everyStack(&q)
		if (gap == nil) != (len(stacks) > 0) || (gap == nil) != (len(options) > 0) {
			t.Fatalf("%d options, gap %+v, enumeration finds %d stacks", len(options), gap, len(stacks))
		}
		if gap != nil {
			if gap.Need == "" || gap.Text == "" {
				t.Fatalf("gap without words: %+v", gap)
			}
			return
		}
		stacked++
		var ours []bill
		for i := range options {
			o := &options[i]
			checkOption(t, &o.Option, all, q.Savings)
			ours = append(ours, billOf(&o.Option))
			total, bought := 0.0, 0
			for _, l := range o.Layers {
				total += l.HeightIn
				if l.Part != nil {
					bought++
				}
			}
			if math.Abs(total-o.TotalIn) > 1e-9 || math.Abs(q.HoodClearanceIn-total-o.MarginIn) > 1e-9 || o.MarginIn < HoodMarginIn-1e-9 {
				t.Fatalf("layers add up to %g: %+v", total, o)
			}
			for _, u := range o.Uses {
				bought -= u.Units
				if u.Need == needStuds {
					bought += u.Units
				}
			}
			if bought != 0 {
				t.Fatalf("layers and uses differ by %d: %+v", bought, o)
			}
		}
		for range 4 {
			w := drawWorld(t, all, q.Savings)
			got, ok := w.cheapest(ours)
			want, possible := w.cheapest(stacks)
			if ok != possible || got != want {
				t.Fatalf("cheapest option %d (%v), enumeration %d (%v)", got, ok, want, possible)
			}
		}
	})
	if stacked == 0 {
		t.Error("no drawn stack fitted: the test shows nothing")
	}
}

// Among many offers, of which the lower and the longer cost more, the stack is the cheapest that
// fits, found by trying all, also where a charge for what is short outweighs every price.
func TestPropertyStackOfManyOffersIsTheCheapest(t *testing.T) {
	fitted, limited := 0, 0
	check(t, 20, func(t *rapid.T) {
		charge := rapid.SampledFrom([]int64{0, 0, 400, 10_000_000_000}).Draw(t, "charge")
		layers := func(prefix string, kind catalog.Kind, packs, mostIn int) (list []Candidate) {
			for i := range rapid.IntRange(3, 8).Draw(t, prefix) {
				sku := fmt.Sprint(prefix, i)
				height := rapid.IntRange(1, mostIn).Draw(t, sku+" height")
				p := part(sku, kind, rapid.IntRange(1, packs).Draw(t, sku+" pack"), 0, float64(height)/32, nil)
				c := candidate(int64(600-600*height/mostIn+rapid.IntRange(0, 150).Draw(t, sku+" cost")), p)
				if rapid.IntRange(0, 2).Draw(t, sku+" short") == 0 {
					c.Once, c.OnceAbove = charge, int32(rapid.IntRange(0, 1).Draw(t, sku+" on hand"))
				}
				list = append(list, c)
			}
			return list
		}
		role := func(list []Candidate) StackRole { return StackRole{Asked: true, Candidates: list} }
		q := StackQuery{
			Savings: &Savings{}, HoodClearanceIn: 6 + float64(rapid.IntRange(2, 48).Draw(t, "hood"))/32, CarburetorHeightIn: 3.5, CleanerHeightIn: 2,
			BaseGasket: role(layers("b", "base_gasket", 3, 16)), CleanerGasket: role(layers("g", "cleaner_gasket", 1, 16)),
		}
		if rapid.Bool().Draw(t, "spacer") {
			q.Spacer = role(layers("s", "spacer", 1, 32))
		}
		if rapid.Bool().Draw(t, "low profile") {
			q.LowProfile = layers("l", "low_profile_cleaner", 1, 80)
		}
		for i := range rapid.IntRange(0, 7).Draw(t, "studs") {
			sku := fmt.Sprint("u", i)
			length := rapid.IntRange(8, 20).Draw(t, sku+" length")
			p := part(sku, "stud_set", 1, float64(length)/8, 0, nil, "thread", rapid.SampledFrom([]string{"5/16-18", "3/8-16"}).Draw(t, sku+" thread"), "studs", "4")
			q.Studs = append(q.Studs, candidate(int64(20*length+rapid.IntRange(0, 100).Draw(t, sku+" cost")), p))
		}
		if rapid.Bool().Draw(t, "own studs known") {
			q.StudLengthIn = new(1 + float64(rapid.IntRange(0, 8).Draw(t, "own studs"))/8)
		}

		best, stacks := int64(math.MaxInt64), 0
		for _, low := range []bool{false, true} {
			lists := [][]Candidate{q.BaseGasket.Candidates, q.CleanerGasket.Candidates}
			aboveIn := q.CarburetorHeightIn + q.CleanerHeightIn
			if low {
				lists, aboveIn = append(lists, q.LowProfile), q.CarburetorHeightIn
			}
			if q.Spacer.Asked {
				lists = append(lists, q.BaseGasket.Candidates, q.Spacer.Candidates)
			}
			var choose func(k int, cost int64, totalIn, clampedIn float64, gasket *Candidate)
			choose = func(k int, cost int64, totalIn, clampedIn float64, gasket *Candidate) {
				if k < len(lists) {
					for i := range lists[k] {
						c := &lists[k][i]
						alone, clamped := c.Alone(1), 0.0
						switch c.Part.Kind {
						case "base_gasket":
							if clamped = c.Part.HeightIn; gasket == c {
								alone = c.Alone(2) - alone // the second of the kind
							}
							choose(k+1, cost+alone, totalIn+c.Part.HeightIn, clampedIn+clamped, c)
							continue
						case "spacer":
							clamped = c.Part.HeightIn
						}
						choose(k+1, cost+alone, totalIn+c.Part.HeightIn, clampedIn+clamped, gasket)
					}
					return
				}
				if totalIn+0.5 > q.HoodClearanceIn+1e-9 {
					limited++
					return
				}
				if q.StudLengthIn != nil && *q.StudLengthIn+1e-9 >= StudNeededFor(clampedIn, nil) {
					best, stacks = min(best, cost), stacks+1
					return
				}
				for i := range q.Studs {
					c := &q.Studs[i]
					if thread := c.Part.Thread(); c.Part.LengthIn+1e-9 >= StudNeededFor(clampedIn, &thread) {
						best, stacks = min(best, cost+c.Cost), stacks+1
					}
				}
			}
			choose(0, 0, aboveIn, 0.5, nil)
		}
		options, gap := new(StackSearch).Stack(t.Context(), &q)
		switch {
		case stacks == 0 && gap == nil, stacks > 0 && (gap != nil || len(options) != 1 || options[0].Cost != best):
			t.Fatalf("%d stacks of which the cheapest costs %d; found %+v, gap %+v", stacks, best, options, gap)
		case stacks > 0:
			fitted++
		}
	})
	if fitted == 0 || limited == 0 {
		t.Errorf("%d stacks fitted, %d were too high: the test shows nothing", fitted, limited)
	}
}

// A search that is stopped has a stack that fits, if there is one: of all, none is cheaper
// than what the whole search finds.
func TestStoppedStackSearch(t *testing.T) {
	q := adapterStack()
	layers := []*StackRole{&q.Adapter, &q.BaseGasket, &q.ManifoldGasket, &q.CleanerGasket}
	for l, role := range layers { // any of which bundles may bring
		for i := range 8 {
			c := role.Candidates[0]
			c.Part = part(fmt.Sprintf("L%d-%d", l, i), c.Part.Kind, 1, 0, c.Part.HeightIn+float64(i)/16, nil)
			c.Cost, c.Sources = c.Cost+int64(100-10*i), q.Savings.Add(c.Cost)
			role.Candidates = append(role.Candidates, c)
		}
	}
	all, gap := new(StackSearch).Stack(t.Context(), &q)
	if gap != nil {
		t.Fatal(gap.Text)
	}
	cut := 0
	for looks := range 10 {
		s := new(StackSearch)
		early, gap := s.Stack(deadline.After(t.Context(), looks), &q)
		if gap != nil || early[0].MarginIn < HoodMarginIn-RoundingIn || early[0].Cost < all[0].Cost || !s.Cut() && early[0].Cost != all[0].Cost {
			t.Errorf("after %d looks %d for %q, gap %v; all in all %d for %q", looks, early[0].Cost, layerText(&early[0]), gap, all[0].Cost, layerText(&all[0]))
		}
		if s.Cut() {
			cut++
		}
	}
	if cut == 0 {
		t.Error("no search was stopped")
	}
}

// adapterStack is an ordinary stack: a square-bore carburetor over a plate on a
// spread-bore manifold.
func adapterStack() StackQuery {
	role := func(list ...Candidate) StackRole { return StackRole{Asked: true, Candidates: list} }
	return StackQuery{
		Savings:         &Savings{},
		HoodClearanceIn: 9, CarburetorHeightIn: 3.5, CleanerHeightIn: 3,
		Adapter:        role(candidate(2500, part("PLATE", "adapter_plate", 1, 0, 1, nil))),
		BaseGasket:     role(candidate(300, part("SQUARE", "base_gasket", 1, 0, 0.06, nil))),
		ManifoldGasket: role(candidate(350, part("SPREAD", "base_gasket", 1, 0, 0.06, nil))),
		CleanerGasket:  role(candidate(150, part("RING", "cleaner_gasket", 1, 0, 0.1, nil))),
		Studs: []Candidate{candidate(900, part("STUDS-2", "stud_set", 1, 2, 0, nil, "thread", "5/16-18", "studs", "4")),
			candidate(1100, part("STUDS-25", "stud_set", 1, 2.5, 0, nil, "thread", "5/16-18", "studs", "4"))},
	}
}

func layerText(o *StackOption) string {
	var names []string
	for _, l := range o.Layers {
		name := l.Item
		if l.Part != nil {
			name = l.Part.SKU
		}
		names = append(names, fmt.Sprintf("%s %g", name, l.HeightIn))
	}
	return strings.Join(names, ", ")
}

func TestStackOverAnAdapter(t *testing.T) {
	options, gap := new(StackSearch).Stack(t.Context(), new(adapterStack()))
	if gap != nil || len(options) != 1 {
		t.Fatalf("%d options, gap %+v", len(options), gap)
	}
	o := options[0]
	if got, want := layerText(&o), "SPREAD 0.06, PLATE 1, SQUARE 0.06, carburetor 3.5, RING 0.1, air cleaner 3"; got != want {
		t.Errorf("layers %s\nwant %s", got, want)
	}
	// Flange 0.5, plate 1, gaskets 0.12, washer 0.065, nut 17/64, diameter 5/16: 2.263 in.
	if math.Abs(o.StudNeededIn-2.263125) > 1e-9 || o.Uses[len(o.Uses)-1].Part.SKU != "STUDS-25" {
		t.Errorf("studs of %g in: %+v", o.StudNeededIn, o.Uses[len(o.Uses)-1])
	}
	q := adapterStack()
	long := 2.3
	q.StudLengthIn = &long
	if options, _ := new(StackSearch).Stack(t.Context(), &q); len(options) != 1 || billOf(&options[0].Option).units[q.Studs[1].Part] != 0 {
		t.Error("studs were bought although the vehicle's own are long enough")
	}
}

func TestStackTakesALowProfileCleanerUnderALowHood(t *testing.T) {
	q := adapterStack()
	q.HoodClearanceIn = 8
	_, gap := new(StackSearch).Stack(t.Context(), &q)
	want := "the lowest stack stands 7.72 in above the manifold flange, and under the hood are 8 in, of which 0.5 in must stay free"
	if gap == nil || gap.Need != needLowProfile || gap.Text != want {
		t.Fatalf("gap %+v", gap)
	}
	q.LowProfile = []Candidate{candidate(4000, part("LOW", "low_profile_cleaner", 1, 0, 2, nil))}
	options, gap := new(StackSearch).Stack(t.Context(), &q)
	if gap != nil || len(options) != 1 || !strings.HasSuffix(layerText(&options[0]), "carburetor 3.5, RING 0.1, LOW 2") {
		t.Fatalf("%+v, gap %+v", options, gap)
	}
	if math.Abs(options[0].MarginIn-1.28) > 1e-9 {
		t.Errorf("margin %g, want 1.28", options[0].MarginIn)
	}
}

func TestStackSaysWhatIsInTheWay(t *testing.T) {
	for _, c := range []struct {
		change     func(*StackQuery)
		need, text string
	}{
		{func(q *StackQuery) { q.Adapter.Candidates = nil }, needAdapter, "nothing meets what the rules ask of the adapter plate"},
		{func(q *StackQuery) { q.ManifoldGasket.Candidates = nil }, needBaseGasket, "nothing meets what the rules ask of the gasket under the adapter"},
		{func(q *StackQuery) { q.Studs = q.Studs[:1] }, needStuds, "no studs have the 2.263 in of free length that the lowest stack takes"},
		{func(q *StackQuery) { q.HoodClearanceIn = 5 }, needLowProfile, "the lowest stack stands 7.72 in above the manifold flange, and under the hood are 5 in, of which 0.5 in must stay free"},
	} {
		q := adapterStack()
		c.change(&q)
		if _, gap := new(StackSearch).Stack(t.Context(), &q); gap == nil || gap.Need != c.need || gap.Text != c.text {
			t.Errorf("gap %+v, want %s: %s", gap, c.need, c.text)
		}
	}
}

func TestStackFitsToTheLimit(t *testing.T) {
	q := adapterStack()
	q.HoodClearanceIn = 8.22 // 7.72 and 0.5, which binary fractions miss
	if _, gap := new(StackSearch).Stack(t.Context(), &q); gap != nil {
		t.Error(gap.Text)
	}
	q.HoodClearanceIn = 8.219
	if _, gap := new(StackSearch).Stack(t.Context(), &q); gap == nil {
		t.Error("a stack 0.001 in too high fitted")
	}
}

func TestStackUsesWhatIsAtHand(t *testing.T) {
	q := adapterStack()
	q.BaseGasket.Candidates = []Candidate{{}}
	q.Studs = []Candidate{{}}
	options, gap := new(StackSearch).Stack(t.Context(), &q)
	if gap != nil || options[0].Cost != 2500+350+150 {
		t.Errorf("%+v, gap %+v", options, gap)
	}
}

func TestFiguresBeforePartsAreChosen(t *testing.T) {
	thread := units.Thread{Major: units.Inches(5, 16), PerInch: 18}
	own := 1.5
	v := &catalog.Vehicle{Intake: catalog.Intake{Flange: catalog.SpreadBore, HoodClearanceIn: 9, StudLengthIn: &own, StudThread: &thread},
		AirCleaner: catalog.AirCleaner{NeckIn: 5.125, HeightIn: 3}}
	c := &catalog.Carburetor{Flange: catalog.SquareBore, HeightIn: 3.5, NeckIn: 5.125}
	adapters := []*catalog.Form{{HeightIn: 1}, {HeightIn: 0.5}, {HeightIn: 1.75}}
	near := func(name string, got, want float64) {
		t.Helper()
		if math.Abs(got-want) > 1e-9 {
			t.Errorf("%s is %g, want %g", name, got, want)
		}
	}
	f := Figures(v, c, adapters)
	near("tallest", f.TallestIn, 1.75+0.12+3.5+0.1+3)
	near("shortest", f.ShortestIn, 0.5+0.12+3.5+0.1+3)
	near("hood margin", f.HoodMarginIn, 9-8.47)
	near("bare hood margin", f.BareHoodMarginIn, 9-4.12)
	near("stud needed", f.StudNeededIn, 0.5+1.75+0.12+0.065+17./64+0.3125)
	near("air stud needed", f.AirStudNeededIn, 3.1+0.5)
	for _, c := range []struct{ hoodIn, studIn float64 }{
		{4.12 + 3.6, 3.6},        // the vehicle's own cleaner just fits
		{4.12 + 3.5, 3.5 - 0.5},  // a lower one takes its place, up to half an inch below the hood
		{4.12 + 2.06, 2.06 - .5}, // however low it is
	} {
		under := *v
		under.Intake.HoodClearanceIn = c.hoodIn
		near("air stud needed under a low hood", Figures(&under, &catalog.Carburetor{Flange: catalog.SquareBore, HeightIn: 3.5, NeckIn: 5.125}, adapters).AirStudNeededIn, c.studIn)
	}
	if f.StudsSuffice {
		t.Error("1.5 in of stud reach through a plate of 1.75 in")
	}
	c.Flange = catalog.SpreadBore
	if f := Figures(v, c, adapters); !f.StudsSuffice || f.TallestIn != f.ShortestIn {
		t.Errorf("flanges agree, yet %+v", f)
	}
	v.Intake.StudLengthIn = nil
	if Figures(v, c, nil).StudsSuffice {
		t.Error("studs of unknown length suffice")
	}
	c.NeckIn = 4.2
	near("shortest over another neck", Figures(v, c, nil).ShortestIn, 0.06+3.5+0.5+0.1+3)
}
