package kit

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"onetrip/internal/catalog"
	"onetrip/internal/fit"
	"onetrip/internal/pick"
	"onetrip/internal/rules"
	"onetrip/internal/units"
)

// answer writes the kit from a selection.
func (j *job) answer(sel *selection, others []Alternative) *Kit {
	k := &Kit{
		CatalogueRevision: j.s.Catalog.Revision,
		Vehicle:           j.vehicle,
		Carburetor:        j.carburetor,
		Lines:             j.lines(sel),
		FuelPath:          []PathStep{},
		VacuumPorts:       portUses(j.vacuum),
		Stack:             []StackItem{},
		Alternatives:      others,
		Proof:             sel.proof(j.s.Catalog.Currency),
	}
	if path := sel.path(); path != nil {
		k.FuelPath = pathSteps(path)
	}
	if stack := sel.stack(); stack != nil {
		k.Stack = stackItems(stack)
	}
	k.Needs = j.needs(sel, k.Lines)
	k.Missing = j.missing(j.lacks(sel, k.Needs, k.Lines))
	k.Checks = j.checks(sel)
	k.Settings = j.settings(sel, k.Checks)
	k.Tools = j.tools(sel)
	k.Cautions = j.cautions(k.Checks)
	k.Questions = j.questions()
	k.Totals = totals(k.Lines, k.Needs, j.s.Catalog.Currency)
	k.Verdict, k.VerdictReasons = j.verdict(k)
	return k
}

// path is the fuel path chosen, nil when there is none.
func (sel *selection) path() *fit.PathOption {
	for _, o := range sel.chosen {
		if o.path != nil {
			return o.path
		}
	}
	return nil
}

// stack is the mounting stack chosen, nil when there is none.
func (sel *selection) stack() *fit.StackOption {
	for _, o := range sel.chosen {
		if o.stack != nil {
			return o.stack
		}
	}
	return nil
}

// part is the first part chosen for a need, nil when none is.
func (sel *selection) part(need string) *catalog.Part {
	for _, o := range sel.chosen {
		for _, u := range o.uses {
			if u.Need == need && real(u.Part) {
				return u.Part
			}
		}
	}
	return nil
}

// lines are the purchases with what each is for.
func (j *job) lines(sel *selection) []Line {
	lines := make([]Line, len(sel.buys))
	serving := j.serving(sel)
	fills := make([]string, 0, len(serving)) // of all lines: hardly a part serves two needs
	elsewhere := make([]catalog.StockLevel, 0, len(lines)*len(j.s.Catalog.Locations))
	for i := range sel.buys {
		b, l := &sel.buys[i], &lines[i]
		*l = Line{
			SKU: b.offer.SKU, Name: b.offer.Name, Finish: b.offer.Finish, Quantity: b.packs,
			UnitPrice: b.offer.Price, Amount: b.offer.Price.Times(b.packs),
		}
		l.Stock, elsewhere = lineStock(j.s.Catalog, b.offer, b.packs, j.aim.location, elsewhere)
		if b.bundle != nil {
			l.Contents = b.bundle.Contents
		}
		from := len(fills)
		fills = b.fills(fills, serving)
		l.Fills = fills[from:len(fills):len(fills)]
	}
	return lines
}

// serving are the needs that the parts of a selection serve; the list is good until the next.
func (j *job) serving(sel *selection) []served {
	serving := j.scratch.serving[:0]
	for _, o := range sel.chosen {
		for n := range o.uses {
			u := &o.uses[n]
			if !real(u.Part) {
				continue
			}
			serving = append(serving, served{u.Part, u.Need})
			for _, p := range j.bringsAlong(o.uses[n : n+1]) { // a part that another one requires serves what that one serves
				serving = append(serving, served{p, u.Need})
			}
		}
	}
	j.scratch.serving = serving
	return serving
}

// fills adds the needs that a purchase serves to a list, in their order.
func (b *buy) fills(list []string, serving []served) []string {
	from := len(list)
	for _, s := range serving {
		if b.holds(s.part) && !slices.Contains(list[from:], s.need) {
			list = append(list, s.need)
		}
	}
	slices.Sort(list[from:])
	return list
}

// served is a need that a part serves.
type served struct {
	part *catalog.Part
	need string
}

func (b *buy) holds(p *catalog.Part) bool {
	if b.bundle == nil {
		return b.part == p
	}
	return slices.Contains(p.Bundles(), b.bundle)
}

// lineStock tells the stock of so many packs at a location; levels elsewhere are added to
// those of all lines.
func lineStock(cat *catalog.Snapshot, o *catalog.Offer, packs, location int, elsewhere []catalog.StockLevel) (LineStock, []catalog.StockLevel) {
	from := len(elsewhere)
	l := LineStock{OnHand: cat.OnHand(o, location), LeadTimeDays: o.LeadTimeDays}
	l.Enough = l.OnHand >= packs
	for i, at := range cat.Locations {
		switch n := cat.OnHand(o, i); {
		case i == location:
			l.Location = at.ID
		case n > 0:
			elsewhere = append(elsewhere, catalog.StockLevel{Location: at.ID, OnHand: n})
		}
	}
	l.Elsewhere = elsewhere[from:len(elsewhere):len(elsewhere)]
	return l, elsewhere
}

// needs are the demands by need id, each with how it is met.
func (j *job) needs(sel *selection, lines []Line) []Need {
	out := make([]Need, 0, len(j.demands))
	for _, d := range j.demands {
		d.chosen = nil
	}
	for g := range sel.groups {
		for _, d := range sel.groups[g].demands {
			d.chosen = sel.chosen[g]
		}
	}
	var free []ownedUnits
	if len(j.holdings) > 0 {
		free = slices.Clone(sel.free)
	}
	for _, d := range j.demands {
		status, quantity := j.status(sel, d, lines)
		if status == NotNeeded && !j.request.Preferences.ShowAll {
			continue
		}
		atHand := j.atHand(sel, d, quantity, free)
		unit := "each"
		if d.spec.ByLength {
			unit = "inch"
		}
		if n := len(out); n > 0 && out[n-1].ID == d.need {
			last := &out[n-1]
			last.Quantity += quantity
			last.AtHand = append(last.AtHand, atHand...)
			if status.rank() < last.Status.rank() {
				last.Status = status
			}
			last.Level = cmpLevel(last.Level, d.level)
			for _, b := range d.because {
				if !slices.Contains(last.Because, b) {
					last.Because = append(last.Because, b)
				}
			}
			continue
		}
		out = append(out, Need{ID: d.need, Level: d.level, Status: status, Quantity: quantity, Unit: unit, Because: slices.Clip(d.because), AtHand: atHand})
	}
	skus := make([]string, 0, 2*len(lines)) // of all needs
	for i := range out {
		from := len(skus)
		for l := range lines {
			if slices.Contains(lines[l].Fills, out[i].ID) {
				skus = append(skus, lines[l].SKU)
			}
		}
		out[i].Lines = skus[from:len(skus):len(skus)]
	}
	return out
}

var statuses = []Status{NotThere, OutOfStock, Declined, NotAsked, Filled, OnTheShelf, InTheBox, NotNeeded}

// rank orders statuses: of several sizes of one need the worst is told.
func (s Status) rank() int { return slices.Index(statuses, s) }

// leftOut reports whether nobody wants a need met.
func (s Status) leftOut() bool { return s == Declined || s == NotAsked }

var leftOutWords = map[Status]string{Declined: "left out as asked", NotAsked: "not asked for"}

func cmpLevel(a, b Level) Level {
	if b.rank() < a.rank() {
		return b
	}
	return a
}

// status tells how a demand is met and how much of it there is.
func (j *job) status(sel *selection, d *demand, lines []Line) (Status, float64) {
	if d.status != "" {
		return d.status, d.quantity
	}
	units, bought, boxed, missing, used := 0, false, false, false, false
	if d.chosen != nil {
		for _, u := range d.chosen.uses {
			if u.Need != d.need {
				continue
			}
			used = true
			units += u.Units
			switch {
			case u.Part == nil:
			case nobodySells(u.Part):
				missing = true
			case u.Part.SKU == "":
			case len(j.goneOf(sel, d)) > 0:
				missing = true
			case sel.bought(u.Part):
				bought = true
			default:
				boxed = boxed || sel.boxed(u.Part)
			}
		}
	}
	quantity := d.quantity
	if d.byFit {
		quantity = float64(units)
	}
	switch {
	case !used:
		return NotNeeded, 0
	case missing:
		return NotThere, quantity
	case bought:
		for i := range lines {
			if l := &lines[i]; !l.Stock.Enough && slices.Contains(l.Fills, d.need) {
				return OutOfStock, quantity
			}
		}
		return Filled, quantity
	case boxed || d.boxed > 0:
		return InTheBox, quantity
	}
	return OnTheShelf, quantity
}

// atHand is how much of a demand's quantity the box and the shelf give, in the need's unit:
// what is had by need, and of what is had by SKU as much as is used and left; free is that.
func (j *job) atHand(sel *selection, d *demand, quantity float64, free []ownedUnits) (out []AtHand) {
	add := func(from Place, sku string, n float64) {
		if n > 0 {
			out = append(out, AtHand{from, sku, n})
		}
	}
	if d.status.leftOut() {
		return nil
	}
	boxed := min(d.boxed, quantity)
	if !d.byFit || d.status != "" {
		add(Box, "", boxed)
		add(Shelf, "", min(d.owned, quantity-boxed))
	}
	if d.status != "" || d.chosen == nil {
		return out
	}
	for i := range d.chosen.uses {
		switch u := &d.chosen.uses[i]; {
		case u.Need != d.need || u.Part != nil && nobodySells(u.Part):
		case !real(u.Part):
			box := min(float64(u.Units), d.boxed)
			add(Box, "", box)
			add(Shelf, "", min(float64(u.Units)-box, d.owned))
		default:
			n := slices.Index(sel.parts, u.Part)
			if n < 0 || free == nil {
				continue
			}
			box := min(u.Units, free[n].boxed)
			shelf := min(u.Units-box, free[n].onHand)
			free[n].boxed -= box
			free[n].onHand -= shelf
			wanted := quantity // less than the whole lengths that hose and wire come in
			if d.byFit {
				wanted = float64(u.Units)
			}
			add(Box, u.Part.SKU, min(float64(box), wanted))
			add(Shelf, u.Part.SKU, min(float64(shelf), wanted))
		}
	}
	return out
}

// goneOf lists the parts that a demand still wants, or that come along with what meets it, and
// that nobody sells any more.
func (j *job) goneOf(sel *selection, d *demand) (gone []goneFor) {
	if len(sel.gone) == 0 || d.chosen == nil {
		return nil
	}
	find := func(p, requirer *catalog.Part) {
		if slices.Contains(sel.gone, p) && !slices.ContainsFunc(gone, func(g goneFor) bool { return g.Part == p }) {
			gone = append(gone, goneFor{p, requirer})
		}
	}
	for i, u := range d.chosen.uses {
		if u.Need != d.need || !real(u.Part) {
			continue
		}
		find(u.Part, nil)
		for _, p := range append(j.bringsAlong(d.chosen.uses[i:i+1]), u.Part) {
			for _, sku := range p.Requires {
				find(j.asRequired(sku), p)
			}
		}
	}
	return gone
}

// goneFor is a part that nobody sells any more, with the one that requires it, nil when it
// was to serve itself.
type goneFor struct {
	*catalog.Part
	requirer *catalog.Part
}

func (g *goneFor) text() string {
	if g.requirer != nil {
		return fmt.Sprintf("%s, which %s requires, is discontinued, and no part on sale takes its place; find one elsewhere and give it as on hand.", g.SKU, g.requirer.SKU)
	}
	return fmt.Sprintf("%s is discontinued, there are fewer at hand than it takes, and no part on sale takes its place; find more elsewhere and give them as on hand.", g.SKU)
}

// bought reports whether some of a part comes from a line.
func (sel *selection) bought(p *catalog.Part) bool {
	for i := range sel.buys {
		if sel.buys[i].holds(p) {
			return true
		}
	}
	return false
}

// boxed reports whether a part that is not bought is in the carburetor's box.
func (sel *selection) boxed(p *catalog.Part) bool {
	n := slices.Index(sel.parts, p)
	return n >= 0 && sel.free[n].boxed > 0
}

func totals(lines []Line, needs []Need, currency string) Totals {
	zero := units.Money{Currency: currency}
	t := Totals{Required: zero, Recommended: zero, Optional: zero, All: zero}
	for i := range lines {
		l := &lines[i]
		best := Optional
		for _, need := range l.Fills {
			best = cmpLevel(best, levelOf(needs, need))
		}
		t.All = t.All.Plus(l.Amount)
		switch best {
		case Required:
			t.Required = t.Required.Plus(l.Amount)
		case Recommended:
			t.Recommended = t.Recommended.Plus(l.Amount)
		case Optional:
			t.Optional = t.Optional.Plus(l.Amount)
		}
	}
	return t
}

// levelOf is the level of a need, "" when it is not listed.
func levelOf(needs []Need, id string) Level {
	for i := range needs {
		if needs[i].ID == id {
			return needs[i].Level
		}
	}
	return ""
}

func portUses(p fit.VacuumPlan) []PortUse {
	out := make([]PortUse, len(p.Ports))
	for i, u := range p.Ports {
		out[i] = PortUse{Port: u.Port.ID, Location: u.Port.Location, Signal: u.Port.Signal, Use: u.Use, Shared: u.Shared, HoseIn: u.Size.String(), Text: u.Text}
	}
	return out
}

func pathSteps(o *fit.PathOption) []PathStep {
	out := make([]PathStep, len(o.Steps))
	for i, s := range o.Steps {
		out[i] = PathStep{SKU: s.Part.SKU, Name: s.Part.Name, FromEnd: s.From, ToEnd: s.To, LengthIn: round(s.LengthIn, 2)}
		if !real(s.Part) {
			out[i].LengthIn = 0
			out[i].Name = s.Part.Name + ", the owner's"
			if nobodySells(s.Part) {
				out[i].Name = s.Part.Name + ", missing"
			}
		}
	}
	return out
}

func stackItems(o *fit.StackOption) []StackItem {
	out := make([]StackItem, len(o.Layers))
	for i, l := range o.Layers {
		out[i] = StackItem{Item: l.Item, HeightIn: round(l.HeightIn, 4)}
		if l.Part != nil {
			out[i].SKU = l.Part.SKU
		}
	}
	return out
}

// proof tells what the search established, in money: weights of lines and stand-ins
// are taken off both sides.
func (sel *selection) proof(currency string) Proof {
	money := func(n int64) units.Money {
		return units.Money{AmountMinor: n % standInCost % lineWeight, Currency: currency}
	}
	s := sel.solution
	p := Proof{Optimal: s.Optimal, Cost: money(s.Cost), LowerBound: money(s.LowerBound), Nodes: s.Nodes}
	if s.LowerBound/lineWeight < s.Cost/lineWeight { // it allows a line fewer, so says nothing about money
		p.LowerBound.AmountMinor = 0
	}
	return p
}

// verdict sums the answer up, with a sentence for everything that keeps it from
// being complete.
func (j *job) verdict(k *Kit) (Verdict, []string) {
	reasons := []string{}
	for i := range j.fired {
		if f := &j.fired[i]; f.Unsuitable {
			reasons = append(reasons, f.Because)
		}
	}
	if len(reasons) > 0 {
		return Unsuitable, reasons
	}
	verdict := Complete
	worse := func(v Verdict) {
		if v == Incomplete || verdict == Complete {
			verdict = v
		}
	}
	for _, m := range k.Missing {
		if levelOf(k.Needs, m.Need) == Required {
			worse(Incomplete)
		} else {
			worse(CompleteWithWarnings)
		}
		reasons = append(reasons, m.Need+": "+m.Reason)
	}
	for i, d := range j.demands {
		again := i > 0 && j.demands[i-1].need == d.need // in another size
		if d.status.leftOut() && d.level == Required && !again {
			worse(CompleteWithWarnings)
			reasons = append(reasons, d.need+": "+leftOutWords[d.status]+", but the swap requires it. "+d.because[0].Text)
		}
	}
	for i := range k.Checks {
		if c := &k.Checks[i]; c.Outcome == Warn || c.Outcome == Fail {
			worse(CompleteWithWarnings)
			reasons = append(reasons, c.ID+": "+c.Text)
		}
	}
	return verdict, reasons
}

// alternatives are the optima of the other objectives, or what a search stopped by its size
// found. One that the deadline stopped is left out, as it may serve its objective worse than
// the kit does, and so is one whose search was cut so short that what it found conflicts.
func (j *job) alternatives(ctx context.Context, sel *selection) ([]Alternative, error) {
	out := make([]Alternative, 0, 3)
	for _, alt := range []struct {
		name string
		aim  aim
	}{
		{"price", aim{objective: ByPrice, location: j.aim.location}},
		{"stock", aim{objective: ByStock, finish: j.aim.finish, location: j.aim.location}},
		{"bright", aim{objective: ByPrice, finish: catalog.FinishBright, location: j.aim.location}},
	} {
		if alt.aim == j.aim {
			continue
		}
		other, err := sel, error(nil)
		if !j.alsoBest(sel, alt.aim) {
			other, err = j.choose(ctx, alt.aim)
		}
		switch {
		case late(ctx) && (err != nil || !other.solution.Optimal), errors.Is(err, pick.ErrInfeasible):
		case err != nil:
			return nil, err
		default:
			out = append(out, j.compare(alt.name, sel, other))
		}
	}
	return out, nil
}

// alsoBest reports whether a selection is plainly the optimum of another aim too: the
// cheapest kit, when it is all in stock, is the best of the kits that are.
func (j *job) alsoBest(sel *selection, other aim) bool {
	asked := other
	asked.objective = ByPrice
	return other.objective == ByStock && sel.aim == asked && sel.solution.Optimal &&
		j.allInStock(sel)
}

// allInStock reports whether stock covers every line of a selection, where the job counts it.
func (j *job) allInStock(sel *selection) bool {
	return !slices.ContainsFunc(sel.buys, func(b buy) bool { return j.s.Catalog.OnHand(b.offer, j.aim.location) < b.packs })
}

// compare states a selection as changes to another.
func (j *job) compare(name string, base, other *selection) Alternative {
	currency := j.s.Catalog.Currency
	total, was := other.money(currency), base.money(currency)
	a := Alternative{
		Objective: name, Total: total, Delta: units.Money{AmountMinor: total.AmountMinor - was.AmountMinor, Currency: currency},
		Available: j.allInStock(other), Optimal: other.solution.Optimal,
	}
	// Which need a part in stock serves instead matters where this kit is short.
	var serving []served
	if name == "stock" && !j.allInStock(base) {
		serving = j.serving(other)
	}
	changes := j.scratch.changes[:0]
	for was, is := base.buys, other.buys; len(was)+len(is) > 0; { // both by SKU
		order := 1
		switch {
		case len(is) == 0:
			order = -1
		case len(was) > 0:
			order = strings.Compare(was[0].offer.SKU, is[0].offer.SKU)
		}
		c := LineChange{}
		var o *catalog.Offer
		if order <= 0 {
			o, c.From, was = was[0].offer, was[0].packs, was[1:]
		}
		if order >= 0 {
			o, c.To = is[0].offer, is[0].packs
			if c.From < c.To && j.s.Catalog.OnHand(o, j.aim.location) >= c.To {
				c.Fills = is[0].fills(nil, serving)
			}
			is = is[1:]
		}
		if c.From != c.To {
			c.SKU, c.Name, c.Delta = o.SKU, o.Name, o.Price.Times(c.To-c.From)
			changes = append(changes, c)
		}
	}
	a.Changes = append(make([]LineChange, 0, len(changes)), changes...)
	j.scratch.changes = changes
	return a
}

// A lack is a need that nothing meets, or that stock does not cover.
type lack struct {
	need     string
	severity Severity
	cause    Cause
	demand   *demand       // nil when stock is short
	gone     *catalog.Part // that is wanted, and discontinued
	text     string        // why, when it is known better than from the demand's matches
	from, to catalog.End   // ends of the piece missing in the fuel path
	also     []rules.Test  // of that piece, beside the demand's matches
	short    []*Line       // lines that stock does not cover
}

// lacks lists what nothing meets and what is not in stock, most serious first.
func (j *job) lacks(sel *selection, needs []Need, lines []Line) []lack {
	var out []lack
	for _, g := range j.gaps {
		out = append(out, lack{need: g.demand.need, severity: g.demand.severity, cause: g.cause, demand: g.demand, text: g.text})
	}
	if path := sel.path(); path != nil {
		out = append(out, j.lacksInPath(path)...)
	}
	for _, d := range j.demands {
		for _, g := range j.goneOf(sel, d) {
			l := lack{need: d.need, severity: d.severity, cause: Discontinued, demand: d, gone: g.Part, text: g.text()}
			if !slices.ContainsFunc(out, func(o lack) bool { return o.need == l.need && o.gone == l.gone }) {
				out = append(out, l)
			}
		}
	}
	for _, n := range needs {
		if n.Status != OutOfStock {
			continue
		}
		l := lack{need: n.ID, severity: Serious, cause: ShortOfStock}
		if n.Level != Required {
			l.severity = Minor
		}
		for i := range lines {
			if slices.Contains(n.Lines, lines[i].SKU) && !lines[i].Stock.Enough {
				l.short = append(l.short, &lines[i])
			}
		}
		out = append(out, l)
	}
	slices.SortStableFunc(out, func(a, b lack) int { return a.severity.rank() - b.severity.rank() })
	return out
}

// missing says of everything the kit lacks why, and what comes near.
func (j *job) missing(lacks []lack) []Missing {
	out := make([]Missing, len(lacks))
	for i, l := range lacks {
		m := Missing{Need: l.need, Severity: l.severity, Reason: l.text, Nearest: []Nearest{}}
		switch {
		case l.demand == nil:
			texts := make([]string, len(l.short))
			for i, line := range l.short {
				texts[i] = stockText(line)
			}
			m.Reason = strings.Join(texts, " ")
		case m.Reason == "":
			m.Reason = j.whyNothing(l.demand)
		}
		switch {
		case l.gone != nil:
			m.Nearest = append(m.Nearest, Nearest{SKU: l.gone.SKU, Name: l.gone.Name, Fails: []string{isDiscontinued}})
		case l.from.Family != "":
			m.Nearest = j.nearest(l.demand, l.from, l.to)
		case l.demand != nil:
			m.Nearest = j.nearest(l.demand)
		}
		out[i] = m
	}
	return out
}

// stockText says where a line that is short can be had.
func stockText(l *Line) string {
	where := "all locations"
	if l.Stock.Location != "" {
		where = l.Stock.Location
	}
	text := fmt.Sprintf("%s: %d wanted, %d in stock at %s", l.SKU, l.Quantity, l.Stock.OnHand, where)
	for _, e := range l.Stock.Elsewhere {
		if l.Stock.Location != "" {
			text += fmt.Sprintf(", %d at %s", e.OnHand, e.Location)
		}
	}
	return text + fmt.Sprintf("; ordered in it takes %d days.", l.Stock.LeadTimeDays)
}
