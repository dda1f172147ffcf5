package main

import (
	"bytes"
	"context"
	"debug/buildinfo"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime/debug"
	"slices"
	"strconv"
	"strings"
	"time"

	"trueturn/cmd/licence"
)

const program = "trueturn/cmd/trueturn"

// commit is what git tells of the checkout; the zero value where it tells nothing.
type commit struct {
	revision string
	at       time.Time
	modified bool
}

// settings are the commit as the Go command notes it.
func (c commit) settings() string {
	return fmt.Sprintf("vcs.revision=%s vcs.time=%s vcs.modified=%t", c.revision, c.at.Format(time.RFC3339), c.modified)
}

// workshop is what all archives have in common.
type workshop struct {
	root   string   // of the module
	dir    string   // for files on the way
	env    []string // for the Go command
	commit commit
	shared []entry // of every archive: the page, the README
}

func newWorkshop(ctx context.Context) (_ *workshop, err error) {
	w := &workshop{}
	mod, err := output(ctx, "", os.Environ(), "go", "env", "GOMOD")
	if err != nil {
		return nil, err
	}
	w.root = filepath.Dir(mod)
	w.commit = commitOf(ctx, w.root)
	w.env = environment(w.commit.revision != "")
	if w.dir, err = os.MkdirTemp("", "trueturn-release-"); err != nil {
		return nil, err
	}
	if err := w.share(ctx); err != nil {
		w.close()
		return nil, err
	}
	return w, nil
}

func (w *workshop) close() { os.RemoveAll(w.dir) }

// environment sets aside what a user's says to the compiler. Asked to note the commit where git refuses to tell it, the Go
// command would fail.
func environment(noted bool) []string {
	return append(os.Environ(), "GOFLAGS=-trimpath -buildvcs="+strconv.FormatBool(noted), "GOOS=", "GOARCH=", "GOAMD64=v1", "GOARM64=v8.0", "CGO_ENABLED=0")
}

// commitOf asks git.
func commitOf(ctx context.Context, root string) commit {
	told, err := output(ctx, root, os.Environ(), "git", "log", "-1", "--no-show-signature", "--format=%H %ct")
	if err != nil {
		return commit{}
	}
	revision, second, _ := strings.Cut(told, " ")
	s, err := strconv.ParseInt(second, 10, 64)
	if err != nil {
		return commit{}
	}
	changes, err := output(ctx, root, os.Environ(), "git", "status", "--porcelain")
	if err != nil {
		return commit{}
	}
	return commit{revision, time.Unix(s, 0).UTC(), changes != ""}
}

// output is what a command says, without the line's end; where it fails, why.
func output(ctx context.Context, dir string, env []string, name string, args ...string) (string, error) {
	var said bytes.Buffer
	c := exec.CommandContext(ctx, name, args...)
	c.Dir, c.Env, c.Stderr = dir, env, &said
	text, err := c.Output()
	if err != nil {
		return "", fmt.Errorf("%s %s: %w\n%s", name, args[0], err, said.Bytes())
	}
	return strings.TrimSpace(string(text)), nil
}

// share makes what every archive holds. The page is built as anyone builds it.
func (w *workshop) share(ctx context.Context) error {
	page := filepath.Join(w.dir, "phone")
	if _, err := output(ctx, w.root, w.env, "go", "run", "trueturn/cmd/phone", "--out", page); err != nil {
		return err
	}
	for _, from := range []string{filepath.Join(page, "trueturn.html"), filepath.Join(w.root, "README.md")} {
		content, err := os.ReadFile(from)
		if err != nil {
			return err
		}
		w.shared = append(w.shared, entry{filepath.Base(from), 0o644, content})
	}
	return nil
}

// archive is all that one platform's users download.
func (w *workshop) archive(ctx context.Context, p platform) (packed, error) {
	built, err := w.program(ctx, p)
	if err != nil {
		return packed{}, err
	}
	terms, err := licence.Collect(ctx, licence.Program{Package: program, OS: p.system, Arch: p.arch}, licence.Program{Package: "trueturn/cmd/phone", OS: "js", Arch: "wasm"})
	if err != nil {
		return packed{}, err
	}
	entries := append([]entry{{p.executable(), 0o755, built}}, w.shared...)
	entries = append(entries, entry{"LICENCES.txt", 0o644, licencesText(terms)})
	at := w.commit.at
	if at.IsZero() {
		at = someTime
	}
	return pack(p, entries, at)
}

// program is the executable. What the Go command does not note of a commit that git knows, the linker does.
func (w *workshop) program(ctx context.Context, p platform) ([]byte, error) {
	path := filepath.Join(w.dir, p.executable())
	if err := w.link(ctx, p, path, ""); err != nil {
		return nil, err
	}
	info, err := buildinfo.ReadFile(path)
	if err != nil {
		return nil, err
	}
	told := slices.ContainsFunc(info.Settings, func(s debug.BuildSetting) bool { return s.Key == "vcs.revision" })
	if !told && w.commit.revision != "" {
		if err := w.link(ctx, p, path, " -X 'main.noted="+w.commit.settings()+"'"); err != nil {
			return nil, err
		}
	}
	return os.ReadFile(path)
}

func (w *workshop) link(ctx context.Context, p platform, path, noted string) error {
	env := append(slices.Clone(w.env), "GOOS="+p.system, "GOARCH="+p.arch)
	_, err := output(ctx, w.root, env, "go", "build", "-ldflags=-s -w"+noted, "-o", path, program)
	return err
}
