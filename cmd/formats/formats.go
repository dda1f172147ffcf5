// Package formats is what names tell of files: which of a folder's may be pictures, and what a page asks a browser to offer.
//
// What a file holds is decided by its content, in drift/frame, and a file named outright may end in anything.
package formats

import (
	"path/filepath"
	"slices"
	"strings"
)

// endings are those of the pictures that are read, in small letters.
var endings = []string{".jpg", ".jpeg", ".png", ".tif", ".tiff", ".dng", ".fit", ".fits", ".fts"}

// packed are those of FITS files that gzip or fpack (tile compression) went over.
var packed = []string{".fit.gz", ".fits.gz", ".fts.gz", ".fit.fz", ".fits.fz", ".fts.fz"}

// makersRaw are endings of cameras' own raw files.
var makersRaw = []string{".cr2", ".nef", ".nrw", ".arw", ".sr2", ".pef", ".orf", ".rw2", ".rwl", ".srw", ".crw", ".mrw", ".3fr", ".iiq", ".cr3", ".raf", ".x3f"}

// explained are endings of pictures that cameras write and that are not read, or only where the system has a decoder. They
// are tried all the same, so that the answer says why and what helps; a phone that writes them writes nothing else.
var explained = []string{".heic", ".heif", ".hif", ".avif", ".jxl"}

// companions lie beside pictures by right and are passed over without a word; so are files on their way.
var companions = []string{".csv", ".json", ".jsonl", ".html", ".toml", ".part", ".tmp", ".crdownload", ".partial"}

// Endings lists the endings of the pictures that are read, cameras' raw files aside, for a sentence.
func Endings() string { return strings.Join(endings, " ") }

// Accept is the same with raw files and packed ones, as the attribute accept of HTML's choice of files wants it. What is only explained stays out: a phone that is not asked for it sends a JPEG in its place.
func Accept() string {
	return strings.Join(slices.Concat([]string{"image/*"}, endings, []string{".gz", ".fz"}, makersRaw), ",")
}

// IsPicture is whether a file is a picture by its name.
func IsPicture(name string) bool {
	k := kindOf(name)
	return k == whole || k == standIn
}

// Pictures are those of a folder's files to try, in their order, and those to tell the user of: neither pictures by
// their names nor what lies beside pictures by right. A camera may write an exposure twice, as its own raw file or HEIC
// and as a JPEG: the former is tried only where no picture of its name is there.
func Pictures(names []string) (tried, strange []string) {
	known := map[string]bool{}
	for _, name := range names {
		if kindOf(name) == whole {
			known[stem(name)] = true
		}
	}
	for _, name := range names {
		switch k := kindOf(name); {
		case k == whole, k == standIn && !known[stem(name)]:
			tried = append(tried, name)
		case k == unknown:
			strange = append(strange, name)
		}
	}
	return tried, strange
}

// kind is what a name makes of a file.
type kind int

const (
	unknown kind = iota
	whole        // a picture
	standIn      // tried where nothing better is there
	beside       // to be passed over without a word
)

func kindOf(name string) kind {
	ending := Ending(name)
	switch {
	case strings.HasPrefix(name, "."), strings.HasSuffix(name, "~"), slices.Contains(companions, ending):
		return beside
	case slices.Contains(endings, ending), slices.Contains(packed, ending):
		return whole
	case slices.Contains(makersRaw, ending), slices.Contains(explained, ending):
		return standIn
	}
	return unknown
}

// Ending is a file's ending in small letters, for packed FITS both.
func Ending(name string) string {
	name = strings.ToLower(name)
	for _, p := range packed {
		if strings.HasSuffix(name, p) {
			return p
		}
	}
	return filepath.Ext(name)
}

// stem is a file's name without its ending, in small letters.
func stem(name string) string { return strings.TrimSuffix(strings.ToLower(name), Ending(name)) }
