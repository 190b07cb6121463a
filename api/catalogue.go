package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"

	"onetrip/db"
	"onetrip/internal/catalog"
	"onetrip/internal/kit"
	"onetrip/internal/rules"
	"onetrip/internal/store"
)

// catalogueFlag is shared by the commands that read a catalogue.
type catalogueFlag struct {
	Catalogue string `placeholder:"DIR" help:"Directory of catalogue files, laid out as db/seed; the demo catalogue of the program when left out."`
}

// name says in messages and in /readyz where the catalogue comes from.
func (f catalogueFlag) name() string {
	if f.Catalogue == "" {
		return "demo catalogue"
	}
	return f.Catalogue
}

// open reads, checks and indexes the catalogue.
func (f catalogueFlag) open() (*kit.Snapshot, error) {
	_, snapshot, err := f.read()
	return snapshot, err
}

// read is open for who wants the catalogue as it was read too.
func (f catalogueFlag) read() (*catalog.Data, *kit.Snapshot, error) {
	source := db.Seed()
	if f.Catalogue != "" {
		info, err := os.Stat(f.Catalogue)
		if err != nil {
			return nil, nil, &inputError{fmt.Errorf("catalogue: %w", err)}
		}
		if !info.IsDir() {
			return nil, nil, &inputError{fmt.Errorf("catalogue: %s is a file; name the directory that holds catalogue.yaml", f.Catalogue)}
		}
		source = os.DirFS(f.Catalogue)
	}
	data, snapshot, err := readCatalogue(source)
	if err != nil {
		err = fmt.Errorf("%s cannot be used:\n%w", f.name(), err)
		if isCatalogueMistake(err) && f.Catalogue != "" {
			return nil, nil, &inputError{err}
		}
		return nil, nil, err
	}
	return data, snapshot, nil
}

func readCatalogue(source fs.FS) (*catalog.Data, *kit.Snapshot, error) {
	data, err := store.ReadCatalogue(source)
	if err != nil {
		return nil, nil, err
	}
	snapshot, err := kit.Open(data)
	return data, snapshot, err
}

// isCatalogueMistake tells files that say something wrong from a disk that fails.
func isCatalogueMistake(err error) bool {
	var (
		files   store.FileErrors
		rule    rules.Errors
		invalid *catalog.InvalidError
	)
	return errors.As(err, &files) || errors.As(err, &rule) || errors.As(err, &invalid)
}
