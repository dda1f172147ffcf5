package face

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"golang.org/x/term"

	"trueturn/cmd/kit"
	"trueturn/cmd/trueturn/files"
)

// kitFile is where the kit is, through links, and what it holds; nil where there is none yet. The folder is made where it is
// missing, but for one that was named by hand: whoever answers questions first must not learn of it last.
func (f *face) kitFile() (path string, old []byte, err error) {
	if path, err = f.gear.file(); err != nil {
		return "", nil, err
	}
	if real, err := filepath.EvalSymlinks(path); err == nil {
		path = real
	}
	old, err = os.ReadFile(path)
	switch {
	case err == nil:
		return path, old, nil
	case !errors.Is(err, fs.ErrNotExist):
		return "", nil, cannotOpen(path, err)
	case f.gear.path != "":
		return path, nil, writable(path)
	}
	if err := files.MakeFolder(filepath.Dir(path), 0o755); err != nil {
		return "", nil, cannotWrite(path, err)
	}
	return path, nil, nil
}

// keepKit writes the kit in place of what was read of it, which is kept beside it.
func (f *face) keepKit(path string, old []byte, write func(io.Writer) error) error {
	now, err := os.ReadFile(path)
	if there := err == nil; there != (old != nil) || there && !bytes.Equal(now, old) {
		return failed("the kit "+quote(path)+" was changed meanwhile", "look at it, and start again", nil)
	}
	if old != nil {
		backup, err := backUp(path, old)
		if err != nil {
			return err
		}
		f.note("the kit as it was is kept in " + backup)
	}
	return writeFile(path, write)
}

// mostBackups is where counting ends.
const mostBackups = 10000

// backUp keeps a text beside a file, as NAME.bak, or as NAME.bak2 and so on where that is taken by another text.
func backUp(path string, text []byte) (string, error) {
	for i := 1; i < mostBackups; i++ {
		name := path + ".bak"
		if i > 1 {
			name += fmt.Sprint(i)
		}
		kept, err := os.ReadFile(name)
		switch {
		case err == nil && bytes.Equal(kept, text):
			return name, nil
		case errors.Is(err, fs.ErrNotExist):
			return name, writeFile(name, func(w io.Writer) error { _, err := w.Write(text); return err })
		}
	}
	return "", failed("there are too many backups of "+quote(path), "clear some away", nil)
}

// tellLost prints answers that could not be kept, so that they need not be given again.
func (f *face) tellLost(k kit.Kit) {
	if k.Empty() {
		return
	}
	f.note("what you answered, for a kit file:")
	if err := k.Write(f.err); err != nil {
		f.note(err.Error())
	}
}

// sayKept says what was done, and what the kit holds.
func (f *face) sayKept(path, done string, k kit.Kit) error {
	if f.json {
		return writeJSON(f.out, map[string]any{"file": path, "kit": k})
	}
	fmt.Fprintf(f.out, "%s: %s, %s, %s, %s\n", done, counted(len(k.Sites), "site"), counted(len(k.Cameras), "camera"),
		counted(len(k.Lenses), "lens"), counted(len(k.Mounts), "mount"))
	return nil
}

// ask puts questions on a terminal; elsewhere there is nobody to ask, and a way out is told.
func (f *face) ask(ctx context.Context, way string, questions func(*asker) (kit.Kit, error)) (kit.Kit, error) {
	if !term.IsTerminal(int(os.Stdin.Fd())) {
		return kit.Kit{}, usage("there is nothing to write, and nobody to ask", way+", or start it on a terminal", nil)
	}
	return askInterruptibly(ctx, os.Stdin, f.err, questions)
}

// askInterruptibly asks, and stops asking when the user does.
func askInterruptibly(ctx context.Context, in io.Reader, out io.Writer, questions func(*asker) (kit.Kit, error)) (kit.Kit, error) {
	type answered struct {
		kit kit.Kit
		err error
	}
	done := make(chan answered, 1)
	go func() {
		k, err := questions(&asker{in: bufio.NewReader(in), out: out})
		done <- answered{k, err}
	}()
	select {
	case <-ctx.Done():
		fmt.Fprintln(out)
		return kit.Kit{}, ctx.Err()
	case a := <-done:
		return a.kit, a.err
	}
}
