package page

import (
	"errors"
	"os"
	"strings"
	"syscall"
	"testing"
	"trueturn/cmd/trueturn/page/disk"
)

// TestFullDiskIsTold: a full disk and a used-up share of one are told as such, with the way out, wherever the page writes.
func TestFullDiskIsTold(t *testing.T) {
	for _, cause := range []error{syscall.ENOSPC, syscall.EDQUOT} {
		err := &os.PathError{Op: "write", Path: "x", Err: cause}
		for _, row := range []struct {
			what   string
			told   error
			status int
			way    string
		}{
			{"an upload", notKept(err), 507, "make room there, and send it again"},
			{"the session", disk.CannotKeep(err), 500, "make room on that disk, or have the session kept on another, at the computer"},
		} {
			if got := hintOf(row.told); got != row.way || statusOf(row.told) != row.status {
				t.Errorf("%s, %v: hint %q, status %d; want %q, %d", row.what, cause, got, statusOf(row.told), row.way, row.status)
			}
			if text := row.told.Error(); strings.Contains(text, "write x") {
				t.Errorf("%s, %v: it says %q", row.what, cause, text)
			}
		}
	}
	if other := notKept(errors.New("on fire")); statusOf(other) != 500 || hintOf(other) == "" {
		t.Errorf("another trouble: %v, status %d", other, statusOf(other))
	}
}
