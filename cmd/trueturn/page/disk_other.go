//go:build !linux && !darwin

package page

// freeBytes is not known here; a full disk shows when it is written to.
func freeBytes(string) (uint64, bool) { return 0, false }
