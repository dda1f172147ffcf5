package main

import (
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
)

// writeFile makes a file that is either whole or not there: it is written under
// another name, which no folder search takes for a picture, and renamed.
func writeFile(path string, write func(io.Writer) error) error {
	dir, name := filepath.Split(path)
	if dir == "" {
		dir = "."
	}
	f, err := os.CreateTemp(dir, "."+name+"-*.part")
	if err != nil {
		return cannotWrite(path, err)
	}
	defer os.Remove(f.Name()) // fails once renamed, which is what is wanted
	if err := write(f); err != nil {
		f.Close()
		return err
	}
	if err := f.Chmod(0o644); err != nil {
		f.Close()
		return cannotWrite(path, err)
	}
	if err := f.Close(); err != nil {
		return cannotWrite(path, err)
	}
	if err := os.Rename(f.Name(), path); err != nil {
		return cannotWrite(path, err)
	}
	return nil
}

func cannotWrite(path string, err error) error {
	return &failure{fmt.Sprintf("%s cannot be written: %v", quote(path), plain(err)),
		"check the folder's name, your rights there and the space left", err}
}

// plain is what the system says, without the name of the call and the
// temporary file.
func plain(err error) error {
	for {
		u, ok := err.(interface{ Unwrap() error })
		if !ok || u.Unwrap() == nil {
			return err
		}
		err = u.Unwrap()
	}
}

// writeJSON prints an object the way people can read it too.
func writeJSON(w io.Writer, v any) error {
	enc := json.NewEncoder(w)
	enc.SetIndent("", " ")
	enc.SetEscapeHTML(false)
	return enc.Encode(v)
}
