//go:build e2e

package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"onetrip/internal/kit"
	"onetrip/internal/sheet"
)

// axe-core judges the accessibility of a page. It is fetched into the cache of
// .ci/run; the integrity is from `npm view axe-core@4.14.1 dist.integrity`.
const (
	axeVersion   = "4.14.1"
	axeIntegrity = "sha512-FHfa+lmNjQZfJz1q8wKqIDwC6DExcHt/pkjNQb09a3NPjCKg2rhu5qb2S4r76ASyFNNtuFooJpZe37OgudVGtQ=="
)

// cacheDir is where .ci/run keeps what is not of the tree.
var cacheDir = sync.OnceValues(func() (string, error) {
	if dir := os.Getenv("CI_CACHE"); dir != "" {
		return dir, nil
	}
	dir, err := os.UserCacheDir()
	return filepath.Join(dir, "onetrip-ci"), err
})

var axe = sync.OnceValues(func() (string, error) {
	cache, err := cacheDir()
	if err != nil {
		return "", err
	}
	dir := filepath.Join(cache, "axe-core-"+axeVersion)
	file := filepath.Join(dir, "axe.min.js")
	if _, err := os.Stat(file); errors.Is(err, os.ErrNotExist) {
		if out, err := exec.Command("../.ci/npm-files", "axe-core@"+axeVersion, axeIntegrity, dir, "axe.min.js").CombinedOutput(); err != nil {
			return "", fmt.Errorf("%w: %s", err, out)
		}
	}
	text, err := os.ReadFile(file)
	return string(text), err
})

// Sizes of windows that pages are looked at in, in CSS pixels.
var (
	phone   = size{"phone", 390, 844}
	desktop = size{"desktop", 1280, 900}
)

type size struct {
	name          string
	width, height int64
}

// tab is a page in the browser, with what it asked for and complained of.
type tab struct {
	t      *testing.T
	ctx    context.Context
	origin string

	mu         sync.Mutex
	complaints []string
	asked      []string
}

// browser starts one for the test.
func browser(t *testing.T) context.Context {
	t.Helper()
	options := append(chromedp.DefaultExecAllocatorOptions[:],
		chromedp.NoSandbox, // which a root in a container cannot have; only pages of our own are opened
		// What is not this machine does not exist.
		chromedp.Flag("host-resolver-rules", "MAP * ~NOTFOUND, EXCLUDE 127.0.0.1"),
	)
	allocator, cancel := chromedp.NewExecAllocator(t.Context(), options...)
	t.Cleanup(cancel)
	ctx, cancel := chromedp.NewContext(allocator)
	t.Cleanup(cancel)
	if err := chromedp.Do(ctx); err != nil {
		t.Fatalf("no browser: %v; apt-get install chromium", err)
	}
	return ctx
}

// open opens a page in a new tab and waits until it has loaded.
func open(browser context.Context, t *testing.T, address string, window size) *tab {
	t.Helper()
	ctx, cancel := chromedp.NewContext(browser)
	t.Cleanup(cancel)
	ctx, cancel = context.WithTimeout(ctx, 5*time.Minute) // ends what hangs, on a slow machine too
	t.Cleanup(cancel)
	at, err := url.Parse(address)
	if err != nil {
		t.Fatal(err)
	}
	p := &tab{t: t, ctx: ctx, origin: at.Scheme + "://" + at.Host + "/"}
	if at.Scheme == "file" {
		p.origin = address
	}
	if err := chromedp.Listen(ctx, p.listen); err != nil {
		t.Fatal(err)
	}
	mobile := func(p *emulation.SetDeviceMetricsOverrideParams, _ *emulation.SetTouchEmulationEnabledParams) {
		p.Mobile = window == phone
	}
	p.do(chromedp.EmulateViewport(window.width, window.height, mobile), chromedp.Navigate(address))
	return p
}

func (p *tab) listen(event any) {
	p.mu.Lock()
	defer p.mu.Unlock()
	switch e := event.(type) {
	case *network.EventRequestWillBeSent:
		p.asked = append(p.asked, e.Request.URL)
	case *runtime.EventExceptionThrown:
		p.complaints = append(p.complaints, fmt.Sprint(e.ExceptionDetails.Text, " ", e.ExceptionDetails.Exception))
	case *runtime.EventConsoleAPICalled:
		if e.Type == runtime.ConsoleAPICalledTypeError || e.Type == runtime.ConsoleAPICalledTypeWarning {
			for _, arg := range e.Args {
				p.complaints = append(p.complaints, fmt.Sprintf("%s %s", arg.Value, arg.Description))
			}
		}
	case *log.EventEntryAdded:
		if e.Entry.Level == log.EntryLevelError || e.Entry.Level == log.EntryLevelWarning {
			p.complaints = append(p.complaints, e.Entry.Text+" "+e.Entry.URL)
		}
	}
}

func (p *tab) do(steps ...chromedp.Action[chromedp.Void]) {
	p.t.Helper()
	if err := chromedp.Do(p.ctx, steps...); err != nil {
		p.t.Fatal(err)
	}
}

// eval gives the value of a JavaScript expression, awaited.
func eval[T any](p *tab, expression string) T {
	p.t.Helper()
	value, err := chromedp.Run(p.ctx, chromedp.Evaluate[T](expression, chromedp.EvalAwaitPromise))
	if err != nil {
		p.t.Fatal(err)
	}
	return value
}

// until waits for an expression to be true.
func (p *tab) until(expression string) {
	p.t.Helper()
	p.do(chromedp.Poll[chromedp.Void]("!!("+expression+")", chromedp.WithPollingTimeout(time.Minute)))
}

// press waits for an element, gives it the focus and presses Enter.
func (p *tab) press(selector string) {
	p.t.Helper()
	p.until(`document.querySelector('` + selector + `')`)
	p.do(chromedp.Evaluate[chromedp.Void](`document.querySelector('`+selector+`').focus()`), chromedp.KeyEvent(kb.Enter))
}

// isQuiet fails the test on anything that the page complained of or asked of others.
func (p *tab) isQuiet() {
	p.t.Helper()
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, complaint := range p.complaints {
		p.t.Errorf("the console says: %s", complaint)
	}
	if len(p.asked) == 0 {
		p.t.Error("no request was seen, not even that for the page")
	}
	for _, address := range p.asked {
		if !strings.HasPrefix(address, p.origin) && !strings.HasPrefix(address, "data:") {
			p.t.Errorf("asked for %s", address)
		}
	}
}

type axeNode struct{ HTML, FailureSummary string }

// isAccessible fails the test on what axe finds to be serious or critical.
func (p *tab) isAccessible() {
	p.t.Helper()
	script, err := axe()
	if err != nil {
		p.t.Fatal(err)
	}
	p.do(chromedp.Evaluate[chromedp.Void](script))
	type violation struct {
		ID, Impact, Help string
		Nodes            []axeNode
	}
	result := eval[struct {
		Violations []violation
		Passes     []struct{ ID string }
	}](p, `axe.run({resultTypes: ["violations"]})`)
	if len(result.Passes) == 0 {
		p.t.Error("axe found nothing to judge")
	}
	for _, v := range result.Violations {
		if v.Impact != "serious" && v.Impact != "critical" {
			p.t.Logf("axe: %s: %s (%s), %d places", v.ID, v.Help, v.Impact, len(v.Nodes))
			continue
		}
		for _, node := range oneOfEach(v.Nodes) {
			p.t.Errorf("axe: %s: %s (%s), one of %d places:\n%s\n%s", v.ID, v.Help, v.Impact, len(v.Nodes), node.HTML, node.FailureSummary)
		}
	}
}

// oneOfEach keeps a node for each summary.
func oneOfEach(nodes []axeNode) (kept []axeNode) {
	seen := map[string]bool{}
	for _, n := range nodes {
		if !seen[n.FailureSummary] {
			seen[n.FailureSummary] = true
			kept = append(kept, n)
		}
	}
	return kept
}

// isReachable presses Tab until every control and link has had the focus, and fails the
// test where it does not come or is not to be seen.
func (p *tab) isReachable() {
	p.t.Helper()
	count := eval[int](p, `(() => {
		window.unreached = new Set([...document.querySelectorAll("a[href], button, input, select, textarea, summary, [tabindex]")]
			.filter(e => !e.disabled && e.tabIndex >= 0 && e.checkVisibility({visibilityProperty: true})));
		window.unseen = new Set();
		document.addEventListener("focusin", e => {
			unreached.delete(e.target);
			const style = getComputedStyle(e.target);
			if (style.outlineStyle == "none" && style.boxShadow == "none") unseen.add(e.target);
			else unseen.delete(e.target);
		});
		return unreached.size;
	})()`)
	if count == 0 {
		p.t.Error("nothing on the page can have the focus")
	}
	for i := range 2*count + 20 { // what scrolls has the focus too
		p.do(chromedp.KeyEvent(kb.Tab))
		if i%20 == 19 && eval[int](p, `unreached.size + unseen.size`) == 0 {
			break
		}
	}
	for _, element := range eval[[]string](p, `[...unreached].map(e => e.outerHTML.slice(0, 200))`) {
		p.t.Errorf("the keyboard does not reach %s", element)
	}
	for _, element := range eval[[]string](p, `[...unseen].map(e => e.outerHTML.slice(0, 200))`) {
		p.t.Errorf("the focus does not show on %s", element)
	}
}

// fitsWidth fails the test when the page is wider than its window.
func (p *tab) fitsWidth() {
	p.t.Helper()
	if over := eval[int](p, `document.documentElement.scrollWidth - document.documentElement.clientWidth`); over > 0 {
		p.t.Errorf("the page is %d px wider than its window: %s", over, eval[[]string](p, `[...document.querySelectorAll("body *")]
			.filter(e => e.getBoundingClientRect().right > document.documentElement.clientWidth || e.scrollWidth > e.clientWidth + 1 && e.clientWidth).map(e => e.outerHTML.slice(0, 100)).slice(0, 20)`))
	}
}

// keep writes pictures of the whole page, cut where it gets too long to look at.
func (p *tab) keep(name string) {
	p.t.Helper()
	const cut = 4000
	height := eval[float64](p, `document.documentElement.scrollHeight`)
	width := eval[float64](p, `document.documentElement.clientWidth`)
	beyond := true
	for i := 0; float64(i)*cut < height; i++ {
		y := float64(i) * cut
		clip := &page.Viewport{Y: y, Width: width, Height: min(cut, height-y), Scale: 1}
		picture, err := chromedp.Call(p.ctx, page.CaptureScreenshot, page.CaptureScreenshotParams{Clip: clip, CaptureBeyondViewport: &beyond})
		if err != nil {
			p.t.Fatal(err)
		}
		p.keepFile(fmt.Sprintf("%s-%d.png", name, i+1), picture.Data)
	}
}

func (p *tab) keepFile(name string, content []byte) {
	p.t.Helper()
	dir := os.Getenv("CI_ARTIFACTS")
	if dir == "" {
		cache, err := cacheDir()
		if err != nil {
			p.t.Fatal(err)
		}
		dir = filepath.Join(cache, "artifacts")
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		p.t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, name), content, 0o644); err != nil {
		p.t.Fatal(err)
	}
}

// What the tests look for they find on a page that has it all wrong.
func TestBrowserTestsSeeWhatIsWrong(t *testing.T) {
	t.Parallel()
	file := filepath.Join(t.TempDir(), "wrong.html")
	const wrong = `<!DOCTYPE html><html lang="en"><title>Wrong</title><p style="color: #ccc">Pale</p><img alt="" src="http://onetrip.example/x.png">
		<div style="width: 3000px">Wide</div><div inert><button>Out of reach</button></div><a href="#" style="outline: none">Unseen</a><script>console.error("no")</script></html>`
	if err := os.WriteFile(file, []byte(wrong), 0o600); err != nil {
		t.Fatal(err)
	}
	p := open(browser(t), t, "file://"+file, desktop)
	for name, check := range map[string]func(){
		"isQuiet": p.isQuiet, "isAccessible": p.isAccessible, "isReachable": p.isReachable, "fitsWidth": p.fitsWidth,
		"drawsWhatIsIn": func() { p.drawsWhatIsIn(&kit.Kit{}) },
	} {
		p.t = &testing.T{}
		if check(); !p.t.Failed() {
			t.Errorf("%s finds nothing wrong", name)
		}
	}
}

// What the page shows can be tried there: with the keyboard alone, a POST with the
// contract's example and a GET with nothing but its defaults are answered.
func TestBrowserDocs(t *testing.T) {
	t.Parallel()
	_, service, _ := startServer(t)
	chrome := browser(t)
	for _, window := range []size{phone, desktop} {
		t.Run(window.name, func(t *testing.T) {
			p := open(chrome, t, service+"/docs", window)
			p.tries("listParts")
			p.tries("resolveKit")
			p.keep("docs-" + window.name)
			p.isAccessible()
			p.isReachable()
			p.fitsWidth()
			p.isQuiet()
		})
	}
}

// Where keys are asked for, one that is typed into the page is sent.
func TestBrowserDocsSendsTheKey(t *testing.T) {
	loaded(t)
	key := strings.TrimSpace(succeed(t, "keys", "create", "--name", "reader", "--scope", "read"))
	_, service, _ := startServer(t)
	p := open(browser(t), t, service+"/docs", desktop)
	p.press(".btn.authorize")
	p.until(`document.querySelector("#auth-bearer-value")`)
	p.isAccessible()
	p.do(chromedp.Focus("#auth-bearer-value"), chromedp.KeyEvent(key+kb.Enter))
	p.press(".btn-done")
	p.tries("listParts")
	p.press(".models-control")
	p.until(`document.querySelector(".model-container")`)
	p.isAccessible()
	p.isQuiet()
}

// tries presses "Try it out" and Execute, and fails the test when the page does not
// show success.
func (p *tab) tries(operation string) {
	p.t.Helper()
	block := `[id$="-` + operation + `"] `
	p.press(block + ".opblock-summary-control")
	p.press(block + ".try-out__btn")
	p.press(block + ".execute")
	answer := `document.querySelector('` + block + `.live-responses-table tbody .response-col_status')`
	p.until(answer)
	if status := eval[string](p, answer+`.innerText`); !strings.HasPrefix(status, "200") {
		p.t.Errorf("%s: the page shows status %s", operation, status)
	}
}

// The start page leads to a sheet, with the keyboard alone, and its commands are answered.
func TestBrowserStart(t *testing.T) {
	t.Parallel()
	_, service, _ := startServer(t)
	chrome := browser(t)
	for _, window := range []size{phone, desktop} {
		t.Run(window.name, func(t *testing.T) {
			p := open(chrome, t, service+"/", window)
			p.keep("start-" + window.name)
			p.isAccessible()
			p.isReachable()
			p.fitsWidth()
			commands := eval[string](p, `[...document.querySelectorAll("pre")].map(e => e.innerText).join("\n")`)
			if out, err := exec.CommandContext(t.Context(), "sh", "-euc", strings.ReplaceAll(commands, "curl ", "curl -sS --fail-with-body ")).CombinedOutput(); err != nil {
				t.Errorf("the commands on the page: %v\n%s\n%s", err, commands, out)
			}
			p.press(`a[href^="v1/kits/resolve"]`)
			p.do(chromedp.WaitVisible("#drawing-levers")) // the last
			p.isQuiet()
		})
	}
}

// paper is what pages are printed on.
type paper struct {
	name string
	size chromedp.PaperSize
}

var papers = []paper{{"a4", chromedp.PaperA4}, {"letter", chromedp.PaperLetter}}

const (
	pxPerIn = 96
	ptPerIn = 72
	// marginsIn is what the pages' own style leaves white at the sides, 12 mm each.
	marginsIn = 2 * 12 / 25.4
)

// goldenKit is one of testdata/kits.
func goldenKit(t *testing.T, name string) *kit.Kit {
	t.Helper()
	text, err := os.ReadFile("../testdata/kits/" + name + ".json")
	if err != nil {
		t.Fatal(err)
	}
	var golden struct{ Kit *kit.Kit }
	if err := json.Unmarshal(text, &golden); err != nil {
		t.Fatal(err)
	}
	return golden.Kit
}

// sheetFile writes the sheet of a kit.
func sheetFile(t *testing.T, k *kit.Kit) (address string) {
	t.Helper()
	name := filepath.Join(t.TempDir(), "sheet.html")
	err := writeFile(name, func(w io.Writer) error {
		return sheet.HTML(w, k, sheet.Options{Code: "K7M4-TQ2X", Notes: []string{"Saved by a test."}})
	})
	if err != nil {
		t.Fatal(err)
	}
	return "file://" + name
}

// Sheets of every verdict, on a phone, a desk and paper.
func TestBrowserSheet(t *testing.T) {
	t.Parallel()
	chrome := browser(t)
	for _, name := range []string{"spread-manifold-square-carburetor", "throttle-valve-cable-known", "shelf-of-fuel-parts", "missing-parts", "emissions-unsuitable"} {
		k := goldenKit(t, name)
		address := sheetFile(t, k)
		for _, window := range []size{phone, desktop} {
			t.Run(name+"/"+window.name, func(t *testing.T) {
				p := open(chrome, t, address, window)
				p.keep("sheet-" + name + "-" + window.name)
				p.drawsWhatIsIn(k)
				p.isAccessible()
				if k.Verdict != kit.Unsuitable { // whose sheet has nothing to tick
					p.isReachable()
				}
				p.fitsWidth()
				p.isQuiet()
			})
		}
		for _, paper := range papers {
			t.Run(name+"/"+paper.name, func(t *testing.T) {
				openPrinted(chrome, t, address, "sheet-"+name, paper).drawsWhatIsIn(k)
			})
		}
	}
}

// openPrinted opens a page as it is laid out on paper, prints it and fails the test
// where it is wider than the paper.
func openPrinted(browser context.Context, t *testing.T, address, name string, on paper) *tab {
	t.Helper()
	p := open(browser, t, address, size{on.name, int64((on.size.Width - marginsIn) * pxPerIn), 1000})
	if _, err := chromedp.Call(p.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: "print"}); err != nil {
		t.Fatal(err)
	}
	p.fitsWidth()
	pdf, err := chromedp.Run(p.ctx, chromedp.PrintToPDF(chromedp.PDFPaper(on.size)))
	if err != nil {
		t.Fatal(err)
	}
	p.keepFile(name+"-"+on.name+".pdf", pdf)
	boxes := regexp.MustCompile(`/MediaBox \[0 0 ([0-9.]+) `).FindAllSubmatch(pdf, -1)
	if len(boxes) == 0 {
		t.Error("nothing was printed")
	}
	for _, box := range boxes {
		if width, err := strconv.ParseFloat(string(box[1]), 64); err != nil || math.Abs(width-on.size.Width*ptPerIn) > 1 {
			t.Errorf("a page is %s pt wide", box[1])
		}
	}
	return p
}

// The page of a coverage report.
func TestBrowserCoverage(t *testing.T) {
	t.Parallel()
	_, service, _ := startServer(t)
	status, header, answer := ask(t, http.MethodPost, service+"/v1/coverage", "", `{"basis": "stock", "location": "wexhollow", "flanges": ["square_bore"]}`)
	if status != http.StatusAccepted {
		t.Fatalf("%d %s", status, answer)
	}
	address := service + header.Get("Location")
	eventually(t, "the report is done", func() bool {
		_, _, report := ask(t, http.MethodGet, address, "", "")
		return strings.Contains(string(report), `"status":"done"`)
	})
	chrome := browser(t)
	for _, window := range []size{phone, desktop} {
		t.Run(window.name, func(t *testing.T) {
			p := open(chrome, t, address, window)
			p.until(`document.querySelector("figure svg")`)
			p.keep("coverage-" + window.name)
			p.isAccessible()
			p.isReachable()
			p.fitsWidth()
			p.isQuiet()
		})
	}
	for _, paper := range papers {
		t.Run(paper.name, func(t *testing.T) { openPrinted(chrome, t, address, "coverage", paper).isQuiet() })
	}
}

// drawsWhatIsIn fails the test unless the five drawings are there, whole, with a name
// and a description, and say what the kit does.
func (p *tab) drawsWhatIsIn(k *kit.Kit) {
	p.t.Helper()
	text, err := json.Marshal(k)
	if err != nil {
		p.t.Fatal(err)
	}
	faults := eval[[]string](p, `(kit => {
		const faults = [], at = pointer => pointer.split("/").slice(1).reduce((v, name) => v?.[name], kit);
		for (const id of ["demand", "ports", "path", "stack", "levers"]) {
			const svg = document.getElementById("drawing-" + id);
			if (!svg || !svg.checkVisibility()) { faults.push(id + " is not drawn"); continue; }
			if (svg.getAttribute("role") != "img" || !svg.querySelector("title")?.textContent || !svg.querySelector("desc")?.textContent) faults.push(id + " has no name");
			const frame = svg.getBoundingClientRect(), figures = svg.querySelectorAll("[data-from]");
			if (frame.width < 200 || frame.height < 50) faults.push(id + " is " + frame.width + " x " + frame.height + " px");
			if (!figures.length) faults.push(id + " has no figures");
			for (const e of figures) {
				const pointer = e.getAttribute("data-from"), want = at(pointer), got = e.textContent;
				if (want === undefined) faults.push(id + ": " + pointer + " is not in the kit");
				else if (e.tagName == "rect") continue; // drawn to scale: the tests of package sheet
				else if (typeof want == "number" ? Math.abs(want - got) > 0.00005 || got === "" : String(want) !== got) faults.push(id + ": " + pointer + " is " + want + ", drawn as " + got);
			}
			for (const e of svg.querySelectorAll("text")) {
				const box = e.getBoundingClientRect(), lead = box.height / 4; // a line's box is higher than its letters
				if (box.left < frame.left - 1 || box.right > frame.right + 1 || box.top < frame.top - lead || box.bottom > frame.bottom + lead) faults.push(id + " cuts " + e.textContent);
			}
		}
		return faults;
	})(`+string(text)+`)`)
	for _, fault := range faults {
		p.t.Error(fault)
	}
}

// Names are text, whatever they hold: nothing of them runs or loads.
func TestBrowserSheetShowsNamesAsText(t *testing.T) {
	t.Parallel()
	k := goldenKit(t, "missing-parts")
	const name = `<script>document.title="run"</script><img src="http://onetrip.example/x" onerror="document.title='run'">`
	for i := range k.Lines {
		k.Lines[i].Name = name
	}
	k.Carburetor.Name, k.Vehicle.Make = name, name
	p := open(browser(t), t, sheetFile(t, k), desktop)
	if n := eval[int](p, `document.scripts.length + document.images.length`); n != 0 {
		t.Errorf("%d scripts and images", n)
	}
	if title := eval[string](p, `document.title`); title == "run" || !strings.Contains(eval[string](p, `document.body.innerText`), name) {
		t.Errorf("the title is %q, and the name is not shown as it is", title)
	}
	p.isQuiet()
}
