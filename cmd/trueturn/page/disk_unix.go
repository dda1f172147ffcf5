//go:build linux || darwin

package page

import "syscall"

// freeBytes is how much may still be written to a folder's disk.
func freeBytes(dir string) (uint64, bool) {
	var s syscall.Statfs_t
	if err := syscall.Statfs(dir, &s); err != nil {
		return 0, false
	}
	return uint64(s.Bavail) * uint64(s.Bsize), true
}
