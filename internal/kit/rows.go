package kit

import (
	"cmp"
	"context"
	"runtime"
	"sync"
)

// eachRow works out something for each class of vehicles, on so many cores (0: all that
// Go may use), and hands the rows to yield in the order of the classes, one at a time and
// from the goroutine that called it; only some rows are held at once. It ends early with
// the error of ctx, of yield, or of the first row that cannot be worked out.
func eachRow[T any](ctx context.Context, classes []*Class, workers int, work func(context.Context, *Class) (T, error), yield func(*Class, T) error) error {
	type row struct {
		class *Class
		out   T
		err   error
		done  chan struct{}
	}
	if workers <= 0 {
		workers = runtime.GOMAXPROCS(0)
	}
	ctx, cancel := context.WithCancel(ctx)
	var running sync.WaitGroup
	defer running.Wait()
	defer cancel()
	// Rows wait twice: for a worker, and in their order to be yielded. The second queue
	// bounds how far workers run ahead.
	todo, ordered := make(chan *row), make(chan *row, 2*workers)
	running.Go(func() {
		defer close(todo)
		defer close(ordered)
		for _, class := range classes {
			r := &row{class: class, done: make(chan struct{})}
			for _, queue := range []chan *row{ordered, todo} {
				select {
				case queue <- r:
				case <-ctx.Done():
					return
				}
			}
		}
	})
	for range workers {
		running.Go(func() {
			for r := range todo {
				r.out, r.err = work(ctx, r.class)
				close(r.done)
			}
		})
	}
	for r := range ordered {
		select {
		case <-r.done:
		case <-ctx.Done():
			return ctx.Err()
		}
		if err := cmp.Or(ctx.Err(), r.err); err != nil {
			return err
		}
		if err := yield(r.class, r.out); err != nil {
			return err
		}
	}
	return ctx.Err()
}
