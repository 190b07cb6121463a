package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"os/signal"
	"runtime"
	"syscall"
	"time"

	"onetrip/internal/coverage"
	"onetrip/internal/httpapi"
	"onetrip/internal/kit"
	"onetrip/internal/store"
)

// serveCommand answers over HTTP until it is told to stop.
type serveCommand struct {
	catalogueFlag
	Demo              bool          `help:"Serve the demo catalogue that is built in, also where DATABASE_URL names a database."`
	Listen            string        `env:"LISTEN" default:"127.0.0.1:8080" placeholder:"HOST:PORT" help:"Address to listen on; port 0 takes a free one (${default})."`
	CoverageWorkers   int           `env:"COVERAGE_WORKERS" default:"-1" placeholder:"N" help:"Workers for coverage reports at this replica; 0 leaves them to others. The default is one less than the cores that Go may use, and at least one."`
	CoverageTimeout   time.Duration `env:"COVERAGE_TIMEOUT" default:"2m" placeholder:"DURATION" help:"How long a piece of a coverage report may take, here or at another replica, before it is given to another worker (${default})."`
	RequestsPerMinute int           `env:"REQUESTS_PER_MINUTE" default:"6000" placeholder:"N" help:"Requests that each access key has in a minute, at this replica (${default})."`
}

// How long one connection may take. A request is a few kilobytes and an answer takes
// milliseconds; these only end what hangs.
const (
	readHeaderTimeout = 5 * time.Second
	readTimeout       = 15 * time.Second
	writeTimeout      = 30 * time.Second
	idleTimeout       = 2 * time.Minute
	shutdownTimeout   = 10 * time.Second // for requests under way at SIGTERM
)

// source is where the service takes the catalogue from, and what comes with it.
type source struct {
	name     string
	snapshot func() *kit.Snapshot
	health   func() (connected bool, age time.Duration) // nil without a database
	writer   httpapi.Writer                             // nil without a database
	kits     httpapi.Kits
	coverage httpapi.Coverage
	keys     *store.Keys // nil where none can be made
	noKeys   string      // why none is asked for, "" when one is
	close    func(context.Context)
}

// Run serves until ctx ends or the process is told to stop, then lets requests under
// way finish. A second signal ends it at once.
func (c *serveCommand) Run(ctx context.Context, s streams) error {
	ctx, stop := signal.NotifyContext(ctx, os.Interrupt, syscall.SIGTERM)
	defer stop()
	if c.RequestsPerMinute < 1 {
		return &inputError{fmt.Errorf("--requests-per-minute %d: give at least 1", c.RequestsPerMinute)}
	}
	if c.CoverageTimeout < time.Second {
		return &inputError{fmt.Errorf("--coverage-timeout %s: give at least 1s", c.CoverageTimeout)}
	}
	address, err := net.ResolveTCPAddr("tcp", c.Listen)
	if err != nil {
		return &inputError{fmt.Errorf("--listen %s: %w; write HOST:PORT, such as 127.0.0.1:8080", c.Listen, err)}
	}
	log := newLogger(s.err)
	from, err := c.source(ctx, log)
	if err != nil {
		return err
	}
	defer func() { // ctx has ended by then
		last, cancel := context.WithTimeout(context.WithoutCancel(ctx), shutdownTimeout)
		defer cancel()
		from.close(last)
	}()
	if from.noKeys != "" {
		if err := loopbackOnly(address, from.noKeys); err != nil {
			return &inputError{err}
		}
	}
	handler := httpapi.New(httpapi.Config{Snapshot: from.snapshot, Source: from.name, Database: from.health, Writer: from.writer, Kits: from.kits, Coverage: from.coverage,
		Exports: httpapi.Exports{Parts: store.WriteParts, Stock: store.WriteStock}, Access: c.access(from.keys), Log: log})
	listener, err := net.ListenTCP("tcp", address)
	if err != nil {
		return fmt.Errorf("--listen: %w", err)
	}
	headStart := httpapi.HeadStart()
	defer runtime.KeepAlive(headStart)
	server := &http.Server{
		Handler: handler, ErrorLog: slog.NewLogLogger(log.Handler(), slog.LevelWarn),
		ReadHeaderTimeout: readHeaderTimeout, ReadTimeout: readTimeout, WriteTimeout: writeTimeout, IdleTimeout: idleTimeout,
	}
	cat := from.snapshot().Catalog
	access := cmp.Or(from.noKeys, "a key is asked for")
	log.Info("listening", "url", "http://"+listener.Addr().String(), "source", from.name, "catalogue_revision", cat.Revision,
		"vehicles", len(cat.Vehicles()), "carburetors", len(cat.Carburetors()), "access", access)

	stopped := make(chan error, 1)
	go func() { stopped <- server.Serve(listener) }()
	select {
	case err := <-stopped:
		return err
	case <-ctx.Done():
		stop()
	}
	log.Info("stopping", "grace", shutdownTimeout.String())
	// ctx has ended, so the grace period needs one of its own.
	grace, cancel := context.WithTimeout(context.WithoutCancel(ctx), shutdownTimeout)
	defer cancel()
	if err := server.Shutdown(grace); err != nil {
		return fmt.Errorf("requests were still under way after %s and have been cut: %w", shutdownTimeout, errors.Join(err, server.Close()))
	}
	log.Info("stopped")
	return nil
}

// source is the database where DATABASE_URL names one, else files.
func (c *serveCommand) source(ctx context.Context, log *slog.Logger) (*source, error) {
	if c.Demo && c.Catalogue != "" {
		return nil, &inputError{errors.New("--demo and --catalogue name two catalogues; take one of them away")}
	}
	if c.Demo || os.Getenv(databaseVariable) == "" {
		snapshot, err := c.open()
		if err != nil {
			return nil, err
		}
		current := func() *kit.Snapshot { return snapshot }
		reports := coverage.NewMemory(current, max(1, c.coverageWorkers()))
		return &source{
			name: c.name(), snapshot: current, kits: store.NewMemoryKits(), coverage: reports,
			noKeys: "a catalogue from files has no access keys",
			close:  func(context.Context) { reports.Close() },
		}, nil
	}
	if c.Catalogue != "" {
		return nil, &inputError{errors.New("--catalogue and " + databaseVariable + " name two catalogues; take one of them away")}
	}
	pool, err := openDatabase(ctx)
	if err != nil {
		return nil, err
	}
	keys, err := openKeys(ctx, pool)
	if err != nil {
		pool.Close()
		return nil, err
	}
	live, err := store.Follow(ctx, pool, keys, log)
	if err != nil {
		pool.Close()
		return nil, err
	}
	reports, err := store.NewReports(ctx, pool, live, c.coverageWorkers(), c.CoverageTimeout, log)
	if err != nil {
		live.Close()
		pool.Close()
		return nil, err
	}
	writer := &store.Writer{Pool: pool, Live: live}
	from := &source{name: "postgres", snapshot: live.Snapshot, health: live.Health, writer: writer, kits: &store.Kits{Pool: pool}, coverage: reports, keys: keys, close: func(ctx context.Context) {
		reports.Close(ctx)
		live.Close()
		if keys != nil {
			if err := keys.FlushUsed(ctx); err != nil { // the service has done its work all the same
				log.Warn("when keys were last used is not written", "error", err)
			}
		}
		pool.Close()
	}}
	switch {
	case keys == nil:
		from.noKeys = "there are no access keys; make one with keys create, which needs " + pepperVariable
	case !keys.Required():
		from.noKeys = "there are no access keys; make one with keys create"
	}
	return from, nil
}

// coverageWorkers leaves a core to requests where there are several.
func (c *serveCommand) coverageWorkers() int {
	if c.CoverageWorkers >= 0 {
		return c.CoverageWorkers
	}
	return max(1, runtime.GOMAXPROCS(0)-1)
}

// access asks for keys where there can be some.
func (c *serveCommand) access(keys *store.Keys) *httpapi.Access {
	if keys == nil {
		return nil
	}
	return &httpapi.Access{
		Required: keys.Required,
		Verify: func(presented string) (httpapi.Caller, bool) {
			key, ok := keys.Verify(presented)
			if !ok {
				return httpapi.Caller{}, false
			}
			return httpapi.Caller{ID: key.ID, Name: key.Name, Allows: key.Allows}, true
		},
		RequestsPerMinute: c.RequestsPerMinute,
	}
}

// loopbackOnly refuses what other machines can reach, where whoever reaches the
// service may use it.
func loopbackOnly(address *net.TCPAddr, noKeys string) error {
	if address.IP.IsLoopback() {
		return nil
	}
	return fmt.Errorf("--listen %s: other machines could reach it, and without access keys anyone who reaches the service may use it (%s); "+
		"listen on 127.0.0.1:%d", address, noKeys, address.Port)
}

// newLogger writes text to a person at a terminal and JSON to anything else.
func newLogger(w io.Writer) *slog.Logger {
	if isTerminal(w) {
		return slog.New(slog.NewTextHandler(w, nil))
	}
	return slog.New(slog.NewJSONHandler(w, nil))
}
