package storetest

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"net/url"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5/pgxpool"
)

// Copy dumps a database with pg_dump, restores it into another and opens that.
func Copy(t testing.TB, dsn string) *pgxpool.Pool {
	t.Helper()
	s := running(t)
	copied := Bare(t)
	sql, err := s.tool(dsn, nil, "pg_dump", "--no-owner")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.tool(copied, sql, "psql", "--quiet", "--no-psqlrc", "--set", "ON_ERROR_STOP=1"); err != nil {
		t.Fatal(err)
	}
	return Pool(t, copied)
}

// tool runs a client program of Postgres on a database: in the container, where the
// server is in one, for the program must not be older than the server.
func (s *server) tool(dsn string, input []byte, name string, args ...string) ([]byte, error) {
	if s.inside != nil {
		u, err := url.Parse(dsn)
		if err != nil {
			return nil, err
		}
		return s.inside(input, append([]string{name, "--username", u.User.Username(), "--dbname", strings.TrimPrefix(u.Path, "/")}, args...))
	}
	path := name
	if bin, err := binaries(); err == nil {
		path = filepath.Join(bin, name)
	}
	cmd := exec.CommandContext(context.Background(), path, append(args, "--dbname", dsn)...)
	var out, complaints bytes.Buffer
	cmd.Stdin, cmd.Stdout, cmd.Stderr = io.Reader(bytes.NewReader(input)), &out, &complaints
	if err := cmd.Run(); err != nil {
		return nil, fmt.Errorf("%s: %w %s; install PostgreSQL's client programs, as new as the server (Debian: apt-get install postgresql-client)", name, err, complaints.String())
	}
	return out.Bytes(), nil
}
