package kit

import (
	"cmp"
	"fmt"
	"math/bits"
	"slices"
	"strings"

	"onetrip/internal/catalog"
	"onetrip/internal/fit"
	"onetrip/internal/rules"
)

// title is a kind's name inside a sentence.
func title(spec *catalog.KindSpec) string { return strings.ToLower(spec.Title[:1]) + spec.Title[1:] }

// whyNothing says why no part meets a demand: the fewest requirements that no part
// meets together, so that dropping any one of them would let some part through.
func (j *job) whyNothing(d *demand) string {
	var tests []rules.Test
	for _, m := range d.matches {
		tests = append(tests, m.Tests...)
	}
	forms := j.s.Catalog.Forms(d.spec.Kind)
	if len(forms) == 0 {
		return fmt.Sprintf("The catalogue has no %s at all.", title(d.spec))
	}
	set := smallestConflict(tests, forms)
	if set == nil {
		if d.spec.ByLength {
			return fmt.Sprintf("No %s that fits is long enough for one run of %g in, or all that fit are discontinued.", title(d.spec), d.remaining())
		}
		return fmt.Sprintf("Every %s that fits is discontinued.", title(d.spec))
	}
	return fmt.Sprintf("No %s in the catalogue %s.", title(d.spec), says(set))
}

// says is what a part does that passes tests: "withstands at least 14 psi".
func says(tests []rules.Test) string {
	asked := make([][2]string, len(tests))
	for i := range tests {
		asked[i] = [2]string{tests[i].Attr, tests[i].Rounded()}
	}
	return catalog.SaysAll(asked)
}

// mostSubsets bounds the tests of which all subsets are tried. The rules of a need have a
// handful; of more, those are left out one after another that the others do not need.
const mostSubsets = 12

// smallestConflict is a set of tests that no form passes together, though some pass them
// without any one of it; nil when some form passes all. Of up to mostSubsets tests it is the
// smallest such set.
func smallestConflict(tests []rules.Test, forms []*catalog.Form) []rules.Test {
	passed := make([]uint, 0, len(forms)) // by form, the tests it passes
	for _, f := range forms {
		var mask uint
		for i := range tests {
			if tests[i].Accepts(f) {
				mask |= 1 << i
			}
		}
		passed = append(passed, mask)
	}
	slices.Sort(passed)
	passed = slices.Compact(passed)
	conflict := func(set uint) bool {
		return !slices.ContainsFunc(passed, func(p uint) bool { return p&set == set })
	}
	all := uint(1)<<len(tests) - 1
	if !conflict(all) {
		return nil
	}
	if len(tests) > mostSubsets {
		for i := range tests {
			if less := all &^ (1 << i); conflict(less) {
				all = less
			}
		}
		return testsOf(tests, all)
	}
	least := all
	for set := uint(1); set < all; set++ {
		if bits.OnesCount(set) < bits.OnesCount(least) && conflict(set) {
			least = set
		}
	}
	return testsOf(tests, least)
}

// testsOf are those of a set.
func testsOf(tests []rules.Test, set uint) (out []rules.Test) {
	for i := range tests {
		if set&(1<<i) != 0 {
			out = append(out, tests[i])
		}
	}
	return out
}

// nearestShown is how many near misses are listed.
const nearestShown = 3

// nearest lists the parts that fail fewest requirements of a demand, cheapest first
// among equals, with every attribute that each fails. joins are the ends that the part
// must have, for a step of the fuel path.
func (j *job) nearest(d *demand, joins ...catalog.End) []Nearest {
	type near struct {
		part         *catalog.Part
		fails, alien int // requirements failed; ends of another family than the one wanted
	}
	if len(d.matches) == 0 { // no part would help
		return []Nearest{}
	}
	nearer := func(a, b near) bool {
		return cmp.Or(cmp.Compare(a.fails, b.fails), cmp.Compare(a.alien, b.alien),
			cmp.Compare(a.part.Price.AmountMinor, b.part.Price.AmountMinor), cmp.Compare(a.part.SKU, b.part.SKU)) < 0
	}
	best := make([]near, 0, nearestShown)
	// try looks at forms that fail so much by their ends, cheapest first, until none can be
	// nearer than those found.
	try := func(forms []*catalog.Form, fails, alien int) {
		for _, f := range forms {
			n := near{part: f.Parts()[0], fails: max(1, fails), alien: alien}
			if len(best) == nearestShown && !nearer(n, best[nearestShown-1]) {
				return
			}
			n.fails = fails
			for _, m := range d.matches {
				n.fails += m.Failing(f)
			}
			if n.fails == 0 {
				if !n.part.Discontinued {
					continue
				}
				n.fails = 1
			}
			at := len(best)
			for at > 0 && nearer(n, best[at-1]) {
				at--
			}
			if at < nearestShown {
				best = slices.Insert(best[:min(len(best), nearestShown-1)], at, n)
			}
		}
	}
	if len(joins) == 0 {
		try(j.s.byPrice[d.spec.Kind], 0, 0)
	} else {
		type alike struct {
			forms        []*catalog.Form
			fails, alien int
		}
		var all []alike
		j.s.network.EachAlike(d.spec.Kind, func(forms []*catalog.Form) {
			fails, alien, _ := joinFails(forms[0], joins)
			all = append(all, alike{forms, fails, alien})
		})
		for fails := range len(joins) + 1 {
			if len(best) == nearestShown && fails > best[nearestShown-1].fails {
				break
			}
			for alien := range fails + 1 {
				for _, a := range all {
					if a.fails == fails && a.alien == alien {
						try(a.forms, fails, alien)
					}
				}
			}
		}
	}
	out := make([]Nearest, len(best))
	for i, n := range best {
		out[i] = Nearest{SKU: n.part.SKU, Name: n.part.Name, Fails: failsOf(d, n.part.Form, joins)}
	}
	return out
}

const isDiscontinued = "discontinued: yes, wanted no"

// failsOf lists what a form fails of a demand; of one that fails nothing the part that
// stands for it is discontinued.
func failsOf(d *demand, f *catalog.Form, joins []catalog.End) []string {
	var fails []string
	for _, m := range d.matches {
		fails = append(fails, m.Fails(f)...)
	}
	if count, _, turn := joinFails(f, joins); count > 0 {
		for i, end := range f.Ends {
			if want := joins[(i+turn)%len(joins)]; end != want {
				fails = append(fails, fmt.Sprintf("end: %s, wanted %s", end.Words(), want.Words()))
			}
		}
	}
	if len(fails) == 0 {
		return []string{isDiscontinued}
	}
	return fails
}

// joinFails counts the ends of a form that are not the ends wanted, and those of another
// family, with the part turned round as it fails least.
func joinFails(f *catalog.Form, wanted []catalog.End) (fails, alien, turned int) {
	if len(f.Ends) != len(wanted) {
		return 0, 0, 0
	}
	for turn := range wanted {
		wrong, strange := 0, 0
		for i := range f.Ends {
			end, want := &f.Ends[i], &wanted[(i+turn)%len(wanted)]
			if *end != *want {
				wrong++
			}
			if end.Family != want.Family {
				strange++
			}
		}
		if turn == 0 || wrong < fails || wrong == fails && strange < alien {
			fails, alien, turned = wrong, strange, turn
		}
	}
	return fails, alien, turned
}

// lacksInPath lists the parts of a fuel path that nobody sells, each with the ends
// it would have to join.
func (j *job) lacksInPath(path *fit.PathOption) []lack {
	var out []lack
	add := func(l lack) {
		l.demand = j.role(l.need)
		if l.demand == nil || slices.ContainsFunc(out, func(o lack) bool { return o.need == l.need }) {
			return
		}
		l.severity = l.demand.severity
		out = append(out, l)
	}
	for _, s := range path.Steps {
		if !nobodySells(s.Part) {
			continue
		}
		text := fmt.Sprintf("No %s in the catalogue fits %s at one end and %s at the other%s.", s.Part.Name, s.From.Words(), s.To.Words(), j.alsoAsked(s.Need))
		if s.Need == "fuel.inlet_fitting" || s.Need == "fuel.fittings" {
			text = fmt.Sprintf("No fitting in the catalogue leads from %s to %s%s.", s.From.Words(), s.To.Words(), j.alsoAsked(s.Need))
		}
		add(lack{need: s.Need, cause: NoJoint, from: s.From, to: s.To, text: text})
	}
	for _, u := range path.Uses {
		if u.Need == "fuel.clamps" && nobodySells(u.Part) {
			bore := rules.Test{Attr: "hose_in", Type: catalog.AttrSize, Op: rules.Equal, Value: catalog.Value{Num: path.HoseBoreIn}}
			add(lack{need: u.Need, cause: NoJoint, also: []rules.Test{bore}, text: fmt.Sprintf("No clamp in the catalogue closes on %g in fuel hose.", path.HoseBoreIn)})
		}
	}
	return out
}

// alsoAsked spells out what the rules ask of a part beside its ends: " and withstands at
// least 14 psi".
func (j *job) alsoAsked(need string) string {
	d := j.role(need)
	if d == nil {
		return ""
	}
	var tests []rules.Test
	for _, m := range d.matches {
		tests = append(tests, m.Tests...)
	}
	if len(tests) == 0 {
		return ""
	}
	return " and " + says(tests)
}

// leverGap keeps the kit from buying a geometry lever for a cable of unknown travel: each
// lever is made for one travel, and any other burns the clutches.
func (j *job) leverGap() {
	d := j.role("transmission.tv_geometry")
	if d == nil || d.status != "" || j.vehicle.Transmission.CableTravelIn != nil {
		return
	}
	d.rules, d.matches = nil, nil // no part is nearer than another
	j.gap(d, NotMeasured, d.because[0].Text)
}

// portNeeds are the needs of vacuum users, how much each matters, and how bad it is to leave
// one without a port: brakes and transmission are not to be driven so.
var portNeeds = map[string]struct {
	need     string
	level    Level
	severity Severity
}{
	"booster":   {"vacuum.booster_hose", Required, Blocking},
	"pcv":       {"vacuum.pcv_hose", Required, Serious},
	"modulator": {"transmission.modulator_hose", Required, Blocking},
	"advance":   {"vacuum.advance_hose", Required, Serious},
	"egr":       {"vacuum.egr_hose", Required, Serious},
	"purge":     {"vacuum.purge_hose", Required, Serious},
	"cruise":    {"vacuum.cruise_hose", Recommended, Minor},
}

// portGaps raises the needs of vacuum users that have no port: their rules ask for hose
// to a port, so without one they do not fire.
func (j *job) portGaps() {
	for _, u := range j.vacuum.Unassigned {
		p := portNeeds[u.Use]
		kind, known := j.s.Rules.NeedKind(p.need)
		if !known {
			continue // this catalogue does not deal in it; the port map tells
		}
		spec, _ := kind.Spec()
		d := &demand{need: p.need, each: -1, level: p.level, severity: p.severity, quantity: u.LengthIn, spec: spec,
			because: []Because{{Rule: "vacuum ports", Text: u.Text, Source: commonPractice}}}
		if d.status = unwanted(d, j.request, j.levels); d.status == "" {
			j.gap(d, NoPort, u.Text)
		}
		j.raise(d)
	}
	slices.SortStableFunc(j.demands, func(a, b *demand) int { return cmp.Or(cmp.Compare(a.need, b.need), cmp.Compare(a.each, b.each)) })
}
