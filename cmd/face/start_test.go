package face

import (
	"os/exec"
	"path/filepath"
	"testing"
)

// BenchmarkStart runs the built program from the shell's point of view: what --version takes, where nothing is measured and
// the catalogue is not unpacked.
//
//	go test -run '^$' -bench Start -count 6 ./cmd/face
func BenchmarkStart(b *testing.B) {
	program := filepath.Join(b.TempDir(), "trueturn")
	if out, err := exec.Command("go", "build", "-o", program, ".").CombinedOutput(); err != nil {
		b.Fatalf("%v: %s", err, out)
	}
	for _, arg := range []string{"--version", "--help"} {
		b.Run(arg[2:], func(b *testing.B) {
			for b.Loop() {
				if err := exec.Command(program, arg).Run(); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
