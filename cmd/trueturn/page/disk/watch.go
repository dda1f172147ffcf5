package disk

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"time"

	"github.com/fsnotify/fsnotify"

	"trueturn/cmd/formats"
	"trueturn/cmd/session/store"
	"trueturn/ephem/amiss"
)

// How a folder is watched. A file is whole once it stood still: nothing tells when a copy over a network
// is done.
const (
	usualPoll  = 2 * time.Second
	stillFor   = time.Second            // size and time of a file must not have changed for so long
	emptyFor   = 10 * time.Second       // the same for an empty one: its content may be on its way
	afterEvent = 100 * time.Millisecond // events come in swarms
	fullRetry  = time.Second            // when too many pictures wait
	recheck    = 10                     // every so many looks, files taken already are looked at as well
)

// Eyes are those a watcher looks for.
type Eyes struct {
	Offer   func(store.Picture) error     // [store.ErrFull]: offered again later
	Knows   func(store.Picture) bool      // whether a file was measured in a former run
	Say     func(format string, a ...any) // a note for the keyboard
	Trouble func(text string)             // what is amiss with the folder; empty: nothing any more
}

// Watcher looks through one folder, not its subfolders, for pictures that are whole. It looks when the
// system tells of a change, and now and then in any case: of changes made by other machines the system tells nothing.
type Watcher struct {
	dir   string
	to    Eyes
	Poll  time.Duration
	Still time.Duration                  // a file must have stood still for so long
	Quiet bool                           // do without the system's word
	List  func(string) ([]string, error) // names in the folder

	mu    sync.Mutex
	files map[string]*found
	looks int

	gone    bool
	skipped map[string]bool // endings told of
}

// found is a file in the folder.
type found struct {
	size  int64
	mod   time.Time
	since time.Time // it has looked so
	taken bool
	tries int
}

func NewWatcher(dir string, poll time.Duration, to Eyes) *Watcher {
	if poll <= 0 {
		poll = usualPoll
	}
	return &Watcher{dir: dir, Poll: poll, to: to, Still: stillFor, List: namesIn, files: map[string]*found{}, skipped: map[string]bool{}}
}

// Run watches until ctx ends. A network folder that hangs holds up nobody but this.
func (w *Watcher) Run(ctx context.Context) {
	e := &ear{dir: w.dir, deaf: w.Quiet}
	defer e.close()
	var changed map[string]bool
	for {
		e.listen()
		next := w.look(time.Now(), changed)
		if w.gone {
			e.close()
		}
		var more bool
		if changed, more = e.wait(ctx, next); !more {
			return
		}
	}
}

// look goes through the folder, offers what is whole and tells how soon to look again. Changed are names
// the system told of.
func (w *Watcher) look(now time.Time, changed map[string]bool) time.Duration {
	names, err := w.List(w.dir)
	if err != nil {
		w.lose(err)
		return w.Poll
	}
	w.regain()
	w.mu.Lock()
	w.looks++
	due, next := w.note(names, now, changed)
	w.mu.Unlock()
	for _, p := range due { // those of another evening come last
		err := w.to.Offer(p)
		if errors.Is(err, store.ErrFull) {
			return min(next, fullRetry)
		}
		if err != nil { // the session is being closed
			return next
		}
		w.mark(p)
	}
	return next
}

// note brings the table up to date and tells which files are whole, oldest first, and when the next may be.
func (w *Watcher) note(names []string, now time.Time, changed map[string]bool) (due []store.Picture, next time.Duration) {
	next = w.Poll
	here := make(map[string]bool, len(names))
	tried, strange := formats.Pictures(names)
	w.mention(strange)
	for _, name := range tried {
		here[name] = true
		f := w.files[name]
		if f != nil && f.taken && !changed[name] && w.looks%recheck != 0 {
			continue
		}
		if f = w.update(name, f, now); f == nil || f.taken {
			continue
		}
		if wait := f.since.Add(w.patience(f)).Sub(now); wait > 0 {
			next = min(next, wait)
			continue
		}
		due = append(due, store.Picture{Name: name, At: filepath.Join(w.dir, name), Size: f.size, Mod: f.mod, Tries: f.tries, Old: now.Sub(f.mod) > RestAfter})
	}
	for name := range w.files {
		if !here[name] {
			delete(w.files, name)
		}
	}
	slices.SortFunc(due, oldestFirst)
	return due, next
}

// oldestFirst is the order to measure in; a synced folder may hold years of other pictures, which come last.
func oldestFirst(a, b store.Picture) int {
	if a.Old != b.Old {
		if a.Old {
			return 1
		}
		return -1
	}
	return cmp.Or(a.Mod.Compare(b.Mod), cmp.Compare(a.Name, b.Name))
}

// update looks at one file; nil where there is none, or something else by that name.
func (w *Watcher) update(name string, f *found, now time.Time) *found {
	info, err := os.Stat(filepath.Join(w.dir, name)) // follows links
	if err != nil || !info.Mode().IsRegular() {
		delete(w.files, name)
		return nil
	}
	if f == nil {
		f = &found{taken: w.to.Knows(store.Picture{Name: name, Size: info.Size(), Mod: info.ModTime()})}
		w.files[name] = f
	} else if f.size == info.Size() && f.mod.Equal(info.ModTime()) {
		return f
	} else {
		f.taken, f.tries = false, 0
	}
	f.size, f.mod, f.since = info.Size(), info.ModTime(), now
	return f
}

// patience is how long a file must have stood still.
func (w *Watcher) patience(f *found) time.Duration {
	p := w.Still
	if f.size == 0 {
		p = max(p, emptyFor)
	}
	return p + time.Duration(f.tries)*w.Poll
}

// mark notes that a file was taken as it is.
func (w *Watcher) mark(p store.Picture) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if f := w.files[p.Name]; f != nil && f.size == p.Size && f.mod.Equal(p.Mod) {
		f.taken = true
	}
}

// Again has a file offered once more, when it has stood still; failed counts against it.
func (w *Watcher) Again(name string, failed bool) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if f := w.files[name]; f != nil {
		f.taken, f.since = false, time.Now()
		if failed {
			f.tries++
		}
	}
}

// mention tells of files that are no pictures by their names, of each kind once.
func (w *Watcher) mention(strange []string) {
	for _, name := range strange {
		ending := formats.Ending(name)
		if w.skipped[ending] {
			continue
		}
		w.skipped[ending] = true
		of := "ending in " + ending
		if ending == "" {
			of = "without an ending"
		}
		w.to.Say("files %s are passed over, as %s is; pictures end in %s", of, name, formats.Endings())
	}
}

func (w *Watcher) lose(err error) {
	if w.gone {
		return
	}
	w.gone = true
	what := "cannot be read: " + amiss.Plain(err).Error()
	if errors.Is(err, os.ErrNotExist) {
		what = "is not there any more"
	}
	text := fmt.Sprintf("The folder of pictures %s. It is looked for every %g s; pictures can be sent to this page meanwhile.", what, w.Poll.Seconds())
	w.to.Say("the folder %s %s; looked for again every %g s", w.dir, what, w.Poll.Seconds())
	w.to.Trouble(text)
}

func (w *Watcher) regain() {
	if w.gone {
		w.gone = false
		w.to.Say("the folder %s is back", w.dir)
		w.to.Trouble("")
	}
}

// namesIn are the names of what is in a folder, but for its subfolders.
func namesIn(dir string) ([]string, error) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil, err
	}
	names := make([]string, 0, len(entries))
	for _, e := range entries {
		if !e.IsDir() {
			names = append(names, e.Name())
		}
	}
	return names, nil
}

// ear hears of changes from the system, where it can. It is silent otherwise, never an error.
type ear struct {
	dir  string
	deaf bool
	w    *fsnotify.Watcher
	at   os.FileInfo // the folder listened at: another may take its place under the same name
}

// listen makes sure that the folder there is now is listened at.
func (e *ear) listen() {
	if e.deaf {
		return
	}
	info, err := os.Stat(e.dir)
	if err != nil || e.at != nil && os.SameFile(e.at, info) {
		return
	}
	e.close()
	w, err := fsnotify.NewWatcher()
	if err != nil {
		return
	}
	if err := w.Add(e.dir); err != nil {
		w.Close()
		return
	}
	e.w, e.at = w, info
}

func (e *ear) heard() <-chan fsnotify.Event {
	if e.w == nil {
		return nil
	}
	return e.w.Events
}

func (e *ear) failed() <-chan error {
	if e.w == nil {
		return nil
	}
	return e.w.Errors
}

// wait waits for so long, or for a swarm of events to be over, and tells the names that changed; more is false when
// ctx ended.
func (e *ear) wait(ctx context.Context, long time.Duration) (changed map[string]bool, more bool) {
	timer := time.NewTimer(long)
	defer timer.Stop()
	swarm := func() {
		if changed == nil {
			changed = map[string]bool{}
			timer.Reset(min(long, afterEvent))
		}
	}
	for {
		select {
		case <-ctx.Done():
			return nil, false
		case <-timer.C:
			return changed, true
		case ev := <-e.heard():
			swarm()
			changed[filepath.Base(ev.Name)] = true
			if ev.Name == e.dir && ev.Has(fsnotify.Remove|fsnotify.Rename) {
				e.close()
			}
		case <-e.failed(): // events were lost
			swarm()
		}
	}
}

func (e *ear) close() {
	if e.w != nil {
		e.w.Close()
	}
	e.w, e.at = nil, nil
}
