package main

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"golang.org/x/term"

	"onetrip/internal/catalog"
	"onetrip/internal/httpapi"
	"onetrip/internal/kit"
	"onetrip/internal/sheet"
)

// resolveCommand answers one request from a file.
type resolveCommand struct {
	catalogueFlag
	File  string `arg:"" placeholder:"FILE.json" help:"Request as POST /v1/kits/resolve takes it; - reads standard input."`
	JSON  bool   `name:"json" xor:"output" help:"Print the contract's JSON instead of a report."`
	Sheet string `name:"sheet" xor:"output" placeholder:"FILE.html" help:"Write the printable workshop sheet to FILE.html instead of printing a report."`
}

// Run prints the kit.
func (c *resolveCommand) Run(ctx context.Context, s streams) error {
	body, err := readRequest(c.File, s.in)
	if err != nil {
		return err
	}
	request, err := httpapi.DecodeResolve(body)
	if err != nil {
		return mistakes(c.File, err)
	}
	snapshot, err := c.open()
	if err != nil {
		return err
	}
	answer, err := kit.Resolve(ctx, snapshot, request)
	if err != nil {
		return mistakes(c.File, err)
	}
	if c.Sheet != "" {
		if err := writeFile(c.Sheet, func(w io.Writer) error { return sheet.HTML(w, answer, sheet.Options{Asked: time.Now()}) }); err != nil {
			return err
		}
		_, err := fmt.Fprintf(s.out, "%s; the sheet is in %s\n", cmp.Or(verdictTitles[answer.Verdict], string(answer.Verdict)), c.Sheet)
		return err
	}
	if c.JSON {
		e := json.NewEncoder(s.out)
		e.SetEscapeHTML(false)
		e.SetIndent("", "  ")
		return e.Encode(answer)
	}
	return writeReport(s.out, answer, wantsColour(s.out))
}

// writeFile writes a file whole or leaves what was there: under another name in the
// same directory first, then renamed.
func writeFile(name string, write func(io.Writer) error) (err error) {
	f, err := os.CreateTemp(filepath.Dir(name), "."+filepath.Base(name)+"-*")
	if err != nil {
		return &inputError{fmt.Errorf("%s: cannot be written: %w; name a file in a directory of yours", name, errors.Unwrap(err))}
	}
	defer func() {
		if err != nil {
			_ = f.Close() // closed already where renaming failed
			_ = os.Remove(f.Name())
		}
	}()
	if err := write(f); err != nil {
		return err
	}
	if err := f.Chmod(0o644); err != nil { // CreateTemp makes it for its owner alone
		return err
	}
	if err := f.Close(); err != nil {
		return err
	}
	return os.Rename(f.Name(), name)
}

// mistakes turns what is wrong with a request into an inputError with one line for
// each field, in the words of the HTTP problem. Other errors stay as they are.
func mistakes(file string, err error) error {
	var (
		problem *httpapi.Problem
		invalid *catalog.InvalidError
		unknown *catalog.NotFoundError
		lines   []string
	)
	switch {
	case errors.As(err, &problem) && problem.Errors != nil:
		for _, fault := range *problem.Errors {
			lines = append(lines, at(fault.Pointer)+fault.Detail)
		}
	case errors.As(err, &problem):
		lines = []string{problem.Detail}
	case errors.As(err, &invalid):
		for _, v := range invalid.Violations {
			lines = append(lines, at(&v.Pointer)+v.Detail)
		}
	case errors.As(err, &unknown):
		lines = []string{at(&unknown.Pointer) + unknown.Error()}
	default:
		return err
	}
	if file == "-" {
		file = "standard input"
	}
	for i := range lines {
		lines[i] = file + ": " + lines[i]
	}
	return &inputError{errors.New(strings.Join(lines, "\n"))}
}

func at(pointer *string) string {
	if pointer == nil || *pointer == "" {
		return ""
	}
	return *pointer + ": "
}

// maxRequestBytes is far above any request; it keeps a wrong file from filling memory.
const maxRequestBytes = 1 << 20

func readRequest(name string, stdin io.Reader) ([]byte, error) {
	source := stdin
	if name != "-" {
		f, err := os.Open(name)
		if err != nil {
			return nil, &inputError{err}
		}
		defer func() { _ = f.Close() }() // opened for reading only
		source = f
	}
	body, err := io.ReadAll(io.LimitReader(source, maxRequestBytes+1))
	if err != nil {
		return nil, &inputError{err}
	}
	if len(body) > maxRequestBytes {
		return nil, &inputError{fmt.Errorf("%s: is larger than %d bytes; a request is a few kilobytes of JSON", name, maxRequestBytes)}
	}
	return body, nil
}

// wantsColour is true for a terminal, unless NO_COLOR is set (no-color.org).
func wantsColour(w io.Writer) bool {
	return isTerminal(w) && os.Getenv("NO_COLOR") == ""
}

func isTerminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	return ok && term.IsTerminal(int(f.Fd()))
}
