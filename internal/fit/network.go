package fit

import (
	"slices"

	"onetrip/internal/catalog"
	"onetrip/internal/units"
)

// Network is what the fuel parts of a catalogue can join, whatever they cost and
// whatever rules allow. It is built once and shared.
type Network struct {
	classes             []class
	fittings            []int32               // their classes, one for each pair of ends
	ends                map[catalog.End]int32 // of fittings, numbered
	runs                [][]run               // see between
	filters, regulators []networkGate
	bores               []networkBore
	static              []bool      // by end: it enters or leaves a filter, a regulator or a hose
	through             [][]endPair // by class: the runs it is in, of fittings
	of                  map[*catalog.Form]filed
	grades              []*catalog.Form // by grade, one form of it
}

// filed is the class and the grade of a form.
type filed struct{ class, grade int32 }

// Grades tells forms apart as rules do. Forms of a kind that are of one Grade they accept
// alike, and a form that is AsGood as another of its kind they accept whenever they accept
// that.
type Grades interface {
	Grade(*catalog.Form) string
	AsGood(f, as *catalog.Form) bool
}

// A class is forms that join the same.
type class struct {
	forms []*catalog.Form
	*catalog.Bucket
	rowing catalog.Rowing
	rows   []gradedRow // of the bucket
	tied   []int32     // grades of the forms with tied parts
}

// pipeThread reports whether the class has an end with pipe thread.
func (c *class) pipeThread() bool {
	return len(c.forms) > 0 && slices.ContainsFunc(c.forms[0].Ends, func(e catalog.End) bool { return e.Family == catalog.NPT })
}

// A gradedRow is a row with the grades of its parts, and apart those parts that rules may
// accept when they refuse all before them: the others need no look until one is accepted.
type gradedRow struct {
	catalog.Row
	leastMinor int64 // price of the first part
	grades     []int32
	first      []firstPart
}

// firstPart is a part of a row, by its place in it.
type firstPart struct {
	priceMinor int64
	at, grade  int32
}

// grade makes a row with grades.
func (x *Network) grade(r catalog.Row, by Grades) gradedRow {
	row := gradedRow{Row: r, leastMinor: r.Parts[0].PriceMinor, grades: make([]int32, len(r.Parts))}
	for i := range r.Parts {
		p := &r.Parts[i]
		grade := x.of[p.Form].grade
		row.grades[i] = grade
		if !slices.ContainsFunc(row.first, func(o firstPart) bool { return o.grade == grade || by.AsGood(x.grades[o.grade], p.Form) }) {
			row.first = append(row.first, firstPart{p.PriceMinor, int32(i), grade})
		}
	}
	row.first = slices.Clip(row.first)
	return row
}

// class makes an empty class.
func (x *Network) class() int32 {
	x.classes = append(x.classes, class{})
	return int32(len(x.classes) - 1)
}

// file adds a form to a class.
func (x *Network) file(f *catalog.Form, to int32) {
	x.of[f] = filed{class: to}
	x.classes[to].forms = append(x.classes[to].forms, f)
}

// FuelForms are the forms of a catalogue that a fuel path is made of.
type FuelForms struct{ Fittings, Filters, Regulators, Hoses, Clamps []*catalog.Form }

// endPair are numbers of ends.
type endPair struct{ in, out int32 }

// run is one fitting, or two that mate, with the ends between them.
type run struct {
	first, second int32          // classes of fittings, second -1 for a single one
	mid           [2]catalog.End // where the first ends and the second begins
}

// open is an end that something is to join: number is that of the end of a fitting that
// would, -1 when no fitting of the network has it; joins is false when none ever can.
type open struct {
	end    catalog.End
	joins  bool
	number int32
}

type networkGate struct {
	in, out open
	class   int32
}

type networkBore struct {
	end           open
	hoses, clamps int32 // classes
}

// NewNetwork indexes fittings by the ends they lead from and to, single ones before
// pairs, filters and regulators by their ends, hoses and clamps by bore.
func NewNetwork(forms FuelForms, by Grades) *Network {
	x := &Network{ends: map[catalog.End]int32{}, of: map[*catalog.Form]filed{}}
	x.joinFittings(forms.Fittings)
	x.static = make([]bool, len(x.ends))
	x.filters, x.regulators = x.gates(forms.Filters), x.gates(forms.Regulators)
	x.findBores(forms.Hoses, forms.Clamps)
	known := map[string]int32{}
	for i := range x.classes {
		c := &x.classes[i]
		for _, f := range c.forms {
			key := by.Grade(f)
			if _, old := known[key]; !old {
				known[key] = int32(len(x.grades))
				x.grades = append(x.grades, f)
			}
			at := x.of[f]
			at.grade = known[key]
			x.of[f] = at
			if slices.ContainsFunc(f.Parts(), func(p *catalog.Part) bool { return p.Tied() && !p.Discontinued }) {
				c.tied = append(c.tied, at.grade)
			}
		}
		c.Bucket = catalog.NewBucket(c.forms, c.rowing)
		for _, r := range c.Rows {
			c.rows = append(c.rows, x.grade(r, by))
		}
		c.forms = slices.SortedStableFunc(slices.Values(c.forms), (*catalog.Form).ComparePrice)
	}
	x.through = make([][]endPair, len(x.classes))
	note := func(class int32, pair endPair) {
		if class >= 0 && !slices.Contains(x.through[class], pair) {
			x.through[class] = append(x.through[class], pair)
		}
	}
	for in := range int32(len(x.ends)) {
		for out := range int32(len(x.ends)) {
			pair := endPair{in, out}
			for _, r := range *x.between(pair) {
				note(r.first, pair)
				note(r.second, pair)
			}
		}
	}
	return x
}

func (x *Network) joinFittings(forms []*catalog.Form) {
	type turned struct {
		class   int32
		in, out catalog.End
		endPair
	}
	number := func(e catalog.End) int32 {
		n, known := x.ends[e]
		if !known {
			n = int32(len(x.ends))
			x.ends[e] = n
		}
		return n
	}
	var all []turned
	entering := map[catalog.End][]turned{}
	known := map[endPair]int32{}
	for _, f := range forms {
		if len(f.Ends) != 2 {
			continue
		}
		a, b := f.Ends[0], f.Ends[1]
		to, back := endPair{number(a), number(b)}, endPair{number(b), number(a)}
		i, old := known[to]
		if !old {
			i = x.class()
			known[to], known[back] = i, i
			x.fittings = append(x.fittings, i)
			ways := []turned{{i, a, b, to}, {i, b, a, back}}
			if a == b {
				ways = ways[:1]
			}
			for _, t := range ways {
				all = append(all, t)
				entering[t.in] = append(entering[t.in], t)
			}
		}
		x.file(f, i)
	}
	x.runs = make([][]run, len(x.ends)*len(x.ends))
	for _, t := range all {
		runs := x.between(t.endPair)
		*runs = append(*runs, run{first: t.class, second: -1})
	}
	for _, first := range all {
		mate, ok := first.out.Mate()
		if !ok {
			continue
		}
		for _, second := range entering[mate] {
			if first.in == second.out {
				continue
			}
			runs := x.between(endPair{first.endPair.in, second.endPair.out})
			*runs = append(*runs, run{first.class, second.class, [2]catalog.End{first.out, second.in}})
		}
	}
}

// between are the runs that fuel enters by one end and leaves by another.
func (x *Network) between(p endPair) *[]run { return &x.runs[int(p.in)*len(x.ends)+int(p.out)] }

// gates sorts forms by the ends fuel enters and leaves by.
func (x *Network) gates(forms []*catalog.Form) (out []networkGate) {
	for _, f := range forms {
		if len(f.Ends) != 2 {
			continue
		}
		i := slices.IndexFunc(out, func(g networkGate) bool { return g.in.end == f.Ends[0] && g.out.end == f.Ends[1] })
		if i < 0 {
			i = len(out)
			out = append(out, networkGate{in: x.fixed(f.Ends[0]), out: x.fixed(f.Ends[1]), class: x.class()})
			x.classes[out[i].class].rowing = catalog.OnePiece
		}
		x.file(f, out[i].class)
	}
	return out
}

func (x *Network) findBores(hoses, clamps []*catalog.Form) {
	at := map[units.Size]int{}
	var sizes []units.Size
	for _, f := range hoses {
		if bore := f.Ends[0].Size; !slices.Contains(sizes, bore) {
			sizes = append(sizes, bore)
		}
	}
	slices.SortFunc(sizes, units.Size.Compare)
	for i, bore := range sizes {
		at[bore] = i
		x.bores = append(x.bores, networkBore{x.fixed(hoseEnd(bore)), x.class(), x.class()})
		x.classes[x.bores[i].hoses].rowing = catalog.ByLength
	}
	for _, f := range hoses {
		x.file(f, x.bores[at[f.Ends[0].Size]].hoses)
	}
	for _, f := range clamps {
		if i := slices.IndexFunc(sizes, func(bore units.Size) bool { return f.Num("hose_in") == bore.Inches() }); i >= 0 {
			x.file(f, x.bores[i].clamps)
		}
	}
}

func hoseEnd(bore units.Size) catalog.End { return catalog.End{Family: catalog.Hose, Size: bore} }

// fixed is an open end of every path's parts.
func (x *Network) fixed(e catalog.End) open {
	o := x.open(e)
	if o.number >= 0 {
		x.static[o.number] = true
	}
	return o
}

func (x *Network) open(e catalog.End) open {
	joint, ok := entering(e)
	if !ok {
		return open{end: e, number: -1}
	}
	if n, known := x.ends[joint]; known {
		return open{e, true, n}
	}
	return open{e, true, -1}
}

// entering is the end of a fitting that joins an open end.
func entering(open catalog.End) (catalog.End, bool) {
	if open.Family == catalog.Hose {
		return catalog.End{Family: catalog.HoseBarb, Size: open.Size}, true
	}
	return open.Mate()
}

// Serves reports whether a fitting can be in some path from one end to another: in a run
// between two of these and the ends of filters, regulators and hoses.
func (x *Network) Serves(f *catalog.Form, from, to catalog.End) bool {
	a, b := x.open(from).number, x.open(to).number
	at, known := x.of[f]
	return known && slices.ContainsFunc(x.through[at.class], func(p endPair) bool {
		return (x.static[p.in] || p.in == a || p.in == b) && (x.static[p.out] || p.out == a || p.out == b)
	})
}

// Alike are the parts that join what a form does, nil for a form that no path takes.
func (x *Network) Alike(f *catalog.Form) *catalog.Bucket {
	if at, known := x.of[f]; known {
		return x.classes[at.class].Bucket
	}
	return nil
}

// EachAlike visits the forms of a kind, together those that join the same ends, cheapest
// first.
func (x *Network) EachAlike(k catalog.Kind, visit func([]*catalog.Form)) {
	for i := range x.classes {
		if forms := x.classes[i].forms; len(forms) > 0 && forms[0].Kind == k {
			visit(forms)
		}
	}
}
