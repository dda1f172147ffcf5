package main

import (
	"archive/tar"
	"archive/zip"
	"bytes"
	"compress/gzip"
	"context"
	"crypto/sha256"
	"debug/buildinfo"
	"fmt"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"
)

// unpacked are an archive's files by name, and the names in order.
type unpacked struct {
	names   []string
	modes   map[string]fs.FileMode
	content map[string][]byte
}

// unpack reads an archive by what its name says it is.
func unpack(t *testing.T, a packed) unpacked {
	t.Helper()
	u := unpacked{modes: map[string]fs.FileMode{}, content: map[string][]byte{}}
	add := func(name string, mode fs.FileMode, r io.Reader) {
		content, err := io.ReadAll(r)
		if err != nil {
			t.Fatal(err)
		}
		u.names, u.modes[name], u.content[name] = append(u.names, name), mode, content
	}
	if strings.HasSuffix(a.name, ".zip") {
		z, err := zip.NewReader(bytes.NewReader(a.content), int64(len(a.content)))
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range z.File {
			r, err := f.Open()
			if err != nil {
				t.Fatal(err)
			}
			add(f.Name, f.Mode(), r)
		}
		return u
	}
	z, err := gzip.NewReader(bytes.NewReader(a.content))
	if err != nil {
		t.Fatal(err)
	}
	for r := tar.NewReader(z); ; {
		h, err := r.Next()
		if err == io.EOF {
			return u
		}
		if err != nil {
			t.Fatal(err)
		}
		add(h.Name, h.FileInfo().Mode(), r)
	}
}

// TestReleaseOfTheHost: what is built for this machine runs from the archive and tells its commit, all that the toolchain says
// is in it has its licence there, the sums are right, and a second time gives the same bytes.
func TestReleaseOfTheHost(t *testing.T) {
	if testing.Short() {
		t.Skip("builds the program and the page twice")
	}
	host := platform{runtime.GOOS, runtime.GOARCH}
	if !slices.Contains(platforms[:], host) {
		t.Skipf("no program is made for %v", host)
	}
	all, err := release(t.Context(), []platform{host}, io.Discard)
	if err != nil {
		t.Fatal(err)
	}
	again, err := release(t.Context(), []platform{host}, io.Discard)
	if err != nil {
		t.Fatal(err)
	}
	for i, f := range all {
		if !bytes.Equal(f.content, again[i].content) {
			t.Errorf("%s is another when built again", f.name)
		}
	}
	if want := fmt.Sprintf("%x  %s\n", sha256.Sum256(all[0].content), all[0].name); all[1].name != sumsName || string(all[1].content) != want {
		t.Errorf("%s says %q, want %q", all[1].name, all[1].content, want)
	}
	u := unpack(t, all[0])
	checkFiles(t, u, host)
	checkLicences(t, u, host)
	checkVersion(t, u, host)
}

func checkFiles(t *testing.T, u unpacked, p platform) {
	t.Helper()
	want := []string{p.executable(), "trueturn.html", "README.md", "LICENCES.txt"}
	for i := range want {
		want[i] = p.folder() + "/" + want[i]
	}
	if !slices.Equal(u.names, want) {
		t.Fatalf("it holds %q, want %q", u.names, want)
	}
	if m := u.modes[want[0]]; m&0o111 != 0o111 {
		t.Errorf("the program's mode is %v", m)
	}
	if !bytes.HasPrefix(u.content[want[1]], []byte("<!DOCTYPE html>")) {
		t.Errorf("the page begins %.40q", u.content[want[1]])
	}
}

// checkLicences holds the texts to the modules that the toolchain wrote into the program.
func checkLicences(t *testing.T, u unpacked, p platform) {
	t.Helper()
	info, err := buildinfo.Read(bytes.NewReader(u.content[p.folder()+"/"+p.executable()]))
	if err != nil {
		t.Fatal(err)
	}
	if len(info.Deps) < 10 { // else this check is worth nothing
		t.Errorf("only %d modules", len(info.Deps))
	}
	text := string(u.content[p.folder()+"/LICENCES.txt"])
	for _, d := range info.Deps {
		if !strings.Contains(text, "\n"+d.Path+" "+d.Version+"\n") {
			t.Errorf("no licence of %s", d.Path)
		}
	}
}

// checkVersion runs the program.
func checkVersion(t *testing.T, u unpacked, p platform) {
	t.Helper()
	path := filepath.Join(t.TempDir(), p.executable())
	if err := os.WriteFile(path, u.content[p.folder()+"/"+p.executable()], 0o755); err != nil {
		t.Fatal(err)
	}
	said, err := exec.CommandContext(t.Context(), path, "--version").CombinedOutput()
	if err != nil {
		t.Fatalf("%v\n%s", err, said)
	}
	want := "commit not noted"
	if c := commitOf(t.Context(), "."); c.revision != "" {
		want = "commit " + c.revision[:12]
	}
	if !strings.HasPrefix(string(said), "trueturn ") || !strings.Contains(string(said), want) {
		t.Errorf("it says %q, want %q in it", said, want)
	}
}

// TestReleaseArchives: both kinds of archive give back what was put in, and are the same twice.
func TestReleaseArchives(t *testing.T) {
	at := time.Date(2026, 11, 25, 10, 0, 1, 0, time.UTC)
	for _, p := range platforms {
		t.Run(p.folder(), func(t *testing.T) {
			in := []entry{{p.executable(), 0o755, []byte("\x7fprogram")}, {"README.md", 0o644, bytes.Repeat([]byte("words "), 1000)}}
			a, err := pack(p, in, at)
			if err != nil {
				t.Fatal(err)
			}
			if b, err := pack(p, in, at); err != nil || !bytes.Equal(a.content, b.content) {
				t.Errorf("packed again it differs: %v", err)
			}
			u := unpack(t, a)
			for _, e := range in {
				name := p.folder() + "/" + e.name
				if !bytes.Equal(u.content[name], e.content) || u.modes[name] != e.mode {
					t.Errorf("%s: %v, %d bytes", name, u.modes[name], len(u.content[name]))
				}
			}
		})
	}
}

// TestReleaseRefuses: what makes no sense is said before anything is built.
func TestReleaseRefuses(t *testing.T) {
	for _, row := range []struct {
		name, want string
		args       []string
	}{
		{"nowhere", "say where", nil},
		{"a word too many", "say where", []string{"--out", "x", "y"}},
		{"unknown platform", `"linux/mips" is none of the platforms`, []string{"--out", "x", "--only", "linux/amd64,linux/mips"}},
	} {
		t.Run(row.name, func(t *testing.T) {
			ctx, stop := context.WithCancel(t.Context())
			stop() // nothing is built
			if err := run(ctx, row.args, io.Discard); err == nil || !strings.Contains(err.Error(), row.want) {
				t.Errorf("%v, want %q", err, row.want)
			}
		})
	}
}

// TestReleaseChoice: platforms come as often as wanted or in a list, each once.
func TestReleaseChoice(t *testing.T) {
	var got []platform
	for _, list := range []string{"linux/arm64,windows/amd64", "linux/arm64", "darwin/arm64"} {
		if err := choose(&got, list); err != nil {
			t.Fatal(err)
		}
	}
	if want := []platform{{"linux", "arm64"}, {"windows", "amd64"}, {"darwin", "arm64"}}; !slices.Equal(got, want) {
		t.Errorf("%v, want %v", got, want)
	}
}
