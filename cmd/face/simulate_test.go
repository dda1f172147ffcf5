package face

import (
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"trueturn/align/simulate"
)

// TestSimulateAgain: a simulation that broke off leaves a folder the next one can use, and takes nobody else's pictures
// for its own.
func TestSimulateAgain(t *testing.T) {
	t.Parallel()
	const many = "400" // more than are drawn before the signal comes
	args := func(count string) []string {
		return []string{"simulate", "--site", "46,7.75", "--megapixels", "0.3", "--count", count, "--out", "p"}
	}
	for _, row := range []struct {
		name string
		end  os.Signal
		told bool // what is there
	}{{"Ctrl-C", os.Interrupt, true}, {"power failure", os.Kill, false}} {
		t.Run(row.name, func(t *testing.T) {
			t.Parallel()
			dir := t.TempDir()
			c := program(t, dir, args(many)...)
			if err := c.Start(); err != nil {
				t.Fatal(err)
			}
			await(t, filepath.Join(dir, "p", "sky-003.jpg"))
			c.Process.Signal(row.end)
			c.Wait()
			if c.ProcessState.Success() {
				t.Fatalf("it drew all %s pictures", many)
			}
			if row.told {
				if there, told := picturesIn(t, dir), truthOf(t, dir); !slices.Equal(there, told) {
					t.Errorf("the truth tells of %q, there are %q", told, there)
				}
				another := filepath.Join(dir, "p", "sky-"+many+".jpg")
				if err := os.WriteFile(another, []byte("a picture of Aunt Vreni"), 0o600); err != nil {
					t.Fatal(err)
				}
				if out, err := program(t, dir, args(many)...).CombinedOutput(); err == nil || !strings.Contains(string(out), "no simulation wrote it") {
					t.Errorf("beside somebody else's picture: %v\n%s", err, out)
				}
				if text, err := os.ReadFile(another); err != nil || !strings.HasPrefix(string(text), "a picture of") {
					t.Errorf("somebody else's picture: %q, %v", text, err)
				}
				os.Remove(another)
			}
			if out, err := program(t, dir, args("2")...).CombinedOutput(); err != nil {
				t.Errorf("again: %v\n%s", err, out)
			}
			if want := []string{"sky-001.jpg", "sky-002.jpg"}; !slices.Equal(picturesIn(t, dir), want) || !slices.Equal(truthOf(t, dir), want) {
				t.Errorf("there are %q, the truth tells of %q, want %q", picturesIn(t, dir), truthOf(t, dir), want)
			}
		})
	}
}

// picturesIn are the pictures in the folder p.
func picturesIn(t *testing.T, dir string) (names []string) {
	t.Helper()
	found, err := filepath.Glob(filepath.Join(dir, "p", "sky-*.jpg"))
	if err != nil {
		t.Fatal(err)
	}
	for _, path := range found {
		names = append(names, filepath.Base(path))
	}
	return names
}

// truthOf are those its truth.json tells of.
func truthOf(t *testing.T, dir string) (names []string) {
	t.Helper()
	raw, err := os.ReadFile(filepath.Join(dir, "p", truthFile))
	if err != nil {
		t.Fatal(err)
	}
	var truth simulate.Truth
	if err := json.Unmarshal(raw, &truth); err != nil {
		t.Fatal(err)
	}
	for _, f := range truth.Frames {
		names = append(names, f.File)
	}
	return names
}
