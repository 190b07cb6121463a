package store_test

import (
	"context"
	"encoding/json"
	"errors"
	"log/slog"
	"testing"
	"time"

	"onetrip/internal/catalog"
	"onetrip/internal/coverage"
	"onetrip/internal/kit"
	"onetrip/internal/store"
	"onetrip/internal/store/storetest"
)

// reports is one replica with so many workers.
func reports(t testing.TB, dsn string, workers int) (*store.Reports, *store.Live) {
	t.Helper()
	pool := storetest.Pool(t, dsn)
	live := follow(t, pool, nil)
	r, err := store.NewReports(t.Context(), pool, live, workers, time.Minute, slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
		defer cancel()
		r.Close(ctx)
	})
	return r, live
}

// finished waits for the end of a report.
func finished(t testing.TB, r interface {
	Report(context.Context, string) (coverage.Report, error)
}, id string) coverage.Report {
	t.Helper()
	for end := time.Now().Add(2 * time.Minute); time.Now().Before(end); time.Sleep(50 * time.Millisecond) {
		report, err := r.Report(t.Context(), id)
		if err != nil {
			t.Fatal(err)
		}
		if report.Status != coverage.Running {
			return report
		}
	}
	t.Fatal("the report does not end")
	return coverage.Report{}
}

// inMemory is the same question answered in this process.
func inMemory(t testing.TB, s *kit.Snapshot, q coverage.Question) coverage.Report {
	t.Helper()
	m := coverage.NewMemory(func() *kit.Snapshot { return s }, 2)
	t.Cleanup(m.Close)
	r, err := m.Start(t.Context(), q)
	if err != nil {
		t.Fatal(err)
	}
	return finished(t, m, r.ID)
}

func asText(t testing.TB, v any) string {
	t.Helper()
	text, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

func TestReplicasShareAReportAndAnswerAsOneProcessDoes(t *testing.T) {
	dsn, _ := seeded(t)
	first, live := reports(t, dsn, 1)
	second, _ := reports(t, dsn, 1)
	for name, q := range map[string]coverage.Question{
		"stock":     {Basis: kit.InStock, Location: "tarnsley", Weights: []coverage.Weight{{VehicleID: "halvorne-ferrymaster-1972", Weight: 12}}},
		"catalogue": {Basis: kit.OnSale, Flanges: []catalog.Flange{catalog.TwoBoreLarge, catalog.TwoBoreSmall}},
	} {
		if testing.Short() && name == "stock" {
			continue
		}
		t.Run(name, func(t *testing.T) {
			started, err := first.Start(t.Context(), q)
			if err != nil {
				t.Fatal(err)
			}
			again, err := second.Start(t.Context(), q)
			if err != nil || again.ID != started.ID {
				t.Errorf("asked again of another replica: report %s, want %s, %v", again.ID, started.ID, err)
			}
			got, want := finished(t, second, started.ID), inMemory(t, live.Snapshot(), q)
			if got.Status != coverage.Done || asText(t, got.Answer) != asText(t, want.Answer) || len(want.Answer.StockNext.BestSet) == 0 {
				t.Errorf("%s %s\n got %s\nwant %s", got.Status, got.Failure, asText(t, got.Answer), asText(t, want.Answer))
			}
			if again, err = first.Start(t.Context(), q); err != nil || again.ID != started.ID || again.Status != coverage.Done {
				t.Errorf("asked when done: report %s %s, want %s, %v", again.ID, again.Status, started.ID, err)
			}
		})
	}
}

func TestAChangeOfTheCatalogueMakesANewReport(t *testing.T) {
	dsn, pool := seeded(t)
	r, live := reports(t, dsn, 1)
	q := coverage.Question{Basis: kit.InStock, VehicleIDs: []string{"halvorne-ferrymaster-1972"}}
	before, err := r.Start(t.Context(), q)
	if err != nil {
		t.Fatal(err)
	}
	finished(t, r, before.ID)
	sku := live.Snapshot().Catalog.Parts()[0].SKU
	w := &store.Writer{Pool: pool}
	written, err := w.PutStock(t.Context(), "test", sku, []catalog.StockLevel{{Location: "tarnsley", OnHand: 977}, {Location: "brindlecote", OnHand: 0}, {Location: "wexhollow", OnHand: 0}},
		catalog.Precondition{IfMatch: []string{"*"}})
	if err != nil {
		t.Fatal(err)
	}
	await(t, live, written.Revision, patience)
	after, err := r.Start(t.Context(), q)
	if err != nil || after.ID == before.ID {
		t.Fatalf("report %s again after a change, %v", after.ID, err)
	}
	if got := finished(t, r, after.ID).Answer.Revisions; got.First != written.Revision || got.Last != written.Revision {
		t.Errorf("revisions %+v, want %d", got, written.Revision)
	}
}

func TestACancelledReportEndsAndMayBeAskedAgain(t *testing.T) {
	dsn, pool := seeded(t)
	idle, _ := reports(t, dsn, 0) // takes questions, works on none
	q := coverage.Question{Basis: kit.OnSale}
	first, err := idle.Start(t.Context(), q)
	if err != nil {
		t.Fatal(err)
	}
	cancelled, err := idle.Cancel(t.Context(), first.ID)
	if err != nil || cancelled.Status != coverage.Cancelled || cancelled.FinishedAt == nil {
		t.Errorf("%+v, %v", cancelled, err)
	}
	second, err := idle.Start(t.Context(), q)
	if err != nil || second.ID == first.ID {
		t.Fatalf("report %s again after it was cancelled, %v", second.ID, err)
	}
	busy, _ := reports(t, dsn, 2)
	if got := finished(t, busy, second.ID); got.Status != coverage.Done {
		t.Errorf("%+v", got)
	}
	// One that is being worked on ends too, and what its workers were at is told to stop.
	third, err := busy.Start(t.Context(), coverage.Question{Basis: kit.InStock})
	if err != nil {
		t.Fatal(err)
	}
	for end := time.Now().Add(patience); time.Now().Before(end); time.Sleep(10 * time.Millisecond) {
		if r, err := busy.Report(t.Context(), third.ID); err != nil || r.Progress.ChunksDone > 0 {
			break
		}
	}
	if got, err := idle.Cancel(t.Context(), third.ID); err != nil || got.Status != coverage.Cancelled {
		t.Errorf("%+v, %v", got, err)
	}
	for end := time.Now().Add(patience); ; time.Sleep(50 * time.Millisecond) {
		var at int
		if err := pool.QueryRow(t.Context(), "SELECT count(*) FROM river.river_job WHERE state NOT IN ('completed', 'cancelled')").Scan(&at); err != nil {
			t.Fatal(err)
		}
		if at == 0 {
			break
		}
		if time.Now().After(end) {
			t.Fatalf("%d jobs of the cancelled report are still there", at)
		}
	}
	if got, err := busy.Report(t.Context(), third.ID); err != nil || got.Status != coverage.Cancelled || got.Answer != nil {
		t.Errorf("cancelled while worked on: %+v, %v", got, err)
	}
	if got, err := idle.Report(t.Context(), first.ID); err != nil || got.Status != coverage.Cancelled || got.Answer != nil {
		t.Errorf("the cancelled report: %+v, %v", got, err)
	}
	var chunks, jobs int
	if err := pool.QueryRow(t.Context(), "SELECT (SELECT count(*) FROM coverage_chunks), (SELECT count(*) FROM river.river_job WHERE state IN ('available', 'retryable'))").Scan(&chunks, &jobs); err != nil || chunks+jobs > 0 {
		t.Errorf("%d chunks and %d jobs are left, %v", chunks, jobs, err)
	}
	if _, err := idle.Cancel(t.Context(), "nosuchreport"); !errors.As(err, new(*catalog.NotFoundError)) {
		t.Errorf("an unknown report: %v", err)
	}
}

func TestTooManyReportsAreRefused(t *testing.T) {
	dsn, _ := seeded(t)
	r, live := reports(t, dsn, 0)
	ids := live.Snapshot().Catalog.Vehicles()
	for i := range coverage.MaxRunning {
		if _, err := r.Start(t.Context(), coverage.Question{Basis: kit.OnSale, VehicleIDs: []string{ids[i].ID}}); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := r.Start(t.Context(), coverage.Question{Basis: kit.OnSale}); !errors.Is(err, coverage.ErrBusy) {
		t.Errorf("got %v", err)
	}
}

// What is deleted between question and work is told, and the report ends all the same.
func TestAReportTellsWhatWasDeletedMeanwhile(t *testing.T) {
	dsn, pool := seeded(t)
	idle, live := reports(t, dsn, 0)
	vehicles := live.Snapshot().Catalog.Vehicles()[:3]
	q := coverage.Question{Basis: kit.InStock, CarburetorSKUs: []string{"QYC-2A03", "QYC-2A07", "QYC-2A95"}}
	for _, v := range vehicles {
		q.VehicleIDs = append(q.VehicleIDs, v.ID)
	}
	started, err := idle.Start(t.Context(), q)
	if err != nil {
		t.Fatal(err)
	}
	w := &store.Writer{Pool: pool}
	if _, err := w.DeleteVehicle(t.Context(), "test", vehicles[1].ID, catalog.Precondition{IfMatch: []string{"*"}}); err != nil {
		t.Fatal(err)
	}
	written, err := w.DeleteCarburetor(t.Context(), "test", "QYC-2A07", catalog.Precondition{IfMatch: []string{"*"}})
	if err != nil {
		t.Fatal(err)
	}
	busy, _ := reports(t, dsn, 1)
	r := finished(t, busy, started.ID)
	if r.Status != coverage.Done {
		t.Fatalf("%+v", r)
	}
	a := r.Answer
	if a.Gone != 1 || a.Vehicles != 2 || a.Resolved != 4 || a.Verdicts.All.Kits != 4 || a.Revisions.Last != written.Revision || len(a.ByCarburetor) != 3 {
		t.Errorf("%+v", a)
	}
	for _, class := range a.ByVehicle {
		if class.Cells[1] != '-' {
			t.Errorf("cells %s of %v", class.Cells, class.Vehicles)
		}
	}
}
