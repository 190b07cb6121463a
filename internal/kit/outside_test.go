//go:build !race

package kit_test

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"runtime"
	"slices"
	"sync"
	"testing"

	"onetrip/internal/kit"
	"onetrip/internal/pick"
	"onetrip/internal/pick/outside"
)

// The selection of every vehicle and carburetor of the demo catalogue costs what it costs
// when glpsol (GLPK, Debian package glpk-utils) selects. Without glpsol only our own side is
// checked, and with ONETRIP_REQUIRE_GLPSOL=1 the test fails.
func TestEveryPairCostsWhatGLPKFinds(t *testing.T) {
	t.Parallel()
	glpsol, err := exec.LookPath("glpsol")
	if err != nil && os.Getenv("ONETRIP_REQUIRE_GLPSOL") == "1" {
		t.Fatal("glpsol is not installed: apt-get install glpk-utils")
	}
	s := demoSnapshot(t)
	requests := make(chan *kit.Request)
	var workers sync.WaitGroup
	for range runtime.NumCPU() {
		dir := t.TempDir()
		workers.Go(func() {
			for r := range requests {
				if err := checkOutside(t.Context(), s, r, glpsol, dir); err != nil {
					t.Errorf("%s with %s: %v", r.VehicleID, r.CarburetorSKU, err)
				}
			}
		})
	}
	for _, v := range s.Catalog.Vehicles() {
		for _, c := range s.Catalog.Carburetors() {
			requests <- &kit.Request{VehicleID: v.ID, CarburetorSKU: c.SKU}
		}
	}
	close(requests)
	workers.Wait()
}

// checkOutside compares one selection with glpsol's; glpsol is "" where there is none.
func checkOutside(ctx context.Context, s *kit.Snapshot, r *kit.Request, glpsol, dir string) error {
	p, solution, release, err := kit.Selection(ctx, s, r)
	if err != nil {
		return err
	}
	defer release()
	cost, err := outside.Verify(p, solution.Choice, solution.Buy)
	if err != nil {
		return err
	}
	if !solution.Optimal || cost.Int64() != solution.Cost {
		return fmt.Errorf("cost %v, said to be %d, proven: %v", cost, solution.Cost, solution.Optimal)
	}
	if glpsol == "" {
		return nil
	}
	choice, buy, err := outside.GLPK(glpsol, dir, withoutCommonPenalty(p))
	if err != nil {
		return err
	}
	other, err := outside.Verify(p, choice, buy)
	if err != nil {
		return fmt.Errorf("glpsol's selection: %w", err)
	}
	if cost.Cmp(other) != 0 {
		return fmt.Errorf("cost %v, glpsol's %v", cost, other)
	}
	return nil
}

// withoutCommonPenalty takes off the penalty that all options of a group have: it decides
// nothing, and what a part that nobody sells counts is so much that glpsol, which reckons in
// floating point, would not see cents beside it.
func withoutCommonPenalty(p *pick.Problem) *pick.Problem {
	out := *p
	out.Groups = slices.Clone(p.Groups)
	for g := range out.Groups {
		options := slices.Clone(out.Groups[g].Options)
		least := options[0].Penalty
		for _, o := range options {
			least = min(least, o.Penalty)
		}
		for i := range options {
			options[i].Penalty -= least
		}
		out.Groups[g].Options = options
	}
	return &out
}
