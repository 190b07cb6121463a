// Package httpapi serves the contract in openapi.yaml over HTTP with echo. Requests
// are checked against the contract itself; every refusal is a problem document
// (RFC 9457) made in problem.go. One file per resource holds its handlers.
package httpapi

import (
	"cmp"
	_ "embed"
	"fmt"
	"maps"
	"slices"
	"strings"
	"sync"

	"github.com/getkin/kin-openapi/openapi3"

	"onetrip/internal/units"
)

//go:generate cp ../../openapi.yaml openapi.gen.yaml
//go:generate go tool oapi-codegen -config oapi-codegen.yaml openapi.gen.yaml

// contractYAML is a copy of the root's openapi.yaml: go:embed reads no parent
// directories.
//
//go:embed openapi.gen.yaml
var contractYAML []byte

// contract parses the embedded contract once. It panics when the contract is
// broken, which no input can cause and the package's tests would show.
var contract = sync.OnceValue(func() *openapi3.T {
	for name, check := range formats {
		openapi3.DefineStringFormatValidator(name, openapi3.NewCallbackValidator(check))
	}
	doc, err := openapi3.NewLoader().LoadFromData(contractYAML)
	if err != nil {
		panic(fmt.Sprintf("the embedded openapi.yaml does not load: %v", err))
	}
	return doc
})

// formats of texts that the contract names.
var formats = map[string]func(string) error{
	"inch-size":   aSize,
	"inch-thread": aThread,
	"end-size": func(text string) error {
		if aThread(text) == nil {
			return nil
		}
		return aSize(text)
	},
}

func aSize(text string) error   { _, err := units.ParseSize(text); return err }
func aThread(text string) error { _, err := units.ParseThread(text); return err }

// schemaNamed is a schema of the contract.
func schemaNamed(name string) *openapi3.Schema { return contract().Components.Schemas[name].Value }

// operations of the contract by operationId, with the pattern of their path.
func operations() map[string]operation {
	all := map[string]operation{}
	for path, item := range contract().Paths.Map() {
		for method, op := range item.Operations() {
			all[op.OperationID] = operation{method: method, path: path, Operation: op}
		}
	}
	return all
}

type operation struct {
	method, path string
	*openapi3.Operation
}

// mediaTypes are those an operation can answer with when all goes well, the one it
// prefers first.
func (op operation) mediaTypes() []string {
	for _, status := range []string{"200", "201", "202"} {
		if response := op.Responses.Value(status); response != nil {
			return slices.SortedFunc(maps.Keys(response.Value.Content), func(a, b string) int { // JSON before pages, files of rows last
				return cmp.Or(cmp.Compare(strings.Count(a, mimeCSV), strings.Count(b, mimeCSV)), strings.Compare(a, b))
			})
		}
	}
	return nil
}

// scopes are what a key must be allowed, one of them; none where no key is asked for.
func (op operation) scopes() []string {
	switch scope := op.Extensions["x-scope"].(type) {
	case string:
		return []string{scope}
	case []any:
		list := make([]string, len(scope))
		for i := range scope {
			list[i] = fmt.Sprint(scope[i])
		}
		return list
	}
	return nil
}
