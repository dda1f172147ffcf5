package page

import (
	"bufio"
	"compress/gzip"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"strings"
	"testing"
	"time"
	"trueturn/cmd/session"
	"trueturn/cmd/session/evening"
)

// told is one event as the HTML Living Standard, section 9.2.6, puts it together from lines.
type told struct{ event, id, data, retry string }

// listener is a browser that follows the events.
type listener struct {
	t    *testing.T
	c    net.Conn
	body *bufio.Reader
}

func (s *served) listen() *listener {
	s.t.Helper()
	return s.listenAs("")
}

// listenAs is a browser that sends a further header line.
func (s *served) listenAs(header string) *listener {
	s.t.Helper()
	c := s.dial()
	s.t.Cleanup(func() { c.Close() })
	c.SetDeadline(time.Now().Add(evening.Patience))
	fmt.Fprintf(c, "GET %sevents HTTP/1.1\r\nHost: %s\r\nAccept: text/event-stream\r\n%s\r\n", s.path, s.host, header)
	resp, err := http.ReadResponse(bufio.NewReader(c), nil)
	if err != nil {
		s.t.Fatal(err)
	}
	if resp.StatusCode != http.StatusOK || resp.Header.Get("Content-Type") != "text/event-stream" {
		s.t.Fatalf("events: %s, %s", resp.Status, resp.Header.Get("Content-Type"))
	}
	var body io.Reader = resp.Body
	if resp.Header.Get("Content-Encoding") == "gzip" {
		if body, err = gzip.NewReader(body); err != nil {
			s.t.Fatal(err)
		}
	} else if header != "" {
		s.t.Fatalf("asked with %q, and told unpacked", header)
	}
	return &listener{s.t, c, bufio.NewReader(body)}
}

// TestEventsPacked: a browser that can unpack is told the same at once, packed.
func TestEventsPacked(t *testing.T) {
	s := serve(t)
	l := s.listenAs("Accept-Encoding: br, gzip\r\n")
	for n := range uint64(3) {
		text := fmt.Sprintf(`{"n":%d}`, n)
		s.post(900+n, text)
		for l.message().data != text { // the first may be the state of before
		}
	}
}

// next is what comes up to the next empty line.
func (l *listener) next() told {
	l.t.Helper()
	var e told
	for {
		line, err := l.body.ReadString('\n')
		if err != nil {
			l.t.Fatalf("the stream ended: %v", err)
		}
		name, value, _ := strings.Cut(strings.TrimSuffix(line, "\n"), ":")
		value = strings.TrimPrefix(value, " ")
		switch name {
		case "":
			return e
		case "event":
			e.event = value
		case "id":
			e.id = value
		case "data":
			e.data += value
		case "retry":
			e.retry = value
		default:
			l.t.Fatalf("a line no browser understands: %q", line)
		}
	}
}

// message is the next event with the state in it.
func (l *listener) message() told {
	l.t.Helper()
	for {
		if e := l.next(); e.event == "" && e.data != "" {
			return e
		}
	}
}

func (s *served) post(serial uint64, json string) {
	s.page.session.Board().Post(&session.Word{Serial: serial, JSON: []byte(json)})
}

// TestEventsTellTheState: at once how to come back, then the very object that state gives, and every change.
func TestEventsTellTheState(t *testing.T) {
	s := serve(t)
	l := s.listen()
	if e := l.next(); e.retry == "" || e.data != "" {
		t.Errorf("first %+v, want how soon to come back", e)
	}
	e := l.next()
	_, state := s.do("GET", "state", nil)
	if e.data != state || e.id == "" || e.event != "" {
		t.Errorf("told %+v, want the state as a message with an id:\n%s", e, state)
	}
	var object map[string]json.RawMessage
	if err := json.Unmarshal([]byte(state), &object); err != nil {
		t.Fatal(err)
	}
	for _, key := range []string{"aim", "axis", "error", "advice", "situations", "frames", "live"} {
		if _, there := object[key]; !there {
			t.Errorf("no %q in the state", key)
		}
	}
	s.post(900, `{"n":1}`)
	if e := l.message(); e.id != "900" || e.data != `{"n":1}` {
		t.Errorf("told %+v", e)
	}
}

// TestEventsComeBack: whoever comes back is told the state at once, whatever it was told last: the serial may
// be another session's.
func TestEventsComeBack(t *testing.T) {
	s := serve(t)
	s.post(7, `{"n":7}`)
	for range 2 {
		if e := s.listen().message(); e.id != "7" {
			t.Errorf("told %+v", e)
		}
	}
}

// TestEventsSkip: a browser that is slow is told the latest, not all there was.
func TestEventsSkip(t *testing.T) {
	s := serve(t)
	l := s.listen()
	l.message()
	const posts, size = 400, 64 << 10
	for i := range posts {
		s.post(uint64(1000+i), `{"n":"`+strings.Repeat("x", size)+`"}`)
	}
	last, seen := fmt.Sprint(1000+posts-1), 0
	for e := l.message(); ; e = l.message() {
		seen++
		if e.id == last {
			break
		}
	}
	// What the network's buffers hold is told, far less than all.
	if seen > posts/2 {
		t.Errorf("told %d of %d", seen, posts)
	}
}

// TestEventsStalled: while some browsers take nothing, the others are told without delay.
func TestEventsStalled(t *testing.T) {
	t.Parallel()
	p, err := Open(Options{SessionDir: t.TempDir() + "/session"})
	if err != nil {
		t.Fatal(err)
	}
	p.pace = pace{beat: 50 * time.Millisecond, stall: time.Hour} // who waits for the stalled, waits longer than the test lasts
	s := start(t, p)
	const stalled = 10
	for range stalled {
		c := s.dial()
		defer c.Close()
		if err := c.(*net.TCPConn).SetReadBuffer(4 << 10); err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(c, "GET %sevents HTTP/1.1\r\nHost: %s\r\n\r\n", s.path, s.host)
	}
	eventually(t, "all follow the events", func() bool { return len(p.streams) == stalled })
	l := s.listen()
	l.message()
	big := `{"n":"` + strings.Repeat("x", 4<<20) + `"}`
	s.post(1000, big) // more than the buffers on the way hold
	if e := l.message(); e.id != "1000" {
		t.Errorf("told %s", e.id)
	}
	for i := range uint64(20) {
		s.post(2000+i, `{"n":1}`)
		l.message()
	}
	// So much may take minutes on the slowest link: the stalled are still waited for, which does not hold up the end.
	if got := len(p.streams); got != stalled+1 {
		t.Errorf("%d follow the events, want %d", got, stalled+1)
	}
}

// TestEventsDropped: nobody reads, small things are told for long, and the place is free again.
func TestEventsDropped(t *testing.T) {
	t.Parallel()
	p, err := Open(Options{SessionDir: t.TempDir() + "/session"})
	if err != nil {
		t.Fatal(err)
	}
	p.pace = pace{beat: time.Minute, stall: 300 * time.Millisecond}
	s := start(t, p)
	c := s.dial()
	defer c.Close()
	c.(*net.TCPConn).SetReadBuffer(4 << 10)
	fmt.Fprintf(c, "GET %sevents HTTP/1.1\r\nHost: %s\r\n\r\n", s.path, s.host)
	eventually(t, "it follows the events", func() bool { return len(p.streams) == 1 })
	n := uint64(1000)
	eventually(t, "it is dropped", func() bool {
		for range 50 {
			n++
			s.post(n, `{"n":"`+strings.Repeat("x", 8<<10)+`"}`)
		}
		return len(p.streams) == 0
	})
}

// TestEventsLeave: a browser that goes away frees its place without anything being told.
func TestEventsLeave(t *testing.T) {
	s := serve(t)
	l := s.listen()
	l.message()
	l.c.Close()
	eventually(t, "its place is free", func() bool { return len(s.page.streams) == 0 })
}

// TestEventsBeat: signs of life come by themselves, as an event a script can hear, with nothing to read in it.
func TestEventsBeat(t *testing.T) {
	p, err := Open(Options{SessionDir: t.TempDir() + "/session"})
	if err != nil {
		t.Fatal(err)
	}
	p.pace.beat = 20 * time.Millisecond
	l := start(t, p).listen()
	l.message()
	for range 3 {
		if e := l.next(); e.event != "beat" || e.data != "" || e.id != "" {
			t.Errorf("told %+v, want a beat", e)
		}
	}
}

// TestEventsOutlastTimeouts: a stream lives longer than any answer may take.
func TestEventsOutlastTimeouts(t *testing.T) {
	t.Parallel()
	p, err := Open(Options{SessionDir: t.TempDir() + "/session"})
	if err != nil {
		t.Fatal(err)
	}
	const most = 2 * time.Second // enough for a busy machine to hear a question out
	p.limits.header, p.limits.answer, p.limits.idle = most, most, most
	s := start(t, p)
	l := s.listen()
	l.message()
	time.Sleep(2 * most)
	s.post(1000, `{"n":1}`)
	if e := l.message(); e.id != "1000" {
		t.Errorf("told %+v", e)
	}
}

// TestEventsLimit: so many browsers and no more; the next is told to come later, and comes in when one left.
func TestEventsLimit(t *testing.T) {
	s := serve(t)
	var all []*listener
	for range streams {
		all = append(all, s.listen())
	}
	resp, body := s.do("GET", "events", nil)
	if resp.StatusCode != http.StatusServiceUnavailable || resp.Header.Get("Retry-After") == "" || body != "" {
		t.Errorf("one too many: %s, Retry-After %q, %q", resp.Status, resp.Header.Get("Retry-After"), body)
	}
	if resp, _ := s.do("GET", "state", nil); resp.StatusCode != http.StatusOK {
		t.Errorf("state meanwhile: %s", resp.Status)
	}
	all[0].c.Close()
	eventually(t, "a place is free", func() bool { return len(s.page.streams) < streams })
	s.listen().message()
}

// TestEventsHead: a question for the head alone does not wait for events.
func TestEventsHead(t *testing.T) {
	s := serve(t)
	resp, _ := s.do("HEAD", "events", nil)
	if resp.StatusCode != http.StatusOK || resp.Header.Get("Content-Type") != "text/event-stream" {
		t.Errorf("%s, %s", resp.Status, resp.Header.Get("Content-Type"))
	}
}

// TestSlowHeaders: who writes a question letter by letter is cut off, and holds up nobody.
func TestSlowHeaders(t *testing.T) {
	t.Parallel()
	p, err := Open(Options{SessionDir: t.TempDir() + "/session"})
	if err != nil {
		t.Fatal(err)
	}
	p.limits.header = 2 * time.Second // enough for a busy machine to hear a whole question out
	s := start(t, p)
	for _, begin := range []string{"", "G", "GET " + s.path + " HTTP/1.1\r\nHost: " + s.host + "\r\nX-Slow: "} {
		c := s.dial()
		defer c.Close()
		io.WriteString(c, begin)
		cut := make(chan error, 1)
		go func() {
			c.SetReadDeadline(time.Now().Add(evening.Patience))
			_, err := io.Copy(io.Discard, c)
			cut <- err
		}()
		began := time.Now()
		for done := false; !done; {
			select {
			case err := <-cut:
				if e, timeout := err.(net.Error); timeout && e.Timeout() {
					t.Errorf("%q: not cut off in %v", begin, time.Since(began))
				}
				done = true
			case <-time.After(50 * time.Millisecond):
				io.WriteString(c, "a")
			}
		}
		if resp, _ := s.do("GET", "state", nil); resp.StatusCode != http.StatusOK {
			t.Errorf("state meanwhile: %s", resp.Status)
		}
	}
}

// TestConnectionLimit: more connections than there is room for wait outside; those inside are served.
func TestConnectionLimit(t *testing.T) {
	t.Parallel()
	p, err := Open(Options{SessionDir: t.TempDir() + "/session"})
	if err != nil {
		t.Fatal(err)
	}
	p.limits.connections, p.limits.header = 4, 2*time.Second
	s := start(t, p)
	inside := s.listen()
	inside.message()
	for range 20 {
		c := s.dial()
		defer c.Close()
	}
	s.post(1000, `{"n":1}`)
	if e := inside.message(); e.id != "1000" {
		t.Errorf("told %+v", e)
	}
	if resp, _ := s.do("GET", "state", nil); resp.StatusCode != http.StatusOK { // once the silent ones are cut off
		t.Errorf("state: %s", resp.Status)
	}
}

// TestQuestionsHaveNoBody: what is sent along with a question is not waited for.
func TestQuestionsHaveNoBody(t *testing.T) {
	t.Parallel()
	s := serve(t)
	for _, head := range []string{"Content-Length: 1000000", "Transfer-Encoding: chunked"} {
		answer := s.raw("GET " + s.path + "state HTTP/1.1\r\nHost: " + s.host + "\r\n" + head + "\r\n\r\n")
		if !strings.HasPrefix(answer, "HTTP/1.1 400 ") {
			t.Errorf("%s: %.40q", head, answer)
		}
	}
}

// TestNewestStateMeanwhile: state is the latest, whole, while notices come.
func TestNewestStateMeanwhile(t *testing.T) {
	s := serve(t)
	s.post(5, `{"n":5}`)
	resp, body := s.do("GET", "state", nil)
	if body != `{"n":5}` || resp.Header.Get("Content-Type") != "application/json" {
		t.Errorf("%s %q", resp.Header.Get("Content-Type"), body)
	}
}
