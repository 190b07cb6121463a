//go:build e2e

package main

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/http/httputil"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync/atomic"
	"testing"

	"onetrip/internal/kit"
)

// guided is a section of README.md, in a directory of its own where its files are
// written and its commands run, and the service that it talks of.
type guided struct {
	t        *testing.T
	dir      string
	url, key string
	blocks   []block
}

// block is fenced text: a file when a line before it names one, else commands.
type block struct{ file, text string }

var fenced = regexp.MustCompile("(?ms)(?:^`([^`\\n]+)`:\\n\\n)?^```[a-z]+\\n(.*?)^```\\n")

// guide reads the section under a heading and serves a database with keys.
func guide(t *testing.T, heading string, scopes string) *guided {
	t.Helper()
	readme, err := os.ReadFile("../README.md")
	if err != nil {
		t.Fatal(err)
	}
	_, section, found := strings.Cut(string(readme), "\n### "+heading+"\n")
	if !found {
		t.Fatalf("README.md has no section %q", heading)
	}
	section, _, _ = strings.Cut(section, "\n## ")
	section, _, _ = strings.Cut(section, "\n### ")
	g := &guided{t: t, dir: t.TempDir()}
	for _, match := range fenced.FindAllStringSubmatch(section, -1) {
		g.blocks = append(g.blocks, block{match[1], match[2]})
	}
	loaded(t)
	g.key = strings.TrimSpace(succeed(t, "keys", "create", "--name", "guide", "--scope", scopes))
	_, g.url, _ = startServer(t)
	return g
}

// follow writes every file and runs every command, and returns what was printed.
func (g *guided) follow() (printed string) {
	g.t.Helper()
	for _, b := range g.blocks {
		text := strings.ReplaceAll(b.text, "http://127.0.0.1:8080", g.url)
		if b.file != "" {
			if err := os.WriteFile(filepath.Join(g.dir, b.file), []byte(text), 0o755); err != nil {
				g.t.Fatal(err)
			}
			continue
		}
		out, err := g.command("sh", "-euxc", text).CombinedOutput()
		if err != nil {
			g.t.Fatalf("%v:\n%s", err, out)
		}
		printed += string(out)
	}
	return printed
}

func (g *guided) command(name string, args ...string) *exec.Cmd {
	c := exec.CommandContext(g.t.Context(), name, args...)
	c.Dir = g.dir
	c.Env = append(os.Environ(), "ONETRIP_URL="+g.url, "ONETRIP_KEY="+g.key, "ONETRIP_KEY_FILE=key", "GOFLAGS=", "GOWORK=off")
	return c
}

func TestGuideWebsite(t *testing.T) {
	text, stderr, code := runProgram(t, `{"vehicle_id": "halvorne-ferrymaster-1981", "carburetor_sku": "QYC-2B51"}`, "resolve", "--json", "-")
	if code != exitOK {
		t.Fatal(stderr)
	}
	var k kit.Kit
	if err := json.Unmarshal([]byte(text), &k); err != nil {
		t.Fatal(err)
	}
	want := []string{string(k.Verdict)}
	for _, l := range k.Lines {
		want = append(want, fmt.Sprintf("%d x %s %s: %s", l.Quantity, l.SKU, l.Name, l.Amount))
	}
	for _, m := range k.Missing {
		want = append(want, fmt.Sprintf("missing: %s: %s", m.Need, m.Reason))
	}
	for _, c := range k.Cautions {
		want = append(want, "caution: "+c.Text)
	}
	if len(k.Lines) == 0 || len(k.Cautions) == 0 {
		t.Fatal("the kit of the guide has nothing to show")
	}
	for _, language := range []string{"TypeScript", "Go"} {
		t.Run(language, func(t *testing.T) {
			printed := guide(t, "A shop's website, in "+language, "read").follow()
			if !strings.Contains(printed, strings.Join(want, "\n")+"\n") {
				t.Errorf("printed:\n%s\nwant:\n%s", printed, strings.Join(want, "\n"))
			}
		})
	}
}

func TestGuideInventory(t *testing.T) {
	g := guide(t, "An inventory system, by cron", "stock")
	g.follow()
	for _, check := range [][]string{{"sh", "-n", "send-stock"}, {"shellcheck", "send-stock"}} {
		if out, err := g.command(check[0], check[1:]...).CombinedOutput(); err != nil {
			t.Errorf("%v: %v\n%s", check, err, out)
		}
	}
	g.write("key", "Authorization: Bearer "+g.key+"\n")
	if err := os.Mkdir(filepath.Join(g.dir, "out"), 0o755); err != nil {
		t.Fatal(err)
	}
	if code, said := g.sendStock(g.url); code != 0 || said != "" {
		t.Errorf("without a file: exit code %d: %s", code, said)
	}

	// A service that fails first: the script asks again, and the import is done once.
	var asked atomic.Int32
	target, err := url.Parse(g.url)
	if err != nil {
		t.Fatal(err)
	}
	proxy := &httputil.ReverseProxy{Rewrite: func(r *httputil.ProxyRequest) { r.SetURL(target) }}
	shaky := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		switch asked.Add(1) {
		case 1:
			w.Header().Set("Retry-After", "1")
			w.WriteHeader(http.StatusServiceUnavailable)
		case 2: // done, but the answer is lost
			proxy.ServeHTTP(httptest.NewRecorder(), r)
			w.WriteHeader(http.StatusBadGateway)
		default:
			proxy.ServeHTTP(w, r)
		}
	}))
	defer shaky.Close()
	before := g.revision()
	g.write("out/stock-1.csv", "sku,location,on_hand\nFOZ-2A07,wexhollow,77\n")
	if code, said := g.sendStock(shaky.URL); code != 0 {
		t.Errorf("exit code %d: %s", code, said)
	}
	if asked.Load() != 3 || g.revision() != before+1 || g.onHand() != 77 {
		t.Errorf("%d requests, %d changes, %d on hand", asked.Load(), g.revision()-before, g.onHand())
	}
	g.has("stock-1.csv.sent")

	// What is wrong is set aside with the reasons, and does not hold up what is right.
	g.write("out/stock-2.csv", "sku,location,on_hand\nFOZ-2A07,wexhollow,-1\n")
	g.write("out/stock-3.csv", "sku,location,on_hand\nFOZ-2A07,wexhollow,78\n")
	if code, said := g.sendStock(g.url); code != 1 || !strings.Contains(said, "stock-2.csv is refused") {
		t.Errorf("exit code %d: %s", code, said)
	}
	g.has("stock-1.csv.sent", "stock-2.csv.answer", "stock-2.csv.refused", "stock-3.csv.sent")
	if reasons, err := os.ReadFile(filepath.Join(g.dir, "out/stock-2.csv.answer")); err != nil || !strings.Contains(string(reasons), `"line":2`) || g.onHand() != 78 {
		t.Errorf("%d on hand; reasons: %s (%v)", g.onHand(), reasons, err)
	}

	// Mended, the file comes again under its name.
	g.write("out/stock-2.csv", "sku,location,on_hand\nFOZ-2A07,wexhollow,76\n")
	if code, said := g.sendStock(g.url); code != 0 || g.onHand() != 76 {
		t.Errorf("exit code %d, %d on hand: %s", code, g.onHand(), said)
	}
	g.has("stock-1.csv.sent", "stock-2.csv.refused", "stock-2.csv.sent", "stock-3.csv.sent")

	// A key that is not in force is not the file's fault, nor may a newer file overtake it.
	g.write("out/stock-4.csv", "sku,location,on_hand\nFOZ-2A07,wexhollow,79\n")
	g.write("out/stock-5.csv", "sku,location,on_hand\nFOZ-2A07,wexhollow,80\n")
	g.write("key", "Authorization: Bearer no-such-key\n")
	if code, said := g.sendStock(g.url); code != 75 || !strings.Contains(said, "stock-4.csv is not sent (status 401)") || strings.Contains(said, "stock-5") {
		t.Errorf("exit code %d: %s", code, said)
	}
	g.write("key", "Authorization: Bearer "+g.key+"\n")
	if code, said := g.sendStock(g.url); code != 0 || g.onHand() != 80 {
		t.Errorf("exit code %d, %d on hand: %s", code, g.onHand(), said)
	}
}

func (g *guided) write(name, text string) {
	g.t.Helper()
	if err := os.WriteFile(filepath.Join(g.dir, name), []byte(text), 0o600); err != nil {
		g.t.Fatal(err)
	}
}

func (g *guided) sendStock(service string) (code int, said string) {
	g.t.Helper()
	c := g.command("./send-stock", "out")
	c.Env = append(c.Env, "ONETRIP_URL="+service)
	out, err := c.CombinedOutput()
	if c.ProcessState == nil {
		g.t.Fatal(err)
	}
	return c.ProcessState.ExitCode(), string(out)
}

func (g *guided) revision() int64 { return readiness(g.t, g.url).CatalogueRevision }

func (g *guided) onHand() (n int) {
	g.t.Helper()
	status, _, answer := ask(g.t, http.MethodGet, g.url+"/v1/stock/FOZ-2A07", g.key, "")
	var levels struct {
		Stock []struct {
			Location string
			OnHand   int `json:"on_hand"`
		}
	}
	if err := json.Unmarshal(answer, &levels); err != nil || status != http.StatusOK {
		g.t.Fatalf("%d %s (%v)", status, answer, err)
	}
	for _, l := range levels.Stock {
		if l.Location == "wexhollow" {
			n = l.OnHand
		}
	}
	return n
}

// has fails the test unless the directory of stock files holds exactly these.
func (g *guided) has(names ...string) {
	g.t.Helper()
	entries, err := os.ReadDir(filepath.Join(g.dir, "out"))
	if err != nil {
		g.t.Fatal(err)
	}
	var got []string
	for _, e := range entries {
		got = append(got, e.Name())
	}
	if !slices.Equal(got, names) {
		g.t.Errorf("the directory holds %v, want %v", got, names)
	}
}
