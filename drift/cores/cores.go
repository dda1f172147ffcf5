// Package cores shares work among the machine's cores.
//
// A panic in a part of the work comes out in the caller, where it can be caught: in a goroutine of its own it would end
// the program.
package cores

import (
	"sync"
	"sync/atomic"
)

// Together runs a number of workers at once and waits for them.
func Together(workers int, work func(worker int)) {
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

// InTurn gives 0 … n−1 to whichever worker is free; a single worker is the caller itself.
func InTurn(n, workers int, work func(i int)) {
	if workers <= 1 {
		for i := range n {
			work(i)
		}
		return
	}
	var next atomic.Int64
	Together(workers, func(int) {
		for i := int(next.Add(1)) - 1; i < n; i = int(next.Add(1)) - 1 {
			work(i)
		}
	})
}
