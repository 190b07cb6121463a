// Package deadline lets tests of searches end them at a chosen place, whatever the machine.
package deadline

import "context"

type after struct {
	context.Context
	looks int
}

// After is a context whose deadline passes when Err has been asked so many times. It is for
// one goroutine.
func After(ctx context.Context, looks int) context.Context { return &after{ctx, looks} }

func (c *after) Err() error {
	if c.looks--; c.looks < 0 {
		return context.DeadlineExceeded
	}
	return nil
}
