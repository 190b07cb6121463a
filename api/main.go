// Command api answers what a carburetor swap needs, at the terminal and over HTTP.
// This package only wires: it reads arguments and files, and calls internal packages.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"runtime/debug"

	"github.com/alecthomas/kong"
)

// Exit codes.
const (
	exitOK         = 0
	exitFailed     = 1
	exitWrongInput = 2
)

// commandLine is every subcommand; each is a file of its own.
type commandLine struct {
	Resolve resolveCommand `cmd:"" help:"Answer one request: what the swap needs, whether it joins, what to pick."`
	Serve   serveCommand   `cmd:"" help:"Answer over HTTP; the contract is openapi.yaml, served at /openapi.yaml."`
	Migrate migrateCommand `cmd:"" help:"Bring the schema of the database in DATABASE_URL up to date."`
	Import  importCommand  `cmd:"" help:"Load a catalogue into the empty database in DATABASE_URL, or change stock, prices or parts of it from CSV."`
	Rules   rulesCommand   `cmd:"" help:"Check the rules that say what a swap needs, and see why they fire."`
	Keys    keysCommand    `cmd:"" help:"Make, list, rotate and revoke access keys."`
	Bench   benchCommand   `cmd:"" help:"Measure: a made-up catalogue of a retailer's size beside the demo catalogue."`

	Version kong.VersionFlag `help:"Print the version and end."`
}

const description = `What a carburetor swap needs: sizing, parts, proof that they join, and cautions.

A first example, from the root of the repository:

    go run ./api resolve testdata/requests/first.json`

// streams are the process's, or a test's.
type streams struct {
	in       io.Reader
	out, err io.Writer
}

func main() {
	os.Exit(run(context.Background(), os.Args[1:], streams{os.Stdin, os.Stdout, os.Stderr}))
}

// run is the whole program but for the process around it; it returns the exit code.
func run(ctx context.Context, args []string, s streams) int {
	helped := false
	parser, err := kong.New(&commandLine{},
		kong.Description(description), kong.Vars{"version": version()}, kong.Writers(s.out, s.err), kong.ConfigureHelp(kong.HelpOptions{WrapUpperBound: reportWidth}),
		kong.Exit(func(int) { helped = true }), kong.BindTo(ctx, (*context.Context)(nil)), kong.Bind(s))
	if err != nil {
		return fail(s.err, err, exitFailed)
	}
	if len(args) == 0 {
		args = []string{"--help"}
	}
	command, err := parser.Parse(args)
	switch {
	case helped:
		return exitOK
	case err != nil:
		return fail(s.err, fmt.Errorf("%w; run it with --help to see what is accepted", err), exitWrongInput)
	}
	if err := command.Run(); err != nil {
		var wrong *inputError
		if errors.As(err, &wrong) {
			return fail(s.err, err, exitWrongInput)
		}
		return fail(s.err, err, exitFailed)
	}
	return exitOK
}

// version is what the Go tool knows of the build: the tag, or time and commit, and its own.
func version() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "onetrip of an unknown version"
	}
	return "onetrip " + info.Main.Version + ", " + info.GoVersion
}

func fail(w io.Writer, err error, code int) int {
	_, _ = fmt.Fprintln(w, err) // nothing can be done about a closed stderr
	return code
}

// inputError is a mistake in what the caller gave; the program ends with exit code 2.
type inputError struct{ cause error }

func (e *inputError) Error() string { return e.cause.Error() }
func (e *inputError) Unwrap() error { return e.cause }
