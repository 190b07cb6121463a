package kit

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"onetrip/internal/catalog"
	"onetrip/internal/rules"
	"onetrip/internal/units"
)

// TrialQuery asks what other rules would change.
type TrialQuery struct {
	Vehicles    []*catalog.Vehicle    // valid ones; nil: those of the catalogue
	Carburetors []*catalog.Carburetor // of the catalogue; nil: all
	Workers     int                   // 0: one for each core that Go may use
	// Progress is told after each class of vehicles how many of all pairs of vehicle
	// and carburetor are done. It is called by the goroutine that called Try.
	Progress func(done, total int)
}

// all fills in what was left out.
func (q *TrialQuery) all(s *Snapshot) {
	if q.Vehicles == nil {
		q.Vehicles = s.Catalog.Vehicles()
	}
	if q.Carburetors == nil {
		q.Carburetors = s.Catalog.Carburetors()
	}
}

// Pairs is how many pairs of vehicle and carburetor are tried.
func (q TrialQuery) Pairs(s *Snapshot) int {
	q.all(s)
	return len(q.Vehicles) * len(q.Carburetors)
}

// TrialKind is a kind of change of a kit.
type TrialKind string

// Kinds, in the order in which they are listed. A kit is counted under each kind of
// change that it has.
const (
	TrialVerdict     TrialKind = "verdict"
	TrialNeedAdded   TrialKind = "need_added"
	TrialNeedDropped TrialKind = "need_dropped"
	TrialLevel       TrialKind = "level"
	TrialStatus      TrialKind = "status"   // of a need
	TrialLine        TrialKind = "line"     // a SKU new, gone or another on the pick list
	TrialQuantity    TrialKind = "quantity" // of a need or a line
	TrialPrice       TrialKind = "price"    // a total
	TrialStock       TrialKind = "stock"    // whether it is enough
	TrialCheck       TrialKind = "check"
	TrialCaution     TrialKind = "caution"
	TrialReason      TrialKind = "reason"  // a rule gives a need another reason, or none
	TrialFailure     TrialKind = "failure" // the rules fail for the pair, before or after
)

// Trial is what other rules would change, counted in pairs of vehicle and carburetor.
type Trial struct {
	Pairs    int          `json:"pairs"`
	Classes  int          `json:"vehicle_classes"` // vehicles that get the same kits are worked out once
	Resolved int          `json:"resolved"`        // kits worked out, for before or after
	Changed  int          `json:"pairs_changed"`
	Groups   []TrialGroup `json:"groups"`
	Findings []Finding    `json:"findings"` // of Lint, in the rules that are changed or beside them
}

// TrialGroup is the pairs whose kits change in one way.
type TrialGroup struct {
	Kind     TrialKind      `json:"kind"`
	Pairs    int            `json:"pairs"`
	Examples []TrialExample `json:"examples"` // up to three, of different classes or carburetors
}

// TrialExample is one pair whose kit changes. A side without a kit has an error.
type TrialExample struct {
	VehicleID     string   `json:"vehicle_id"`
	CarburetorSKU string   `json:"carburetor_sku"`
	Before        TrialKit `json:"before"`
	After         TrialKit `json:"after"`
	Changes       []Change `json:"changes"` // all of the pair
}

// TrialKit is the part of a kit that rules decide.
type TrialKit struct {
	Verdict Verdict        `json:"verdict,omitempty"`
	Needs   []TrialKitNeed `json:"needs"`
	Lines   []TrialKitLine `json:"lines"`
	Total   *units.Money   `json:"total,omitempty"`
	Error   string         `json:"error,omitempty"` // why there is none
}

// TrialKitNeed is a need and how it is met.
type TrialKitNeed struct {
	ID     string `json:"id"`
	Level  Level  `json:"level"`
	Status Status `json:"status"`
}

// TrialKitLine is so many packs of a SKU.
type TrialKitLine struct {
	SKU      string `json:"sku"`
	Quantity int    `json:"quantity"`
}

// trialExamples is how many examples a group has.
const trialExamples = 3

var trialKinds = []TrialKind{TrialVerdict, TrialNeedAdded, TrialNeedDropped, TrialLevel, TrialStatus, TrialLine, TrialQuantity,
	TrialPrice, TrialStock, TrialCheck, TrialCaution, TrialReason, TrialFailure}

// Try tells what the kits of vehicles with carburetors would be under other rules, as
// Compare tells kits apart. Only pairs for which the rules that differ fire otherwise
// are resolved. Errors are the context's.
func Try(ctx context.Context, before *Snapshot, after *rules.Set, q TrialQuery) (*Trial, error) {
	q.all(before)
	t := &ruleTrial{before: &job{s: before, request: &Request{}}, after: &job{s: NewSnapshot(before.Catalog, after), request: &Request{}}}
	for _, template := range []*job{t.before, t.after} {
		if _, err := template.prefer(Preferences{}); err != nil {
			return nil, err
		}
	}
	var err error
	if t.was, t.is, err = rules.Differing(before.Rules, after); err != nil {
		return nil, err
	}
	for _, p := range portNeeds {
		was, wasKnown := before.Rules.NeedKind(p.need)
		is, isKnown := after.NeedKind(p.need)
		t.portNeedsDiffer = t.portNeedsDiffer || was != is || wasKnown != isKnown
	}
	var classes []*Class // vehicles that get the same kits before and after
	for _, c := range Classes(before.Rules, q.Vehicles) {
		classes = append(classes, Classes(after, c.Vehicles)...)
	}
	out := &Trial{Classes: len(classes), Groups: []TrialGroup{}}
	groups := map[TrialKind]*TrialGroup{}
	total := q.Pairs(before)
	err = eachRow(ctx, classes, q.Workers, func(ctx context.Context, class *Class) ([]*trialPair, error) {
		return t.row(ctx, class.Vehicles[0], q.Carburetors)
	}, func(class *Class, touched []*trialPair) error {
		out.Pairs += len(class.Vehicles) * len(q.Carburetors)
		for _, p := range touched {
			out.Resolved += 2
			if len(p.kinds) > 0 {
				out.Changed += len(class.Vehicles)
			}
			for _, kind := range p.kinds {
				g := groups[kind]
				if g == nil {
					g = &TrialGroup{Kind: kind}
					groups[kind] = g
				}
				g.Pairs += len(class.Vehicles)
				if len(g.Examples) < trialExamples {
					g.Examples = append(g.Examples, p.TrialExample)
				}
			}
		}
		if q.Progress != nil {
			q.Progress(out.Pairs, total)
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	for _, kind := range trialKinds {
		if g := groups[kind]; g != nil {
			out.Groups = append(out.Groups, *g)
		}
	}
	odd := after.LintRules(func(r *rules.Rule) bool {
		return ctx.Err() == nil && slices.ContainsFunc(t.is.Rules(), func(is *rules.Rule) bool { return is.ID == r.ID })
	}, before.Catalog.Carburetors())
	out.Findings = ruleFindings(&odd)
	return out, ctx.Err()
}

// mostProbed is how many pairs Failing tries: some seconds' work.
const mostProbed = 100_000

// Failing finds a pair of vehicle and carburetor of a snapshot for which one of the rules that
// differ from its own cannot be worked out, as when a quantity is not above 0: no kit could be
// told of such a pair. Of more than a hundred thousand pairs it tries as many, spread evenly.
// The error is the rule's, as rules.Errors; the context's; or nil.
func Failing(ctx context.Context, s *Snapshot, after *rules.Set) error {
	_, differ, err := rules.Differing(s.Rules, after)
	if err != nil {
		return err
	}
	vehicles, carburetors := s.Catalog.Vehicles(), s.Catalog.Carburetors()
	pairs := len(vehicles) * len(carburetors)
	if len(differ.Rules()) == 0 {
		pairs = 0
	}
	tried := min(pairs, mostProbed)
	template := &job{s: s, request: &Request{}}
	for k := range tried {
		if err := ctx.Err(); err != nil {
			return err
		}
		at := k * pairs / tried
		v := vehicles[at/len(carburetors)]
		c := carburetors[(at+at/len(carburetors))%len(carburetors)] // each, however the steps fall
		if failed := (*rules.FailedError)(nil); errors.As(template.fire(differ, v, c), &failed) {
			return rules.Errors{{File: failed.Rule.ID, Line: failed.Rule.Line, Column: 1,
				Detail: fmt.Sprintf("%s: %v; so it is for vehicle %s with carburetor %s", failed.Where, failed.Cause, v.ID, c.SKU)}}
		}
	}
	return nil
}

// fire works out what rules say of a pair, for the error; it may also be one of the figures'.
func (j job) fire(set *rules.Set, v *catalog.Vehicle, c *catalog.Carburetor) error {
	j.vehicle, j.carburetor = v, c
	j.enter()
	defer j.release()
	if err := j.compute(); err != nil {
		return err
	}
	_, err := set.Evaluate(j.facts())
	return err
}

// ruleTrial is the two sides of a Try.
type ruleTrial struct {
	before, after   *job       // templates
	was, is         *rules.Set // the rules that differ
	portNeedsDiffer bool       // needs that are raised without a rule firing
}

// trialPair is a pair of vehicle and carburetor for which rules fire otherwise, and the
// kinds of change that its kit has, each once.
type trialPair struct {
	TrialExample
	kinds []TrialKind
}

func (t *ruleTrial) row(ctx context.Context, v *catalog.Vehicle, carburetors []*catalog.Carburetor) ([]*trialPair, error) {
	var touched []*trialPair
	for _, c := range carburetors {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		if !t.touches(v, c) {
			continue
		}
		was, errWas := t.before.plain(ctx, v, c)
		is, errIs := t.after.plain(ctx, v, c)
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		p := &trialPair{TrialExample: TrialExample{VehicleID: v.ID, CarburetorSKU: c.SKU, Before: trialKit(was, errWas), After: trialKit(is, errIs), Changes: []Change{}}}
		if errWas == nil && errIs == nil {
			p.Changes = Compare(was, is)
		} else if p.Before.Error != p.After.Error {
			p.kinds = []TrialKind{TrialFailure}
		}
		for i := range p.Changes {
			if kind := trialKind(&p.Changes[i]); !slices.Contains(p.kinds, kind) {
				p.kinds = append(p.kinds, kind)
			}
		}
		touched = append(touched, p)
	}
	return touched, nil
}

// touches reports whether the kit of a pair can change: it is made of the facts, which
// are the same before and after, and of what fires.
func (t *ruleTrial) touches(v *catalog.Vehicle, c *catalog.Carburetor) bool {
	j := *t.before
	j.vehicle, j.carburetor = v, c
	j.enter()
	defer j.release()
	if err := j.compute(); err != nil {
		return true // resolving tells
	}
	if t.portNeedsDiffer && len(j.vacuum.Unassigned) > 0 {
		return true
	}
	facts := j.facts()
	was, errWas := t.was.Evaluate(facts)
	is, errIs := t.is.Evaluate(facts)
	return errWas != nil || errIs != nil || !rules.SameFired(was, is)
}

// plain is Resolve of a template's request without alternatives.
func (j job) plain(ctx context.Context, v *catalog.Vehicle, c *catalog.Carburetor) (*Kit, error) {
	j.vehicle, j.carburetor = v, c
	j.enter()
	defer j.release()
	if err := j.demand(); err != nil {
		return nil, err
	}
	sel, err := j.choose(ctx, j.aim)
	if err != nil {
		return nil, err
	}
	return j.answer(sel, nil), nil
}

// trialKind sorts a change.
func trialKind(c *Change) TrialKind {
	switch c.Kind {
	case NeedChange:
		if c.Before == "" {
			return TrialNeedAdded
		}
		return TrialNeedDropped
	case VerdictChange:
		return TrialVerdict
	case LevelChange:
		return TrialLevel
	case StatusChange:
		return TrialStatus
	case PartChange:
		return TrialLine
	case QuantityChange:
		return TrialQuantity
	case PriceChange, TotalChange:
		return TrialPrice
	case StockChange:
		return TrialStock
	case CheckChange:
		return TrialCheck
	case CautionChange:
		return TrialCaution
	case RuleChange:
		return TrialReason
	}
	panic(fmt.Sprintf("kit: rules do not change the %s of a kit", c.Kind)) // vehicle, carburetor and question are the same
}

func trialKit(k *Kit, err error) TrialKit {
	out := TrialKit{Needs: []TrialKitNeed{}, Lines: []TrialKitLine{}}
	if err != nil {
		out.Error = err.Error()
		if failed := (*rules.FailedError)(nil); errors.As(err, &failed) { // without the line, which moves as other rules change
			out.Error = fmt.Sprintf("rule %s: %s: %v", failed.Rule.ID, failed.Where, failed.Cause)
		}
		return out
	}
	out.Verdict, out.Total = k.Verdict, &k.Totals.All
	for _, n := range k.Needs {
		out.Needs = append(out.Needs, TrialKitNeed{n.ID, n.Level, n.Status})
	}
	for _, l := range k.Lines {
		out.Lines = append(out.Lines, TrialKitLine{l.SKU, l.Quantity})
	}
	return out
}
