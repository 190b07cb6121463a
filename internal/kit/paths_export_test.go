package kit

import (
	"context"
	"slices"
	"strconv"
	"strings"

	"onetrip/internal/catalog"
	"onetrip/internal/fit"
	"onetrip/internal/pick"
)

// SelectionFromEveryPath is the selection of a request as it is made, and as it would be
// with every fuel path there is to choose from, offered paths to choose from in the first
// and all of them in the second. ok is false where something else than buying is in the
// path, or there are more than most.
func SelectionFromEveryPath(ctx context.Context, s *Snapshot, req *Request, most int) (found, full pick.Solution, offered, all int, ok bool, err error) {
	j, err := s.read(req)
	if err != nil {
		return found, full, 0, 0, false, err
	}
	defer j.release()
	if err := j.demand(); err != nil {
		return found, full, 0, 0, false, err
	}
	sel := &selection{aim: j.aim, groups: j.groups(ctx, j.aim)}
	at := slices.IndexFunc(sel.groups, func(g group) bool { return g.name == "fuel path" })
	if at < 0 || j.fuelBroken || slices.ContainsFunc(pathNeeds, func(need string) bool { d := j.role(need); return d != nil && had(d) }) {
		return found, full, 0, 0, false, nil
	}
	paths, tooMany := j.everyPath(j.aim, most)
	if tooMany {
		return found, full, 0, 0, false, nil
	}
	offered = len(sel.groups[at].options)
	p, _ := j.problem(sel)
	if found, err = solve(ctx, p); err != nil {
		return found, full, 0, 0, false, err
	}
	sel.groups[at].options = paths
	p, _ = j.problem(sel)
	full, err = solve(ctx, p)
	return found, full, offered, len(paths), true, err
}

// everyPath lists all fuel paths of a job, whatever they cost: those of which it lists
// more than most are too many.
func (j *job) everyPath(a aim, most int) (all []option, tooMany bool) {
	q := j.pathQuery(false)
	parts := func(role fit.Role, kind catalog.Kind, fits func(*catalog.Part) bool) (out []*catalog.Part) {
		for _, f := range j.s.Catalog.Forms(kind) {
			for _, p := range f.Parts() {
				if (!p.Discontinued || j.pieces(p) > 0) && q.Accepts(role, f) && fits(p) {
					out = append(out, p)
				}
			}
		}
		return out
	}
	two := func(p *catalog.Part) bool { return len(p.Ends) == 2 }
	type piece struct {
		role fit.Role
		part *catalog.Part
		in   catalog.End
		out  catalog.End
	}
	turns := func(role fit.Role) (out []piece) {
		for _, p := range parts(role, "fuel_fitting", two) {
			out = append(out, piece{role, p, p.Ends[0], p.Ends[1]})
			if p.Ends[0] != p.Ends[1] {
				out = append(out, piece{role, p, p.Ends[1], p.Ends[0]})
			}
		}
		return out
	}
	fittings, inletFittings := turns(fit.Fitting), turns(fit.InletFitting)
	// runs are the rows of up to two fittings between two ends; no pair does what one can.
	type joint struct {
		from, to catalog.End
		last     bool
	}
	joined := map[joint][][]piece{}
	find := func(from, to catalog.End, last bool) (out [][]piece) {
		if from.Mates(to) {
			return [][]piece{nil}
		}
		closing := fittings
		if last {
			closing = inletFittings
		}
		for _, f := range closing {
			if from.Mates(f.in) && f.out.Mates(to) {
				out = append(out, []piece{f})
			}
		}
		if len(out) > 0 {
			return out
		}
		for _, f := range fittings {
			for _, g := range closing {
				if from.Mates(f.in) && f.out.Mates(g.in) && g.out.Mates(to) && f.in != g.out {
					out = append(out, []piece{f, g})
				}
			}
		}
		return out
	}
	runs := func(from, to catalog.End, last bool) [][]piece {
		at := joint{from, to, last}
		if _, known := joined[at]; !known {
			joined[at] = find(from, to, last)
		}
		return joined[at]
	}
	var bores []catalog.End
	for _, p := range parts(fit.Hose, "fuel_hose", two) {
		if !slices.Contains(bores, p.Ends[0]) {
			bores = append(bores, p.Ends[0])
		}
	}
	known := map[string]bool{}
	finish := func(chain []piece, hoses []catalog.End) {
		pieceIn := q.RunLengthIn/float64(len(hoses)) + 1
		uses := map[string]fit.Use{}
		add := func(role fit.Role, p *catalog.Part, units int) {
			u := uses[role.Need()+p.SKU]
			uses[role.Need()+p.SKU] = fit.Use{Need: role.Need(), Part: p, Units: u.Units + units}
		}
		penalty := int64(0)
		for _, c := range chain {
			add(c.role, c.part, 1)
			penalty += a.penalty(&c.part.Offer)
		}
		var close func(bores []catalog.End, penalty int64)
		close = func(left []catalog.End, penalty int64) {
			if len(left) == 0 {
				key, o := "", option{penalty: penalty}
				for _, u := range uses {
					o.uses = append(o.uses, u)
				}
				slices.SortFunc(o.uses, func(x, y fit.Use) int {
					return strings.Compare(x.Need+x.Part.SKU, y.Need+y.Part.SKU)
				})
				for _, u := range o.uses {
					key += u.Need + u.Part.SKU + strconv.Itoa(u.Units)
				}
				if !known[key] && conflicting(o.uses) == "" {
					known[key] = true
					all = append(all, o)
				}
				return
			}
			bore, n := left[0], 0
			for _, b := range hoses {
				if b == bore {
					n++
				}
			}
			for _, h := range parts(fit.Hose, "fuel_hose", func(p *catalog.Part) bool { return p.Ends[0] == bore && p.LengthIn >= pieceIn }) {
				for _, c := range parts(fit.Clamp, "hose_clamp", func(p *catalog.Part) bool { return p.Num("hose_in") == bore.Size.Inches() }) {
					add(fit.Hose, h, n*fit.CutUnits(h, pieceIn))
					add(fit.Clamp, c, 2*n)
					close(left[1:], penalty+int64(n)*(a.penalty(&h.Offer)+a.penalty(&c.Offer)))
					delete(uses, fit.Hose.Need()+h.SKU)
					delete(uses, fit.Clamp.Need()+c.SKU)
				}
			}
		}
		distinct := slices.Clone(hoses)
		slices.SortFunc(distinct, func(a, b catalog.End) int { return a.Size.Compare(b.Size) })
		close(slices.Compact(distinct), penalty)
	}
	gates := []fit.Role{fit.Filter}
	if q.NeedRegulator {
		gates = append(gates, fit.Regulator)
	}
	chains := 0
	var link func(from catalog.End, stage int, chain []piece, hoses []catalog.End)
	link = func(from catalog.End, stage int, chain []piece, hoses []catalog.End) {
		if len(all) > most || chains > 5*most {
			tooMany = true
			return
		}
		arrive := func(at piece, more []piece, hoses []catalog.End) {
			next := slices.Concat(chain, more)
			if stage == len(gates) {
				if chains++; len(hoses) > 0 {
					finish(next, hoses)
				}
				return
			}
			link(at.out, stage+1, append(next, at), hoses)
		}
		ends := []piece{{in: q.To}}
		if stage < len(gates) {
			ends = nil
			for _, p := range parts(gates[stage], []catalog.Kind{"fuel_filter", "pressure_regulator"}[stage], two) {
				ends = append(ends, piece{gates[stage], p, p.Ends[0], p.Ends[1]})
			}
		}
		last := stage == len(gates)
		for _, at := range ends {
			for _, r := range runs(from, at.in, last) {
				arrive(at, r, hoses)
			}
			for _, bore := range bores {
				lefts := runs(from, bore, false)
				if len(lefts) == 0 {
					continue
				}
				for _, right := range runs(bore, at.in, last) {
					for _, left := range lefts {
						arrive(at, slices.Concat(left, right), append(hoses[:len(hoses):len(hoses)], bore))
					}
				}
			}
		}
	}
	link(q.From, 0, nil, nil)
	return all, tooMany
}
