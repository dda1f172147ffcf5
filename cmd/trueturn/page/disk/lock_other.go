//go:build !(linux || darwin || freebsd || netbsd || openbsd)

package disk

// lock keeps nobody out here: this system has no locks that end with the program.
func lock(string) (release func() error, err error) { return func() error { return nil }, nil }
