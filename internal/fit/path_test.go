package fit

import (
	"context"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"onetrip/internal/catalog"
	"onetrip/internal/deadline"
	"onetrip/internal/units"
)

// shop is a set of fuel parts that answers a PathQuery, with bundles of them.
type shop struct {
	fittings, filters, regulators, hoses, clamps []Candidate
	bundles                                      []bundle
	owned                                        []Holding
	taken                                        []Switch                 // of each need one, or none, and what is required
	penalties                                    map[catalog.Finish]int64 // of which those of candidates are
}

// bundle is sold at priceMinor; its other contents are worth up to otherMinor elsewhere
// in the kit.
type bundle struct {
	priceMinor, otherMinor int64
	holds                  []Holding
}

// switches are the bundles that hold some of the parts, and the tied among them.
func (s *shop) switches(parts []*catalog.Part) (found []Switch) {
	candidates := map[*catalog.Part]Candidate{}
	for _, c := range s.all() {
		candidates[c.Part] = c
		if c.Tied && slices.Contains(parts, c.Part) {
			found = append(found, Switch{Tied: c.Part})
		}
	}
	for _, sw := range s.taken {
		if slices.Contains(parts, sw.Taken.Part) {
			found = append(found, sw)
		}
	}
	for _, b := range s.bundles {
		sw := Switch{Cost: b.priceMinor - b.otherMinor, Saving: b.otherMinor - b.priceMinor}
		for _, h := range b.holds {
			if slices.Contains(parts, h.Part) {
				sw.Holds = append(sw.Holds, h)
			}
			c := candidates[h.Part]
			alone := int64(Packs(h.Part, h.Units))*c.Cost + c.Once
			if sw.Saving += alone; slices.ContainsFunc(s.taken, func(o Switch) bool { return o.Taken.Part == h.Part }) {
				sw.Cost -= alone
			}
		}
		if sw.Saving = max(0, sw.Saving); len(sw.Holds) > 0 {
			found = append(found, sw)
		}
	}
	return found
}

// drawKit is one way the rest of a kit may turn out: which tied parts can be had, and
// how much of each bundle's price its other contents bear.
func (s *shop) drawKit(t *rapid.T) world {
	w := world{candidates: map[*catalog.Part]Candidate{}, without: map[*catalog.Part]bool{}, owned: map[*catalog.Part]int{}, taken: map[*catalog.Part]int{}, required: map[*catalog.Part]int{}}
	for _, c := range s.all() {
		w.candidates[c.Part] = c
		w.without[c.Part] = c.Tied && rapid.Bool().Draw(t, c.Part.SKU+" cannot be had")
	}
	for i, b := range s.bundles {
		gives := map[*catalog.Part]int{}
		for _, h := range b.holds {
			gives[h.Part] += h.Units
		}
		w.gives = append(w.gives, gives)
		w.fees = append(w.fees, b.priceMinor-rapid.Int64Range(0, b.otherMinor).Draw(t, fmt.Sprint("bundle ", i, " other contents bear")))
	}
	for _, h := range s.owned {
		w.owned[h.Part] += h.Units
	}
	by := map[int]bool{}
	for _, sw := range s.taken {
		p := sw.Taken.Part
		switch {
		case w.without[p] || !rapid.Bool().Draw(t, p.SKU+" taken"):
		case sw.Required:
			w.required[p] = sw.Taken.Units
		case !by[sw.By]:
			by[sw.By] = true
			w.taken[p] += sw.Taken.Units
		}
	}
	return w
}

func (s *shop) lists() [][]Candidate {
	return [][]Candidate{s.fittings, s.filters, s.regulators, s.hoses, s.clamps}
}

func (s *shop) all() []Candidate { return slices.Concat(s.lists()...) }

func (s *shop) query(from, to string, runIn float64, regulator bool) *PathQuery {
	forms := func(list []Candidate) (forms []*catalog.Form) {
		for _, c := range list {
			forms = append(forms, c.Part.Form)
		}
		return forms
	}
	return &PathQuery{From: mustEnd(from), To: mustEnd(to), RunLengthIn: runIn, NeedRegulator: regulator, Owned: s.owned,
		Network: NewNetwork(FuelForms{forms(s.fittings), forms(s.filters), forms(s.regulators), forms(s.hoses), forms(s.clamps)}, byForm{}),
		Accepts: func(Role, *catalog.Form) bool { return true },
	}
}

func (s *shop) prices() PathPrices {
	var apart []*catalog.Part
	var holdings []Holding
	for _, sw := range s.taken {
		holdings = append(holdings, sw.Taken)
	}
	for _, c := range s.all() {
		if c.Tied {
			holdings = append(holdings, Holding{Part: c.Part})
		}
	}
	for _, b := range s.bundles {
		holdings = slices.Concat(holdings, b.holds)
	}
	for _, h := range holdings {
		if !slices.Contains(apart, h.Part) {
			apart = append(apart, h.Part)
		}
	}
	lines := slices.ContainsFunc(s.all(), func(c Candidate) bool { return c.Once > 0 })
	return PathPrices{s.candidate, func(f catalog.Finish) int64 { return s.penalties[f] }, apart, lines, s.switches, math.MaxInt}
}

// byForm are rules that may make what they like of each form.
type byForm struct{}

func (byForm) Grade(f *catalog.Form) string    { return fmt.Sprintf("%p", f) }
func (byForm) AsGood(f, as *catalog.Form) bool { return false }

// paths answers a query about the shop.
func (s *shop) paths(q *PathQuery) []PathOption {
	return NewPathSearch(q).Paths(context.Background(), s.prices())
}

// ofBore lists the parts of a role that take a bore.
func (s *shop) ofBore(role Role, bore units.Size) (found []Candidate) {
	if role == Hose {
		for _, c := range s.hoses {
			if c.Part.Ends[0].Size == bore {
				found = append(found, c)
			}
		}
		return found
	}
	for _, c := range s.clamps {
		if c.Part.Text("hose_in") == bore.String() {
			found = append(found, c)
		}
	}
	return found
}

func (s *shop) bores() (bores []units.Size) {
	for _, c := range s.hoses {
		if bore := c.Part.Ends[0].Size; !slices.Contains(bores, bore) {
			bores = append(bores, bore)
		}
	}
	return bores
}

// Ends are drawn so that about half of the shops have a path.
var (
	barbs      = []string{"hose_barb 3/8", "hose_barb 3/8", "hose_barb 3/8", "hose_barb 5/16"}
	threads    = []string{"hose_barb 3/8", "hose_barb 3/8", "inverted_flare 3/8 male", "inverted_flare 3/8 female", "npt 1/4 male", "npt 1/4 female"}
	components = []string{"hose_barb 3/8", "hose_barb 3/8", "hose_barb 3/8", "hose_barb 5/16", "npt 1/4 female", "npt 1/4 male"}
)

// drawShop draws a shop; where repeats are asked for, one whose filters and regulators take
// the same few fittings at both ends.
func drawShop(t *rapid.T, repeats bool) *shop {
	s, none := &shop{}, &Savings{}
	pack := func(label string) int { return rapid.SampledFrom([]int{1, 1, 2, 4}).Draw(t, label+" pack") }
	list := func(least, most int, prefix string, kind catalog.Kind, a, b []string) (found []Candidate) {
		for i := range rapid.IntRange(least, most).Draw(t, prefix) {
			sku := fmt.Sprint(prefix, i)
			found = append(found, drawPrices(t, part(sku, kind, pack(sku), 1, 0, []string{rapid.SampledFrom(a).Draw(t, sku+" a"), rapid.SampledFrom(b).Draw(t, sku+" b")}), none))
		}
		return found
	}
	if repeats {
		pipe, barb := []string{"npt 1/4 male", "npt 1/4 male", "npt 1/4 female"}, []string{"hose_barb 3/8"}
		s.fittings = list(2, 4, "f", "fuel_fitting", pipe, barb)
		s.fittings = append(s.fittings, list(0, 1, "g", "fuel_fitting", pipe, []string{"npt 1/4 male"})...)
		in := []string{"npt 1/4 female", "npt 1/4 female", "npt 1/4 male", "hose_barb 3/8"}
		s.filters = list(1, 2, "l", "fuel_filter", in, in)
		s.regulators = list(1, 1, "r", "pressure_regulator", in, in)
	} else {
		s.fittings = list(2, 4, "f", "fuel_fitting", threads, barbs)
		s.fittings = append(s.fittings, list(0, 1, "g", "fuel_fitting", threads, threads)...)
		s.filters = list(2, 3, "l", "fuel_filter", components, components)
		s.regulators = list(2, 2, "r", "pressure_regulator", components, components)
	}
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
		s.hoses = append(s.hoses, drawPrices(t, part(sku, "fuel_hose", pack(sku), length, 0, []string{"hose " + b, "hose " + b}), none))
	}
	for i := range rapid.IntRange(1, 3).Draw(t, "clamps") {
		sku := fmt.Sprint("c", i)
		s.clamps = append(s.clamps, drawPrices(t, part(sku, "hose_clamp", pack(sku), 0, 0, nil, "hose_in", bore(sku, i)), none))
	}
	// What is merely bought costs its price and the penalty of its finish.
	for _, list := range s.lists() {
		for i := range list {
			c := &list[i]
			c.Part.Price.AmountMinor, c.Part.Finish = c.Cost, rapid.SampledFrom(finishes).Draw(t, c.Part.SKU+" finish")
		}
	}
	s.drawPenalties(t)
	all := s.all()
	hold := func(label string) Holding {
		c := rapid.SampledFrom(all).Draw(t, label)
		if repeats && rapid.Bool().Draw(t, label+" is a fitting") {
			c = rapid.SampledFrom(s.fittings).Draw(t, label+" fitting")
		}
		n := rapid.SampledFrom([]int{1, 2, 4}).Draw(t, label+" pieces")
		return Holding{c.Part, n * PieceUnits(c.Part)}
	}
	for i := range rapid.IntRange(0, 3).Draw(t, "bundles") {
		label := fmt.Sprint("bundle ", i)
		b := bundle{priceMinor: rapid.Int64Range(0, 20).Draw(t, label+" price"), otherMinor: rapid.Int64Range(0, 6).Draw(t, label+" other contents")}
		for k := range rapid.IntRange(1, 4).Draw(t, label+" contents") {
			b.holds = append(b.holds, hold(fmt.Sprint(label, " content ", k)))
		}
		s.bundles = append(s.bundles, b)
	}
	for i := range rapid.IntRange(0, 2).Draw(t, "owned") {
		s.owned = append(s.owned, hold(fmt.Sprint("owned ", i)))
	}
	for i := range rapid.SampledFrom([]int{0, 0, 1, 2, 4}).Draw(t, "taken") {
		h := hold(fmt.Sprint("taken ", i))
		h.Units = max(1, h.Units-rapid.IntRange(0, 2).Draw(t, fmt.Sprint("taken ", i, " less")))
		s.taken = append(s.taken, Switch{Taken: h, By: rapid.IntRange(0, 1).Draw(t, fmt.Sprint("taken ", i, " by"))})
	}
	for i := range rapid.SampledFrom([]int{0, 0, 1, 2}).Draw(t, "required") {
		h := hold(fmt.Sprint("required ", i))
		if h.Units = 1; !slices.ContainsFunc(s.taken, func(sw Switch) bool { return sw.Required && sw.Taken.Part == h.Part }) {
			s.taken = append(s.taken, Switch{Taken: h, Required: true})
		}
	}
	return s
}

// The order of parts in a chain, one letter each: Fitting, Hose, fiLter, Regulator,
// Inlet fitting.
var (
	withoutRegulator = regexp.MustCompile(`^F{0,2}(HF{0,2})?L(F?I|F{0,2}H(F?I)?)?$`)
	withRegulator    = regexp.MustCompile(`^F{0,2}(HF{0,2})?LF{0,2}(HF{0,2})?R(F?I|F{0,2}H(F?I)?)?$`)
)

// everyChain tries every sequence of parts and returns the bills of those whose joints
// mate and whose order is right, with every hose and clamp for their bores.
func everyChain(s *shop, q *PathQuery) []bill {
	order := withoutRegulator
	if q.NeedRegulator {
		order = withRegulator
	}
	taking := map[byte][]Candidate{}             // fittings by role
	single := map[byte]map[[2]catalog.End]bool{} // ends that one fitting joins
	for letter, role := range map[byte]Role{'F': Fitting, 'I': InletFitting} {
		single[letter] = map[[2]catalog.End]bool{}
		for _, c := range s.fittings {
			if q.Accepts(role, c.Part.Form) {
				taking[letter] = append(taking[letter], c)
				a, b := c.Part.Ends[0], c.Part.Ends[1]
				single[letter][[2]catalog.End{a, b}], single[letter][[2]catalog.End{b, a}] = true, true
			}
		}
	}
	var found []bill
	var letters []byte
	var parts []Candidate // zero for a hose
	var ins, outs []catalog.End
	record := func() {
		if !order.Match(letters) || !slices.Contains(letters, 'H') {
			return
		}
		pieces := map[units.Size]int{}
		var base bill
		for i, c := range parts {
			if letters[i] == 'H' {
				pieces[ins[i].Size]++
				continue
			}
			base = base.plus(c, 1, 1)
			if i > 0 && letters[i-1] == 'F' && (letters[i] == 'F' || letters[i] == 'I') && single[letters[i]][[2]catalog.End{ins[i-1], outs[i]}] {
				return // one fitting does what these two do
			}
		}
		pieceIn := q.RunLengthIn/float64(strings.Count(string(letters), "H")) + 1
		all := []bill{base}
		for bore, n := range pieces {
			var next []bill
			for _, h := range s.ofBore(Hose, bore) {
				if h.Part.LengthIn < pieceIn {
					continue
				}
				k := math.Floor(h.Part.LengthIn / pieceIn)
				inches := int(math.Floor(h.Part.LengthIn / k))
				if (k+1)*float64(inches) <= h.Part.LengthIn {
					inches++
				}
				for _, c := range s.ofBore(Clamp, bore) {
					for _, m := range all {
						next = append(next, m.plus(h, n*inches, n).plus(c, 2*n, n))
					}
				}
			}
			all = next
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
		step := func(letter byte, c Candidate, in, out catalog.End) {
			letters, parts, ins, outs = append(letters, letter), append(parts, c), append(ins, in), append(outs, out)
			extend(out)
			n := len(letters) - 1
			letters, parts, ins, outs = letters[:n], parts[:n], ins[:n], outs[:n]
		}
		try := func(letter byte, list []Candidate, turns bool) {
			for _, c := range list {
				for i := range 2 {
					if c.Part.Ends[i].Mates(open) && (i == 0 || turns && c.Part.Ends[0] != c.Part.Ends[1]) {
						step(letter, c, c.Part.Ends[i], c.Part.Ends[1-i])
					}
				}
			}
		}
		if strings.HasSuffix(tail, "I") {
			return
		}
		if !strings.HasSuffix(tail, "FF") {
			try('F', taking['F'], true)
			try('I', taking['I'], true)
		}
		if !strings.Contains(sinceComponent, "H") {
			for _, bore := range s.bores() {
				if hose := (catalog.End{Family: catalog.Hose, Size: bore}); hose.Mates(open) {
					step('H', Candidate{}, hose, hose)
				}
			}
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

// drawRepeats draws a query whose paths often take a fitting more than once.
func drawRepeats(t *rapid.T) (*shop, *PathQuery) {
	s := drawShop(t, true)
	from := rapid.SampledFrom([]string{"plain_tube 3/8", "npt 1/4 male", "npt 1/4 female"}).Draw(t, "from")
	to := rapid.SampledFrom([]string{"hose_barb 3/8", "npt 1/4 female"}).Draw(t, "to")
	lines, packs := rapid.Bool().Draw(t, "lines count"), rapid.Bool().Draw(t, "fittings in packs")
	for _, list := range [][]Candidate{s.fittings, s.filters, s.regulators, s.hoses, s.clamps} {
		for i := range list {
			if !lines {
				list[i].Once = 0
			}
		}
	}
	for _, c := range s.fittings {
		if !packs {
			c.Part.PackQuantity = 1
		}
	}
	q := s.query(from, to, float64(rapid.IntRange(4, 40).Draw(t, "run")), rapid.Bool().Draw(t, "regulator"))
	only := map[*catalog.Form]Role{} // fittings that rules allow in one role
	for _, c := range s.fittings {
		if rapid.IntRange(0, 3).Draw(t, c.Part.SKU+" in one role") == 3 {
			only[c.Part.Form] = rapid.SampledFrom([]Role{InletFitting, Fitting}).Draw(t, c.Part.SKU+" role")
		}
	}
	q.Accepts = func(role Role, f *catalog.Form) bool {
		one, limited := only[f]
		return !limited || role == one
	}
	return s, q
}

func drawFuelQuery(t *rapid.T) (*shop, *PathQuery) {
	s := drawShop(t, false)
	from := rapid.SampledFrom([]string{"plain_tube 3/8", "plain_tube 3/8", "inverted_flare 3/8 male", "npt 1/4 male"}).Draw(t, "from")
	to := rapid.SampledFrom([]string{"hose_barb 3/8", "hose_barb 3/8", "inverted_flare 3/8 female", "npt 1/4 female", "hose_barb 5/16"}).Draw(t, "to")
	run := float64(rapid.IntRange(4, 40).Draw(t, "run"))
	return s, s.query(from, to, run, rapid.IntRange(0, 3).Draw(t, "regulator") == 0)
}

// In whatever way the rest of the kit turns out, the options hold the optimum that a
// brute-force enumeration of all chains and all sets of bundles finds, with and without
// the tied parts; and so again when the search is asked with other prices.
func TestPropertyPathsHoldEveryOptimum(t *testing.T) { checkOptima(t, 30, drawFuelQuery) }

// So it is where fittings go in more than once: packs that serve two places, lines that
// count once, parts of which the shelf, the owner or a bundle has fewer than the path takes.
func TestPropertyFittingsInSeveralPlaces(t *testing.T) { checkOptima(t, 30, drawRepeats) }

func checkOptima(t *testing.T, times int, draw func(*rapid.T) (*shop, *PathQuery)) {
	joined, several, repeated, stopped := 0, 0, 0, 0
	check(t, times, func(t *rapid.T) {
		s, q := draw(t)
		search := NewPathSearch(q)
		options := search.Paths(t.Context(), s.prices())
		if rapid.Bool().Draw(t, "prices change") {
			s.drawPenalties(t)
			options = search.Paths(t.Context(), s.prices())
		}
		chains := everyChain(s, q)
		if (len(chains) > 0) != (len(options) > 0) {
			t.Fatalf("%d options, brute force finds %d chains", len(options), len(chains))
		}
		ends := deadline.After(t.Context(), rapid.IntRange(0, 4).Draw(t, "looks before the end"))
		if early := search.Paths(ends, s.prices()); (len(early) > 0) != (len(chains) > 0) {
			t.Fatalf("stopped: %d options, brute force finds %d chains", len(early), len(chains))
		} else if search.Cut() {
			stopped++
			for i := range early {
				checkChain(t, q, &early[i])
			}
		} else if len(early) != len(options) {
			t.Fatalf("%d options, before %d", len(early), len(options))
		}
		if len(chains) == 0 {
			return
		}
		joined++
		if len(options) > 1 {
			several++
		}
		var ours []bill
		for i := range options {
			checkOption(t, &options[i].Option, s.all(), &Savings{})
			checkChain(t, q, &options[i])
			ours = append(ours, billOf(&options[i].Option))
			if i > 0 && options[i].Cost < options[i-1].Cost {
				t.Fatal("options are not sorted by cost")
			}
			if slices.ContainsFunc(options[:i], func(o PathOption) bool { return slices.Equal(o.Uses, options[i].Uses) }) {
				t.Fatalf("an option twice: %+v", options[i].Uses)
			}
		}
		for range 4 {
			w := s.drawKit(t)
			got, ok := w.cheapest(ours)
			want, possible := w.cheapest(chains)
			if possible && w.repeats(ours, want) {
				repeated++
			}
			if ok != possible || got != want {
				t.Fatalf("cheapest option %d (%v), brute force %d (%v)", got, ok, want, possible)
			}
		}
	})
	t.Logf("%d shops with a path, %d with several; %d optima with a fitting in several places; %d searches stopped", joined, several, repeated, stopped)
	if joined == 0 || several == 0 || repeated == 0 || stopped == 0 {
		t.Error("the test shows nothing")
	}
}

// repeats reports whether an option of some cost takes a fitting more than once, and that
// matters: in as many places, each paid for by itself, it costs something else.
func (w world) repeats(options []bill, cost int64) bool {
	return slices.ContainsFunc(options, func(b bill) bool {
		if sum, ok := w.price(b); !ok || sum != cost {
			return false
		}
		for p, n := range b.units {
			c := w.candidates[p]
			if p.Kind == "fuel_fitting" && n > 1 && c.packs(Packs(p, n-w.owned[p])) != int64(n)*c.packs(Packs(p, 1-w.owned[p])) {
				return true
			}
		}
		return false
	})
}

var finishes = []catalog.Finish{catalog.FinishPlain, catalog.FinishBright}

// drawPenalties draws what finishes count.
func (s *shop) drawPenalties(t *rapid.T) {
	s.penalties = map[catalog.Finish]int64{}
	for i, f := range finishes {
		s.penalties[f] = rapid.SampledFrom([]int64{0, 0, 1, 2, 5}).Draw(t, fmt.Sprint("penalty ", i))
	}
	for _, list := range s.lists() {
		for i := range list {
			list[i].Penalty = s.penalties[list[i].Part.Finish]
		}
	}
}

func (s *shop) candidate(p *catalog.Part) Candidate {
	all := s.all()
	if i := slices.IndexFunc(all, func(c Candidate) bool { return c.Part == p }); i >= 0 {
		return all[i]
	}
	return Candidate{Part: p} // a stand-in
}

func checkChain(t *rapid.T, q *PathQuery, o *PathOption) {
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
// from them. Stock is sold in whole inches, a foot or more.
func TestPropertyInchesCountCuts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		length := float64(rapid.IntRange(12, 200).Draw(t, "length"))
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
	p.Price.AmountMinor = cost
	return Candidate{Part: p, Cost: cost}
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

func chainText(o *PathOption) string {
	var names []string
	for _, st := range o.Steps {
		name := st.Part.SKU
		if name == "" {
			name = "(own)"
		}
		names = append(names, name)
	}
	return strings.Join(names, " ")
}

func chainTexts(options []PathOption) (texts []string) {
	for i := range options {
		texts = append(texts, chainText(&options[i]))
	}
	return texts
}

func TestPathOfOneVehicle(t *testing.T) {
	s := workbench()
	options := s.paths(s.query("inverted_flare 3/8 male", "unf_port 7/8-20 female", 30, false))
	if len(options) != 1 {
		t.Fatalf("%d options", len(options))
	}
	o := options[0]
	if got, want := chainText(&o), "FLARE-BARB HOSE-36 FILTER HOSE-36 INLET-BARB"; got != want {
		t.Errorf("chain %s, want %s", got, want)
	}
	// Two pieces of 30/2+1 = 16 in come from one hose of 36 in, four clamps from one pack.
	if want := int64(300 + 900 + 500 + 450 + 400); o.Cost != want {
		t.Errorf("cost %d, want %d", o.Cost, want)
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

func TestPathPutsTheRegulatorAfterTheFilter(t *testing.T) {
	s := workbench()
	options := s.paths(s.query("plain_tube 3/8", "hose_barb 3/8", 30, true))
	if len(options) != 1 {
		t.Fatalf("%d options", len(options))
	}
	if got, want := chainText(&options[0]), "HOSE-36 FILTER HOSE-36 PIPE-BARB REGULATOR PIPE-BARB HOSE-36"; got != want {
		t.Errorf("chain %s, want %s", got, want)
	}
	i := slices.IndexFunc(options[0].Uses, func(u Use) bool { return u.Need == needClamps })
	if n := options[0].Uses[i].Units; n != 6 {
		t.Errorf("%d clamps on three pieces of hose, want 6", n)
	}
}

// One filter style fits both 5/16 and 3/8 line (common practice, no source): with
// stepped ends it also joins the two.
func TestPathStepsTheBoreAtTheFilter(t *testing.T) {
	s := workbench()
	s.filters = []Candidate{candidate(500, part("STEPPED", "fuel_filter", 1, 3, 0, []string{"hose_barb 3/8", "hose_barb 5/16"}))}
	s.hoses = append(s.hoses, candidate(800, part("HOSE-5", "fuel_hose", 1, 36, 0, []string{"hose 5/16", "hose 5/16"})))
	s.clamps = append(s.clamps, candidate(400, part("CLAMPS-5", "hose_clamp", 10, 0, 0, nil, "hose_in", "5/16")))
	options := s.paths(s.query("plain_tube 3/8", "hose_barb 5/16", 30, false))
	if len(options) != 1 {
		t.Fatalf("%d options", len(options))
	}
	if got, want := chainText(&options[0]), "HOSE-36 STEPPED HOSE-5"; got != want || options[0].HoseBoreIn != 0.3125 {
		t.Errorf("chain %s bore %g, want %s bore 0.3125", got, options[0].HoseBoreIn, want)
	}
	if options := s.paths(s.query("plain_tube 5/16", "hose_barb 3/8", 30, false)); len(options) != 0 {
		t.Error("fuel flowed through a filter against its arrow")
	}
}

func TestPathNeedsEveryPiece(t *testing.T) {
	for name, without := range map[string]func(*shop){
		"filter":        func(s *shop) { s.filters = nil },
		"line fitting":  func(s *shop) { s.fittings = s.fittings[1:] },
		"inlet fitting": func(s *shop) { s.fittings = s.fittings[:1] },
		"hose":          func(s *shop) { s.hoses = nil },
		"long hose":     func(s *shop) { s.hoses[0].Part.LengthIn = 15 },
		"clamps":        func(s *shop) { s.clamps = nil },
		"clamps of size": func(s *shop) {
			s.clamps = []Candidate{candidate(1, part("C", "hose_clamp", 1, 0, 0, nil, "hose_in", "1/2"))}
		},
	} {
		s := workbench()
		without(s)
		if options := s.paths(s.query("inverted_flare 3/8 male", "unf_port 7/8-20 female", 30, false)); len(options) != 0 {
			t.Errorf("without %s: %s", name, chainText(&options[0]))
		}
	}
}

// A part that a bundle holds is an option beside a cheaper one as long as the bundle
// may pay; one that is merely dearer is not.
func TestPathKeepsWhatABundleMayHold(t *testing.T) {
	const filterMinor = 500 // of the plain filter, see workbench
	for _, c := range []struct {
		bundleMinor int64
		bright      bool
	}{{filterMinor - 1, true}, {filterMinor, true}, {filterMinor + 1, false}} {
		s := workbench()
		bright := candidate(900, part("FILTER-BRIGHT", "fuel_filter", 1, 3, 0, []string{"hose_barb 3/8", "hose_barb 3/8"}))
		s.filters = append(s.filters, bright)
		if options := s.paths(s.query("plain_tube 3/8", "hose_barb 3/8", 30, false)); len(options) != 1 || chainText(&options[0]) != "HOSE-36 FILTER HOSE-36" {
			t.Errorf("%d options, want the cheaper filter alone", len(options))
		}
		s.bundles = []bundle{{priceMinor: c.bundleMinor, holds: []Holding{{bright.Part, 1}}}}
		want := []string{"HOSE-36 FILTER HOSE-36"}
		if c.bright {
			want = append(want, "HOSE-36 FILTER-BRIGHT HOSE-36")
		}
		if got := chainTexts(s.paths(s.query("plain_tube 3/8", "hose_barb 3/8", 30, false))); !slices.Equal(got, want) {
			t.Errorf("bundle at %d: %q, want %q", c.bundleMinor, got, want)
		}
	}
}

// What other needs of the kit bear of a bundle's price lets a dearer one pay.
func TestPathCountsWhatOtherNeedsBear(t *testing.T) {
	s := workbench()
	bright := candidate(900, part("FILTER-BRIGHT", "fuel_filter", 1, 3, 0, []string{"hose_barb 3/8", "hose_barb 3/8"}))
	s.filters = append(s.filters, bright)
	s.bundles = []bundle{{priceMinor: 1500, otherMinor: 1000, holds: []Holding{{bright.Part, 1}}}}
	if got := chainTexts(s.paths(s.query("plain_tube 3/8", "hose_barb 3/8", 30, false))); len(got) != 2 {
		t.Errorf("%q, want both filters", got)
	}
}

// Two bundles that hold a filter each may both pay, although one filter lies idle.
func TestPathTakesTwoBundlesWithAFilterEach(t *testing.T) {
	s := workbench()
	barb, hose := []string{"hose_barb 3/8", "hose_barb 3/8"}, []string{"hose 3/8", "hose 3/8"}
	filterA := candidate(600, part("FILTER-A", "fuel_filter", 1, 3, 0, barb))
	filterB := candidate(600, part("FILTER-B", "fuel_filter", 1, 3, 0, barb))
	hoseA := candidate(1500, part("HOSE-A", "fuel_hose", 1, 36, 0, hose))
	clampsB := candidate(900, part("CLAMPS-B", "hose_clamp", 10, 0, 0, nil, "hose_in", "3/8"))
	s.filters = append(s.filters, filterA, filterB)
	s.hoses = append(s.hoses, hoseA)
	s.clamps = append(s.clamps, clampsB)
	s.bundles = []bundle{
		{priceMinor: 800, holds: []Holding{{filterA.Part, 1}, {hoseA.Part, 36}}},
		{priceMinor: 200, holds: []Holding{{filterB.Part, 1}, {clampsB.Part, 10}}},
	}
	// Both bundles cost 10.00 and leave nothing to buy; the second alone leaves a hose
	// of 9.00, the first alone clamps of 4.00.
	for _, o := range s.paths(s.query("plain_tube 3/8", "hose_barb 3/8", 30, false)) {
		b := billOf(&o.Option)
		if b.units[hoseA.Part] > 0 && b.units[clampsB.Part] > 0 && (b.units[filterA.Part] > 0 || b.units[filterB.Part] > 0) {
			return
		}
	}
	t.Error("no option takes the hose of one bundle and the clamps of the other")
}

// A tied part never hides the path that does without it.
func TestPathKeepsWhatDoesWithoutATiedPart(t *testing.T) {
	s := workbench()
	tied := candidate(100, part("FILTER-TIED", "fuel_filter", 1, 3, 0, []string{"hose_barb 3/8", "hose_barb 3/8"}))
	tied.Tied = true
	s.filters = append(s.filters, tied)
	want := []string{"HOSE-36 FILTER-TIED HOSE-36", "HOSE-36 FILTER HOSE-36"}
	if got := chainTexts(s.paths(s.query("plain_tube 3/8", "hose_barb 3/8", 30, false))); !slices.Equal(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
}

// What is owned in number costs nothing, so a dear part that is had displaces a cheap
// one that is not.
func TestPathPrefersWhatIsOwned(t *testing.T) {
	s := workbench()
	had := candidate(900, part("FILTER-HAD", "fuel_filter", 1, 3, 0, []string{"hose_barb 3/8", "hose_barb 3/8"}))
	s.filters = append(s.filters, had)
	s.owned = []Holding{{had.Part, 1}}
	want := []string{"HOSE-36 FILTER-HAD HOSE-36"}
	if got := chainTexts(s.paths(s.query("plain_tube 3/8", "hose_barb 3/8", 30, false))); !slices.Equal(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
}

// What the owner has joins whatever it must, at no cost.
func TestPathUsesStandIns(t *testing.T) {
	standIn := &catalog.Part{Offer: catalog.Offer{PackQuantity: 1000}, Form: &catalog.Form{LengthIn: 1000}}
	s := workbench()
	q := s.query("inverted_flare 3/8 male", "unf_port 7/8-20 female", 30, false)
	q.StandIns[InletFitting] = standIn
	q.Accepts = func(role Role, _ *catalog.Form) bool { return role != InletFitting }
	options := s.paths(q)
	if len(options) != 1 || chainText(&options[0]) != "FLARE-BARB HOSE-36 FILTER HOSE-36 (own)" || options[0].Cost != 2100 {
		t.Errorf("%d options", len(options))
	}
	// With everything on the shelf the catalogue only says which bores there are.
	q = s.query("inverted_flare 3/8 male", "unf_port 7/8-20 female", 30, true)
	q.Accepts = func(Role, *catalog.Form) bool { return false }
	for role := range q.StandIns {
		q.StandIns[role] = standIn
	}
	options = s.paths(q)
	if len(options) == 0 || options[0].Cost != 0 {
		t.Errorf("with everything on the shelf: %d options", len(options))
	}
}

func TestPathOfACatalogueWithManyBores(t *testing.T) {
	s := workbench()
	for i := 1; i <= 12; i++ {
		bore := fmt.Sprintf("%d/32", i)
		if bore != "12/32" {
			s.hoses = append(s.hoses, candidate(800, part("HOSE-"+bore, "fuel_hose", 1, 36, 0, []string{"hose " + bore, "hose " + bore})))
			s.clamps = append(s.clamps, candidate(400, part("CLAMPS-"+bore, "hose_clamp", 10, 0, 0, nil, "hose_in", bore)))
		}
	}
	s.filters = append(s.filters, candidate(100, part("STEPPED", "fuel_filter", 1, 3, 0, []string{"hose_barb 3/8", "hose_barb 11/32"})))
	options := s.paths(s.query("plain_tube 3/8", "hose_barb 11/32", 30, false))
	if len(options) != 1 || chainText(&options[0]) != "HOSE-36 STEPPED HOSE-11/32" {
		t.Errorf("%d options", len(options))
	}
}
