package files

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"

	"trueturn/ephem/amiss"
)

// watched is the real system, with an account of what was asked of it; one step may fail.
type watched struct {
	real
	steps []string
	fails string
	why   error
}

func (w *watched) step(name string) error {
	w.steps = append(w.steps, name)
	if name == w.fails {
		return w.why
	}
	return nil
}

func (w *watched) create(dir, pattern string) (file, error) {
	if err := w.step("create"); err != nil {
		return nil, err
	}
	f, err := w.real.create(dir, pattern)
	return &watchedFile{f, w}, err
}

func (w *watched) rename(from, to string) error {
	if err := w.step("rename"); err != nil {
		return err
	}
	return w.real.rename(from, to)
}

func (w *watched) syncFolder(dir string) error {
	if err := w.step("sync folder"); err != nil {
		return err
	}
	return w.real.syncFolder(dir)
}

type watchedFile struct {
	file
	w *watched
}

func (f *watchedFile) Write(b []byte) (int, error) {
	if err := f.w.step("write"); err != nil {
		n, _ := f.file.Write(b[:len(b)/2])
		return n, err
	}
	return f.file.Write(b)
}

func (f *watchedFile) Sync() error {
	if err := f.w.step("sync"); err != nil {
		return err
	}
	return f.file.Sync()
}

func (f *watchedFile) Close() error {
	f.file.Close()
	return f.w.step("close")
}

func text(s string) func(io.Writer) error {
	return func(w io.Writer) error {
		_, err := io.WriteString(w, s)
		return err
	}
}

// holds is what a folder holds, as name=content.
func holds(t *testing.T, dir string) (all []string) {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		b, err := os.ReadFile(filepath.Join(dir, e.Name()))
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, e.Name()+"="+string(b))
	}
	return all
}

// TestWriteOrder: the content is on the disk before the name, and the name before Write returns. A rename that
// overtakes its content leaves an empty file when the power fails.
func TestWriteOrder(t *testing.T) {
	dir := t.TempDir()
	w := &watched{}
	if err := writeOn(w, filepath.Join(dir, "a.json"), 0o600, text("new")); err != nil {
		t.Fatal(err)
	}
	if want := []string{"create", "write", "sync", "close", "rename", "sync folder"}; !slices.Equal(w.steps, want) {
		t.Errorf("%q, want %q", w.steps, want)
	}
	if got := holds(t, dir); !slices.Equal(got, []string{"a.json=new"}) {
		t.Errorf("the folder holds %q", got)
	}
	if info, err := os.Stat(filepath.Join(dir, "a.json")); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("%v, %v", info, err)
	}
}

// TestWriteFails: at whatever step the disk fails, the old file stays, nothing else does, and the cause is told with the way out.
func TestWriteFails(t *testing.T) {
	for _, why := range []struct {
		err   error
		words string
	}{
		{&os.PathError{Op: "write", Path: "/x/.a.json-1.part", Err: syscall.ENOSPC}, "make room"},
		{&os.PathError{Op: "write", Path: "/x/.a.json-1.part", Err: syscall.EDQUOT}, "make room"},
		{&os.PathError{Op: "write", Path: "/x/.a.json-1.part", Err: syscall.EIO}, "check"},
	} {
		for _, step := range []string{"create", "write", "sync", "close", "rename"} {
			t.Run(fmt.Sprint(step, why.err), func(t *testing.T) {
				dir := t.TempDir()
				if err := os.WriteFile(filepath.Join(dir, "a.json"), []byte("old"), 0o600); err != nil {
					t.Fatal(err)
				}
				err := writeOn(&watched{fails: step, why: why.err}, filepath.Join(dir, "a.json"), 0o600, text("new"))
				if !errors.Is(err, ErrDisk) || strings.Contains(err.Error(), ".part") || !strings.Contains(amiss.Ways(err)[0].Act, why.words) {
					t.Errorf("error %v", err)
				}
				if got := holds(t, dir); !slices.Equal(got, []string{"a.json=old"}) {
					t.Errorf("the folder holds %q", got)
				}
			})
		}
	}
}

// TestWriteRefused: what the writer of the content says is passed on; that the disk failed is known even where it says nothing.
func TestWriteRefused(t *testing.T) {
	dir := t.TempDir()
	own := errors.New("no stars")
	if err := Write(filepath.Join(dir, "a"), 0o600, func(io.Writer) error { return own }); err != own {
		t.Errorf("error %v", err)
	}
	deaf := func(w io.Writer) error { w.Write([]byte("new")); return nil }
	if err := writeOn(&watched{fails: "write", why: syscall.ENOSPC}, filepath.Join(dir, "a"), 0o600, deaf); !errors.Is(err, ErrDisk) {
		t.Errorf("error %v", err)
	}
	if got := holds(t, dir); len(got) != 0 {
		t.Errorf("the folder holds %q", got)
	}
}
