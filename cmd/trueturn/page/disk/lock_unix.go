//go:build linux || darwin || freebsd || netbsd || openbsd

package disk

import (
	"errors"
	"os"
	"path/filepath"
	"syscall"
)

// lock keeps a session folder for one program. The system lets go of it when the program ends, however it ends.
// Where a disk knows no locks, as some networks' do, nobody is kept out.
func lock(dir string) (release func() error, err error) {
	f, err := os.OpenFile(filepath.Join(dir, lockFile), os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, CannotKeep(err)
	}
	if err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); errors.Is(err, syscall.EWOULDBLOCK) {
		f.Close()
		return nil, ErrInUse
	}
	return f.Close, nil
}
