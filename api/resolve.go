package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"golang.org/x/term"

	"onetrip/internal/catalog"
	"onetrip/internal/httpapi"
	"onetrip/internal/kit"
)

// resolveCommand answers one request from a file.
type resolveCommand struct {
	catalogueFlag
	File string `arg:"" placeholder:"FILE.json" help:"Request as POST /v1/kits/resolve takes it; - reads standard input."`
	JSON bool   `name:"json" help:"Print the contract's JSON instead of a report."`
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
	if c.JSON {
		e := json.NewEncoder(s.out)
		e.SetEscapeHTML(false)
		e.SetIndent("", "  ")
		return e.Encode(answer)
	}
	return writeReport(s.out, answer, wantsColour(s.out))
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
