package catalog

import (
	"cmp"
	"math"
	"slices"
	"sort"
	"strings"
)

// Laddering is what the searches that an index is for look at.
type Laddering struct {
	Least  string                 // a number of which they may ask so much or more, "" for none
	Packs  bool                   // they may take several of a part
	AsGood func(f, as *Form) bool // they accept the first of two forms of a kind whenever they accept the second; nil: not known
}

// LadderPack is the largest pack that ladders tell apart.
const LadderPack = 3

// A Ladder is parts of one finish and thread, and where packs count of one pack, for a search
// among sizes that takes at most LadderPack of each: the lowest first, of stud sets the
// longest; of one size form by form, the form of the cheapest part first, by price, then by
// SKU.
type Ladder struct {
	Finish Finish
	Pack   int // LadderPack stands for more too; 0: of any
	Thread string
	Least  string // as in Laddering
	Rungs  []Rung

	rises []int32 // the rungs that have more than all before them
}

// A Rung is one part. All after it and before Next are no lower and, by price and then by
// SKU, come after it: who can have this one wants none of those.
type Rung struct {
	Part       *Part
	PriceMinor int64
	RankIn     float64 // the height, of stud sets the length taken negative
	Has        float64 // of the attribute Least; minus infinity when it is not stated
	Next       int32
	More       int32 // the first after it that has more
	Past       int32 // the first after it of another form
	Bundled    bool  // some bundle holds it
}

// newLadders puts the parts of rows on ladders.
func newLadders(rows []Row, by Laddering) []Ladder {
	var out []Ladder
	for _, row := range rows {
		pack := 0
		if by.Packs {
			pack = min(row.Pack, LadderPack)
		}
		for _, sold := range row.Parts {
			p := sold.Part
			r := Rung{Part: p, PriceMinor: sold.PriceMinor, RankIn: p.HeightIn, Bundled: len(p.bundles) > 0}
			if !p.spec.NeedsHeight {
				r.RankIn = -p.LengthIn
			}
			thread := p.Text("thread")
			i := slices.IndexFunc(out, func(l Ladder) bool { return l.Finish == row.Finish && l.Pack == pack && l.Thread == thread })
			if i < 0 {
				i = len(out)
				out = append(out, Ladder{Finish: row.Finish, Pack: pack, Thread: thread, Least: by.Least})
			}
			out[i].Rungs = append(out[i].Rungs, r)
		}
	}
	for i := range out {
		out[i].sort()
	}
	return out
}

// From is the first rung that has so much of Least, the number of rungs when none has.
func (l *Ladder) From(least float64) int {
	i := sort.Search(len(l.rises), func(i int) bool { return l.Rungs[l.rises[i]].Has >= least })
	if i == len(l.rises) {
		return len(l.Rungs)
	}
	return int(l.rises[i])
}

func (l *Ladder) sort() {
	rungs := slices.Clip(l.Rungs)
	slices.SortFunc(rungs, func(a, b Rung) int { return cmp.Or(cmp.Compare(a.RankIn, b.RankIn), a.comparePrice(&b)) })
	place := map[*Form]int{} // that its cheapest part gives it
	for i := range rungs {
		if f := rungs[i].Part.Form; place[f] == 0 {
			place[f] = i + 1
		}
	}
	slices.SortStableFunc(rungs, func(a, b Rung) int { return place[a.Part.Form] - place[b.Part.Form] })
	l.Rungs = rungs
	for i := len(rungs) - 1; i >= 0; i-- {
		r := &rungs[i]
		if a, stated := r.Part.Attr(l.Least); stated {
			r.Has = a.Value.Num
		} else {
			r.Has = math.Inf(-1)
		}
		// What is between a rung and the one that it leads to can be jumped over from here too.
		next, more := i+1, i+1
		for next < len(rungs) && r.comparePrice(&rungs[next]) <= 0 {
			next = int(rungs[next].Next)
		}
		for more < len(rungs) && rungs[more].Has <= r.Has {
			more = int(rungs[more].More)
		}
		r.Next, r.Past, r.More = int32(next), int32(i+1), int32(more)
		if i+1 < len(rungs) && rungs[i+1].Part.Form == r.Part.Form {
			r.Past = rungs[i+1].Past
		}
	}
	for i := 0; i < len(rungs); i = int(rungs[i].More) {
		l.rises = append(l.rises, int32(i))
	}
}

func (r *Rung) comparePrice(o *Rung) int {
	return cmp.Or(cmp.Compare(r.PriceMinor, o.PriceMinor), strings.Compare(r.Part.SKU, o.Part.SKU))
}
