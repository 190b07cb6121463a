package main

import (
	"context"
	"errors"
	"fmt"

	"onetrip/internal/store"
)

// importCommand loads a whole catalogue.
type importCommand struct {
	Directory string `arg:"" placeholder:"DIR" help:"Directory of catalogue files, laid out as db/seed."`
	IfEmpty   bool   `help:"End well, changing nothing, where the database holds a catalogue already."`
}

// Run loads the catalogue, all of it or nothing.
func (c *importCommand) Run(ctx context.Context, s streams) error {
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
