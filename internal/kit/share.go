package kit

import (
	"context"
	"crypto/sha256"
	"encoding/binary"
	"math"
	"slices"
	"sync"

	"onetrip/internal/catalog"
	"onetrip/internal/fit"
	"onetrip/internal/rules"
	"onetrip/internal/units"
)

// Pairs of vehicle and carburetor share what is chosen when nothing that choosing looks
// at differs: what is demanded, the ends of the fuel path, the heights of the stack,
// what is in the box. Limits of at_least and at_most count as equal when no part of the
// catalogue lies between them, so that engines that draw 612 and 618 cfm share.

// settled is what pairs of one key share.
type settled struct {
	sel      *selection // for checks: what was chosen, no more
	stackGap *fit.Gap
	needs    []NeedSummary
	lines    []LineSummary
	total    units.Money
	gaps     []settledGap
}

// settledGap is a gap without the tests of its demand, which pairs that share may state
// differently.
type settledGap struct {
	Gap
	level  Level // of the need
	demand int   // of the job; -1 when none of its matches counts
}

// sharing keeps what was settled. It is safe for concurrent use.
type sharing struct {
	steps map[kindAttr][]float64
	rule  map[*rules.Rule]uint64

	mu         sync.Mutex
	young, old map[shareKey]*once
	solved     int
}

type kindAttr struct {
	kind catalog.Kind
	attr string
}

// once is settled by the first job that asks; others wait.
type once struct {
	sync.Once
	settled *settled
	err     error
}

// shareKey stands for a whole key, which would take more memory than what is settled.
type shareKey = [sha256.Size]byte

// mostSettled bounds the memory of a sweep: of what was settled, so much again may be
// kept from before. A variable for tests.
var mostSettled = 1 << 12

func newSharing(s *Snapshot) *sharing {
	sh := &sharing{steps: s.steps(), rule: map[*rules.Rule]uint64{}, young: map[shareKey]*once{}}
	for i, r := range s.Rules.Rules() {
		sh.rule[r] = uint64(i)
	}
	return sh
}

// stepsOf lists the values of every attribute that has numbers, sorted.
func stepsOf(cat *catalog.Snapshot) map[kindAttr][]float64 {
	out := map[kindAttr][]float64{}
	for _, spec := range catalog.Kinds {
		names := []string{"length_in", "height_in"}
		for _, a := range spec.Attrs {
			if a.Type == catalog.AttrNumber || a.Type == catalog.AttrSize {
				names = append(names, a.Name)
			}
		}
		for _, name := range names {
			var values []float64
			for _, f := range cat.Forms(spec.Kind) {
				if a, stated := f.Attr(name); stated {
					values = append(values, a.Value.Num)
				}
			}
			slices.Sort(values)
			out[kindAttr{spec.Kind, name}] = slices.Compact(values)
		}
	}
	return out
}

// settle is the choice for a job whose demands are known.
func (sh *sharing) settle(ctx context.Context, j *job) (*settled, error) {
	key := sha256.Sum256(sh.key(j))
	sh.mu.Lock()
	o := sh.young[key]
	if o == nil {
		if o = sh.old[key]; o == nil {
			o = &once{}
			sh.solved++
		}
		if len(sh.young) == mostSettled {
			sh.young, sh.old = map[shareKey]*once{}, sh.young
		}
		sh.young[key] = o
	}
	sh.mu.Unlock()
	o.Do(func() { o.settled, o.err = j.settle(ctx) })
	return o.settled, o.err
}

// key is the same for two jobs only if choosing, under their common preferences, comes
// out the same.
func (sh *sharing) key(j *job) []byte {
	v, c := j.vehicle, j.carburetor
	b := j.scratch.key[:0]
	defer func() { j.scratch.key = b }()
	text := func(s string) {
		b = append(binary.AppendUvarint(b, uint64(len(s))), s...)
	}
	number := func(n float64) { b = binary.LittleEndian.AppendUint64(b, math.Float64bits(n)) }

	text(j.supply.String())
	text(c.Inlet.End.String())
	number(v.Fuel.RunLengthIn)
	text(string(v.Intake.Flange))
	text(string(c.Flange))
	number(v.Intake.HoodClearanceIn)
	number(c.HeightIn)
	number(v.AirCleaner.HeightIn)
	if v.Intake.StudLengthIn == nil {
		number(-1)
	} else {
		number(*v.Intake.StudLengthIn)
	}
	if v.Intake.StudThread != nil {
		text(v.Intake.StudThread.String())
	} else {
		text("")
	}
	for _, in := range c.InBox {
		if in.SKU != "" {
			text(in.SKU)
			b = binary.AppendVarint(b, int64(in.Quantity))
		}
	}
	for _, d := range j.demands {
		b = append(b, '|')
		text(d.need)
		text(string(d.level))
		text(string(d.status))
		number(d.quantity)
		number(d.boxed)
		number(d.owned)
		b = binary.AppendVarint(b, int64(d.each))
		for i, r := range d.rules {
			b = binary.AppendUvarint(b, sh.rule[r]+1)
			for k := range d.matches[i].Tests {
				t := &d.matches[i].Tests[k]
				switch t.Op {
				case rules.AtLeast, rules.AtMost:
					b = binary.AppendUvarint(b, sh.step(d.spec.Kind, t))
				case rules.OneOf:
					b = binary.AppendUvarint(b, uint64(len(t.Values)))
					for _, one := range t.Values {
						number(one.Num)
						text(one.Text)
					}
				default:
					number(t.Value.Num)
					text(t.Value.Text)
				}
			}
		}
		b = append(b, 0)
		if d.need == meteringNeed && d.status == "" { // jets and altitude decide here
			for _, f := range j.forms(d) {
				text(f.Parts()[0].SKU)
			}
		}
	}
	return b
}

// step numbers a limit so that two limits with one number let the same parts through.
func (sh *sharing) step(kind catalog.Kind, t *rules.Test) uint64 {
	values := sh.steps[kindAttr{kind, t.Attr}]
	at, found := slices.BinarySearch(values, t.Value.Num)
	if found && t.Op == rules.AtMost {
		at++
	}
	return uint64(at)
}

// settle chooses for a job and keeps what outlasts it.
func (j *job) settle(ctx context.Context) (*settled, error) {
	sel, err := j.choose(ctx, j.aim)
	if err != nil {
		return nil, err
	}
	lines := j.lines(sel)
	needs := j.needs(sel, lines)
	out := &settled{sel: sel.kept(), stackGap: j.stackGap, total: sel.money(j.s.Catalog.Currency)}
	for _, n := range needs {
		ids := make([]string, len(n.Because))
		for i, b := range n.Because {
			ids[i] = b.Rule
		}
		out.needs = append(out.needs, NeedSummary{n.ID, n.Level, n.Status, n.Quantity, ids})
	}
	for _, l := range lines {
		out.lines = append(out.lines, LineSummary{l.SKU, l.Quantity, l.Amount.AmountMinor})
	}
	for _, l := range j.lacks(sel, needs, lines) {
		g := j.settleGap(&l)
		g.level = levelOf(needs, l.need)
		out.gaps = append(out.gaps, g)
	}
	return out, nil
}

// kept is the choice of a selection in memory of its own.
func (sel *selection) kept() *selection {
	out := &selection{chosen: make([]*option, len(sel.chosen))}
	for i, o := range sel.chosen {
		keep := &option{uses: slices.Clone(o.uses)}
		if o.path != nil {
			keep.path = &fit.PathOption{Steps: slices.Clone(o.path.Steps), HoseBoreIn: o.path.HoseBoreIn}
		}
		if o.stack != nil {
			keep.stack = &fit.StackOption{TotalIn: o.stack.TotalIn, StudNeededIn: o.stack.StudNeededIn}
		}
		out.chosen[i] = keep
	}
	return out
}

func (j *job) settleGap(l *lack) settledGap {
	kind, _ := j.s.Rules.NeedKind(l.need)
	g := settledGap{Gap: Gap{Need: l.need, Severity: l.severity, Kind: kind, Cause: l.cause, From: l.from, To: l.to, Tests: l.also}, demand: -1}
	switch {
	case l.gone != nil:
		g.SKUs = []string{l.gone.SKU}
	case l.demand == nil:
		for _, line := range l.short {
			g.SKUs = append(g.SKUs, line.SKU)
		}
	default:
		g.demand = slices.Index(j.demands, l.demand)
	}
	return g
}
