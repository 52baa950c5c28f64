package main

import "context"

// abandoned runs do, which knows nothing of ctx: when ctx ends, do is left behind to finish alone, and ctx's error is returned
// at once. What do returns must be all that it gives; what it writes, others must be ready to throw away.
func abandoned[T any](ctx context.Context, do func() (T, error)) (T, error) {
	type result struct {
		value T
		err   error
	}
	done := make(chan result, 1)
	go func() {
		v, err := do()
		done <- result{v, err}
	}()
	select {
	case r := <-done:
		return r.value, r.err
	case <-ctx.Done():
		var none T
		return none, context.Cause(ctx)
	}
}
