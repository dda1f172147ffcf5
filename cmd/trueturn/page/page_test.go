package page

import (
	"bytes"
	"context"
	"errors"
	"io"
	"mime/multipart"
	"net"
	"net/http"
	"net/textproto"
	"net/url"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"
	"trueturn/cmd/session/evening"
	"trueturn/cmd/trueturn/page/disk"
)

// served is a page being served to this test.
type served struct {
	t    *testing.T
	page *Page
	host string // 127.0.0.1:port
	path string // /token/
	stop context.CancelFunc
	done chan error
}

// serve opens and serves a page in a folder of its own; it is stopped when the test ends.
func serve(t *testing.T, set ...func(*Options)) *served {
	t.Helper()
	o := Options{SessionDir: filepath.Join(t.TempDir(), "session"), Title: "Trial"}
	for _, f := range set {
		f(&o)
	}
	p, err := Open(o)
	if err != nil {
		t.Fatal(err)
	}
	return start(t, p)
}

func start(t *testing.T, p *Page) *served {
	t.Helper()
	u, err := url.Parse(p.URL())
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	s := &served{t: t, page: p, host: u.Host, path: u.Path, stop: stop, done: make(chan error, 1)}
	go func() { s.done <- p.Serve(ctx) }()
	t.Cleanup(s.end)
	return s
}

// end stops the page and wants it to stop without complaint. Twice is once.
func (s *served) end() {
	s.stop()
	if s.done == nil {
		return
	}
	select {
	case err := <-s.done:
		if err != nil {
			s.t.Errorf("Serve: %v", err)
		}
	case <-time.After(evening.Patience):
		s.t.Error("Serve does not end")
	}
	s.done = nil
}

// client keeps no connection: each request is a browser of its own.
var client = &http.Client{
	Transport:     &http.Transport{DisableKeepAlives: true},
	CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	Timeout:       evening.Patience,
}

// do sends a request to a path below the link.
func (s *served) do(method, path string, body io.Reader, header ...string) (*http.Response, string) {
	s.t.Helper()
	r, err := http.NewRequest(method, "http://"+s.host+s.path+path, body)
	if err != nil {
		s.t.Fatal(err)
	}
	for i := 0; i+1 < len(header); i += 2 {
		r.Header.Set(header[i], header[i+1])
	}
	resp, err := client.Do(r)
	if err != nil {
		s.t.Fatal(err)
	}
	defer resp.Body.Close()
	text, err := io.ReadAll(resp.Body)
	if err != nil {
		s.t.Fatal(err)
	}
	return resp, string(text)
}

// raw sends bytes as they are, and reads until the other side ends the connection or the time is up.
func (s *served) raw(request string) string {
	s.t.Helper()
	c := s.dial()
	defer c.Close()
	c.SetDeadline(time.Now().Add(evening.Patience))
	if _, err := io.WriteString(c, request); err != nil {
		s.t.Fatal(err)
	}
	answer, err := io.ReadAll(c)
	if err != nil {
		s.t.Fatalf("%q: %v", request, err)
	}
	return string(answer)
}

func (s *served) dial() net.Conn {
	s.t.Helper()
	c, err := net.Dial("tcp", s.host)
	if err != nil {
		s.t.Fatal(err)
	}
	return c
}

// sentPart is one part of a form.
type sentPart struct{ field, file, content string }

// form is an upload as a browser sends it.
func form(parts ...sentPart) (body *bytes.Buffer, kind string) {
	body = &bytes.Buffer{}
	w := multipart.NewWriter(body)
	for _, p := range parts {
		h := textproto.MIMEHeader{}
		h.Set("Content-Disposition", `form-data; name="`+p.field+`"; filename="`+strings.NewReplacer("\r", "%0D", "\n", "%0A", `"`, "%22").Replace(p.file)+`"`)
		h.Set("Content-Type", "image/jpeg")
		to, _ := w.CreatePart(h)
		io.WriteString(to, p.content)
	}
	w.Close()
	return body, w.FormDataContentType()
}

// eventually waits for what happens soon.
func eventually(t *testing.T, what string, is func() bool) {
	t.Helper()
	for end := time.Now().Add(evening.Patience); time.Now().Before(end); time.Sleep(10 * time.Millisecond) {
		if is() {
			return
		}
	}
	t.Fatalf("never: %s", what)
}

// TestServeLeavesNothing: whatever browsers do, when the page has stopped there are as many goroutines
// as before, and the port can be had again.
func TestServeLeavesNothing(t *testing.T) {
	before := runtime.NumGoroutine() // no other test runs: those that run beside each other come later
	p, err := Open(Options{SessionDir: filepath.Join(t.TempDir(), "session")})
	if err != nil {
		t.Fatal(err)
	}
	p.limits.stop = time.Second
	s := start(t, p)
	stalled := s.dial()
	defer stalled.Close()
	io.WriteString(stalled, "GET "+s.path+"events HTTP/1.1\r\nHost: "+s.host+"\r\n\r\n")
	silent := s.dial()
	defer silent.Close()
	half := s.dial()
	defer half.Close()
	io.WriteString(half, "POST "+s.path+"upload HTTP/1.1\r\nHost: "+s.host+"\r\nContent-Type: multipart/form-data; boundary=b\r\nContent-Length: 1000\r\n\r\n--b\r\n")
	eventually(t, "one follows the events, one sends", func() bool { return len(s.page.streams) == 1 && len(s.page.uploads) == 1 })
	s.end()
	eventually(t, "no goroutine left", func() bool { return runtime.NumGoroutine() <= before })
	l, err := net.Listen("tcp", s.host)
	if err != nil {
		t.Fatal(err)
	}
	l.Close()
}

// TestStopIsPrompt: browsers that merely listen do not hold up the end.
func TestStopIsPrompt(t *testing.T) {
	p, err := Open(Options{SessionDir: filepath.Join(t.TempDir(), "session")})
	if err != nil {
		t.Fatal(err)
	}
	p.limits.stop = time.Hour // who is waited for, is waited for longer than the test lasts
	s := start(t, p)
	for range 10 {
		c := s.dial()
		defer c.Close()
		io.WriteString(c, "GET "+s.path+"events HTTP/1.1\r\nHost: "+s.host+"\r\n\r\n")
	}
	eventually(t, "ten follow the events", func() bool { return len(s.page.streams) == 10 })
	s.end()
}

// TestRestart: the link holds after a restart, so that browsers find their way back; a link that somebody
// damaged is replaced.
func TestRestart(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "session")
	in := func(o *Options) { o.SessionDir = dir }
	first := serve(t, in)
	first.end()
	second := serve(t, in)
	if got, want := second.page.URL(), first.page.URL(); got != want {
		t.Errorf("after a restart at %s, before at %s", got, want)
	}
	second.end()
	info, err := os.Stat(filepath.Join(dir, linkFile))
	if err != nil {
		t.Fatal(err)
	}
	if runtime.GOOS != "windows" && info.Mode().Perm() != 0o600 {
		t.Errorf("others may read the link: %v", info.Mode())
	}
	for _, damaged := range []string{"", "{", `{"token":""}`, `{"token":"short","port":1}`, `{"token":"../../../../etc/passwd"}`, strings.Repeat(" ", 1<<20)} {
		if err := os.WriteFile(filepath.Join(dir, linkFile), []byte(damaged), 0o600); err != nil {
			t.Fatal(err)
		}
		s := serve(t, in)
		if len(s.path) != len(first.path) || s.path == first.path {
			t.Errorf("%.20q: the link is %s", damaged, s.path)
		}
		s.end()
	}
}

// TestOpenErrors: the cause and the way out; nothing is left open.
func TestOpenErrors(t *testing.T) {
	used, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer used.Close()
	file := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	inUse := serve(t)
	noLink := t.TempDir()
	if err := os.MkdirAll(filepath.Join(noLink, linkFile, "in the way"), 0o700); err != nil {
		t.Fatal(err)
	}
	for _, row := range []struct {
		name string
		o    Options
		text string
	}{
		{"address", Options{Listen: "nowhere:port", SessionDir: t.TempDir()}, "the port is not a number"},
		{"port in use", Options{Listen: used.Addr().String(), SessionDir: t.TempDir()}, "in use by another program"},
		{"session is a file", Options{SessionDir: file}, "not a directory"},
		{"session below a file", Options{SessionDir: filepath.Join(file, "session")}, "not a directory"},
		{"session in use", Options{SessionDir: inUse.page.SessionDir()}, disk.ErrInUse.Error()},
		{"link cannot be kept", Options{SessionDir: noLink}, "cannot be written"},
		{"no folder to watch", Options{Dir: filepath.Join(file, "x"), SessionDir: t.TempDir()}, "not a directory"},
	} {
		t.Run(row.name, func(t *testing.T) {
			p, err := Open(row.o)
			if err == nil {
				p.listener.Close()
				t.Fatal("no error")
			}
			if !strings.Contains(err.Error(), row.text) || hintOf(err) == "" {
				t.Errorf("error %q, hint %q; want %q in it, and a hint", err, hintOf(err), row.text)
			}
			if row.o.SessionDir == inUse.page.SessionDir() {
				return
			}
			if folder, err := disk.Open(row.o.SessionDir, ""); errors.Is(err, disk.ErrInUse) {
				t.Error("the session folder is still locked")
			} else if err == nil {
				folder.Close()
			}
		})
	}
}
