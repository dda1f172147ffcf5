package face

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/pflag"

	"trueturn/cmd/formats"
	"trueturn/cmd/report"
)

// keeping is what to write to files beside what is printed.
type keeping struct{ save, csv, report string }

func (k *keeping) register(fs *pflag.FlagSet) {
	fs.StringVar(&k.csv, "csv", "", "write the figures of every picture to the table `FILE.csv`")
	fs.StringVar(&k.report, "report", "", "write everything, with drawings, to the page `FILE.html`")
}

func (k *keeping) registerSave(fs *pflag.FlagSet) {
	fs.StringVar(&k.save, "save", "", "keep mount, lens and stars in `FILE.json`, for expose --session")
}

// check refuses places nothing can be written to before the work begins, and names
// that a slip of the shell may have taken from a picture.
func (k *keeping) check() error {
	seen := map[string]bool{}
	for _, name := range []string{k.save, k.csv, k.report} {
		if name == "" {
			continue
		}
		if formats.IsPicture(name) {
			return usage(quote(name)+" is a picture's name; it will not be written over", "end the name in .json, .csv or .html", nil)
		}
		if seen[filepath.Clean(name)] {
			return usage(quote(name)+" cannot hold two things", "give --save, --csv and --report a file each", nil)
		}
		seen[filepath.Clean(name)] = true
		if err := writable(name); err != nil {
			return err
		}
	}
	return nil
}

// writable is whether there is a folder for a file, and no folder in its place.
func writable(name string) error {
	dir := filepath.Dir(name)
	if info, err := os.Stat(dir); err != nil || !info.IsDir() {
		return failed(fmt.Sprintf("%s cannot be written: there is no folder %s", quote(name), quote(dir)), "make the folder first, or name another", err)
	}
	if info, err := os.Stat(name); err == nil && info.IsDir() {
		return failed(quote(name)+" cannot be written: it is a folder", "name a file in it, as in "+filepath.Join(name, "tonight"+filepath.Ext(name)), nil)
	}
	return nil
}

// session writes what was measured of the mount.
func (k *keeping) session(r result) error {
	if k.save == "" {
		return nil
	}
	s, err := r.Session()
	if err != nil {
		return err
	}
	return writeFile(k.save, s.Write)
}

// table writes the figures of the pictures.
func (k *keeping) table(write func(io.Writer) error) error {
	if k.csv == "" {
		return nil
	}
	return writeFile(k.csv, write)
}

// page writes the report.
func (k *keeping) page(d report.Data) error {
	d.Generated, d.Version = time.Now(), version()
	return writeFile(k.report, func(w io.Writer) error { return report.HTML(w, d) })
}

// titleOf is the name of the evening: that of the folder, where there is one.
func titleOf(args []string) string {
	if len(args) != 1 {
		return ""
	}
	if info, err := os.Stat(args[0]); err != nil || !info.IsDir() {
		return ""
	}
	full, err := filepath.Abs(args[0])
	if err != nil {
		return ""
	}
	return filepath.Base(full)
}
