// Command pack writes the packed star catalogue that package catalog embeds.
//
// It is run by "go generate ./ephem/catalog". With -from it reads an unpacked
// copy of the d3-celestial package; without it, it asks the npm client for the
// version named below. The bytes before compression depend on the package
// alone, so that anybody can check the committed files.
package main

import (
	"archive/tar"
	"bytes"
	"compress/flate"
	"compress/gzip"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
)

// source is the package and the version the committed files were made from.
const source = "d3-celestial@0.7.35"

// The files of the package that are read.
const (
	starsJSON   = "data/stars.14.json"
	namesJSON   = "data/starnames.json"
	messierJSON = "data/messier.json"
	brightJSON  = "data/dsos.bright.json"
	objectsJSON = "data/dsos.14.json"
	calledJSON  = "data/dsonames.json"
)

var read = []string{starsJSON, namesJSON, messierJSON, brightJSON, objectsJSON, calledJSON}

func main() {
	from := flag.String("from", "", "folder of the unpacked npm package (default: fetch "+source+" with npm)")
	out := flag.String("o", ".", "folder to write stars.bin, names.bin and showpieces.bin into")
	flag.Parse()
	if err := run(*from, *out); err != nil {
		fmt.Fprintln(os.Stderr, "error:", err)
		os.Exit(1)
	}
}

// run packs the catalogue found in folder from, or fetched, into folder out.
func run(from, out string) error {
	files, err := load(from)
	if err != nil {
		return err
	}
	stars, err := packStars(files[starsJSON])
	if err != nil {
		return fmt.Errorf("%s: %w", starsJSON, err)
	}
	names, err := packNames(files[namesJSON])
	if err != nil {
		return fmt.Errorf("%s: %w", namesJSON, err)
	}
	showpieces, err := packShowpieces(files[messierJSON], files[brightJSON], files[objectsJSON], files[calledJSON])
	if err != nil {
		return fmt.Errorf("showpieces: %w", err)
	}
	if err := write(filepath.Join(out, "stars.bin"), stars); err != nil {
		return err
	}
	if err := write(filepath.Join(out, "showpieces.bin"), showpieces); err != nil {
		return err
	}
	return write(filepath.Join(out, "names.bin"), names)
}

// load gives the files, by their names within the package.
func load(from string) (map[string][]byte, error) {
	if from == "" {
		return fetch()
	}
	files := map[string][]byte{}
	for _, name := range read {
		b, err := os.ReadFile(filepath.Join(from, filepath.FromSlash(name)))
		if err != nil {
			return nil, err
		}
		files[name] = b
	}
	return files, nil
}

// fetch has the npm client download the package into a folder of its own.
func fetch() (map[string][]byte, error) {
	dir, err := os.MkdirTemp("", "pack")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	cmd := exec.Command("npm", "pack", "--silent", source)
	cmd.Dir, cmd.Stderr = dir, os.Stderr
	name, err := cmd.Output()
	if err != nil {
		return nil, fmt.Errorf("npm pack %s: %w", source, err)
	}
	f, err := os.Open(filepath.Join(dir, filepath.Base(strings.TrimSpace(string(name)))))
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return untar(f)
}

// untar picks the files out of an npm tarball, whose paths begin with
// "package/".
func untar(r io.Reader) (map[string][]byte, error) {
	zr, err := gzip.NewReader(r)
	if err != nil {
		return nil, err
	}
	files := map[string][]byte{}
	for tr := tar.NewReader(zr); ; {
		h, err := tr.Next()
		if errors.Is(err, io.EOF) {
			return files, nil
		}
		if err != nil {
			return nil, err
		}
		name := strings.TrimPrefix(h.Name, "package/")
		if !slices.Contains(read, name) {
			continue
		}
		if files[name], err = io.ReadAll(tr); err != nil {
			return nil, err
		}
	}
}

// write deflates payload into a file.
func write(name string, payload []byte) error {
	var b bytes.Buffer
	w, err := flate.NewWriter(&b, flate.BestCompression)
	if err != nil {
		return err
	}
	if _, err := w.Write(payload); err != nil {
		return err
	}
	if err := w.Close(); err != nil {
		return err
	}
	return os.WriteFile(name, b.Bytes(), 0o644)
}
