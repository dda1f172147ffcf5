package session

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"trueturn/align/answer"
	"trueturn/align/exposure"
	"trueturn/align/guide"
	"trueturn/cmd/report"
	"trueturn/cmd/session/store"
	"trueturn/drift"
	"trueturn/ephem/amiss"
)

const (
	sessionFile = "session.json"
	// MountFile is the mount as measured, for expose --session.
	MountFile   = "mount.json"
	reportFile  = "report.html"
	sessionMost = 64 << 20 // bytes read of a value
	loadAtOnce  = 32       // shots read from the journal at a time
)

// sessionJSON is session.json: what the guide made of the journal. Without it the journal is gone through
// again.
type sessionJSON struct {
	Kind    string        `json:"kind"`
	Version int           `json:"version"`
	Asked   string        `json:"asked"` // as in the journal
	Guide   guide.State   `json:"guide"`
	Answer  answer.Answer `json:"answer"`
}

const sessionKind, sessionVersion = "trueturn live session", 1

// keeper writes what may be written later.
type keeper struct {
	done chan keptFiles // holds one
	busy bool

	saved    uint64 // serial of the guide in session.json
	savedAt  time.Time
	reported uint64
	spoilt   bool   // the guide was interrupted: it is not to be saved any more
	trouble  string // what is amiss with the session folder; empty: nothing
}

// keptFiles is what became of a saving.
type keptFiles struct {
	serial   uint64
	reported bool
	err      error
}

func newKeeper() keeper { return keeper{done: make(chan keptFiles, 1)} }

// unwritten are lines of the journal that the disk did not take yet.
type unwritten struct {
	lines []entry
	sent  []store.Picture
}

// unwrittenMost bounds them; beyond that the oldest are given up, to be measured again at the next start.
const unwrittenMost = 256

// write puts measured pictures into the journal. What the disk does not take is used all the same, for the person
// beside the tripod must go on, and tried again later; nothing is lost, for neither the files nor what browsers
// sent is removed before.
func (n *Session) write(rs []outcome) {
	for i := range rs {
		r := n.record(rs[i])
		n.unwritten.lines = append(n.unwritten.lines, entryOf(&r))
		rs[i].shot = r.Shot
		n.unwritten.sent = append(n.unwritten.sent, rs[i].Picture)
	}
	n.flush()
}

// flush writes what is left to be written.
func (n *Session) flush() {
	u := &n.unwritten
	if len(u.lines) == 0 {
		return
	}
	if err := n.journal.append(u.lines); err != nil {
		n.setTrouble(err)
		if over := len(u.lines) - unwrittenMost; over > 0 {
			u.lines, u.sent = u.lines[over:], u.sent[over:]
			n.keep.spoilt = true // session.json may only name what the journal holds
		}
		return
	}
	for _, p := range u.sent {
		n.o.Store.Drop(p)
	}
	u.lines, u.sent = nil, nil
	n.setTrouble(nil)
}

// setTrouble notes why the session cannot be kept, or that it can.
func (n *Session) setTrouble(err error) {
	text := ""
	if err != nil {
		text = fmt.Sprintf("The session is not being saved: %v. Make room or mend it; measuring goes on meanwhile, and what was not saved is saved then.", strings.ReplaceAll(amiss.Plain(err).Error(), "\n", "; "))
	}
	if text == n.keep.trouble {
		return
	}
	n.keep.trouble = text
	if text != "" {
		n.note("%s", text)
	} else {
		n.note("the session is being saved again")
	}
	n.post()
}

// tidy does what was put off: lines the disk did not take, the session, and the report at a calm moment.
func (n *Session) tidy(now time.Time) {
	n.flush()
	k := &n.keep
	if k.busy || k.spoilt || len(n.unwritten.lines) > 0 {
		return
	}
	serial := n.guide.View().Live.Serial
	calm := !n.busy && n.in.waiting() == 0 && now.Sub(n.lastChange) >= calmAfter
	report := calm && k.reported != serial
	if !report && (k.saved == serial || now.Sub(k.savedAt) < saveAfter) {
		return
	}
	k.busy, k.savedAt = true, now
	job := n.job(report)
	go func() { k.done <- job.do() }()
}

// kept takes note of a saving.
func (n *Session) kept(f keptFiles) {
	n.keep.busy = false
	if f.err == nil {
		n.keep.saved = f.serial
	}
	if f.reported {
		n.keep.reported = f.serial // even if it failed: the next picture tries again
	}
	if f.err != nil || len(n.unwritten.lines) == 0 {
		n.setTrouble(f.err)
	}
}

// keepAll saves everything that has changed, as the last thing done.
func (n *Session) keepAll() error {
	if n.keep.busy {
		n.kept(<-n.keep.done)
	}
	n.flush()
	if n.keep.spoilt || len(n.unwritten.lines) > 0 {
		return nil // told of before
	}
	if serial := n.guide.View().Live.Serial; serial == n.keep.saved && serial == n.keep.reported {
		return nil
	}
	if f := n.job(true).do(); f.err != nil {
		return f.err
	}
	return nil
}

// keeping is one saving: values that nobody changes.
type keeping struct {
	o       Options
	session sessionJSON
	view    guide.View
	seq     drift.Sequence
	report  bool // this time
}

func (n *Session) job(withReport bool) keeping {
	v := n.guide.View()
	return keeping{o: n.o, view: v, seq: n.described(n.guide.Sequence()), report: withReport,
		session: sessionJSON{Kind: sessionKind, Version: sessionVersion, Asked: n.asked, Guide: n.guide.State(), Answer: v.Answer}}
}

// do writes the files, each whole or not at all.
func (k keeping) do() keptFiles {
	f := keptFiles{serial: k.view.Live.Serial, reported: k.report}
	f.err = k.o.Store.Put(sessionFile, func(w io.Writer) error { return json.NewEncoder(w).Encode(k.session) })
	if !k.report || len(k.view.Frames) == 0 {
		return f
	}
	if s, err := k.view.Session(); err == nil { // else there is no mount to speak of yet
		f.err = cmp.Or(f.err, k.o.Store.Put(MountFile, s.Write))
	}
	d := report.Of(k.seq, k.view.Answer)
	d.Title, d.Version, d.Generated, d.Judged = k.o.Title, k.o.Version, time.Now(), judged(k.seq, k.view, k.o.Guide.Answer)
	f.err = cmp.Or(f.err, k.o.Store.Put(reportFile, func(w io.Writer) error { return report.HTML(w, d) }))
	return f
}

// Report is the report as it was last written.
func (n *Session) Report() ([]byte, error) { return get(n.o.Store, reportFile) }

// Judge is what became of the pictures a word rests on, as exposures; nil where that cannot be told.
func (n *Session) Judge(w *Word) *exposure.Verdict { return judged(w.Seq, w.View, n.o.Guide.Answer) }

// judged is what became of the pictures as exposures; nil where that cannot be told.
func judged(seq drift.Sequence, v guide.View, o answer.Options) *exposure.Verdict {
	q := exposure.Question{MaxElongation: o.MaxElongation, Share: o.Share, Axis: v.KnownAxis(), Forecast: v.Forecast}
	seq.Shots = slices.DeleteFunc(slices.Clone(seq.Shots), drift.Shot.Unread)
	verdict, err := exposure.Judge(exposure.Shots(seq), q)
	if err != nil {
		return nil
	}
	return &verdict
}

// described fills in what the user said of the lens where the pictures are silent; the shots are copies.
func (n *Session) described(seq drift.Sequence) drift.Sequence {
	for i := range seq.Shots {
		p, l := &seq.Shots[i].Lens, n.o.Measure.Lens
		if l.FocalLengthMM > 0 {
			p.FocalLengthMM, p.PixelPitchUM = l.FocalLengthMM, l.PixelPitchUM
		}
		if n.o.FNumber > 0 {
			p.FNumber = n.o.FNumber
		}
	}
	return seq
}

// resume makes the guide as it was, from session.json and the journal's lines since, or from the journal alone.
func (n *Session) resume() {
	again := n.forgetOthers()
	n.guide = n.newGuide()
	s, err := readSession(n.o.Store)
	if err == nil && again == 0 && s.Asked == n.asked && n.holds(s.Guide) {
		if g, err := guide.Resume(n.o.Guide, s.Guide, n.shotOf); err == nil {
			n.guide = g
		}
	}
	n.catchUp(context.Background())
	files := n.journal.files()
	if len(files) > 0 {
		n.note("the session is continued: %d pictures", len(files))
	}
	for _, name := range files[max(0, len(files)-neighbours):] {
		if s, ok := n.shotOf(name); ok {
			n.remember([]drift.Shot{s})
		}
	}
}

// holds is whether all pictures of a state are in the journal.
func (n *Session) holds(s guide.State) bool {
	known := map[string]bool{}
	for _, name := range n.journal.files() {
		known[name] = true
	}
	return !slices.ContainsFunc(s.Frames, func(f answer.FrameJSON) bool { return !known[f.File] })
}

// catchUp tells the guide what stands in the journal and it does not know yet.
func (n *Session) catchUp(ctx context.Context) {
	known := knownTo(n.guide)
	var some []drift.Shot
	flush := func() {
		if len(some) > 0 {
			n.tell(ctx, some)
		}
		some = nil
	}
	for _, name := range n.journal.files() {
		if known[name] {
			continue
		}
		s, ok := n.shotOf(name)
		if !ok {
			n.note("%s cannot be read back from the journal and is left out", name)
			continue
		}
		if some = append(some, s); len(some) == loadAtOnce {
			flush()
		}
	}
	flush()
}

// restore makes the guide anew from those pictures of the journal it is known to bear.
func (n *Session) restore(ctx context.Context, sound map[string]bool) {
	n.guide = n.newGuide()
	for _, name := range n.journal.files() {
		if !sound[name] {
			continue
		}
		if s, ok := n.shotOf(name); ok && n.add(ctx, n.guide, []drift.Shot{s}) != nil {
			return
		}
	}
}

// worthAnother is whether a picture is to be measured again: one measured when something else was said of lens and clock, if
// it lies in the folder, or could not be used so far; and one in the folder that could not be read.
func (n *Session) worthAnother(f filed) bool {
	lies := f.stamp.base != "" && n.lies(f.stamp)
	return f.asked != n.asked && (!f.usable || lies) || f.sum == "" && lies
}

// forgetOthers forgets those.
func (n *Session) forgetOthers() int {
	dropped := len(n.journal.drop(n.worthAnother))
	if dropped > 0 {
		n.note("%d pictures are measured again, for lens or clock are told otherwise than before, or they could not be read; those a browser sent, send again", dropped)
	}
	return dropped
}

// lies is whether the very file is still in the folder.
func (n *Session) lies(s stamp) bool {
	p := store.Picture{Name: s.base, At: n.o.Store.At(s.base, false), Size: s.size, Mod: time.Unix(0, s.mod)}
	return p.At != "" && n.o.Store.Holds(p)
}

// get reads a value whole.
func get(s store.Store, name string) ([]byte, error) {
	f, err := s.Get(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return io.ReadAll(io.LimitReader(f, sessionMost))
}

// readSession reads session.json.
func readSession(from store.Store) (s sessionJSON, err error) {
	text, err := get(from, sessionFile)
	if err == nil {
		err = json.Unmarshal(text, &s)
	}
	if err != nil {
		return s, err
	}
	if s.Kind != sessionKind || s.Version != sessionVersion {
		return s, errors.New("not this program's, or of another version")
	}
	return s, nil
}
