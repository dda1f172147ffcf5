package page

import (
	"compress/gzip"
	"context"
	"io"
	"net/http"
	"strconv"
	"strings"
	"time"

	"trueturn/cmd/session"
)

// Server-sent events as in the HTML Living Standard, section 9.2: each is the state as a whole, so
// that a browser which missed some lacks nothing.
const (
	retry       = 2 * time.Second // how soon a browser comes back
	slowestLink = 10 << 10        // bytes a second, of the slowest network worth having
)

var usualPace = pace{beat: 15 * time.Second, stall: 10 * time.Second}

// alive tells a script that the line holds (a comment it could not see), and has no data for a reader of data.
var alive = []byte("event: beat\ndata:\n\n")

// events streams what the board says: at once, at every change and, where a browser is slow, the
// latest alone. A browser that takes nothing is dropped.
func (p *Page) events(w http.ResponseWriter, r *http.Request) {
	select {
	case p.streams <- struct{}{}:
		defer func() { <-p.streams }()
	default:
		w.Header().Set("Retry-After", "10")
		w.WriteHeader(http.StatusServiceUnavailable)
		return
	}
	w.Header().Set("Content-Type", "text/event-stream")
	if r.Method == http.MethodHead {
		return
	}
	s := newStream(w, r, p.pace)
	if s.rc.SetReadDeadline(time.Time{}) != nil { // the end of the connection is noticed by reading
		return
	}
	s.follow(r.Context(), p.session.Board().Look)
}

// pace is how often and how patiently to write to a browser.
type pace struct {
	beat  time.Duration // between signs of life, where there is nothing to tell
	stall time.Duration // that one write may take, besides what its length costs on the slowest link
}

// stream is one browser that listens.
type stream struct {
	w   io.Writer
	zip *gzip.Writer // before w, where the browser takes it
	rc  *http.ResponseController
	pace
}

// newStream packs what it tells if the browser can unpack it: after a long night a state is hundreds of
// kilobytes, nearly all of it alike, and the network beside a tripod may be slow.
func newStream(w http.ResponseWriter, r *http.Request, p pace) *stream {
	s := &stream{w: w, rc: http.NewResponseController(w), pace: p}
	w.Header().Set("Vary", "Accept-Encoding")
	if !takesGzip(r) {
		return s
	}
	if zip, err := gzip.NewWriterLevel(w, gzip.BestSpeed); err == nil {
		w.Header().Set("Content-Encoding", "gzip")
		s.w, s.zip = zip, zip
	}
	return s
}

// takesGzip is whether a browser says so plainly; one that gives it a weight is answered unpacked.
func takesGzip(r *http.Request) bool {
	for _, name := range strings.Split(r.Header.Get("Accept-Encoding"), ",") {
		if strings.TrimSpace(name) == "gzip" {
			return true
		}
	}
	return false
}

// follow tells what the board says until the browser or the page goes away.
func (s *stream) follow(ctx context.Context, look func() (*session.Word, <-chan struct{})) {
	if s.send([]byte("retry: "+strconv.FormatInt(retry.Milliseconds(), 10)+"\n\n")) != nil {
		return
	}
	quiet := time.NewTicker(s.beat)
	defer quiet.Stop()
	var told *session.Word
	for {
		n, changed := look()
		if n != told {
			if s.send(event(n)) != nil {
				return
			}
			told = n
			quiet.Reset(s.beat)
		}
		select {
		case <-changed:
		case <-quiet.C:
			if s.send(alive) != nil {
				return
			}
		case <-ctx.Done():
			return
		}
	}
}

// event is a notice as browsers read it. Its JSON is one line.
func event(n *session.Word) []byte {
	b := make([]byte, 0, len(n.JSON)+40)
	b = append(b, "id: "...)
	b = strconv.AppendUint(b, n.Serial, 10)
	b = append(b, "\ndata: "...)
	b = append(b, n.JSON...)
	return append(b, "\n\n"...)
}

// send writes within the time such a piece may take.
func (s *stream) send(b []byte) error {
	patience := s.stall + time.Duration(len(b)/slowestLink)*time.Second
	if err := s.rc.SetWriteDeadline(time.Now().Add(patience)); err != nil {
		return err
	}
	if _, err := s.w.Write(b); err != nil {
		return err
	}
	if s.zip != nil {
		if err := s.zip.Flush(); err != nil {
			return err
		}
	}
	return s.rc.Flush()
}
