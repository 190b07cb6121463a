package kit

import (
	"context"

	"onetrip/internal/pick"
)

// Selection is the selection problem of a request under its own objective, and how it is
// solved. The problem stands in borrowed memory until release.
func Selection(ctx context.Context, s *Snapshot, req *Request) (p *pick.Problem, solution pick.Solution, release func(), err error) {
	j, err := s.read(req)
	if err != nil {
		return nil, pick.Solution{}, nil, err
	}
	if err = j.demand(); err == nil {
		sel := &selection{aim: j.aim, groups: j.groups(j.aim)}
		p, _ = j.problem(sel)
		solution, err = solve(ctx, p)
	}
	return p, solution, j.release, err
}

// CodeAlphabet and CheckValue are what codes are made with.
const CodeAlphabet = codeAlphabet

var CheckValue = checkValue

// SetMostSettled bounds what sweeps share, until restore.
func SetMostSettled(n int) (restore func()) {
	was := mostSettled
	mostSettled = n
	return func() { mostSettled = was }
}
