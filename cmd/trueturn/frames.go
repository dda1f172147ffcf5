package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"trueturn/cmd/trueturn/page"
	"trueturn/drift"
)

// endings are those of the files a folder is searched for. What a file holds is
// decided by its content later; a file named outright may end in anything.
var endings = page.Endings

// makersRaw are endings of cameras' own raw files. A JPEG of the same exposure often lies beside one, and would count
// twice: a folder offers the raw file only where no picture of its name does.
var makersRaw = []string{".cr2", ".nef", ".nrw", ".arw", ".sr2", ".pef", ".orf", ".rw2", ".rwl", ".srw", ".3fr", ".iiq", ".cr3", ".raf", ".x3f"}

// companions lie beside pictures by right and are passed over without a word.
var companions = []string{".csv", ".json", ".html", ".toml"}

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
			err = &failure{quote(arg) + " is neither a file nor a folder", "name pictures, or the folder they are in", nil}
		default:
			g.add(arg)
		}
		if err != nil {
			return g, err
		}
	}
	g.tellApart()
	if len(g.sources) == 0 {
		return g, &failure{"there are no pictures in " + few(args, 3),
			"pictures end in " + strings.Join(endings, " ") + "; copy them here, or name another folder", nil}
	}
	return g, nil
}

func cannotOpen(name string, err error) error {
	if os.IsNotExist(err) {
		return &failure{"there is no file or folder " + quote(name), "check the name; the shell's Tab key completes it", err}
	}
	return &failure{fmt.Sprintf("%s cannot be opened", quote(name)), "check that you may read it", err}
}

func (g *frames) folder(name string) error {
	entries, err := os.ReadDir(name)
	if err != nil {
		return cannotOpen(name, err)
	}
	named := map[string]bool{}
	var raw []string
	for _, e := range entries {
		ending := strings.ToLower(filepath.Ext(e.Name()))
		path := filepath.Join(name, e.Name())
		switch {
		case strings.HasPrefix(e.Name(), "."), slices.Contains(companions, ending):
		case !isFile(path):
		case slices.Contains(endings, ending):
			g.add(path)
			named[stem(e.Name())] = true
		case slices.Contains(makersRaw, ending):
			raw = append(raw, path)
		default:
			g.skipped = append(g.skipped, e.Name())
		}
	}
	for _, path := range raw {
		if !named[stem(path)] {
			g.add(path)
		}
	}
	return nil
}

// stem is a file's name without folder and ending, in small letters.
func stem(path string) string {
	name := strings.ToLower(filepath.Base(path))
	return strings.TrimSuffix(name, filepath.Ext(name))
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
		Open: func() (io.ReadSeekCloser, error) {
			f, err := os.Open(path)
			if err != nil {
				return nil, cannotOpen(path, err)
			}
			return f, nil
		},
	})
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
	text := strings.Join(names[:min(len(names), most)], ", ")
	if more := len(names) - most; more > 0 {
		text += fmt.Sprintf(" and %d more", more)
	}
	return text
}
