//go:build unix

package face

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"
)

// vigil is a trueturn live that runs as a process of its own, with main's own handling of signals.
type vigil struct {
	t    *testing.T
	c    *exec.Cmd
	link *url.URL
	said bytes.Buffer // on stderr; to be read when it has ended
	over chan struct{}
}

// beginVigil starts live; before is a shell's word ahead of it, as in trap.
func beginVigil(t *testing.T, before string) *vigil {
	t.Helper()
	dir := t.TempDir()
	e := &vigil{t: t, c: program(t, dir, "live", "--session-dir", "session"), over: make(chan struct{})}
	if before != "" {
		e.c.Args = append([]string{"sh", "-c", before + `; exec "$0" "$@"`, e.c.Path}, e.c.Args[1:]...)
		e.c.Path = "/bin/sh"
	}
	e.c.Stderr = &e.said
	out, err := e.c.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := e.c.Start(); err != nil {
		t.Fatal(err)
	}
	line, err := bufio.NewReader(out).ReadString('\n')
	if err != nil {
		e.c.Wait()
		t.Fatalf("live printed %q and ended:\n%s", line, &e.said)
	}
	if e.link, err = url.Parse(strings.TrimSpace(line[strings.LastIndex(line, " ")+1:])); err != nil {
		t.Fatal(err)
	}
	go func() {
		e.c.Wait()
		close(e.over)
	}()
	return e
}

// answers is whether the page says where it stands.
func (e *vigil) answers() error {
	resp, err := http.Get(e.link.String() + "state")
	if err != nil {
		return err
	}
	defer resp.Body.Close()
	if _, err := io.Copy(io.Discard, resp.Body); err != nil || resp.StatusCode != http.StatusOK {
		return fmt.Errorf("%s, %v", resp.Status, err)
	}
	return nil
}

// ended waits for the end and wants the session to be kept and told of.
func (e *vigil) ended() {
	e.t.Helper()
	<-e.over // the process has its time limit
	if code := e.c.ProcessState.ExitCode(); code != exitInterrupted {
		e.t.Errorf("it ended by itself: %v, want exit code %d", e.c.ProcessState, exitInterrupted)
	}
	if said := e.said.String(); !strings.Contains(said, "\nstopped; the session is kept in") || strings.Contains(said, "error:") {
		e.t.Errorf("it said:\n%s", said)
	}
}

// visit sends words to the page, does what is left and resets the connection.
func (e *vigil) visit(words string, then func(*net.TCPConn)) error {
	c, err := net.Dial("tcp", e.link.Host)
	if err != nil {
		return err
	}
	t := c.(*net.TCPConn)
	defer t.Close()
	if err := t.SetLinger(0); err != nil { // closing resets; what was not sent or read is thrown away
		return err
	}
	if _, err := io.WriteString(t, words); err == nil {
		then(t)
	}
	return nil
}

// visits makes many, some at a time.
func (e *vigil) visits(count int, words func(i int) string, then func(*net.TCPConn)) {
	e.t.Helper()
	const together = 8
	var g sync.WaitGroup
	for first := range together {
		g.Go(func() {
			for i := first; i < count; i += together {
				if err := e.visit(words(i), then); err != nil {
					e.t.Errorf("visit %d: %v", i, err)
					return
				}
			}
		})
	}
	g.Wait()
	if err := e.answers(); err != nil {
		e.t.Errorf("after %d visits: %v", count, err)
	}
}

// TestVisitorsEndNothing: whatever those at the other end of a connection do, the evening goes on.
func TestVisitorsEndNothing(t *testing.T) {
	t.Parallel()
	e := beginVigil(t, "")
	get := func(path string) string {
		return fmt.Sprintf("GET %s HTTP/1.1\r\nHost: %s\r\n\r\n", path, e.link.Host)
	}
	t.Run("resets after a half-close, with and without the link", func(t *testing.T) {
		e.visits(3000, func(i int) string {
			if i%2 == 0 {
				return strings.Repeat(get("/"), 20)
			}
			return strings.Repeat(get(e.link.Path+"page.js"), 20)
		}, func(c *net.TCPConn) { c.CloseWrite() })
	})
	t.Run("streams of events closed with unread data", func(t *testing.T) {
		e.visits(200, func(int) string { return get(e.link.Path + "events") }, func(c *net.TCPConn) { c.Read(make([]byte, 1)) })
	})
	t.Run("uploads that break off", func(t *testing.T) {
		const begun = "--x\r\nContent-Disposition: form-data; name=\"picture\"; filename=\"sky.jpg\"\r\n\r\n\xff\xd8\xff"
		e.visits(200, func(i int) string {
			return fmt.Sprintf("POST %supload HTTP/1.1\r\nHost: %s\r\nContent-Type: multipart/form-data; boundary=x\r\nContent-Length: 1000000\r\n\r\n%s%s",
				e.link.Path, e.link.Host, begun, strings.Repeat("x", i*100))
		}, func(*net.TCPConn) {})
	})
	e.c.Process.Signal(os.Interrupt)
	e.ended()
}

// TestHangUp: a terminal that is closed ends live as Ctrl-C does, however often the shell and the system say so;
// under nohup, which has the signal ignored, it goes on.
func TestHangUp(t *testing.T) {
	t.Parallel()
	t.Run("closed", func(t *testing.T) {
		t.Parallel()
		e := beginVigil(t, "")
		for range 3 {
			e.c.Process.Signal(syscall.SIGHUP)
		}
		e.ended()
	})
	t.Run("ignored from the start", func(t *testing.T) {
		t.Parallel()
		e := beginVigil(t, "trap '' HUP")
		e.c.Process.Signal(syscall.SIGHUP)
		time.Sleep(200 * time.Millisecond) // what should not come
		if err := e.answers(); err != nil {
			t.Error(err)
		}
		e.c.Process.Signal(os.Interrupt)
		e.ended()
	})
}

// TestReaderGoesAwayQuietly: a reader of the output who has what he wants, as head does, hears nothing more.
func TestReaderGoesAwayQuietly(t *testing.T) {
	t.Parallel()
	for _, row := range []struct {
		name string
		args []string
		code int
	}{
		{"done by then", []string{"pole", "--site", "46.02,7.75", "--time", "2026-11-25T21:00:00Z"}, exitAnswered},
		{"JSON", []string{"pole", "--json", "--site", "46.02,7.75", "--time", "2026-11-25T21:00:00Z"}, exitAnswered},
		{"help", []string{"expose", "--help"}, exitAnswered},
		{"at work", []string{"demo"}, exitInterrupted},
		{"a page nobody hears of", []string{"live", "--session-dir", "session"}, exitInterrupted},
	} {
		t.Run(row.name, func(t *testing.T) {
			t.Parallel()
			c := program(t, t.TempDir(), row.args...)
			r, w, err := os.Pipe()
			if err != nil {
				t.Fatal(err)
			}
			r.Close()
			var said bytes.Buffer
			c.Stdout, c.Stderr = w, &said
			err = c.Run()
			w.Close()
			var exit *exec.ExitError
			if err != nil && !errors.As(err, &exit) {
				t.Fatal(err)
			}
			if code := c.ProcessState.ExitCode(); code != row.code {
				t.Errorf("%v, want exit code %d", c.ProcessState, row.code)
			}
			if strings.Contains(said.String(), "error:") {
				t.Errorf("it said:\n%s", &said)
			}
		})
	}
}
