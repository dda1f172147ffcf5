// Package session is an evening whoever carries it: pictures are taken in, measured one by one and written down, and every
// screen that looks is told at once what to turn. It knows no files and no network; where it is kept is a
// [trueturn/cmd/session/store.Store], a folder on a computer and a browser's database on a phone.
//
// Start with New, Session.Run and Session.Board. One picture goes
//
//	Offer → queue → measure → journal → guide → board → whoever looks
//
// and never back. The board holds the latest word alone, so that who looks seldom holds up nobody.
//
// # The front end
//
// web/ is the one page there is, served or opened as it stands: no build step, nothing inline (the policy it is served
// under forbids it), every colour a variable of page.css or of package plot, whose contrast look_test.go measures. What
// differs between a computer and a phone is one object in it, the line.
package session

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"runtime"
	"slices"
	"strings"
	"sync"
	"time"

	"golang.org/x/sync/errgroup"

	"trueturn/align/guide"
	"trueturn/cmd/legible"
	"trueturn/cmd/session/store"
	"trueturn/cmd/words"
	"trueturn/drift"
)

// The pace of the bench.
const (
	batchMost    = 8                      // pictures measured and told of together, when many wait
	atOnce       = 2                      // of them at a time
	tick         = time.Second            // for what is put off
	statusPause  = 100 * time.Millisecond // between two words that only the queue has grown
	saveAfter    = 2 * time.Second        // between two savings of the session
	calmAfter    = 3 * time.Second        // without a new picture before the report is drawn
	restPatience = 10 * time.Second       // for the rest of a picture that ends too early
	leaveAfter   = 5 * time.Second        // for a picture being measured, or a network folder, when all ends
)

// Options say what a session reckons with. Store is needed; all else may be left out.
type Options struct {
	Store store.Store

	Measure drift.Options
	Guide   guide.Options // Answer.Site nil: the pictures' own place
	// PlaceAndClockRight answers every question of place and clock beforehand.
	PlaceAndClockRight bool
	FNumber            float64 // of the lens, for a rule of thumb in the report; 0: the pictures' own

	Title   string // of the evening, for the report; may be ""
	Version string // of the program, for the report

	Note  func(text string)                  // tells whoever started the program, who may be nobody (nil)
	Again func(p store.Picture, failed bool) // has a watched file offered once more; nil: nobody watches
}

// Session measures what is offered, writes it down, asks the guide and posts what that says.
//
// All of it but Offer, and the measuring itself, happens in the one goroutine of Run: a picture goes through
// measure (measure.go), then apply, in which its result reaches the store (journal.go), the guide and the board, in
// this order. What can wait is left to tidy (keep.go).
type Session struct {
	o       Options
	in      *inbox
	board   *Board
	journal *journal
	started string // what it was started with, in short
	told    Told   // at the page
	asked   string // of lens and clock, as the journal notes it
	trials  *trials

	patience time.Duration // restPatience, leaveAfter and tick, but for tests
	leave    time.Duration
	tick     time.Duration
	add      func(context.Context, *guide.Guide, []drift.Shot) error
	results  chan []outcome
	calls    chan func()
	news     chan struct{} // holds one when outside has changed

	mu      sync.Mutex // of what pictures are measured by, too: see measuring
	outside string     // trouble told of from outside

	// Of the goroutine of Run alone.
	guide      *guide.Guide
	recent     []drift.Shot // last ones recognised, which help those beside them
	unsolved   []outcome    // last ones that were not, and may be yet
	busy       bool
	working    []string
	held       []held
	answer     []byte // JSON of the guide's answer
	answerOf   uint64 // its serial
	tubes      tubesJSON
	seq        drift.Sequence
	posted     uint64
	status     string // waiting and working as last posted
	postedAt   time.Time
	unwritten  unwritten
	keep       keeper
	asking     int    // the question last told of
	asideOf    uint64 // serial of what is set aside in answer
	unmarked   bool   // the store does not take what is begun
	lastChange time.Time
}

// held is a picture that ends too early: the rest may be on its way.
type held struct {
	outcome
	until time.Time
}

// New opens or continues the session in the store and posts what it knows. Where it fails the store is left open.
func New(o Options) (*Session, error) {
	lines, err := o.Store.Journal()
	if err != nil {
		return nil, err
	}
	j, notes, err := readJournal(lines)
	if err != nil {
		lines.Close()
		return nil, err
	}
	started := o.started()
	told := o.remembered()
	n := &Session{o: o, started: started, told: told, in: newInbox(), board: newBoard(), journal: j, asked: asked(o.Measure), patience: restPatience, leave: leaveAfter, tick: tick, add: add,
		results: make(chan []outcome, 1), calls: make(chan func()), news: make(chan struct{}, 1), keep: newKeeper(), trials: openTrials(o.Store)}
	n.o.Guide.Answer.Voice = words.ForPage
	n.o.Measure.Room, n.o.Guide.Arrived, n.o.Guide.Answered = drift.NewRoom(), j.arrived, j.answeredUnder(n.asked)
	for _, text := range notes {
		n.note("%s", text)
	}
	n.resume()
	n.tellQuestion()
	if aside, _ := n.trials.setAside(); len(aside) > 0 {
		n.note("set aside, for the program died twice while reading it: %s", few(aside, 3))
	}
	n.begun(nil)
	n.post()
	return n, nil
}

// Board is where the session says what it knows.
func (n *Session) Board() *Board { return n.board }

// Measured is whether an unchanged file of the watched folder was measured in this session.
func (n *Session) Measured(p store.Picture) bool {
	return n.journal.knows(stampOf(p.Name, p.Size, p.Mod))
}

// Offer hands in a picture; store.ErrFull when too many wait. It never blocks. What is set aside stays where it is.
func (n *Session) Offer(p store.Picture) error {
	if n.trials.keepBack(p) {
		return nil
	}
	return n.in.put(p)
}

// Run measures what is offered until ctx ends, what lies in the inbox first; then everything is flushed.
func (n *Session) Run(ctx context.Context) error {
	clock := time.NewTicker(n.tick)
	defer clock.Stop()
	left := n.o.Store.Waiting()
	for ctx.Err() == nil {
		left = n.readmit(left)
		n.begin(ctx)
		if !n.busy {
			n.begun(nil)
		}
		soon := n.postStatus()
		select {
		case <-ctx.Done():
		case <-n.in.filled:
		case <-n.news:
			n.post()
		case call := <-n.calls:
			call()
		case <-soon:
		case rs := <-n.results:
			n.busy, n.working = false, nil
			for _, r := range rs {
				if r.fate != abandoned {
					n.trials.passed(r.Picture)
				}
			}
			n.begin(ctx) // while these are thought about
			n.apply(ctx, rs)
		case kept := <-n.keep.done:
			n.kept(kept)
		case now := <-clock.C:
			n.applyHeld(ctx, now)
			n.tidy(now)
		}
	}
	return n.finish()
}

// readmit offers what was sent before the last stop and not measured any more, as long as there is room.
func (n *Session) readmit(left []store.Picture) []store.Picture {
	for len(left) > 0 && n.Offer(left[0]) == nil {
		left = left[1:]
	}
	return left
}

// begin has the next pictures measured, unless some are. One alone gets all the machine has, so that it is
// told of soonest; of many, two at a time get through faster.
func (n *Session) begin(ctx context.Context) {
	if n.busy || ctx.Err() != nil {
		return
	}
	ps := n.in.take(batchMost, n.trials.doubts)
	if len(ps) == 0 {
		return
	}
	n.begun(ps)
	n.busy, n.working = true, names(ps)
	cores := max(1, runtime.GOMAXPROCS(0)/min(atOnce, len(ps)))
	go func() {
		rs := make([]outcome, len(ps))
		var g errgroup.Group
		g.SetLimit(atOnce)
		for i, p := range ps {
			g.Go(func() error {
				rs[i] = n.measure(ctx, p, cores)
				return nil
			})
		}
		g.Wait()
		n.results <- rs
	}()
}

func names(ps []store.Picture) []string {
	list := make([]string, len(ps))
	for i, p := range ps {
		list[i] = p.Name
	}
	return list
}

// apply takes measured pictures, in the order they were taken in, to the disk, the guide and the board.
func (n *Session) apply(ctx context.Context, rs []outcome) {
	var fresh []outcome
	for _, r := range rs {
		switch r.fate {
		case measured:
			fresh = append(fresh, r)
		case endsEarly:
			n.held = append(n.held, held{r, time.Now().Add(n.patience)})
		case seenBefore:
			n.note("%s is the same picture as %s and counts once", r.Name, r.other)
			n.o.Store.Drop(r.Picture)
		}
	}
	if len(fresh) == 0 {
		return
	}
	fresh = n.help(ctx, fresh)
	fresh = asTaken(fresh)
	n.write(fresh)
	shots := shotsOf(fresh)
	if n.tell(ctx, shots) != nil {
		n.keep.spoilt = true // the session as last saved and the journal together are the truth
		return
	}
	n.remember(shots)
	n.lastChange = time.Now()
	n.tellQuestion()
	n.post()
}

// asTaken puts outcomes in the order the guide takes their pictures in.
func asTaken(rs []outcome) []outcome {
	list := make([]outcome, 0, len(rs))
	for _, s := range guide.InOrder(shotsOf(rs)) {
		i := slices.IndexFunc(rs, func(o outcome) bool { return o.shot.File == s.File })
		list = append(list, rs[i])
	}
	return list
}

func shotsOf(rs []outcome) []drift.Shot {
	shots := make([]drift.Shot, len(rs))
	for i, r := range rs {
		shots[i] = r.shot
	}
	return shots
}

// applyHeld looks after pictures that ended too early: one that has changed is read again, one that
// will not is listed as it is.
func (n *Session) applyHeld(ctx context.Context, now time.Time) {
	var still []held
	var ripe []outcome
	for _, h := range n.held {
		switch {
		case n.changed(h.outcome):
			n.journal.release(h.sum, h.file)
			n.again(h.Picture, false)
		case now.Before(h.until):
			still = append(still, h)
		default:
			h.fate = measured
			ripe = append(ripe, h.outcome)
		}
	}
	n.held = still
	n.apply(ctx, ripe)
}

// neighbours is how many pictures recognised before help a new one, and how many that were not are tried again when
// one is.
const neighbours = 8

// help recognises pictures of few stars by those beside them: new ones, and those before that waited for a neighbour. The
// latter, if any, are given as well.
func (n *Session) help(ctx context.Context, rs []outcome) []outcome {
	var waited []outcome
	if slices.ContainsFunc(rs, outcome.solved) {
		waited, n.unsolved = n.unsolved, nil
	}
	all := slices.Concat(waited, rs)
	if slices.ContainsFunc(all, outcome.unsolved) {
		n.together(ctx, all)
	}
	given := slices.DeleteFunc(slices.Clone(all[:len(waited)]), outcome.unsolved)
	given = append(given, all[len(waited):]...)
	n.unsolved = append(n.unsolved, slices.DeleteFunc(all, func(o outcome) bool { return !o.unsolved() })...)
	n.unsolved = slices.Clone(n.unsolved[max(0, len(n.unsolved)-neighbours):])
	return given
}

// together lets shots and the last ones recognised help each other; nothing is opened, for all are known. When ctx ends
// the shots stay as they are.
func (n *Session) together(ctx context.Context, rs []outcome) {
	o := n.o.Measure
	o.Known, o.Progress = map[string]drift.Shot{}, nil
	var sources []drift.Source
	add := func(s drift.Shot) {
		o.Known[s.File] = s
		sources = append(sources, drift.Source{Name: s.File})
	}
	for _, s := range n.recent {
		add(s)
	}
	for _, r := range rs {
		add(r.shot)
	}
	seq, err := drift.Measure(ctx, sources, o)
	if err != nil {
		return
	}
	for i := range rs {
		at := slices.IndexFunc(seq.Shots, func(s drift.Shot) bool { return s.File == rs[i].file })
		if rs[i].unsolved() && at >= 0 {
			clock := rs[i].shot.Clock
			rs[i].shot = seq.Shots[at]
			rs[i].shot.LeftOut, rs[i].shot.Clock = "", clock // which of two files of one exposure counts, and whether the clock was set, is for the guide to say
		}
	}
}

// solved is whether a picture was recognised; unsolved whether it was not, but may be by its neighbours: three stars
// are the least.
func (o outcome) solved() bool   { return o.shot.Solution != nil }
func (o outcome) unsolved() bool { return o.shot.Solution == nil && len(o.shot.Field.Stars) >= 3 }

// remember keeps the last ones recognised.
func (n *Session) remember(shots []drift.Shot) {
	for _, s := range shots {
		if s.Solution != nil && s.Clock != nil {
			n.recent = append(n.recent, s)
		}
	}
	n.recent = slices.Clone(n.recent[max(0, len(n.recent)-neighbours):])
}

// tell gives shots to the guide. A shot that upsets the program is told of as one that does. The error is
// the context's.
func (n *Session) tell(ctx context.Context, shots []drift.Shot) error {
	err := n.add(ctx, n.guide, shots)
	if !errors.Is(err, drift.ErrFault) {
		return err
	}
	n.note("a fault of this program was met with %s; they are tried one by one", few(fileNames(shots), 3))
	sound := knownTo(n.guide)
	n.restore(ctx, sound)
	for _, s := range shots {
		fault := n.add(ctx, n.guide, []drift.Shot{s})
		if !errors.Is(fault, drift.ErrFault) {
			if fault != nil {
				return fault
			}
			sound[s.File] = true
			continue
		}
		n.restore(ctx, sound)
		if err := n.add(ctx, n.guide, []drift.Shot{{File: s.File, Clock: s.Clock, Err: fault}}); err != nil {
			return err
		}
	}
	return nil
}

// add is Guide.Add; a panic in it is a [drift.ErrFault].
func add(ctx context.Context, g *guide.Guide, shots []drift.Shot) (err error) {
	defer func() {
		if r := recover(); r != nil {
			err = drift.Fault(r)
		}
	}()
	return g.Add(ctx, shots...)
}

// knownTo are the names of all pictures a guide was given.
func knownTo(g *guide.Guide) map[string]bool {
	names := map[string]bool{}
	for _, f := range g.State().Frames {
		names[f.File] = true
	}
	return names
}

func fileNames(shots []drift.Shot) []string {
	list := make([]string, len(shots))
	for i, s := range shots {
		list[i] = s.File
	}
	return list
}

// finish leaves a whole session behind.
func (n *Session) finish() error {
	n.in.close()
	defer n.begun(nil) // an end on purpose is nobody's fault
	patience := time.NewTimer(n.leave)
	defer patience.Stop()
	if n.busy {
		select {
		case <-n.results: // cut short, and measured again the next time
		case <-patience.C:
		}
	}
	err := n.keepAll()
	return errors.Join(err, n.journal.close())
}

// postStatus posts what waits and what is being measured when that has changed, not too often; where it was too
// early, the channel tells when it is not.
func (n *Session) postStatus() (soon <-chan time.Time) {
	if n.status == n.statusNow() {
		return nil
	}
	if wait := time.Until(n.postedAt.Add(statusPause)); wait > 0 {
		return time.After(wait)
	}
	n.post()
	return nil
}

func (n *Session) statusNow() string { return fmt.Sprint(n.in.waiting(), n.workingNow()) }

// workingNow says what is being measured, and what is waited for.
func (n *Session) workingNow() string {
	text := few(n.working, 2)
	if text == "" && len(n.held) > 0 {
		text = n.held[0].Name + ", of which the rest is awaited"
	}
	return text
}

// few names the first few of many.
func few(names []string, most int) string {
	text := strings.Join(names[:min(len(names), most)], ", ")
	if more := len(names) - most; more > 0 {
		text += fmt.Sprintf(" and %d more", more)
	}
	return text
}

// post puts the present state on the board.
func (n *Session) post() {
	v := n.guide.View()
	aside, asideOf := n.trials.setAside()
	if len(aside) > 0 {
		v.Frames = slices.Concat(v.Frames, asideFrames(aside))
	}
	if asideOf != n.asideOf {
		n.answer, n.asideOf = nil, asideOf
	}
	n.encode(v)
	status, waiting := n.statusNow(), n.in.waiting()
	live := liveJSON{Live: v.Live, Waiting: waiting, Working: n.workingNow(), Trouble: n.troubleNow(), Tubes: n.tubes, Drawings: v.Live.Serial, SetAside: aside, Thrown: n.journal.thrownOut()}
	text, err := withLive(n.answer, live)
	if err != nil {
		n.note("the page cannot be told: %v", err)
		return
	}
	n.posted++
	n.status, n.postedAt = status, time.Now()
	n.board.Post(&Word{Serial: n.posted, JSON: text, View: v, Seq: n.seq, Waiting: waiting, Working: live.Working})
}

// encode makes what is the same in all notices of one answer.
func (n *Session) encode(v guide.View) {
	if n.answer != nil && n.answerOf == v.Live.Serial {
		return
	}
	text, err := json.Marshal(v.Answer)
	if err != nil { // a number that is none
		n.note("the answer cannot be told: %v", err)
		if n.answer == nil {
			text = []byte(`{"frames":[]}`)
		} else {
			text = n.answer
		}
	}
	n.answer, n.answerOf, n.tubes, n.seq = text, v.Live.Serial, tubes(v), n.described(n.guide.Sequence())
}

// Tell has the page say what is amiss outside, with the folder watched say; empty: nothing any more.
func (n *Session) Tell(text string) {
	n.mu.Lock()
	n.outside = text
	n.mu.Unlock()
	n.tellNews()
}

// tellNews has the page told; for other goroutines.
func (n *Session) tellNews() {
	select {
	case n.news <- struct{}{}:
	default:
	}
}

func (n *Session) troubleNow() string {
	n.mu.Lock()
	defer n.mu.Unlock()
	return strings.TrimSpace(n.outside + " " + n.keep.trouble)
}

// note tells whoever started the program, who may be nobody.
func (n *Session) note(format string, a ...any) {
	if n.o.Note != nil {
		n.o.Note(legible.Line(fmt.Sprintf(format, a...)))
	}
}
