// migrations of the database schema.
package db

import (
	"embed"
	"io/fs"
)

//go:embed seed migrations/*.sql
var files embed.FS

// Seed is the demo catalogue as a directory of CSV and YAML files.
func Seed() fs.FS { return directory("seed") }

// Migrations are the steps of the schema, NNNNN_name.sql, for pressly/goose.
func Migrations() fs.FS { return directory("migrations") }

func directory(name string) fs.FS {
	dir, err := fs.Sub(files, name)
	if err != nil {
		panic(err) // the directory is part of the program
	}
	return dir
}
