package catalog

import (
	"cmp"
	"slices"
	"strings"
)

// LadderPack is the largest pack that ladders tell apart.
const LadderPack = 3

// A Ladder is parts of one finish, pack and thread, for a search among sizes that takes at
// most LadderPack of each: the lowest first, of stud sets the longest; of one size by price,
// then by SKU.
type Ladder struct {
	Finish Finish
	Pack   int // LadderPack stands for more too
	Thread string
	Rungs  []Rung
}

// A Rung is one part. All after it and before Next are no lower and, by price and then by
// SKU, come after it: who can have this one wants none of those.
type Rung struct {
	Part       *Part
	PriceMinor int64
	RankIn     float64 // the height, of stud sets the length taken negative
	Next       int32
}

// newLadders puts the parts of rows on ladders.
func newLadders(rows []Row) []Ladder {
	var out []Ladder
	for _, row := range rows {
		pack := min(row.Pack, LadderPack)
		for _, p := range row.Parts {
			r := Rung{Part: p, PriceMinor: p.Price.AmountMinor, RankIn: p.HeightIn}
			if !p.spec.NeedsHeight {
				r.RankIn = -p.LengthIn
			}
			thread := p.Text("thread")
			i := slices.IndexFunc(out, func(l Ladder) bool { return l.Finish == row.Finish && l.Pack == pack && l.Thread == thread })
			if i < 0 {
				i = len(out)
				out = append(out, Ladder{Finish: row.Finish, Pack: pack, Thread: thread})
			}
			out[i].Rungs = append(out[i].Rungs, r)
		}
	}
	for i := range out {
		rungs := slices.Clip(out[i].Rungs)
		slices.SortFunc(rungs, func(a, b Rung) int { return cmp.Or(cmp.Compare(a.RankIn, b.RankIn), a.comparePrice(&b)) })
		for k := len(rungs) - 1; k >= 0; k-- {
			next := k + 1
			for next < len(rungs) && rungs[k].comparePrice(&rungs[next]) <= 0 {
				next = int(rungs[next].Next) // those between come after that one, so after this one too
			}
			rungs[k].Next = int32(next)
		}
		out[i].Rungs = rungs
	}
	return out
}

func (r *Rung) comparePrice(o *Rung) int {
	return cmp.Or(cmp.Compare(r.PriceMinor, o.PriceMinor), strings.Compare(r.Part.SKU, o.Part.SKU))
}
