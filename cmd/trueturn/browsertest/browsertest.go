// Package browsertest finds the browser that the tests of report and live page look through.
// Only tests import it.
package browsertest

import (
	"os"
	"os/exec"
	"testing"
)

// Flags keep a browser to itself: no window, no sandbox (there is none for root, as in CI), nothing asked of
// the network by its own accord. Without the leading dashes.
func Flags() []string {
	return []string{"headless", "no-sandbox", "disable-gpu", "disable-quic", "no-first-run", "disable-background-networking",
		"disable-component-update", "disable-sync", "disable-extensions", "disable-default-apps", "hide-scrollbars"}
}

// Find is the path of Chromium, Debian's for one. Where there is none the test skips, but not in CI, where it is a
// fault.
func Find(t testing.TB) string {
	t.Helper()
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if path, err := exec.LookPath(name); err == nil {
			return path
		}
	}
	if os.Getenv("CI") == "true" {
		t.Fatal("no Chromium in CI: install Debian's package chromium")
	}
	t.Skip("no Chromium on this machine")
	return ""
}
