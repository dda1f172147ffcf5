// Package files writes a file so that it is whole or not there. Start with Write.
package files

import (
	"errors"
	"io"
	"os"
	"path/filepath"
	"syscall"

	"trueturn/ephem/amiss"
)

// Write makes a file that is either the old one or the whole new one, whenever the power fails; when it returns, the
// content is on the disk and so is its name in the folder. It is written under another name, which Pictures passes
// over, and renamed. What write finds amiss is returned as it is, what the disk does as [ErrDisk].
func Write(path string, perm os.FileMode, write func(io.Writer) error) error {
	return writeOn(real{}, path, perm, write)
}

// system is what Write asks of the operating system.
type system interface {
	create(dir, pattern string) (file, error)
	rename(from, to string) error
	remove(path string) error
	syncFolder(dir string) error
}

// file is what Write asks of an open file.
type file interface {
	io.WriteCloser
	Name() string
	Chmod(os.FileMode) error
	Sync() error
}

// real is the operating system itself.
type real struct{}

func (real) create(dir, pattern string) (file, error) { return os.CreateTemp(dir, pattern) }
func (real) rename(from, to string) error             { return os.Rename(from, to) }
func (real) remove(path string) error                 { return os.Remove(path) }
func (real) syncFolder(dir string) error              { return SyncFolder(dir) }

func writeOn(s system, path string, perm os.FileMode, write func(io.Writer) error) error {
	dir, name := filepath.Dir(path), filepath.Base(path)
	f, err := s.create(dir, "."+name+"-*.part")
	if err != nil {
		return diskError(err)
	}
	out := &faithful{w: f}
	err = write(out)
	if out.err != nil {
		err = diskError(out.err)
	}
	if err == nil {
		err = diskError(f.Chmod(perm), f.Sync())
	}
	if bad := f.Close(); err == nil {
		err = diskError(bad)
	}
	if err == nil {
		err = diskError(s.rename(f.Name(), path))
	}
	if err != nil {
		s.remove(f.Name())
		return err
	}
	return diskError(s.syncFolder(dir))
}

// faithful remembers what the disk said: an encoder may say something else, or nothing.
type faithful struct {
	w   io.Writer
	err error
}

func (f *faithful) Write(b []byte) (int, error) {
	n, err := f.w.Write(b)
	if err != nil && f.err == nil {
		f.err = err
	}
	return n, err
}

// ErrDisk: the disk did not take a file.
var ErrDisk = errors.New("the disk took no file")

// diskError is the first of what went wrong, or nil. It says what the system says, without the names of the call and of
// the file under its other name.
func diskError(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return &amiss.Error{Kind: ErrDisk, Text: amiss.Plain(err).Error(), Ways: amiss.Do(Hint(err)), From: err}
		}
	}
	return nil
}

// Hint is the way out when something could not be written.
func Hint(err error) string {
	if Full(err) {
		return "make room on that disk, or name a place on another"
	}
	return "check the folder's name, your rights there and the space left"
}

// Full is whether the disk has no room left, or the user's share of it none.
func Full(err error) bool { return errors.Is(err, syscall.ENOSPC) || errors.Is(err, syscall.EDQUOT) }

// MakeFolder makes a folder where there is none, and those it lies in.
func MakeFolder(dir string, perm os.FileMode) error {
	if err := os.MkdirAll(dir, perm); err != nil {
		return err
	}
	return SyncFolder(filepath.Dir(filepath.Clean(dir)))
}

// SyncFolder puts the names in a folder on the disk for good. Some systems and some networks' disks do not know how;
// only a disk that fails is an error.
func SyncFolder(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return nil // it may be for writing alone
	}
	defer d.Close()
	if err := d.Sync(); errors.Is(err, syscall.EIO) || Full(err) {
		return err
	}
	return nil
}
