// Package licence gathers the licences of all that a built program holds: its own, the toolchain's, those of the data and of
// the modules, from their own files. It runs the Go command. Start with [Collect].
//
// A licence is a file in the folder of a package that is built in, or above it within its module, named as such; a module's
// collection of those it rests on is taken whole.
package licence

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
)

// Licence is what a part may be used under.
type Licence struct{ Of, Text string }

// Program is a package main and what it is built for.
type Program struct{ Package, OS, Arch string }

// data are what the licences within this module are of.
var data = map[string]string{
	"LICENSE":                            "trueturn",
	"ephem/catalog/LICENSE-d3-celestial": "The stars: Hipparcos (ESA, 1997), by way of d3-celestial 0.7.35",
	"ephem/LICENSE-astronomia":           "The Sun: VSOP87 (P. Bretagnon and G. Francou, 1988), by way of astronomia 4.1.1",
}

// named are the files that hold licences, and collected the folder of a module that rests on others' work.
var named = regexp.MustCompile(`(?i)^(licen[sc]e|copying|notice)`)

const collected = "THIRD_PARTY_LICENSES"

// listed is one of `go list -json`.
type listed struct {
	ImportPath, Dir, Root string
	Standard              bool
	Module                *module
}

type module struct {
	Path, Version, Dir string
	Main               bool
}

// Collect gives each licence once: this module's own and the toolchain's first, then those of data and modules by their names.
func Collect(ctx context.Context, programs ...Program) ([]Licence, error) {
	files := map[string]string{} // what it is of, by path
	for _, p := range programs {
		parts, err := list(ctx, p)
		if err != nil {
			return nil, err
		}
		for _, part := range parts {
			if err := part.gather(files); err != nil {
				return nil, err
			}
		}
	}
	return read(files)
}

// list is all that a program is made of.
func list(ctx context.Context, p Program) (all []listed, err error) {
	c := exec.CommandContext(ctx, "go", "list", "-deps", "-json=ImportPath,Dir,Root,Standard,Module", p.Package)
	c.Env = append(os.Environ(), "GOOS="+p.OS, "GOARCH="+p.Arch, "CGO_ENABLED=0")
	text, err := c.Output()
	if err != nil {
		return nil, fmt.Errorf("go list: %w", err)
	}
	for d := json.NewDecoder(bytes.NewReader(text)); ; {
		var l listed
		if err := d.Decode(&l); errors.Is(err, io.EOF) {
			return all, nil
		} else if err != nil {
			return nil, err
		}
		all = append(all, l)
	}
}

const toolchain = "Go, its library and wasm_exec.js"

// gather notes the licences a part is under.
func (l listed) gather(files map[string]string) error {
	if l.ImportPath == "runtime" { // which every program has
		files[filepath.Join(l.Root, "LICENSE")] = toolchain
	}
	if l.Standard || l.Module == nil {
		return nil
	}
	found := 0
	for dir := l.Dir; ; dir = filepath.Dir(dir) {
		n, err := l.Module.gather(dir, named, files)
		if err != nil {
			return err
		}
		found += n
		if dir == l.Module.Dir || dir == filepath.Dir(dir) {
			break
		}
	}
	if found == 0 {
		return fmt.Errorf("%s: no licence in its folder", l.Module.Path)
	}
	_, err := l.Module.gather(filepath.Join(l.Module.Dir, collected), regexp.MustCompile(`.`), files)
	if errors.Is(err, os.ErrNotExist) {
		return nil
	}
	return err
}

// gather notes the files so named in one folder, and counts them.
func (m *module) gather(dir string, named *regexp.Regexp, files map[string]string) (n int, err error) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return 0, err
	}
	for _, e := range entries {
		if e.IsDir() || !named.MatchString(e.Name()) || filepath.Ext(e.Name()) == ".go" {
			continue
		}
		n++
		path := filepath.Join(dir, e.Name())
		if files[path], err = m.says(path); err != nil {
			return n, err
		}
	}
	return n, nil
}

var plain = regexp.MustCompile(`(?i)^(licen[sc]e|copying)(\.(txt|md))?$`)

// says what the licence at path is of.
func (m *module) says(path string) (string, error) {
	rel, err := filepath.Rel(m.Dir, path)
	rel = filepath.ToSlash(rel)
	switch {
	case err != nil:
		return "", err
	case m.Main && data[rel] == "":
		return "", fmt.Errorf("%s: a licence of what? Say so in cmd/licence", rel)
	case m.Main:
		return data[rel], nil
	case plain.MatchString(rel):
		return m.Path + " " + m.Version, nil
	}
	return m.Path + " " + m.Version + ": " + rel, nil
}

// read is the files themselves, in order.
func read(files map[string]string) (all []Licence, err error) {
	for path, of := range files {
		text, err := os.ReadFile(path)
		if err != nil {
			return nil, err
		}
		all = append(all, Licence{of, strings.ReplaceAll(strings.TrimSpace(string(text)), "\r\n", "\n")})
	}
	rank := func(l Licence) int { return slices.Index([]string{toolchain, data["LICENSE"]}, l.Of) }
	slices.SortFunc(all, func(a, b Licence) int { return cmp.Or(rank(b)-rank(a), strings.Compare(a.Of, b.Of)) })
	return all, nil
}
