package star

import (
	"sync"
	"sync/atomic"
)

// inRows shares n rows among workers; each gets one run of rows.
func inRows(n, workers int, work func(worker, lo, hi int)) {
	if workers <= 1 || n < 2*workers {
		work(0, 0, n)
		return
	}
	together(workers, func(k int) { work(k, k*n/workers, (k+1)*n/workers) })
}

// inTurn gives 0 … n−1 to whichever worker is free.
func inTurn(n, workers int, work func(i int)) {
	if workers <= 1 || n < 2*workers {
		for i := range n {
			work(i)
		}
		return
	}
	var next atomic.Int64
	together(workers, func(int) {
		for i := int(next.Add(1)) - 1; i < n; i = int(next.Add(1)) - 1 {
			work(i)
		}
	})
}

// together runs the workers. A panic of one comes out here, where the caller can catch it; in a goroutine nobody could.
func together(workers int, work func(worker int)) {
	var wg sync.WaitGroup
	var fault atomic.Pointer[any]
	for k := range workers {
		wg.Go(func() {
			defer func() {
				if r := recover(); r != nil {
					fault.CompareAndSwap(nil, &r)
				}
			}()
			work(k)
		})
	}
	wg.Wait()
	if r := fault.Load(); r != nil {
		panic(*r)
	}
}
