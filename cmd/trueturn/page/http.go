package page

import (
	"bytes"
	"context"
	_ "embed"
	"encoding/json"
	"errors"
	"io"
	"log"
	"net"
	"net/http"
	"strconv"
	"strings"
	"sync"
	"time"

	"trueturn/cmd/session"
)

// limits on browsers. A phone on the edge of the network needs seconds for what takes a millisecond
// at home; who needs longer than this holds a connection others may want.
type limits struct {
	header, answer, idle time.Duration
	pause                time.Duration // between two pieces of an upload
	grace                time.Duration // for an upload, on top of what its length takes at slowestUpload
	stop                 time.Duration // for uploads under way, when the page stops
	connections          int
	picture, request     int64 // bytes
}

//go:embed web/line.js
var lineJS []byte

var usualLimits = limits{
	header: 10 * time.Second, answer: 60 * time.Second, idle: 60 * time.Second,
	pause: 30 * time.Second, grace: 60 * time.Second, stop: 5 * time.Second, connections: 512,
	picture: 256 << 20, // 60 megapixels of four bytes
	request: 2 << 30,   // a whole evening
}

const (
	stopTimeout = 5 * time.Second // for uploads under way, when the page stops
	headerBytes = 16 << 10
	streams     = 200 // of events; each takes a connection
	sendBuffer  = 128 << 10
)

// safety is sent with every answer. Nothing is loaded from elsewhere, nothing frames the page, and
// a picture named like a script stays text.
var safety = map[string]string{
	"Content-Security-Policy": "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; " +
		"form-action 'self'; base-uri 'none'; frame-ancestors 'none'",
	"Referrer-Policy":              "no-referrer", // the token is in the address
	"X-Content-Type-Options":       "nosniff",
	"X-Frame-Options":              "DENY",
	"Cache-Control":                "no-store",
	"Cross-Origin-Opener-Policy":   "same-origin",
	"Cross-Origin-Resource-Policy": "same-origin",
	"Permissions-Policy": "screen-wake-lock=(self), camera=(), microphone=(), geolocation=(), display-capture=(), " +
		"usb=(), serial=(), payment=()",
}

// safe sends the safety headers.
func safe(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		for name, value := range safety {
			w.Header().Set(name, value)
		}
		next.ServeHTTP(w, r)
	})
}

// route is what one address of the page does.
type route struct {
	method string // GET answers HEAD as well
	serve  http.HandlerFunc
}

// routes are all there are, relative to the link.
func (p *Page) routes() map[string]route {
	return map[string]route{
		"":            {http.MethodGet, p.index},
		"page.css":    {http.MethodGet, fixed("text/css; charset=utf-8", session.Stylesheet())},
		"page.js":     {http.MethodGet, fixed("text/javascript; charset=utf-8", session.Script())},
		"line.js":     {http.MethodGet, fixed("text/javascript; charset=utf-8", lineJS)},
		"events":      {http.MethodGet, p.events},
		"state":       {http.MethodGet, p.state},
		"drawings":    {http.MethodGet, p.drawings},
		"report.html": {http.MethodGet, p.report},
		PhoneFile:     {http.MethodGet, p.phone},
		"upload":      {http.MethodPost, p.upload},
		"again":       {http.MethodPost, p.again},
		"settle":      {http.MethodPost, p.settle},
		"throw":       {http.MethodPost, p.throw},
		"afresh":      {http.MethodPost, p.afresh},
		"describe":    {http.MethodPost, p.describe},
	}
}

// table sends a request, stripped of its token, where it belongs.
type table map[string]route

func (t table) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	to, known := t[r.URL.Path]
	switch {
	case !known:
		w.WriteHeader(http.StatusNotFound)
	case r.Method != to.method && (r.Method != http.MethodHead || to.method != http.MethodGet):
		w.Header().Set("Allow", to.method)
		refuseBody(w)
		w.WriteHeader(http.StatusMethodNotAllowed)
	case to.method == http.MethodGet && r.ContentLength != 0: // no question here has a body; nobody waits for one
		refuseBody(w)
		w.WriteHeader(http.StatusBadRequest)
	default:
		to.serve(w, r)
	}
}

// refuseBody ends the connection after the answer: what the other side still wants to send is not waited for.
func refuseBody(w http.ResponseWriter) {
	w.Header().Set("Connection", "close")
	http.NewResponseController(w).SetReadDeadline(time.Now())
}

// handler is the whole page, from the door inward.
func (p *Page) handler() http.Handler {
	return safe(guard{token: p.link.Token, next: table(p.routes())})
}

// fixed answers with what was built in.
func fixed(kind string, content []byte) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) { send(w, r, kind, content) }
}

// send answers with content that is there as a whole.
func send(w http.ResponseWriter, r *http.Request, kind string, content []byte) {
	w.Header().Set("Content-Type", kind)
	w.Header().Set("Content-Length", strconv.Itoa(len(content)))
	if r.Method != http.MethodHead {
		w.Write(content) // an error means that nobody listens any more
	}
}

func (p *Page) index(w http.ResponseWriter, r *http.Request) {
	send(w, r, "text/html; charset=utf-8", session.Index(session.Look{Title: p.o.Title, Planned: p.o.Guide.Answer.Planned, Own: p.phoneAlone()}))
}

func (p *Page) state(w http.ResponseWriter, r *http.Request) {
	n, _ := p.session.Board().Look()
	send(w, r, "application/json", n.JSON)
}

func (p *Page) drawings(w http.ResponseWriter, r *http.Request) {
	n, _ := p.session.Board().Look()
	send(w, r, "text/html; charset=utf-8", p.gallery.Drawings(n))
}

// server serves until its context ends; then streams end at once and uploads have a few seconds.
type server struct {
	http.Server
	limits
}

func (p *Page) newServer(ctx context.Context) *server {
	return &server{http.Server{
		Handler:                      p.handler(),
		ReadHeaderTimeout:            p.limits.header,
		ReadTimeout:                  p.limits.answer, // uploads and events set their own
		WriteTimeout:                 p.limits.answer,
		IdleTimeout:                  p.limits.idle,
		MaxHeaderBytes:               headerBytes,
		DisableGeneralOptionsHandler: true, // OPTIONS * would be answered without the token
		BaseContext:                  func(net.Listener) context.Context { return ctx },
		ErrorLog:                     log.New(mishaps{p.o.Notes}, "", 0),
	}, p.limits}
}

// run serves. The error is why it stopped before the context ended.
func (s *server) run(ctx context.Context, l net.Listener) error {
	stopped := make(chan struct{})
	end := context.AfterFunc(ctx, func() {
		defer close(stopped)
		patience, done := context.WithTimeout(context.WithoutCancel(ctx), s.stop)
		defer done()
		if s.Shutdown(patience) != nil {
			s.Close()
		}
	})
	err := s.Serve(newDoor(l, s.connections))
	if errors.Is(err, http.ErrServerClosed) {
		<-stopped
		return nil
	}
	if !end() {
		<-stopped
	}
	s.Close()
	return err
}

// mishaps passes on what net/http says of its own accord, but for the noise that any port scan
// makes: only panics matter to the one at the keyboard.
type mishaps struct{ w io.Writer }

func (m mishaps) Write(p []byte) (int, error) {
	if bytes.Contains(p, []byte("panic")) {
		first, _, _ := strings.Cut(string(p), "\n")
		io.WriteString(m.w, "note: a fault in the page: "+first+"\n")
	}
	return len(p), nil
}

// door lets in so many connections at a time; the others wait outside.
type door struct {
	net.Listener
	room   chan struct{}
	closed chan struct{}
	once   sync.Once
}

func newDoor(l net.Listener, room int) *door {
	return &door{Listener: l, room: make(chan struct{}, room), closed: make(chan struct{})}
}

func (d *door) Accept() (net.Conn, error) {
	select {
	case d.room <- struct{}{}:
	case <-d.closed:
		return nil, net.ErrClosed
	}
	c, err := d.Listener.Accept()
	if err != nil {
		<-d.room
		return nil, err
	}
	if t, ok := c.(*net.TCPConn); ok {
		t.SetWriteBuffer(sendBuffer) // what a stalled browser can cost; it stalls the sooner
	}
	return &visitor{Conn: c, leave: sync.OnceFunc(func() { <-d.room })}, nil
}

func (d *door) Close() error {
	d.once.Do(func() { close(d.closed) })
	return d.Listener.Close()
}

// visitor is a connection that makes room when it ends.
type visitor struct {
	net.Conn
	leave func()
}

func (v *visitor) Close() error {
	err := v.Conn.Close()
	v.leave()
	return err
}

// report sends the session's report as it was last written.
func (p *Page) report(w http.ResponseWriter, r *http.Request) {
	raw, err := p.session.Report()
	if err != nil {
		w.WriteHeader(http.StatusNotFound)
		return
	}
	w.Header().Set("Content-Disposition", `attachment; filename="trueturn-report.html"`)
	send(w, r, "text/html; charset=utf-8", raw)
}

const formBytes = 4 << 10 // a name or a few words in a form

// field is one of a form sent to be acted on.
func field(w http.ResponseWriter, r *http.Request, name string) string {
	r.Body = http.MaxBytesReader(w, r.Body, formBytes)
	return r.PostFormValue(name)
}

// acted answers what a hand asked for. What cannot be done is said with its way out.
func (p *Page) acted(w http.ResponseWriter, r *http.Request, err error) {
	status := http.StatusUnprocessableEntity
	switch {
	case err == nil:
		w.WriteHeader(http.StatusNoContent)
		return
	case errors.Is(err, session.ErrNotAside), errors.Is(err, session.ErrNoPicture):
		status = http.StatusNotFound
	case r.Context().Err() != nil, statusOf(err) == http.StatusServiceUnavailable: // nobody waits any more, or nobody takes it
		status = http.StatusServiceUnavailable
	}
	text, bad := json.Marshal(uploadJSON{Files: []uploadedJSON{}, WhyNot: err.Error(), Hint: hintOf(err)})
	if bad != nil {
		status = http.StatusInternalServerError
	}
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	w.Write(text) // an error means that nobody listens any more
}

// again has the picture named, which was set aside, tried once more.
func (p *Page) again(w http.ResponseWriter, r *http.Request) {
	p.acted(w, r, p.session.TryAgain(field(w, r, "file")))
}

// throw has the picture named take no part any more, or takes that back.
func (p *Page) throw(w http.ResponseWriter, r *http.Request) {
	file := field(w, r, "file")
	p.acted(w, r, p.session.ThrowOut(r.Context(), file, r.PostFormValue("back") != ""))
}

// afresh begins measuring afresh. The word asked for keeps a stray request from doing so.
func (p *Page) afresh(w http.ResponseWriter, r *http.Request) {
	if field(w, r, "sure") == "" {
		w.WriteHeader(http.StatusBadRequest)
		return
	}
	p.acted(w, r, p.session.Afresh(r.Context()))
}

// describe takes what the pictures do not say.
func (p *Page) describe(w http.ResponseWriter, r *http.Request) {
	t := session.Told{Zone: field(w, r, "zone"), Site: r.PostFormValue("site"), Equivalent: r.PostFormValue("lens")}
	p.acted(w, r, p.session.Describe(r.Context(), t))
}

// settle takes the answer to the question of place and clock of that number: both are right.
func (p *Page) settle(w http.ResponseWriter, r *http.Request) {
	number, err := strconv.Atoi(field(w, r, "question"))
	if err != nil {
		w.WriteHeader(http.StatusBadRequest)
		return
	}
	taken, err := p.session.Settle(r.Context(), number)
	switch {
	case err != nil: // nobody waits any more
		w.WriteHeader(http.StatusServiceUnavailable)
	case !taken:
		w.WriteHeader(http.StatusNotFound)
	default:
		w.WriteHeader(http.StatusNoContent)
	}
}
