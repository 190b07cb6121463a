package kit

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"onetrip/internal/catalog"
	"onetrip/internal/fit"
	"onetrip/internal/rules"
)

// A job is one request being worked on.
type job struct {
	scratch    *scratch
	s          *Snapshot
	request    *Request
	vehicle    *catalog.Vehicle
	carburetor *catalog.Carburetor
	levels     []Level
	aim        aim

	figures *figures
	supply  catalog.End // end of the vehicle's supply line
	vacuum  fit.VacuumPlan
	travel  fit.TravelPlan
	fired   []rules.Fired
	demands []*demand

	writer   *writer
	holdings []fit.Holding // what is had by SKU
	inBox    int           // of them, the first, are in the box
	held     []uint64      // bits of the holdings as sources
	required uint64        // bit of the parts that others bring along, as a source
	savings  *fit.Savings  // of all sources of parts, under the aim
	unproven bool          // the choice was made among fewer bundles or paths than there are
	paths    *fit.PathSearch
	dryPaths *fit.PathSearch // without pipe threads
	stacks   *fit.StackSearch

	chosen     bool // a kit is
	gaps       []gap
	fuelBroken bool // no path of parts on sale joins line and inlet
	stackGap   *fit.Gap
}

// gap is a demand that nothing meets; text says why when that is known better than from
// the matches.
type gap struct {
	demand *demand
	cause  Cause
	text   string
}

// gap notes that nothing meets a demand.
func (j *job) gap(d *demand, cause Cause, text string) {
	d.status = NotThere
	d.quantity = max(1, d.quantity)
	j.gaps = append(j.gaps, gap{d, cause, text})
}

// Resolve answers a request from one snapshot. It is pure: the same snapshot and
// request give the same kit, byte for byte, unless the deadline of ctx passes: then the
// kit is the best found by then, and its proof says so; alternatives not proven by then are
// left out. An impossible combination is an answer; errors are *catalog.InvalidError,
// *catalog.NotFoundError, ErrLimit, the context's when it was cancelled, or a defect of
// the catalogue's rules.
func Resolve(ctx context.Context, s *Snapshot, req *Request) (*Kit, error) {
	j, err := s.read(req)
	if err != nil {
		return nil, err
	}
	defer j.release()
	if err := j.demand(); err != nil {
		return nil, err
	}
	sel, err := j.choose(ctx, j.aim)
	if err != nil {
		return nil, err
	}
	others, err := j.alternatives(ctx, sel)
	if err != nil {
		return nil, err
	}
	return j.answer(sel, others), nil
}

// demand works out what the swap needs and what of that is had already.
func (j *job) demand() error {
	if err := j.compute(); err != nil {
		return err
	}
	var err error
	if j.fired, err = j.s.Rules.EvaluateIn(&j.scratch.evaluation, j.facts()); err != nil {
		return err
	}
	j.findHoldings()
	j.demands = gather(j.fired, j.scratch)
	j.sortByKind(j.demands...)
	settle(j.demands, j.carburetor, j.request, j.levels)
	j.leverGap()
	j.portGaps()
	return nil
}

// release gives back the memory of searches that are over.
func (j *job) release() {
	j.scratch.release()
	if j.paths != nil {
		j.paths.Release()
	}
	if j.dryPaths != nil {
		j.dryPaths.Release()
	}
	if j.stacks != nil {
		j.stacks.Release()
	}
}

// read checks a request and finds what it names. The job must be released.
func (s *Snapshot) read(req *Request) (*job, error) {
	j := &job{s: s, request: req, vehicle: req.Vehicle}
	var bad []catalog.Violation
	var unknown []*catalog.NotFoundError
	switch {
	case req.Vehicle != nil && req.VehicleID != "":
		bad = append(bad, catalog.Violation{Pointer: "/vehicle_id", Detail: "given together with vehicle; give one of the two"})
	case req.Vehicle != nil:
		bad = append(bad, catalog.Under("/vehicle", req.Vehicle.Validate())...)
	case req.VehicleID != "":
		v, err := s.Catalog.Vehicle(req.VehicleID)
		unknown = noted(unknown, err, "/vehicle_id")
		j.vehicle = v
	default:
		bad = append(bad, catalog.Violation{Pointer: "/vehicle", Detail: "is missing; describe the vehicle here, or name one of the catalogue in vehicle_id"})
	}
	c, err := s.Catalog.Carburetor(req.CarburetorSKU)
	unknown = noted(unknown, err, "/carburetor_sku")
	j.carburetor = c
	for i, h := range req.OnHand {
		at := fmt.Sprintf("/on_hand/%d", i)
		switch {
		case (h.Need == "") == (h.SKU == ""):
			bad = append(bad, catalog.Violation{Pointer: at, Detail: "give either need or sku"})
		case h.SKU != "" && h.Quantity < 1:
			bad = append(bad, catalog.Violation{Pointer: at + "/quantity", Detail: "is missing; give how many pieces of the SKU are on hand, of hose and wire whole lengths as they are sold, 1 or more"})
		case h.SKU != "":
			_, err := s.Catalog.Part(h.SKU)
			unknown = noted(unknown, err, at+"/sku")
		default:
			bad = append(bad, s.checkNeed(at+"/need", h.Need)...)
			if h.Quantity > 0 && slices.Contains(uncounted, h.Need) {
				bad = append(bad, catalog.Violation{Pointer: at + "/quantity", Detail: fmt.Sprintf("%d, but how much of %s is enough is not known before the parts are chosen; leave it out when there is enough, or give sku and quantity", h.Quantity, h.Need)})
			}
		}
	}
	prefer, err := j.prefer(req.Preferences)
	unknown = noted(unknown, err, "/preferences/location")
	bad = append(bad, prefer...)
	if len(unknown) == 1 && len(bad) == 0 {
		return nil, unknown[0]
	}
	for _, u := range unknown {
		bad = append(bad, catalog.Violation{Pointer: u.Pointer, Detail: u.Error()})
	}
	if len(bad) > 0 {
		return nil, &catalog.InvalidError{What: "request", Violations: bad}
	}
	j.enter()
	return j, nil
}

// prefer takes over the preferences of a request. The error is that of an unknown location.
func (j *job) prefer(p Preferences) (bad []catalog.Violation, err error) {
	for i, need := range p.Declined {
		bad = append(bad, j.s.checkNeed(fmt.Sprintf("/preferences/declined/%d", i), need)...)
	}
	if p.Currency != "" && p.Currency != j.s.Catalog.Currency {
		bad = append(bad, catalog.Violation{Pointer: "/preferences/currency",
			Detail: fmt.Sprintf("%s is not the catalogue's currency; prices are in %s", p.Currency, j.s.Catalog.Currency)})
	}
	j.aim = aim{objective: p.Objective, finish: p.Finish, location: catalog.AllLocations}
	if j.aim.objective == "" {
		j.aim.objective = ByPrice
	}
	if p.Location != "" {
		if j.aim.location, err = j.s.Catalog.Location(p.Location); err != nil {
			return bad, err
		}
	}
	if j.levels = p.Levels; len(j.levels) == 0 {
		j.levels = []Level{Required, Recommended}
	}
	return bad, nil
}

// checkNeed refuses a need id that no rule raises, with a near spelling.
func (s *Snapshot) checkNeed(pointer, need string) []catalog.Violation {
	if _, known := s.Rules.NeedKind(need); known {
		return nil
	}
	v := catalog.Violation{Pointer: pointer, Detail: fmt.Sprintf("%q is not a need that any rule raises", need)}
	if near := catalog.Near(need, s.Rules.Needs(), 1); len(near) > 0 {
		v.Detail += fmt.Sprintf("; did you mean %s?", near[0])
	}
	return []catalog.Violation{v}
}

// noted adds a NotFoundError and tells it which field of the request named the thing.
func noted(unknown []*catalog.NotFoundError, err error, pointer string) []*catalog.NotFoundError {
	if err == nil {
		return unknown
	}
	var missing *catalog.NotFoundError
	if errors.As(err, &missing) {
		missing.Pointer = pointer
		unknown = append(unknown, missing)
	}
	return unknown
}

// compute works out every figure that follows from vehicle and carburetor.
func (j *job) compute() error {
	f, err := compute(j.s, j.vehicle, j.carburetor)
	if err != nil {
		return err
	}
	j.figures = f
	if j.supply, err = j.vehicle.Fuel.SupplyEnd(); err != nil {
		return &catalog.InvalidError{What: "request", Violations: []catalog.Violation{{Pointer: "/vehicle/fuel/line_od_in", Detail: err.Error()}}}
	}
	if j.travel, err = fit.Travel(j.vehicle, j.carburetor); err != nil {
		return err
	}
	j.vacuum = fit.Vacuum(j.vehicle, j.carburetor)
	f.addTravel(j.travel)
	f.addVacuum(j.vacuum)
	f.addStack(fit.Figures(j.vehicle, j.carburetor, j.adapters()))
	return nil
}

// facts are what the rules see.
func (j *job) facts() *rules.Facts {
	facts := &j.scratch.facts
	*facts = rules.Facts{
		Vehicle: j.vehicle, Carburetor: j.carburetor, Calc: &j.figures.Calc,
		OnHand:      rules.OnHand{Needs: facts.OnHand.Needs[:0], SKUs: facts.OnHand.SKUs[:0]},
		Preferences: rules.Preferences{Finish: string(j.aim.finish), Objective: string(j.aim.objective), Location: j.request.Preferences.Location},
	}
	for _, h := range j.request.OnHand {
		if h.Need != "" {
			facts.OnHand.Needs = append(facts.OnHand.Needs, h.Need)
		} else {
			facts.OnHand.SKUs = append(facts.OnHand.SKUs, h.SKU)
		}
	}
	return facts
}

// adapters are the plates that join the manifold's flange to the carburetor's.
func (j *job) adapters() []*catalog.Form {
	from, to := string(j.carburetor.Flange), string(j.vehicle.Intake.Flange)
	return j.s.adapters.Lookup([]catalog.Value{{Text: from}, {Text: to}}).Forms
}
