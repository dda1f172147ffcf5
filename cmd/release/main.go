// Command release builds what a photographer without Go downloads: for each platform one archive with the program, the page
// for the phone alone, the README and the licences of all of it, and their sums.
//
//	go run ./cmd/release --out dist                                  all platforms, as before a release
//	go run ./cmd/release --out dist --only linux/amd64,windows/arm64   these alone, as Go names them
//
// The same commit and the same Go give the same bytes: paths are trimmed, nothing of C is linked, what the environment says to
// the compiler is set aside, and files in archives have a fixed order and the commit's time. The program notes its commit itself
// where the Go command tells it; where that does not (a linked worktree of git), the linker does.
//
// Linux and Windows programs are static. Those for macOS need the system's own library, which is how macOS wants it, and carry
// the linker's signature of nobody, without which Apple's processors start nothing. Android's, for a terminal there, is started
// by the system's linker as all of Android's are and needs no library; it was tried under an emulator with another linker in
// that one's place, never on Android.
package main

import (
	"context"
	"crypto/sha256"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/signal"
	"path/filepath"
	"slices"
	"strings"

	"trueturn/cmd/trueturn/files"
)

// platform is what a program is built for, as Go names it.
type platform struct{ system, arch string }

func (p platform) String() string { return p.system + "/" + p.arch }

// platforms are all there are.
var platforms = [...]platform{
	{"linux", "amd64"}, {"linux", "arm64"}, {"darwin", "amd64"}, {"darwin", "arm64"}, {"windows", "amd64"}, {"windows", "arm64"}, {"android", "arm64"},
}

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	if err := run(ctx, os.Args[1:], os.Stdout); err != nil {
		fmt.Fprintln(os.Stderr, "error: "+err.Error())
		fmt.Fprintln(os.Stderr, "hint: go run ./cmd/release --out DIR builds all; --only OS/ARCH,… some of "+strings.Trim(fmt.Sprint(platforms), "[]"))
		os.Exit(1)
	}
}

func run(ctx context.Context, args []string, out io.Writer) error {
	fs := flag.NewFlagSet("release", flag.ContinueOnError)
	fs.SetOutput(io.Discard)
	dir := fs.String("out", "", "folder to build into")
	var chosen []platform
	fs.Func("only", "OS/ARCH, as often as wanted or parted by commas", func(list string) error { return choose(&chosen, list) })
	if err := fs.Parse(args); err != nil {
		return err
	}
	if fs.NArg() > 0 || *dir == "" {
		return errors.New("say where it shall go")
	}
	if chosen == nil {
		chosen = platforms[:]
	}
	all, err := release(ctx, chosen, out)
	if err != nil {
		return err
	}
	return write(*dir, all)
}

// choose adds the platforms of a list.
func choose(chosen *[]platform, list string) error {
	for word := range strings.SplitSeq(list, ",") {
		at := slices.IndexFunc(platforms[:], func(p platform) bool { return p.String() == word })
		if at < 0 {
			return fmt.Errorf("%q is none of the platforms", word)
		}
		if !slices.Contains(*chosen, platforms[at]) {
			*chosen = append(*chosen, platforms[at])
		}
	}
	return nil
}

// packed is a file to be handed out.
type packed struct {
	name    string
	content []byte
}

// sumsName is the file of sums, in the form that sha256sum -c and shasum -a 256 -c read.
const sumsName = "SHA256SUMS"

// release is all archives, the sums last. Nothing is written before all is there: a file more in the checkout would be a change
// that the next program notes.
func release(ctx context.Context, chosen []platform, out io.Writer) ([]packed, error) {
	w, err := newWorkshop(ctx)
	if err != nil {
		return nil, err
	}
	defer w.close()
	if w.commit.revision == "" {
		fmt.Fprintln(out, "note: git tells no commit here, and the programs will not either")
	}
	var all []packed
	var sums strings.Builder
	for _, p := range chosen {
		a, err := w.archive(ctx, p)
		if err != nil {
			return nil, fmt.Errorf("%v: %w", p, err)
		}
		fmt.Fprintf(&sums, "%x  %s\n", sha256.Sum256(a.content), a.name)
		fmt.Fprintf(out, "%s, %.1f MB\n", a.name, float64(len(a.content))/1e6)
		all = append(all, a)
	}
	return append(all, packed{sumsName, []byte(sums.String())}), nil
}

func write(dir string, all []packed) error {
	if err := files.MakeFolder(dir, 0o755); err != nil {
		return err
	}
	for _, f := range all {
		err := files.Write(filepath.Join(dir, f.name), 0o644, func(w io.Writer) error {
			_, err := w.Write(f.content)
			return err
		})
		if err != nil {
			return err
		}
	}
	return nil
}
