package kit

import (
	"iter"
	"slices"
	"strings"

	"onetrip/internal/catalog"
	"onetrip/internal/rules"
)

// A demand is one thing to meet: a need, or one size of a need that comes in
// several (three caps of 1/4 and two of 3/16 are two demands of vacuum.caps).
type demand struct {
	need     string
	each     int // index of the size, -1 for a need of one size
	level    Level
	severity Severity
	quantity float64 // pieces, or inches of a by-length kind; set by fit when byFit
	byFit    bool
	spec     *catalog.KindSpec
	raised   int // by so many rules
	rules    []*rules.Rule
	matches  []rules.Match // all hold together
	because  []Because

	chosen *option // of the selection that is being written; nil when it needs none
	status Status  // "" while open
	boxed  float64 // pieces of quantity that are in the box
	owned  float64 // pieces of quantity that are on hand
	bucket *catalog.Bucket
	equal  int     // tests that all forms of the bucket pass
	right  jetting // of metering sets
	known  *verdicts
	of     int64  // number of the demand's job in them
	bit    uint64 // of the demand; 0 for one whose verdicts are not kept

	found    group // what was found for it last, by itself
	foundFor aim
}

// verdicts are what demands said of forms, of late: the same few forms come up again and
// again, for bundles, in rivalries and under the next aim.
type verdicts struct {
	jobs int64
	last [1 << 9]verdict // by the end of a form's number
}

type verdict struct {
	job      int64
	form     int32
	said, ok uint64 // demands that were asked, and those that accept the form, a bit each
}

// accepts reports whether a form meets every match of the demand.
func (d *demand) accepts(f *catalog.Form) bool {
	n := f.Number()
	if d.bit == 0 || n == 0 {
		return d.matched(f)
	}
	v := &d.known.last[int(n)%len(d.known.last)]
	if v.form != n || v.job != d.of {
		*v = verdict{job: d.of, form: n}
	}
	if v.said&d.bit == 0 {
		v.said |= d.bit
		if d.matched(f) {
			v.ok |= d.bit
		}
	}
	return v.ok&d.bit != 0
}

// matched is accepts from the form alone.
func (d *demand) matched(f *catalog.Form) bool {
	for i := range d.matches {
		if !d.matches[i].Accepts(f) {
			return false
		}
	}
	return true
}

// asked is the value that the matches want of an attribute, "" when they leave it open.
func (d *demand) asked(attr string) string {
	for i := range d.matches {
		for _, t := range d.matches[i].Tests {
			if t.Op == rules.Equal && t.Attr == attr {
				return t.Value.Text
			}
		}
	}
	return ""
}

// takers are the open demands that accept a form.
func (j *job) takers(f *catalog.Form) iter.Seq[*demand] {
	return func(yield func(*demand) bool) {
		for _, d := range j.scratch.byKind[f.Spec().Index()] {
			if d.status == "" && d.accepts(f) && !yield(d) {
				return
			}
		}
	}
}

// wanted reports whether a form meets some open demand.
func (j *job) wanted(f *catalog.Form) bool {
	for d := range j.takers(f) {
		if j.fits(d, f) {
			return true
		}
	}
	return false
}

// raise adds a demand to those of the job.
func (j *job) raise(d *demand) {
	j.demands = append(j.demands, d)
	j.sortByKind(d)
}

func (j *job) sortByKind(demands ...*demand) {
	for _, d := range demands {
		list := &j.scratch.byKind[d.spec.Index()]
		*list = append(*list, d)
	}
}

// remaining is the quantity neither in the box nor on hand.
func (d *demand) remaining() float64 { return max(0, d.quantity-d.boxed-d.owned) }

// idle reports whether the kit chosen does without what is demanded, as it need not feed a
// choke or seal a pipe thread.
func (d *demand) idle() bool {
	o := d.chosen
	return d.status == NotNeeded || d.status == "" && o != nil && o.path == nil && o.stack == nil && len(o.uses) == 0
}

var (
	levels     = []Level{Required, Recommended, Optional}
	severities = []Severity{Blocking, Serious, Minor}
)

// rank orders levels, most important first.
func (l Level) rank() int { return slices.Index(levels, l) }

// rank orders severities, worst first.
func (s Severity) rank() int { return slices.Index(severities, s) }

// gather merges what the rules raised into demands, ordered by need and size. What the
// kit keeps of them is not in the scratch.
func gather(fired []rules.Fired, r *scratch) []*demand {
	r.verdicts.jobs++
	demands := lend(&r.demands, len(fired))[:0]
	var sorted [maxFired]int32 // by rule fired, its demand
	of := sorted[:0]
	for i := range fired {
		f := &fired[i]
		of = append(of, -1)
		if f.Rule.Need == "" {
			continue
		}
		n := 0
		for n < len(demands) && (demands[n].need != f.Rule.Need || demands[n].each != f.Each) {
			n++
		}
		if n == len(demands) {
			spec, _ := f.Rule.Kind.Spec()
			demands = append(demands, demand{need: f.Rule.Need, each: f.Each, level: Level(f.Level), severity: Severity(f.Rule.Severity), spec: spec})
		}
		of[i] = int32(n)
		demands[n].raised++
	}
	rest := make([]Because, len(fired))
	out := lend(&r.demandList, len(demands))
	for n := range demands {
		d := &demands[n]
		if n < 64 {
			d.known, d.of, d.bit = &r.verdicts, r.verdicts.jobs, 1<<n
		}
		d.rules, d.matches = lend(&r.rules, d.raised)[:0], lend(&r.matches, d.raised)[:0]
		d.because, rest = rest[:0:d.raised], rest[d.raised:]
		out[n] = d
	}
	for i, n := range of {
		if n < 0 {
			continue
		}
		f, d := &fired[i], &demands[n]
		if Level(f.Level).rank() < d.level.rank() {
			d.level = Level(f.Level)
		}
		if Severity(f.Rule.Severity).rank() < d.severity.rank() {
			d.severity = Severity(f.Rule.Severity)
		}
		d.quantity = max(d.quantity, f.Quantity)
		d.byFit = d.byFit || f.ByFit
		d.rules = append(d.rules, f.Rule)
		d.matches = append(d.matches, f.Match)
		d.because = append(d.because, Because{Rule: f.Rule.ID, Text: f.Because, Source: f.Rule.Source})
	}
	slices.SortStableFunc(out, func(a, b *demand) int {
		if c := strings.Compare(a.need, b.need); c != 0 {
			return c
		}
		return a.each - b.each
	})
	return out
}

// maxFired is how many rules may fire for a kit before they take memory of their own.
const maxFired = 64

func find(demands []*demand, need string, each int) *demand {
	for _, d := range demands {
		if d.need == need && d.each == each {
			return d
		}
	}
	return nil
}

// settle takes off what is in the box, what is on hand and what the owner does not
// want. What is had by need comes off the quantity here; what is had by SKU enters
// selection as free supply, so that it serves whatever it fits best.
func settle(demands []*demand, c *catalog.Carburetor, req *Request, levels []Level) {
	for _, in := range c.InBox {
		if in.Need != "" {
			take(demands, in.Need, float64(in.Quantity), func(*demand) float64 { return 1 }, func(d *demand) *float64 { return &d.boxed })
		}
	}
	for _, h := range req.OnHand {
		if h.Need != "" {
			quantity := float64(h.Quantity)
			if h.Quantity == 0 {
				quantity = 1e9
			}
			take(demands, h.Need, quantity, (*demand).remaining, func(d *demand) *float64 { return &d.owned })
		}
	}
	for _, d := range demands {
		d.status = unwanted(d, req, levels)
		switch {
		case d.status != "":
		case d.byFit || d.remaining() > 0:
		case d.owned > 0:
			d.status = OnTheShelf
		default:
			d.status = InTheBox
		}
	}
}

// unwanted is the status of a demand that nobody wants met, "" for others.
func unwanted(d *demand, req *Request, levels []Level) Status {
	switch {
	case slices.Contains(req.Preferences.Declined, d.need):
		return Declined
	case !slices.Contains(levels, d.level):
		return NotAsked
	}
	return ""
}

// take spreads what is had over the demands of a need: pieces, of by-length goods so many
// for each length: one made for the job from the box, inches from the shelf. A length that
// is too short is of no use.
func take(demands []*demand, need string, had float64, forLength func(*demand) float64, into func(*demand) *float64) {
	for _, d := range demands {
		if d.need != need || had <= 0 {
			continue
		}
		switch {
		case d.byFit:
			*into(d) = had
		case d.spec.ByLength:
			if n := forLength(d); n <= had {
				had -= n
				*into(d) = d.remaining()
			}
		default:
			n := min(had, d.remaining())
			*into(d) += n
			had -= n
		}
	}
}

// uncounted are needs of which the fuel path decides how much a kit takes.
var uncounted = []string{"fuel.hose", "fuel.fittings", "fuel.clamps"}
