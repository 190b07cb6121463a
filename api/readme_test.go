package main

import (
	"os"
	"strings"
	"testing"
)

// TestReadmeShowsWhatTheProgramPrints holds the worked example, whose cuts are marked
// with an ellipsis, against a real run: its lines must be there, in order.
func TestReadmeShowsWhatTheProgramPrints(t *testing.T) {
	readme, err := os.ReadFile("../README.md")
	if err != nil {
		t.Fatal(err)
	}
	_, rest, opened := strings.Cut(string(readme), "```text\n")
	example, _, closed := strings.Cut(rest, "```\n")
	if !opened || !closed {
		t.Fatal("README.md has no block of text")
	}
	printed, stderr, code := runProgram(t, "", "resolve", "../testdata/requests/first.json")
	if code != exitOK {
		t.Fatalf("exit code %d: %s", code, stderr)
	}
	for part := range strings.SplitSeq(example, "…\n") {
		_, after, found := strings.Cut(printed, part)
		if !found {
			t.Fatalf("README.md shows this, the program does not print it there:\n%s", part)
		}
		printed = after
	}
}

func TestReadmeOpensWithTheTwoCommands(t *testing.T) {
	readme, err := os.ReadFile("../README.md")
	if err != nil {
		t.Fatal(err)
	}
	opening, _, _ := strings.Cut(string(readme), "\n## ")
	for _, command := range []string{"    go run ./api resolve testdata/requests/first.json\n", "    go test ./...\n"} {
		if !strings.Contains(opening, command) {
			t.Errorf("the opening of README.md does not have %q", command)
		}
	}
}

// Read from top to bottom, whoever has made a key needs it from there on.
func TestReadmeSendsTheKeyOnceThereIsOne(t *testing.T) {
	readme, err := os.ReadFile("../README.md")
	if err != nil {
		t.Fatal(err)
	}
	_, rest, _ := strings.Cut(string(readme), "**Keys.**")
	rest, _, found := strings.Cut(rest, "## The three callers")
	asked := 0
	for line := range strings.SplitSeq(strings.ReplaceAll(rest, "\\\n", ""), "\n") {
		if strings.HasPrefix(line, "    curl ") {
			asked++
			if !strings.Contains(line, `-H "Authorization: Bearer $KEY"`) {
				t.Errorf("without the key: %s", line)
			}
		}
	}
	if !found || asked == 0 {
		t.Error("README.md asks nothing between the keys and the three callers")
	}
}
