package licence

import (
	"path/filepath"
	"strings"
	"testing"
)

// TestCollect: each part's own words are there, once, and only of what is built in: a Windows program holds a module more.
func TestCollect(t *testing.T) {
	for _, row := range []struct {
		program Program
		has     map[string]string // words of the licence
		lacks   string
	}{
		{Program{"trueturn/cmd/trueturn", "linux", "amd64"}, map[string]string{
			"trueturn":                         "THIS SOFTWARE IS PROVIDED",
			"Go, its library and wasm_exec.js": "Copyright 2009 The Go Authors.",
			"The stars: Hipparcos (ESA, 1997), by way of d3-celestial 0.7.35":                 "Copyright (c) 2015, Olaf Frohn",
			"The Sun: VSOP87 (P. Bretagnon and G. Francou, 1988), by way of astronomia 4.1.1": "Commenthol",
			"github.com/spf13/cobra v":                                        "Apache License",
			"gonum.org/v1/gonum v0.17.0: THIRD_PARTY_LICENSES/Cephes-LICENSE": "Stephen L. Moshier",
		}, "mousetrap"},
		{Program{"trueturn/cmd/trueturn", "windows", "arm64"}, map[string]string{"github.com/inconshreveable/mousetrap v": "Apache License"}, "fitsio"},
		{Program{"trueturn/cmd/phone", "js", "wasm"}, map[string]string{"The stars: ": "Olaf Frohn", "github.com/spf13/cobra v": "Apache License"}, "fsnotify"},
	} {
		t.Run(filepath.Base(row.program.Package)+" "+row.program.OS, func(t *testing.T) {
			all, err := Collect(t.Context(), row.program, row.program)
			if err != nil {
				t.Fatal(err)
			}
			seen := map[string]bool{}
			for _, l := range all {
				if seen[l.Of] || strings.Contains(l.Of, row.lacks) || len(l.Text) < 100 {
					t.Errorf("%s should not be there, or not twice, or says too little: %.80q", l.Of, l.Text)
				}
				seen[l.Of] = true
			}
			for of, words := range row.has {
				if !found(all, of, words) {
					t.Errorf("nothing of %q says %q", of, words)
				}
			}
		})
	}
}

func found(all []Licence, of, words string) bool {
	for _, l := range all {
		if strings.HasPrefix(l.Of, of) && strings.Contains(l.Text, words) {
			return true
		}
	}
	return false
}
