package rules

import (
	"errors"
	"strings"
	"testing"

	"go.yaml.in/yaml/v3"
)

// good is a rule with nothing wrong; tests replace single lines of it.
const good = `- id: a-rule
  when: vehicle.intake.flange != carburetor.flange
  need: mount.adapter
  level: required
  quantity: 1
  match:
    kind: adapter_plate
    carburetor_flange: =carburetor.flange
    height_in: {at_most: 2.0}
  because: "The manifold is {vehicle.intake.flange}."
  severity: blocking
  source: common practice, no source
`

func TestParseAcceptsAGoodRule(t *testing.T) {
	s, err := Parse(map[string]string{"a.yaml": "# comment\n" + good + "# trailing\n", "empty.yaml": "\uFEFF# nothing yet\n"})
	if err != nil {
		t.Fatal(err)
	}
	r := s.Rules()[0]
	if r.Text != "# comment\n"+good+"# trailing\n" || r.Line != 2 || r.File != "a.yaml" {
		t.Errorf("text %q at %s:%d", r.Text, r.File, r.Line)
	}
	if got := strings.Join(r.Reads(), " "); got != "carburetor.flange vehicle.intake.flange" {
		t.Errorf("reads %s", got)
	}
	if got := strings.Join(r.EqualityAttrs(), " "); got != "carburetor_flange" {
		t.Errorf("equality attributes %s", got)
	}
	if kind, ok := s.NeedKind("mount.adapter"); !ok || kind != "adapter_plate" || len(s.Needs()) != 1 {
		t.Errorf("needs %v, kind %s", s.Needs(), kind)
	}
	if _, ok := s.NeedKind("mount.none"); ok {
		t.Error("a need that no rule raises has a kind")
	}
}

func TestParseRefuses(t *testing.T) {
	for _, c := range []struct{ name, old, new, want string }{
		{"unknown field", "vehicle.intake.flange !=", "vehicle.intake.flnge !=", `a.yaml:2:24: unknown field "flnge" of vehicle.intake; did you mean flange?`},
		{"unknown field of an object in an object", "vehicle.intake.flange !=", "vehicle.intke.flange !=", `a.yaml:2:17: unknown field "intke" of vehicle; did you mean intake?`},
		{"unknown name", "vehicle.intake.flange !=", "vehicel.intake.flange !=", `a.yaml:2:9: unknown name "vehicel"; did you mean vehicle?`},
		{"unknown function", "when: vehicle", `when: maxi(1, 2) > 1 && vehicle`, `a.yaml:2:13: unknown name "maxi"; did you mean max?`},
		{"field of an element", "when: vehicle", `when: calc.hoses.exists(h, h.us == "pcv") || vehicle`, `a.yaml:2:32: unknown field "us" of calc.hoses[]; did you mean use?`},
		{"each without for_each", "when: vehicle", `when: each.use == "pcv" || vehicle`, `a.yaml:2:9: each is only known in a rule with for_each`},
		{"wrong result of when", "when: vehicle.intake.flange != carburetor.flange", "when: vehicle.intake.flange", `a.yaml:2:9: gives text, wanted true or false`},
		{"types that do not compare", "!= carburetor.flange", "!= 3", `a.yaml:2:31: != does not work on text and number`},
		{"an enum's wrong value", "!= carburetor.flange", `!= "sqare_bore"`, `a.yaml:2:34: vehicle.intake.flange is never "sqare_bore"; did you mean square_bore?`},
		{"enums that never agree", "!= carburetor.flange", `!= vehicle.throttle.kind`, `a.yaml:2:9: vehicle.intake.flange and vehicle.throttle.kind never have the same value`},
		{"an enum's wrong value in a list", "!= carburetor.flange", `in ["square_bore", "sqare"]`, `a.yaml:2:50: vehicle.intake.flange is never "sqare"; known: spread_bore, square_bore, two_bore_large, two_bore_small`},
		{"not an expression", "!= carburetor.flange", "!=", `a.yaml:2:33: not an expression: it ends too early; complete it, or close the bracket or quote left open`},
		{"a word for an operator", "!= carburetor.flange", `!= "a" and true`, "a.yaml:2:38: not an expression: and does not belong here; take it out, or write the operator that is missing: &&, ||, !, ==, !=, in"},
		{"one sign for two", "!= carburetor.flange", `!= "a" & true`, "a.yaml:2:38: not an expression: & is no sign of CEL; write && for and, || for or, == for equal, texts in quotes"},
		{"a quote left open", "!= carburetor.flange", `!= "a`, "a.yaml:2:34: not an expression: a quote is not closed; close it"},
		{"a bracket too many", "!= carburetor.flange", `!= "a")`, "a.yaml:2:37: not an expression: ) does not belong here; take it out, or write the operator that is missing: &&, ||, !, ==, !=, in"},
		{"not UTF-8", "quantity: 1", "quantity: \xff1", "a.yaml:5:13: the byte 0xFF is not UTF-8; save the file as UTF-8"},
		{"a control character", "quantity: 1", "quantity: 1\x01", "a.yaml:5:14: holds the control character U+0001; take it out"},
		{"turned text", "quantity: 1", "quantity: \u202E1", "a.yaml:5:13: holds the invisible character U+202E; take it out"},
		{"an unknown optional", "!= carburetor.flange", `!= "square_bore" && vehicle.intake.stud_length_in > 1`, `a.yaml:2:51: vehicle.intake.stud_length_in may be unknown: test has(vehicle.intake.stud_length_in) first, in when or before && or in ?:`},
		{"has of what is always known", "!= carburetor.flange", `!= "square_bore" && has(vehicle.year)`, `a.yaml:2:55: vehicle.year is always known: has() is for optional facts`},
		{"an object as value", "!= carburetor.flange", `!= "square_bore" && vehicle.intake == vehicle.intake`, `a.yaml:2:66: == compares numbers, texts and true or false, not an object`},
		{"order of texts", "!= carburetor.flange", `< "square_bore"`, `a.yaml:2:31: < works on numbers, this is text`},
		{"an unsigned literal", "!= carburetor.flange", `!= "square_bore" && 1u == 1u`, `a.yaml:2:51: uint literals are not used in rules`},
		{"map literal", "!= carburetor.flange", `!= "square_bore" && {"a":1} == {"a":1}`, `a.yaml:2:51: maps and objects cannot be made in rules`},
		{"exists over a literal", "!= carburetor.flange", `!= "square_bore" && [1, 2].exists(x, x > 1)`, `a.yaml:2:51: exists and all walk a list fact such as carburetor.ports`},
		{"loop variable that hides a fact", "!= carburetor.flange", `!= "square_bore" && carburetor.ports.exists(calc, calc.large)`, `a.yaml:2:51: calc already has a meaning; name the variable otherwise`},
		{"need form", "need: mount.adapter", "need: adapter", `a.yaml:3:9: need "adapter": write group.name, as in fuel.hose`},
		{"level", "level: required", "level: requird", `a.yaml:4:10: level "requird" is unknown; did you mean required?`},
		{"level by expression", "level: required", `level: "=vehicle.year > 3 ? 'required' : 'optinal'"`, `a.yaml:4:44: level "optinal" is unknown; did you mean optional?`},
		{"level of the wrong type", "level: required", "level: =vehicle.year", `a.yaml:4:11: gives a number, wanted text`},
		{"quantity", "quantity: 1", "quantity: none", `a.yaml:5:13: quantity "none": write a number above 0, an expression that starts with =, or by_fit`},
		{"quantity zero", "quantity: 1", "quantity: 0", `a.yaml:5:13: quantity "0": write a number above 0, an expression that starts with =, or by_fit`},
		{"quantity of the wrong type", "quantity: 1", "quantity: =carburetor.sku", `a.yaml:5:14: gives text, wanted a number`},
		{"unknown kind", "kind: adapter_plate", "kind: adaptor_plate", `a.yaml:7:11: kind "adaptor_plate" is unknown; did you mean adapter_plate?`},
		{"kind missing", "    kind: adapter_plate\n", "", `a.yaml:7:5: match: kind is missing`},
		{"unknown attribute", "    carburetor_flange:", "    carburetor_flang:", `a.yaml:8:5: a adapter_plate has no "carburetor_flang"; did you mean carburetor_flange?`},
		{"dimension the kind lacks", "    height_in:", "    length_in:", `a.yaml:9:5: a adapter_plate has no "length_in"; did you mean height_in?`},
		{"attribute's type", "=carburetor.flange", "=vehicle.year", `a.yaml:8:25: gives a number, wanted text`},
		{"attribute's enum", "=carburetor.flange", "square", `a.yaml:8:24: carburetor_flange: "square" is not one of square_bore, spread_bore, two_bore_large, two_bore_small; did you mean square_bore?; an expression starts with =`},
		{"attribute of another enum", "=carburetor.flange", "=vehicle.throttle.kind", `a.yaml:8:25: vehicle.throttle.kind never has a value of carburetor_flange (square_bore, spread_bore, two_bore_large, two_bore_small)`},
		{"arm of an attribute's expression", "=carburetor.flange", `"=vehicle.year > 3 ? carburetor.flange : 'round'"`, `a.yaml:8:65: carburetor_flange: "round" is not one of square_bore, spread_bore, two_bore_large, two_bore_small`},
		{"number that does not parse", "{at_most: 2.0}", "{at_most: tall}", `a.yaml:9:26: height_in: "tall" is not a number; an expression starts with =`},
		{"order of an enum", "=carburetor.flange", "{at_least: square_bore}", `a.yaml:8:25: carburetor_flange has no "at_least"; known: one_of`},
		{"empty one_of", "=carburetor.flange", "{one_of: []}", `a.yaml:8:33: one_of is a list with at least one value, or = and a list fact`},
		{"one_of a fact that is no list", "=carburetor.flange", `{one_of: =carburetor.flange}`, `a.yaml:8:34: gives text, wanted a list`},
		{"one_of a list of others", "=carburetor.flange", `{one_of: =carburetor.throttle.ends}`, `a.yaml:8:34: carburetor.throttle.ends never has a value of carburetor_flange (square_bore, spread_bore, two_bore_large, two_bore_small)`},
		{"test of nothing", "{at_most: 2.0}", "{}", `a.yaml:9:16: height_in is a mapping of: one_of, at_least, at_most`},
		{"attribute twice", "    height_in:", "    carburetor_flange: square_bore\n    height_in:", `a.yaml:9:5: carburetor_flange is given twice`},
		{"placeholder that may be missing", "{vehicle.intake.flange}.", "{vehicle.intake.stud_length_in}.", `a.yaml:10:30: vehicle.intake.stud_length_in may be unknown: test has(vehicle.intake.stud_length_in) first, in when or before && or in ?:`},
		{"placeholder with a list", "{vehicle.intake.flange}.", "{carburetor.ports}.", `a.yaml:10:30: gives a list, wanted a number, text or true or false`},
		{"placeholder not closed", "{vehicle.intake.flange}.", "{vehicle", `a.yaml:10:29: { opens a placeholder that } never closes; write {{ for the brace itself`},
		{"brace not opened", "{vehicle.intake.flange}.", "x} y", `a.yaml:10:30: } closes no placeholder; write }} for the brace itself`},
		{"empty placeholder", "{vehicle.intake.flange}.", "{}", `a.yaml:10:30: expression is empty`},
		{"severity", "severity: blocking", "severity: bad", `a.yaml:11:13: severity "bad" is unknown; known: blocking, minor, serious`},
		{"source missing", "  source: common practice, no source\n", "", `a.yaml:1:3: source is missing`},
		{"when missing", "  when: vehicle.intake.flange != carburetor.flange\n", "", `a.yaml:1:3: when is missing`},
		{"because missing", "  because: \"The manifold is {vehicle.intake.flange}.\"\n", "", `a.yaml:1:3: because is missing`},
		{"unknown key", "  source:", "  sauce:", "a.yaml:1:3: source is missing\na.yaml:12:3: a rule has no \"sauce\"; did you mean source?"},
		{"id form", "- id: a-rule", "- id: A rule", `a.yaml:1:7: id "A rule": write small letters, digits and single dashes, as in mount-adapter-plate`},
		{"empty value", "level: required", "level:", `a.yaml:4:9: level is empty`},
		{"tag", "when: vehicle.intake.flange != carburetor.flange", "when: !calc.studs_suffice", `a.yaml:2:9: when starts with !, which YAML takes for a tag: put it in quotes`},
		{"list where a value belongs", "level: required", "level: [required]", `a.yaml:4:10: level is one value, not a list, a mapping or an alias`},
		{"tab", "    height_in:", "\theight_in:", `a.yaml:9:1: not YAML: found a tab character that violates indentation; indent with spaces`},
		{"not YAML", "level: required", "level: a: b", `a.yaml:4:1: not YAML: mapping values are not allowed in this context; put expressions that hold a colon or # in quotes`},
		{"not a list of rules", good, "id: x\n", `a.yaml:1:1: a rule file is a list: start each rule with - id:`},
		{"rule that is text", good, "- x\n", `a.yaml:1:3: a rule is a mapping of: id, when, for_each, need, level, quantity, match, because, severity, caution, verdict, source`},
		{"for_each of a value", "  need: mount.adapter", "  for_each: vehicle.year\n  need: mount.adapter", `a.yaml:3:13: gives a number, wanted a list`},
		{"for_each of texts", "  need: mount.adapter", "  for_each: calc.unassigned\n  need: mount.adapter", `a.yaml:3:13: for_each walks a list fact such as calc.hoses`},
		{"verdict", "  source:", "  verdict: bad\n  source:", `a.yaml:12:12: verdict "bad" is unknown; known: unsuitable`},
		{"caution without text", "  source:", "  caution: {id: a.b, source: x}\n  source:", `a.yaml:12:12: caution: text is missing`},
		{"caution's key", "  source:", "  caution: {id: a.b, text: x, source: x, form: y}\n  source:", `a.yaml:12:42: caution has no "form"; known: id, source, text`},
		{"caution's id", "  source:", "  caution: {id: fire, text: x, source: x}\n  source:", `a.yaml:12:17: caution id "fire": write group.name, as in fuel.fire`},
		{"caution's placeholder", "  source:", "  caution: {id: a.b, text: 'at {vehicle.yer}', source: x}\n  source:", `a.yaml:12:41: unknown field "yer" of vehicle; did you mean year?`},
		{"rule without effect", good, "- id: a\n  when: \"true\"\n  source: x\n", `a.yaml:1:3: a rule needs at least one of need, verdict and caution`},
		{"level without need", good, "- id: a\n  when: \"true\"\n  level: required\n  verdict: unsuitable\n  because: x\n  source: x\n", `a.yaml:3:10: level belongs to a need, and the rule has none`},
		{"verdict without because", good, "- id: a\n  when: \"true\"\n  verdict: unsuitable\n  source: x\n", `a.yaml:1:3: because is missing`},
	} {
		text := strings.Replace(good, c.old, c.new, 1)
		if text == good {
			t.Fatalf("%s: changes nothing", c.name)
		}
		_, err := Parse(map[string]string{"a.yaml": text})
		if err == nil {
			t.Errorf("%s: accepted", c.name)
		} else if err.Error() != c.want {
			t.Errorf("%s:\n got %s\nwant %s", c.name, err, c.want)
		}
	}
}

func TestParseReportsAllFilesTogether(t *testing.T) {
	other := strings.NewReplacer("a-rule", "b-rule", "kind: adapter_plate", "kind: spacer", "carburetor_flange: =carburetor.flange", "flange: square_bore").Replace(good)
	_, err := Parse(map[string]string{
		"b.yaml": good + "\n" + other,
		"a.yaml": strings.Replace(good, "vehicle.intake", "vehicle.intke", 1),
	})
	var list Errors
	if !errors.As(err, &list) || len(list) != 3 {
		t.Fatalf("%v", err)
	}
	want := `a.yaml:2:17: unknown field "intke" of vehicle; did you mean intake?
b.yaml:1:7: id a-rule is already used at a.yaml:1
b.yaml:16:9: need mount.adapter is met by a spacer here and by a adapter_plate in rule a-rule at a.yaml:1: all rules of a need name one kind`
	if err.Error() != want {
		t.Errorf("got\n%s\nwant\n%s", err, want)
	}
}

func TestParseRefusesRulesOfOneNeedThatDisagree(t *testing.T) {
	for old, c := range map[string]struct{ new, want string }{
		"quantity: 1": {"quantity: by_fit", `b.yaml:3:9: need mount.adapter: quantity is by_fit here or in rule a-rule at a.yaml:1, and must be so in all rules of a need or in none`},
		"  need:":     {"  for_each: calc.caps\n  need:", `b.yaml:4:9: need mount.adapter: for_each is "calc.caps" here and "" in rule a-rule at a.yaml:1: all rules of a need walk one list`},
	} {
		_, err := Parse(map[string]string{"a.yaml": good, "b.yaml": strings.Replace(strings.Replace(good, "a-rule", "b-rule", 1), old, c.new, 1)})
		if err == nil || err.Error() != c.want {
			t.Errorf("got %v\nwant %s", err, c.want)
		}
	}
}

// Wherever quoting and folding have put it, the marked byte of the value is reported
// where it stands in the file.
func TestErrorsPointIntoQuotedAndFoldedText(t *testing.T) {
	for name, c := range map[string]struct {
		text         string
		line, column int
	}{
		"plain":                 {"- when: aé bX", 1, 13},
		"plain over lines":      {"- when: a b\n    c X", 2, 7},
		"double quotes":         {`- when: "a\"é\té\u00e9 X"`, 1, 24},
		"double over lines":     {"- when: \"a\n\n    b \\\n    c X\"", 4, 7},
		"single quotes":         {"- when: 'it''s X'", 1, 16},
		"single over lines":     {"- when: 'it\n   is X'", 2, 7},
		"folded":                {"- when: >-\n    a b\n    c\n\n    d X", 5, 7},
		"literal":               {"- when: |\n    a b\n      c\n    d X\n", 4, 7},
		"literal, strip":        {"- when: |-\n\n    a X", 3, 7},
		"at the very beginning": {"- when: X", 1, 9},
	} {
		var doc yaml.Node
		if err := yaml.Unmarshal([]byte(c.text), &doc); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		n := doc.Content[0].Content[0].Content[1]
		var errs Errors
		f := newFile("f", c.text, &errs)
		f.failAt(n, strings.IndexByte(n.Value, 'X'), "here")
		if errs[0].Line != c.line || errs[0].Column != c.column {
			t.Errorf("%s: value %q reported at %d:%d, want %d:%d", name, n.Value, errs[0].Line, errs[0].Column, c.line, c.column)
		}
	}
}

func TestDistance(t *testing.T) {
	for pair, want := range map[[2]string]int{{"", "abc"}: 3, {"abc", "abc"}: 0, {"flange", "flnage"}: 1, {"flange", "flang"}: 1, {"kitten", "sitting"}: 3} {
		if got := distance(pair[0], pair[1]); got != want {
			t.Errorf("%v: %d, want %d", pair, got, want)
		}
		if got := distance(pair[1], pair[0]); got != want {
			t.Errorf("%v turned round: %d, want %d", pair, got, want)
		}
	}
}

// FuzzParse: whatever the file, every error has a place, and nothing panics.
func FuzzParse(f *testing.F) {
	f.Add(good)
	f.Add("- id: &a x\n  when: *a\n")
	f.Add("- {id: a, when: \"{\", source: {}}\n")
	f.Add("- id: a\r\n  when: >\r\n   1 /\r\n   x\r\n  source: s\r\n  caution: {id: a.b, text: '{1}', source: s}\r\n")
	f.Fuzz(func(t *testing.T, text string) {
		s, err := Parse(map[string]string{"f.yaml": text})
		if err == nil {
			if _, err := s.Evaluate(someFacts(&bytesChooser{[]byte(text)})); err != nil && !strings.Contains(err.Error(), "f.yaml:") {
				t.Fatalf("%q: %v", text, err)
			}
			return
		}
		var list Errors
		if !errors.As(err, &list) {
			t.Fatalf("%q: %T is not a list of errors", text, err)
		}
		for _, e := range list {
			if e.Line < 1 || e.Column < 1 || e.Detail == "" {
				t.Fatalf("%q: %+v", text, e)
			}
		}
	})
}
