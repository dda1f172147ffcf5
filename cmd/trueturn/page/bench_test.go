package page

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/align/answer"
	"trueturn/align/guide"
	"trueturn/align/simulate"
	"trueturn/drift"
	"trueturn/drift/frame"
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
	e.Count = 8
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
		case <-time.After(20 * time.Second):
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
	} `json:"live"`
}

// patienceOfTests is how long a test waits for what must come; only a failing one waits so long.
const patienceOfTests = 30 * time.Second

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

var _ = io.EOF
var _ drift.Shot
