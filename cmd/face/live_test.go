package face

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"io"
	"mime/multipart"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"
)

// The scripts' commands for a page that stays up while the script goes on:
//
//	live ARG…            start trueturn live; $URL is the end of the line it prints, which is kept as live.out
//	get STATUS PATH      ask for PATH below $URL; what comes is kept as body
//	send STATUS FILE…    upload pictures; what comes is kept as body
//	until TEXT           wait until the page's state has TEXT in it
//	halt CODE            interrupt it and want this exit code; what it said is kept as live.err

// pages are the running programs, by script.
var pages sync.Map

// running is a page that is up.
type running struct {
	c      *exec.Cmd
	stderr bytes.Buffer
	rest   chan string // what it prints after the line
}

func live(ts *testscript.TestScript, neg bool, args []string) {
	self, err := os.Executable()
	ts.Check(err)
	ctx, stop := context.WithTimeout(context.Background(), 9*time.Minute) // ends one that hangs
	ts.Defer(stop)
	r := &running{c: exec.CommandContext(ctx, self, append([]string{"live"}, args...)...), rest: make(chan string, 1)}
	r.c.Dir, r.c.Stderr = ts.MkAbs("."), &r.stderr
	r.c.Env = append(os.Environ(), asProgram+"=1", "GOCOVERDIR="+ts.MkAbs("."))
	out, err := r.c.StdoutPipe()
	ts.Check(err)
	ts.Check(r.c.Start())
	lines := bufio.NewReader(out)
	line, err := lines.ReadString('\n')
	if err != nil {
		r.c.Wait()
		ts.Fatalf("live printed %q and ended:\n%s", line, r.stderr.String())
	}
	go func() {
		rest, _ := io.ReadAll(lines)
		r.rest <- string(rest)
	}()
	ts.Check(os.WriteFile(ts.MkAbs("live.out"), []byte(line), 0o644))
	ts.Setenv("URL", line[strings.LastIndex(line, " ")+1:len(line)-1])
	pages.Store(ts, r)
}

func halt(ts *testscript.TestScript, neg bool, args []string) {
	r := pageOf(ts)
	ts.Check(r.c.Process.Signal(os.Interrupt))
	if rest := <-r.rest; rest != "" {
		ts.Fatalf("live printed more than one line: %q", rest)
	}
	r.c.Wait()
	if got := strconv.Itoa(r.c.ProcessState.ExitCode()); got != args[0] {
		ts.Fatalf("exit code %s, want %s\n%s", got, args[0], r.stderr.String())
	}
	ts.Check(os.WriteFile(ts.MkAbs("live.err"), r.stderr.Bytes(), 0o644))
	pages.Delete(ts)
}

func pageOf(ts *testscript.TestScript) *running {
	r, up := pages.Load(ts)
	if !up {
		ts.Fatalf("no page is up")
	}
	return r.(*running)
}

func get(ts *testscript.TestScript, neg bool, args []string) {
	resp, err := http.Get(below(ts, args[1]))
	ts.Check(err)
	answered(ts, args[0], resp)
}

// below is a path relative to the link.
func below(ts *testscript.TestScript, to string) string {
	u, err := url.Parse(ts.Getenv("URL"))
	ts.Check(err)
	u.Path = path.Join(u.Path, to)
	if strings.HasSuffix(to, "/") || to == "." {
		u.Path += "/"
	}
	return u.String()
}

func answered(ts *testscript.TestScript, want string, resp *http.Response) {
	defer resp.Body.Close()
	text, err := io.ReadAll(resp.Body)
	ts.Check(err)
	ts.Check(os.WriteFile(ts.MkAbs("body"), text, 0o644))
	if strconv.Itoa(resp.StatusCode) != want {
		ts.Fatalf("%s: %s, want %s\n%s", resp.Request.URL, resp.Status, want, text)
	}
}

func send(ts *testscript.TestScript, neg bool, args []string) {
	var body bytes.Buffer
	form := multipart.NewWriter(&body)
	for _, name := range args[1:] {
		to, err := form.CreateFormFile("picture", filepath.Base(name))
		ts.Check(err)
		_, err = io.WriteString(to, ts.ReadFile(name))
		ts.Check(err)
	}
	ts.Check(form.Close())
	resp, err := http.Post(below(ts, "upload"), form.FormDataContentType(), &body)
	ts.Check(err)
	answered(ts, args[0], resp)
}

func until(ts *testscript.TestScript, neg bool, args []string) {
	var text []byte
	for end := time.Now().Add(5 * time.Minute); time.Now().Before(end); time.Sleep(50 * time.Millisecond) {
		resp, err := http.Get(below(ts, "state"))
		ts.Check(err)
		text, err = io.ReadAll(resp.Body)
		resp.Body.Close()
		ts.Check(err)
		if bytes.Contains(text, []byte(args[0])) {
			return
		}
	}
	ts.Fatalf("%q never came; the state is\n%s", args[0], text)
}

// TestPhonePage: the page for the phone alone is found beside the program itself, also where a link to that is started.
func TestPhonePage(t *testing.T) {
	dir, elsewhere := t.TempDir(), t.TempDir()
	program, page := filepath.Join(dir, "trueturn"), filepath.Join(dir, "trueturn.html")
	link := filepath.Join(elsewhere, "trueturn")
	if err := errors.Join(os.WriteFile(program, nil, 0o755), os.Symlink(program, link)); err != nil {
		t.Fatal(err)
	}
	if got := phonePage(program, nil); got != "" {
		t.Errorf("found %q where nothing is", got)
	}
	if err := os.WriteFile(page, nil, 0o644); err != nil {
		t.Fatal(err)
	}
	page, err := filepath.EvalSymlinks(page) // temporary folders may be links themselves
	if err != nil {
		t.Fatal(err)
	}
	for _, start := range []string{program, link} {
		if got := phonePage(start, nil); got != page {
			t.Errorf("from %s: %q, want %q", start, got, page)
		}
	}
	if got := phonePage("", os.ErrNotExist); got != "" {
		t.Errorf("found %q of an unknown program", got)
	}
}
