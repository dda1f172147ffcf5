package face

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// TestFullDisk: where a real disk has no room left, every command that writes says so and how to go on, and leaves no
// half of a file. It needs the right to mount one of its own.
func TestFullDisk(t *testing.T) {
	t.Parallel()
	for _, row := range []struct {
		name string
		args []string
	}{
		{"pictures", []string{"simulate", "--site", "46,7.75", "--megapixels", "2", "--count", "9", "--out", "full/p"}},
		{"a drawing", []string{"pole", "--site", "46,7.75", "--svg", "full/pole.svg"}},
		{"a kit", []string{"kit", "init", "--kit", "full/kit.toml", "--at-site", "hut", "--site", "46,7.75"}},
		{"a session", []string{"live", "--session-dir", "full/session"}},
	} {
		t.Run(row.name, func(t *testing.T) {
			t.Parallel()
			dir := t.TempDir()
			if err := os.Mkdir(filepath.Join(dir, "full"), 0o700); err != nil {
				t.Fatal(err)
			}
			filled := "head -c 2000000 /dev/zero >full/filling 2>/dev/null; "
			if row.name == "pictures" { // there is room for some
				filled = ""
			}
			c := program(t, dir, row.args...)
			c.Args = append([]string{"unshare", "-rm", "sh", "-c", "mount -t tmpfs -o size=1m none full || exit 77; " + filled +
				`"$0" "$@"; code=$?; find full -name '*.part' -o -name '*.svg' -o -name '*.toml'; exit $code`, c.Path}, c.Args[1:]...)
			var err error
			if c.Path, err = exec.LookPath("unshare"); err != nil {
				t.Skip("no unshare")
			}
			var left, said strings.Builder
			c.Stdout, c.Stderr = &left, &said
			c.Run()
			if code := c.ProcessState.ExitCode(); code == 77 || strings.HasPrefix(said.String(), "unshare:") {
				t.Skipf("no disk may be mounted: %s", &said)
			} else if code != exitNoAnswer {
				t.Errorf("exit code %d, want %d", code, exitNoAnswer)
			}
			if !strings.Contains(said.String(), "no space left on device\nhint: make room on that disk, or name a ") {
				t.Errorf("it said:\n%s", &said)
			}
			if strings.Contains(left.String(), "full/") {
				t.Errorf("left behind:\n%s", &left)
			}
		})
	}
}
