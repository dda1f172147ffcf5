package face

import (
	"os"
	"path/filepath"
	"slices"
	"testing"
)

// TestGatherFolder: a folder yields each exposure once, a maker's raw file only where no picture of its name lies beside it.
func TestGatherFolder(t *testing.T) {
	dir := t.TempDir()
	for _, name := range []string{"a.JPG", "a.nef", "b.CR2", "c.cr3", "c.png", "d.dng", "e.fits.gz", "f.fits.fz", "g.heic", "notes.txt", "times.csv", ".hidden.jpg"} {
		if err := os.WriteFile(filepath.Join(dir, name), nil, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	g, err := gather([]string{dir})
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, s := range g.sources {
		names = append(names, s.Name)
	}
	slices.Sort(names)
	if want := []string{"a.JPG", "b.CR2", "c.png", "d.dng", "e.fits.gz", "f.fits.fz", "g.heic"}; !slices.Equal(names, want) {
		t.Errorf("found %v, want %v", names, want)
	}
	if want := []string{"notes.txt"}; !slices.Equal(g.skipped, want) {
		t.Errorf("passed over with a word: %v, want %v", g.skipped, want)
	}
}
