package store_test

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"math/rand/v2"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/jackc/pgx/v5/pgxpool"

	"onetrip/internal/catalog"
	"onetrip/internal/rules"
	"onetrip/internal/store"
)

var whatever = catalog.Precondition{IfMatch: []string{"*"}}

// caution is a rule of a text of one's own.
func caution(id, text string) string {
	return fmt.Sprintf("- id: %s\n  when: vehicle.road.on_road\n  caution: {id: road.test, text: %q, source: s}\n  source: s\n", id, text)
}

func draft(t testing.TB, w *store.Writer) *rules.Draft {
	t.Helper()
	d, err := w.RuleDraft(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func seen(d *rules.Draft) catalog.Precondition {
	return catalog.Precondition{IfMatch: []string{d.ETag()}}
}

func TestRulesAreDraftedPublishedAndKept(t *testing.T) {
	_, pool := seeded(t)
	live := follow(t, pool, nil)
	w := &store.Writer{Pool: pool, Live: live}
	ctx := context.Background()
	hose := draft(t, w).Text("fuel-hose")
	if hose == "" || len(draft(t, w).Changes) != 0 {
		t.Fatal("no rule fuel-hose, or a draft from the start")
	}

	changed := strings.Replace(hose, "severity: blocking", "severity: serious # for now", 1)
	written, err := w.PutRule(ctx, "ann", "fuel-hose", changed, false, catalog.Precondition{IfMatch: []string{rules.ETag(hose)}})
	if err != nil || written.Created || written.Revision != 1 || written.ETag != rules.ETag(changed) {
		t.Fatalf("%+v, %v", written, err)
	}
	if _, err := w.PutRule(ctx, "bob", "fuel-hose", hose, false, catalog.Precondition{IfMatch: []string{rules.ETag(hose)}}); !errors.Is(err, catalog.ErrPreconditionFailed) {
		t.Errorf("over a newer text: %v", err)
	}
	if written, err = w.PutRule(ctx, "bob", "road-test", caution("road-test", "one"), false, catalog.Precondition{IfNoneMatch: true}); err != nil || !written.Created {
		t.Fatalf("%+v, %v", written, err)
	}
	if _, err := w.DeleteRule(ctx, "bob", "shop-fender-cover", whatever); err != nil {
		t.Fatal(err)
	}
	if _, err := w.DeleteRule(ctx, "bob", "shop-fender-cover", whatever); !errors.Is(err, catalog.ErrPreconditionFailed) {
		t.Errorf("deleted twice: %v", err)
	}
	var wrong rules.Errors
	if _, err := w.PutRule(ctx, "bob", "road-test", strings.Replace(caution("road-test", "x"), "on_road", "on_raod", 1), false, whatever); !errors.As(err, &wrong) ||
		err.Error() != `road-test:2:22: unknown field "on_raod" of vehicle.road; did you mean on_road?` {
		t.Errorf("a slip: %v", err)
	}

	d := draft(t, w)
	if len(d.Changes) != 3 || d.Changes[0].Before != hose || d.Changes[0].After != changed || d.Changes[0].Actor != "ann" ||
		d.Changes[1].ID != "road-test" || d.Changes[1].Before != "" || d.Changes[2].After != "" || time.Since(d.Changes[0].At) > time.Hour {
		t.Fatalf("draft %+v", d.Changes)
	}
	same(t, load(t, pool), seed(t)) // nothing is published yet

	published, err := w.PublishRules(ctx, "cid", seen(d))
	if err != nil || published.Revision != 2 {
		t.Fatalf("%+v, %v", published, err)
	}
	await(t, live, 2, patience)
	if deltas, loads := live.Refreshes(); deltas != 1 || loads != 1 { // the load is that of Follow
		t.Errorf("%d deltas and %d loads, want the rules taken over alone", deltas, loads)
	}
	set := live.Snapshot().Rules
	if r := rule(set, "fuel-hose"); r.Severity != "serious" || r.Text != changed || r.File != "fuel.yaml" {
		t.Errorf("fuel-hose is %+v", r)
	}
	if rule(set, "road-test") == nil || rule(set, "shop-fender-cover") != nil {
		t.Error("the new rule is not there, or the deleted one is")
	}
	if d := draft(t, w); len(d.Changes) != 0 {
		t.Errorf("left in the draft: %+v", d.Changes)
	}
	again, err := w.PublishRules(ctx, "cid", whatever)
	if err != nil || again.Revision != 2 {
		t.Errorf("nothing published: %+v, %v", again, err)
	}

	// Written back as it is published, a draft vanishes.
	if _, err := w.PutRule(ctx, "ann", "fuel-hose", hose, false, whatever); err != nil || len(draft(t, w).Changes) != 1 {
		t.Fatal(err)
	}
	if _, err := w.PutRule(ctx, "ann", "fuel-hose", "\n\n"+changed+"\n", false, whatever); err != nil || len(draft(t, w).Changes) != 0 {
		t.Errorf("%v, draft %+v", err, draft(t, w).Changes)
	}

	back, err := w.RollBackRules(ctx, "dan", 1)
	if err != nil || back.Revision != 3 {
		t.Fatalf("%+v, %v", back, err)
	}
	if got := load(t, pool).RuleFiles; !maps.Equal(got, seed(t).RuleFiles) {
		t.Error("rolled back, the rules are not those of revision 1")
	}
	if back, err = w.RollBackRules(ctx, "dan", 1); err != nil || back.Revision != 3 {
		t.Errorf("rolled back twice: %+v, %v", back, err)
	}
	for _, to := range []int64{0, -1, 4} {
		var invalid *catalog.InvalidError
		if _, err := w.RollBackRules(ctx, "dan", to); !errors.As(err, &invalid) {
			t.Errorf("to revision %d: %v", to, err)
		}
	}

	revisions, err := w.RuleRevisions(ctx)
	if err != nil || len(revisions) != 2 {
		t.Fatalf("%+v, %v", revisions, err)
	}
	if r := revisions[1]; r.Revision != 2 || r.Actor != "cid" || fmt.Sprint(r.Added, r.Changed, r.Deleted) != "[road-test] [fuel-hose] [shop-fender-cover]" ||
		r.Summary != "publish rules fuel-hose, road-test, shop-fender-cover" {
		t.Errorf("%+v", r)
	}
	if r := revisions[0]; r.Revision != 3 || r.Actor != "dan" || fmt.Sprint(r.Added, r.Changed, r.Deleted) != "[shop-fender-cover] [fuel-hose] [road-test]" {
		t.Errorf("%+v", r)
	}
	history, err := w.RuleHistory(ctx, "fuel-hose")
	if err != nil || len(history) != 2 || history[0].Before != changed || history[0].After != hose || history[1].Actor != "cid" || history[1].After != changed {
		t.Errorf("%+v, %v", history, err)
	}
	if history, err = w.RuleHistory(ctx, "road-test"); err != nil || len(history) != 2 || history[0].After != "" || history[1].Before != "" {
		t.Errorf("%+v, %v", history, err)
	}
}

func rule(set *rules.Set, id string) *rules.Rule {
	for _, r := range set.Rules() {
		if r.ID == id {
			return r
		}
	}
	return nil
}

// A set that does not go together is refused as a whole, with everything wrong in it.
func TestPublishingIsAllOrNothing(t *testing.T) {
	_, pool := seeded(t)
	w := &store.Writer{Pool: pool}
	ctx := context.Background()
	d := draft(t, w)
	for id, edit := range map[string][2]string{
		"fuel-hose-ethanol": {"quantity: by_fit", "quantity: 2"},
		"fuel-clamps":       {"severity: blocking", "severity: minor"},
	} {
		if _, err := w.PutRule(ctx, "ann", id, strings.Replace(d.Text(id), edit[0], edit[1], 1), false, whatever); err != nil {
			t.Fatalf("%s: %v", id, err)
		}
	}
	if _, err := w.PutRule(ctx, "ann", "fuel-hose-other", strings.NewReplacer("fuel-hose-high-pressure", "fuel-hose-other", "fuel_hose", "vacuum_hose", "class: 30R9", "service: pcv").
		Replace(d.Text("fuel-hose-high-pressure")), false, catalog.Precondition{IfNoneMatch: true}); err != nil {
		t.Fatal(err)
	}
	_, err := w.PublishRules(ctx, "ann", seen(draft(t, w)))
	var wrong rules.Errors
	if !errors.As(err, &wrong) || len(wrong) != 2 || wrong[0].File != "fuel-hose-ethanol" || wrong[1].File != "fuel-hose-other" {
		t.Fatalf("got %v", err)
	}
	same(t, load(t, pool), seed(t))
	if n := len(draft(t, w).Changes); n != 3 {
		t.Errorf("%d changes are left in the draft, want 3", n)
	}
	if _, err := w.DiscardRuleDraft(ctx, "ann", seen(&rules.Draft{})); !errors.Is(err, catalog.ErrPreconditionFailed) {
		t.Errorf("a draft not seen is thrown away: %v", err)
	}
	if _, err := w.DiscardRuleDraft(ctx, "ann", seen(draft(t, w))); err != nil || len(draft(t, w).Changes) != 0 {
		t.Error(err)
	}
}

// Whoever publishes a draft publishes the one that was seen.
func TestADraftThatChangedIsNotPublished(t *testing.T) {
	_, pool := seeded(t)
	w := &store.Writer{Pool: pool}
	ctx := context.Background()
	put := func(id, text string) {
		t.Helper()
		if _, err := w.PutRule(ctx, "ann", id, caution(id, text), false, catalog.Precondition{}); err != nil {
			t.Fatal(err)
		}
	}
	put("road-one", "first")
	d := draft(t, w)
	put("road-two", "by another")
	if _, err := w.PublishRules(ctx, "ann", seen(d)); !errors.Is(err, catalog.ErrPreconditionFailed) {
		t.Errorf("with another's change: %v", err)
	}
	if _, err := w.PublishRules(ctx, "ann", seen(draft(t, w))); err != nil {
		t.Fatal(err)
	}
	put("road-one", "second")
	d = draft(t, w)
	if _, err := w.RollBackRules(ctx, "bob", 1); err != nil {
		t.Fatal(err)
	}
	if _, err := w.PublishRules(ctx, "ann", seen(d)); !errors.Is(err, catalog.ErrPreconditionFailed) {
		t.Errorf("over rules that were rolled back meanwhile: %v", err)
	}
	if d = draft(t, w); len(d.Changes) != 1 || d.Changes[0].Before != "" {
		t.Errorf("the draft is %+v", d.Changes)
	}
}

func TestOneOfManyAuthorsWins(t *testing.T) {
	_, pool := seeded(t)
	w := &store.Writer{Pool: pool}
	ctx := context.Background()
	const authors = 8
	d0 := draft(t, w)
	race := func(do func(i int) error) (won, lost int) {
		var wg sync.WaitGroup
		errs := make([]error, authors)
		for i := range authors {
			wg.Go(func() { errs[i] = do(i) })
		}
		wg.Wait()
		for _, err := range errs {
			switch {
			case err == nil:
				won++
			case errors.Is(err, catalog.ErrPreconditionFailed):
				lost++
			default:
				t.Error(err)
			}
		}
		return won, lost
	}
	before := catalog.Precondition{IfMatch: []string{rules.ETag(d0.Text("fuel-hose"))}}
	if won, lost := race(func(i int) error {
		_, err := w.PutRule(ctx, fmt.Sprint(i), "fuel-hose", fmt.Sprintf("# by %d\n%s", i, d0.Text("fuel-hose")), false, before)
		return err
	}); won != 1 || lost != authors-1 {
		t.Errorf("one rule: %d won, %d lost", won, lost)
	}
	if won, _ := race(func(i int) error {
		id := fmt.Sprintf("road-own-%d", i)
		_, err := w.PutRule(ctx, fmt.Sprint(i), id, caution(id, "own"), false, catalog.Precondition{IfNoneMatch: true})
		return err
	}); won != authors {
		t.Errorf("rules of their own: %d of %d written", won, authors)
	}
	d := draft(t, w)
	if len(d.Changes) != authors+1 {
		t.Errorf("%d changes, want %d", len(d.Changes), authors+1)
	}
	if won, lost := race(func(i int) error {
		_, err := w.PublishRules(ctx, fmt.Sprint(i), seen(d))
		return err
	}); won != 1 || lost != authors-1 {
		t.Errorf("publishing: %d won, %d lost", won, lost)
	}
	if got := load(t, pool); got.Revision != 2 || !strings.Contains(got.RuleFiles["road.yaml"], "- id: road-own-7") {
		t.Errorf("revision %d", got.Revision)
	}
}

// A publisher that dies on the way leaves nothing behind.
func TestAKilledPublisherLeavesNothing(t *testing.T) {
	_, pool := seeded(t)
	w := &store.Writer{Pool: pool}
	ctx := context.Background()
	if _, err := w.PutRule(ctx, "ann", "road-test", caution("road-test", "x"), false, catalog.Precondition{}); err != nil {
		t.Fatal(err)
	}
	block, err := pool.Begin(ctx)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = block.Rollback(ctx) }()
	if _, err := block.Exec(ctx, "LOCK TABLE rule_drafts IN SHARE MODE"); err != nil { // what publishing does last has to wait
		t.Fatal(err)
	}
	done := make(chan error)
	go func() {
		_, err := w.PublishRules(ctx, "ann", whatever)
		done <- err
	}()
	killed := false
	for deadline := time.Now().Add(patience); !killed; time.Sleep(10 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatal("the publisher never waited for the lock")
		}
		killed = kill(t, pool, "DELETE FROM rule_drafts")
	}
	if err := <-done; !errors.Is(err, catalog.ErrUnavailable) {
		t.Errorf("the killed publisher says %v", err)
	}
	if err := block.Rollback(ctx); err != nil {
		t.Fatal(err)
	}
	same(t, load(t, pool), seed(t))
	if d := draft(t, w); len(d.Changes) != 1 {
		t.Errorf("the draft is %+v", d.Changes)
	}
	if revisions, err := w.RuleRevisions(ctx); err != nil || len(revisions) != 0 {
		t.Errorf("history %+v, %v", revisions, err)
	}
	if published, err := w.PublishRules(ctx, "ann", whatever); err != nil || published.Revision != 2 {
		t.Errorf("%+v, %v", published, err)
	}
}

// kill ends the connection that waits for a lock in a statement.
func kill(t *testing.T, pool *pgxpool.Pool, statement string) (killed bool) {
	t.Helper()
	err := pool.QueryRow(context.Background(), `SELECT coalesce(bool_or(pg_terminate_backend(pid)), false) FROM pg_stat_activity
		WHERE datname = current_database() AND wait_event_type = 'Lock' AND query LIKE $1 || '%'`, statement).Scan(&killed)
	if err != nil {
		t.Fatal(err)
	}
	return killed
}

// Changes of rules and stock are taken over alone; with a changed part
// everything is loaded.
func TestReplicasTakeRulesOver(t *testing.T) {
	_, pool := seeded(t)
	live := follow(t, pool, nil)
	w := &store.Writer{Pool: pool}
	ctx := context.Background()
	part := live.Snapshot().Catalog.Parts()[0]
	change := func(n int, also func()) {
		t.Helper()
		if _, err := w.PutRule(ctx, "ann", "road-test", caution("road-test", fmt.Sprint(n)), false, catalog.Precondition{}); err != nil {
			t.Fatal(err)
		}
		if _, err := w.PublishRules(ctx, "ann", whatever); err != nil {
			t.Fatal(err)
		}
		var levels []catalog.StockLevel
		for _, l := range live.Snapshot().Catalog.Locations {
			levels = append(levels, catalog.StockLevel{Location: l.ID, OnHand: 1000 + n})
		}
		if _, err := w.PutStock(ctx, "ann", part.SKU, levels, catalog.Precondition{}); err != nil {
			t.Fatal(err)
		}
		also()
		want := load(t, pool)
		await(t, live, want.Revision, patience)
		got := live.Snapshot()
		if r := rule(got.Rules, "road-test"); r == nil || r.Text != caution("road-test", fmt.Sprint(n)) {
			t.Errorf("round %d: the rule is %+v", n, r)
		}
		p, err := got.Catalog.Part(part.SKU)
		if err != nil || got.Catalog.StockLevels(&p.Offer)[0].OnHand != 1000+n {
			t.Errorf("round %d: the stock is another, %v", n, err)
		}
	}
	for n := range 3 {
		change(n, func() {})
	}
	if _, loads := live.Refreshes(); loads != 1 {
		t.Errorf("%d loads for changes of rules and stock", loads)
	}
	change(3, func() {
		if _, err := w.PutPart(ctx, "ann", dearer(part, 7), catalog.Precondition{}); err != nil {
			t.Fatal(err)
		}
	})
	if p, err := live.Snapshot().Catalog.Part(part.SKU); err != nil || p.Price.AmountMinor != part.Price.AmountMinor+7 {
		t.Errorf("the part is as before, %v", err)
	}
}

// Whatever was published in whatever order, each revision's rules come back as they were.
func TestEveryRevisionCanBeRolledBackTo(t *testing.T) {
	_, pool := seeded(t)
	w := &store.Writer{Pool: pool}
	ctx := context.Background()
	random := rand.New(rand.NewPCG(6, 1))
	at := map[int64]map[string]string{1: load(t, pool).RuleFiles}
	rounds := 25
	if testing.Short() {
		rounds = 3
	}
	for range rounds {
		d := draft(t, w)
		texts := d.Texts()
		for range 1 + random.IntN(4) {
			id := texts[random.IntN(len(texts))].ID
			var err error
			switch random.IntN(3) {
			case 0:
				_, err = w.DeleteRule(ctx, "a", id, catalog.Precondition{})
				if missing := (*catalog.NotFoundError)(nil); errors.As(err, &missing) {
					err = nil // deleted in this round already
				}
			case 1:
				if text := d.Text(id); text != "" {
					_, err = w.PutRule(ctx, "b", id, fmt.Sprintf("# note %d\n%s", random.IntN(9), text), false, catalog.Precondition{})
				}
			default:
				id = fmt.Sprintf("%s-new-%d", []string{"fuel", "road", "other"}[random.IntN(3)], random.IntN(4))
				_, err = w.PutRule(ctx, "c", id, caution(id, fmt.Sprint(random.IntN(9))), false, catalog.Precondition{})
			}
			if err != nil {
				t.Fatal(err)
			}
		}
		if random.IntN(5) == 0 {
			back := 1 + random.Int64N(int64(len(at)))
			if _, err := w.RollBackRules(ctx, "d", back); err != nil {
				t.Fatal(err)
			}
			now := load(t, pool)
			if !maps.Equal(now.RuleFiles, at[back]) {
				t.Fatalf("rolled back to %d, the rules differ", back)
			}
			at[now.Revision] = now.RuleFiles
		}
		if _, err := w.PublishRules(ctx, "e", seen(draft(t, w))); err != nil {
			t.Fatal(err)
		}
		now := load(t, pool)
		at[now.Revision] = now.RuleFiles
	}
	for revision, want := range at {
		if _, err := w.RollBackRules(ctx, "d", revision); err != nil {
			t.Fatal(err)
		}
		if got := load(t, pool).RuleFiles; !maps.Equal(got, want) {
			t.Errorf("rolled back to %d, the rules differ", revision)
		}
	}
}
