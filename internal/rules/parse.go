package rules

import (
	"errors"
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"cel.dev/cel-go/cel"
	"go.yaml.in/yaml/v3"

	"onetrip/internal/catalog"
)

var (
	ruleKeys    = []string{"id", "when", "for_each", "need", "level", "quantity", "match", "because", "severity", "caution", "verdict", "source"}
	cautionKeys = []string{"id", "text", "source"}
	levels      = []string{"required", "recommended", "optional"}
	severities  = []string{"blocking", "serious", "minor"}

	idForm   = regexp.MustCompile(`^[a-z0-9]+(-[a-z0-9]+)*$`)
	needForm = regexp.MustCompile(`^[a-z][a-z0-9_]*\.[a-z][a-z0-9_]*$`)
)

// Parse reads rule files, given as YAML text by file name, and checks everything
// that can be checked without facts. The error is an Errors with all that is wrong
// in all files.
func Parse(files map[string]string) (*Set, error) {
	return parse(files, nil)
}

// parse is Parse of a few rules out of a set whose needs are given; nil when files are
// the whole set.
func parse(files map[string]string, setNeeds []string) (*Set, error) {
	var all Errors
	p := &parser{
		compiler: &compiler{layout: &layout{}, envs: map[*field]*cel.Env{}},
		ids:      map[string]*Rule{},
		needs:    map[string]*Rule{},
		setNeeds: setNeeds,
	}
	for _, name := range slices.Sorted(maps.Keys(files)) {
		p.file = newFile(name, files[name], &all)
		p.readFile()
	}
	known := append(slices.Collect(maps.Keys(p.needs)), setNeeds...)
	for _, n := range p.namedNeeds {
		if !slices.Contains(known, n.id) {
			n.src.fail(n.at, fmt.Sprintf("no rule raises the need %q", n.id)+suggest(n.id, known))
		}
	}
	if len(all) > 0 {
		return nil, all.sorted()
	}
	slices.SortFunc(p.rules, func(a, b *Rule) int { return strings.Compare(a.ID, b.ID) })
	s := &Set{rules: p.rules, needs: p.needs, layout: p.layout}
	s.frames.New = func() any { return s.layout.newFrame() }
	return s, nil
}

type parser struct {
	*compiler
	file  *file
	rules []*Rule
	ids   map[string]*Rule
	needs map[string]*Rule // the first rule of each need

	setNeeds []string // of the rules that are not read here
}

var yamlLine = regexp.MustCompile(`^yaml: (?:line (\d+): )?`)

// oddBreak is what YAML takes for the end of a line and editors do not show as one.
var oddBreak = regexp.MustCompile("\r(?:[^\n]|$)|[\u0085\u2028\u2029]")

// noText finds what YAML takes in no file; "" when there is nothing.
func noText(text string) (at int, detail string) {
	for at, r := range text {
		if r == utf8.RuneError && !strings.HasPrefix(text[at:], "\uFFFD") {
			return at, fmt.Sprintf("the byte 0x%02X is not UTF-8; save the file as UTF-8", text[at])
		}
		if r < ' ' && !strings.ContainsRune("\t\n\r", r) || r == 0x7f {
			return at, fmt.Sprintf("holds the control character %U; take it out", r)
		}
		if catalog.Unseen(r) && (at > 0 || r != '\uFEFF') { // a byte order mark
			return at, fmt.Sprintf("holds the invisible character %U; take it out", r)
		}
	}
	return 0, ""
}

func (p *parser) readFile() {
	if at := oddBreak.FindStringIndex(p.file.text); at != nil {
		line := 1 + strings.Count(p.file.text[:at[0]], "\n")
		p.file.fail(line, 1, "holds a line break that is neither LF nor CRLF; save the file with one of these")
		return
	}
	if at, detail := noText(p.file.text); detail != "" {
		p.file.failByte(at, detail)
		return
	}
	var doc yaml.Node
	if err := yaml.Unmarshal([]byte(p.file.text), &doc); err != nil {
		line := 1
		if m := yamlLine.FindStringSubmatch(err.Error()); m != nil && m[1] != "" {
			line, _ = strconv.Atoi(m[1])
		}
		what, mend := yamlLine.ReplaceAllString(err.Error(), ""), "put expressions that hold a colon or # in quotes"
		if strings.Contains(what, "tab character") {
			mend = "indent with spaces"
			for i, text := range strings.Split(p.file.text, "\n")[line-1:] { // the reader may tell the line before
				if indent := text[:len(text)-len(strings.TrimLeft(text, " \t"))]; strings.Contains(indent, "\t") {
					line += i
					break
				}
			}
		}
		p.file.fail(line, 1, "not YAML: "+what+"; "+mend)
		return
	}
	if len(doc.Content) == 0 {
		return // only comments
	}
	items := doc.Content[0]
	if items.Kind != yaml.SequenceNode || items.Style&yaml.FlowStyle != 0 {
		p.file.failNode(items, "a rule file is a list: start each rule with - id:")
		return
	}
	texts := pieces(p.file.text, items)
	for i, item := range items.Content {
		p.readRule(item, Normal(texts[i]))
	}
}

// mapping checks a mapping's keys against the known ones.
func (p *parser) mapping(n *yaml.Node, what string, known []string) map[string]*yaml.Node {
	if n.Kind != yaml.MappingNode {
		p.file.failNode(n, what+" is a mapping of: "+strings.Join(known, ", "))
		return nil
	}
	found := map[string]*yaml.Node{}
	for i := 0; i+1 < len(n.Content); i += 2 {
		key, value := n.Content[i], n.Content[i+1]
		switch {
		case !slices.Contains(known, key.Value):
			p.file.failNode(key, fmt.Sprintf("%s has no %q", what, key.Value)+suggest(key.Value, known))
		case found[key.Value] != nil:
			p.file.failNode(key, fmt.Sprintf("%s is given twice", key.Value))
		default:
			found[key.Value] = value
		}
	}
	return found
}

// scalar checks that a value is plain text, a number or true or false.
func (p *parser) scalar(n *yaml.Node, what string) bool {
	switch {
	case n.Kind != yaml.ScalarNode:
		p.file.failNode(n, what+" is one value, not a list, a mapping or an alias")
	case n.Style&yaml.TaggedStyle != 0:
		p.file.failNode(n, what+" starts with !, which YAML takes for a tag: put it in quotes")
	case n.Value == "":
		p.file.failNode(n, what+" is empty")
	default:
		return true
	}
	return false
}

// choice reads one of a few words.
func (p *parser) choice(n *yaml.Node, what string, accepted []string) string {
	if !p.scalar(n, what) {
		return ""
	}
	if !slices.Contains(accepted, n.Value) {
		p.file.failNode(n, fmt.Sprintf("%s %q is unknown", what, n.Value)+suggest(n.Value, accepted))
		return ""
	}
	return n.Value
}

// expression compiles a scalar from a byte offset on.
func (p *parser) expression(n *yaml.Node, offset int, want class, sc scope) *expr {
	return p.compile(source{p.file, n, offset, n.Value[offset:]}, want, sc)
}

func (p *parser) readRule(n *yaml.Node, text string) {
	before := len(*p.file.errors)
	f := p.mapping(n, "a rule", ruleKeys)
	if f == nil {
		return
	}
	r := &Rule{File: p.file.name, Line: n.Line, Text: text, list: -1}
	p.layout.reads = &r.reads

	missing := func(keys ...string) {
		for _, k := range keys {
			if f[k] == nil {
				p.file.failNode(n, k+" is missing")
			}
		}
	}
	missing("id", "when", "source")
	if id := f["id"]; id != nil && p.scalar(id, "id") {
		if r.ID = id.Value; !idForm.MatchString(r.ID) {
			p.file.failNode(id, fmt.Sprintf("id %q: write small letters, digits and single dashes, as in mount-adapter-plate", r.ID))
		} else if first := p.ids[r.ID]; first != nil {
			p.file.failNode(id, fmt.Sprintf("id %s is already used at %s:%d", r.ID, first.File, first.Line))
		} else {
			p.ids[r.ID] = r
		}
	}
	if s := f["source"]; s != nil && p.scalar(s, "source") {
		r.Source = s.Value
	}
	sc := scope{}
	if list := f["for_each"]; list != nil && p.scalar(list, "for_each") {
		r.ForEach = list.Value
		if e := p.expression(list, 0, aList, sc); e != nil {
			if e.fact == nil || e.fact.elem.class != anObject {
				p.file.failNode(list, "for_each walks a list fact such as calc.hoses")
			} else {
				sc.each, r.list = e.fact, e.list.slot
			}
		}
	}
	if when := f["when"]; when != nil && p.scalar(when, "when") {
		r.When = when.Value
		if r.when = p.expression(when, 0, aBool, sc); r.when != nil {
			sc.known = r.when.whenTrue
		}
	}
	if v := f["verdict"]; v != nil {
		r.Unsuitable = p.choice(v, "verdict", []string{"unsuitable"}) != ""
	}
	if c := f["caution"]; c != nil {
		p.readCaution(r, c, sc)
	}
	switch {
	case f["need"] != nil:
		missing("level", "quantity", "match", "because", "severity")
		p.readNeed(r, f, sc)
	case f["verdict"] == nil && f["caution"] == nil:
		p.file.failNode(n, "a rule needs at least one of need, verdict and caution")
	default:
		for _, k := range []string{"level", "quantity", "match", "severity"} {
			if f[k] != nil {
				p.file.failNode(f[k], k+" belongs to a need, and the rule has none")
			}
		}
		if f["verdict"] != nil {
			missing("because")
		}
	}
	if b := f["because"]; b != nil && p.scalar(b, "because") {
		r.Because = b.Value
		r.because = p.template(b, sc)
	}
	r.reads = reading(r.reads)
	p.layout.reads = nil
	if len(*p.file.errors) == before {
		p.rules = append(p.rules, r)
	}
}

func (p *parser) readCaution(r *Rule, n *yaml.Node, sc scope) {
	f := p.mapping(n, "caution", cautionKeys)
	if f == nil {
		return
	}
	r.caution = &Caution{}
	for _, k := range cautionKeys {
		switch v := f[k]; {
		case v == nil:
			p.file.failNode(n, "caution: "+k+" is missing")
		case !p.scalar(v, k):
		case k == "id":
			if r.caution.ID = v.Value; !needForm.MatchString(v.Value) {
				p.file.failNode(v, fmt.Sprintf("caution id %q: write group.name, as in fuel.fire", v.Value))
			}
		case k == "source":
			r.caution.Source = v.Value
		default:
			t := p.template(v, sc)
			if len(t) == 1 && t[0].expr == nil {
				r.caution.Text = t[0].text
			} else {
				r.cautionBy = t
			}
		}
	}
}

func (p *parser) readNeed(r *Rule, f map[string]*yaml.Node, sc scope) {
	need := f["need"]
	if p.scalar(need, "need") {
		if r.Need = need.Value; !needForm.MatchString(r.Need) {
			p.file.failNode(need, fmt.Sprintf("need %q: write group.name, as in fuel.hose", r.Need))
		} else if p.setNeeds != nil && !slices.Contains(p.setNeeds, r.Need) {
			p.file.failNode(need, fmt.Sprintf("no other rule raises the need %q", r.Need)+suggest(r.Need, p.setNeeds)+"; for a new need send new_need=true")
		}
	}
	if n := f["level"]; n != nil && p.scalar(n, "level") {
		if strings.HasPrefix(n.Value, "=") {
			r.level.expr = p.expression(n, 1, aText, sc)
			p.checkTails(r.level.expr, source{p.file, n, 1, ""}, func(text string) error {
				if !slices.Contains(levels, text) {
					return fmt.Errorf("level %q is unknown%s", text, suggest(text, levels))
				}
				return nil
			})
		} else {
			r.level.fix.Text = p.choice(n, "level", levels)
		}
	}
	if n := f["severity"]; n != nil {
		r.Severity = p.choice(n, "severity", severities)
	}
	if n := f["quantity"]; n != nil && p.scalar(n, "quantity") {
		switch q, err := strconv.ParseFloat(n.Value, 64); {
		case strings.HasPrefix(n.Value, "="):
			r.quantity.expr = p.expression(n, 1, aNumber, sc)
		case n.Value == "by_fit":
			r.ByFit = true
		case err != nil || !(q > 0 && q < 1e6):
			p.file.failNode(n, fmt.Sprintf("quantity %q: write a number above 0, an expression that starts with =, or by_fit", n.Value))
		default:
			r.quantity.fix.Num = q
		}
	}
	if n := f["match"]; n != nil {
		p.readMatch(r, n, sc)
	}
	first := p.needs[r.Need]
	if first == nil {
		p.needs[r.Need] = r
		return
	}
	at := fmt.Sprintf("rule %s at %s:%d", first.ID, first.File, first.Line)
	if first.Kind != r.Kind && r.Kind != "" && first.Kind != "" {
		p.file.failNode(need, fmt.Sprintf("need %s is met by a %s here and by a %s in %s: all rules of a need name one kind", r.Need, r.Kind, first.Kind, at))
	}
	if first.ByFit != r.ByFit {
		p.file.failNode(need, fmt.Sprintf("need %s: quantity is by_fit here or in %s, and must be so in all rules of a need or in none", r.Need, at))
	}
	if first.ForEach != r.ForEach {
		p.file.failNode(need, fmt.Sprintf("need %s: for_each is %q here and %q in %s: all rules of a need walk one list", r.Need, r.ForEach, first.ForEach, at))
	}
}

func (p *parser) readMatch(r *Rule, n *yaml.Node, sc scope) {
	if n.Kind != yaml.MappingNode {
		p.file.failNode(n, "match is a mapping of kind and attributes")
		return
	}
	var spec *catalog.KindSpec
	for i := 0; i+1 < len(n.Content); i += 2 {
		if n.Content[i].Value == "kind" {
			kinds := make([]string, len(catalog.Kinds))
			for j := range catalog.Kinds {
				kinds[j] = string(catalog.Kinds[j].Kind)
			}
			if r.Kind = catalog.Kind(p.choice(n.Content[i+1], "kind", kinds)); r.Kind == "" {
				return
			}
			spec, _ = r.Kind.Spec()
			r.Kind = spec.Kind // the same text as that of parts, which makes comparing quick
		}
	}
	if spec == nil {
		p.file.failNode(n, "match: kind is missing")
		return
	}
	attrs := attributes(spec)
	known := make([]string, 0, len(attrs)+1)
	for _, a := range attrs {
		known = append(known, a.Name)
	}
	found := p.mapping(n, string("a "+spec.Kind), append(known, "kind"))
	constant := true
	for i := 0; i+1 < len(n.Content); i += 2 {
		name, value := n.Content[i].Value, n.Content[i+1]
		at := slices.IndexFunc(attrs, func(a catalog.AttrSpec) bool { return a.Name == name })
		if at < 0 || found[name] != value {
			continue
		}
		if attrs[at].Type == catalog.AttrNumbers {
			var indexed []string
			for _, a := range attrs {
				if a.Type != catalog.AttrNumbers {
					indexed = append(indexed, a.Name)
				}
			}
			p.file.failNode(value, fmt.Sprintf("%s is a list, which no index holds and no match tests; test one of: %s", name, strings.Join(indexed, ", ")))
			continue
		}
		for _, o := range p.readTests(attrs[at], value, sc) {
			o.test.at = at
			constant = constant && o.expr == nil && !slices.ContainsFunc(o.list, func(x operand) bool { return x.expr != nil })
			r.tests = append(r.tests, o)
		}
	}
	slices.SortStableFunc(r.tests, func(a, b operand) int { return boolInt(a.test.Op != Equal) - boolInt(b.test.Op != Equal) })
	for _, o := range r.tests {
		if o.test.Op == Equal {
			r.equality = append(r.equality, o.test.Attr)
		}
	}
	if constant {
		r.constant = make([]Test, len(r.tests))
		for i, o := range r.tests {
			r.constant[i] = o.test
			r.constant[i].Value = o.fix
			for _, x := range o.list {
				r.constant[i].Values = append(r.constant[i].Values, x.fix)
			}
		}
	}
}

func boolInt(b bool) int {
	if b {
		return 1
	}
	return 0
}

// attributes are those of the kind and the dimensions that its parts state.
func attributes(spec *catalog.KindSpec) []catalog.AttrSpec {
	attrs := slices.Clone(spec.Attrs)
	if spec.NeedsLength {
		attrs = append(attrs, catalog.AttrSpec{Name: "length_in", Type: catalog.AttrNumber})
	}
	if spec.NeedsHeight {
		attrs = append(attrs, catalog.AttrSpec{Name: "height_in", Type: catalog.AttrNumber})
	}
	return attrs
}

// readTests reads the value of an attribute: a literal, =CEL, {one_of: [...]},
// {one_of: =CEL} or {at_least: x, at_most: y}.
func (p *parser) readTests(a catalog.AttrSpec, n *yaml.Node, sc scope) []operand {
	if n.Kind != yaml.MappingNode {
		return p.readOperand(a, Equal, n, sc)
	}
	known := []string{string(OneOf)}
	if a.Type == catalog.AttrNumber || a.Type == catalog.AttrSize {
		known = []string{string(OneOf), string(AtLeast), string(AtMost)}
	}
	f := p.mapping(n, a.Name, known)
	var tests []operand
	for _, op := range []Op{OneOf, AtLeast, AtMost} {
		value := f[string(op)]
		switch {
		case value == nil:
		case op != OneOf:
			tests = append(tests, p.readOperand(a, op, value, sc)...)
		case value.Kind == yaml.ScalarNode && strings.HasPrefix(value.Value, "="):
			tests = append(tests, p.readList(a, value, sc)...)
		case value.Kind != yaml.SequenceNode || len(value.Content) == 0:
			p.file.failNode(value, "one_of is a list with at least one value, or = and a list fact")
		default:
			o := operand{test: Test{Attr: a.Name, Type: a.Type, Op: OneOf}}
			for _, item := range value.Content {
				o.list = append(o.list, p.readOperand(a, OneOf, item, sc)...)
			}
			tests = append(tests, o)
		}
	}
	if len(n.Content) == 0 {
		p.file.failNode(n, a.Name+" is a mapping of: "+strings.Join(known, ", "))
	}
	return tests
}

// readList reads one_of: =CEL, where the expression is a list fact.
func (p *parser) readList(a catalog.AttrSpec, n *yaml.Node, sc scope) []operand {
	e := p.expression(n, 1, aList, sc)
	if e == nil {
		return nil
	}
	if e.fact == nil || e.fact.elem.class != classOf(a.Type) {
		p.file.failAt(n, 1, fmt.Sprintf("one_of takes a list fact whose elements are %s", classOf(a.Type)))
		return nil
	}
	if elem := e.fact.elem; a.Type == catalog.AttrEnum && elem.accepted != nil && !overlap(a.Accepted, elem.accepted) {
		p.file.failAt(n, 1, fmt.Sprintf("%s never has a value of %s (%s)", e.fact.path, a.Name, strings.Join(a.Accepted, ", ")))
		return nil
	}
	return []operand{{test: Test{Attr: a.Name, Type: a.Type, Op: OneOf}, expr: e, column: p.layout.column(e.list.slot, e.fact.elem, false)}}
}

func classOf(t catalog.AttrType) class {
	switch t {
	case catalog.AttrNumber, catalog.AttrSize:
		return aNumber
	case catalog.AttrBool:
		return aBool
	}
	return aText
}

func (p *parser) readOperand(a catalog.AttrSpec, op Op, n *yaml.Node, sc scope) []operand {
	if !p.scalar(n, a.Name) {
		return nil
	}
	o := operand{test: Test{Attr: a.Name, Type: a.Type, Op: op}}
	if !strings.HasPrefix(n.Value, "=") {
		v, err := a.ParseValue(n.Value)
		if err != nil {
			detail := err.Error()
			if a.Type == catalog.AttrEnum {
				detail += didYouMean(n.Value, a.Accepted)
			}
			p.file.failNode(n, detail+"; an expression starts with =")
			return nil
		}
		o.fix = half(a.Type, v)
		return []operand{o}
	}
	if o.expr = p.expression(n, 1, classOf(a.Type), sc); o.expr == nil {
		return nil
	}
	src := source{p.file, n, 1, ""}
	p.checkTails(o.expr, src, func(text string) error {
		v, err := a.ParseValue(text)
		if err == nil && v.Text != text {
			err = fmt.Errorf("%s: write %q as %q", a.Name, text, v.Text)
		}
		return err
	})
	for _, t := range o.expr.tails {
		if a.Type == catalog.AttrEnum && t.fact != nil && t.fact.accepted != nil && !overlap(a.Accepted, t.fact.accepted) {
			src.fail(t.at, fmt.Sprintf("%s never has a value of %s (%s)", t.fact.path, a.Name, strings.Join(a.Accepted, ", ")))
		}
	}
	return []operand{o}
}

// half keeps the part of a value that its type compares by.
func half(t catalog.AttrType, v catalog.Value) catalog.Value {
	if byNumber(t) {
		return catalog.Value{Num: v.Num}
	}
	return catalog.Value{Text: v.Text}
}

// checkTails checks each text that an expression may give as it is.
func (p *parser) checkTails(e *expr, src source, check func(string) error) {
	if e == nil || e.class != aText {
		return
	}
	for _, t := range e.tails {
		if t.isText {
			if err := check(t.literal); err != nil {
				src.fail(t.at, err.Error())
			}
		}
	}
}

// template reads text with {CEL} placeholders; {{ and }} stand for the braces.
func (p *parser) template(n *yaml.Node, sc scope) template {
	var out template
	var text strings.Builder
	flush := func() {
		if text.Len() > 0 {
			out = append(out, piece{text: text.String()})
			text.Reset()
		}
	}
	s := n.Value
	for i := 0; i < len(s); i++ {
		switch c := s[i]; {
		case (c == '{' || c == '}') && i+1 < len(s) && s[i+1] == c:
			text.WriteByte(c)
			i++
		case c == '}':
			p.file.failAt(n, i, "} closes no placeholder; write }} for the brace itself")
			return nil
		case c == '{':
			end, err := placeholderEnd(s[i+1:])
			if err != nil {
				p.file.failAt(n, i, err.Error())
				return nil
			}
			flush()
			if e := p.compile(source{p.file, n, i + 1, s[i+1 : i+1+end]}, 0, sc); e != nil {
				out = append(out, piece{expr: e})
			}
			i += end + 1
		default:
			text.WriteByte(c)
		}
	}
	flush()
	return out
}

// placeholderEnd finds the brace that closes a placeholder, past texts in quotes.
func placeholderEnd(s string) (int, error) {
	quote := byte(0)
	for i := 0; i < len(s); i++ {
		switch c := s[i]; {
		case quote != 0 && c == '\\':
			i++
		case quote != 0:
			if c == quote {
				quote = 0
			}
		case c == '"' || c == '\'':
			quote = c
		case c == '}':
			return i, nil
		}
	}
	return 0, errors.New("{ opens a placeholder that } never closes; write {{ for the brace itself")
}
