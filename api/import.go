package main

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"io"
	"os"

	"onetrip/internal/catalog"
	"onetrip/internal/store"
)

// importCommand loads a whole catalogue, or changes much of one, as POST /v1/imports does.
type importCommand struct {
	Directory string `arg:"" optional:"" placeholder:"DIR" help:"Directory of catalogue files, laid out as db/seed, for an empty database."`
	IfEmpty   bool   `help:"With DIR: end well, changing nothing, where the database holds a catalogue already."`

	Stock          string `xor:"file" placeholder:"FILE.csv" help:"Change stock: columns sku, location, on_hand. - reads standard input; gzip is recognised."`
	Prices         string `xor:"file" placeholder:"FILE.csv" help:"Change prices: columns sku, price_minor."`
	Parts          string `xor:"file" placeholder:"FILE.csv" help:"Add and change parts: columns as GET /v1/parts gives them as CSV."`
	Mode           string `enum:"atomic,valid_rows" default:"atomic" help:"With wrong rows in the file, atomic changes nothing, valid_rows applies the others (${default})."`
	DryRun         bool   `help:"Check the file and count what would change, and change nothing."`
	IdempotencyKey string `placeholder:"TEXT" help:"Names this import: done once, a repeat with the same file does nothing."`
}

// Run imports from a file where one is named, else a directory.
func (c *importCommand) Run(ctx context.Context, s streams) error {
	for _, file := range []struct{ kind, name string }{
		{catalog.ImportStock, c.Stock}, {catalog.ImportPrices, c.Prices}, {catalog.ImportParts, c.Parts},
	} {
		switch {
		case file.name != "" && c.Directory != "":
			return &inputError{errors.New("import takes a directory or a file, not both; run it twice")}
		case file.name != "":
			return c.file(ctx, s, file.kind, file.name)
		}
	}
	if c.Directory == "" {
		return &inputError{errors.New("import needs a directory, such as db/seed, or a file: --stock FILE, --prices FILE, --parts FILE")}
	}
	return c.catalogue(ctx, s)
}

// catalogue loads a whole catalogue, all of it or nothing.
func (c *importCommand) catalogue(ctx context.Context, s streams) error {
	data, snapshot, err := catalogueFlag{c.Directory}.read()
	if err != nil {
		return err
	}
	pool, err := openDatabase(ctx)
	if err != nil {
		return err
	}
	defer pool.Close()
	err = store.ImportCatalogue(ctx, pool, data)
	if c.IfEmpty && errors.Is(err, store.ErrNotEmpty) {
		_, err = fmt.Fprintln(s.out, "the database holds a catalogue already; nothing was changed")
		return err
	}
	if err != nil {
		return err
	}
	cat := snapshot.Catalog
	_, err = fmt.Fprintf(s.out, "loaded %d vehicles, %d carburetors, %d parts and %d bundles, at %d locations\n",
		len(cat.Vehicles()), len(cat.Carburetors()), len(cat.Parts()), len(cat.Bundles()), len(cat.Locations))
	return err
}

// file imports one CSV file. What is wrong in it goes to standard error, a line for each of
// the first thousand things.
func (c *importCommand) file(ctx context.Context, s streams, kind, name string) error {
	source, size, err := openFile(name, s.in)
	if err != nil {
		return err
	}
	defer func() { _ = source.Close() }() // opened for reading only
	bar := newProgress(s.err, source, size)
	rows, err := unpacked(bar)
	if err != nil {
		return &inputError{fmt.Errorf("%s: %w", name, err)}
	}
	pool, err := openDatabase(ctx)
	if err != nil {
		return err
	}
	defer pool.Close()
	writer := &store.Writer{Pool: pool}
	done, err := writer.Import(ctx, catalog.ImportRequest{Actor: "command line", Kind: kind, Mode: c.Mode, DryRun: c.DryRun, IdempotencyKey: c.IdempotencyKey}, rows)
	bar.end()
	switch {
	case errors.Is(err, catalog.ErrKeyReused):
		return &inputError{err}
	case err != nil:
		return fmt.Errorf("%s: %w", name, err)
	}
	err = writer.ImportProblems(ctx, done.ID, func(p catalog.ImportProblem) error {
		return tellProblem(s.err, name, p)
	})
	if err != nil {
		return err
	}
	if more := done.Found - catalog.MostImportProblems; more > 0 {
		if _, err := fmt.Fprintf(s.err, "%s: %d more things are wrong and not listed; mend these first\n", name, more); err != nil {
			return err
		}
	}
	if done.State == "rejected" {
		return &inputError{fmt.Errorf("%s: %d of %d rows are wrong and nothing was changed; mend them, or take --mode valid_rows to apply the others (import %s)", name, done.Bad, done.Read, done.ID)}
	}
	_, err = fmt.Fprintln(s.out, outcome(done))
	return err
}

func tellProblem(w io.Writer, file string, p catalog.ImportProblem) error {
	text := fmt.Sprintf("%s:%d: ", file, p.Line)
	if p.Column != "" {
		text += p.Column + ": "
	}
	_, err := fmt.Fprintln(w, text+p.Detail)
	return err
}

// outcome is an import in one line.
func outcome(done catalog.Import) string {
	text := fmt.Sprintf("import %s of %s: %d rows read, %d changed", done.ID, done.Kind, done.Read, done.Changed)
	if done.Bad > 0 {
		text += fmt.Sprintf(", %d wrong and left out", done.Bad)
	}
	if done.State == "applied" {
		text += fmt.Sprintf(", catalogue revision %d", done.Revision)
	}
	if done.State == "checked" {
		text += "; a dry run, nothing was changed"
	}
	if done.Repeated {
		text += "; it was done before, nothing was done now"
	}
	return text
}

// openFile opens a file, or standard input for -; its size is 0 when it is not known.
func openFile(name string, stdin io.Reader) (io.ReadCloser, int64, error) {
	if name == "-" {
		return io.NopCloser(stdin), 0, nil
	}
	f, err := os.Open(name)
	if err != nil {
		return nil, 0, &inputError{err}
	}
	info, err := f.Stat()
	if err != nil {
		return nil, 0, err
	}
	if info.IsDir() {
		return nil, 0, &inputError{fmt.Errorf("%s is a directory; name a CSV file", name)}
	}
	return f, info.Size(), nil
}

// unpacked reads through gzip, which is known by its first bytes (RFC 1952).
func unpacked(r io.Reader) (io.Reader, error) {
	b := bufio.NewReader(r)
	start, _ := b.Peek(2) // of a file too short for that the decoder tells
	if bytes.Equal(start, []byte("\x1f\x8b")) {
		return gzip.NewReader(b)
	}
	return b, nil
}
