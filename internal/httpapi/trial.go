package httpapi

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"runtime"
	"slices"
	"time"

	"github.com/labstack/echo/v4"

	"onetrip/internal/catalog"
	"onetrip/internal/kit"
	"onetrip/internal/rules"
)

const mimeNDJSON = "application/x-ndjson"

// progressEvery is how often a trial tells how far it is.
const progressEvery = 500 * time.Millisecond

// TryRules serves POST /v1/rules/trial.
func (s *server) TryRules(c echo.Context) error {
	snap, err := s.snapshot()
	if err != nil {
		return err
	}
	return s.withBody(c, func(body []byte) error {
		asked, err := decode(body, schemaNamed("RuleTrialRequest"), func(*RuleTrialRequest) []catalog.Violation { return nil })
		if err != nil {
			return err
		}
		draft := &rules.Draft{Published: snap.Rules.Texts()}
		switch {
		case asked.Changes != nil:
			err = edit(draft, *asked.Changes)
		case s.writer != nil:
			var waiting *rules.Draft
			if waiting, err = s.writer.RuleDraft(c.Request().Context()); err == nil {
				draft.Changes = waiting.Changes
			}
		}
		if err != nil {
			return err
		}
		after, err := draft.Check()
		if err != nil {
			return err
		}
		q := kit.TrialQuery{Workers: max(1, runtime.GOMAXPROCS(0)/2)} // the other cores are for other callers
		if asked.VehicleIds != nil {
			if q.Vehicles, err = chosen("vehicle_ids", *asked.VehicleIds, snap.Catalog.Vehicle); err != nil {
				return err
			}
		}
		if asked.CarburetorSkus != nil {
			if q.Carburetors, err = chosen("carburetor_skus", *asked.CarburetorSkus, snap.Catalog.Carburetor); err != nil {
				return err
			}
		}
		return s.streamTrial(c, snap, after, q)
	})
}

// edit puts the changes of a request into a draft.
func edit(d *rules.Draft, edits []RuleEdit) error {
	var wrong rules.Errors
	var found []catalog.Violation
	for i, e := range edits {
		at := fmt.Sprintf("/changes/%d", i)
		before := d.PublishedText(e.ID)
		after := ""
		switch {
		case slices.ContainsFunc(d.Changes, func(c rules.Change) bool { return c.ID == e.ID }):
			found = append(found, catalog.Violation{Pointer: at + "/id", Detail: fmt.Sprintf("rule %s is changed already; list it once", clip(e.ID))})
			continue
		case !ruleID.MatchString(e.ID):
			found = append(found, catalog.Violation{Pointer: at + "/id", Detail: ruleIDForm})
			continue
		case e.Text != nil:
			after = rules.Normal(*e.Text)
		case before == "":
			found = append(found, catalog.Violation{Pointer: at + "/id", Detail: fmt.Sprintf("no rule %q is published; give the text of a new one", clip(e.ID))})
			continue
		}
		d.Changes = append(d.Changes, rules.Change{ID: e.ID, Before: before, After: after})
	}
	if len(found) > 0 {
		return invalid(found)
	}
	for _, c := range d.Changes {
		if c.After == "" {
			continue
		}
		var list rules.Errors
		if err := d.CheckText(c.ID, c.After, true); errors.As(err, &list) {
			wrong = append(wrong, list...)
		} else if err != nil {
			return err
		}
	}
	if len(wrong) > 0 {
		return wrong
	}
	return nil
}

// chosen finds what a list of a request names, each once.
func chosen[T any](member string, names []string, find func(string) (*T, error)) ([]*T, error) {
	var list []*T
	seen := map[*T]bool{}
	var found []catalog.Violation
	for i, name := range names {
		thing, err := find(name)
		if err != nil {
			found = append(found, catalog.Violation{Pointer: fmt.Sprintf("/%s/%d", member, i), Detail: err.Error()})
		} else if !seen[thing] {
			seen[thing], list = true, append(list, thing)
		}
	}
	if len(found) > 0 {
		return nil, invalid(found)
	}
	return list, nil
}

// streamTrial answers with progress and the result, a line each.
func (s *server) streamTrial(c echo.Context, snap *kit.Snapshot, after *rules.Set, q kit.TrialQuery) error {
	conn := http.NewResponseController(c.Response())
	_ = conn.SetReadDeadline(time.Time{}) // the server waits for the caller to leave; a test's recorder has no deadlines
	h := c.Response().Header()
	h.Set(echo.HeaderContentType, mimeNDJSON)
	h.Set(echo.HeaderCacheControl, noStore)
	out := &steadyWriter{c.Response(), conn}
	send := func(e RuleTrialEvent) error {
		b := takeBuffer()
		defer b.release()
		if err := b.value(e); err != nil {
			return err
		}
		b.WriteByte('\n')
		if _, err := b.WriteTo(out); err != nil {
			return err
		}
		return conn.Flush()
	}
	ctx, cancel := context.WithCancelCause(c.Request().Context())
	defer cancel(nil)
	last := time.Now()
	q.Progress = func(done, total int) {
		if time.Since(last) < progressEvery {
			return
		}
		last = time.Now()
		if err := send(RuleTrialEvent{Progress: &RuleTrialProgress{PairsDone: done, Pairs: total}}); err != nil {
			cancel(err)
		}
	}
	err := send(RuleTrialEvent{Progress: &RuleTrialProgress{Pairs: q.Pairs(snap)}})
	if err == nil {
		select {
		case s.trials <- struct{}{}:
			defer func() { <-s.trials }()
		case <-ctx.Done():
			return context.Cause(ctx)
		}
		var result *kit.Trial
		if result, err = kit.Try(ctx, snap, after, q); err == nil {
			err = send(RuleTrialEvent{Result: result})
		}
	}
	if err != nil && ctx.Err() == nil {
		s.cut(c, err)
	}
	return err
}
