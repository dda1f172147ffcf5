package face

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"trueturn/cmd/formats"
	"trueturn/cmd/legible"
	"trueturn/drift"
)

// frames is what FRAMES… on a command line stand for.
type frames struct {
	sources []drift.Source
	paths   []string // of the sources
	skipped []string // files in folders that are no pictures by their endings
	seen    map[string]bool
}

// gather finds the pictures that files and folders name, each once, in the
// order given; folders are not searched any deeper.
func gather(args []string) (frames, error) {
	g := frames{seen: map[string]bool{}}
	for _, arg := range args {
		info, err := os.Stat(arg)
		if err != nil {
			return g, cannotOpen(arg, err)
		}
		switch {
		case info.IsDir():
			err = g.folder(arg)
		case !info.Mode().IsRegular():
			err = failed(quote(arg)+" is neither a file nor a folder", "name pictures, or the folder they are in", nil)
		default:
			g.add(arg)
		}
		if err != nil {
			return g, err
		}
	}
	g.tellApart()
	if len(g.sources) == 0 {
		return g, failed("there are no pictures in "+few(args, 3),
			"pictures end in "+formats.Endings()+"; copy them here, or name another folder", nil)
	}
	return g, nil
}

func cannotOpen(name string, err error) error {
	if os.IsNotExist(err) {
		return failed("there is no file or folder "+quote(name), "check the name; the shell's Tab key completes it", err)
	}
	return failed(fmt.Sprintf("%s cannot be opened", quote(name)), "check that you may read it", err)
}

func (g *frames) folder(name string) error {
	entries, err := os.ReadDir(name)
	if err != nil {
		return cannotOpen(name, err)
	}
	var names []string
	for _, e := range entries {
		if isFile(filepath.Join(name, e.Name())) {
			names = append(names, e.Name())
		}
	}
	tried, strange := formats.Pictures(names)
	for _, picture := range tried {
		g.add(filepath.Join(name, picture))
	}
	g.skipped = append(g.skipped, strange...)
	return nil
}

// isFile follows links; what a folder cannot show is left to the opening.
func isFile(path string) bool {
	info, err := os.Stat(path)
	return err == nil && info.Mode().IsRegular()
}

func (g *frames) add(path string) {
	key := path
	if real, err := filepath.EvalSymlinks(path); err == nil {
		key = real
	}
	if full, err := filepath.Abs(key); err == nil {
		key = full
	}
	if g.seen[key] {
		return
	}
	g.seen[key] = true
	g.paths = append(g.paths, key)
	g.sources = append(g.sources, drift.Source{
		Name: filepath.Base(path),
		Open: func() (io.ReadSeekCloser, error) { return openPicture(path) },
	})
}

// openPicture opens a picture to be read.
func openPicture(path string) (io.ReadSeekCloser, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, cannotOpen(path, err)
	}
	s, err := steady(f, wholeMost)
	if err != nil {
		f.Close()
		return nil, cannotOpen(path, err)
	}
	return s, nil
}

// tellApart puts the folder before the names of pictures that would else be called alike.
func (g *frames) tellApart() {
	count := map[string]int{}
	for _, s := range g.sources {
		count[s.Name]++
	}
	for i := range g.sources {
		if s := &g.sources[i]; count[s.Name] > 1 {
			s.Name = filepath.ToSlash(filepath.Join(filepath.Base(filepath.Dir(g.paths[i])), s.Name))
		}
	}
}

// few names the first few of many.
func few(names []string, most int) string {
	text := legible.Line(strings.Join(names[:min(len(names), most)], ", "))
	if more := len(names) - most; more > 0 {
		text += fmt.Sprintf(" and %d more", more)
	}
	return text
}
