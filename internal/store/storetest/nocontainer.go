//go:build nocontainer

package storetest

import "errors"

// The client of the container engine is a fifth of the packages to compile, and .ci/run
// compiles them three times: plain, for the race detector and for fuzzing.
func startContainer() (*server, error) {
	return nil, errors.New("left out by the build tag nocontainer")
}
