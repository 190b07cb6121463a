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

var randomEnds = []string{"hose_barb 3/8", "hose_barb 5/16", "hose_barb 3/8", "npt 1/4 male", "npt 1/4 female", "inverted_flare 3/8 male", "inverted_flare 3/8 female"}

func drawShop(t *rapid.T) *shop {
	s := &shop{}
	end := func(label string) string { return rapid.SampledFrom(randomEnds).Draw(t, label) }
	pack := func(label string) int { return rapid.SampledFrom([]int{1, 1, 2, 4}).Draw(t, label+" pack") }
	list := func(least, most int, prefix string, kind catalog.Kind) (found []Candidate) {
		for i := range rapid.IntRange(least, most).Draw(t, prefix) {
			sku := fmt.Sprint(prefix, i)
			found = append(found, drawPrices(t, part(sku, kind, pack(sku), 1, 0, []string{end(sku + " a"), end(sku + " b")})))
		}
		return found
	}
	s.fittings = list(0, 3, "f", "fuel_fitting")
	s.filters = list(1, 2, "l", "fuel_filter")
	s.regulators = list(1, 2, "r", "pressure_regulator")
	bore := func(label string) string { return rapid.SampledFrom([]string{"3/8", "3/8", "5/16"}).Draw(t, label) }
	for i := range rapid.IntRange(1, 3).Draw(t, "hoses") {
		sku := fmt.Sprint("h", i)
		b := bore(sku)
		length := float64(rapid.IntRange(8, 60).Draw(t, sku+" length"))
		s.hoses = append(s.hoses, drawPrices(t, part(sku, "fuel_hose", pack(sku), length, 0, []string{"hose " + b, "hose " + b})))
	}
	for i := range rapid.IntRange(1, 3).Draw(t, "clamps") {
		sku := fmt.Sprint("c", i)
		s.clamps = append(s.clamps, drawPrices(t, part(sku, "hose_clamp", pack(sku), 0, 0, nil, "hose_in", bore(sku))))
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
	from := rapid.SampledFrom([]string{"plain_tube 3/8", "inverted_flare 3/8 male", "npt 1/4 male"}).Draw(t, "from")
	to := rapid.SampledFrom([]string{"hose_barb 3/8", "inverted_flare 3/8 female", "npt 1/4 female", "hose_barb 5/16"}).Draw(t, "to")
	run := float64(rapid.IntRange(4, 40).Draw(t, "run"))
	return s, s.query(from, to, run, rapid.IntRange(0, 3).Draw(t, "regulator") == 0)
}

// In whatever way the rest of the kit turns out, the options hold the optimum that a
// brute-force enumeration of all chains finds.
func TestPropertyFuelPathHoldsEveryOptimum(t *testing.T) {
	joined := 0
	rapid.Check(t, func(t *rapid.T) {
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
	t.Logf("%d joined", joined)
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
