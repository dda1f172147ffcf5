//go:build !js

package face

import (
	"context"
	"os"
	"os/signal"
	"syscall"
)

// Run is the whole program but for the process around it. The first interrupt, or
// a terminal that is closed, ends the context; the second interrupt kills, because by
// then nobody listens. A reader of the output who goes away (as head does) ends it too.
func Run(args []string, stdout, stderr *os.File) int {
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
