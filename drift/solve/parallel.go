package solve

import (
	"runtime"
	"sync"
	"sync/atomic"
)

// inParallel does work 0 … n−1 with all cores. A panic in a part of the work comes out here, where the caller
// can catch it.
func inParallel(n int, work func(i int)) {
	workers := min(n, runtime.GOMAXPROCS(0))
	if workers < 2 {
		for i := range n {
			work(i)
		}
		return
	}
	var next atomic.Int64
	var fault atomic.Pointer[any]
	var done sync.WaitGroup
	for range workers {
		done.Go(func() {
			defer func() {
				if r := recover(); r != nil {
					fault.CompareAndSwap(nil, &r)
				}
			}()
			for i := int(next.Add(1)) - 1; i < n; i = int(next.Add(1)) - 1 {
				work(i)
			}
		})
	}
	done.Wait()
	if r := fault.Load(); r != nil {
		panic(*r)
	}
}
