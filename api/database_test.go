package main

import (
	"bytes"
	"compress/gzip"
	"context"
	"encoding/json"
	"errors"
	"io"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"onetrip/internal/httpapi"
	"onetrip/internal/store/storetest"
)

const testPepper = "a pepper for the tests"

// loaded is a database made by the commands themselves, named in the environment.
func loaded(t *testing.T) (dsn string) {
	t.Helper()
	dsn = storetest.Bare(t)
	t.Setenv(databaseVariable, dsn)
	t.Setenv(pepperVariable, testPepper)
	if stdout := succeed(t, "migrate"); !strings.Contains(stdout, "the newest") {
		t.Errorf("migrate says %s", stdout)
	}
	if stdout := succeed(t, "import", "../db/seed"); !strings.HasPrefix(stdout, "loaded ") {
		t.Errorf("import says %s", stdout)
	}
	return dsn
}

func succeed(t *testing.T, args ...string) (stdout string) {
	t.Helper()
	stdout, stderr, code := runProgram(t, "", args...)
	if code != exitOK {
		t.Fatalf("%v: exit code %d: %s", args, code, stderr)
	}
	return stdout
}

// ask sends one request; key may be empty.
func ask(t *testing.T, method, url, key, body string) (status int, header http.Header, answer []byte) {
	t.Helper()
	asked, err := http.NewRequestWithContext(t.Context(), method, url, strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	if body != "" {
		asked.Header.Set("Content-Type", "application/json")
	}
	if key != "" {
		asked.Header.Set("Authorization", "Bearer "+key)
	}
	answered, err := http.DefaultClient.Do(asked)
	if err != nil {
		t.Fatal(err)
	}
	defer answered.Body.Close()
	answer, err = io.ReadAll(answered.Body)
	if err != nil {
		t.Fatal(err)
	}
	return answered.StatusCode, answered.Header, answer
}

func readiness(t *testing.T, url string) (r httpapi.Readiness) {
	t.Helper()
	status, _, answer := ask(t, http.MethodGet, url+"/readyz", "", "")
	if err := json.Unmarshal(answer, &r); err != nil || status != http.StatusOK || r.Database == nil {
		t.Fatalf("readyz: %d %s (%v)", status, answer, err)
	}
	return r
}

// eventually waits for what takes a moment.
func eventually(t *testing.T, what string, holds func() bool) {
	t.Helper()
	for deadline := time.Now().Add(20 * time.Second); !holds(); time.Sleep(10 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatalf("it did not come to be that %s", what)
		}
	}
}

// resolveAt asks for a kit as a goroutine may, which cannot end the test.
func resolveAt(ctx context.Context, url string, body []byte) (string, error) {
	asked, err := http.NewRequestWithContext(ctx, http.MethodPost, url+"/v1/kits/resolve", bytes.NewReader(body))
	if err != nil {
		return "", err
	}
	asked.Header.Set("Content-Type", "application/json")
	answered, err := http.DefaultClient.Do(asked)
	if err != nil {
		return "", err
	}
	defer answered.Body.Close()
	text, err := io.ReadAll(answered.Body)
	if err == nil && answered.StatusCode != http.StatusOK {
		err = errors.New(answered.Status)
	}
	return string(text), err
}

func TestServeFromPostgresOutlivesIt(t *testing.T) {
	dsn := loaded(t)
	command, url, log := startServer(t)
	if r := readiness(t, url); r.Source != "postgres" || !r.Database.Connected || r.Database.SnapshotAgeS > 60 || r.CatalogueRevision != 1 {
		t.Errorf("readyz: %+v %+v", r, r.Database)
	}
	body, err := os.ReadFile("../testdata/requests/first.json")
	if err != nil {
		t.Fatal(err)
	}
	before, err := resolveAt(t.Context(), url, body)
	if err != nil {
		t.Fatal(err)
	}

	rest := make(chan string, 1)
	go func() { // a log that nobody reads would stop the service
		text, err := io.ReadAll(log)
		if err != nil {
			t.Error(err)
		}
		rest <- string(text)
	}()

	// Callers keep asking through all of it; none may notice.
	var failed atomic.Int64
	calm := make(chan struct{})
	var callers sync.WaitGroup
	for range 2 {
		callers.Go(func() {
			for {
				select {
				case <-calm:
					return
				default:
				}
				if answer, err := resolveAt(t.Context(), url, body); err != nil || answer != before {
					failed.Add(1)
				}
			}
		})
	}
	end := storetest.Outage(t, dsn)
	eventually(t, "readyz says the database is away", func() bool { return !readiness(t, url).Database.Connected })
	age := readiness(t, url).Database.SnapshotAgeS
	eventually(t, "the age of the snapshot grows", func() bool { return readiness(t, url).Database.SnapshotAgeS > age })
	end()
	eventually(t, "readyz says the database is back", func() bool { return readiness(t, url).Database.Connected })
	close(calm)
	callers.Wait()
	if n := failed.Load(); n > 0 {
		t.Errorf("%d resolves failed while Postgres was restarted", n)
	}

	if err := command.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	text := <-rest
	if err := command.Wait(); err != nil || !strings.Contains(text, `"stopped"`) {
		t.Errorf("%v; the end of the log:\n%s", err, text[max(0, len(text)-2000):])
	}
}

func TestDatabaseCommandsCanBeRunAgain(t *testing.T) {
	loaded(t)
	succeed(t, "migrate")
	if _, stderr, code := runProgram(t, "", "import", "../db/seed"); code != exitFailed || !strings.Contains(stderr, "holds a catalogue already") {
		t.Errorf("exit code %d: %s", code, stderr)
	}
	if stdout := succeed(t, "import", "--if-empty", "../db/seed"); !strings.Contains(stdout, "nothing was changed") {
		t.Errorf("import says %s", stdout)
	}
}

func TestDatabaseCommandsSayWhatIsMissing(t *testing.T) {
	for _, args := range [][]string{{"migrate"}, {"import", "../db/seed"}, {"keys", "list"}} {
		if _, stderr, code := runProgram(t, "", args...); code != exitWrongInput || !strings.Contains(stderr, "DATABASE_URL") {
			t.Errorf("%v: exit code %d: %s", args, code, stderr)
		}
	}
	t.Setenv(databaseVariable, storetest.Bare(t))
	for _, test := range []struct {
		args []string
		code int
		says string
	}{
		{[]string{"serve", "--listen", "127.0.0.1:0"}, exitFailed, "go run ./api migrate"},
		{[]string{"import", "../db/seed"}, exitFailed, "go run ./api migrate"},
		{[]string{"import", "no-such-directory"}, exitWrongInput, "no-such-directory"},
		{[]string{"keys", "list"}, exitWrongInput, pepperVariable},
		{[]string{"serve", "--catalogue", "../db/seed"}, exitWrongInput, "--catalogue"},
	} {
		if _, stderr, code := runProgram(t, "", test.args...); code != test.code || !strings.Contains(stderr, test.says) {
			t.Errorf("%v: exit code %d: %s", test.args, code, stderr)
		}
	}
	succeed(t, "migrate")
	if _, stderr, code := runProgram(t, "", "serve", "--listen", "127.0.0.1:0"); code != exitFailed || !strings.Contains(stderr, "go run ./api import") {
		t.Errorf("serve on an empty database: exit code %d: %s", code, stderr)
	}
	dsn, err := url.Parse(os.Getenv(databaseVariable))
	if err != nil {
		t.Fatal(err)
	}
	stranger := *dsn
	stranger.User = url.UserPassword("no_such_user", "guess")
	dsn.Path = "/no_such_database"
	for _, test := range []struct{ url, says string }{
		{"postgres://127.0.0.1:1/nothing?connect_timeout=1", "connection refused; see that it runs and that DATABASE_URL names it"},
		{stranger.String(), "correct user and password in DATABASE_URL, or whom the server lets in"},
		{dsn.String(), `database "no_such_database" does not exist; create it with createdb no_such_database, or with CREATE DATABASE no_such_database in psql, then run migrate`},
	} {
		t.Setenv(databaseVariable, test.url)
		for _, args := range [][]string{{"serve", "--listen", "127.0.0.1:0"}, {"migrate"}, {"import", "--stock", "../db/seed/stock.csv"}} {
			_, stderr, code := runProgram(t, "", args...)
			if code != exitFailed || !strings.Contains(stderr, "the database does not answer: ") || !strings.HasSuffix(stderr, test.says+"\n") || strings.Count(stderr, "\n") != 1 {
				t.Errorf("%s %v: exit code %d: %s", test.url, args, code, stderr)
			}
		}
	}
}

func TestKeysCommands(t *testing.T) {
	loaded(t)
	printed, stderr, code := runProgram(t, "", "keys", "create", "--name", "till 3", "--scope", "stock,kits")
	key := strings.TrimSpace(printed)
	if code != exitOK || !strings.HasPrefix(key, "onetrip_") || strings.Contains(key, "\n") || !strings.Contains(stderr, "not shown again") {
		t.Fatalf("exit code %d, printed %q, stderr %q", code, printed, stderr)
	}
	id := strings.Split(key, "_")[1]
	if list := succeed(t, "keys", "list"); !strings.Contains(list, id) || !strings.Contains(list, "till 3") || !strings.Contains(list, "stock,kits") || strings.Contains(list, key) {
		t.Errorf("list:\n%s", list)
	}
	if again := strings.TrimSpace(succeed(t, "keys", "rotate", id)); !strings.HasPrefix(again, "onetrip_"+id+"_") || again == key {
		t.Errorf("rotated to %s", again)
	}
	if none := succeed(t, "keys", "create", "--if-first", "--name", "first", "--scope", "admin"); none != "" {
		t.Errorf("a second first key: %s", none)
	}
	succeed(t, "keys", "revoke", id)
	for _, test := range []struct {
		args []string
		says string
	}{
		{[]string{"keys", "create", "--name", "x", "--scope", "stok"}, "did you mean stock?"},
		{[]string{"keys", "create", "--scope", "read"}, "--name"},
		{[]string{"keys", "revoke", id}, "keys list"},
		{[]string{"keys", "rotate", id}, "keys list"},
	} {
		if _, stderr, code := runProgram(t, "", test.args...); code != exitWrongInput || !strings.Contains(stderr, test.says) {
			t.Errorf("%v: exit code %d: %s", test.args, code, stderr)
		}
	}
}

func TestServeAsksForKeysOnceThereAreSome(t *testing.T) {
	loaded(t)
	_, stderr, code := runProgram(t, "", "serve", "--listen", "0.0.0.0:0")
	if code != exitWrongInput || !strings.Contains(stderr, "there are no access keys") {
		t.Errorf("without keys: exit code %d: %s", code, stderr)
	}

	// Two replicas on the loopback, open until the first key is made.
	command, url, log := startServer(t)
	_, other, _ := startServer(t)
	status := func(url, key string) int {
		status, _, _ := ask(t, http.MethodGet, url+"/v1/locations", key, "")
		return status
	}
	if got := status(url, ""); got != http.StatusOK {
		t.Errorf("without keys: status %d", got)
	}
	key := strings.TrimSpace(succeed(t, "keys", "create", "--name", "till 3", "--scope", "read"))
	id := strings.Split(key, "_")[1]
	for _, u := range []string{url, other} {
		eventually(t, "a key is asked for", func() bool { return status(u, "") == http.StatusUnauthorized && status(u, key) == http.StatusOK })
	}
	_, header, _ := ask(t, http.MethodGet, url+"/v1/locations", "", "")
	if got := header.Get("WWW-Authenticate"); got != `Bearer realm="onetrip"` {
		t.Errorf("WWW-Authenticate is %s", got)
	}
	renewed := strings.TrimSpace(succeed(t, "keys", "rotate", id))
	for _, u := range []string{url, other} {
		eventually(t, "the old secret stops", func() bool { return status(u, key) == http.StatusUnauthorized && status(u, renewed) == http.StatusOK })
	}

	// With a key in force other machines may reach it; it asks them for the key.
	_, everywhere, _ := startServer(t, "LISTEN=0.0.0.0:0", "REQUESTS_PER_MINUTE=3")
	everywhere = strings.Replace(everywhere, "0.0.0.0", "127.0.0.1", 1)
	if got := status(everywhere, ""); got != http.StatusUnauthorized {
		t.Errorf("status %d", got)
	}
	for range 3 {
		if got := status(everywhere, renewed); got != http.StatusOK {
			t.Errorf("status %d", got)
		}
	}
	if got, header, _ := ask(t, http.MethodGet, everywhere+"/v1/locations", renewed, ""); got != http.StatusTooManyRequests || header.Get("Retry-After") == "" {
		t.Errorf("status %d, Retry-After %q", got, header.Get("Retry-After"))
	}

	// At the end it writes when the key was last used. SIGTERM comes right after the
	// request, before the service would do it by itself.
	if got := status(url, renewed); got != http.StatusOK {
		t.Errorf("status %d", got)
	}
	if err := command.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	if _, err := io.Copy(io.Discard, log); err != nil {
		t.Fatal(err)
	}
	if err := command.Wait(); err != nil {
		t.Error(err)
	}
	if list := succeed(t, "keys", "list"); strings.Count(list, "Z  ") < 3 {
		t.Errorf("the list does not say when the key was made, rotated and used:\n%s", list)
	}

	succeed(t, "keys", "revoke", id)
	for _, u := range []string{other, everywhere} {
		eventually(t, "a revoked key is refused, and so is everyone", func() bool {
			return status(u, renewed) == http.StatusUnauthorized && status(u, "") == http.StatusUnauthorized
		})
	}
	t.Setenv(pepperVariable, "")
	if _, stderr, code := runProgram(t, "", "serve", "--listen", "127.0.0.1:0"); code != exitWrongInput || !strings.Contains(stderr, pepperVariable) {
		t.Errorf("without the pepper: exit code %d: %s", code, stderr)
	}
}

func TestImportOfFiles(t *testing.T) {
	loaded(t)
	dir := t.TempDir()
	file := func(name, text string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	stock, err := os.ReadFile("../db/seed/stock.csv")
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.SplitN(string(stock), "\n", 3)
	cells := strings.Split(strings.TrimSpace(lines[1]), ",")
	sku, location := cells[0], cells[1]
	const header = "sku,location,on_hand\n"
	row := func(onHand string) string { return sku + "," + location + "," + onHand + "\n" }

	if text := succeed(t, "import", "--stock", "../db/seed/stock.csv"); !strings.Contains(text, " 0 changed") {
		t.Errorf("the stock that is there: %s", text)
	}
	good := file("good.csv", header+row("70707"))
	if text := succeed(t, "import", "--dry-run", "--stock", good); !strings.Contains(text, "1 rows read, 1 changed; a dry run") {
		t.Errorf("dry run: %s", text)
	}
	if text := succeed(t, "import", "--stock", good, "--idempotency-key", "one"); !strings.Contains(text, "1 changed, catalogue revision 2") {
		t.Errorf("import: %s", text)
	}
	if text := succeed(t, "import", "--stock", good, "--idempotency-key", "one"); !strings.Contains(text, "done before") {
		t.Errorf("repeat: %s", text)
	}
	if text := succeed(t, "import", "--prices", file("prices.csv", "sku,price_minor\n"+sku+",4711\n")); !strings.Contains(text, "1 changed") {
		t.Errorf("prices: %s", text)
	}
	var packed bytes.Buffer
	w := gzip.NewWriter(&packed)
	if _, err := io.WriteString(w, header+row("70708")); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	stdout, stderr, code := runProgram(t, packed.String(), "import", "--stock", "-")
	if code != exitOK || !strings.Contains(stdout, "1 changed") || stderr != "" {
		t.Errorf("gzip from standard input: exit code %d, %s%s", code, stdout, stderr)
	}

	bad := file("bad.csv", header+row("-1")+row("70709")+"NONE-1,"+location+",1\n")
	for _, test := range []struct {
		args []string
		code int
		says []string
	}{
		{[]string{"--stock", bad}, exitWrongInput, []string{bad + ":2: on_hand: ", bad + ":4: sku: no part", "2 of 3 rows are wrong and nothing was changed"}},
		{[]string{"--stock", bad, "--mode", "valid_rows"}, exitOK, []string{bad + ":2: on_hand: ", bad + ":4: sku: no part"}},
		{[]string{"--stock", bad, "--idempotency-key", "one"}, exitWrongInput, []string{"idempotency key"}},
		{[]string{"--stock", "no-such-file.csv"}, exitWrongInput, []string{"no-such-file.csv"}},
		{[]string{"--stock", dir}, exitWrongInput, []string{"is a directory"}},
		{[]string{"--stock", good, "../db/seed"}, exitWrongInput, []string{"not both"}},
		{[]string{"--stock", good, "--prices", good}, exitWrongInput, []string{"--stock", "--prices"}},
		{nil, exitWrongInput, []string{"db/seed", "--stock FILE"}},
	} {
		_, stderr, code := runProgram(t, "", append([]string{"import"}, test.args...)...)
		if code != test.code {
			t.Errorf("%v: exit code %d: %s", test.args, code, stderr)
		}
		for _, text := range test.says {
			if !strings.Contains(stderr, text) {
				t.Errorf("%v: %q is not in:\n%s", test.args, text, stderr)
			}
		}
	}
}

func TestProgressBar(t *testing.T) {
	p := &progress{from: strings.NewReader(strings.Repeat("x", 3_000_000)), size: 4_000_000}
	if _, err := io.Copy(io.Discard, p); err != nil {
		t.Fatal(err)
	}
	if got, want := p.String(), "[##############################..........]  75 %  3.0 MB"; got != want {
		t.Errorf("got %s, want %s", got, want)
	}
	p.size = 3_000_000
	if got := p.String(); !strings.HasSuffix(got, "100 %  3.0 MB  checking and writing") {
		t.Errorf("at the end: %s", got)
	}
	p.size = 0
	if got := p.String(); got != "3.0 MB" {
		t.Errorf("of unknown size: %s", got)
	}
}
