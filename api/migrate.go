package main

import (
	"context"
	"fmt"

	"onetrip/internal/store"
)

// migrateCommand applies what the schema lacks. To run it again does nothing.
type migrateCommand struct{}

// Run migrates and says where the schema stands.
func (c *migrateCommand) Run(ctx context.Context, s streams) error {
	url, err := databaseURL()
	if err != nil {
		return err
	}
	if err := store.Migrate(ctx, url); err != nil {
		return err
	}
	applied, _, err := store.SchemaVersion(ctx, url)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(s.out, "the schema is at version %d, the newest\n", applied)
	return err
}
