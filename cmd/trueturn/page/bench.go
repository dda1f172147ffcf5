package page

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"runtime"
	"slices"
	"strings"
	"sync"
	"time"

	"golang.org/x/sync/errgroup"

	"trueturn/align/guide"
	"trueturn/cmd/trueturn/legible"
	"trueturn/cmd/words"
	"trueturn/drift"
	"trueturn/ephem/amiss"
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

// bench measures what is offered, writes it down, asks the guide and posts what that says. It also watches
// the folder, if there is one.
//
// All of it but offer, and the measuring itself, happens in the one goroutine of run: a picture goes through
// measure (measure.go), then apply, in which its result reaches the disk (journal.go), the guide and the board, in
// this order. What can wait is left to tidy (keep.go).
type bench struct {
	o       Options
	in      *inbox
	board   *board
	journal *journal
	unlock  func() error
	asked   string   // of lens and clock, as the journal notes it
	watch   *watcher // nil without a folder
	trials  *trials

	patience time.Duration // restPatience, leaveAfter and tick, but for tests
	leave    time.Duration
	tick     time.Duration
	add      func(context.Context, *guide.Guide, []drift.Shot) error
	results  chan []outcome
	settling chan settling
	news     chan struct{} // holds one when folderTrouble has changed

	mu            sync.Mutex
	folderTrouble string

	// Of the goroutine of run alone.
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
	asking     int    // the question last told of at the keyboard
	asideOf    uint64 // serial of what is set aside in answer
	unmarked   bool   // the disk does not take what is begun
	lastChange time.Time
}

// held is a picture that ends too early: the rest may be on its way.
type held struct {
	outcome
	until time.Time
}

// newBench opens or continues the session folder and posts what it knows.
func newBench(o Options, b *board) (*bench, error) {
	if err := needFolder(o.Dir); err != nil {
		return nil, err
	}
	if err := os.MkdirAll(o.SessionDir, 0o755); err != nil {
		return nil, cannotKeep(err)
	}
	unlock, err := lock(o.SessionDir)
	if err != nil {
		return nil, err
	}
	j, notes, err := openJournal(o.SessionDir)
	if err != nil {
		unlock()
		return nil, err
	}
	n := &bench{o: o, in: newInbox(), board: b, journal: j, unlock: unlock, asked: asked(o.Measure), patience: restPatience, leave: leaveAfter, tick: tick, add: add,
		results: make(chan []outcome, 1), settling: make(chan settling), news: make(chan struct{}, 1), keep: newKeeper(o.SessionDir), trials: openTrials(o.SessionDir, o.Dir)}
	n.o.Guide.Answer.Voice = words.ForPage
	n.o.Measure.Room, n.o.Guide.Arrived, n.o.Guide.Answered = drift.NewRoom(), j.arrived, j.answeredUnder(n.asked)
	for _, text := range notes {
		n.note("%s", text)
	}
	if o.Dir != "" {
		n.watch = newWatcher(o.Dir, o.Poll)
		n.watch.offer, n.watch.knows, n.watch.say, n.watch.trouble = n.offer, j.knows, n.note, n.setFolderTrouble
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

// needFolder is why the folder to watch cannot be watched now.
func needFolder(dir string) error {
	if dir == "" {
		return nil
	}
	info, err := os.Stat(dir)
	switch {
	case errors.Is(err, os.ErrNotExist):
		return &amiss.Error{Text: fmt.Sprintf("there is no folder %q", dir), Ways: amiss.Do("check the name; the shell's Tab key completes it"), From: err}
	case err != nil:
		return &amiss.Error{Text: fmt.Sprintf("the folder %q cannot be opened: %v", dir, plain(err)), Ways: amiss.Do("check that you may read it"), From: err}
	case !info.IsDir():
		return &amiss.Error{Text: fmt.Sprintf("%q is a file, not a folder", dir), Ways: amiss.Do("name the folder the pictures arrive in")}
	}
	return nil
}

// offer hands in a picture; errFull when too many wait. It never blocks. What is set aside stays where it is.
func (n *bench) offer(p picture) error {
	if n.trials.keepBack(p) {
		return nil
	}
	return n.in.put(p)
}

// run measures what is offered until ctx ends; then everything is flushed and the session folder let go of.
func (n *bench) run(ctx context.Context) error {
	watched := n.watchFolder(ctx)
	clock := time.NewTicker(n.tick)
	defer clock.Stop()
	for ctx.Err() == nil {
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
		case s := <-n.settling:
			s.done <- n.settle(s.number)
		case <-soon:
		case rs := <-n.results:
			n.busy, n.working = false, nil
			for _, r := range rs {
				if r.fate != abandoned {
					n.trials.passed(r.picture)
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
	return n.finish(watched)
}

// watchFolder watches until ctx ends; the channel is closed when it has.
func (n *bench) watchFolder(ctx context.Context) <-chan struct{} {
	done := make(chan struct{})
	if n.watch == nil {
		close(done)
		return done
	}
	go func() {
		defer close(done)
		n.watch.run(ctx)
	}()
	return done
}

// begin has the next pictures measured, unless some are. One alone gets all the machine has, so that it is
// told of soonest; of many, two at a time get through faster.
func (n *bench) begin(ctx context.Context) {
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

func names(ps []picture) []string {
	list := make([]string, len(ps))
	for i, p := range ps {
		list[i] = p.name
	}
	return list
}

// apply takes measured pictures, in the order they were taken in, to the disk, the guide and the board.
func (n *bench) apply(ctx context.Context, rs []outcome) {
	var fresh []outcome
	for _, r := range rs {
		switch r.fate {
		case measured:
			fresh = append(fresh, r)
		case endsEarly:
			n.held = append(n.held, held{r, time.Now().Add(n.patience)})
		case seenBefore:
			n.note("%s is the same picture as %s and counts once", r.name, r.other)
			removeSpooled(r.picture)
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
func (n *bench) applyHeld(ctx context.Context, now time.Time) {
	var still []held
	var ripe []outcome
	for _, h := range n.held {
		switch {
		case h.changed():
			n.journal.release(h.sum, h.file)
			n.again(h.picture, false)
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
func (n *bench) help(ctx context.Context, rs []outcome) []outcome {
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
func (n *bench) together(ctx context.Context, rs []outcome) {
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
func (n *bench) remember(shots []drift.Shot) {
	for _, s := range shots {
		if s.Solution != nil && s.Clock != nil {
			n.recent = append(n.recent, s)
		}
	}
	n.recent = slices.Clone(n.recent[max(0, len(n.recent)-neighbours):])
}

// tell gives shots to the guide. A shot that upsets the program is told of as one that does. The error is
// the context's.
func (n *bench) tell(ctx context.Context, shots []drift.Shot) error {
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
func (n *bench) finish(watched <-chan struct{}) error {
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
	err = errors.Join(err, n.journal.close(), n.unlock())
	select {
	case <-watched:
	case <-patience.C: // a network folder that hangs
	}
	return err
}

// postStatus posts what waits and what is being measured when that has changed, not too often; where it was too
// early, the channel tells when it is not.
func (n *bench) postStatus() (soon <-chan time.Time) {
	if n.status == n.statusNow() {
		return nil
	}
	if wait := time.Until(n.postedAt.Add(statusPause)); wait > 0 {
		return time.After(wait)
	}
	n.post()
	return nil
}

func (n *bench) statusNow() string { return fmt.Sprint(n.in.waiting(), n.workingNow()) }

// workingNow says what is being measured, and what is waited for.
func (n *bench) workingNow() string {
	text := few(n.working, 2)
	if text == "" && len(n.held) > 0 {
		text = n.held[0].name + ", of which the rest is awaited"
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
func (n *bench) post() {
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
	live := liveJSON{Live: v.Live, Waiting: waiting, Working: n.workingNow(), Trouble: n.troubleNow(), Tubes: n.tubes, Drawings: v.Live.Serial, SetAside: aside}
	text, err := withLive(n.answer, live)
	if err != nil {
		n.note("the page cannot be told: %v", err)
		return
	}
	n.posted++
	n.status, n.postedAt = status, time.Now()
	n.board.post(&notice{serial: n.posted, json: text, view: v, seq: n.seq, waiting: waiting, working: live.Working})
}

// encode makes what is the same in all notices of one answer.
func (n *bench) encode(v guide.View) {
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

// setFolderTrouble notes what is amiss with the folder watched; for the watcher's goroutine.
func (n *bench) setFolderTrouble(text string) {
	n.mu.Lock()
	n.folderTrouble = text
	n.mu.Unlock()
	n.tellNews()
}

// tellNews has the page told; for other goroutines.
func (n *bench) tellNews() {
	select {
	case n.news <- struct{}{}:
	default:
	}
}

func (n *bench) troubleNow() string {
	n.mu.Lock()
	defer n.mu.Unlock()
	return strings.TrimSpace(n.folderTrouble + " " + n.keep.trouble)
}

// note tells the one at the keyboard, who may be nobody.
func (n *bench) note(format string, a ...any) {
	if n.o.Notes != nil {
		fmt.Fprintf(n.o.Notes, "note: %s\n", legible.Line(fmt.Sprintf(format, a...)))
	}
}
