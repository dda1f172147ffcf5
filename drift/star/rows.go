package star

import "sync"

// inRows shares n rows among workers; each gets one run of rows. Nothing in the work may panic: a panic in a goroutine
// cannot be caught by the caller.
func inRows(n, workers int, work func(worker, lo, hi int)) {
	if workers <= 1 || n < 2*workers {
		work(0, 0, n)
		return
	}
	var wg sync.WaitGroup
	for k := range workers {
		wg.Go(func() { work(k, k*n/workers, (k+1)*n/workers) })
	}
	wg.Wait()
}
