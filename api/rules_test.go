//go:build !race

package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"onetrip/db"
)

func TestRulesCheck(t *testing.T) {
	for _, dir := range []string{"../db/seed", "../db/seed/rules"} {
		if stdout, stderr, code := runProgram(t, "", "rules", "check", dir); code != exitOK || !strings.Contains(stdout, "nothing is wrong") {
			t.Errorf("%s: exit code %d, %s%s", dir, code, stdout, stderr)
		}
	}
	dir := t.TempDir()
	for name, text := range map[string]string{
		"a.yaml": "- id: a-rule\n  when: vehicle.road.on_raod\n  verdict: unsuitable\n  because: \"{vehicle.yer}\"\n  source: s\n",
		"b.yaml": "- id: a-rule\n  when: \"true\"\n  verdict: unsuitable\n  because: x\n  source: s\n",
	} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	at := filepath.ToSlash(dir)
	want := at + "/a.yaml:2:22: unknown field \"on_raod\" of vehicle.road; did you mean on_road?\n" +
		at + "/a.yaml:4:22: unknown field \"yer\" of vehicle; did you mean year?\n" +
		at + "/b.yaml:1:7: id a-rule is already used at " + at + "/a.yaml:1\n"
	if stdout, stderr, code := runProgram(t, "", "rules", "check", dir); code != exitWrongInput || stderr != want || stdout != "" {
		t.Errorf("exit code %d, stdout %q, stderr\n%swant\n%s", code, stdout, stderr, want)
	}
	if _, stderr, code := runProgram(t, "", "rules", "check", t.TempDir()); code != exitWrongInput || !strings.Contains(stderr, "no rule files") {
		t.Errorf("an empty directory: exit code %d, %s", code, stderr)
	}
}

func TestRulesExplain(t *testing.T) {
	byFlags, stderr, code := runProgram(t, "", "rules", "explain", "--vehicle", "halvorne-ferrymaster-1972", "--carburetor", "QYC-2A95", "--rule", "air.gasket")
	want := `air-gasket  air.yaml:16  fired
  when   true
  read   carburetor.neck_in = 5.125
  caution air.backfire
  raises air.gasket, required, quantity 1: in box, with nothing on the pick list
  match  cleaner_gasket: neck_in 5.125
  met by QOG-2A03, QOG-2A11, QOG-2A07, QOG-2A15
  not    QOG-2A19: neck_in: 4.25, wanted 5.125
  not    QOG-2A35: neck_in: 2.625, wanted 5.125
  not    QOG-2A51: neck_in: 2.3125, wanted 5.125

`
	if code != exitOK || byFlags != want {
		t.Errorf("exit code %d, %s\ngot\n%swant\n%s", code, stderr, byFlags, want)
	}
	byFile, _, _ := runProgram(t, `{"vehicle_id": "halvorne-ferrymaster-1972", "carburetor_sku": "QYC-2A95"}`, "rules", "explain", "-", "--rule", "air-gasket")
	if byFile != want {
		t.Errorf("from a file\n%s", byFile)
	}
	all, _, _ := runProgram(t, "", "rules", "explain", "../testdata/requests/race.json")
	if n := strings.Count(all, "\n  when   "); n < 80 || !strings.Contains(all, "did not fire") || !strings.Contains(all, " fired for ") {
		t.Errorf("%d rules are told of", n)
	}
	if _, stderr, _ := runProgram(t, "", "rules", "explain", "--vehicle", "halvorne-ferrymaster-1972", "--carburetor", "QYC-2A95", "--rule", "fuel.hos"); !strings.Contains(stderr, ", did you mean fuel.hose or fuel-hose?") {
		t.Errorf("a slip in the rule: %s", stderr)
	}
	for _, args := range [][]string{{}, {"--vehicle", "x"}, {"x.json", "--vehicle", "x"}, {"--vehicle", "x", "--carburetor", "QYC-2A95"},
		{"../testdata/requests/first.json", "--rule", "none"}, {"no-such-file.json"}} {
		if _, stderr, code := runProgram(t, "", append([]string{"rules", "explain"}, args...)...); code != exitWrongInput || stderr == "" {
			t.Errorf("%v: exit code %d, %s", args, code, stderr)
		}
	}
}

func TestRulesLint(t *testing.T) {
	stdout, stderr, code := runProgram(t, "", "rules", "lint")
	if code != exitOK || !strings.Contains(stdout, ": no rule can choose it\n") || !strings.HasSuffix(stdout, "nothing to mend in 90 rules\n") {
		t.Errorf("exit code %d, %s%s", code, stdout, stderr)
	}
	dir := t.TempDir()
	if err := os.CopyFS(dir, db.Seed()); err != nil {
		t.Fatal(err)
	}
	odd := "- id: odd-rule\n  when: vehicle.fuel.pressure_psi > 5 && vehicle.fuel.pressure_psi < 3\n  verdict: unsuitable\n  because: x\n  source: s\n"
	if err := os.WriteFile(filepath.Join(dir, "rules", "odd.yaml"), []byte(odd), 0o600); err != nil {
		t.Fatal(err)
	}
	stdout, stderr, code = runProgram(t, "", "rules", "lint", "--catalogue", dir)
	if code != exitWrongInput || !strings.HasPrefix(stdout, "odd.yaml:1: rule odd-rule can never fire: vehicle.fuel") || stderr != "1 findings in 91 rules\n" {
		t.Errorf("exit code %d, %q, %.200s", code, stderr, stdout)
	}
}
