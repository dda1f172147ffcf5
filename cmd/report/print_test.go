package report

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"trueturn/cmd/trueturn/browsertest"
)

// fullest is how far down a page but the last must be printed on: what is left is less than the tallest drawing with its caption,
// which is not broken.
const fullest = 0.7

// TestNoHalfEmptyPages prints the reports and looks how far down the ink on each page goes.
func TestNoHalfEmptyPages(t *testing.T) {
	if testing.Short() {
		t.Skip("prints for seconds")
	}
	browsertest.Find(t)
	if _, err := exec.LookPath("pdftoppm"); err != nil {
		t.Skip("no pdftoppm on this machine: install Debian's package poppler-utils")
	}
	for name, d := range map[string]Data{"full": full(), "simulated": simulated(t), "swung": swung(t), "standing": standing(t)} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			pages := printed(t, written(t, d))
			t.Logf("%d pages, full to %.2f", len(pages), pages)
			for i, down := range pages[:len(pages)-1] {
				if down < fullest {
					t.Errorf("page %d of %d is printed on to %.2f of its height", i+1, len(pages), down)
				}
			}
		})
	}
}

// printed is how far down the ink goes on each page, 1 for the foot of the paper.
func printed(t *testing.T, page string) (down []float64) {
	t.Helper()
	dir := t.TempDir()
	source, pdf := filepath.Join(dir, "report.html"), filepath.Join(dir, "report.pdf")
	if err := os.WriteFile(source, []byte(page), 0o600); err != nil {
		t.Fatal(err)
	}
	var flags []string
	for _, f := range browsertest.Flags() {
		flags = append(flags, "--"+f)
	}
	run(t, browsertest.Find(t), append(flags, "--user-data-dir="+filepath.Join(dir, "profile"), "--no-pdf-header-footer", "--print-to-pdf="+pdf, "file://"+source)...)
	run(t, "pdftoppm", "-gray", "-r", "20", pdf, filepath.Join(dir, "page"))
	files, err := filepath.Glob(filepath.Join(dir, "page-*.pgm"))
	if err != nil || len(files) == 0 {
		t.Fatalf("no pages: %v", err)
	}
	for _, f := range files {
		down = append(down, lastInk(t, f))
	}
	return down
}

func run(t *testing.T, name string, args ...string) {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Minute)
	defer cancel()
	c := exec.CommandContext(ctx, name, args...)
	c.WaitDelay = 2 * time.Second
	if out, err := c.CombinedOutput(); err != nil {
		t.Fatalf("%s: %v\n%s", name, err, out)
	}
}

// lastInk is where the lowest row of a grey picture (PGM, binary) is not white, as a share of its height.
func lastInk(t *testing.T, file string) float64 {
	t.Helper()
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	var width, height int
	if _, err := fmt.Sscanf(string(text), "P5\n%d %d\n255\n", &width, &height); err != nil {
		t.Fatal(err)
	}
	dots := text[len(text)-width*height:]
	for row := height - 1; row >= 0; row-- {
		if slices.Min(dots[row*width:(row+1)*width]) < 0xff {
			return float64(row+1) / float64(height)
		}
	}
	return 0
}
