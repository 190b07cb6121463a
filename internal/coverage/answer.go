package coverage

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"onetrip/internal/catalog"
	"onetrip/internal/kit"
	"onetrip/internal/units"
)

// Count is a number of kits, each a vehicle with a carburetor, and their weight.
type Count struct {
	Kits   int   `json:"kits"`
	Weight int64 `json:"weight"`
}

func (c *Count) add(n Count) {
	c.Kits += n.Kits
	c.Weight += n.Weight
}

// Share is a count and its part of all, by weight.
type Share struct {
	Count
	Share float64 `json:"share"`
}

// Verdicts shares kits out by verdict.
type Verdicts struct {
	All                  Count `json:"all"`
	Complete             Share `json:"complete"`
	CompleteWithWarnings Share `json:"complete_with_warnings"`
	Incomplete           Share `json:"incomplete"`
	OutOfStock           Share `json:"out_of_stock"` // of the incomplete those that lack stock alone
	Unsuitable           Share `json:"unsuitable"`
}

func (v *Verdicts) add(cell byte, n Count) {
	switch cell {
	case cellGone:
		return
	case cellComplete:
		v.Complete.add(n)
	case cellWarnings:
		v.CompleteWithWarnings.add(n)
	case cellShort:
		v.OutOfStock.add(n)
		v.Incomplete.add(n)
	case cellIncomplete:
		v.Incomplete.add(n)
	case cellUnsuitable:
		v.Unsuitable.add(n)
	}
	v.All.add(n)
}

// share works out the shares.
func (v *Verdicts) share() {
	for _, s := range []*Share{&v.Complete, &v.CompleteWithWarnings, &v.Incomplete, &v.OutOfStock, &v.Unsuitable} {
		if v.All.Weight > 0 {
			s.Share = math.Round(float64(s.Weight)/float64(v.All.Weight)*1e4) / 1e4
		}
	}
}

// Answered is the part of kits that are complete, with warnings or without.
func (v *Verdicts) Answered() float64 { return v.Complete.Share + v.CompleteWithWarnings.Share }

// Class is vehicles that get the same kit with every carburetor. Cells has a letter for
// each carburetor: C complete, W complete with warnings, S incomplete for want of stock
// alone, I incomplete, U unsuitable, - deleted meanwhile.
type Class struct {
	Vehicles []string `json:"vehicles"`
	Weight   int64    `json:"weight"`
	Cells    string   `json:"cells"`
	Verdicts Verdicts `json:"verdicts"`
}

// Carburetor is how far one carburetor can be supplied.
type Carburetor struct {
	SKU      string   `json:"sku"`
	Name     string   `json:"name"`
	Verdicts Verdicts `json:"verdicts"`
}

// Need counts the kits, but for unsuitable ones, that raise a need, and how it is met.
type Need struct {
	ID         string `json:"id"`
	Raised     Count  `json:"raised"`
	Filled     Count  `json:"filled"`
	InBox      Count  `json:"in_box"`
	OutOfStock Count  `json:"out_of_stock"`
	Missing    Count  `json:"missing"`
}

func (e *Need) add(status kit.Status, n Count) {
	switch status {
	case kit.Filled:
		e.Filled.add(n)
	case kit.InTheBox, kit.OnTheShelf:
		e.InBox.add(n)
	case kit.OutOfStock:
		e.OutOfStock.add(n)
	case kit.NotThere:
		e.Missing.add(n)
	case kit.Declined, kit.NotAsked, kit.NotNeeded:
		return
	}
	e.Raised.add(n)
}

func (e *Need) merge(o *Need) {
	e.Raised.add(o.Raised)
	e.Filled.add(o.Filled)
	e.InBox.add(o.InBox)
	e.OutOfStock.add(o.OutOfStock)
	e.Missing.add(o.Missing)
}

// Wanted is what an attribute of a part would have to be.
type Wanted struct {
	Attribute string `json:"attribute"`
	Wanted    string `json:"wanted"`
}

// Gap is a need and what nothing on sale, or in stock, is; with the kits that lack it.
type Gap struct {
	Need     string       `json:"need"`
	Severity kit.Severity `json:"severity"`
	Kind     catalog.Kind `json:"kind"`
	Cause    kit.Cause    `json:"cause"`
	Wanted   []Wanted     `json:"wanted"`
	From     string       `json:"from,omitempty"` // ends of a fitting
	To       string       `json:"to,omitempty"`
	SKUs     []string     `json:"skus,omitempty"` // not in stock, or discontinued
	Blocks   Count        `json:"blocks"`
	OnlyGap  Count        `json:"only_gap"` // of these the kits that lack nothing else
}

func gapOf(g *kit.Gap) Gap {
	out := Gap{Need: g.Need, Severity: g.Severity, Kind: g.Kind, Cause: g.Cause, Wanted: []Wanted{}, SKUs: slices.Clone(g.SKUs)}
	if g.From.Family != "" {
		out.From, out.To = g.From.String(), g.To.String()
	}
	for i := range g.Tests {
		out.Wanted = append(out.Wanted, Wanted{g.Tests[i].Attr, g.Tests[i].Rounded()})
	}
	slices.Sort(out.SKUs)
	return out
}

// key is the same for gaps that are one.
func (g *Gap) key() string {
	parts := []string{g.Need, string(g.Cause), g.From, g.To, strings.Join(g.SKUs, " ")}
	for _, w := range g.Wanted {
		parts = append(parts, w.Attribute+"="+w.Wanted)
	}
	return strings.Join(parts, "|")
}

// Part is a candidate for what to stock next.
type Part struct {
	SKU             string       `json:"sku,omitempty"` // none is made to measure
	Name            string       `json:"name"`
	Kind            catalog.Kind `json:"kind,omitempty"` // none of a bundle
	Wanted          string       `json:"wanted,omitempty"`
	Interchangeable []string     `json:"interchangeable,omitempty"` // further SKUs that complete the same kits
	Price           *units.Money `json:"price,omitempty"`
	OnHand          *int         `json:"on_hand,omitempty"`
	LeadTimeDays    int          `json:"lead_time_days,omitempty"`
	Completes       Count        `json:"completes"` // kits that are incomplete now
	key             string
}

// StockNext is what to stock next. Alone lists every part that by itself completes some
// kit; BestSet is chosen greedily, each part for what it completes beside those before.
type StockNext struct {
	Alone     []Part `json:"alone"`
	BestSet   []Part `json:"best_set"`
	Completes Count  `json:"completes"`           // by the best set
	AtMost    int64  `json:"at_most_weight"`      // no set of so many parts completes kits of more weight
	Asked     int    `json:"asked"`               // parts that the best set might have
	Stopped   string `json:"stopped,omitempty"`   // why it has fewer
	Completed Count  `json:"could_be_completed"`  // incomplete kits that some set of candidates could complete, at most
	Beyond    Count  `json:"beyond"`              // incomplete kits that no candidate helps
	LeftOut   int    `json:"candidates_left_out"` // parts made to measure that were not tried
	Unproven  int    `json:"kits_unproven"`       // kits for which a search stopped at its limit
}

// Revisions are the oldest and the newest of the catalogue that chunks of a report saw;
// one where the catalogue stayed as it was.
type Revisions struct {
	First int64 `json:"first"`
	Last  int64 `json:"last"`
}

// Answer is a finished report.
type Answer struct {
	Revisions     Revisions    `json:"catalogue_revisions"`
	Vehicles      int          `json:"vehicles"`
	Classes       int          `json:"vehicle_groups"`
	Gone          int          `json:"vehicles_deleted_meanwhile"`
	Resolved      int          `json:"kits_resolved"`
	SharingFactor float64      `json:"sharing_factor"`
	Verdicts      Verdicts     `json:"verdicts"`
	ByVehicle     []Class      `json:"by_vehicle_group"`
	ByCarburetor  []Carburetor `json:"by_carburetor"`
	ByNeed        []Need       `json:"by_need"`
	Gaps          []Gap        `json:"gaps"`
	StockNext     StockNext    `json:"stock_next"`
}

// Answer joins the results of all chunks once State is Done.
func (st *State) Answer(s *kit.Snapshot, scope *Scope, results []*Result) *Answer {
	out := &Answer{StockNext: st.StockNext, ByVehicle: []Class{}}
	out.Revisions = Revisions{st.First, st.Last}
	needs, gaps := tally[Need]{}, tally[Gap]{}
	columns := make([]Verdicts, len(scope.Carburetors))
	for _, r := range results {
		out.Gone += r.Sweep.Gone
		for _, c := range r.Sweep.Classes {
			for i := range c.Cells {
				n := Count{Kits: len(c.Vehicles), Weight: c.Weight}
				c.Verdicts.add(c.Cells[i], n)
				columns[i].add(c.Cells[i], n)
				out.Verdicts.add(c.Cells[i], n)
				if c.Cells[i] != cellGone {
					out.Resolved++
				}
			}
			c.Verdicts.share()
			out.Vehicles += len(c.Vehicles)
			out.ByVehicle = append(out.ByVehicle, c)
		}
		for i := range r.Sweep.Needs {
			n := &r.Sweep.Needs[i]
			needs.at(n.ID, func() Need { return Need{ID: n.ID} }).merge(n)
		}
		for _, g := range r.Sweep.Gaps {
			entry := gaps.at(g.key(), func() Gap { fresh := g; fresh.Blocks, fresh.OnlyGap = Count{}, Count{}; return fresh })
			entry.Blocks.add(g.Blocks)
			entry.OnlyGap.add(g.OnlyGap)
		}
	}
	out.Classes = len(out.ByVehicle)
	out.Verdicts.share()
	if out.Resolved > 0 {
		out.SharingFactor = math.Round(float64(out.Verdicts.All.Kits)/float64(out.Resolved)*1e4) / 1e4
	}
	for i, sku := range scope.Carburetors {
		c := Carburetor{SKU: sku, Name: sku, Verdicts: columns[i]}
		if o := s.Catalog.Offer(sku); o != nil {
			c.Name = o.Name
		}
		c.Verdicts.share()
		out.ByCarburetor = append(out.ByCarburetor, c)
	}
	out.ByNeed, out.Gaps = needs.list(), gaps.list()
	slices.SortStableFunc(out.Gaps, func(a, b Gap) int {
		return cmp.Or(cmp.Compare(b.Blocks.Weight, a.Blocks.Weight), cmp.Compare(b.Blocks.Kits, a.Blocks.Kits))
	})
	return out
}
