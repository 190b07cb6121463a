package outside

import (
	"fmt"
	"math/big"

	"onetrip/internal/pick"
)

// Verify checks a solution against the problem from first principles and returns its cost, in big integers.
func Verify(p *pick.Problem, choice, buy []int32) (*big.Int, error) {
	cost := new(big.Int)
	have := map[int32]int64{}
	for _, a := range p.Free {
		have[a.Resource] += int64(a.Units)
	}
	for i, n := range buy {
		it := p.Items[i]
		if n < 0 || it.Max > 0 && n > it.Max {
			return nil, fmt.Errorf("item %d bought %d times, limit %d", i, n, it.Max)
		}
		cost.Add(cost, new(big.Int).Mul(big.NewInt(it.Unit), big.NewInt(int64(n))))
		if n > it.ChargeAbove {
			cost.Add(cost, big.NewInt(it.Charge))
		}
		for _, a := range it.Supplies {
			have[a.Resource] += int64(n) * int64(a.Units)
		}
	}
	for g, grp := range p.Groups {
		on := len(grp.When) == 0
		for _, ref := range grp.When {
			on = on || choice[ref.Group] == ref.Option
		}
		switch {
		case !on && choice[g] != -1:
			return nil, fmt.Errorf("group %d is inactive but has option %d", g, choice[g])
		case on && (choice[g] < 0 || int(choice[g]) >= len(grp.Options)):
			return nil, fmt.Errorf("group %d is active but has option %d", g, choice[g])
		case !on:
			continue
		}
		op := grp.Options[choice[g]]
		cost.Add(cost, big.NewInt(op.Penalty))
		for _, a := range op.Demands {
			have[a.Resource] -= int64(a.Units)
		}
	}
	for _, c := range p.Conflicts {
		if choice[c[0].Group] == c[0].Option && choice[c[1].Group] == c[1].Option {
			return nil, fmt.Errorf("conflict %v: both chosen", c)
		}
	}
	for r, n := range have {
		if n < 0 {
			return nil, fmt.Errorf("resource %d lacks %d units", r, -n)
		}
	}
	return cost, nil
}
