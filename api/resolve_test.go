package main

import (
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestResolveWritesTheSheet(t *testing.T) {
	file := filepath.Join(t.TempDir(), "sheet.html")
	stdout, stderr, code := runProgram(t, "", "resolve", "--sheet", file, "../testdata/requests/first.json")
	if code != exitOK || stderr != "" || !strings.HasPrefix(stdout, "COMPLETE") || !strings.HasSuffix(stdout, file+"\n") || strings.Count(stdout, "\n") != 1 {
		t.Fatalf("exit code %d, stderr %q, stdout %q", code, stderr, stdout)
	}
	page, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if !strings.HasPrefix(string(page), "<!DOCTYPE html>") || !strings.HasSuffix(string(page), "</html>\n") {
		t.Errorf("this is no whole page: %.100q", page)
	}
	if left, err := os.ReadDir(filepath.Dir(file)); err != nil || len(left) != 1 {
		t.Errorf("%v %v beside the sheet", err, left)
	}
	if info, err := os.Stat(file); err != nil || info.Mode().Perm() != 0o644 {
		t.Errorf("%v %v", err, info.Mode())
	}
}

func TestSheetThatCannotBeWrittenIsAMistakeOfTheCaller(t *testing.T) {
	file := filepath.Join(t.TempDir(), "nowhere", "sheet.html")
	stdout, stderr, code := runProgram(t, "", "resolve", "--sheet", file, "../testdata/requests/first.json")
	if want := file + ": cannot be written: no such file or directory; name a file in a directory of yours\n"; code != exitWrongInput || stdout != "" || stderr != want {
		t.Errorf("exit code %d, stdout %q, stderr %q", code, stdout, stderr)
	}
	if _, stderr, code := runProgram(t, "", "resolve", "--json", "--sheet", file, "../testdata/requests/first.json"); code != exitWrongInput || !strings.Contains(stderr, "--json and --sheet can't be used together") {
		t.Errorf("exit code %d, stderr %q", code, stderr)
	}
}

func TestFailedWriteLeavesTheFileAsItWas(t *testing.T) {
	file := filepath.Join(t.TempDir(), "sheet.html")
	if err := os.WriteFile(file, []byte("before"), 0o600); err != nil {
		t.Fatal(err)
	}
	broken := errors.New("broken")
	err := writeFile(file, func(w io.Writer) error {
		if _, err := io.WriteString(w, "half"); err != nil {
			return err
		}
		return broken
	})
	kept, _ := os.ReadFile(file)
	left, _ := os.ReadDir(filepath.Dir(file))
	if !errors.Is(err, broken) || string(kept) != "before" || len(left) != 1 {
		t.Errorf("error %v, content %q, files %v", err, kept, left)
	}
}
