package rules

import (
	"errors"
	"maps"
	"slices"
	"strings"
	"testing"
)

// named is the good rule under another id.
func named(id string) string { return strings.Replace(good, "a-rule", id, 1) }

func TestSplitAndJoinAreInverse(t *testing.T) {
	files := seedFiles(t)
	files["odd.yaml"] = "# head\n\n-\n  id: first\n  when: |\n    # no comment\n    true\n\n# about second\n- # beside\n  id: second\n-   id: third\n# end\n"
	texts, err := Split(files)
	if err != nil {
		t.Fatal(err)
	}
	if got := Join(texts); !maps.Equal(got, files) {
		t.Errorf("joined again:\n%s", got["odd.yaml"])
	}
	var odd []string
	for _, text := range texts {
		if text.File == "odd.yaml" {
			odd = append(odd, text.ID+"="+Normal(text.Source))
		}
	}
	want := []string{"first=# head\n\n-\n  id: first\n  when: |\n    # no comment\n    true\n",
		"second=# about second\n- # beside\n  id: second\n", "third=-   id: third\n# end\n"}
	if !slices.Equal(odd, want) {
		t.Errorf("got %q\nwant %q", odd, want)
	}
	// The texts by themselves are the same rules as the files.
	delete(files, "odd.yaml")
	whole, err := Parse(files)
	if err != nil {
		t.Fatal(err)
	}
	texts, _ = Split(files)
	single, err := CheckTexts(texts)
	if err != nil {
		t.Fatal(err)
	}
	for i, r := range whole.Rules() {
		if s := single.Rules()[i]; r.ID != s.ID || r.Text != s.Text || !strings.Contains(files[r.File], strings.TrimSuffix(r.Text, "\n")) {
			t.Errorf("%s: %q and %q", r.ID, r.Text, s.Text)
		}
	}
	if _, err := Split(map[string]string{"a.yaml": "[{id: a}]"}); err == nil || !strings.HasPrefix(err.Error(), "a.yaml:1: is not a list") {
		t.Errorf("a list in brackets: %v", err)
	}
}

func TestDraftTexts(t *testing.T) {
	d := &Draft{
		Published: []Text{{"a-rule", "a.yaml", 0, "# A\n" + good}, {"b-rule", "a.yaml", 3, "\n" + named("b-rule")}, {"c-rule", "c.yaml", 0, named("c-rule")}},
		Changes: []Change{
			{ID: "a-new", After: named("a-new")},
			{ID: "a-rule", Before: "# A\n" + good, After: good},
			{ID: "b-rule", Before: named("b-rule")},
			{ID: "x-gone", Before: "", After: ""},
			{ID: "z-new", After: named("z-new")},
		},
	}
	want := map[string]string{"a.yaml": good + "\n" + named("a-new"), "c.yaml": named("c-rule"), "z.yaml": named("z-new")}
	if got := Join(d.Texts()); !maps.Equal(got, want) {
		t.Errorf("got %q\nwant %q", got, want)
	}
	if d.Published[0].Source != "# A\n"+good {
		t.Error("what is published was changed")
	}
	for id, want := range map[string]string{"a-rule": good, "b-rule": "", "c-rule": named("c-rule"), "none": ""} {
		if got := d.Text(id); got != want {
			t.Errorf("%s: %q", id, got)
		}
	}
	if set, err := d.Check(); err != nil || len(set.Rules()) != 4 {
		t.Errorf("%v", err)
	}
	other := &Draft{Changes: slices.Clone(d.Changes)}
	other.Changes[0].After += "# changed\n"
	if d.ETag() == other.ETag() || d.ETag() == (&Draft{}).ETag() || ETag("") != "" {
		t.Error("drafts that differ have one tag")
	}
}

func TestCheckText(t *testing.T) {
	d := &Draft{Published: []Text{{"a-rule", "a.yaml", 0, good}}}
	for _, c := range []struct {
		name, id, text string
		newNeed        bool
		want           string
	}{
		{"good", "b-rule", named("b-rule"), false, ""},
		{"comments above", "b-rule", "# why\n\n# and how\n" + named("b-rule"), false, ""},
		{"a slip in the need", "b-rule", strings.Replace(named("b-rule"), "mount.adapter", "mount.adaptor", 1), false,
			`b-rule:3:9: no other rule raises the need "mount.adaptor"; did you mean mount.adapter?; for a new need send new_need=true`},
		{"a new need", "b-rule", strings.Replace(named("b-rule"), "mount.adapter", "mount.wedge", 1), true, ""},
		{"the only rule of its need", "a-rule", strings.Replace(good, "quantity: 1", "quantity: 2", 1), false, ""},
		{"a need in an expression", "b-rule", strings.Replace(named("b-rule"), "vehicle.intake.flange != carburetor.flange", `"'mount.adpter' in on_hand.needs"`, 1), false,
			`b-rule:2:10: no rule raises the need "mount.adpter"; did you mean mount.adapter?`},
		{"a need of the box", "b-rule", strings.Replace(named("b-rule"), "vehicle.intake.flange != carburetor.flange", `carburetor.in_box.exists(b, "mount.x" == b.need)`, 1), false,
			`b-rule:2:37: no rule raises the need "mount.x"; known: mount.adapter`},
		{"its own new need in an expression", "b-rule", strings.NewReplacer("mount.adapter", "mount.wedge", "vehicle.intake.flange != carburetor.flange", `"!('mount.wedge' in on_hand.needs)"`).Replace(named("b-rule")), true, ""},
		{"another id", "b-rule", good, false, "b-rule:1:7: the rule's id is a-rule, the path says b-rule; make them the same, or write to the other path"},
		{"another id and a new need", "b-rule", strings.Replace(good, "mount.adapter", "mount.wedge", 1), false,
			"b-rule:1:7: the rule's id is a-rule, the path says b-rule; make them the same, or write to the other path\n" +
				`b-rule:3:9: no other rule raises the need "mount.wedge"; known: mount.adapter; for a new need send new_need=true`},
		{"two rules of a new need", "b-rule", strings.Replace(named("b-rule")+named("c-rule"), "mount.adapter", "mount.wedge", 1), false,
			"b-rule:1:1: is not read as one rule between others; write one list item at the margin that begins with - id:, comments above it, without --- or ...\n" +
				`b-rule:3:9: no other rule raises the need "mount.wedge"`},
		{"no YAML", "b-rule", "- id: [\n", false, "b-rule:1:1: not YAML"},
		{"two rules", "b-rule", named("b-rule") + named("c-rule"), false, "b-rule:1:1: is not read as one rule between others"},
		{"a document of its own", "b-rule", "---\n" + named("b-rule"), false, "b-rule:1:1: is not read as one rule between others"},
		{"a document that ends", "b-rule", named("b-rule") + "...\n", false, "b-rule:1:1: is not read as one rule between others"},
		{"indented", "b-rule", "  " + strings.ReplaceAll(strings.TrimSuffix(named("b-rule"), "\n"), "\n", "\n  ") + "\n", false, "b-rule:1:1: is not read as one rule between others"},
		{"a comment below", "b-rule", named("b-rule") + "# below\n", false, "b-rule:1:1: is not read as one rule between others"},
		{"nothing", "b-rule", "\n", false, "b-rule:1:1: holds no rule"},
		{"too long", "b-rule", named("b-rule") + "# " + strings.Repeat("x", 1<<16) + "\n", false, "b-rule:1:1: has 6"},
		{"a list no index holds", "b-rule", strings.NewReplacer("adapter_plate", "metering_set", "carburetor_flange: =carburetor.flange", "jets_in: 0.09", "    height_in: {at_most: 2.0}\n", "").Replace(named("b-rule")), false,
			"b-rule:8:14: jets_in is a list, which no index holds and no match tests; test one of: "},
	} {
		t.Run(c.name, func(t *testing.T) {
			err := d.CheckText(c.id, c.text, c.newNeed)
			if c.want == "" {
				if err != nil {
					t.Error(err)
				}
				return
			}
			var list Errors
			if !errors.As(err, &list) || !strings.HasPrefix(err.Error(), c.want) {
				t.Errorf("got  %v\nwant %s", err, c.want)
			}
		})
	}
}

// What is wrong between rules, each of them right by itself.
func TestCheckOfADraftTellsAll(t *testing.T) {
	d := &Draft{
		Published: []Text{{"a-rule", "a.yaml", 0, good}},
		Changes: []Change{
			{ID: "b-rule", After: strings.NewReplacer("adapter_plate", "spacer", "    carburetor_flange: =carburetor.flange\n", "").Replace(named("b-rule"))},
			{ID: "c-rule", After: strings.Replace(named("c-rule"), "quantity: 1", "quantity: by_fit", 1)},
		},
	}
	_, err := d.Check()
	want := "b-rule:3:9: need mount.adapter is met by a spacer here and by a adapter_plate in rule a-rule at a-rule:1: all rules of a need name one kind\n" +
		"c-rule:3:9: need mount.adapter: quantity is by_fit here or in rule a-rule at a-rule:1, and must be so in all rules of a need or in none"
	if err == nil || err.Error() != want {
		t.Errorf("got  %v\nwant %s", err, want)
	}
	// A comment below the last rule of a file would become the next one's.
	d = &Draft{Published: []Text{{"a-rule", "a.yaml", 0, good + "# end\n"}}, Changes: []Change{{ID: "a-new", After: named("a-new")}}}
	if _, err := d.Check(); err == nil || !strings.HasPrefix(err.Error(), "a-rule:1:1: is not read as the same rule in file a.yaml") {
		t.Errorf("got %v", err)
	}
}
