package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"os/signal"
	"syscall"
	"time"

	"onetrip/internal/httpapi"
	"onetrip/internal/kit"
)

// serveCommand answers over HTTP until it is told to stop.
type serveCommand struct {
	catalogueFlag
	Listen string `env:"LISTEN" default:"127.0.0.1:8080" placeholder:"HOST:PORT" help:"Address to listen on; port 0 takes a free one (${default})."`
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

// Run serves until ctx ends or the process is told to stop, then lets requests under
// way finish. A second signal ends it at once.
func (c *serveCommand) Run(ctx context.Context, s streams) error {
	ctx, stop := signal.NotifyContext(ctx, os.Interrupt, syscall.SIGTERM)
	defer stop()
	address, err := loopbackAddress(c.Listen)
	if err != nil {
		return &inputError{err}
	}
	snapshot, err := c.open()
	if err != nil {
		return err
	}
	log := newLogger(s.err)
	handler := httpapi.New(httpapi.Config{Snapshot: func() *kit.Snapshot { return snapshot }, Source: c.name(), Log: log})
	listener, err := net.ListenTCP("tcp", address)
	if err != nil {
		return fmt.Errorf("--listen: %w", err)
	}
	server := &http.Server{
		Handler: handler, ErrorLog: slog.NewLogLogger(log.Handler(), slog.LevelWarn),
		ReadHeaderTimeout: readHeaderTimeout, ReadTimeout: readTimeout, WriteTimeout: writeTimeout, IdleTimeout: idleTimeout,
	}
	log.Info("listening", "url", "http://"+listener.Addr().String(), "catalogue_revision", snapshot.Catalog.Revision,
		"vehicles", len(snapshot.Catalog.Vehicles()), "carburetors", len(snapshot.Catalog.Carburetors()))

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

// loopbackAddress resolves where to listen and refuses what other machines can
// reach: the service has no keys, so whoever reaches it may use it.
func loopbackAddress(listen string) (*net.TCPAddr, error) {
	address, err := net.ResolveTCPAddr("tcp", listen)
	if err != nil {
		return nil, fmt.Errorf("--listen %s: %w; write HOST:PORT, such as 127.0.0.1:8080", listen, err)
	}
	if !address.IP.IsLoopback() {
		return nil, fmt.Errorf("--listen %s: other machines could reach it, and without access keys anyone who reaches the service may use it; "+
			"listen on 127.0.0.1:%d and put what checks callers in front", listen, address.Port)
	}
	return address, nil
}

// newLogger writes text to a person at a terminal and JSON to anything else.
func newLogger(w io.Writer) *slog.Logger {
	if isTerminal(w) {
		return slog.New(slog.NewTextHandler(w, nil))
	}
	return slog.New(slog.NewJSONHandler(w, nil))
}
