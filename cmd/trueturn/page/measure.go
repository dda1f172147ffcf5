package page

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

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
	picture
	fate  fate
	file  string // the name it goes by from now on
	sum   string // of its content; empty where it could not be read
	other string // the picture it is the same as
	shot  drift.Shot
}

// fileMost bounds what is read of a file: as much as package frame takes.
const fileMost = 2 << 30

// measure turns a file into a shot. It is safe to call at once for several pictures.
func (n *bench) measure(ctx context.Context, p picture, cores int) outcome {
	o := outcome{picture: p}
	in, err := openPicture(ctx, p)
	if err != nil {
		return n.unreadable(ctx, o, err)
	}
	defer in.f.Close()
	if o.sum, err = in.sum(); err != nil {
		return n.unreadable(ctx, o, err)
	}
	if o.file, o.other = n.journal.claim(o.sum, p.name); o.other != "" {
		o.fate = seenBefore
		return o
	}
	o.shot, err = n.shot(ctx, p.name, func() (io.ReadSeekCloser, error) { return in, in.rewind() }, cores)
	o.shot.File = o.file
	switch {
	case err != nil: // the context's
		n.journal.release(o.sum, o.file)
	case in.failed != nil:
		n.journal.release(o.sum, o.file)
		return n.unreadable(ctx, o, in.failed)
	case o.changed():
		n.journal.release(o.sum, o.file)
		n.again(p, false)
	case !p.spooled && errors.Is(o.shot.Err, frame.ErrBroken):
		o.fate = endsEarly
	default:
		o.fate = measured
	}
	return o
}

// unreadable deals with a file that disk or network do not give: a watched one is tried again, for its folder may
// come back; then the picture is listed with the reason.
func (n *bench) unreadable(ctx context.Context, o outcome, why error) outcome {
	if ctx.Err() != nil {
		return outcome{picture: o.picture}
	}
	if !o.spooled && (o.tries < triesMost || errors.Is(why, os.ErrNotExist)) && n.again(o.picture, true) {
		return outcome{picture: o.picture}
	}
	o.sum = ""
	o.file, _ = n.journal.claim("", o.name)
	shot, err := n.shot(ctx, o.name, func() (io.ReadSeekCloser, error) {
		return nil, &amiss.Error{Text: "it cannot be read: " + plain(why).Error(), Ways: amiss.Do("check the file, its disk and your rights there"), From: why}
	}, 1)
	if err != nil {
		n.journal.release("", o.file)
		return outcome{picture: o.picture}
	}
	o.shot, o.fate = shot, measured
	o.shot.File = o.file
	return o
}

// again has a watched file offered once more; false where nobody watches.
func (n *bench) again(p picture, failed bool) bool {
	if n.watch != nil {
		n.watch.again(p.name, failed)
	}
	return n.watch != nil
}

// shot measures one picture, whatever it holds. The error is the context's.
func (n *bench) shot(ctx context.Context, name string, open func() (io.ReadSeekCloser, error), cores int) (drift.Shot, error) {
	o := n.o.Measure
	o.Workers, o.Cores, o.Progress, o.Known = 1, cores, nil, nil
	seq, err := drift.Measure(ctx, []drift.Source{{Name: name, Open: open}}, o)
	if err != nil {
		return drift.Shot{}, err
	}
	return seq.Shots[0], nil
}

// changed is whether a watched file is another than the one measured.
func (o outcome) changed() bool {
	if o.spooled {
		return false
	}
	info, err := os.Stat(o.path)
	return err != nil || info.Size() != o.size || !info.ModTime().Equal(o.mod)
}

// openFile is a picture being read. It ends with the session, and remembers what the disk would not give.
type openFile struct {
	ctx    context.Context
	f      *os.File
	failed error
}

// openPicture opens what is a file and not too large.
func openPicture(ctx context.Context, p picture) (*openFile, error) {
	info, err := os.Stat(p.path)
	if err != nil {
		return nil, err
	}
	if !info.Mode().IsRegular() { // opening a pipe would wait for somebody to write
		return nil, errors.New("it is not a file")
	}
	if info.Size() > fileMost {
		return nil, fmt.Errorf("it is larger than %d GB", fileMost>>30)
	}
	f, err := os.Open(p.path)
	if err != nil {
		return nil, err
	}
	return &openFile{ctx: ctx, f: f}, nil
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
func (n *bench) record(o outcome) record {
	r := record{File: o.file, Sum: o.sum, Size: o.size, Mod: o.mod.UTC(), Measured: time.Now().UTC(), Asked: n.asked, Shot: o.shot}
	if !o.spooled {
		r.Base = o.name
	}
	return r
}

// removeSpooled makes room once a picture sent by a browser is not needed any more.
func removeSpooled(p picture) {
	if p.spooled {
		os.Remove(p.path) // offered again at the next start if that fails, and found to be known
	}
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
