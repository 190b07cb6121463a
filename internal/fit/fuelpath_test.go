package fit

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"onetrip/internal/catalog"
	"onetrip/internal/units"
)

// shop is a set of fuel parts that answers a FuelQuery.
type shop struct {
	fittings, filters, regulators, hoses, clamps []Candidate
}

func (s *shop) all() []Candidate {
	return slices.Concat(s.fittings, s.filters, s.regulators, s.hoses, s.clamps)
}

func mating(list []Candidate) func(catalog.End) []Candidate {
	return func(end catalog.End) (found []Candidate) {
		for _, c := range list {
			if c.Part == nil || slices.ContainsFunc(c.Part.Ends, end.Mates) {
				found = append(found, c)
			}
		}
		return found
	}
}

func (s *shop) query(from, to string, runIn float64, regulator bool) FuelQuery {
	return FuelQuery{From: mustEnd(from), To: mustEnd(to), RunLengthIn: runIn, NeedRegulator: regulator,
		Fittings: mating(s.fittings), InletFittings: mating(s.fittings), Filters: mating(s.filters),
		Regulators: mating(s.regulators), Hoses: mating(s.hoses),
		Clamps: func(hose units.Size) (found []Candidate) {
			for _, c := range s.clamps {
				if c.Part == nil || c.Part.Text("hose_in") == hose.String() {
					found = append(found, c)
				}
			}
			return found
		}}
}

// Ends are drawn so that about half of the shops have a path.
var (
	barbs      = []string{"hose_barb 3/8", "hose_barb 3/8", "hose_barb 3/8", "hose_barb 5/16"}
	threads    = []string{"hose_barb 3/8", "hose_barb 3/8", "inverted_flare 3/8 male", "inverted_flare 3/8 female", "npt 1/4 male", "npt 1/4 female"}
	components = []string{"hose_barb 3/8", "hose_barb 3/8", "hose_barb 3/8", "hose_barb 5/16", "npt 1/4 female", "npt 1/4 male"}
)

func drawShop(t *rapid.T) *shop {
	s := &shop{}
	pack := func(label string) int { return rapid.SampledFrom([]int{1, 1, 2, 4}).Draw(t, label+" pack") }
	list := func(least, most int, prefix string, kind catalog.Kind, a, b []string) (found []Candidate) {
		for i := range rapid.IntRange(least, most).Draw(t, prefix) {
			sku := fmt.Sprint(prefix, i)
			found = append(found, drawPrices(t, part(sku, kind, pack(sku), 1, 0, []string{rapid.SampledFrom(a).Draw(t, sku+" a"), rapid.SampledFrom(b).Draw(t, sku+" b")})))
		}
		return found
	}
	s.fittings = list(2, 4, "f", "fuel_fitting", threads, barbs)
	s.fittings = append(s.fittings, list(0, 1, "g", "fuel_fitting", threads, threads)...)
	s.filters = list(2, 3, "l", "fuel_filter", components, components)
	s.regulators = list(2, 2, "r", "pressure_regulator", components, components)
	bore := func(label string, i int) string {
		if i == 0 {
			return "3/8"
		}
		return rapid.SampledFrom([]string{"3/8", "5/16"}).Draw(t, label)
	}
	for i := range rapid.IntRange(1, 3).Draw(t, "hoses") {
		sku := fmt.Sprint("h", i)
		b := bore(sku, i)
		length := float64(rapid.SampledFrom([]int{36, 24, 60, 120, 18, 35, 12}).Draw(t, sku+" length"))
		s.hoses = append(s.hoses, drawPrices(t, part(sku, "fuel_hose", pack(sku), length, 0, []string{"hose " + b, "hose " + b})))
	}
	for i := range rapid.IntRange(1, 3).Draw(t, "clamps") {
		sku := fmt.Sprint("c", i)
		s.clamps = append(s.clamps, drawPrices(t, part(sku, "hose_clamp", pack(sku), 0, 0, nil, "hose_in", bore(sku, i))))
	}
	return s
}

// The order of parts in a chain, one letter each: Fitting, Hose, fiLter, Regulator,
// Inlet fitting.
var (
	withoutRegulator = regexp.MustCompile(`^F{0,2}(HF{0,2})?L(F?I|F{0,2}H(F?I)?)?$`)
	withRegulator    = regexp.MustCompile(`^F{0,2}(HF{0,2})?LF{0,2}(HF{0,2})?R(F?I|F{0,2}H(F?I)?)?$`)
)

// everyChain tries every sequence of parts and returns the units by part of each
// whose joints mate and whose order is right.
func everyChain(s *shop, q *FuelQuery) []map[*catalog.Part]int {
	order := withoutRegulator
	if q.NeedRegulator {
		order = withRegulator
	}
	var found []map[*catalog.Part]int
	var letters []byte
	var parts []*catalog.Part
	record := func() {
		if !order.Match(letters) || !slices.Contains(letters, 'H') {
			return
		}
		pieces := strings.Count(string(letters), "H")
		pieceIn := q.RunLengthIn/float64(pieces) + 1
		all := []map[*catalog.Part]int{{}}
		for i, p := range parts {
			units := 1
			if letters[i] == 'H' {
				if p.LengthIn < pieceIn {
					return
				}
				k := math.Floor(p.LengthIn / pieceIn)
				if units = int(math.Floor(p.LengthIn / k)); (k+1)*float64(units) <= p.LengthIn {
					units++
				}
			}
			for _, m := range all {
				m[p] += units
			}
			if letters[i] != 'H' {
				continue
			}
			var clamped []map[*catalog.Part]int
			for _, c := range q.Clamps(p.Ends[0].Size) {
				for _, m := range all {
					n := map[*catalog.Part]int{c.Part: 2}
					for q, k := range m {
						n[q] += k
					}
					clamped = append(clamped, n)
				}
			}
			all = clamped
		}
		found = append(found, all...)
	}
	var extend func(open catalog.End)
	extend = func(open catalog.End) {
		if open.Mates(q.To) {
			record()
		}
		tail := string(letters[max(0, len(letters)-3):])
		sinceComponent := string(letters[strings.LastIndexAny(string(letters), "LR")+1:])
		try := func(letter byte, list []Candidate, turns bool) {
			for _, c := range list {
				for i := range 2 {
					if c.Part.Ends[i].Mates(open) && (i == 0 || turns && c.Part.Ends[0] != c.Part.Ends[1]) {
						letters, parts = append(letters, letter), append(parts, c.Part)
						extend(c.Part.Ends[1-i])
						letters, parts = letters[:len(letters)-1], parts[:len(parts)-1]
					}
				}
			}
		}
		if strings.HasSuffix(tail, "I") {
			return
		}
		if !strings.HasSuffix(tail, "FF") {
			try('F', s.fittings, true)
			try('I', s.fittings, true)
		}
		if !strings.Contains(sinceComponent, "H") {
			try('H', s.hoses, false)
		}
		filtered := strings.Contains(string(letters), "L")
		if !filtered {
			try('L', s.filters, false)
		}
		if q.NeedRegulator && filtered && !strings.Contains(string(letters), "R") {
			try('R', s.regulators, false)
		}
	}
	extend(q.From)
	return found
}

func drawFuelQuery(t *rapid.T) (*shop, FuelQuery) {
	s := drawShop(t)
	from := rapid.SampledFrom([]string{"plain_tube 3/8", "plain_tube 3/8", "inverted_flare 3/8 male", "npt 1/4 male"}).Draw(t, "from")
	to := rapid.SampledFrom([]string{"hose_barb 3/8", "hose_barb 3/8", "inverted_flare 3/8 female", "npt 1/4 female", "hose_barb 5/16"}).Draw(t, "to")
	run := float64(rapid.IntRange(4, 40).Draw(t, "run"))
	return s, s.query(from, to, run, rapid.IntRange(0, 3).Draw(t, "regulator") == 0)
}

// In whatever way the rest of the kit turns out, the options hold the optimum that a
// brute-force enumeration of all chains finds.
func TestPropertyFuelPathHoldsEveryOptimum(t *testing.T) {
	joined := 0
	check(t, 10, func(t *rapid.T) {
		s, q := drawFuelQuery(t)
		options, gap := FuelPath(q)
		chains := everyChain(s, &q)
		if (gap == nil) != (len(chains) > 0) || (gap == nil) != (len(options) > 0) {
			t.Fatalf("%d options, gap %+v, brute force finds %d chains", len(options), gap, len(chains))
		}
		if gap != nil {
			if gap.Need == "" || gap.Text == "" || gap.End == (catalog.End{}) {
				t.Fatalf("gap without words: %+v", gap)
			}
			return
		}
		joined++
		var ours []map[*catalog.Part]int
		for i := range options {
			checkOption(t, &options[i].Option, s.all())
			checkChain(t, &q, &options[i])
			ours = append(ours, unitsByPart(options[i].Uses))
			if i > 0 && options[i].Cost < options[i-1].Cost {
				t.Fatal("options are not sorted by cost")
			}
		}
		for range 4 {
			w := drawWorld(t, s.all())
			got, ok := w.cheapest(ours)
			want, possible := w.cheapest(chains)
			if ok != possible || got != want {
				t.Fatalf("cheapest option %d (%v), brute force %d (%v)", got, ok, want, possible)
			}
		}
	})
	if joined == 0 {
		t.Error("no drawn shop had a path: the test shows nothing")
	}
}

func checkChain(t *rapid.T, q *FuelQuery, o *FuelOption) {
	open, letters := q.From, ""
	uses := map[string]int{}
	bore := math.Inf(1)
	for _, st := range o.Steps {
		if !open.Mates(st.From) {
			t.Fatalf("%s does not mate %s in %+v", open, st.From, o.Steps)
		}
		open = st.To
		if !slices.Contains(st.Part.Ends, st.From) || !slices.Contains(st.Part.Ends, st.To) {
			t.Fatalf("%s has not the ends %s and %s", st.Part.SKU, st.From, st.To)
		}
		letters += map[string]string{needFittings: "F", needHose: "H", needFilter: "L", needRegulator: "R", needInletFitting: "I"}[st.Need]
		uses[st.Need]++
		if st.Need == needHose {
			bore = min(bore, st.To.Size.Inches())
			if st.LengthIn > st.Part.LengthIn {
				t.Fatalf("a piece of %g in from %g in", st.LengthIn, st.Part.LengthIn)
			}
			uses[needClamps] += 2
		}
	}
	if !open.Mates(q.To) {
		t.Fatalf("%s does not mate the inlet %s", open, q.To)
	}
	order := withoutRegulator
	if q.NeedRegulator {
		order = withRegulator
	}
	if !order.MatchString(letters) {
		t.Fatalf("parts in the order %s", letters)
	}
	if bore != o.HoseBoreIn {
		t.Fatalf("narrowest hose %g, says %g", bore, o.HoseBoreIn)
	}
	total := 0.0
	for _, st := range o.Steps {
		if st.Need == needHose {
			total += st.LengthIn - 1
		}
	}
	if math.Abs(total-q.RunLengthIn) > 1e-9 {
		t.Fatalf("hose covers %g of %g in", total, q.RunLengthIn)
	}
	for _, u := range o.Uses {
		if u.Need != needHose {
			uses[u.Need] -= u.Units
		}
	}
	for need, n := range uses {
		if need != needHose && n != 0 {
			t.Fatalf("%s: steps and uses differ by %d", need, n)
		}
	}
}

// A sum of inches fits into so many stock lengths exactly when the pieces can be cut
// from them. Stock is sold in whole inches, pieces are longer than 2 in.
func TestPropertyInchesCountCuts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		length := float64(rapid.IntRange(3, 200).Draw(t, "length"))
		pieceIn := rapid.Float64Range(2, length).Draw(t, "piece")
		p := part("H", "fuel_hose", 1, length, 0, nil)
		perLength := int(length / pieceIn)
		for n := 1; n <= 3; n++ {
			want := (n + perLength - 1) / perLength
			if got := Packs(p, n*CutUnits(p, pieceIn)); got != want {
				t.Fatalf("%d pieces of %g from %g: %d stock lengths, want %d", n, pieceIn, length, got, want)
			}
		}
	})
}

func candidate(cost int64, p *catalog.Part) Candidate {
	return Candidate{Part: p, Cost: cost, Floor: cost}
}

// workbench is a small shop with one sensible part for each place.
func workbench() *shop {
	return &shop{
		fittings: []Candidate{
			candidate(300, part("FLARE-BARB", "fuel_fitting", 1, 1.5, 0, []string{"inverted_flare 3/8 female", "hose_barb 3/8"})),
			candidate(450, part("INLET-BARB", "fuel_fitting", 1, 1.5, 0, []string{"unf_port 7/8-20 male", "hose_barb 3/8"})),
			candidate(250, part("PIPE-BARB", "fuel_fitting", 1, 1.5, 0, []string{"npt 3/8 male", "hose_barb 3/8"})),
		},
		filters:    []Candidate{candidate(500, part("FILTER", "fuel_filter", 1, 3, 0, []string{"hose_barb 3/8", "hose_barb 3/8"}))},
		regulators: []Candidate{candidate(4000, part("REGULATOR", "pressure_regulator", 1, 3, 0, []string{"npt 3/8 female", "npt 3/8 female"}))},
		hoses:      []Candidate{candidate(900, part("HOSE-36", "fuel_hose", 1, 36, 0, []string{"hose 3/8", "hose 3/8"}))},
		clamps:     []Candidate{candidate(400, part("CLAMPS", "hose_clamp", 10, 0, 0, nil, "hose_in", "3/8"))},
	}
}

func chainText(o *FuelOption) string {
	var names []string
	for _, st := range o.Steps {
		name := "(own)"
		if st.Part != nil {
			name = st.Part.SKU
		}
		names = append(names, name)
	}
	return strings.Join(names, " ")
}

func TestFuelPathOfOneVehicle(t *testing.T) {
	s := workbench()
	options, gap := FuelPath(s.query("inverted_flare 3/8 male", "unf_port 7/8-20 female", 30, false))
	if gap != nil || len(options) != 1 {
		t.Fatalf("%d options, gap %+v", len(options), gap)
	}
	o := options[0]
	if got, want := chainText(&o), "FLARE-BARB HOSE-36 FILTER HOSE-36 INLET-BARB"; got != want {
		t.Errorf("chain %s, want %s", got, want)
	}
	// Two pieces of 30/2+1 = 16 in come from one hose of 36 in, four clamps from one pack.
	if want := int64(300 + 900 + 500 + 450 + 400); o.Cost != want || o.Floor != want {
		t.Errorf("cost %d, floor %d, want %d", o.Cost, o.Floor, want)
	}
	if o.Steps[1].LengthIn != 16 || o.HoseBoreIn != 0.375 {
		t.Errorf("pieces of %g in, bore %g", o.Steps[1].LengthIn, o.HoseBoreIn)
	}
	want := "[fuel.clamps CLAMPS 4] [fuel.filter FILTER 1] [fuel.fittings FLARE-BARB 1] [fuel.hose HOSE-36 36] [fuel.inlet_fitting INLET-BARB 1]"
	var got []string
	for _, u := range o.Uses {
		got = append(got, fmt.Sprintf("[%s %s %d]", u.Need, u.Part.SKU, u.Units))
	}
	if text := strings.Join(got, " "); text != want {
		t.Errorf("uses %s\nwant %s", text, want)
	}
}

func TestFuelPathPutsTheRegulatorAfterTheFilter(t *testing.T) {
	options, gap := FuelPath(workbench().query("plain_tube 3/8", "hose_barb 3/8", 30, true))
	if gap != nil {
		t.Fatal(gap.Text)
	}
	if got, want := chainText(&options[0]), "HOSE-36 FILTER HOSE-36 PIPE-BARB REGULATOR PIPE-BARB HOSE-36"; got != want {
		t.Errorf("chain %s, want %s", got, want)
	}
	if n := unitsByPart(options[0].Uses)[workbenchClamps(&options[0])]; n != 6 {
		t.Errorf("%d clamps on three pieces of hose, want 6", n)
	}
}

func workbenchClamps(o *FuelOption) *catalog.Part {
	i := slices.IndexFunc(o.Uses, func(u Use) bool { return u.Need == needClamps })
	return o.Uses[i].Part
}

// One filter style fits both 5/16 and 3/8 line (common practice, no source): with
// stepped ends it also joins the two.
func TestFuelPathStepsTheBoreAtTheFilter(t *testing.T) {
	s := workbench()
	s.filters = []Candidate{candidate(500, part("STEPPED", "fuel_filter", 1, 3, 0, []string{"hose_barb 3/8", "hose_barb 5/16"}))}
	s.hoses = append(s.hoses, candidate(800, part("HOSE-5", "fuel_hose", 1, 36, 0, []string{"hose 5/16", "hose 5/16"})))
	s.clamps = append(s.clamps, candidate(400, part("CLAMPS-5", "hose_clamp", 10, 0, 0, nil, "hose_in", "5/16")))
	options, gap := FuelPath(s.query("plain_tube 3/8", "hose_barb 5/16", 30, false))
	if gap != nil {
		t.Fatal(gap.Text)
	}
	if got, want := chainText(&options[0]), "HOSE-36 STEPPED HOSE-5"; got != want || options[0].HoseBoreIn != 0.3125 {
		t.Errorf("chain %s bore %g, want %s bore 0.3125", got, options[0].HoseBoreIn, want)
	}
	if _, gap := FuelPath(s.query("plain_tube 5/16", "hose_barb 3/8", 30, false)); gap == nil {
		t.Error("fuel flowed through a filter against its arrow")
	}
}

func TestFuelPathUsesWhatIsAtHand(t *testing.T) {
	s := workbench()
	own := []Candidate{{}}
	q := s.query("inverted_flare 3/8 male", "unf_port 7/8-20 female", 30, false)
	q.InletFittings = func(catalog.End) []Candidate { return own }
	options, gap := FuelPath(q)
	if gap != nil {
		t.Fatal(gap.Text)
	}
	if got, want := chainText(&options[0]), "FLARE-BARB HOSE-36 FILTER HOSE-36 (own)"; got != want || options[0].Cost != 2100 {
		t.Errorf("chain %s at %d, want %s at 2100", got, options[0].Cost, want)
	}
	all := func(catalog.End) []Candidate { return own }
	options, gap = FuelPath(FuelQuery{From: mustEnd("inverted_flare 3/8 male"), To: mustEnd("unf_port 7/8-20 female"), RunLengthIn: 30, NeedRegulator: true,
		Fittings: all, InletFittings: all, Filters: all, Regulators: all, Hoses: all, Clamps: func(units.Size) []Candidate { return own }})
	if gap != nil || len(options) != 1 || options[0].Cost != 0 {
		t.Errorf("with everything on the shelf: %+v, gap %+v", options, gap)
	}
}

// A part that a bundle may hold stays an option although it is dearer by itself; one
// that is merely dearer does not.
func TestFuelPathKeepsWhatABundleMayHold(t *testing.T) {
	s := workbench()
	bright := part("FILTER-BRIGHT", "fuel_filter", 1, 3, 0, []string{"hose_barb 3/8", "hose_barb 3/8"})
	s.filters = append(s.filters, candidate(900, bright))
	q := s.query("plain_tube 3/8", "hose_barb 3/8", 30, false)
	if options, _ := FuelPath(q); len(options) != 1 {
		t.Errorf("%d options, want the cheaper filter alone", len(options))
	}
	s.filters[1].Floor = 0
	if options, _ := FuelPath(s.query("plain_tube 3/8", "hose_barb 3/8", 30, false)); len(options) != 2 || chainText(&options[1]) != "HOSE-36 FILTER-BRIGHT HOSE-36" {
		t.Errorf("%d options, want both filters", len(options))
	}
}

func TestFuelPathSaysWhatIsMissing(t *testing.T) {
	flare, inlet := "inverted_flare 3/8 male", "unf_port 7/8-20 female"
	for _, c := range []struct {
		name, from, to string
		runIn          float64
		without        func(*shop)
		need, text     string
	}{
		{"filter", flare, inlet, 30, func(s *shop) { s.filters = nil }, needFilter,
			"no fuel filter that withstands 14 psi joins a 3/8 in hose"},
		{"line fitting", "inverted_flare 1/2 male", inlet, 30, func(*shop) {}, needFittings,
			"no fitting that withstands 14 psi joins a male 3/4-18 inverted flare to a hose"},
		{"inlet fitting", flare, "unf_port 1-20 female", 30, func(*shop) {}, needInletFitting,
			"no fitting that withstands 14 psi joins a 3/8 in hose to the inlet, a female 1-20 port"},
		{"hose", flare, inlet, 30, func(s *shop) { s.hoses = nil }, needHose,
			"no fuel hose that withstands 14 psi goes on a 3/8 in hose barb"},
		{"long hose", flare, inlet, 120, func(*shop) {}, needHose,
			"no fuel hose that withstands 14 psi for a 3/8 in hose barb is long enough for the run of 120 in"},
		{"clamps", "plain_tube 3/8", inlet, 30, func(s *shop) { s.clamps = nil }, needClamps,
			"no hose clamp that withstands 14 psi closes on a 3/8 in hose"},
		{"tube of another size", "plain_tube 5/16", inlet, 30, func(*shop) {}, needHose,
			"no fuel hose that withstands 14 psi goes on a 5/16 in tube"},
	} {
		s := workbench()
		c.without(s)
		q := s.query(c.from, c.to, c.runIn, false)
		q.That = "that withstands 14 psi"
		options, gap := FuelPath(q)
		if gap == nil {
			t.Errorf("%s: found %s", c.name, chainText(&options[0]))
		} else if gap.Need != c.need || gap.Text != c.text {
			t.Errorf("%s: %s: %s\nwant %s: %s", c.name, gap.Need, gap.Text, c.need, c.text)
		}
	}
	q := workbench().query(flare, inlet, 30, true)
	q.Regulators = func(catalog.End) []Candidate { return nil }
	if _, gap := FuelPath(q); gap == nil || gap.Need != needRegulator || gap.Text != "no pressure regulator joins a 3/8 in hose" {
		t.Errorf("regulator: %+v", gap)
	}
}
