// Package page serves a session: pictures come in from a folder and from browsers, and every browser sees at once what to
// turn.
//
// Start with Open and Page.Serve. The session itself is trueturn/cmd/session, the folder it is kept in page/disk; here are
// HTTP, the events, the uploads and the link:
//
//	link.json      token and port, so that the link outlives a restart: kept with the session
//
// TRUETURN_SHOTS=DIR go test -run Chromium leaves screenshots to look at.
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
	"trueturn/cmd/legible"
	"trueturn/cmd/session"
	"trueturn/cmd/session/store"
	"trueturn/cmd/trueturn/page/disk"
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

	// Phone is the file with the page for the phone alone (trueturn.html of cmd/phone), handed out from this one; "": none.
	Phone string

	Title   string    // of the evening, for the page and the report; may be ""
	Version string    // of the program, for the report
	Notes   io.Writer // what the one at the keyboard should know, a line each; nil: nobody
}

// Page is a session being served.
type Page struct {
	o        Options
	listener net.Listener
	link     link
	folder   *disk.Folder
	session  *session.Session
	watch    *disk.Watcher // nil without a folder
	spool    *spool
	gallery  session.Gallery

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
	p := &Page{o: o, listener: l, pace: usualPace, limits: usualLimits,
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
	moved, err := disk.SetAside(dir, time.Now(), session.HandedOn)
	if moved != "" {
		fmt.Fprintf(notes, "note: the session in %s is of another evening; it is kept as %s and a new one begins\n", dir, moved)
	}
	return err
}

// open does what needs the session folder, which may be a new one.
func (p *Page) open() (err error) {
	if p.folder, err = disk.Open(p.o.SessionDir, p.o.Dir); err != nil {
		return err
	}
	if p.link, err = keepLink(p.o.SessionDir, p.listener.Addr().(*net.TCPAddr).AddrPort().Port()); err == nil {
		err = p.begin()
	}
	if err != nil {
		p.folder.Close()
	}
	return err
}

// begin opens the session itself, and gets ready to watch.
func (p *Page) begin() (err error) {
	p.spool = newSpool(p.folder, p.limits.picture)
	o := session.Options{Store: p.folder, Measure: p.o.Measure, Guide: p.o.Guide, PlaceAndClockRight: p.o.PlaceAndClockRight,
		FNumber: p.o.FNumber, Title: p.o.Title, Version: p.o.Version, Note: func(text string) { p.note("%s", text) }}
	if p.o.Dir != "" {
		o.Again = func(pic store.Picture, failed bool) { p.watch.Again(pic.Name, failed) }
	}
	if p.session, err = session.New(o); err != nil {
		return disk.CannotKeep(err)
	}
	if p.o.Dir != "" {
		p.watch = disk.NewWatcher(p.o.Dir, p.o.Poll, disk.Eyes{Offer: p.session.Offer, Knows: p.knows, Say: p.note, Trouble: p.session.Tell})
	}
	return nil
}

// knows is whether a file of the watched folder was measured, in this session or in one set aside.
func (p *Page) knows(pic store.Picture) bool {
	return p.session.Measured(pic) || p.folder.Past(pic.Name, pic.Size, pic.Mod)
}

// note tells the one at the keyboard, who may be nobody.
func (p *Page) note(format string, a ...any) {
	fmt.Fprintf(p.o.Notes, "note: %s\n", legible.Line(fmt.Sprintf(format, a...)))
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

// Serve measures and serves until ctx ends, and returns nil once all is written. It can be called
// once. The error is why it had to stop earlier.
func (p *Page) Serve(ctx context.Context) error {
	g, ctx := errgroup.WithContext(ctx)
	g.Go(func() error { return p.newServer(ctx).run(ctx, p.listener) })
	g.Go(func() error { return p.measure(ctx) })
	err := g.Wait()
	if errors.Is(err, context.Canceled) {
		return nil
	}
	return err
}

// measure watches and measures until ctx ends, and lets go of the session folder.
func (p *Page) measure(ctx context.Context) error {
	watched := p.watchFolder(ctx)
	err := p.session.Run(ctx)
	if err != nil {
		err = disk.CannotKeep(err)
	}
	err = errors.Join(err, p.folder.Close())
	select {
	case <-watched:
	case <-time.After(leaveAfter): // a network folder that hangs
	}
	return err
}

// watchFolder watches until ctx ends; the channel is closed when it has.
func (p *Page) watchFolder(ctx context.Context) <-chan struct{} {
	done := make(chan struct{})
	if p.watch == nil {
		close(done)
		return done
	}
	go func() {
		defer close(done)
		p.watch.Run(ctx)
	}()
	return done
}

const leaveAfter = 5 * time.Second // for a network folder that hangs, when all ends

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
