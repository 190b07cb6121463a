package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"syscall"
	"testing"
	"time"

	"onetrip/db"
	"onetrip/internal/httpapi"
	"onetrip/internal/kit"
	"onetrip/internal/store/storetest"
)

// asProgram makes the test binary behave as the program itself, for tests that need
// a process of their own.
const asProgram = "ONETRIP_TEST_AS_PROGRAM"

func TestMain(m *testing.M) {
	if os.Getenv(asProgram) != "" {
		main()
		return
	}
	for _, name := range []string{databaseVariable, pepperVariable, "LISTEN"} { // a developer's own
		if err := os.Unsetenv(name); err != nil {
			panic(err)
		}
	}
	os.Exit(storetest.Main(m))
}

// requests are the examples a reader is sent to.
func requests(t *testing.T) []string {
	t.Helper()
	files, err := filepath.Glob("../testdata/requests/*.json")
	if err != nil || len(files) == 0 {
		t.Fatalf("no example requests: %v", err)
	}
	return files
}

// runProgram runs the command line with stdin and returns its output and exit code.
func runProgram(t *testing.T, stdin string, args ...string) (stdout, stderr string, code int) {
	t.Helper()
	var out, errs bytes.Buffer
	code = run(t.Context(), args, streams{strings.NewReader(stdin), &out, &errs})
	return out.String(), errs.String(), code
}

func TestWithoutArgumentsPrintsHelpWithAnExampleThatExists(t *testing.T) {
	stdout, stderr, code := runProgram(t, "")
	if code != exitOK || stderr != "" {
		t.Fatalf("exit code %d, stderr %q", code, stderr)
	}
	const example = "go run ./api resolve "
	_, rest, found := strings.Cut(stdout, example)
	if !found {
		t.Fatalf("no example in:\n%s", stdout)
	}
	file, _, _ := strings.Cut(rest, "\n")
	if _, stderr, code := runProgram(t, "", "resolve", filepath.Join("..", file)); code != exitOK {
		t.Errorf("the example fails with %d: %s", code, stderr)
	}
}

func TestVersion(t *testing.T) {
	stdout, stderr, code := runProgram(t, "", "--version")
	if code != exitOK || stderr != "" || !strings.HasPrefix(stdout, "onetrip ") || !strings.HasSuffix(stdout, ", "+runtime.Version()+"\n") {
		t.Errorf("exit code %d, stdout %q, stderr %q", code, stdout, stderr)
	}
	// The program is called what it was built as.
	if help, _, _ := runProgram(t, "", "--help"); !strings.HasPrefix(help, "Usage: "+filepath.Base(os.Args[0])+" <command>") {
		t.Errorf("%.80s", help)
	}
}

func TestExampleRequestsResolve(t *testing.T) {
	for _, file := range requests(t) {
		t.Run(filepath.Base(file), func(t *testing.T) {
			report, stderr, code := runProgram(t, "", "resolve", file)
			if code != exitOK || stderr != "" {
				t.Fatalf("exit code %d: %s", code, stderr)
			}
			text, stderr, code := runProgram(t, "", "resolve", "--json", file)
			if code != exitOK || stderr != "" {
				t.Fatalf("--json: exit code %d: %s", code, stderr)
			}
			var k kit.Kit
			if err := json.Unmarshal([]byte(text), &k); err != nil {
				t.Fatal(err)
			}
			if len(k.Needs) == 0 || len(k.Checks) == 0 {
				t.Errorf("%d needs and %d checks", len(k.Needs), len(k.Checks))
			}
			for _, l := range k.Lines {
				if !strings.Contains(report, l.SKU) {
					t.Errorf("the report does not name line %s", l.SKU)
				}
			}
			for _, c := range k.Checks {
				if !strings.Contains(report, c.ID) {
					t.Errorf("the report does not name check %s", c.ID)
				}
			}
		})
	}
}

func TestStandardInputGivesTheSameAsAFile(t *testing.T) {
	file := requests(t)[0]
	body, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	fromFile, _, _ := runProgram(t, "", "resolve", "--json", file)
	fromStdin, stderr, code := runProgram(t, string(body), "resolve", "--json", "-")
	if code != exitOK || fromFile != fromStdin || fromFile == "" {
		t.Errorf("exit code %d, %d and %d bytes: %s", code, len(fromFile), len(fromStdin), stderr)
	}
}

func TestADirectoryCanBeTheCatalogue(t *testing.T) {
	dir := t.TempDir()
	if err := os.CopyFS(dir, db.Seed()); err != nil {
		t.Fatal(err)
	}
	file := requests(t)[0]
	embedded, _, _ := runProgram(t, "", "resolve", "--json", file)
	fromDir, stderr, code := runProgram(t, "", "resolve", "--json", "--catalogue", dir, file)
	if code != exitOK || embedded != fromDir || embedded == "" {
		t.Errorf("exit code %d, %d and %d bytes: %s", code, len(embedded), len(fromDir), stderr)
	}

	broken := filepath.Join(dir, "locations.csv")
	if err := os.WriteFile(broken, []byte("id,name\n,Nowhere\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	_, stderr, code = runProgram(t, "", "resolve", "--catalogue", dir, file)
	if code != exitWrongInput || !strings.Contains(stderr, "locations.csv:2") {
		t.Errorf("exit code %d; does not name file and line: %s", code, stderr)
	}
}

// firstRequest is an example request as a tree that a test can spoil.
func firstRequest(t *testing.T) map[string]any {
	t.Helper()
	text, err := os.ReadFile("../testdata/requests/first.json")
	if err != nil {
		t.Fatal(err)
	}
	var tree map[string]any
	if err := json.Unmarshal(text, &tree); err != nil {
		t.Fatal(err)
	}
	return tree
}

func encode(t *testing.T, v any) string {
	t.Helper()
	text, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

func TestWrongInputIsToldInTheWordsOfHTTPWithExitCode2(t *testing.T) {
	spoil := func(change func(vehicle, request map[string]any)) string {
		tree := firstRequest(t)
		change(tree["vehicle"].(map[string]any), tree)
		return encode(t, tree)
	}
	in := func(v map[string]any, group string) map[string]any { return v[group].(map[string]any) }
	tests := []struct {
		name, body string
		says       []string // on stderr
	}{
		{"unknown enum", spoil(func(v, _ map[string]any) { in(v, "intake")["flange"] = "round_bore" }), []string{"/vehicle/intake/flange", "round_bore", "square_bore"}},
		{"negative displacement", spoil(func(v, _ map[string]any) { in(v, "engine")["displacement_in3"] = -5 }), []string{"/vehicle/engine/displacement_in3", "-5"}},
		{"litres", spoil(func(v, _ map[string]any) { in(v, "engine")["displacement_in3"] = 5.7 }), []string{"/vehicle/engine/displacement_in3", "5.7"}},
		{"3/0 as a size", spoil(func(v, _ map[string]any) { in(v, "fuel")["line_od_in"] = "3/0" }), []string{"/vehicle/fuel/line_od_in", "3/0"}},
		{"unknown SKU", spoil(func(_, r map[string]any) { r["carburetor_sku"] = "QYC-2A9S" }), []string{"/carburetor_sku", "QYC-2A9S", "QYC-2A95"}},
		{"unknown field", spoil(func(v, _ map[string]any) { v["colour"] = "green" }), []string{"/vehicle/colour"}},
		{"two faults", spoil(func(v, _ map[string]any) {
			in(v, "intake")["flange"] = "round_bore"
			in(v, "engine")["tune"] = "wild"
		}), []string{"/vehicle/intake/flange", "/vehicle/engine/tune"}},
		{"NaN", `{"vehicle_id": NaN}`, []string{"JSON"}},
		{"no JSON", "carburetor=1", []string{"line 1, column 1"}},
		{"nothing", "", []string{"JSON"}},
		{"a list", "[]", []string{"object"}},
		{"no vehicle", `{"carburetor_sku": "QYC-2A95"}`, []string{"/vehicle"}},
		{"unknown vehicle", `{"vehicle_id": "braddimore-candlewick-1953", "carburetor_sku": "QYC-2A95"}`, []string{"/vehicle_id", "braddimore-candlewick-1952"}},
	}
	_, snapshot, err := readCatalogue(db.Seed())
	if err != nil {
		t.Fatal(err)
	}
	service := httpapi.New(httpapi.Config{Snapshot: func() *kit.Snapshot { return snapshot }, Source: "test"})
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			stdout, stderr, code := runProgram(t, test.body, "resolve", "-")
			if code != exitWrongInput || stdout != "" {
				t.Errorf("exit code %d, stdout %q", code, stdout)
			}
			for _, word := range test.says {
				if !strings.Contains(stderr, word) {
					t.Errorf("%q is not in: %s", word, stderr)
				}
			}

			asked := httptest.NewRequestWithContext(t.Context(), http.MethodPost, "/v1/kits/resolve", strings.NewReader(test.body))
			asked.Header.Set("Content-Type", "application/json")
			answered := httptest.NewRecorder()
			service.ServeHTTP(answered, asked)
			var problem struct {
				Detail string                             `json:"detail"`
				Errors []struct{ Pointer, Detail string } `json:"errors"`
			}
			if err := json.Unmarshal(answered.Body.Bytes(), &problem); err != nil {
				t.Fatalf("%d %s: %v", answered.Code, answered.Body, err)
			}
			if problem.Errors == nil && !strings.Contains(stderr, problem.Detail) {
				t.Errorf("HTTP says %q, the command line %q", problem.Detail, stderr)
			}
			for _, fault := range problem.Errors {
				if !strings.Contains(stderr, fault.Pointer) || !strings.Contains(stderr, fault.Detail) {
					t.Errorf("HTTP says %s: %s, the command line %q", fault.Pointer, fault.Detail, stderr)
				}
			}
		})
	}
}

func TestWrongArgumentsEndWithExitCode2(t *testing.T) {
	for _, args := range [][]string{
		{"resolve"}, {"solve"}, {"resolve", "--yaml", "x.json"}, {"resolve", "no-such-file.json"}, {"resolve", "."},
		{"resolve", "--catalogue", "no-such-directory", "../testdata/requests/first.json"},
		{"resolve", "--catalogue", "main.go", "../testdata/requests/first.json"},
		{"serve", "--listen", "nowhere"}, {"serve", "--listen", "127.0.0.1:notaport"},
	} {
		if _, stderr, code := runProgram(t, "", args...); code != exitWrongInput || strings.TrimSpace(stderr) == "" {
			t.Errorf("%v: exit code %d, stderr %q", args, code, stderr)
		}
	}
}

func TestServeRefusesWhatOtherMachinesCanReach(t *testing.T) {
	for _, listen := range []string{"0.0.0.0:0", ":0", "[::]:0", "192.0.2.1:0"} {
		_, stderr, code := runProgram(t, "", "serve", "--listen", listen)
		if code != exitWrongInput || !strings.Contains(stderr, "keys") {
			t.Errorf("%s: exit code %d, stderr %q", listen, code, stderr)
		}
	}
	t.Setenv("LISTEN", "0.0.0.0:0")
	if _, stderr, code := runProgram(t, "", "serve"); code != exitWrongInput || !strings.Contains(stderr, "keys") {
		t.Errorf("LISTEN: exit code %d, stderr %q", code, stderr)
	}
}

// startServer starts the program as a process, with more environment, and returns its
// base URL and the rest of its log.
func startServer(t *testing.T, environment ...string) (*exec.Cmd, string, *bufio.Reader) {
	t.Helper()
	return startServerAs(t, nil, environment...)
}

// startServerAs is startServer with arguments for serve.
func startServerAs(t *testing.T, args []string, environment ...string) (*exec.Cmd, string, *bufio.Reader) {
	t.Helper()
	program, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(t.Context(), 5*time.Minute)
	t.Cleanup(cancel)
	command := exec.CommandContext(ctx, program, append([]string{"serve"}, args...)...)
	command.Env = append(os.Environ(), asProgram+"=1", "LISTEN=127.0.0.1:0")
	command.Env = append(command.Env, environment...)
	pipe, err := command.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := command.Start(); err != nil {
		t.Fatal(err)
	}
	log := bufio.NewReader(pipe)
	line, err := log.ReadBytes('\n')
	if err != nil {
		t.Fatalf("no log line: %v", err)
	}
	var entry struct{ Msg, URL string }
	if err := json.Unmarshal(line, &entry); err != nil || entry.Msg != "listening" {
		t.Fatalf("the first line is not JSON that says where it listens: %s (%v)", line, err)
	}
	return command, entry.URL, log
}

// With --demo the demo catalogue is served, whatever database the environment names.
func TestServeDemoLeavesTheDatabaseAlone(t *testing.T) {
	_, url, _ := startServerAs(t, []string{"--demo"}, databaseVariable+"=postgres://nobody@127.0.0.1:1/nowhere")
	status, _, answer := ask(t, http.MethodGet, url+"/readyz", "", "")
	var r httpapi.Readiness
	if err := json.Unmarshal(answer, &r); err != nil || status != http.StatusOK || r.Source != "demo catalogue" || r.Database != nil {
		t.Errorf("readyz: %d %s (%v)", status, answer, err)
	}
	if status, _, page := ask(t, http.MethodGet, url+"/", "", ""); status != http.StatusOK || !strings.Contains(string(page), "v1/kits/resolve?vehicle_id=") {
		t.Errorf("the start page: %d %s", status, page)
	}
	if _, stderr, code := runProgram(t, "", "serve", "--demo", "--catalogue", "../db/seed"); code != exitWrongInput || !strings.Contains(stderr, "--catalogue") {
		t.Errorf("exit code %d: %s", code, stderr)
	}
}

func post(t *testing.T, url, body string) (status int, answer string) {
	t.Helper()
	asked, err := http.NewRequestWithContext(t.Context(), http.MethodPost, url, strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	asked.Header.Set("Content-Type", "application/json")
	answered, err := http.DefaultClient.Do(asked)
	if err != nil {
		t.Fatal(err)
	}
	defer answered.Body.Close()
	text, err := io.ReadAll(answered.Body)
	if err != nil {
		t.Fatal(err)
	}
	return answered.StatusCode, string(text)
}

func TestServeAnswersAsResolveDoesAndStopsOnSIGTERM(t *testing.T) {
	command, url, log := startServer(t)

	body, err := os.ReadFile("../testdata/requests/first.json")
	if err != nil {
		t.Fatal(err)
	}
	status, answer := post(t, url+"/v1/kits/resolve", string(body))
	printed, _, _ := runProgram(t, "", "resolve", "--json", "../testdata/requests/first.json")
	var indented bytes.Buffer
	if err := json.Indent(&indented, []byte(answer), "", "  "); err != nil {
		t.Fatal(err)
	}
	if status != http.StatusOK || indented.String() != printed {
		t.Errorf("status %d; the service and the command line answer differently", status)
	}

	if err := command.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	rest, err := io.ReadAll(log)
	if err != nil {
		t.Fatal(err)
	}
	if err := command.Wait(); err != nil || !strings.Contains(string(rest), `"stopped"`) {
		t.Errorf("%v; log:\n%s", err, rest)
	}
}

func TestServeWithoutADatabaseKeepsKitsInMemory(t *testing.T) {
	_, url, _ := startServer(t)
	status, header, saved := ask(t, http.MethodPost, url+"/v1/kits", "", `{"vehicle_id": "halvorne-ferrymaster-1981", "carburetor_sku": "QYC-2B51"}`)
	if status != http.StatusCreated || !strings.Contains(string(saved), `"notice":"Kept in the memory of this service only, until it stops`) {
		t.Fatalf("%d %s", status, saved)
	}
	if status, _, again := ask(t, http.MethodGet, url+header.Get("Location"), "", ""); status != http.StatusOK || !bytes.Equal(again, saved) {
		t.Errorf("%d %s", status, again)
	}
}

func TestSIGTERMLetsARequestUnderWayFinish(t *testing.T) {
	command, url, log := startServer(t)

	// A body whose second half comes only after the signal. Its first byte is sent
	// when the server has asked for it, so that the request is surely under way.
	body := encode(t, firstRequest(t))
	reader, writer := io.Pipe()
	asked, err := http.NewRequestWithContext(t.Context(), http.MethodPost, url+"/v1/kits/resolve", reader)
	if err != nil {
		t.Fatal(err)
	}
	asked.Header.Set("Content-Type", "application/json")
	asked.Header.Set("Expect", "100-continue")
	client := http.Client{Transport: &http.Transport{ExpectContinueTimeout: time.Minute}}
	status := make(chan int, 1)
	go func() {
		answered, err := client.Do(asked)
		if err != nil {
			status <- 0
			return
		}
		_ = answered.Body.Close()
		status <- answered.StatusCode
	}()
	if _, err := io.WriteString(writer, body[:len(body)/2]); err != nil {
		t.Fatal(err)
	}
	if err := command.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	line, err := log.ReadString('\n')
	if err != nil || !strings.Contains(line, `"stopping"`) {
		t.Fatalf("%v: %s", err, line)
	}
	if _, err := io.WriteString(writer, body[len(body)/2:]); err != nil {
		t.Fatal(err)
	}
	_ = writer.Close() // a pipe's Close returns no error
	if got := <-status; got != http.StatusOK {
		t.Errorf("the request under way ended with status %d", got)
	}
	if _, err := io.Copy(io.Discard, log); err != nil {
		t.Fatal(err)
	}
	if err := command.Wait(); err != nil {
		t.Error(err)
	}
}
