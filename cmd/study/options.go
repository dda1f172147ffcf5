package main

import (
	"context"
	"fmt"
	"hash/fnv"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"runtime"
	"strings"
	"sync"

	"trueturn/cmd/study/sheet"
	"trueturn/drift/cores"
)

// options are what every part is told.
type options struct {
	Trials  int // asked for a cell; 0 = the part's own number
	Quick   bool
	Seed    uint64
	Workers int

	part   string
	status io.Writer // a terminal, or nil
}

// trials is how many trials to make: those asked for, else full, or quick with --quick.
func (o options) trials(full, quick int) int {
	switch {
	case o.Trials > 0:
		return o.Trials
	case o.Quick:
		return quick
	}
	return full
}

// rng is the source of chance for one piece of work, named by words and numbers: it does not depend on which worker does
// what when.
func (o options) rng(name ...any) *rand.Rand {
	h := fnv.New64a()
	fmt.Fprint(h, o.part, name)
	return rand.New(rand.NewPCG(o.Seed, h.Sum64()))
}

// each does n pieces of work on all workers and counts them on the terminal. It returns the first error by number, or the
// context's. Write results to slot i of a slice: sums then do not depend on the order.
func (o options) each(ctx context.Context, what string, n int, work func(i int) error) error {
	errs := make([]error, n)
	var mu sync.Mutex
	done := 0
	cores.InTurn(n, o.Workers, func(i int) {
		if errs[i] = ctx.Err(); errs[i] != nil {
			return
		}
		errs[i] = work(i)
		mu.Lock()
		defer mu.Unlock()
		done++
		if o.status != nil {
			fmt.Fprintf(o.status, "\r\x1b[K%s: %s %d of %d ", o.part, what, done, n)
		}
	})
	if err := ctx.Err(); err != nil {
		return err
	}
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

func (o options) clear() {
	if o.status != nil {
		fmt.Fprint(o.status, "\r\x1b[K")
	}
}

// head says what was run and on what: not when.
func head(b *sheet.Book, o options) {
	b.Head("Commit %s, %s on %s/%s, %s, %d of %d cores, seed %d.", commit(), runtime.Version(), runtime.GOOS, runtime.GOARCH,
		processor(), o.Workers, runtime.NumCPU(), o.Seed)
	switch {
	case o.Trials > 0:
		b.Head("Run with --trials %d.", o.Trials)
	case o.Quick:
		b.Head("Run with --quick: few trials, wide errors. It shows that the study runs, and no more.")
	}
	b.Head("± is one standard error from the finite number of trials. A target is passed or missed when the figure is two of them off it, open when nearer.")
}

// commit is what stands in the checkout; a changed tree is marked.
func commit() string {
	out, err := exec.Command("git", "describe", "--always", "--dirty", "--abbrev=12").Output()
	if err != nil {
		return "not known"
	}
	return strings.TrimSpace(string(out))
}

// processor is what the system calls it, where it says so in the Linux way.
func processor() string {
	text, _ := os.ReadFile("/proc/cpuinfo")
	for line := range strings.Lines(string(text)) {
		if name, model, ok := strings.Cut(line, ":"); ok && strings.TrimSpace(name) == "model name" {
			return strings.TrimSpace(model)
		}
	}
	return "processor not known"
}
