package sheet_test

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"golang.org/x/net/html"

	"onetrip/internal/golden"
	"onetrip/internal/kit"
	"onetrip/internal/sheet"
	"onetrip/internal/units"
)

var drawings = []string{"demand", "ports", "path", "stack", "levers"}

// goldenKits are the kits of testdata/kits by name.
var goldenKits = sync.OnceValues(func() (map[string]*kit.Kit, error) {
	files, err := filepath.Glob("../../testdata/kits/*.json")
	if err != nil {
		return nil, err
	}
	out := map[string]*kit.Kit{}
	for _, file := range files {
		raw, err := os.ReadFile(file)
		if err != nil {
			return nil, err
		}
		var g struct {
			Kit *kit.Kit `json:"kit"`
		}
		if err := json.Unmarshal(raw, &g); err != nil {
			return nil, fmt.Errorf("%s: %w", file, err)
		}
		out[strings.TrimSuffix(filepath.Base(file), ".json")] = g.Kit
	}
	if len(out) < 12 {
		return nil, fmt.Errorf("%d golden kits, wanted at least 12", len(out))
	}
	return out, nil
})

func eachGoldenKit(t *testing.T, test func(*testing.T, *kit.Kit)) {
	t.Helper()
	kits, err := goldenKits()
	if err != nil {
		t.Fatal(err)
	}
	for name, k := range kits {
		t.Run(name, func(t *testing.T) { test(t, k) })
	}
}

// goldenKit is a copy of one of them, for tests that change it.
func goldenKit(t *testing.T, name string) *kit.Kit {
	t.Helper()
	kits, err := goldenKits()
	if err != nil {
		t.Fatal(err)
	}
	raw, err := json.Marshal(kits[name])
	if err != nil {
		t.Fatal(err)
	}
	k := new(kit.Kit)
	if err := json.Unmarshal(raw, k); err != nil {
		t.Fatal(err)
	}
	if k.Vehicle == nil {
		t.Fatalf("there is no golden kit %s", name)
	}
	return k
}

func render(t testing.TB, k *kit.Kit, o sheet.Options) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := sheet.HTML(&b, k, o); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func parse(t testing.TB, page []byte) *html.Node {
	t.Helper()
	root, err := html.Parse(bytes.NewReader(page))
	if err != nil {
		t.Fatal(err)
	}
	return root
}

func elements(root *html.Node, names ...string) []*html.Node {
	var out []*html.Node
	for n := range root.Descendants() {
		if n.Type == html.ElementNode && (len(names) == 0 || slices.Contains(names, n.Data)) {
			out = append(out, n)
		}
	}
	return out
}

func attribute(n *html.Node, name string) string {
	for _, a := range n.Attr {
		if a.Key == name {
			return a.Val
		}
	}
	return ""
}

func text(n *html.Node) string {
	var b strings.Builder
	for d := range n.Descendants() {
		if d.Type == html.TextNode {
			b.WriteString(d.Data)
		}
	}
	return b.String()
}

func drawing(root *html.Node, name string) *html.Node {
	for _, svg := range elements(root, "svg") {
		if attribute(svg, "id") == "drawing-"+name {
			return svg
		}
	}
	return nil
}

func TestDrawingsOfThreeKits(t *testing.T) {
	for _, name := range []string{"spread-manifold-square-carburetor", "missing-parts", "throttle-valve-cable-known"} {
		page := string(render(t, goldenKit(t, name), sheet.Options{}))
		for _, d := range drawings {
			_, rest, found := strings.Cut(page, `<svg xmlns="http://www.w3.org/2000/svg" id="drawing-`+d+`"`)
			body, _, closed := strings.Cut(rest, "</svg>\n")
			if !found || !closed {
				t.Fatalf("%s has no drawing %s", name, d)
			}
			golden.Equal(t, filepath.Join("testdata", name+"-"+d+".svg"), []byte(`<svg xmlns="http://www.w3.org/2000/svg" id="drawing-`+d+`"`+body+"</svg>\n"))
		}
	}
}

// at is the value of a JSON pointer.
func at(t *testing.T, document any, pointer string) any {
	t.Helper()
	v := document
	for _, name := range strings.Split(pointer, "/")[1:] {
		switch in := v.(type) {
		case map[string]any:
			next, ok := in[name]
			if !ok {
				t.Fatalf("%s: nothing is named %s", pointer, name)
			}
			v = next
		case []any:
			n, err := strconv.Atoi(name)
			if err != nil || n >= len(in) {
				t.Fatalf("%s: no item %s of %d", pointer, name, len(in))
			}
			v = in[n]
		default:
			t.Fatalf("%s: %s is below a value", pointer, name)
		}
	}
	return v
}

func TestFiguresInDrawingsAreTheKits(t *testing.T) {
	least := map[string]int{"demand": 3, "ports": 2, "path": 3, "stack": 4, "levers": 6}
	eachGoldenKit(t, func(t *testing.T, k *kit.Kit) {
		raw, err := json.Marshal(k)
		if err != nil {
			t.Fatal(err)
		}
		var document any
		if err := json.Unmarshal(raw, &document); err != nil {
			t.Fatal(err)
		}
		root := parse(t, render(t, k, sheet.Options{}))
		for _, name := range drawings {
			svg := drawing(root, name)
			if svg == nil {
				t.Fatalf("no drawing %s", name)
			}
			figures := 0
			scale := 0.0 // units of the drawing for an inch, the same for all boxes
			for _, n := range elements(svg) {
				pointer := attribute(n, "data-from")
				if pointer == "" {
					continue
				}
				figures++
				want := at(t, document, pointer)
				if n.Data == "rect" {
					side := "width"
					if name == "stack" {
						side = "height"
					}
					drawn := parseFloat(t, attribute(n, side))
					if scale == 0 && want.(float64) > 0.5 {
						scale = drawn / want.(float64)
					}
					if scale != 0 && math.Abs(drawn-scale*want.(float64)) > 0.02*(1+want.(float64)) {
						t.Errorf("%s: %s is %v in and drawn %v high where others are %v an inch", name, pointer, want, drawn, scale)
					}
					continue
				}
				switch want := want.(type) {
				case float64:
					if got := parseFloat(t, text(n)); math.Abs(got-want) > 0.00005 {
						t.Errorf("%s: %s is %v, the drawing says %s", name, pointer, want, text(n))
					}
				default:
					if text(n) != want {
						t.Errorf("%s: %s is %v, the drawing says %s", name, pointer, want, text(n))
					}
				}
			}
			if figures < least[name] {
				t.Errorf("%s has %d figures, wanted at least %d", name, figures, least[name])
			}
		}
	})
}

func parseFloat(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func TestAllPortsLayersStepsAreDrawn(t *testing.T) {
	eachGoldenKit(t, func(t *testing.T, k *kit.Kit) {
		page := string(render(t, k, sheet.Options{}))
		for pattern, count := range map[string]int{
			`data-from="/vacuum_ports/%d/hose_in"`:  len(k.VacuumPorts),
			`data-from="/stack/%d/height_in">`:      len(k.Stack),
			`data-from="/fuel_path/%d/to_end/size"`: len(k.FuelPath),
		} {
			for i := range count {
				if mark := fmt.Sprintf(pattern, i); !strings.Contains(page, mark) {
					t.Errorf("no %s", mark)
				}
			}
		}
	})
}

// allowedElements is all that a sheet is made of. What is not here can run, load or
// send something, or needs a reason.
var allowedElements = strings.Fields(`html head meta title style body header main section div p h1 h2 h3 dl dt dd ul ol li strong small span bdi a time
	table caption thead tbody tfoot tr th td input label figure svg desc g rect line circle path polyline text tspan`)

// wellFormed holds for every sheet: balanced tags, nothing that runs or loads, and what
// readers of screens need.
func wellFormed(t *testing.T, page []byte) *html.Node {
	t.Helper()
	balanced(t, page)
	root := parse(t, page)
	ids := map[string]bool{}
	for _, n := range elements(root) {
		if !slices.Contains(allowedElements, n.Data) {
			t.Errorf("element %s", n.Data)
		}
		for _, a := range n.Attr {
			switch {
			case strings.HasPrefix(a.Key, "on") || a.Key == "style" || a.Key == "src" || a.Key == "action":
				t.Errorf("%s has attribute %s", n.Data, a.Key)
			case a.Key == "href" && !strings.HasPrefix(a.Val, "#"):
				t.Errorf("%s leads outside to %s", n.Data, a.Val)
			case a.Key != "xmlns" && strings.Contains(a.Val, "://") && n.Data == "meta":
				t.Errorf("%s %s names %s", n.Data, a.Key, a.Val)
			case a.Key == "id":
				if ids[a.Val] {
					t.Errorf("id %s is there twice", a.Val)
				}
				ids[a.Val] = true
			}
		}
	}
	for _, n := range elements(root) {
		for id := range strings.FieldsSeq(attribute(n, "aria-labelledby") + " " + strings.TrimPrefix(attribute(n, "href"), "#")) {
			if !ids[id] {
				t.Errorf("%s refers to %s, which is not there", n.Data, id)
			}
		}
	}
	for _, style := range elements(root, "style") {
		for _, loads := range []string{"url(", "@import", "@font-face", "expression("} {
			if strings.Contains(text(style), loads) {
				t.Errorf("the style has %s", loads)
			}
		}
	}
	if lang := attribute(elements(root, "html")[0], "lang"); lang != "en" {
		t.Errorf("lang is %q", lang)
	}
	level := 0
	for i, h := range elements(root, "h1", "h2", "h3") {
		next := int(h.Data[1] - '0')
		if next > level+1 || (next == 1) != (i == 0) {
			t.Errorf("heading %s %q follows level %d", h.Data, text(h), level)
		}
		level = next
	}
	for _, table := range elements(root, "table") {
		if len(elements(table, "caption")) != 1 {
			t.Error("a table without a caption")
		}
		for _, th := range elements(table, "th") {
			if scope := attribute(th, "scope"); scope != "row" && scope != "col" {
				t.Errorf("header %q has scope %q", text(th), scope)
			}
		}
	}
	for _, svg := range elements(root, "svg") {
		titles, descriptions := elements(svg, "title"), elements(svg, "desc")
		if attribute(svg, "role") != "img" || len(titles) != 1 || len(descriptions) != 1 || text(titles[0]) == "" || text(descriptions[0]) == "" {
			t.Errorf("%s: is no image with title and description", attribute(svg, "id"))
		}
	}
	for _, input := range elements(root, "input") {
		if attribute(input, "aria-label") == "" {
			t.Error("a tick box without a label")
		}
	}
	return root
}

// balanced reads the tags one by one, since the parser of pages mends what is wrong.
func balanced(t *testing.T, page []byte) {
	t.Helper()
	z := html.NewTokenizer(bytes.NewReader(page))
	var open []string
	for {
		switch z.Next() {
		case html.ErrorToken:
			if len(open) > 0 {
				t.Errorf("not closed: %v", open)
			}
			return
		case html.StartTagToken:
			if name, _ := z.TagName(); !slices.Contains([]string{"meta", "input"}, string(name)) {
				open = append(open, string(name))
			}
		case html.EndTagToken:
			name, _ := z.TagName()
			if len(open) == 0 || open[len(open)-1] != string(name) {
				t.Fatalf("</%s> closes %v", name, open)
			}
			open = open[:len(open)-1]
		}
	}
}

func TestGoldenKitsMakeWellFormedSheets(t *testing.T) {
	eachGoldenKit(t, func(t *testing.T, k *kit.Kit) {
		root := wellFormed(t, render(t, k, sheet.Options{Code: "7KQ4-MX2P", Saved: time.Date(2026, 11, 25, 14, 3, 0, 0, time.UTC), Notes: []string{"Kept in memory."}}))
		page := text(elements(root, "body")[0])
		for _, m := range k.Missing {
			if !strings.Contains(page, m.Reason) {
				t.Errorf("the sheet does not say that %s is missing: %s", m.Need, m.Reason)
			}
		}
		reasons := map[string][]kit.Because{}
		for _, n := range k.Needs {
			reasons[n.ID] = n.Because
		}
		for _, l := range k.Lines {
			if !strings.Contains(page, l.SKU) || !strings.Contains(page, l.Name) {
				t.Errorf("the sheet does not have %s", l.SKU)
			}
			for _, need := range l.Fills {
				for _, b := range reasons[need] {
					if !strings.Contains(page, b.Text) {
						t.Errorf("the sheet does not say why %s: %s", need, b.Text)
					}
				}
			}
		}
		for _, c := range k.Checks {
			if !strings.Contains(page, c.Text) || !strings.Contains(page, c.Source) || strings.Contains(page, c.ID) {
				t.Errorf("%s: text or source is not there, or the id stands for a title", c.ID)
			}
		}
		for _, c := range k.Cautions {
			if !strings.Contains(page, c.Text) {
				t.Errorf("the sheet does not have caution %s", c.ID)
			}
		}
		for _, want := range []string{"7KQ4-MX2P", "25 November 2026, 14:03 UTC", "Kept in memory."} {
			if !strings.Contains(page, want) {
				t.Errorf("no %q", want)
			}
		}
	})
}

func TestWithoutPathAndStackTheDrawingsSaySo(t *testing.T) {
	k := goldenKit(t, "throttle-valve-cable-known")
	k.FuelPath, k.Stack = nil, nil
	root := wellFormed(t, render(t, k, sheet.Options{}))
	for name, want := range map[string]string{"path": "NOTHING JOINS THESE TWO", "stack": "no stack fits"} {
		if svg := drawing(root, name); svg == nil || !strings.Contains(text(svg), want) {
			t.Errorf("%s does not say %q", name, want)
		} else if faults := legibility(t, svg); len(faults) > 0 {
			t.Errorf("%s: %v", name, faults)
		}
	}
	k.Checks, k.Lines, k.Needs, k.VacuumPorts = nil, nil, nil, nil
	wellFormed(t, render(t, k, sheet.Options{}))
}

func TestVerdictAndMissingComeFirst(t *testing.T) {
	page := string(render(t, goldenKit(t, "missing-parts"), sheet.Options{}))
	last := -1
	for _, heading := range []string{`>Verdict<`, `>What is missing<`, `>What else to know<`, `>Read before picking up a tool<`, `>Pick list<`, `>Drawings<`, `>Checks<`, `>Starting settings<`,
		`>Order of work<`, `>Tools<`, `>Cautions<`} {
		n := strings.Index(page, heading)
		if n <= last {
			t.Errorf("%s stands at %d, what comes before it at %d", heading, n, last)
		}
		last = n
	}
}

func TestNotSavedHasNoBarcode(t *testing.T) {
	k := goldenKit(t, "missing-parts")
	if drawing(parse(t, render(t, k, sheet.Options{})), "code") != nil {
		t.Error("a barcode of nothing")
	}
	svg := drawing(parse(t, render(t, k, sheet.Options{Code: "7KQ4-MX2P"})), "code")
	if svg == nil {
		t.Fatal("no barcode")
	}
	// Code 128: eleven modules a character; start B, and the stop's thirteen.
	bars := map[int]bool{}
	width := int(parseFloat(t, strings.Fields(attribute(svg, "viewbox") + attribute(svg, "viewBox"))[2]))
	for _, r := range elements(svg, "rect") {
		x, w := int(parseFloat(t, attribute(r, "x"))), int(parseFloat(t, attribute(r, "width")))
		for i := range w {
			bars[x+i] = true
		}
	}
	var modules strings.Builder
	for x := range width {
		modules.WriteByte("01"[map[bool]int{false: 0, true: 1}[bars[x]]])
	}
	const quiet = "0000000000"
	got, front := strings.CutPrefix(modules.String(), quiet)
	got, back := strings.CutSuffix(got, quiet)
	if !front || !back || !strings.HasPrefix(got, "11010010000") || !strings.HasSuffix(got, "1100011101011") || (len(got)-13)%11 != 0 {
		t.Errorf("this is no Code 128 between quiet zones: %s", modules.String())
	}
}

func TestCodeThatNoBarcodeHoldsIsAnErrorAndWritesNothing(t *testing.T) {
	var b bytes.Buffer
	if err := sheet.HTML(&b, goldenKit(t, "missing-parts"), sheet.Options{Code: "Größe"}); err == nil || b.Len() > 0 {
		t.Errorf("error %v, %d bytes", err, b.Len())
	}
}

func TestSameKitSameBytes(t *testing.T) {
	eachGoldenKit(t, func(t *testing.T, k *kit.Kit) {
		first := render(t, k, sheet.Options{Code: "7KQ4-MX2P"})
		for range 5 {
			if !bytes.Equal(first, render(t, k, sheet.Options{Code: "7KQ4-MX2P"})) {
				t.Fatal("two sheets of one kit differ")
			}
		}
	})
}

// Whatever text a kit holds, its sheet has the elements it would have with plain
// words in the same places, and nothing on it acts unseen.
func TestHostileTextShowsAsText(t *testing.T) {
	for _, hostile := range []string{
		`<script>alert(1)</script>`, `"><img src=x onerror=alert(1)>`, `' onmouseover='alert(1)`, `]]> --> </style></title></svg>`, `{{.Kit}} ${x} javascript:alert(1)`,
		"a\u202eb\u2066c\u200ed\u200be\u00adf\ufeffg", "nul\x00 bell\a escape\x1b[31m", "not\xffUTF-8", "&lt;b&gt; &#x202e;",
	} {
		for _, name := range []string{"missing-parts", "throttle-valve-cable-known", "stock-at-brindlecote"} {
			k, plain := goldenKit(t, name), goldenKit(t, name)
			count := fillText(reflect.ValueOf(k).Elem(), hostile)
			fillText(reflect.ValueOf(plain).Elem(), plainOf(hostile))
			if count < 100 {
				t.Fatalf("only %d texts in the kit", count)
			}
			o := sheet.Options{Notes: []string{hostile}}
			page := render(t, k, o)
			o.Notes[0] = plainOf(hostile)
			got, want := skeleton(wellFormed(t, page)), skeleton(parse(t, render(t, plain, o)))
			if got != want {
				t.Errorf("%q in %s changes the page from %q", hostile, name, firstDifference(got, want))
			}
			if !strings.Contains(text(elements(parse(t, page), "body")[0]), shown(hostile)) {
				t.Errorf("%q does not show as %q", hostile, shown(hostile))
			}
			if n := bytes.IndexFunc(page, acts); n >= 0 {
				t.Errorf("%q: %q acts unseen", hostile, page[max(0, n-20):n+20])
			}
		}
	}
}

// fillText puts a text into every place of a kit that is free: not into what the page
// chooses by.
func fillText(v reflect.Value, value string) int {
	count := 0
	switch v.Kind() {
	case reflect.Pointer:
		if !v.IsNil() {
			count += fillText(v.Elem(), value)
		}
	case reflect.Struct:
		for i := range v.NumField() {
			switch name := v.Type().Field(i).Name; name {
			case "ID", "Rule", "Need", "Fills", "Item", "Currency", "Use", "Size", "Thread", "Field":
			default:
				if v.Field(i).CanSet() {
					count += fillText(v.Field(i), value)
				}
			}
		}
	case reflect.Slice:
		for i := range v.Len() {
			count += fillText(v.Index(i), value)
		}
	case reflect.String:
		if v.Type() == reflect.TypeFor[string]() && v.String() != "" {
			v.SetString(value)
			return 1
		}
	}
	return count
}

// shown is hostile text as it must read.
func shown(s string) string {
	return strings.Map(func(r rune) rune { return r }, strings.NewReplacer("\u202e", "[U+202E]", "\u2066", "[U+2066]", "\u200e", "[U+200E]", "\u200b", "[U+200B]", "\u00ad", "[U+00AD]", "\ufeff", "[U+FEFF]",
		"\x00", "[U+0000]", "\a", "[U+0007]", "\x1b", "[U+001B]").Replace(s))
}

// plainOf is words of the same lengths.
func plainOf(s string) string {
	return strings.Map(func(r rune) rune {
		if r == ' ' {
			return r
		}
		return 'x'
	}, shown(s))
}

func acts(r rune) bool {
	return r < ' ' && r != '\n' || r >= 0x7f && r < 0xa0 || r == 0xad || r == 0xfeff || r >= 0x200b && r <= 0x200f && r != 0x200c && r != 0x200d || r >= 0x2028 && r <= 0x202e || r >= 0x2060 && r <= 0x206f
}

// skeleton is the elements of a page with the names of their attributes.
func skeleton(root *html.Node) string {
	var b strings.Builder
	for _, n := range elements(root) {
		b.WriteString(n.Data)
		for _, a := range n.Attr {
			b.WriteString(" " + a.Key)
		}
		b.WriteByte('\n')
	}
	return b.String()
}

func firstDifference(a, b string) string {
	x, y := strings.Split(a, "\n"), strings.Split(b, "\n")
	for i := range min(len(x), len(y)) {
		if x[i] != y[i] {
			return fmt.Sprintf("%d: %s instead of %s", i, x[i], y[i])
		}
	}
	return fmt.Sprintf("%d elements instead of %d", len(x), len(y))
}

// box is about where a text stands.
type box struct {
	left, top, right, bottom float64
	text                     string
}

// legibility finds texts of a drawing that stick out or touch. Widths are those of a
// common sans-serif, a little over half the size of the type a character.
func legibility(t *testing.T, svg *html.Node) []string {
	t.Helper()
	view := strings.Fields(attribute(svg, "viewbox") + attribute(svg, "viewBox"))
	width, height := parseFloat(t, view[2]), parseFloat(t, view[3])
	var boxes []box
	for _, n := range elements(svg, "text") {
		class := attribute(n, "class")
		size, share := 12.0, 0.54
		if strings.Contains(class, "small") {
			size, share = 10.5, 0.49
		}
		long := share * size * float64(len([]rune(text(n))))
		x, y := parseFloat(t, attribute(n, "x")), parseFloat(t, attribute(n, "y"))
		b := box{x, y - 0.75*size, x + long, y + 0.2*size, text(n)}
		switch {
		case strings.Contains(class, "middle"):
			b.left, b.right = x-long/2, x+long/2
		case strings.Contains(class, "end"):
			b.left, b.right = x-long, x
		}
		if n.Parent.Data == "g" { // turned upright about its middle
			b = box{x - size, y - long/2, x + 2, y + long/2, b.text}
		}
		boxes = append(boxes, b)
	}
	var faults []string
	for i, b := range boxes {
		if b.left < 0 || b.right > width || b.top < 0 || b.bottom > height {
			faults = append(faults, fmt.Sprintf("%q runs out of %v by %v", b.text, []float64{width, height}, b))
		}
		for _, other := range boxes[:i] {
			if b.left < other.right && other.left < b.right && b.top < other.bottom && other.top < b.bottom {
				faults = append(faults, fmt.Sprintf("%q touches %q", b.text, other.text))
			}
		}
	}
	return faults
}

func TestPickListAsCSV(t *testing.T) {
	var b bytes.Buffer
	if err := sheet.CSV(&b, goldenKit(t, "stock-at-brindlecote"), nil); err != nil {
		t.Fatal(err)
	}
	golden.Equal(t, filepath.Join("testdata", "stock-at-brindlecote.csv"), b.Bytes())
}

// A pick list tells by itself that its kit is not whole, and why each line is there.
func TestCSVTellsVerdictMissingAndWhy(t *testing.T) {
	eachGoldenKit(t, func(t *testing.T, k *kit.Kit) {
		var b bytes.Buffer
		if err := sheet.CSV(&b, k, nil); err != nil {
			t.Fatal(err)
		}
		table, err := csv.NewReader(&b).ReadAll() // refuses rows of other lengths
		if err != nil {
			t.Fatal(err)
		}
		var rows []map[string]string
		for _, cells := range table[1:] {
			row := map[string]string{}
			for i, name := range table[0] {
				row[name] = cells[i]
			}
			rows = append(rows, row)
		}
		if len(rows) != 1+len(k.Missing)+len(k.Lines) {
			t.Fatalf("%d rows for %d things missing and %d lines", len(rows), len(k.Missing), len(k.Lines))
		}
		if rows[0]["row"] != "verdict" || rows[0]["name"] != string(k.Verdict) || rows[0]["quantity"] != "0" {
			t.Errorf("first is %v", rows[0])
		}
		for i, m := range k.Missing {
			if row := rows[1+i]; row["row"] != "missing" || row["fills"] != m.Need || row["why"] != m.Reason || row["name"] != string(m.Severity) || row["quantity"] != "0" {
				t.Errorf("%s is missing, and the row is %v", m.Need, row)
			}
		}
		for i, l := range k.Lines {
			row := rows[1+len(k.Missing)+i]
			if row["row"] != "line" || row["sku"] != l.SKU || row["quantity"] != strconv.Itoa(l.Quantity) || len(l.Fills) > 0 && row["why"] == "" {
				t.Errorf("line %s is the row %v", l.SKU, row)
			}
		}
	})
}

func TestUnsuitableKitIsNotPicked(t *testing.T) {
	k := goldenKit(t, "emissions-unsuitable")
	root := wellFormed(t, render(t, k, sheet.Options{}))
	if n := len(elements(root, "input")); n > 0 {
		t.Errorf("%d tick boxes", n)
	}
	page := text(elements(root, "body")[0])
	for _, want := range []string{"Do not pick", "POST /v1/sizing", "not to be picked", k.VerdictReasons[0]} {
		if !strings.Contains(page, want) {
			t.Errorf("the sheet does not say %q", want)
		}
	}
	if strings.Contains(page, "No part is missing") {
		t.Error("the sheet says that no part is missing")
	}
}

// What can kill is told whole before the pick list, and once.
func TestDangersAreToldWholeAndFirst(t *testing.T) {
	eachGoldenKit(t, func(t *testing.T, k *kit.Kit) {
		page := string(render(t, k, sheet.Options{}))
		head, rest, _ := strings.Cut(text(elements(parse(t, []byte(page)), "body")[0]), "Pick list")
		for _, c := range k.Cautions {
			kills := slices.ContainsFunc([]string{"fuel.", "brakes.", "transmission.", "throttle."}, func(start string) bool { return strings.HasPrefix(c.ID, start) })
			if strings.Contains(head, c.Text) != kills || strings.Contains(rest, c.Text) == kills {
				t.Errorf("%s is told first: %v, and once more: %v", c.ID, strings.Contains(head, c.Text), strings.Contains(rest, c.Text))
			}
		}
	})
}

func TestSheetThatIsNotSavedHasItsDay(t *testing.T) {
	k := goldenKit(t, "missing-parts")
	at := time.Date(2026, 11, 30, 23, 30, 0, 0, time.FixedZone("west", -3600))
	if page := text(elements(parse(t, render(t, k, sheet.Options{Asked: at})), "body")[0]); !strings.Contains(page, "prices and stock of 2026-12-01") {
		t.Error("the sheet has no day")
	}
	if page := text(elements(parse(t, render(t, k, sheet.Options{Saved: at, Asked: at})), "body")[0]); strings.Contains(page, "prices and stock of") {
		t.Error("a saved sheet has two days")
	}
}

// Pieces that are at hand are told beside the pick list, where some are bought too.
func TestNotToPickIsToldByPiece(t *testing.T) {
	k := goldenKit(t, "throttle-valve-cable-known")
	k.Needs = []kit.Need{
		{ID: "mount.base_gasket", Status: kit.Filled, Quantity: 2, Unit: "each", AtHand: []kit.AtHand{{From: kit.Box, SKU: "GUB-2A03", Quantity: 1}}},
		{ID: "fuel.hose", Status: kit.OutOfStock, Quantity: 24, Unit: "inch", AtHand: []kit.AtHand{{From: kit.Shelf, Quantity: 12}}},
		{ID: "vacuum.caps", Status: kit.InTheBox, Quantity: 2, Unit: "each", AtHand: []kit.AtHand{{From: kit.Box, SKU: "A", Quantity: 2}}},
		{ID: "shop.fender_cover", Level: kit.Optional, Status: kit.NotAsked, Quantity: 1, Unit: "each"},
		{ID: "shop.thread_sealant", Level: kit.Optional, Status: kit.Declined, Quantity: 1, Unit: "each"},
	}
	page := text(elements(parse(t, render(t, k, sheet.Options{})), "body")[0])
	for _, want := range []string{"In the carburetor's box: base gasket 1 of 2 (GUB-2A03), vacuum caps (A)", "The owner has: fuel hose 12 of 24 in", "Optional, not asked for: fender cover",
		"Left out as asked: thread sealant"} {
		if !strings.Contains(page, want) {
			t.Errorf("the sheet does not say %q", want)
		}
	}
}

func TestInStockInsteadIsSaid(t *testing.T) {
	k := goldenKit(t, "throttle-valve-cable-known")
	n := &k.Needs[slices.IndexFunc(k.Needs, func(n kit.Need) bool { return n.ID == "tuning.metering_set" })]
	n.Status = kit.OutOfStock
	k.Missing = []kit.Missing{{Need: n.ID, Severity: kit.Minor, Reason: "None."}}
	k.Alternatives = []kit.Alternative{{Objective: "stock", Delta: units.Money{AmountMinor: 500, Currency: "USD"}, Changes: []kit.LineChange{
		{SKU: n.Lines[0], From: 1, Delta: units.Money{AmountMinor: -4795, Currency: "USD"}},
		{SKU: "MYJ-X", Name: "Set", To: 1, Fills: []string{n.ID}, Delta: units.Money{AmountMinor: 5295, Currency: "USD"}},
	}}}
	if page := text(elements(parse(t, render(t, k, sheet.Options{})), "body")[0]); !strings.Contains(page, "In stock instead: MYJ-X Set; +5.00 USD.") {
		t.Error("the sheet does not say what is in stock instead")
	}
}

func TestTotalsOfAllLevels(t *testing.T) {
	k := goldenKit(t, "throttle-valve-cable-known")
	k.Totals.Optional = units.Money{AmountMinor: 2058, Currency: "USD"}
	page := text(elements(parse(t, render(t, k, sheet.Options{})), "body")[0])
	if !strings.Contains(page, "Optional20.58 USD") {
		t.Error("the total of optional lines has no row")
	}
}

func TestReasonsCallNeedsByTheirTitles(t *testing.T) {
	k := goldenKit(t, "declined")
	named := 0
	page := text(elements(parse(t, render(t, k, sheet.Options{})), "body")[0])
	for _, r := range k.VerdictReasons {
		id, rest, _ := strings.Cut(r, ": ")
		if slices.ContainsFunc(k.Needs, func(n kit.Need) bool { return n.ID == id }) {
			named++
			if strings.Contains(page, id) || !strings.Contains(strings.ToLower(page), kit.NeedTitle(id)+": "+strings.ToLower(rest)) {
				t.Errorf("the sheet calls a need %s: %s", id, r)
			}
		}
	}
	if named == 0 {
		t.Errorf("no reason names a need: %q", k.VerdictReasons)
	}
}
