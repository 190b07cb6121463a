// Package db holds what is built into the program: the demo catalogue.
package db

import (
	"embed"
	"io/fs"
)

//go:embed seed
var files embed.FS

// Seed is the demo catalogue as a directory of CSV and YAML files.
func Seed() fs.FS {
	seed, err := fs.Sub(files, "seed")
	if err != nil {
		panic(err) // the directory is part of the program
	}
	return seed
}
