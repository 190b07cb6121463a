package storetest

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"time"

	"github.com/jackc/pgx/v5"
)

// cluster is a private Postgres in a temporary directory.
type cluster struct {
	bin, dir string
	port     int
	as       *syscall.Credential // nil: as we are
	process  *os.Process
	exited   chan struct{}
}

func startCluster() (*server, error) {
	bin, err := binaries()
	if err != nil {
		return nil, err
	}
	c := &cluster{bin: bin}
	if os.Geteuid() == 0 { // Postgres refuses to run as root
		if c.as, err = otherUser(); err != nil {
			return nil, err
		}
	}
	sweep()
	if c.dir, err = os.MkdirTemp("", fmt.Sprintf("%s%d-", dirPrefix, os.Getpid())); err != nil {
		return nil, err
	}
	if c.as != nil {
		if err := os.Chown(c.dir, int(c.as.Uid), int(c.as.Gid)); err != nil {
			return nil, err
		}
	}
	if err := c.init(); err != nil {
		c.remove()
		return nil, err
	}
	return &server{
		admin: c.url(),
		stop:  c.remove,
		halt: func() func() error {
			c.kill()
			return c.start
		},
	}, nil
}

const dirPrefix = "onetrip-postgres-" // then the test's process id

// sweep removes what killed tests left: their server died with them.
func sweep() {
	dirs, _ := filepath.Glob(filepath.Join(os.TempDir(), dirPrefix+"*")) // the pattern is well formed
	for _, dir := range dirs {
		id, _, _ := strings.Cut(strings.TrimPrefix(filepath.Base(dir), dirPrefix), "-")
		pid, err := strconv.Atoi(id)
		if err == nil && errors.Is(syscall.Kill(pid, 0), syscall.ESRCH) {
			_ = os.RemoveAll(dir)
		}
	}
}

// binaries finds the directory of initdb and postgres.
func binaries() (string, error) {
	var dirs []string
	if out, err := exec.Command("pg_config", "--bindir").Output(); err == nil {
		dirs = append(dirs, strings.TrimSpace(string(out)))
	}
	for _, pattern := range []string{"/usr/lib/postgresql/*/bin", "/usr/pgsql-*/bin", "/opt/homebrew/opt/postgresql@*/bin", "/usr/local/bin", "/usr/bin"} {
		found, _ := filepath.Glob(pattern) // the patterns are well formed
		slices.Reverse(found)              // the newest first
		dirs = append(dirs, found...)
	}
	for _, dir := range dirs {
		if _, err := os.Stat(filepath.Join(dir, "initdb")); err != nil {
			continue
		}
		if _, err := os.Stat(filepath.Join(dir, "postgres")); err == nil {
			return dir, nil
		}
	}
	return "", errors.New("no directory with initdb and postgres found")
}

func otherUser() (*syscall.Credential, error) {
	for _, name := range []string{"postgres", "nobody"} {
		u, err := user.Lookup(name)
		if err != nil {
			continue
		}
		uid, err := strconv.ParseUint(u.Uid, 10, 32)
		if err != nil {
			return nil, err
		}
		gid, err := strconv.ParseUint(u.Gid, 10, 32)
		if err != nil {
			return nil, err
		}
		return &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}, nil
	}
	return nil, errors.New("running as root, and there is no user postgres or nobody to run Postgres as")
}

func (c *cluster) command(name string, args ...string) *exec.Cmd {
	cmd := exec.Command(filepath.Join(c.bin, name), args...)
	cmd.Dir = c.dir
	cmd.SysProcAttr = &syscall.SysProcAttr{Credential: c.as}
	return cmd
}

func (c *cluster) data() string { return filepath.Join(c.dir, "data") }

func (c *cluster) init() error {
	initdb := c.command("initdb", "--pgdata", c.data(), "--username", "onetrip", "--auth", "trust", "--encoding", "UTF8", "--locale", "C", "--no-sync")
	if out, err := initdb.CombinedOutput(); err != nil {
		return fmt.Errorf("initdb: %w: %s", err, out)
	}
	var err error
	for range 5 { // another program may take the free port before Postgres does
		if c.port, err = freePort(); err != nil {
			return err
		}
		if err = c.start(); err == nil {
			return nil
		}
		c.kill()
	}
	return err
}

func freePort() (int, error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return 0, err
	}
	defer l.Close()
	return l.Addr().(*net.TCPAddr).Port, nil
}

// start starts the server and waits until it answers.
func (c *cluster) start() error {
	log, err := os.OpenFile(filepath.Join(c.dir, "log"), os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	defer log.Close()
	cmd := c.command("postgres", "-D", c.data(), "-p", strconv.Itoa(c.port),
		"-c", "listen_addresses=127.0.0.1", "-c", "unix_socket_directories=",
		"-c", "fsync=off", "-c", "max_connections=200") // the data need not outlive the machine
	cmd.Stdout, cmd.Stderr = log, log
	cmd.SysProcAttr.Pdeathsig = syscall.SIGQUIT // a killed test takes its server along
	failed := make(chan error, 1)
	c.exited = make(chan struct{})
	exited := c.exited
	go func() {
		// The death signal comes when the thread that started the process ends.
		runtime.LockOSThread()
		defer runtime.UnlockOSThread()
		defer close(exited)
		err := cmd.Start()
		failed <- err
		if err == nil {
			_ = cmd.Wait()
		}
	}()
	if err := <-failed; err != nil {
		return err
	}
	c.process = cmd.Process
	if err := untilItAnswers(c.url(), exited); err != nil {
		text, _ := os.ReadFile(filepath.Join(c.dir, "log")) // what there is of it
		return fmt.Errorf("%w: %s", err, text)
	}
	return nil
}

func (c *cluster) url() string {
	return fmt.Sprintf("postgres://onetrip@127.0.0.1:%d/postgres?sslmode=disable", c.port)
}

// untilItAnswers waits for a server that was just started. exited, where the server is
// a process of ours, is closed when it ended.
func untilItAnswers(dsn string, exited <-chan struct{}) error {
	for deadline := time.Now().Add(time.Minute); ; {
		ctx, cancel := context.WithTimeout(context.Background(), time.Second)
		conn, err := pgx.Connect(ctx, dsn)
		if err == nil {
			err = conn.Close(ctx)
		}
		cancel()
		if err == nil {
			return nil
		}
		select {
		case <-exited:
			return errors.New("postgres ended at once")
		case <-time.After(20 * time.Millisecond):
		}
		if time.Now().After(deadline) {
			return fmt.Errorf("postgres does not answer: %w", err)
		}
	}
}

// kill ends the server without letting it finish anything.
func (c *cluster) kill() {
	if c.process == nil {
		return
	}
	_ = c.process.Signal(syscall.SIGQUIT)
	<-c.exited
	c.process = nil
}

func (c *cluster) remove() {
	c.kill()
	_ = os.RemoveAll(c.dir)
}
