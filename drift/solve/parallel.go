package solve

import (
	"runtime"

	"trueturn/drift/cores"
)

// inParallel does work 0 … n−1 with all cores.
func inParallel(n int, work func(i int)) {
	cores.InTurn(n, min(n, runtime.GOMAXPROCS(0)), work)
}
