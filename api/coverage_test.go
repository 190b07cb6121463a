package main

import (
	"context"
	"encoding/json"
	"io"
	"net/http"
	"strings"
	"testing"
	"time"

	"onetrip/internal/coverage"
	"onetrip/internal/kit"
	"onetrip/internal/store"
	"onetrip/internal/store/storetest"
)

// A replica that is killed in the middle of a report takes nothing with it and adds
// nothing: another does again what it was at, and the answer is that of one process.
func TestAReportSurvivesAKilledReplica(t *testing.T) {
	if testing.Short() {
		t.Skip("whole processes are killed, of which the race detector sees nothing")
	}
	dsn := loaded(t)
	pool := storetest.Pool(t, dsn)
	const question = `{"basis": "stock", "location": "tarnsley", "best_set": 2}`
	environment := []string{"COVERAGE_WORKERS=1", "COVERAGE_TIMEOUT=8s"}

	victim, url, log := startServer(t, environment...)
	go func() { _, _ = io.Copy(io.Discard, log) }()
	path := ""
	var done, held int
	for range 60 { // until one dies holding a chunk, some done and some not
		if path == "" {
			status, header, body := ask(t, http.MethodPost, url+"/v1/coverage", "", question)
			if path = header.Get("Location"); status != http.StatusAccepted {
				t.Fatalf("%d %s", status, body)
			}
		}
		eventually(t, "a chunk is done", func() bool { return progressOf(t, url+path).ChunksDone > 0 })
		if err := victim.Process.Kill(); err != nil { // SIGKILL
			t.Fatal(err)
		}
		_ = victim.Wait()
		err := pool.QueryRow(t.Context(), `SELECT (SELECT count(*) FROM coverage_chunks WHERE round = 1), (SELECT count(*) FROM river.river_job WHERE state = 'running')`).Scan(&done, &held)
		if err != nil {
			t.Fatal(err)
		}
		if done > 0 && held > 0 {
			break
		}
		if _, err := pool.Exec(t.Context(), "DELETE FROM coverage_reports; DELETE FROM river.river_job"); err != nil {
			t.Fatal(err)
		}
		path = ""
		victim, url, log = startServer(t, environment...)
		go func() { _, _ = io.Copy(io.Discard, log) }()
	}
	if path == "" {
		t.Fatal("no replica was killed while it held a chunk")
	}

	began := time.Now()
	heir, url, log := startServer(t, environment...)
	go func() { _, _ = io.Copy(io.Discard, log) }()
	defer func() { _ = heir.Process.Kill() }()
	var got coverage.Report
	for end := time.Now().Add(3 * time.Minute); ; time.Sleep(100 * time.Millisecond) {
		_, _, body := ask(t, http.MethodGet, url+path, "", "")
		if err := json.Unmarshal(body, &got); err != nil {
			t.Fatal(err)
		}
		if got.Status != coverage.Running {
			break
		}
		if time.Now().After(end) {
			t.Fatalf("the report is not done: %+v", got.Progress)
		}
	}
	data, err := store.Load(t.Context(), pool)
	if err != nil {
		t.Fatal(err)
	}
	snapshot, err := kit.Open(data)
	if err != nil {
		t.Fatal(err)
	}
	want := inProcess(t, snapshot, question)
	if text, wanted := asJSON(t, got.Answer), asJSON(t, want.Answer); got.Status != coverage.Done || text != wanted || want.Answer.Verdicts.All.Kits == 0 {
		t.Errorf("%s %s\n got %.2000s\nwant %.2000s", got.Status, got.Failure, text, wanted)
	}
	var tried int
	if err := pool.QueryRow(t.Context(), "SELECT count(*) FROM river.river_job WHERE attempt > 1").Scan(&tried); err != nil || tried == 0 {
		t.Errorf("no chunk was tried twice, %v", err)
	}
	t.Logf("killed with %d chunks done and %d held; another was done %v after it started", done, held, time.Since(began).Round(time.Second))
}

func progressOf(t *testing.T, url string) coverage.Progress {
	t.Helper()
	var r coverage.Report
	_, _, body := ask(t, http.MethodGet, url, "", "")
	if err := json.Unmarshal(body, &r); err != nil {
		t.Fatal(err)
	}
	return r.Progress
}

// inProcess answers a question without a database.
func inProcess(t *testing.T, s *kit.Snapshot, question string) coverage.Report {
	t.Helper()
	var q coverage.Question
	if err := json.NewDecoder(strings.NewReader(question)).Decode(&q); err != nil {
		t.Fatal(err)
	}
	m := coverage.NewMemory(func() *kit.Snapshot { return s }, 2)
	defer m.Close()
	r, err := m.Start(context.Background(), q)
	for err == nil && r.Status == coverage.Running {
		time.Sleep(20 * time.Millisecond)
		r, err = m.Report(context.Background(), r.ID)
	}
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func asJSON(t *testing.T, v any) string {
	t.Helper()
	text, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}
