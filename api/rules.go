package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"

	"onetrip/internal/catalog"
	"onetrip/internal/httpapi"
	"onetrip/internal/kit"
	"onetrip/internal/rules"
)

// rulesCommand helps those who write rules.
type rulesCommand struct {
	Check   rulesCheckCommand   `cmd:"" help:"Check the rule files of a directory, and tell everything wrong in them."`
	Lint    rulesLintCommand    `cmd:"" help:"Look for rules that never fire, rules that say the same, needs that no rule raises and parts that no rule chooses."`
	Explain rulesExplainCommand `cmd:"" help:"Tell of every rule what it read for a request, whether it fired, and what meets what it asks for."`
}

type rulesCheckCommand struct {
	Directory string `arg:"" placeholder:"DIR" help:"Directory of rule files (*.yaml), or of a catalogue, laid out as db/seed."`
}

// Run prints a line for each mistake and ends with exit code 2 when there is one.
func (c *rulesCheckCommand) Run(s streams) error {
	dir := c.Directory
	if info, err := os.Stat(filepath.Join(dir, "rules")); err == nil && info.IsDir() {
		dir = filepath.Join(dir, "rules")
	}
	files, err := readRules(os.DirFS(dir), dir)
	if err != nil {
		return err
	}
	set, err := rules.Parse(files)
	if err != nil {
		return &inputError{err}
	}
	_, err = fmt.Fprintf(s.out, "%s in %s raise %s; nothing is wrong with them\n", counted(int64(len(set.Rules())), "rule"), counted(int64(len(files)), "file"), counted(int64(len(set.Needs())), "need"))
	return err
}

// readRules reads rule files by their path as the caller gave it, so that editors find them.
func readRules(dir fs.FS, name string) (map[string]string, error) {
	found, err := fs.Glob(dir, "*.yaml")
	if err != nil {
		return nil, err
	}
	if len(found) == 0 {
		return nil, &inputError{fmt.Errorf("%s holds no rule files; name a directory with *.yaml, such as db/seed/rules", name)}
	}
	files := map[string]string{}
	for _, file := range found {
		text, err := fs.ReadFile(dir, file)
		if err != nil {
			return nil, err
		}
		files[path.Join(filepath.ToSlash(name), file)] = string(text)
	}
	return files, nil
}

type rulesLintCommand struct{ catalogueFlag }

// Run prints a line for each finding, and ends with exit code 2 when rules are to be mended.
func (c *rulesLintCommand) Run(s streams) error {
	snapshot, err := c.open()
	if err != nil {
		return err
	}
	wrong := 0
	for _, f := range kit.Lint(snapshot) {
		note := ""
		if !f.Sure {
			note = " (not decided: not all cases could be tried)"
		} else if !f.Part {
			wrong++
		}
		if _, err := fmt.Fprintf(s.out, "%s: %s%s\n", f.Where, f.Text, note); err != nil {
			return err
		}
	}
	if wrong > 0 {
		return &inputError{fmt.Errorf("%d findings in %d rules", wrong, len(snapshot.Rules.Rules()))}
	}
	_, err = fmt.Fprintf(s.out, "nothing to mend in %d rules\n", len(snapshot.Rules.Rules()))
	return err
}

type rulesExplainCommand struct {
	catalogueFlag
	File       string `arg:"" optional:"" placeholder:"FILE.json" help:"Request as POST /v1/kits/resolve takes it; - reads standard input."`
	Vehicle    string `placeholder:"ID" help:"Vehicle of the catalogue, in place of a file."`
	Carburetor string `placeholder:"SKU" help:"Carburetor of the catalogue, in place of a file."`
	Rule       string `placeholder:"ID" help:"Tell of this rule only, or of the rules of this need."`
}

// Run prints the rules by id.
func (c *rulesExplainCommand) Run(ctx context.Context, s streams) error {
	request, name := &kit.Request{VehicleID: c.Vehicle, CarburetorSKU: c.Carburetor}, "rules explain"
	switch {
	case c.File != "" && (c.Vehicle != "" || c.Carburetor != ""):
		return &inputError{errors.New("rules explain takes a file, or --vehicle and --carburetor, not both")}
	case c.File != "":
		body, err := readRequest(c.File, s.in)
		if err != nil {
			return err
		}
		name = c.File
		if request, err = httpapi.DecodeResolve(body); err != nil {
			return mistakes(name, err)
		}
	case c.Vehicle == "" || c.Carburetor == "":
		return &inputError{errors.New("rules explain needs a request: FILE.json, or --vehicle ID and --carburetor SKU")}
	}
	snapshot, err := c.open()
	if err != nil {
		return err
	}
	traces, err := kit.Explain(ctx, snapshot, request)
	if err != nil {
		return mistakes(name, err)
	}
	if c.Rule != "" {
		known := make([]string, 0, 2*len(traces))
		for _, t := range traces {
			known = append(known, t.Rule.ID, t.Rule.Need)
		}
		traces = slices.DeleteFunc(traces, func(t kit.RuleTrace) bool { return t.Rule.ID != c.Rule && t.Rule.Need != c.Rule })
		if len(traces) == 0 {
			meant := ""
			if near := catalog.Near(c.Rule, known, 3); len(near) > 0 {
				meant = ", did you mean " + strings.Join(near, " or ") + "?"
			}
			return &inputError{fmt.Errorf("--rule %s: no rule has that id or raises that need%s; leave it out to see all", c.Rule, meant)}
		}
	}
	return writeTraces(s.out, traces)
}

// shownSKUs is how many of the parts that meet a match are named; the rest is counted.
const shownSKUs = 5

func writeTraces(w io.Writer, traces []kit.RuleTrace) error {
	var b strings.Builder
	for _, t := range traces {
		r := t.Rule
		fired := "fired"
		switch {
		case len(t.Fired) == 0:
			fired = "did not fire"
		case r.ForEach != "":
			fired = fmt.Sprintf("fired for %d in %s", len(t.Fired), r.ForEach)
		}
		fmt.Fprintf(&b, "%s  %s:%d  %s\n  when   %s\n", r.ID, r.File, r.Line, fired, r.When)
		for _, f := range t.Facts {
			fmt.Fprintf(&b, "  read   %s = %s\n", f.Path, f.Value)
		}
		for i := range t.Fired {
			writeFired(&b, &t.Fired[i], t.Outcomes[i])
		}
		b.WriteByte('\n')
	}
	_, err := io.WriteString(w, b.String())
	return err
}

func writeFired(b *strings.Builder, f *rules.Fired, o kit.RuleOutcome) {
	if f.Unsuitable {
		fmt.Fprintf(b, "  makes the kit unsuitable: %s\n", f.Because)
	}
	if f.Caution != nil {
		fmt.Fprintf(b, "  caution %s\n", f.Caution.ID)
	}
	if f.Rule.Need == "" {
		return
	}
	quantity := fmt.Sprintf("quantity %g", f.Quantity)
	if f.ByFit {
		quantity = "as many as fit says"
	}
	with := "nothing"
	if len(o.Lines) > 0 {
		with = strings.Join(o.Lines, ", ")
	}
	fmt.Fprintf(b, "  raises %s, %s, %s: %s, with %s on the pick list\n", f.Rule.Need, f.Level, quantity, strings.ReplaceAll(string(o.Status), "_", " "), with)
	wants := make([]string, len(f.Match.Tests))
	for i := range f.Match.Tests {
		wants[i] = f.Match.Tests[i].Attr + " " + f.Match.Tests[i].Wanted()
	}
	if len(wants) == 0 {
		wants = []string{"any"}
	}
	fmt.Fprintf(b, "  match  %s: %s\n", f.Match.Kind, strings.Join(wants, ", "))
	more := ""
	if n := len(o.Meets) - shownSKUs; n > 0 {
		more = fmt.Sprintf(" and %d dearer", n)
	}
	switch len(o.Meets) {
	case 0:
		b.WriteString("  met by no part on sale\n")
	default:
		fmt.Fprintf(b, "  met by %s%s\n", strings.Join(o.Meets[:min(len(o.Meets), shownSKUs)], ", "), more)
	}
	for _, n := range o.Nearest {
		fmt.Fprintf(b, "  not    %s: %s\n", n.SKU, strings.Join(n.Fails, "; "))
	}
}
