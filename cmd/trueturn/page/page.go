// Package page is the live page: pictures come in from a folder and from browsers, and every
// browser sees at once what to turn.
//
// Start with Open and Page.Serve. One picture goes
//
//	upload.go or watched folder → bench (measures, writes down, asks the guide) → board → events.go → browsers
//
// and never back. The board holds the latest word alone, so a slow browser holds up nobody.
//
// # The session folder
//
//	journal.jsonl  every measured picture and every answer to a question of place and clock, before it is used;
//	               a torn last line is dropped on the next start
//	session.json   the guide's state, and the answer as "state" shows it: after each picture
//	mount.json     what "expose --session" starts from: with it
//	report.html    the report: when calm, and at the end
//	link.json      token and port, so that the link outlives a restart: at the start
//	inbox/         uploads not yet measured, until their line is in the journal
//	trials.json    what is being decoded, and what the program died over
//
// # The browser's part
//
// web/ is served as it stands: no build step, nothing inline (the policy in http.go forbids it), every colour a variable
// of page.css or of package plot, whose contrast look_test.go measures. TRUETURN_SHOTS=DIR go test -run Chromium leaves
// screenshots to look at.
package page

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"path/filepath"
	"sync"
	"time"

	"golang.org/x/sync/errgroup"

	"trueturn/align/guide"
	"trueturn/drift"
)

// Options say what to serve and where. The zero value serves a session in the working directory
// to this machine alone.
type Options struct {
	Listen     string        // host:port, host or :port (every address of the machine); "": 127.0.0.1 and a free port
	Dir        string        // folder watched for pictures; "": none, uploads alone
	SessionDir string        // where the session is kept; "": trueturn-session in Dir
	Poll       time.Duration // how often Dir is looked through, 0: 2 s

	Measure drift.Options
	Guide   guide.Options // Answer.Site nil: the pictures' own place
	// PlaceAndClockRight answers every question of place and clock beforehand.
	PlaceAndClockRight bool
	FNumber            float64 // of the lens, for a rule of thumb in the report; 0: the pictures' own

	Title   string    // of the evening, for the page and the report; may be ""
	Version string    // of the program, for the report
	Notes   io.Writer // what the one at the keyboard should know, a line each; nil: nobody
}

// Page is a session being served.
type Page struct {
	o        Options
	listener net.Listener
	link     link
	board    *board
	bench    *bench
	spool    *spool
	gallery  gallery

	streams chan struct{} // one for each browser that follows the events
	uploads chan struct{} // one for each upload under way
	pace    pace
	limits  limits
}

// Open opens the session folder and takes the address; browsers wait until Serve. All errors
// say a way out. Those of addresses that make no sense are [ErrAddress].
func Open(o Options) (*Page, error) {
	at, err := parseAddress(o.Listen)
	if err != nil {
		return nil, err
	}
	o.Notes = &speaker{w: o.Notes}
	if o.SessionDir == "" {
		o.SessionDir = filepath.Join(o.Dir, "trueturn-session")
		if err := anew(o.SessionDir, o.Notes); err != nil {
			return nil, err
		}
	}
	l, err := listen(at, readLink(o.SessionDir).Port)
	if err != nil {
		return nil, err
	}
	p := &Page{o: o, listener: l, board: newBoard(), pace: usualPace, limits: usualLimits,
		streams: make(chan struct{}, streams), uploads: make(chan struct{}, uploadsAtOnce)}
	if err := p.open(); err != nil {
		l.Close()
		return nil, err
	}
	return p, nil
}

// anew begins another session where the last picture of the one in dir is another evening's, and says so. A folder
// that was named is taken as it is.
func anew(dir string, notes io.Writer) error {
	moved, err := setAside(dir, time.Now())
	if moved != "" {
		fmt.Fprintf(notes, "note: the session in %s is of another evening; it is kept as %s and a new one begins\n", dir, moved)
	}
	return err
}

// open does what needs the session folder, which may be a new one.
func (p *Page) open() (err error) {
	if p.bench, err = newBench(p.o, p.board); err != nil {
		return err
	}
	if p.spool, err = newSpool(p.o.SessionDir, p.limits.picture); err == nil {
		p.link, err = keepLink(p.o.SessionDir, p.listener.Addr().(*net.TCPAddr).AddrPort().Port())
	}
	if err != nil {
		p.bench.journal.close()
		p.bench.unlock()
	}
	return err
}

// URL is the link, token and all, by the numeric address others reach this machine by if it
// listens for them, else by that of this machine alone.
func (p *Page) URL() string { return p.URLs()[0] }

// URLs are all links to the page, the likeliest first.
func (p *Page) URLs() []string {
	hosts, _ := reach(p.listener)
	var all []string
	for _, h := range hosts {
		all = append(all, fmt.Sprintf("http://%v/%s/", h, p.link.Token))
	}
	return all
}

// Shared is whether other machines can reach the page.
func (p *Page) Shared() bool {
	_, shared := reach(p.listener)
	return shared
}

// SessionDir is where the session is kept.
func (p *Page) SessionDir() string { return p.o.SessionDir }

// reportPath is where the bench keeps the session's report.
func (p *Page) reportPath() string { return filepath.Join(p.o.SessionDir, "report.html") }

// Serve measures and serves until ctx ends, and returns nil once all is written. It can be called
// once. The error is why it had to stop earlier.
func (p *Page) Serve(ctx context.Context) error {
	g, ctx := errgroup.WithContext(ctx)
	g.Go(func() error { return p.newServer(ctx).run(ctx, p.listener) })
	g.Go(func() error { return p.bench.run(ctx) })
	g.Go(func() error { return p.readmit(ctx) })
	err := g.Wait()
	if errors.Is(err, context.Canceled) {
		return nil
	}
	return err
}

// readmit offers the bench what browsers sent before the last stop and was not measured any more.
func (p *Page) readmit(ctx context.Context) error {
	for _, left := range p.spool.left {
		for errors.Is(p.bench.offer(left), errFull) {
			select {
			case <-time.After(time.Second):
			case <-ctx.Done():
				return nil
			}
		}
	}
	return nil
}

// speaker lets several goroutines speak to the one at the keyboard, or to nobody.
type speaker struct {
	mu sync.Mutex
	w  io.Writer // nil: nobody
}

func (s *speaker) Write(b []byte) (int, error) {
	if s.w == nil {
		return len(b), nil
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.w.Write(b)
}
