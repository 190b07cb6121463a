package rules

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"onetrip/internal/catalog"
)

// nested walks a list inside itself.
func nested(list, test string, depth int) string {
	out := test
	for i := depth; i > 0; i-- {
		out = fmt.Sprintf("%s.all(x%d, %s)", list, i, out)
	}
	return out
}

func TestCostlyExpressionsAreRefused(t *testing.T) {
	for _, c := range []struct{ name, old, new, want string }{
		{"when", "vehicle.intake.flange != carburetor.flange", nested("on_hand.skus", `x1 == x2 && x2 == x3`, 3), "a.yaml:2:9: may cost "},
		{"placeholder", "{vehicle.intake.flange}", `{` + nested("carburetor.ports", `x1.large || x3.large`, 3) + `}`, "a.yaml:10:30: may cost "},
		{"deep", "vehicle.intake.flange != carburetor.flange", strings.Repeat("(", 300) + "true" + strings.Repeat(")", 300), "a.yaml:2:"},
		{"long", "vehicle.intake.flange != carburetor.flange", `"1 > 0` + strings.Repeat(" + 1", 40000) + `"`, "a.yaml:2:"},
	} {
		t.Run(c.name, func(t *testing.T) {
			start := time.Now()
			_, err := Parse(map[string]string{"a.yaml": strings.Replace(good, c.old, c.new, 1)})
			var list Errors
			if !errors.As(err, &list) || !strings.HasPrefix(list.Error(), c.want) {
				t.Errorf("got %v, want %s…", err, c.want)
			}
			if took := time.Since(start); took > 5*time.Second {
				t.Errorf("took %s to refuse", took)
			}
		})
	}
	// What is long and allowed is read in no time too.
	start := time.Now()
	long := strings.TrimSuffix(strings.Repeat("has(vehicle.intake.stud_length_in) && ", 1700), " && ")
	if _, err := Parse(map[string]string{"a.yaml": strings.Replace(good, "vehicle.intake.flange != carburetor.flange", long, 1)}); err != nil {
		t.Error(err)
	}
	if took := time.Since(start); took > 5*time.Second {
		t.Errorf("took %s to read", took)
	}
	// Two lists inside one another are what a rule may need.
	if _, err := Parse(map[string]string{"a.yaml": strings.Replace(good, "vehicle.intake.flange != carburetor.flange",
		"carburetor.ports.exists(p, has(p.hose_in) && calc.hoses.exists(h, h.bore_in == p.hose_in))", 1)}); err != nil {
		t.Error(err)
	}
}

// Lists far longer than any the contract takes end an evaluation early, in an error that
// no || overrules.
func TestEvaluationIsBounded(t *testing.T) {
	long := plainFacts()
	for i := range 20_000 {
		long.OnHand.SKUs = append(long.OnHand.SKUs, fmt.Sprint(i))
		long.Carburetor.Ports = append(long.Carburetor.Ports, catalog.Port{})
		long.Calc.Caps = append(long.Calc.Caps, SizeCount{0.25, 1})
	}
	pairs := nested("on_hand.skus", `x1 != x2 || x1 == x2`, 2)
	rule := func(edits ...string) string { return strings.NewReplacer(edits...).Replace(good) }
	when := "vehicle.intake.flange != carburetor.flange"
	for name, text := range map[string]string{
		"when":                  rule(when, pairs),
		"when, overruled":       rule(when, "("+pairs+") || true"),
		"because":               rule(when, "true", "{vehicle.intake.flange}", "{"+pairs+"}"),
		"level":                 rule(when, "true", "level: required", `level: "=`+pairs+` ? 'required' : 'optional'"`),
		"in inside a loop":      rule(when, `carburetor.ports.all(p, p.id in on_hand.skus || true)`),
		"in for each of a list": rule(when, `'"none" in on_hand.skus'`, "  need:", "  for_each: calc.caps\n  need:"),
	} {
		t.Run(name, func(t *testing.T) {
			start := time.Now()
			fired, err := mustParse(t, text).Evaluate(long)
			if err == nil || !strings.Contains(err.Error(), "rule a-rule: ") || !strings.Contains(err.Error(), "too many steps") {
				t.Errorf("%d fired, error %v", len(fired), err)
			}
			if took := time.Since(start); took > 2*time.Second {
				t.Errorf("took %s", took)
			}
		})
	}
	s := mustParse(t, rule(when, pairs))
	if _, err := s.Evaluate(long); err == nil {
		t.Fatal("no error")
	}
	if _, err := s.Evaluate(plainFacts()); err != nil { // the next evaluation starts afresh
		t.Error(err)
	}
}
