package fit

import (
	"slices"

	"onetrip/internal/catalog"
	"onetrip/internal/units"
)

// Network is what the fuel parts of a catalogue can join, whatever they cost and
// whatever rules allow. It is built once and shared.
type Network struct {
	fittings            []*catalog.Form
	ends                map[catalog.End]int32 // of fittings, numbered
	runs                map[endPair][]run
	filters, regulators []networkGate
	bores               []networkBore
	static              []bool                      // by end: it enters or leaves a filter, a regulator or a hose
	through             map[*catalog.Form][]endPair // by fitting that a bundle holds: the runs it is in
}

// FuelForms are the forms of a catalogue that a fuel path is made of.
type FuelForms struct{ Fittings, Filters, Regulators, Hoses, Clamps []*catalog.Form }

// endPair are numbers of ends.
type endPair struct{ in, out int32 }

// run is one fitting, or two that mate, with the ends between them.
type run struct {
	first, second int32          // fittings, second -1 for a single one
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
	forms   []*catalog.Form
}

type networkBore struct {
	end           open
	hoses, clamps []*catalog.Form
}

// NewNetwork indexes fittings by the ends they lead from and to, single ones before
// pairs, filters and regulators by their ends, hoses and clamps by bore.
func NewNetwork(forms FuelForms) *Network {
	x := &Network{ends: map[catalog.End]int32{}, runs: map[endPair][]run{}, through: map[*catalog.Form][]endPair{}}
	x.joinFittings(forms.Fittings)
	x.static = make([]bool, len(x.ends))
	x.filters, x.regulators = x.gates(forms.Filters), x.gates(forms.Regulators)
	x.findBores(forms.Hoses, forms.Clamps)
	for pair, runs := range x.runs {
		for _, r := range runs {
			x.note(r.first, pair)
			if r.second >= 0 {
				x.note(r.second, pair)
			}
		}
	}
	return x
}

func (x *Network) joinFittings(forms []*catalog.Form) {
	type turned struct {
		form    int32
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
	for _, f := range forms {
		if len(f.Ends) != 2 {
			continue
		}
		i, a, b := int32(len(x.fittings)), f.Ends[0], f.Ends[1]
		x.fittings = append(x.fittings, f)
		ways := []turned{{i, a, b, endPair{number(a), number(b)}}, {i, b, a, endPair{number(b), number(a)}}}
		if a == b {
			ways = ways[:1]
		}
		for _, t := range ways {
			all = append(all, t)
			entering[t.in] = append(entering[t.in], t)
			x.runs[t.endPair] = append(x.runs[t.endPair], run{first: i, second: -1})
		}
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
			pair := endPair{first.endPair.in, second.endPair.out}
			x.runs[pair] = append(x.runs[pair], run{first.form, second.form, [2]catalog.End{first.out, second.in}})
		}
	}
}

// gates sorts forms by the ends fuel enters and leaves by.
func (x *Network) gates(forms []*catalog.Form) (out []networkGate) {
	for _, f := range forms {
		if len(f.Ends) != 2 {
			continue
		}
		i := slices.IndexFunc(out, func(g networkGate) bool { return g.in.end == f.Ends[0] && g.out.end == f.Ends[1] })
		if i < 0 {
			i = len(out)
			out = append(out, networkGate{in: x.fixed(f.Ends[0]), out: x.fixed(f.Ends[1])})
		}
		out[i].forms = append(out[i].forms, f)
	}
	return out
}

func (x *Network) findBores(hoses, clamps []*catalog.Form) {
	at := map[units.Size]int{}
	hoses = slices.Clone(hoses)
	slices.SortStableFunc(hoses, func(a, b *catalog.Form) int { return a.Ends[0].Size.Compare(b.Ends[0].Size) })
	for _, f := range hoses {
		bore := f.Ends[0].Size
		i, known := at[bore]
		if !known {
			i = len(x.bores)
			at[bore] = i
			x.bores = append(x.bores, networkBore{end: x.fixed(hoseEnd(bore))})
		}
		x.bores[i].hoses = append(x.bores[i].hoses, f)
	}
	for _, f := range clamps {
		for i := range x.bores {
			if f.Num("hose_in") == x.bores[i].end.end.Size.Inches() {
				x.bores[i].clamps = append(x.bores[i].clamps, f)
			}
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

// note remembers that a fitting which a bundle holds is in a run.
func (x *Network) note(fitting int32, pair endPair) {
	f := x.fittings[fitting]
	if slices.ContainsFunc(f.Parts(), (*catalog.Part).Bundled) && !slices.Contains(x.through[f], pair) {
		x.through[f] = append(x.through[f], pair)
	}
}

// Serves reports whether a fitting that a bundle holds can be in some path from one end
// to another: in a run between two of these and the ends of filters, regulators and
// hoses.
func (x *Network) Serves(f *catalog.Form, from, to catalog.End) bool {
	a, b := x.open(from).number, x.open(to).number
	return slices.ContainsFunc(x.through[f], func(p endPair) bool {
		return (x.static[p.in] || p.in == a || p.in == b) && (x.static[p.out] || p.out == a || p.out == b)
	})
}
