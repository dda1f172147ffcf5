package star

import "trueturn/drift/cores"

// inRows shares n rows among workers; each gets one run of rows.
func inRows(n, workers int, work func(worker, lo, hi int)) {
	if workers <= 1 || n < 2*workers {
		work(0, 0, n)
		return
	}
	cores.Together(workers, func(k int) { work(k, k*n/workers, (k+1)*n/workers) })
}

// inTurn gives 0 … n−1 to whichever worker is free; for a few parts it is not worth more than one.
func inTurn(n, workers int, work func(i int)) {
	if n < 2*workers {
		workers = 1
	}
	cores.InTurn(n, workers, work)
}
