package main

import (
	"archive/tar"
	"archive/zip"
	"bytes"
	"compress/flate"
	"compress/gzip"
	"errors"
	"io"
	"io/fs"
	"strings"
	"time"

	"trueturn/cmd/licence"
)

// someTime is that of files where there is no commit: any will do that all archives can say.
var someTime = time.Date(2000, time.January, 1, 0, 0, 0, 0, time.UTC)

// entry is a file in an archive.
type entry struct {
	name    string
	mode    fs.FileMode
	content []byte
}

// folder is what an archive unpacks into, and its own name but for the ending.
func (p platform) folder() string {
	system := p.system
	if system == "darwin" {
		system = "macos"
	}
	return "trueturn-" + system + "-" + p.arch
}

func (p platform) executable() string {
	if p.system == "windows" {
		return "trueturn.exe"
	}
	return "trueturn"
}

// pack makes the archive that a platform unpacks without further programs.
func pack(p platform, entries []entry, at time.Time) (packed, error) {
	var b bytes.Buffer
	name, write := p.folder()+".tar.gz", tarTo
	if p.system == "windows" {
		name, write = p.folder()+".zip", zipTo
	}
	err := write(&b, p.folder(), entries, at)
	return packed{name, b.Bytes()}, err
}

func tarTo(b io.Writer, folder string, entries []entry, at time.Time) error {
	z, err := gzip.NewWriterLevel(b, gzip.BestCompression)
	if err != nil {
		return err
	}
	w := tar.NewWriter(z)
	for _, e := range entries {
		h := &tar.Header{Name: folder + "/" + e.name, Mode: int64(e.mode), Size: int64(len(e.content)), ModTime: at, Format: tar.FormatUSTAR}
		if err := w.WriteHeader(h); err != nil {
			return err
		}
		if _, err := w.Write(e.content); err != nil {
			return err
		}
	}
	return errors.Join(w.Close(), z.Close())
}

func zipTo(b io.Writer, folder string, entries []entry, at time.Time) error {
	w := zip.NewWriter(b)
	w.RegisterCompressor(zip.Deflate, func(out io.Writer) (io.WriteCloser, error) { return flate.NewWriter(out, flate.BestCompression) })
	for _, e := range entries {
		h := &zip.FileHeader{Name: folder + "/" + e.name, Method: zip.Deflate, Modified: at}
		h.SetMode(e.mode)
		f, err := w.CreateHeader(h)
		if err != nil {
			return err
		}
		if _, err := f.Write(e.content); err != nil {
			return err
		}
	}
	return w.Close()
}

// licencesText is all licences in one text.
func licencesText(all []licence.Licence) []byte {
	var b strings.Builder
	b.WriteString("The licences of all that is in this archive.\n")
	for _, l := range all {
		b.WriteString("\n\n" + strings.Repeat("=", 80) + "\n" + l.Of + "\n" + strings.Repeat("=", 80) + "\n\n" + l.Text + "\n")
	}
	return []byte(b.String())
}
