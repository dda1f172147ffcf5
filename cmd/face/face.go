package face

import (
	"errors"
	"io"
	"os"
	"strings"
	"syscall"

	"golang.org/x/term"

	"trueturn/ephem"
)

// face is what all commands share: where they write, and the global flags.
type face struct {
	out, err           io.Writer
	outScreen, errSeen bool // a terminal is at the other end
	errColumns         int  // of that terminal; 80 where it does not say
	width              int  // of a line
	open               opener
	drawn              bool // the drawings are shown beside: none is made of letters

	site    *ephem.Site // nil when --site was not given
	json    bool
	noColor bool
	gear    equipment

	begun bool    // the command line made sense
	kept  *keeper // remembers whether what was printed arrived
}

// opener opens a file by name.
type opener func(name string) (io.ReadCloser, error)

// keeper passes on what is printed and keeps the first failure: an answer that did not arrive
// is none. When nobody reads any more it says so.
type keeper struct {
	w    io.Writer
	err  error
	gone func() // nil: nobody wants to know
}

func (k *keeper) Write(p []byte) (int, error) {
	if k.err != nil {
		return 0, k.err
	}
	n, err := k.w.Write(p)
	k.err = err
	if k.unread() && k.gone != nil {
		k.gone()
	}
	return n, err
}

// failed is whether err is that what was printed did not arrive.
func (k *keeper) failed(err error) bool { return k != nil && k.err != nil && errors.Is(err, k.err) }

// unread is whether the reader went away, as head does, and so has what he wanted.
func (k *keeper) unread() bool { return k != nil && errors.Is(k.err, syscall.EPIPE) }

func newFace(stdout, stderr *os.File) *face {
	kept := &keeper{w: stdout}
	return &face{
		out: kept, err: stderr, kept: kept,
		outScreen: term.IsTerminal(int(stdout.Fd())),
		errSeen:   term.IsTerminal(int(stderr.Fd())),

		errColumns: columns(stderr),
		width:      lineWidth,
		open:       func(name string) (io.ReadCloser, error) { return os.Open(name) },
	}
}

// columns is how wide a terminal is; 80 where it does not say.
func columns(t *os.File) int {
	if wide, _, err := term.GetSize(int(t.Fd())); err == nil && wide > 0 {
		return wide
	}
	return 80
}

// dress colours what goes to a terminal, unless the user said no: by --no-color,
// or by the NO_COLOR that programs agree upon.
func (f *face) dress() {
	if f.noColor || os.Getenv("NO_COLOR") != "" || os.Getenv("TERM") == "dumb" {
		return
	}
	if f.outScreen && !f.json {
		f.out = &nightWriter{w: f.out}
	}
	if f.errSeen {
		f.err = &nightWriter{w: f.err}
	}
}

// nightWriter writes red on black, for eyes that are used to the dark: every
// line is painted to its end, whatever colours the terminal is set to.
type nightWriter struct {
	w      io.Writer
	inside bool // a line has begun
}

const (
	paintLine = "\x1b[31;40m"
	paintBold = "\x1b[1m"
	paintThin = "\x1b[22m"
	paintRest = "\x1b[K\x1b[0m"
)

func (n *nightWriter) Write(p []byte) (int, error) {
	var b strings.Builder
	for rest := string(p); rest != ""; {
		line, after, ended := strings.Cut(rest, "\n")
		if !n.inside {
			b.WriteString(paintLine)
		}
		b.WriteString(line)
		n.inside = !ended
		if ended {
			b.WriteString(paintRest + "\n")
		}
		rest = after
	}
	if _, err := io.WriteString(n.w, b.String()); err != nil {
		return 0, err
	}
	return len(p), nil
}

// rest leaves a line that was begun and wiped again.
func (n *nightWriter) rest() error {
	n.inside = false
	_, err := io.WriteString(n.w, paintRest)
	return err
}

// bold marks the words that matter most, where that can be seen.
func (f *face) bold(s string) string {
	if _, ok := f.out.(*nightWriter); ok {
		return paintBold + s + paintThin
	}
	return s
}
