package page_test

import (
	"bufio"
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"trueturn/cmd/trueturn/browsertest"
	"trueturn/cmd/trueturn/page"
)

// sessionFor names the session folder to the test below, when it is run as a program of its own.
const sessionFor = "TRUETURN_TEST_SESSION"

// TestServeUntilKilled is no test but a server in a process of its own, which others kill.
func TestServeUntilKilled(t *testing.T) {
	dir := os.Getenv(sessionFor)
	if dir == "" {
		t.Skip("only run by TestKilledInChromium")
	}
	o := wanting(5 * time.Minute)
	o.SessionDir = dir
	p, err := page.Open(o)
	if err != nil {
		t.Fatal(err)
	}
	os.Stdout.WriteString("at " + p.URL() + "\n")
	t.Fatal(p.Serve(context.Background()))
}

// process is a server in a process of its own.
type process struct {
	served
	c *exec.Cmd
}

func startProcess(t *testing.T, session string) *process {
	t.Helper()
	c := exec.Command(os.Args[0], "-test.run=^TestServeUntilKilled$")
	c.Env = append(os.Environ(), sessionFor+"="+session)
	out, err := c.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	s := &process{c: c}
	s.t = t
	s.stop = func() {
		c.Process.Kill()
		c.Wait()
	}
	t.Cleanup(s.stop)
	for lines := bufio.NewScanner(out); lines.Scan(); {
		if url, ok := strings.CutPrefix(lines.Text(), "at "); ok {
			s.url = url
			return s
		}
	}
	t.Fatal("the server does not start")
	return nil
}

// TestKilledInChromium: the machine that measures dies in the middle of a batch; what was measured before is there after the restart, what was sent is
// measured then, and the page, left alone, goes on by itself.
func TestKilledInChromium(t *testing.T) {
	t.Parallel()
	b := chromium(t)
	p := newTab(t, b, phone, 844)
	session := filepath.Join(t.TempDir(), "session")
	s := newScene(t, 46, nearer)
	first := startProcess(t, session)
	visit(t, &first.served, p)
	browsertest.Eval[any](p, `window.never = 'loaded again'`)
	before := p.send(&first.served, s.measured()...)
	for range 6 {
		post(t, &first.served, s.take())
	}
	first.stop()
	p.Until("the page says that the line is lost", `document.body.classList.contains('lost') && `+squeezed("#link")+`.includes('lost')`)
	p.shoot("lost")

	again := startProcess(t, session)
	if again.url != first.url {
		t.Errorf("the page moved from %s to %s", first.url, again.url)
	}
	after := again.until("all that was sent is measured", func(v account) bool { return len(v.Frames) == 10 && v.Live.Waiting == 0 && v.Live.Working == "" })
	for i, f := range before.Frames {
		if g := after.Frames[i]; g.File != f.File || g.Stars != f.Stars || g.Matched != f.Matched {
			t.Errorf("before %+v, after the restart %+v", f, g)
		}
	}
	p.Until("the line is back", `!document.body.classList.contains('lost')`)
	p.shows(after)
	p.Until("all pictures are listed", `document.querySelectorAll('#pictures li').length === 10`)
	if got := browsertest.Eval[string](p, `window.never`); got != "loaded again" {
		t.Error("the page was loaded anew")
	}
	// The evening goes on: a turn as asked is understood.
	altitude, azimuth, ok := obeyed(p.sentence())
	if !ok {
		t.Fatalf("no turn is asked: %s", summary(after))
	}
	off := s.off()
	s.turn(altitude, azimuth)
	if v := p.send(&again.served, s.take()); v.Live.Kind == "wrong way" || s.off() > off || v.Live.Phase == "waiting" || v.Live.Phase == "measuring" {
		t.Errorf("after the restart a turn is not understood: %s", summary(v))
	}
	p.quiet(again.url, "ERR_CONNECTION_REFUSED", "ERR_INCOMPLETE_CHUNKED_ENCODING", "ERR_CONNECTION_RESET", "ERR_EMPTY_RESPONSE")
}
