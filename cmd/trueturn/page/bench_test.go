package page

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
	"github.com/soniakeys/unit"

	"trueturn/align/answer"
	"trueturn/align/guide"
	"trueturn/align/simulate"
	"trueturn/drift"
	"trueturn/drift/frame"
	"trueturn/drift/solve"
	"trueturn/drift/star"
	"trueturn/ephem"
)

// pictures is an invented evening, written to files when a test asks for them.
type pictures struct {
	run   *simulate.Run
	cache map[int][]byte
}

var (
	eveningOnce sync.Once
	eveningMade *pictures
	eveningErr  error
)

// anEvening is eight small pictures with swings between them, rendered once for all tests.
func anEvening(t testing.TB) *pictures {
	t.Helper()
	eveningOnce.Do(func() { eveningMade, eveningErr = makeEvening() })
	if eveningErr != nil {
		t.Fatal(eveningErr)
	}
	return eveningMade
}

func makeEvening() (*pictures, error) {
	site, err := ephem.NewSite(46.02, 7.75, 1620)
	if err != nil {
		return nil, err
	}
	e, err := simulate.Practice(site, time.Date(2026, 11, 25, 21, 29, 0, 0, time.UTC))
	if err != nil {
		return nil, err
	}
	e.Camera = simulate.Phone(115, 0.5)
	e.Count, e.Geotag = 8, true
	e.Mount.AltitudeError, e.Mount.AzimuthError = unit.AngleFromMin(25), unit.AngleFromMin(-48)
	run, err := e.Begin()
	if err != nil {
		return nil, err
	}
	p := &pictures{run: run, cache: map[int][]byte{}}
	for i := range e.Count {
		plane, meta, err := run.Frame(context.Background(), i)
		if err != nil {
			return nil, err
		}
		var buf bytes.Buffer
		if err := frame.Encode(&buf, plane, meta, frame.JPEG); err != nil {
			return nil, err
		}
		p.cache[i] = buf.Bytes()
	}
	return p, nil
}

// write writes picture i into a folder, under the name given.
func (p *pictures) write(t testing.TB, i int, dir, name string) picture {
	t.Helper()
	return file(t, filepath.Join(dir, name), p.cache[i])
}

func file(t testing.TB, path string, content []byte) picture {
	t.Helper()
	if err := os.WriteFile(path, content, 0o644); err != nil {
		t.Fatal(err)
	}
	info, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}
	return picture{name: filepath.Base(path), path: path, size: info.Size(), mod: info.ModTime()}
}

// notebook keeps what the one at the keyboard is told.
type notebook struct {
	mu   sync.Mutex
	text strings.Builder
}

func (n *notebook) Write(b []byte) (int, error) {
	n.mu.Lock()
	defer n.mu.Unlock()
	return n.text.Write(b)
}

func (n *notebook) String() string {
	n.mu.Lock()
	defer n.mu.Unlock()
	return n.text.String()
}

// working is a bench at work.
type working struct {
	*bench
	t     testing.TB
	notes *notebook
	stop  func() // ends it, and fails the test if it did not end well
}

func options(t testing.TB, dir, session string) (Options, *notebook) {
	t.Helper()
	site, err := ephem.NewSite(46.02, 7.75, 1620)
	if err != nil {
		t.Fatal(err)
	}
	notes := &notebook{}
	return Options{Dir: dir, SessionDir: session, Poll: 50 * time.Millisecond, Notes: notes, Title: "Meadow", Version: "test",
		Guide: guide.Options{Answer: answer.Options{Site: &site}}}, notes
}

// work opens a bench and lets it run.
func work(t testing.TB, dir, session string, set ...func(*bench)) *working {
	t.Helper()
	o, notes := options(t, dir, session)
	return workWith(t, o, notes, set...)
}

func workWith(t testing.TB, o Options, notes *notebook, set ...func(*bench)) *working {
	t.Helper()
	n, err := newBench(o, newBoard())
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range set {
		f(n)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- n.run(ctx) }()
	w := &working{bench: n, t: t, notes: notes}
	w.stop = sync.OnceFunc(func() {
		cancel()
		select {
		case err := <-ended:
			if err != nil {
				t.Errorf("the bench ended with %v", err)
			}
		case <-time.After(patienceOfTests):
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
	} `json:"live"`
}

// patienceOfTests is how long a test waits for what must come, however busy the machine; only a failing one waits so long.
const patienceOfTests = 2 * time.Minute

// until waits for a notice that is as wanted.
func (w *working) until(what string, ok func(*notice) bool) *notice {
	w.t.Helper()
	late := time.After(patienceOfTests)
	for {
		n, changed := w.board.look()
		if ok(n) {
			return n
		}
		select {
		case <-changed:
		case <-late:
			w.t.Fatalf("waited in vain until %s; the last word was %s\nnotes: %s", what, n.json, w.notes)
		}
	}
}

// frames waits until so many pictures are listed.
func (w *working) frames(count int) *notice {
	w.t.Helper()
	return w.until(fmt.Sprintf("%d pictures are listed", count), func(n *notice) bool { return len(n.view.Frames) >= count })
}

func (w *working) must(p picture) {
	w.t.Helper()
	if err := w.offer(p); err != nil {
		w.t.Fatal(err)
	}
}

func readTold(t testing.TB, n *notice) toldJSON {
	t.Helper()
	var told toldJSON
	if err := json.Unmarshal(n.json, &told); err != nil {
		t.Fatalf("%v in %s", err, n.json)
	}
	return told
}

// Pictures that are offered are measured and told of, and the notice is what browsers expect.
func TestBenchTellsWhatItMeasured(t *testing.T) {
	dir, e := t.TempDir(), anEvening(t)
	w := work(t, "", filepath.Join(dir, "session"))
	first := readTold(t, w.until("it is open", func(n *notice) bool { return n != nil }))
	if first.Live.Phase != guide.Waiting || len(first.Frames) != 0 {
		t.Errorf("before the first picture: %+v", first)
	}
	for i := range 8 {
		w.must(e.write(t, i, dir, fmt.Sprintf("sky-%d.jpg", i)))
	}
	w.frames(8)
	n := w.until("nothing waits", func(n *notice) bool { return n.waiting == 0 && n.working == "" })
	told := readTold(t, n)
	if told.Axis == nil || len(told.Frames) != 8 || told.Live.Serial == 0 || told.Live.Drawings != told.Live.Serial {
		t.Errorf("told %s", n.json)
	}
	if told.Live.Tubes["azimuth"] == "" || told.Live.Tubes["altitude"] == "" {
		t.Error("no tubes are drawn")
	}
	for i, f := range told.Frames {
		if !f.Used || f.File != fmt.Sprintf("sky-%d.jpg", i) {
			t.Errorf("frame %d: %+v", i, f)
		}
	}
	if len(n.seq.Shots) != 8 {
		t.Errorf("%d shots for drawings", len(n.seq.Shots))
	}
}

// quick makes a bench impatient.
func quick(n *bench) {
	n.patience, n.leave, n.tick = 300*time.Millisecond, 500*time.Millisecond, 50*time.Millisecond
	if n.watch != nil {
		n.watch.still = 60 * time.Millisecond
	}
}

// copied is a session folder as a crash would leave it: whatever is in it now.
func copied(t *testing.T, from string) string {
	t.Helper()
	for tries := 0; ; tries++ {
		to := filepath.Join(t.TempDir(), "session")
		err := os.CopyFS(to, os.DirFS(from))
		if errors.Is(err, os.ErrNotExist) && tries < 10 { // a file was replaced as a whole meanwhile: what it was written to first is gone
			continue
		}
		if err != nil {
			t.Fatal(err)
		}
		return to
	}
}

// sameAnswer compares what two notices say of the mount.
func sameAnswer(t *testing.T, got, want *notice) {
	t.Helper()
	a, b := readTold(t, got), readTold(t, want)
	if diff := cmp.Diff(b.Answer, a.Answer, cmpopts.EquateApprox(1e-6, 1e-9), cmpopts.IgnoreTypes(answer.Finding{})); diff != "" {
		t.Errorf("the answer is another one (-before +after)\n%s", diff)
	}
}

// However a session ends, the next start knows what was measured, and says the same.
func TestSessionSurvives(t *testing.T) {
	dir, e := t.TempDir(), anEvening(t)
	session := filepath.Join(dir, "session")
	w := work(t, "", session, quick)
	for i := range 4 {
		w.must(e.write(t, i, dir, fmt.Sprintf("sky-%d.jpg", i)))
	}
	w.frames(4)
	w.stop()
	w = work(t, "", session, func(n *bench) { n.keep.savedAt = time.Now().Add(time.Hour) }) // session.json stays as it is
	for i := 4; i < 6; i++ {
		w.must(e.write(t, i, dir, fmt.Sprintf("sky-%d.jpg", i)))
	}
	before := w.frames(6)
	killed := copied(t, session)
	w.stop()
	for _, c := range []struct {
		name string
		harm func(t *testing.T, session string) // what else the crash does
		left int
		note string
	}{
		{"a crash before anything but the journal was written", func(t *testing.T, s string) { os.Remove(filepath.Join(s, sessionFile)) }, 6, ""},
		{"a crash between journal and session.json", func(t *testing.T, s string) {}, 6, ""},
		{"a crash in the midst of a line", func(t *testing.T, s string) { shortenBy(t, filepath.Join(s, journalFile), 100) }, 5, "cut off"},
		{"session.json names what the journal lost", func(t *testing.T, s string) {
			j := filepath.Join(s, journalFile)
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
			crashed := copied(t, killed)
			c.harm(t, crashed)
			after := work(t, "", crashed, quick)
			n := after.frames(c.left)
			if len(n.view.Frames) != c.left || !strings.Contains(after.notes.String(), c.note) {
				t.Errorf("%d pictures are left, want %d; notes: %s", len(n.view.Frames), c.left, after.notes)
			}
			if c.left == 6 {
				sameAnswer(t, n, before)
			}
			after.must(e.write(t, 6, dir, "sky-6.jpg")) // and it goes on
			after.must(e.write(t, 5, dir, "sky-5.jpg")) // known, or measured again
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
	dir, e := t.TempDir(), anEvening(t)
	session := filepath.Join(dir, "session")
	w := work(t, "", session, quick)
	for i := range 6 {
		w.must(e.write(t, i, dir, fmt.Sprintf("sky-%d.jpg", i)))
	}
	before := w.frames(6)
	w.stop()
	for _, name := range []string{journalFile, sessionFile, mountFile, reportFile} {
		if info, err := os.Stat(filepath.Join(session, name)); err != nil || info.Size() == 0 {
			t.Errorf("%s: %v", name, err)
		}
	}
	f, err := os.Open(filepath.Join(session, mountFile))
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
	dir, e := t.TempDir(), anEvening(t)
	session := filepath.Join(dir, "session")
	w := work(t, "", session, quick)
	sent := func(i int, name string) picture {
		p := e.write(t, i, dir, name)
		p.spooled = true
		return p
	}
	first, again, other := sent(0, "first.jpg"), sent(0, "again.jpg"), sent(1, "other.jpg")
	for _, p := range []picture{first, again, other} {
		w.must(p)
	}
	w.frames(2)
	w.until("nothing waits", func(n *notice) bool { return n.waiting == 0 && n.working == "" })
	w.stop()
	w = work(t, "", session, quick)
	w.must(sent(0, "after.jpg"))
	w.must(sent(2, "new.jpg"))
	n := w.frames(3)
	if len(n.view.Frames) != 3 {
		t.Errorf("listed: %s", n.json)
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
	dir, e := t.TempDir(), anEvening(t)
	os.Mkdir(filepath.Join(dir, "other"), 0o755)
	w := work(t, "", filepath.Join(dir, "session"), quick)
	w.must(e.write(t, 0, dir, "IMG_1.jpg"))
	w.must(e.write(t, 1, filepath.Join(dir, "other"), "IMG_1.jpg"))
	n := w.frames(2)
	files := []string{n.view.Frames[0].File, n.view.Frames[1].File}
	if !slices.Contains(files, "IMG_1.jpg") || !slices.Contains(files, "IMG_1 (2).jpg") {
		t.Errorf("called %q", files)
	}
}

// Nothing that calls itself a picture stops the bench; it is listed with the reason, and good ones go on being
// measured.
func TestUselessPicturesAreListed(t *testing.T) {
	dir, e := t.TempDir(), anEvening(t)
	w := work(t, "", filepath.Join(dir, "session"), quick)
	whole := e.cache[0]
	bad := map[string][]byte{
		"letter.jpg":  []byte("this is a letter, not a picture"),
		"cut.jpg":     whole[:len(whole)/2],
		"empty.jpg":   nil,
		"heic.jpg":    []byte("\x00\x00\x00\x24ftypheic\x00\x00\x00\x00mif1heic"),
		"huge.png":    []byte("\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR\x7f\xff\xff\xff\x7f\xff\xff\xff\x08\x00\x00\x00\x00"),
		"missing.jpg": nil,
	}
	for name, content := range bad {
		p := file(t, filepath.Join(dir, name), content)
		if name == "missing.jpg" {
			os.Remove(p.path)
		}
		p.spooled = name != "cut.jpg" // as if it came by the folder, but nobody watches
		w.must(p)
	}
	w.must(e.write(t, 1, dir, "good.jpg"))
	n := w.frames(len(bad) + 1)
	for _, f := range n.view.Frames {
		if f.Used != (f.File == "good.jpg") || !f.Used && f.WhyNot == "" {
			t.Errorf("%+v", f)
		}
	}
}

// A picture of few stars is recognised beside one that was, whichever came first.
func TestFewStarsAreRecognisedBesideOthers(t *testing.T) {
	e := anEvening(t)
	for _, c := range []struct {
		name string
		thin int // which of two has few stars
	}{{"the later one", 1}, {"the earlier one", 0}} {
		t.Run(c.name, func(t *testing.T) {
			dir := t.TempDir()
			session := filepath.Join(dir, "session")
			o, _ := options(t, "", session)
			n, err := newBench(o, newBoard())
			if err != nil {
				t.Fatal(err)
			}
			for i := range 2 {
				r := n.measure(t.Context(), e.write(t, i, dir, fmt.Sprintf("sky-%d.jpg", i)), 1)
				if i == c.thin {
					r.shot = thinned(r.shot)
				}
				n.apply(t.Context(), []outcome{r})
				if told, _ := n.board.look(); i == 0 && told.view.Frames[0].Used != (c.thin != 0) {
					t.Fatalf("alone: %s", told.json)
				}
			}
			told, _ := n.board.look()
			if len(told.view.Frames) != 2 || !told.view.Frames[0].Used || !told.view.Frames[1].Used || len(n.unsolved) != 0 {
				t.Errorf("told %s", told.json)
			}
			n.finish(n.watchFolder(t.Context()))
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
	dir, e := t.TempDir(), anEvening(t)
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
		w.must(e.write(t, i, dir, fmt.Sprintf("sky-%d.jpg", i)))
	}
	n := w.frames(5)
	for _, f := range n.view.Frames {
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
	dir, e := t.TempDir(), anEvening(t)
	session := filepath.Join(dir, "session")
	var full atomic.Bool
	full.Store(true)
	w := work(t, "", session, quick, func(n *bench) {
		n.journal.f = &faulty{disk: n.journal.f, why: func() error {
			if full.Load() {
				return syscall.ENOSPC
			}
			return nil
		}}
	})
	p := e.write(t, 0, dir, "sky-0.jpg")
	p.spooled = true
	w.must(p)
	w.must(e.write(t, 1, dir, "sky-1.jpg"))
	w.frames(2)
	n := w.until("the trouble is told", func(n *notice) bool { return readTold(t, n).Live.Trouble != "" })
	if told := readTold(t, n).Live.Trouble; !strings.Contains(told, "no space left") || !strings.Contains(told, "Make room") {
		t.Errorf("told %q", told)
	}
	if _, err := os.Stat(p.path); err != nil {
		t.Error("a picture was removed before its result was kept")
	}
	crashed := copied(t, session)
	full.Store(false)
	w.until("the trouble is over", func(n *notice) bool { return readTold(t, n).Live.Trouble == "" })
	w.stop()
	if _, err := os.Stat(p.path); err == nil {
		t.Error("a picture was not removed though its result is kept")
	}
	if n := work(t, "", session, quick).frames(2); len(n.view.Frames) != 2 {
		t.Errorf("kept: %s", n.json)
	}
	after := work(t, "", crashed, quick) // of a crash on a full disk the pictures themselves are left
	after.must(e.write(t, 1, dir, "sky-1.jpg"))
	after.frames(1)
}

func TestFoldersThatCannotBeUsed(t *testing.T) {
	dir := t.TempDir()
	file(t, filepath.Join(dir, "a file"), []byte("x"))
	for _, c := range []struct{ name, dir, session string }{
		{"no folder of pictures", filepath.Join(dir, "nowhere"), filepath.Join(dir, "session")},
		{"a file for a folder of pictures", filepath.Join(dir, "a file"), filepath.Join(dir, "session")},
		{"a session beneath a file", "", filepath.Join(dir, "a file", "session")},
		{"a session in place of a file", "", filepath.Join(dir, "a file")},
		{"a session where nothing can be made", "", "/proc/trueturn"},
	} {
		o, _ := options(t, c.dir, c.session)
		if _, err := newBench(o, newBoard()); err == nil || hintOf(err) == "" {
			t.Errorf("%s: error %v, hint %q", c.name, err, hintOf(err))
		}
	}
}

func TestOfferNeverWaits(t *testing.T) {
	o, _ := options(t, "", filepath.Join(t.TempDir(), "session"))
	n, err := newBench(o, newBoard())
	if err != nil {
		t.Fatal(err)
	}
	for range waitingMost {
		if err := n.offer(picture{name: "a"}); err != nil {
			t.Fatal(err)
		}
	}
	if err := n.offer(picture{name: "a"}); !errors.Is(err, errFull) || hintOf(err) == "" {
		t.Errorf("one too many: %v", err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if err := n.run(ctx); err != nil {
		t.Error(err)
	}
	if err := n.offer(picture{name: "a"}); !errors.Is(err, errClosed) {
		t.Errorf("after the end: %v", err)
	}
}

// When other things are said of clock and lens, pictures that could not be used before, and those at hand, are
// measured again.
func TestOtherFlagsMeasureAgain(t *testing.T) {
	dir, e := t.TempDir(), anEvening(t)
	session := filepath.Join(dir, "session")
	shots := filepath.Join(dir, "shots")
	os.Mkdir(shots, 0o755)
	for i := range 2 {
		e.writeWithoutZone(t, i, shots, fmt.Sprintf("sky-%d.jpg", i))
	}
	sent := e.writeWithoutZone(t, 2, dir, "sent.jpg")
	sent.spooled = true
	w := work(t, shots, session, quick)
	w.must(sent)
	n := w.frames(3)
	for _, f := range n.view.Frames {
		if f.Used {
			t.Fatalf("used without a clock: %+v", f)
		}
	}
	w.stop()
	o, notes := options(t, shots, session)
	o.Measure.Frame.Zone = time.UTC
	w = workWith(t, o, notes, quick)
	w.until("the two in the folder are used", func(n *notice) bool {
		return len(n.view.Frames) == 2 && n.view.Frames[0].Used && n.view.Frames[1].Used
	})
	sent = e.writeWithoutZone(t, 2, dir, "sent.jpg")
	sent.spooled = true
	w.must(sent)
	w.until("the one sent again is used", func(n *notice) bool { return len(n.view.Frames) == 3 && n.view.Frames[2].Used })
	if !strings.Contains(notes.String(), "3 pictures are measured again") {
		t.Errorf("notes: %s", notes)
	}
}

// Nothing of a bench is left when it has ended, even if a network folder hangs.
func TestNothingIsLeftRunning(t *testing.T) {
	dir, e := t.TempDir(), anEvening(t)
	shots := filepath.Join(dir, "shots")
	os.Mkdir(shots, 0o755)
	before := runtime.NumGoroutine()
	for round := range 3 {
		w := work(t, shots, filepath.Join(dir, "session"), quick)
		e.write(t, round, shots, fmt.Sprintf("sky-%d.jpg", round))
		w.frames(round + 1)
		w.stop()
	}
	settled := func() bool { return runtime.NumGoroutine() <= before }
	for late := time.Now().Add(patienceOfTests); !settled() && time.Now().Before(late); time.Sleep(20 * time.Millisecond) {
	}
	if !settled() {
		all := make([]byte, 1<<16)
		t.Errorf("%d goroutines, %d before\n%s", runtime.NumGoroutine(), before, all[:runtime.Stack(all, true)])
	}

	hung := make(chan struct{})
	defer close(hung)
	w := work(t, shots, filepath.Join(dir, "session"), quick, func(n *bench) {
		n.watch.list = func(string) ([]string, error) {
			<-hung
			return nil, os.ErrNotExist
		}
	})
	w.must(e.write(t, 7, dir, "sky-7.jpg"))
	w.frames(4)
	w.stop()
}

// The end does not wait for all that waits.
func TestEndIsPrompt(t *testing.T) {
	dir, e := t.TempDir(), anEvening(t)
	session := filepath.Join(dir, "session")
	w := work(t, "", session, quick)
	for i := range 8 {
		for k := range 20 { // 160 pictures, in content all different
			content := append(slices.Clone(e.cache[i]), byte(k))
			w.must(file(t, filepath.Join(dir, fmt.Sprintf("sky-%d-%d.jpg", i, k)), content))
		}
	}
	w.frames(1)
	w.stop()
	n, _ := w.board.look()
	if len(n.view.Frames) >= 160 {
		t.Skip("this machine measures faster than it can be stopped")
	}
	after := work(t, "", session, quick)
	if again := after.frames(1); len(again.view.Frames) < len(n.view.Frames) {
		t.Errorf("%d pictures are left of %d", len(again.view.Frames), len(n.view.Frames))
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
	dir, e := t.TempDir(), anEvening(t)
	o, _ := options(t, "", filepath.Join(dir, "session"))
	n, err := newBench(o, newBoard())
	if err != nil {
		t.Fatal(err)
	}
	first := n.measure(t.Context(), e.write(t, 0, dir, "sky.jpg"), 1)
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
	told, _ := n.board.look()
	if len(told.view.Frames) != count || len(told.seq.Shots) > 128 {
		t.Errorf("%d pictures listed, %d shots held", len(told.view.Frames), len(told.seq.Shots))
	}
	t.Logf("heap: %d kB after a hundred, %d kB after a thousand; a notice has %d kB, the journal %d kB", early>>10, heap()>>10, len(told.json)>>10, n.journal.size>>10)
	n.finish(n.watchFolder(t.Context()))
}

// heap is how much is in use.
func heap() uint64 {
	runtime.GC()
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return m.HeapAlloc
}

// writeWithoutZone writes a picture as a camera does that does not know its time zone.
func (p *pictures) writeWithoutZone(t testing.TB, i int, dir, name string) picture {
	t.Helper()
	plane, meta, err := p.run.Frame(t.Context(), i)
	if err != nil {
		t.Fatal(err)
	}
	meta.NoOffset, meta.GPSTime, meta.Place = true, false, nil
	var buf bytes.Buffer
	if err := frame.Encode(&buf, plane, meta, frame.JPEG); err != nil {
		t.Fatal(err)
	}
	return file(t, filepath.Join(dir, name), buf.Bytes())
}
