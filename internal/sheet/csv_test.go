package sheet

import "testing"

func TestInertKeepsFormulasFromRunning(t *testing.T) {
	for text, want := range map[string]string{
		"":                  "",
		"Fuel hose, 3/8 in": "Fuel hose, 3/8 in",
		"=HYPERLINK(\"x\")": "'=HYPERLINK(\"x\")",
		"+1":                "'+1",
		"-6 fitting":        "'-6 fitting",
		"@SUM(A1)":          "'@SUM(A1)",
		"\t=1":              "'\t=1",
		"\r=1":              "'\r=1",
		"  =1":              "'  =1",
		"'=1":               "''=1",
		"5 - 6":             "5 - 6",
	} {
		if got := inert(text); got != want {
			t.Errorf("%q becomes %q, want %q", text, got, want)
		}
	}
}
