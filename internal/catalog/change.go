package catalog

import (
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"
)

// ErrUnavailable says that the database cannot be asked now. What is in memory is
// still served; a write may be tried again after a while.
var ErrUnavailable = errors.New("the database does not answer")

// ErrPreconditionFailed says that a thing is not as the writer believes.
var ErrPreconditionFailed = errors.New("it has changed since you read it, or is not there; read it again, repeat your change on what you get, and write with its ETag")

// ErrKeyReused says that an idempotency key came back with another question.
var ErrKeyReused = errors.New("the idempotency key was used for another request; take a new key for a new request")

// ETag identifies a state of a thing: equal for equal JSON, whoever computes it.
// It comes without the quotes of RFC 9110.
func ETag(thing any) string {
	text, err := json.Marshal(thing)
	if err != nil { // nouns of the catalogue always marshal
		panic(err)
	}
	sum := sha256.Sum256(text)
	return base64.RawURLEncoding.EncodeToString(sum[:12])
}

// Precondition is what must hold for a write: IfMatch lists the ETags (without
// quotes) of which the thing must have one, "*" for any state; IfNoneMatch demands
// that it is not there yet (If-None-Match: *). The zero value demands nothing. What
// follows a dot in an ETag is not compared: an answer that shows more than the thing,
// such as its stock, adds the state of that there.
type Precondition struct {
	IfMatch     []string
	IfNoneMatch bool
}

// Holds reports whether a thing of that ETag, "" when there is none, meets the precondition.
func (p Precondition) Holds(etag string) bool {
	if p.IfNoneMatch && etag != "" {
		return false
	}
	if len(p.IfMatch) == 0 {
		return true
	}
	for _, want := range p.IfMatch {
		want, _, _ = strings.Cut(want, ".")
		if etag != "" && (want == "*" || want == etag) {
			return true
		}
	}
	return false
}

// Written is the answer to a write. Revision is the catalogue's that shows it.
type Written struct {
	Revision int64
	ETag     string // of the new state, "" after a deletion
	Created  bool
}

// Reference is a thing that names another.
type Reference struct {
	Kind string `json:"kind"` // rule, bundle, carburetor, part
	ID   string `json:"id"`
}

// ReferencedError refuses to delete what others name.
type ReferencedError struct {
	What string
	ID   string
	By   []Reference
}

func (e *ReferencedError) Error() string {
	names := make([]string, len(e.By))
	for i, r := range e.By {
		names[i] = r.Kind + " " + r.ID
	}
	return fmt.Sprintf("%s %q is still named by %s; change or delete those first", e.What, e.ID, strings.Join(names, ", "))
}

// What an import can hold, and what becomes of the good rows of a file with bad ones.
const (
	ImportStock  = "stock"
	ImportPrices = "prices"
	ImportParts  = "parts"

	ImportAtomic    = "atomic"     // none is applied
	ImportValidRows = "valid_rows" // they are applied
)

// ImportRequest asks for a bulk change. Actor is who asks; an IdempotencyKey, when
// given, makes a repeat by the same actor return the first answer, unless that was rejected;
// a dry run does not use it up.
type ImportRequest struct {
	Actor          string
	Kind           string
	Mode           string
	DryRun         bool
	IdempotencyKey string
}

// MostImportProblems is how many things wrong in a file are told: the first by line. A file
// with more was made wrong as a whole.
const MostImportProblems = 1000

// Import is the outcome of a bulk change. State is applied, rejected (atomic, and
// some row is bad) or checked (dry run). Revision is the catalogue's after it.
type Import struct {
	ID       string    `json:"id"`
	At       time.Time `json:"at"`
	Kind     string    `json:"kind"`
	Mode     string    `json:"mode"`
	DryRun   bool      `json:"dry_run"`
	State    string    `json:"state"`
	Read     int64     `json:"rows_read"`
	Bad      int64     `json:"rows_bad"`       // rows with at least one problem
	Changed  int64     `json:"rows_changed"`   // rows that differ from what was there
	Found    int64     `json:"problems_found"` // in all; MostImportProblems of them are told
	Revision int64     `json:"catalogue_revision"`
	Repeated bool      `json:"-"` // the first answer to a repeated request
}

// ImportProblem is one thing wrong in a row of an import. Line counts from 1; Column
// is "" when the row as a whole is meant; Detail says what is accepted and how to mend it.
type ImportProblem struct {
	Line   int    `json:"line"`
	Column string `json:"column"`
	Value  string `json:"value"`
	Detail string `json:"detail"`
}
