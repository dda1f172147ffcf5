package session

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"io"
	"io/fs"
	"time"

	"trueturn/cmd/session/store"
	"trueturn/drift"
	"trueturn/drift/frame"
	"trueturn/ephem/amiss"
)

// fate is what became of a picture on the bench.
type fate uint8

const (
	abandoned  fate = iota // the session ends, or the file has changed and is offered again
	measured               // whether it can be used or not
	endsEarly              // a watched file cut short: the rest may be on its way
	seenBefore             // its content was
)

// outcome is a picture and what became of it.
type outcome struct {
	store.Picture
	fate  fate
	file  string // the name it goes by from now on
	sum   string // of its content; empty where it could not be read
	other string // the picture it is the same as
	shot  drift.Shot
	asked string // what was said of lens and clock
}

const triesMost = 3 // reads of a watched picture that its store fails

// fileMost bounds what is read of a picture: as much as package frame takes.
const fileMost = 2 << 30

// measure turns a file into a shot. It is safe to call at once for several pictures.
func (n *Session) measure(ctx context.Context, p store.Picture, cores int) outcome {
	_, said := n.measuring()
	o := outcome{Picture: p, asked: said}
	f, err := n.o.Store.Open(p)
	if err != nil {
		return n.unreadable(ctx, o, err)
	}
	in := &openFile{ctx: ctx, f: f}
	defer in.f.Close()
	if o.sum, err = in.sum(); err != nil {
		return n.unreadable(ctx, o, err)
	}
	if o.file, o.other = n.journal.claim(o.sum, p.Name); o.other != "" {
		o.fate = seenBefore
		return o
	}
	o.shot, err = n.shot(ctx, p.Name, func() (io.ReadSeekCloser, error) { return in, in.rewind() }, cores)
	o.shot.File = o.file
	switch {
	case err != nil: // the context's
		n.journal.release(o.sum, o.file)
	case in.failed != nil:
		n.journal.release(o.sum, o.file)
		return n.unreadable(ctx, o, in.failed)
	case n.changed(o):
		n.journal.release(o.sum, o.file)
		n.again(p, false)
	case !p.Sent && errors.Is(o.shot.Err, frame.ErrBroken):
		o.fate = endsEarly
	default:
		o.fate = measured
	}
	return o
}

// unreadable deals with a file that disk or network do not give: a watched one is tried again, for its folder may
// come back; then the picture is listed with the reason.
func (n *Session) unreadable(ctx context.Context, o outcome, why error) outcome {
	if ctx.Err() != nil {
		return outcome{Picture: o.Picture, asked: o.asked}
	}
	if !o.Sent && (o.Tries < triesMost || errors.Is(why, fs.ErrNotExist)) && n.again(o.Picture, true) {
		return outcome{Picture: o.Picture, asked: o.asked}
	}
	o.sum = ""
	o.file, _ = n.journal.claim("", o.Name)
	shot, err := n.shot(ctx, o.Name, func() (io.ReadSeekCloser, error) {
		return nil, &amiss.Error{Text: "it cannot be read: " + amiss.Plain(why).Error(), Ways: amiss.Do("check the file, its disk and your rights there"), From: why}
	}, 1)
	if err != nil {
		n.journal.release("", o.file)
		return outcome{Picture: o.Picture, asked: o.asked}
	}
	o.shot, o.fate = shot, measured
	o.shot.File = o.file
	return o
}

// again has a watched file offered once more; false where nobody watches.
func (n *Session) again(p store.Picture, failed bool) bool {
	if n.o.Again != nil {
		n.o.Again(p, failed)
	}
	return n.o.Again != nil
}

// measuring is what pictures are measured by, in full and in short.
func (n *Session) measuring() (drift.Options, string) {
	n.mu.Lock()
	defer n.mu.Unlock()
	return n.o.Measure, n.asked
}

// shot measures one picture, whatever it holds. The error is the context's.
func (n *Session) shot(ctx context.Context, name string, open func() (io.ReadSeekCloser, error), cores int) (drift.Shot, error) {
	o, _ := n.measuring()
	o.Workers, o.Cores, o.Progress, o.Known = 1, cores, nil, nil
	seq, err := drift.Measure(ctx, []drift.Source{{Name: name, Open: open}}, o)
	if err != nil {
		return drift.Shot{}, err
	}
	return seq.Shots[0], nil
}

// changed is whether a watched file is another than the one measured.
func (n *Session) changed(o outcome) bool { return !o.Sent && !n.o.Store.Holds(o.Picture) }

// openFile is a picture being read. It ends with the session, and remembers what the store would not give.
type openFile struct {
	ctx    context.Context
	f      io.ReadSeekCloser
	failed error
}

func (r *openFile) Read(b []byte) (int, error) {
	if err := r.ctx.Err(); err != nil {
		return 0, err
	}
	n, err := r.f.Read(b)
	if err != nil && err != io.EOF {
		r.failed = err
	}
	return n, err
}

func (r *openFile) Seek(offset int64, whence int) (int64, error) { return r.f.Seek(offset, whence) }

// Close leaves the file to the one who opened it.
func (r *openFile) Close() error { return nil }

func (r *openFile) rewind() error {
	_, err := r.f.Seek(0, io.SeekStart)
	return err
}

// sum is the SHA-256 of the content.
func (r *openFile) sum() (string, error) {
	h := sha256.New()
	if _, err := io.Copy(h, io.LimitReader(r, fileMost)); err != nil {
		return "", err
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}

// record is the line of the journal for a measured picture.
func (n *Session) record(o outcome) record {
	r := record{File: o.file, Sum: o.sum, Size: o.Size, Mod: o.Mod.UTC(), Measured: time.Now().UTC(), Asked: o.asked, Shot: o.shot}
	if !o.Sent {
		r.Base = o.Name
	}
	return r
}

// asked is what the user said of lens and clock, in short: pictures measured under other words may have to be
// measured again.
func asked(o drift.Options) string {
	said := struct {
		Lens   drift.LensFlags
		Zone   string
		Offset time.Duration
		Stamp  frame.Stamp
		Times  frame.Times
	}{Lens: o.Lens, Offset: o.Frame.ClockOffset, Stamp: o.Frame.Stamp, Times: o.Frame.Times}
	if z := o.Frame.Zone; z != nil {
		said.Zone = time.Unix(0, 0).In(z).Format("-07:00 ") + z.String()
	}
	text, err := json.Marshal(said)
	if err != nil { // a lens that is no number, which flags refuse
		return ""
	}
	sum := sha256.Sum256(text)
	return hex.EncodeToString(sum[:8])
}
