package rules

import (
	"fmt"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"

	"onetrip/internal/catalog"
)

// Lint is what is odd in a set of rules, each of them right by itself. Cases are tried
// one by one: all there are, where facts have few values or only matter by where they
// lie among literals, else some. What was not found among all is sure; what was not found
// among some is undecided.
type Lint struct {
	Never      []*Rule         // can never fire
	Duplicates [][2]*Rule      // same condition, need and match
	Unchosen   []*catalog.Form // that no rule can choose

	UndecidedRules []*Rule         // not seen to fire
	UndecidedForms []*catalog.Form // not seen to be chosen
}

// maxCases is how many cases are tried for one rule, or for all rules of one need.
const maxCases = 50_000

// Lint looks at the rules as they would be used with a catalogue: facts of a carburetor
// are those of one of its carburetors, all others may be anything.
func (s *Set) Lint(carburetors []*catalog.Carburetor, forms func(catalog.Kind) []*catalog.Form) Lint {
	out := s.LintRules(func(*Rule) bool { return true }, carburetors)
	s.lintForms(&out, carburetors, forms)
	return out
}

// LintRules is Lint of some rules beside all others, without the forms, which take long where
// there are many.
func (s *Set) LintRules(some func(*Rule) bool, carburetors []*catalog.Carburetor) Lint {
	var out Lint
	for i, r := range s.rules {
		for _, other := range s.rules[:i] {
			if r.duplicates(other) && (some(r) || some(other)) {
				out.Duplicates = append(out.Duplicates, [2]*Rule{other, r})
			}
		}
		if !some(r) {
			continue
		}
		fired := false
		sure := s.explore([]*Rule{r}, carburetors, nil, func(fr *frame) bool {
			for each := range r.rounds(fr) {
				fired = fired || r.fires(fr, each)
			}
			return !fired
		})
		switch {
		case fired:
		case sure:
			out.Never = append(out.Never, r)
		default:
			out.UndecidedRules = append(out.UndecidedRules, r)
		}
	}
	return out
}

// lintForms adds the forms that no rule can choose.
func (s *Set) lintForms(out *Lint, carburetors []*catalog.Carburetor, forms func(catalog.Kind) []*catalog.Form) {
	byKind := map[catalog.Kind][][]*Rule{}
	for _, need := range s.Needs() {
		var of []*Rule
		for _, r := range s.rules {
			if r.Need == need {
				of = append(of, r)
			}
		}
		byKind[of[0].Kind] = append(byKind[of[0].Kind], of)
	}
	for i := range catalog.Kinds {
		kind := catalog.Kinds[i].Kind
		open, sure := forms(kind), true
		for _, of := range byKind[kind] {
			var all bool
			open, all = s.unchosen(of, carburetors, open)
			sure = sure && all
		}
		for _, f := range open {
			if sure || !slices.ContainsFunc(byKind[kind], func(of []*Rule) bool { return mayChoose(of, f) }) {
				out.Unchosen = append(out.Unchosen, f)
			} else {
				out.UndecidedForms = append(out.UndecidedForms, f)
			}
		}
	}
}

// fires reports whether a rule fires in the case that a frame stands for, for an element
// of its list.
func (r *Rule) fires(fr *frame, each int) bool {
	fr.err, fr.steps, fr.at[0] = nil, 0, each
	if r.list >= 0 && each >= fr.length[r.list] {
		return false
	}
	yes := r.when.yes(fr)
	return yes && fr.err == nil
}

// rounds is how often a rule is looked at: for each element of its list, or once.
func (r *Rule) rounds(fr *frame) int {
	if r.list < 0 {
		return 1
	}
	return fr.length[r.list]
}

// duplicates reports whether two rules say the same under the same condition.
func (r *Rule) duplicates(other *Rule) bool {
	if r.When != other.When || r.ForEach != other.ForEach || r.Need != other.Need || r.Unsuitable != other.Unsuitable || len(r.tests) != len(other.tests) {
		return false
	}
	if r.Need == "" && (r.caution == nil || other.caution == nil || r.caution.ID != other.caution.ID) {
		return r.Unsuitable
	}
	asked := func(r *Rule) []string {
		var list []string
		for i := range r.tests {
			list = append(list, r.tests[i].asked())
		}
		slices.Sort(list)
		return list
	}
	return slices.Equal(asked(r), asked(other))
}

// asked is a test as text, the same for the same test.
func (o *operand) asked() string {
	value := fmt.Sprint(o.fix)
	if o.expr != nil {
		value = o.expr.source
	}
	for i := range o.list {
		value += " " + o.list[i].asked()
	}
	return fmt.Sprint(o.test.Attr, o.test.Op, value)
}

// unchosen takes away the forms that the rules of a need can choose: in some case one of
// them fires and all that fire accept the form. It reports whether all cases were tried.
func (s *Set) unchosen(of []*Rule, carburetors []*catalog.Carburetor, open []*catalog.Form) (left []*catalog.Form, all bool) {
	left = slices.Clone(open)
	all = s.explore(of, carburetors, open, func(fr *frame) bool {
		for each := range of[0].rounds(fr) { // all rules of a need walk one list
			matches := matchesOf(of, fr, each)
			if len(matches) > 0 {
				left = slices.DeleteFunc(left, func(f *catalog.Form) bool {
					return !slices.ContainsFunc(matches, func(m Match) bool { return !m.Accepts(f) })
				})
			}
		}
		return len(left) > 0
	})
	return left, all
}

// matchesOf are the matches of the rules that fire; none where one of them fails.
func matchesOf(of []*Rule, fr *frame, each int) (matches []Match) {
	for _, r := range of {
		if !r.fires(fr, each) {
			continue
		}
		m := Match{Kind: r.Kind, Tests: make([]Test, len(r.tests))}
		for i := range r.tests {
			r.tests[i].work(fr, &m.Tests[i])
		}
		if fr.err != nil {
			return nil
		}
		matches = append(matches, m)
	}
	return matches
}

// mayChoose reports whether the rules of a need could choose a form as far as their tests
// against fixed values go: some rule accepts it, and so does every one that always fires.
func mayChoose(of []*Rule, f *catalog.Form) bool {
	some := false
	for _, r := range of {
		accepts := true
		for i := range r.tests {
			o := &r.tests[i]
			isFixed := o.expr == nil && !slices.ContainsFunc(o.list, func(x operand) bool { return x.expr != nil })
			if isFixed {
				var t Test
				o.work(&frame{}, &t) // which a fixed value does not look at
				accepts = accepts && t.Accepts(f)
			}
		}
		if r.when.constant && r.ForEach == "" && !accepts {
			return false
		}
		some = some || accepts
	}
	return some
}

// axis is one fact, or facts that go together, and the cases there are of it.
type axis struct {
	cases int
	set   func(fr *frame, i int)
}

// explore fills a frame with one case after another until visit returns false, and reports
// whether it had them all. With forms the matches of the rules are explored too.
func (s *Set) explore(of []*Rule, carburetors []*catalog.Carburetor, forms []*catalog.Form, visit func(*frame) bool) (all bool) {
	d := domain{set: s, sure: true, numbers: map[string][]float64{}, words: map[string][]string{}}
	for _, r := range of {
		d.add(r.when, true)
		if r.list >= 0 {
			d.reads = append(d.reads, r.ForEach)
		}
		for i := range r.tests {
			if forms != nil {
				d.addTest(&r.tests[i], forms)
			}
		}
	}
	axes := d.axes(carburetors)
	fr := s.layout.newFrame()
	total := 1
	for _, a := range axes {
		if total *= a.cases; total > maxCases {
			total = maxCases + 1
		}
	}
	if total > maxCases {
		random := rand.New(rand.NewPCG(1, 1)) // the same cases each time
		for range maxCases {
			for _, a := range axes {
				a.set(fr, random.IntN(a.cases))
			}
			if !visit(fr) {
				break
			}
		}
		return false
	}
	for n := range total {
		for _, a := range axes {
			a.set(fr, n%a.cases)
			n /= a.cases
		}
		if !visit(fr) {
			break
		}
	}
	return d.sure
}

// domain collects which facts expressions read and which of their values matter.
type domain struct {
	set     *Set
	reads   []string
	sure    bool
	literal []float64
	word    []string
	numbers map[string][]float64 // further values of a fact, from the attributes it is held against
	words   map[string][]string
}

func (d *domain) add(e *expr, plain bool) {
	d.reads = append(d.reads, e.survey.reads...)
	d.literal = append(d.literal, e.survey.numbers...)
	d.word = append(d.word, e.survey.words...)
	d.sure = d.sure && (e.survey.plain || !plain)
}

// addTest adds what a test of the match asks, and the values that the forms have.
func (d *domain) addTest(o *operand, forms []*catalog.Form) {
	for i := range o.list {
		d.addTest(&o.list[i], forms)
	}
	if o.expr == nil {
		return
	}
	d.add(o.expr, false)
	d.sure = d.sure && o.expr.fact != nil
	for _, path := range o.expr.survey.reads {
		if o.expr.class == aList {
			path += "[]"
		}
		for _, f := range forms {
			a, stated := f.Attr(o.test.Attr)
			switch {
			case !stated:
			case byNumber(a.Type):
				d.numbers[path] = append(d.numbers[path], a.Value.Num)
				for _, n := range o.expr.survey.numbers { // where an allowance is added or taken off
					d.numbers[path] = append(d.numbers[path], a.Value.Num-n, a.Value.Num+n)
				}
			default:
				d.words[path] = append(d.words[path], a.Value.Text)
			}
		}
	}
}

// axes makes an axis of each fact that is read, and one of all facts of a carburetor.
func (d *domain) axes(carburetors []*catalog.Carburetor) []axis {
	slices.Sort(d.reads)
	d.reads = slices.Compact(d.reads)
	l := d.set.layout
	var axes []axis
	if slices.ContainsFunc(d.reads, ofCarburetor) {
		axes = append(axes, d.carburetors(carburetors)) // first, since its numbers are literals to the others
	}
	for _, path := range d.reads {
		if ofCarburetor(path) || strings.Contains(path, "[]") {
			continue
		}
		if at := slices.IndexFunc(l.lists, func(x list) bool { return x.path == path }); at >= 0 {
			axes = append(axes, d.list(at))
			continue
		}
		f := lookup(schema, path)
		values := d.values(f)
		axes = append(axes, axis{len(values), func(fr *frame, i int) { values[i].put(l, fr, f) }})
	}
	return axes
}

func ofCarburetor(path string) bool { return strings.HasPrefix(path, "carburetor.") }

// value is one value of a fact.
type value struct {
	number float64
	text   string
	known  bool
}

func (v value) put(l *layout, fr *frame, f *field) {
	if i := find(l.yes, f, true); i >= 0 {
		fr.yes[i] = v.known
	}
	switch f.class {
	case aNumber:
		if i := find(l.number, f, false); i >= 0 {
			fr.number[i] = v.number
		}
	case aText:
		if i := find(l.text, f, false); i >= 0 {
			fr.text[i] = v.text
		}
	case aBool:
		if i := find(l.yes, f, false); i >= 0 {
			fr.yes[i] = v.number != 0
		}
	}
}

// values lists the values of a fact that matter: those it is compared with, and between,
// below and above numbers, any other text.
func (d *domain) values(f *field) []value {
	var list []value
	if f.optional {
		list = append(list, value{})
	}
	switch f.class {
	case aBool:
		list = append(list, value{known: true}, value{number: 1, known: true})
	case aNumber:
		for _, n := range around(append(slices.Clone(d.literal), d.numbers[f.path]...)) {
			list = append(list, value{number: n, known: true})
		}
	default:
		texts := slices.Clone(f.accepted)
		if texts == nil {
			// Any other text: one that other facts can have too, and one that none has.
			texts = append(append([]string{"\x00", "\x00" + f.path}, d.word...), d.words[f.path]...)
		}
		slices.Sort(texts)
		for _, text := range slices.Compact(texts) {
			list = append(list, value{text: text, known: true})
		}
	}
	return list
}

// around are numbers, and what lies between, below and above.
func around(numbers []float64) []float64 {
	all := append([]float64{0}, numbers...)
	slices.Sort(all)
	all = slices.Compact(all)
	out := []float64{all[0] - 1}
	for i, n := range all {
		if i > 0 {
			out = append(out, (all[i-1]+n)/2)
		}
		out = append(out, n)
	}
	return append(out, all[len(all)-1]+1)
}

// list is the axis of a list: empty, or with one element. More elements are not tried.
func (d *domain) list(at int) axis {
	l := d.set.layout.lists[at]
	var parts []axis
	elements := 1
	for _, c := range l.columns {
		if c.presence || !slices.Contains(d.reads, c.path) && c.path != l.path+"[]" {
			continue
		}
		values := d.values(c.field)
		elements *= len(values)
		parts = append(parts, axis{len(values), func(fr *frame, i int) {
			for _, other := range l.columns {
				switch {
				case other.field != c.field:
				case other.presence:
					fr.yesColumn[other.index] = []bool{values[i].known}
				case c.class == aNumber:
					fr.numberColumn[other.index] = []float64{values[i].number}
				case c.class == aText:
					fr.textColumn[other.index] = []string{values[i].text}
				default:
					fr.yesColumn[other.index] = []bool{values[i].number != 0}
				}
			}
		}})
	}
	return axis{1 + elements, func(fr *frame, i int) {
		fr.length[at] = min(i, 1)
		i = max(i-1, 0)
		for _, p := range parts {
			p.set(fr, i%p.cases)
			i /= p.cases
		}
		if fr.length[at] == 0 {
			for _, c := range l.columns {
				fr.empty(c)
			}
		}
	}}
}

func (fr *frame) empty(c column) {
	switch {
	case c.presence || c.class == aBool:
		fr.yesColumn[c.index] = nil
	case c.class == aNumber:
		fr.numberColumn[c.index] = nil
	default:
		fr.textColumn[c.index] = nil
	}
}

// carburetors is the axis of those carburetors that differ in what is read of them.
func (d *domain) carburetors(all []*catalog.Carburetor) axis {
	l := d.set.layout
	read := func(path string) bool { // or it is part of the elements of a list that is
		list, _, _ := strings.Cut(path, "[]")
		return ofCarburetor(path) && slices.Contains(d.reads, list)
	}
	var frames []*frame
	for _, c := range all {
		whole, part := l.newFrame(), l.newFrame()
		if l.load(whole, &Facts{Vehicle: &catalog.Vehicle{}, Carburetor: c, Calc: &Calc{}}) != nil {
			continue // which cannot be: all that it asks for is there
		}
		l.copyOf(part, whole, read)
		if !slices.ContainsFunc(frames, func(fr *frame) bool { return reflect.DeepEqual(fr, part) }) {
			frames = append(frames, part)
		}
	}
	for i, s := range l.number {
		if !ofCarburetor(s.path) || !slices.Contains(d.reads, s.path) {
			continue
		}
		for _, fr := range frames {
			d.literal = append(d.literal, fr.number[i])
		}
	}
	return axis{len(frames), func(fr *frame, i int) { l.copyOf(fr, frames[i], read) }}
}

// copyOf copies the facts whose path is chosen from one frame to another.
func (l *layout) copyOf(to, from *frame, chosen func(path string) bool) {
	for i, s := range l.number {
		if chosen(s.path) {
			to.number[i] = from.number[i]
		}
	}
	for i, s := range l.text {
		if chosen(s.path) {
			to.text[i] = from.text[i]
		}
	}
	for i, s := range l.yes {
		if chosen(s.path) {
			to.yes[i] = from.yes[i]
		}
	}
	for i, x := range l.lists {
		if !chosen(x.path) {
			continue
		}
		to.length[i] = from.length[i]
		for _, c := range x.columns {
			switch {
			case c.presence || c.class == aBool:
				to.yesColumn[c.index] = from.yesColumn[c.index]
			case c.class == aNumber:
				to.numberColumn[c.index] = from.numberColumn[c.index]
			default:
				to.textColumn[c.index] = from.textColumn[c.index]
			}
		}
	}
}
