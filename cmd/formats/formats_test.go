package formats_test

import (
	"slices"
	"strings"
	"testing"

	"trueturn/cmd/formats"
)

func TestPictures(t *testing.T) {
	for _, row := range []struct {
		what           string
		names          string
		tried, strange string
	}{
		{"pictures, large letters and small", "a.JPG b.jpeg c.png d.tif e.TIFF f.dng g.fit h.fits i.fts", "a.JPG b.jpeg c.png d.tif e.TIFF f.dng g.fit h.fits i.fts", ""},
		{"packed FITS", "a.fits.gz b.fit.fz c.FTS.GZ", "a.fits.gz b.fit.fz c.FTS.GZ", ""},
		{"other things packed", "a.tar.gz b.gz c.fz d.jpg.gz", "", "a.tar.gz b.gz c.fz d.jpg.gz"},
		{"raw files alone", "a.CR2 b.nef c.cr3 d.CRW e.mrw", "a.CR2 b.nef c.cr3 d.CRW e.mrw", ""},
		{"a raw file beside its picture", "a.nef a.JPG b.jpg b.cr3 c.nef", "a.JPG b.jpg c.nef", ""},
		{"a raw file beside its packed picture", "a.nef a.fits.gz", "a.fits.gz", ""},
		{"HEIC alone, to be told why not", "a.HEIC b.heif c.hif", "a.HEIC b.heif c.hif", ""},
		{"HEIC beside its JPEG", "a.heic a.jpg", "a.jpg", ""},
		{"what lies beside pictures by right", "a.csv b.json c.jsonl d.html e.toml .hidden.jpg", "", ""},
		{"what is on its way", "a.jpg.part b.jpg~ c.tmp d.crdownload e.jpg.partial .f.jpg-1.part", "", ""},
		{"strangers", "a.txt b.mov README", "", "a.txt b.mov README"},
	} {
		t.Run(row.what, func(t *testing.T) {
			tried, strange := formats.Pictures(strings.Fields(row.names))
			if want := strings.Fields(row.tried); !slices.Equal(tried, want) {
				t.Errorf("tried %q, want %q", tried, want)
			}
			if want := strings.Fields(row.strange); !slices.Equal(strange, want) {
				t.Errorf("strange %q, want %q", strange, want)
			}
		})
	}
}

// TestAccept: a phone keeps sending JPEG in place of HEIC only while it is not asked for HEIC.
func TestAccept(t *testing.T) {
	list := strings.Split(formats.Accept(), ",")
	for _, want := range []string{"image/*", ".dng", ".fits", ".gz", ".fz", ".nef"} {
		if !slices.Contains(list, want) {
			t.Errorf("%s is not in %q", want, list)
		}
	}
	if slices.Contains(list, ".heic") {
		t.Errorf(".heic is in %q", list)
	}
}
