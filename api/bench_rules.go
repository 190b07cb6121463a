package main

import (
	"context"
	"fmt"
	"runtime"
	"slices"
	"time"

	"onetrip/internal/kit"
	"onetrip/internal/rules"
)

// benchRulesCommand measures a trial of rules on a synthetic catalogue.
type benchRulesCommand struct {
	Parts       int    `default:"20000" help:"Parts in the catalogue, the demo's included (${default})."`
	Vehicles    int    `default:"20000" help:"Vehicles in it (${default})."`
	Carburetors int    `default:"300" help:"Carburetors in it (${default})."`
	Seed        uint64 `default:"1" help:"Another seed makes another catalogue; the same makes the same (${default})."`
	Rule        string `default:"choke-relay" placeholder:"ID" help:"Rule that is left out in the trial (${default})."`
}

// Run tries the catalogue's rules without the one.
func (c *benchRulesCommand) Run(ctx context.Context, s streams) error {
	b := &bench{ctx: ctx, out: s.out}
	data, err := (&benchCatalogueCommand{Parts: c.Parts, Vehicles: c.Vehicles, Carburetors: c.Carburetors, Seed: c.Seed}).make()
	if err != nil {
		return err
	}
	snapshot, err := kit.Open(data)
	if err != nil {
		return err
	}
	texts := slices.DeleteFunc(snapshot.Rules.Texts(), func(t rules.Text) bool { return t.ID == c.Rule })
	if len(texts) == len(snapshot.Rules.Rules()) {
		return &inputError{fmt.Errorf("--rule %s: there is no such rule", c.Rule)}
	}
	after, err := rules.CheckTexts(texts)
	if err != nil {
		return err
	}
	before := heapMB()
	began := time.Now()
	t, err := kit.Try(ctx, snapshot, after, kit.TrialQuery{})
	if err != nil {
		return err
	}
	took := time.Since(began).Seconds()
	b.say("%s, %d cores: a trial without rule %s of %d vehicles (%d classes, shared %.1f times) and %d carburetors took %.1f s, %.0f pairs a second",
		processor(), runtime.GOMAXPROCS(0), c.Rule, c.Vehicles, t.Classes, float64(c.Vehicles)/float64(t.Classes), c.Carburetors, took, float64(t.Pairs)/took)
	b.say("%d of %d pairs change; %d kits were resolved; the heap was %.0f MB before and %.0f MB after", t.Changed, t.Pairs, t.Resolved, before, heapMB())
	return b.err
}
