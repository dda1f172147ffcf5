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

// run is the whole program but for the process around it. The first interrupt, or
// a terminal that is closed, ends the context; the second interrupt kills, because by
// then nobody listens. A reader of the output who goes away (as head does) ends it too.
func run(args []string, stdout, stderr *os.File) int {
	outliveReaders()
	read, gone := context.WithCancel(context.Background())
	defer gone()
	held, deaf := untilHangUp(read)
	defer deaf()
	ctx, stop := signal.NotifyContext(held, os.Interrupt, syscall.SIGTERM)
	defer stop()
	context.AfterFunc(ctx, stop)
	f := newFace(stdout, stderr)
	f.kept.gone = gone
	return f.conclude(f.execute(ctx, args))
}

// outliveReaders keeps a write from killing the process before temporary files are
// removed: listening turns the signal into an error of that write. The signal itself
// is of no use, as it does not tell standard output from a browser's connection.
func outliveReaders() { signal.Notify(make(chan os.Signal, 1), syscall.SIGPIPE) }

// untilHangUp is a context that ends when the terminal is closed, unless whoever
// started the program had that signal ignored, as nohup does. It stays caught to the
// end, for the shell and the system may each send one.
func untilHangUp(ctx context.Context) (context.Context, context.CancelFunc) {
	if signal.Ignored(syscall.SIGHUP) {
		return context.WithCancel(ctx)
	}
	return signal.NotifyContext(ctx, syscall.SIGHUP)
}
