package kit

import (
	"maps"
	"slices"
	"strings"
	"sync"

	"onetrip/internal/catalog"
	"onetrip/internal/fit"
	"onetrip/internal/rules"
)

// Snapshot is the catalogue and its rules at one revision, bound together: each
// rule has the index that answers its equality tests.
type Snapshot struct {
	Catalog *catalog.Snapshot
	Rules   *rules.Set

	indexes     map[*rules.Rule]*catalog.Index
	adapters    *catalog.Index // by carburetor_flange, manifold_flange
	gaskets     *catalog.Index // base gaskets, by flange
	gasketPacks *catalog.Index // the same, for a search that may take several of one
	network     *fit.Network
	requirers   []*catalog.Part
	dominance   *dominance
	inStock     []func() worthwhile              // see worthByStock
	byPrice     map[catalog.Kind][]*catalog.Form // forms of the kinds that rules ask for, cheapest first
	wireGauges  []int                            // AWG of every choke wire in the catalogue
	steps       func() map[kindAttr][]float64    // for sweeps; see stepsOf
}

// NewSnapshot binds rules to a catalogue.
func NewSnapshot(cat *catalog.Snapshot, set *rules.Set) *Snapshot {
	s := &Snapshot{Catalog: cat, Rules: set, indexes: map[*rules.Rule]*catalog.Index{}, byPrice: map[catalog.Kind][]*catalog.Form{}}
	s.bind(func(catalog.Kind) bool { return true })
	s.requirers, s.dominance = requirers(cat), newDominance(s)
	s.inStock = s.worthByStock()
	return s
}

// bind builds the indexes of the kinds that changed says.
func (s *Snapshot) bind(changed func(catalog.Kind) bool) {
	cat := s.Catalog
	s.steps = sync.OnceValue(func() map[kindAttr][]float64 { return stepsOf(cat) })
	s.adapters = cat.Index("adapter_plate", []string{"carburetor_flange", "manifold_flange"}, catalog.Laddering{})
	if slices.ContainsFunc(fuelKinds, changed) {
		s.network = fit.NewNetwork(fit.FuelForms{
			Fittings: cat.Forms("fuel_fitting"), Filters: cat.Forms("fuel_filter"), Regulators: cat.Forms("pressure_regulator"),
			Hoses: cat.Forms("fuel_hose"), Clamps: cat.Forms("hose_clamp"),
		}, s.Rules.Grades(fuelKinds...))
	}
	if kind, known := s.Rules.NeedKind("mount.base_gasket"); known && changed(kind) {
		s.gaskets = cat.Index(kind, []string{"flange"}, catalog.Laddering{})
		s.gasketPacks = cat.Index(kind, []string{"flange"}, catalog.Laddering{Packs: true})
	}
	shared, byPrice := map[string]*catalog.Index{}, maps.Clone(s.byPrice)
	maps.DeleteFunc(byPrice, func(k catalog.Kind, _ []*catalog.Form) bool { return changed(k) })
	for _, r := range s.Rules.Rules() {
		if r.Kind == "" || !changed(r.Kind) {
			continue
		}
		if byPrice[r.Kind] == nil {
			byPrice[r.Kind] = slices.SortedStableFunc(slices.Values(cat.Forms(r.Kind)), (*catalog.Form).ComparePrice)
		}
		attrs := r.EqualityAttrs()
		key := string(r.Kind) + " " + strings.Join(attrs, " ") + " " + r.LeastAttr()
		if shared[key] == nil {
			shared[key] = cat.Index(r.Kind, attrs, catalog.Laddering{Least: r.LeastAttr(), AsGood: s.Rules.Grades(r.Kind).AsGood})
		}
		s.indexes[r] = shared[key]
	}
	s.byPrice, s.wireGauges = byPrice, nil
	for _, f := range cat.Forms("choke_wire") {
		if awg := int(f.Num("awg")); !slices.Contains(s.wireGauges, awg) {
			s.wireGauges = append(s.wireGauges, awg)
		}
	}
	slices.Sort(s.wireGauges)
}

// fuelKinds are the kinds of parts between supply line and inlet.
var fuelKinds = []catalog.Kind{"fuel_fitting", "fuel_filter", "pressure_regulator", "fuel_hose", "hose_clamp"}

// WithPlenty is the snapshot as if all it sells were in stock.
func (s *Snapshot) WithPlenty() *Snapshot {
	next := *s
	next.Catalog = s.Catalog.WithPlenty()
	next.inStock = next.worthByStock()
	return &next
}

// WithParts is the snapshot as if it sold further parts; see catalog.Snapshot.WithParts.
func (s *Snapshot) WithParts(parts []*catalog.Part) *Snapshot {
	next := *s
	next.Catalog = s.Catalog.WithParts(parts)
	next.indexes = maps.Clone(s.indexes)
	next.bind(func(k catalog.Kind) bool {
		return slices.ContainsFunc(parts, func(p *catalog.Part) bool { return p.Kind == k })
	})
	return &next
}

// Open reads, indexes and binds a whole catalogue.
func Open(d *catalog.Data) (*Snapshot, error) {
	set, err := rules.Parse(d.RuleFiles)
	if err != nil {
		return nil, err
	}
	cat, err := catalog.NewSnapshot(d)
	if err != nil {
		return nil, err
	}
	return NewSnapshot(cat, set), nil
}

// WithStock is the snapshot with other stock levels; rules and indexes are shared.
func (s *Snapshot) WithStock(revision int64, levels []catalog.Stock) (*Snapshot, error) {
	cat, err := s.Catalog.WithStock(revision, levels)
	if err != nil {
		return nil, err
	}
	next := *s
	next.Catalog = cat
	next.inStock = next.worthByStock()
	return &next, nil
}
