// Command trueturn finds, from a handful of timed photographs of stars, where
// the axis of a small tracking mount points, how sure that is, and what to turn.
//
// Start reading at run. Every command has a file of its own: it parses its
// flags, calls one function of the packages below and prints what comes back.
package main

import (
	"context"
	"os"
	"os/signal"
	"runtime/debug"
	"syscall"
)

// memoryGoal is what the program tries to stay within: two 12-megapixel pictures in
// the works take 140 MB, and the collector would else let as much again of finished
// ones lie about. Larger pictures take what they need.
const memoryGoal = 230 << 20

func main() {
	debug.SetMemoryLimit(memoryGoal)
	os.Exit(run(os.Args[1:], os.Stdout, os.Stderr))
}

// run is the whole program but for the process around it. The first interrupt
// ends the context; the second kills, because by then nobody listens. A reader
// of the output who goes away (as head does) counts as an interrupt for good:
// what is printed after that must not kill before temporary files are removed.
func run(args []string, stdout, stderr *os.File) int {
	listened, deaf := signal.NotifyContext(context.Background(), syscall.SIGPIPE)
	defer deaf()
	ctx, stop := signal.NotifyContext(listened, os.Interrupt, syscall.SIGTERM)
	defer stop()
	context.AfterFunc(ctx, stop)
	f := newFace(stdout, stderr)
	return f.conclude(f.execute(ctx, args))
}
