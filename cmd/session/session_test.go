package session

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"trueturn/align/answer"
	"trueturn/align/guide"
	"trueturn/cmd/session/evening"
	"trueturn/cmd/session/store"
	"trueturn/cmd/trueturn/page/disk"
	"trueturn/cmd/words"
	"trueturn/drift"
	"trueturn/drift/solve"
	"trueturn/drift/star"
)

// bench is a session in a folder, as a computer keeps it.
type bench struct {
	*Session
	watch  *disk.Watcher // nil without a folder
	folder *disk.Folder
}

// kept are the options of a test: where it is kept and what is watched.
type kept struct {
	Options
	dir, session string
	notes        *evening.Notebook
}

func options(t testing.TB, dir, session string) kept {
	t.Helper()
	site, err := evening.Site()
	if err != nil {
		t.Fatal(err)
	}
	notes := &evening.Notebook{}
	return kept{dir: dir, session: session, notes: notes, Options: Options{Note: func(text string) { fmt.Fprintln(notes, text) }, Title: "Meadow", Version: "test",
		Guide: guide.Options{Answer: answer.Options{Site: &site}}}}
}

// newBench opens a session and what it watches.
func newBench(o kept) (*bench, error) {
	folder, err := disk.Open(o.session, o.dir)
	if err != nil {
		return nil, err
	}
	n := &bench{folder: folder}
	o.Store = folder
	if o.dir != "" {
		o.Again = func(p store.Picture, failed bool) { n.watch.Again(p.Name, failed) }
	}
	if n.Session, err = New(o.Options); err != nil {
		folder.Close()
		return nil, err
	}
	if o.dir != "" {
		knows := func(p store.Picture) bool { return n.Measured(p) || folder.Past(p.Name, p.Size, p.Mod) }
		n.watch = disk.NewWatcher(o.dir, 50*time.Millisecond, disk.Eyes{Offer: n.Offer, Knows: knows, Say: n.note, Trouble: n.Tell})
	}
	return n, nil
}

// run is as the page does it: a network folder that hangs holds nobody up.
func (n *bench) run(ctx context.Context) error {
	if n.watch != nil {
		go n.watch.Run(ctx)
	}
	return errors.Join(n.Run(ctx), n.folder.Close())
}

// end ends a session that was not run.
func (n *bench) end() error { return errors.Join(n.finish(), n.folder.Close()) }

// working is a bench at work.
type working struct {
	*bench
	t     testing.TB
	notes *evening.Notebook
	stop  func() // ends it, and fails the test if it did not end well
}

// work opens a bench and lets it run.
func work(t testing.TB, dir, session string, set ...func(*bench)) *working {
	t.Helper()
	return workWith(t, options(t, dir, session), set...)
}

func workWith(t testing.TB, o kept, set ...func(*bench)) *working {
	t.Helper()
	n, err := newBench(o)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range set {
		f(n)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- n.run(ctx) }()
	w := &working{bench: n, t: t, notes: o.notes}
	w.stop = sync.OnceFunc(func() {
		cancel()
		select {
		case err := <-ended:
			if err != nil {
				t.Errorf("the bench ended with %v", err)
			}
		case <-time.After(evening.Patience):
			t.Error("the bench does not end")
		}
	})
	t.Cleanup(w.stop)
	return w
}

// told is an event as a browser reads it.
type toldJSON struct {
	answer.Answer
	Live struct {
		Phase, Working, Trouble string
		Waiting                 int
		Serial, Drawings        uint64
		Tubes                   map[string]string
		SetAside                []string `json:"set_aside"`
		Thrown, Wants           []string
	} `json:"live"`
}

// until waits for a notice that is as wanted.
func (w *working) until(what string, ok func(*Word) bool) *Word {
	w.t.Helper()
	late := time.After(evening.Patience)
	for {
		n, changed := w.board.Look()
		if ok(n) {
			return n
		}
		select {
		case <-changed:
		case <-late:
			w.t.Fatalf("waited in vain until %s; the last word was %s\nnotes: %s", what, n.JSON, w.notes)
		}
	}
}

// frames waits until so many pictures are listed.
func (w *working) frames(count int) *Word {
	w.t.Helper()
	return w.until(fmt.Sprintf("%d pictures are listed", count), func(n *Word) bool { return len(n.View.Frames) >= count })
}

func (w *working) must(p store.Picture) {
	w.t.Helper()
	if err := w.Offer(p); err != nil {
		w.t.Fatal(err)
	}
}

func readTold(t testing.TB, n *Word) toldJSON {
	t.Helper()
	var told toldJSON
	if err := json.Unmarshal(n.JSON, &told); err != nil {
		t.Fatalf("%v in %s", err, n.JSON)
	}
	return told
}

// Pictures that are offered are measured and told of, and the notice is what browsers expect.
func TestBenchTellsWhatItMeasured(t *testing.T) {
	dir, e := t.TempDir(), evening.Eight(t)
	w := work(t, "", filepath.Join(dir, "session"))
	first := readTold(t, w.until("it is open", func(n *Word) bool { return n != nil }))
	if first.Live.Phase != guide.Waiting || len(first.Frames) != 0 {
		t.Errorf("before the first picture: %+v", first)
	}
	for i := range 8 {
		w.must(e.Write(t, i, dir, fmt.Sprintf("sky-%d.jpg", i)))
	}
	w.frames(8)
	n := w.until("nothing waits", func(n *Word) bool { return n.Waiting == 0 && n.Working == "" })
	told := readTold(t, n)
	if told.Axis == nil || len(told.Frames) != 8 || told.Live.Serial == 0 || told.Live.Drawings != told.Live.Serial {
		t.Errorf("told %s", n.JSON)
	}
	if told.Live.Tubes["azimuth"] == "" || told.Live.Tubes["altitude"] == "" {
		t.Error("no tubes are drawn")
	}
	for i, f := range told.Frames {
		if !f.Used || f.File != fmt.Sprintf("sky-%d.jpg", i) {
			t.Errorf("frame %d: %+v", i, f)
		}
	}
	if len(n.Seq.Shots) != 8 {
		t.Errorf("%d shots for drawings", len(n.Seq.Shots))
	}
}

// quick makes a bench impatient.
func quick(n *bench) {
	n.patience, n.leave, n.tick = 300*time.Millisecond, 500*time.Millisecond, 50*time.Millisecond
	if n.watch != nil {
		n.watch.Still = 60 * time.Millisecond
	}
}

// sameAnswer compares what two notices say of the mount.
func sameAnswer(t *testing.T, got, want *Word) {
	t.Helper()
	a, b := readTold(t, got), readTold(t, want)
	if diff := cmp.Diff(b.Answer, a.Answer, cmpopts.EquateApprox(1e-6, 1e-9), cmpopts.IgnoreTypes(answer.Finding{})); diff != "" {
		t.Errorf("the answer is another one (-before +after)\n%s", diff)
	}
}

// However a session ends, the next start knows what was measured, and says the same.
func TestSessionSurvives(t *testing.T) {
	dir, e := t.TempDir(), evening.Eight(t)
	session := filepath.Join(dir, "session")
	w := work(t, "", session, quick)
	for i := range 4 {
		w.must(e.Write(t, i, dir, fmt.Sprintf("sky-%d.jpg", i)))
	}
	w.frames(4)
	w.stop()
	w = work(t, "", session, func(n *bench) { n.keep.savedAt = time.Now().Add(time.Hour) }) // session.json stays as it is
	for i := 4; i < 6; i++ {
		w.must(e.Write(t, i, dir, fmt.Sprintf("sky-%d.jpg", i)))
	}
	before := w.frames(6)
	killed := evening.Copied(t, session)
	w.stop()
	for _, c := range []struct {
		name string
		harm func(t *testing.T, session string) // what else the crash does
		left int
		note string
	}{
		{"a crash before anything but the journal was written", func(t *testing.T, s string) { os.Remove(filepath.Join(s, sessionFile)) }, 6, ""},
		{"a crash between journal and session.json", func(t *testing.T, s string) {}, 6, ""},
		{"a crash in the midst of a line", func(t *testing.T, s string) { shortenBy(t, filepath.Join(s, disk.JournalFile), 100) }, 5, "cut off"},
		{"session.json names what the journal lost", func(t *testing.T, s string) {
			j := filepath.Join(s, disk.JournalFile)
			text, _ := os.ReadFile(j)
			lines := bytes.SplitAfter(text, []byte("\n"))
			os.WriteFile(j, bytes.Join(lines[:4], nil), 0o644) // the first and three pictures
		}, 3, ""},
		{"session.json is cut off", func(t *testing.T, s string) { os.Truncate(filepath.Join(s, sessionFile), 100) }, 6, ""},
		{"session.json is another program's", func(t *testing.T, s string) {
			os.WriteFile(filepath.Join(s, sessionFile), []byte(`{"kind":"diary","version":1}`), 0o644)
		}, 6, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			crashed := evening.Copied(t, killed)
			c.harm(t, crashed)
			after := work(t, "", crashed, quick)
			n := after.frames(c.left)
			if len(n.View.Frames) != c.left || !strings.Contains(after.notes.String(), c.note) {
				t.Errorf("%d pictures are left, want %d; notes: %s", len(n.View.Frames), c.left, after.notes)
			}
			if c.left == 6 {
				sameAnswer(t, n, before)
			}
			after.must(e.Write(t, 6, dir, "sky-6.jpg")) // and it goes on
			after.must(e.Write(t, 5, dir, "sky-5.jpg")) // known, or measured again
			after.frames(c.left + 1)
		})
	}
}

func shortenBy(t *testing.T, path string, bytes int64) {
	t.Helper()
	info, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Truncate(path, info.Size()-bytes); err != nil {
		t.Fatal(err)
	}
}

// A session that ends in peace leaves all its files, and starts again with the very answer it had.
func TestSessionEndsWhole(t *testing.T) {
	dir, e := t.TempDir(), evening.Eight(t)
	session := filepath.Join(dir, "session")
	w := work(t, "", session, quick)
	for i := range 6 {
		w.must(e.Write(t, i, dir, fmt.Sprintf("sky-%d.jpg", i)))
	}
	before := w.frames(6)
	w.stop()
	for _, name := range []string{disk.JournalFile, sessionFile, MountFile, reportFile} {
		if info, err := os.Stat(filepath.Join(session, name)); err != nil || info.Size() == 0 {
			t.Errorf("%s: %v", name, err)
		}
	}
	f, err := os.Open(filepath.Join(session, MountFile))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if _, err := answer.ReadSession(f); err != nil {
		t.Errorf("what expose --session reads: %v", err)
	}
	report, _ := os.ReadFile(filepath.Join(session, reportFile))
	if !bytes.Contains(report, []byte("Meadow")) || !bytes.Contains(report, []byte("sky-5.jpg")) {
		t.Error("the report lacks the evening's name or a picture")
	}
	left, _ := filepath.Glob(filepath.Join(session, ".*"))
	if len(left) > 0 {
		t.Errorf("half-written files are left: %q", left)
	}
	after := work(t, "", session, quick)
	sameAnswer(t, after.frames(6), before)
	if !strings.Contains(after.notes.String(), "continued: 6 pictures") {
		t.Errorf("notes: %s", after.notes)
	}
}

// The same content counts once, whatever it is called and by whatever way it comes, also after a restart; what a
// browser sent is removed when it is not needed any more.
func TestSameContentCountsOnce(t *testing.T) {
	dir, e := t.TempDir(), evening.Eight(t)
	session := filepath.Join(dir, "session")
	w := work(t, "", session, quick)
	sent := func(i int, name string) store.Picture {
		p := e.Write(t, i, dir, name)
		p.Sent = true
		return p
	}
	first, again, other := sent(0, "first.jpg"), sent(0, "again.jpg"), sent(1, "other.jpg")
	for _, p := range []store.Picture{first, again, other} {
		w.must(p)
	}
	w.frames(2)
	w.until("nothing waits", func(n *Word) bool { return n.Waiting == 0 && n.Working == "" })
	w.stop()
	w = work(t, "", session, quick)
	w.must(sent(0, "after.jpg"))
	w.must(sent(2, "new.jpg"))
	n := w.frames(3)
	if len(n.View.Frames) != 3 {
		t.Errorf("listed: %s", n.JSON)
	}
	w.stop()
	if left, _ := filepath.Glob(filepath.Join(dir, "*.jpg")); len(left) > 0 {
		t.Errorf("not removed: %q", left)
	}
	if !strings.Contains(w.notes.String(), "after.jpg is the same picture as") {
		t.Errorf("notes: %s", w.notes)
	}
}

// Two cameras count alike; both pictures are kept, by names that differ.
func TestEqualNamesAreToldApart(t *testing.T) {
	dir, e := t.TempDir(), evening.Eight(t)
	os.Mkdir(filepath.Join(dir, "other"), 0o755)
	w := work(t, "", filepath.Join(dir, "session"), quick)
	w.must(e.Write(t, 0, dir, "IMG_1.jpg"))
	w.must(e.Write(t, 1, filepath.Join(dir, "other"), "IMG_1.jpg"))
	n := w.frames(2)
	files := []string{n.View.Frames[0].File, n.View.Frames[1].File}
	if !slices.Contains(files, "IMG_1.jpg") || !slices.Contains(files, "IMG_1 (2).jpg") {
		t.Errorf("called %q", files)
	}
}

// Nothing that calls itself a picture stops the bench; it is listed with the reason, and good ones go on being
// measured.
func TestUselessPicturesAreListed(t *testing.T) {
	dir, e := t.TempDir(), evening.Eight(t)
	w := work(t, "", filepath.Join(dir, "session"), quick)
	whole := e.JPEG[0]
	bad := map[string][]byte{
		"letter.jpg":  []byte("this is a letter, not a picture"),
		"cut.jpg":     whole[:len(whole)/2],
		"empty.jpg":   nil,
		"heic.jpg":    []byte("\x00\x00\x00\x24ftypheic\x00\x00\x00\x00mif1heic"),
		"huge.png":    []byte("\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR\x7f\xff\xff\xff\x7f\xff\xff\xff\x08\x00\x00\x00\x00"),
		"missing.jpg": nil,
	}
	for name, content := range bad {
		p := evening.File(t, filepath.Join(dir, name), content)
		if name == "missing.jpg" {
			os.Remove(p.At)
		}
		p.Sent = name != "cut.jpg" // as if it came by the folder, but nobody watches
		w.must(p)
	}
	w.must(e.Write(t, 1, dir, "good.jpg"))
	n := w.frames(len(bad) + 1)
	for _, f := range n.View.Frames {
		if f.Used != (f.File == "good.jpg") || !f.Used && f.WhyNot == "" {
			t.Errorf("%+v", f)
		}
	}
}

// A picture of few stars is recognised beside one that was, whichever came first.
func TestFewStarsAreRecognisedBesideOthers(t *testing.T) {
	e := evening.Eight(t)
	for _, c := range []struct {
		name string
		thin int // which of two has few stars
	}{{"the later one", 1}, {"the earlier one", 0}} {
		t.Run(c.name, func(t *testing.T) {
			dir := t.TempDir()
			session := filepath.Join(dir, "session")
			o := options(t, "", session)
			n, err := newBench(o)
			if err != nil {
				t.Fatal(err)
			}
			for i := range 2 {
				r := n.measure(t.Context(), e.Write(t, i, dir, fmt.Sprintf("sky-%d.jpg", i)), 1)
				if i == c.thin {
					r.shot = thinned(r.shot)
				}
				n.apply(t.Context(), []outcome{r})
				if told, _ := n.board.Look(); i == 0 && told.View.Frames[0].Used != (c.thin != 0) {
					t.Fatalf("alone: %s", told.JSON)
				}
			}
			told, _ := n.board.Look()
			if len(told.View.Frames) != 2 || !told.View.Frames[0].Used || !told.View.Frames[1].Used || len(n.unsolved) != 0 {
				t.Errorf("told %s", told.JSON)
			}
			n.end()
			sameAnswer(t, work(t, "", session, quick).frames(2), told)
		})
	}
}

// thinned is a shot as a thin cloud leaves it: five stars, not recognised.
func thinned(s drift.Shot) drift.Shot {
	var few []star.Star
	for _, g := range s.Solution.Sightings[:5] {
		few = append(few, s.Field.Stars[g.Star])
	}
	s.Field.Stars, s.Solution, s.Err = few, nil, solve.ErrFewStars
	return s
}

// A fault of the program met with one picture costs that picture, not the session.
func TestFaultCostsOnePicture(t *testing.T) {
	dir, e := t.TempDir(), evening.Eight(t)
	stumble := func(n *bench) {
		n.add = func(ctx context.Context, g *guide.Guide, shots []drift.Shot) error {
			for _, s := range shots {
				if s.File == "sky-2.jpg" && s.Err == nil {
					return add(ctx, nil, shots) // a panic
				}
			}
			return add(ctx, g, shots)
		}
	}
	w := work(t, "", filepath.Join(dir, "session"), quick, stumble)
	for i := range 5 {
		w.must(e.Write(t, i, dir, fmt.Sprintf("sky-%d.jpg", i)))
	}
	n := w.frames(5)
	for _, f := range n.View.Frames {
		if f.Used != (f.File != "sky-2.jpg") {
			t.Errorf("%+v", f)
		}
	}
	if !strings.Contains(w.notes.String(), "sky-2.jpg") {
		t.Errorf("notes: %s", w.notes)
	}
}

// A full disk does not stop the one beside the tripod; it is said, and what was not saved is saved as soon as
// there is room.
func TestFullDisk(t *testing.T) {
	dir, e := t.TempDir(), evening.Eight(t)
	session := filepath.Join(dir, "session")
	var full atomic.Bool
	full.Store(true)
	w := work(t, "", session, quick, func(n *bench) {
		n.journal.f = &faulty{Lines: n.journal.f, why: func() error {
			if full.Load() {
				return syscall.ENOSPC
			}
			return nil
		}}
	})
	p := e.Write(t, 0, dir, "sky-0.jpg")
	p.Sent = true
	w.must(p)
	w.must(e.Write(t, 1, dir, "sky-1.jpg"))
	w.frames(2)
	n := w.until("the trouble is told", func(n *Word) bool { return readTold(t, n).Live.Trouble != "" })
	if told := readTold(t, n).Live.Trouble; !strings.Contains(told, "no space left") || !strings.Contains(told, "Make room") {
		t.Errorf("told %q", told)
	}
	if _, err := os.Stat(p.At); err != nil {
		t.Error("a picture was removed before its result was kept")
	}
	crashed := evening.Copied(t, session)
	full.Store(false)
	w.until("the trouble is over", func(n *Word) bool { return readTold(t, n).Live.Trouble == "" })
	w.stop()
	if _, err := os.Stat(p.At); err == nil {
		t.Error("a picture was not removed though its result is kept")
	}
	if n := work(t, "", session, quick).frames(2); len(n.View.Frames) != 2 {
		t.Errorf("kept: %s", n.JSON)
	}
	after := work(t, "", crashed, quick) // of a crash on a full disk the pictures themselves are left
	after.must(e.Write(t, 1, dir, "sky-1.jpg"))
	after.frames(1)
}

func TestFoldersThatCannotBeUsed(t *testing.T) {
	dir := t.TempDir()
	evening.File(t, filepath.Join(dir, "a file"), []byte("x"))
	for _, c := range []struct{ name, dir, session string }{
		{"no folder of pictures", filepath.Join(dir, "nowhere"), filepath.Join(dir, "session")},
		{"a file for a folder of pictures", filepath.Join(dir, "a file"), filepath.Join(dir, "session")},
		{"a session beneath a file", "", filepath.Join(dir, "a file", "session")},
		{"a session in place of a file", "", filepath.Join(dir, "a file")},
		{"a session where nothing can be made", "", "/proc/trueturn"},
	} {
		o := options(t, c.dir, c.session)
		if _, err := newBench(o); err == nil || words.PageHint(err) == "" {
			t.Errorf("%s: error %v, hint %q", c.name, err, words.PageHint(err))
		}
	}
}

func TestOfferNeverWaits(t *testing.T) {
	o := options(t, "", filepath.Join(t.TempDir(), "session"))
	n, err := newBench(o)
	if err != nil {
		t.Fatal(err)
	}
	for range waitingMost {
		if err := n.Offer(store.Picture{Name: "a"}); err != nil {
			t.Fatal(err)
		}
	}
	if err := n.Offer(store.Picture{Name: "a"}); !errors.Is(err, store.ErrFull) || words.PageHint(err) == "" {
		t.Errorf("one too many: %v", err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if err := n.run(ctx); err != nil {
		t.Error(err)
	}
	if err := n.Offer(store.Picture{Name: "a"}); !errors.Is(err, store.ErrClosed) {
		t.Errorf("after the end: %v", err)
	}
}

// When other things are said of clock and lens, pictures that could not be used before, and those at hand, are
// measured again.
func TestOtherFlagsMeasureAgain(t *testing.T) {
	dir, e := t.TempDir(), evening.Eight(t)
	session := filepath.Join(dir, "session")
	shots := filepath.Join(dir, "shots")
	os.Mkdir(shots, 0o755)
	for i := range 2 {
		e.WriteWithoutZone(t, i, shots, fmt.Sprintf("sky-%d.jpg", i))
	}
	sent := e.WriteWithoutZone(t, 2, dir, "sent.jpg")
	sent.Sent = true
	w := work(t, shots, session, quick)
	w.must(sent)
	n := w.frames(3)
	for _, f := range n.View.Frames {
		if f.Used {
			t.Fatalf("used without a clock: %+v", f)
		}
	}
	w.stop()
	o := options(t, shots, session)
	notes := o.notes
	o.Measure.Frame.Zone = time.UTC
	w = workWith(t, o, quick)
	w.until("the two in the folder are used", func(n *Word) bool {
		return len(n.View.Frames) == 2 && n.View.Frames[0].Used && n.View.Frames[1].Used
	})
	sent = e.WriteWithoutZone(t, 2, dir, "sent.jpg")
	sent.Sent = true
	w.must(sent)
	w.until("the one sent again is used", func(n *Word) bool { return len(n.View.Frames) == 3 && n.View.Frames[2].Used })
	if !strings.Contains(notes.String(), "3 pictures are measured again") {
		t.Errorf("notes: %s", notes)
	}
}

// Nothing of a bench is left when it has ended, even if a network folder hangs.
func TestNothingIsLeftRunning(t *testing.T) {
	dir, e := t.TempDir(), evening.Eight(t)
	shots := filepath.Join(dir, "shots")
	os.Mkdir(shots, 0o755)
	before := runtime.NumGoroutine()
	for round := range 3 {
		w := work(t, shots, filepath.Join(dir, "session"), quick)
		e.Write(t, round, shots, fmt.Sprintf("sky-%d.jpg", round))
		w.frames(round + 1)
		w.stop()
	}
	settled := func() bool { return runtime.NumGoroutine() <= before }
	for late := time.Now().Add(evening.Patience); !settled() && time.Now().Before(late); time.Sleep(20 * time.Millisecond) {
	}
	if !settled() {
		all := make([]byte, 1<<16)
		t.Errorf("%d goroutines, %d before\n%s", runtime.NumGoroutine(), before, all[:runtime.Stack(all, true)])
	}

	hung := make(chan struct{})
	defer close(hung)
	w := work(t, shots, filepath.Join(dir, "session"), quick, func(n *bench) {
		n.watch.List = func(string) ([]string, error) {
			<-hung
			return nil, os.ErrNotExist
		}
	})
	w.must(e.Write(t, 7, dir, "sky-7.jpg"))
	w.frames(4)
	w.stop()
}

// The end does not wait for all that waits.
func TestEndIsPrompt(t *testing.T) {
	dir, e := t.TempDir(), evening.Eight(t)
	session := filepath.Join(dir, "session")
	w := work(t, "", session, quick)
	for i := range 8 {
		for k := range 20 { // 160 pictures, in content all different
			content := append(slices.Clone(e.JPEG[i]), byte(k))
			w.must(evening.File(t, filepath.Join(dir, fmt.Sprintf("sky-%d-%d.jpg", i, k)), content))
		}
	}
	w.frames(1)
	w.stop()
	n, _ := w.board.Look()
	if len(n.View.Frames) >= 160 {
		t.Skip("this machine measures faster than it can be stopped")
	}
	after := work(t, "", session, quick)
	if again := after.frames(1); len(again.View.Frames) < len(n.View.Frames) {
		t.Errorf("%d pictures are left of %d", len(again.View.Frames), len(n.View.Frames))
	}
}

// A thousand pictures take no more room than a hundred but for their lines in the list: measured shots are handed in,
// as from the decoder.
func TestThousandPicturesStayFlat(t *testing.T) {
	const (
		count, together = 1000, 50
		// What one more picture may leave behind: its line in the answer, as a value and as JSON in the last notice, its names
		// in the journal's tables; and slack for what the runtime has not given back.
		leaveBytes, slackBytes = 6 << 10, 8 << 20
	)
	dir, e := t.TempDir(), evening.Eight(t)
	o := options(t, "", filepath.Join(dir, "session"))
	n, err := newBench(o)
	if err != nil {
		t.Fatal(err)
	}
	first := n.measure(t.Context(), e.Write(t, 0, dir, "sky.jpg"), 1)
	const stars = 20 // so that the test is quick
	sol := *first.shot.Solution
	sol.Sightings = slices.Clone(sol.Sightings[:stars])
	field := first.shot.Field
	field.Stars = nil
	for i, g := range sol.Sightings {
		field.Stars = append(field.Stars, first.shot.Field.Stars[g.Star])
		sol.Sightings[i].Star = i
	}
	first.shot.Solution, first.shot.Field = &sol, field
	at := first.shot.Clock.Start
	var early uint64
	for i := 0; i < count; i += together {
		var rs []outcome
		for k := i; k < min(i+together, count); k++ {
			r := first
			r.sum = fmt.Sprint(k)
			r.file, _ = n.journal.claim(r.sum, fmt.Sprintf("sky-%04d.jpg", k))
			clock := *first.shot.Clock
			clock.Start = at.Add(time.Duration(k) * 5 * time.Second)
			r.shot.File, r.shot.Clock = r.file, &clock
			rs = append(rs, r)
		}
		n.apply(t.Context(), rs)
		if i+together == 100 {
			early = heap()
		}
	}
	if late := heap(); late > early+(count-100)*leaveBytes+slackBytes {
		t.Errorf("%d kB after a hundred pictures, %d kB after a thousand", early>>10, late>>10)
	}
	told, _ := n.board.Look()
	if len(told.View.Frames) != count || len(told.Seq.Shots) > 128 {
		t.Errorf("%d pictures listed, %d shots held", len(told.View.Frames), len(told.Seq.Shots))
	}
	t.Logf("heap: %d kB after a hundred, %d kB after a thousand; a notice has %d kB, the journal %d kB", early>>10, heap()>>10, len(told.JSON)>>10, n.journal.size>>10)
	n.end()
}

// heap is how much is in use.
func heap() uint64 {
	runtime.GC()
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return m.HeapAlloc
}
