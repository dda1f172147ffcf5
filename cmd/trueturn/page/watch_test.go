package page

import (
	"bytes"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"trueturn/align/answer"
	"trueturn/align/guide"
)

// catcher takes what a watcher offers.
type catcher struct {
	*watcher
	mu      sync.Mutex
	caught  []picture
	said    notebook
	trouble []string
}

func (c *catcher) files() []string {
	c.mu.Lock()
	defer c.mu.Unlock()
	return names(c.caught)
}

// watching watches a folder as quickly as a test wishes.
func watching(t *testing.T, dir string, set ...func(*watcher)) *catcher {
	t.Helper()
	c := &catcher{watcher: newWatcher(dir, 40*time.Millisecond)}
	c.still = 150 * time.Millisecond
	c.knows = func(stamp) bool { return false }
	c.say = func(format string, a ...any) { c.said.Write([]byte(format + "\n")) }
	c.watcher.trouble = func(text string) {
		c.mu.Lock()
		defer c.mu.Unlock()
		c.trouble = append(c.trouble, text)
	}
	c.offer = func(p picture) error {
		c.mu.Lock()
		defer c.mu.Unlock()
		c.caught = append(c.caught, p)
		return nil
	}
	for _, f := range set {
		f(c.watcher)
	}
	done := make(chan struct{})
	ctx := t.Context()
	go func() {
		defer close(done)
		c.run(ctx)
	}()
	t.Cleanup(func() { <-done }) // the test's context has ended by then
	return c
}

// catches waits until the watcher has offered just these, in any order.
func (c *catcher) catches(t *testing.T, want ...string) {
	t.Helper()
	slices.Sort(want)
	for late := time.Now().Add(patienceOfTests); time.Now().Before(late); time.Sleep(10 * time.Millisecond) {
		if got := c.files(); len(got) >= len(want) {
			break
		}
	}
	time.Sleep(150 * time.Millisecond) // for what should not come
	got := c.files()
	slices.Sort(got)
	if !slices.Equal(got, want) {
		t.Errorf("offered %q, want %q; said: %s", got, want, &c.said)
	}
}

// ways are how a folder is watched: with the system's word, and by looking alone, as on a network's disk.
var ways = []struct {
	name string
	set  func(*watcher)
}{
	{"by events alone", func(w *watcher) { w.poll = time.Hour }},
	{"by looking alone", func(w *watcher) { w.quiet = true }},
}

func TestWatcherOffersWholePictures(t *testing.T) {
	for _, way := range ways {
		t.Run(way.name, func(t *testing.T) {
			t.Parallel()
			dir := t.TempDir()
			file(t, filepath.Join(dir, "before.jpg"), []byte("there before"))
			os.Mkdir(filepath.Join(dir, "sub"), 0o755)
			file(t, filepath.Join(dir, "sub", "deep.jpg"), []byte("not searched"))
			os.Mkdir(filepath.Join(dir, "folder.jpg"), 0o755)
			c := watching(t, dir, way.set)
			for _, name := range []string{"new.JPG", "frame.fits", "phone.heic", ".hidden.jpg", "notes.csv", "half.jpg.part", "half.jpg~", "raw.cr9", "more.cr9",
				"new.nef", "alone.nef", "zipped.fits.gz", "tiled.fits.fz"} {
				file(t, filepath.Join(dir, name), []byte(name))
			}
			file(t, filepath.Join(dir, ".moving.jpg.tmp"), []byte("all of it"))
			os.Rename(filepath.Join(dir, ".moving.jpg.tmp"), filepath.Join(dir, "moved.jpg"))
			os.Symlink(filepath.Join(dir, "sub", "deep.jpg"), filepath.Join(dir, "link.jpg"))
			os.Symlink(filepath.Join(dir, "nowhere"), filepath.Join(dir, "broken.jpg"))
			c.catches(t, "before.jpg", "new.JPG", "frame.fits", "phone.heic", "moved.jpg", "link.jpg", "alone.nef", "zipped.fits.gz", "tiled.fits.fz")
			if strings.Count(c.said.String(), "passed over") != 1 { // of two .cr9, one word
				t.Errorf("said: %s", &c.said)
			}
		})
	}
}

// A file that grows is left alone until it stands still: told of each piece or not, at times of the test's own.
func TestWatcherWaitsForTheRest(t *testing.T) {
	for _, told := range []map[string]bool{nil, {"slow.jpg": true}} {
		dir := t.TempDir()
		var offered []picture
		w := newWatcher(dir, time.Hour)
		w.knows = func(stamp) bool { return false }
		w.offer = func(p picture) error {
			offered = append(offered, p)
			return nil
		}
		f, err := os.Create(filepath.Join(dir, "slow.jpg"))
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		size, now := 0, time.Now()
		for range 10 {
			n, _ := f.Write(bytes.Repeat([]byte("x"), 1000))
			size += n
			w.look(now, told)
			now = now.Add(w.still - time.Millisecond)
			if w.look(now, nil); len(offered) > 0 {
				t.Fatalf("offered at %d bytes, while it grows", offered[0].size)
			}
		}
		for range 3 {
			now = now.Add(w.still)
			w.look(now, nil)
		}
		if len(offered) != 1 || offered[0].size != int64(size) {
			t.Errorf("offered %+v, want all of %d bytes once", offered, size)
		}
	}
}

// A file that is written anew is another picture; one that was measured in a former run is not.
func TestWatcherTellsFilesApart(t *testing.T) {
	for _, way := range ways {
		t.Run(way.name, func(t *testing.T) {
			t.Parallel()
			dir := t.TempDir()
			old := file(t, filepath.Join(dir, "old.jpg"), []byte("measured before"))
			c := watching(t, dir, way.set, func(w *watcher) {
				w.knows = func(s stamp) bool { return s == stampOf(old.name, old.size, old.mod) }
			})
			file(t, filepath.Join(dir, "a.jpg"), []byte("one"))
			c.catches(t, "a.jpg")
			file(t, filepath.Join(dir, "a.jpg"), []byte("another"))
			c.catches(t, "a.jpg", "a.jpg")
			file(t, filepath.Join(dir, "old.jpg"), []byte("written anew"))
			c.catches(t, "a.jpg", "a.jpg", "old.jpg")
		})
	}
}

// A folder that vanishes, as network disks do, is looked for until it is back; what was offered is not offered again.
func TestWatcherFindsTheFolderAgain(t *testing.T) {
	for _, way := range ways {
		t.Run(way.name, func(t *testing.T) {
			t.Parallel()
			dir := filepath.Join(t.TempDir(), "shots")
			os.Mkdir(dir, 0o755)
			a := file(t, filepath.Join(dir, "a.jpg"), []byte("a"))
			c := watching(t, dir, way.set, func(w *watcher) { w.poll = 40 * time.Millisecond }) // nothing tells that it is back
			c.catches(t, "a.jpg")
			away := dir + "-away"
			if err := os.Rename(dir, away); err != nil {
				t.Fatal(err)
			}
			c.troubles(t, 1)
			if err := os.Rename(away, dir); err != nil {
				t.Fatal(err)
			}
			c.troubles(t, 2)
			file(t, filepath.Join(dir, "b.jpg"), []byte("b"))
			c.catches(t, "a.jpg", "b.jpg")

			os.RemoveAll(dir) // and another takes its place
			c.troubles(t, 3)
			os.Mkdir(dir, 0o755)
			file(t, a.path, []byte("a"))
			os.Chtimes(a.path, a.mod, a.mod)
			file(t, filepath.Join(dir, "c.jpg"), []byte("c"))
			c.catches(t, "a.jpg", "b.jpg", "c.jpg")
			if c.trouble[0] == "" || c.trouble[1] != "" || !strings.Contains(c.trouble[2], "not there") {
				t.Errorf("told of trouble: %q", c.trouble)
			}
		})
	}
}

func (c *catcher) troubles(t *testing.T, count int) {
	t.Helper()
	for late := time.Now().Add(patienceOfTests); time.Now().Before(late); time.Sleep(5 * time.Millisecond) {
		c.mu.Lock()
		n := len(c.trouble)
		c.mu.Unlock()
		if n >= count {
			return
		}
	}
	t.Fatalf("the folder's state was not told of; %q", c.trouble)
}

// When too many wait, the rest is offered later, and nothing twice.
func TestWatcherOffersLaterWhatFindsNoRoom(t *testing.T) {
	dir := t.TempDir()
	for _, name := range []string{"1.jpg", "2.jpg", "3.jpg"} {
		file(t, filepath.Join(dir, name), []byte(name))
		os.Chtimes(filepath.Join(dir, name), time.Time{}, time.Unix(1000, 0))
	}
	offered := map[string]int{}
	w := newWatcher(dir, time.Second)
	w.still, w.knows = 0, func(stamp) bool { return false }
	room := 1
	w.offer = func(p picture) error {
		if room == 0 {
			return errFull
		}
		room--
		offered[p.name]++
		return nil
	}
	now := time.Unix(2000, 0)
	for range 3 {
		w.look(now, nil)
		room = 1
	}
	for _, name := range []string{"1.jpg", "2.jpg", "3.jpg"} {
		if offered[name] != 1 {
			t.Errorf("%s was offered %d times", name, offered[name])
		}
	}
	room = 9
	w.again("2.jpg", false)
	w.look(time.Now().Add(time.Hour), nil)
	if offered["2.jpg"] != 2 || offered["1.jpg"] != 1 {
		t.Errorf("offered %v", offered)
	}
}

// The whole way from a folder to the page: pictures arrive in pieces, in halves with a long pause, under other names and
// once more.
func TestFolderToPage(t *testing.T) {
	e := anEvening(t)
	for _, way := range ways {
		t.Run(way.name, func(t *testing.T) {
			dir := t.TempDir()
			session := filepath.Join(dir, "trueturn-session")
			w := work(t, dir, session, quick, func(n *bench) { way.set(n.watch); n.patience = time.Hour }) // the rest comes when the machine has time
			e.write(t, 0, dir, "sky-0.jpg")
			e.write(t, 0, dir, "copy of sky-0.jpg")
			e.write(t, 1, dir, "sky-1.jpg.part")
			os.Rename(filepath.Join(dir, "sky-1.jpg.part"), filepath.Join(dir, "sky-1.jpg"))
			whole := e.cache[2]
			file(t, filepath.Join(dir, "sky-2.jpg"), whole[:len(whole)/2])
			w.until("the rest is awaited", func(n *notice) bool { return strings.Contains(n.working, "awaited") })
			file(t, filepath.Join(dir, "sky-2.jpg"), whole)
			n := w.frames(3)
			for _, f := range n.view.Frames {
				if !f.Used {
					t.Errorf("%+v", f)
				}
			}
			w.stop()
			w = work(t, dir, session, quick, func(n *bench) { way.set(n.watch) }) // all are known, and no rest comes
			file(t, filepath.Join(dir, "cut.jpg"), e.cache[3][:1000])
			n = w.frames(4)
			if f := n.view.Frames[3]; f.File != "cut.jpg" || f.Used || f.WhyNot == "" {
				t.Errorf("%+v", f)
			}
			e.write(t, 4, dir, "sky-4.jpg")
			w.frames(5)
			w.until("nothing waits", func(n *notice) bool { return n.waiting == 0 && n.working == "" })
			if n, _ := w.board.look(); len(n.view.Frames) != 5 || n.view.Live.Phase == guide.Waiting {
				t.Errorf("told %s", n.json)
			}
		})
	}
}

// A file the disk would not give is tried again; one that is gone is forgotten.
func TestUnreadableFilesAreTriedAgain(t *testing.T) {
	e := anEvening(t)
	dir := t.TempDir()
	shots := filepath.Join(dir, "shots")
	os.Mkdir(shots, 0o755)
	w := work(t, shots, filepath.Join(dir, "session"), quick)
	gone := e.write(t, 0, dir, "elsewhere.jpg")
	os.Remove(gone.path)
	w.must(gone)
	os.Symlink(filepath.Join(dir, "locked"), filepath.Join(shots, "loop.jpg"))
	os.Mkdir(filepath.Join(dir, "locked"), 0o755)
	e.write(t, 1, shots, "sky-1.jpg")
	w.frames(1)
	w.until("nothing waits", func(n *notice) bool { return n.waiting == 0 && n.working == "" })
	if n, _ := w.board.look(); len(n.view.Frames) != 1 {
		t.Errorf("told %s", n.json)
	}
	p := e.write(t, 2, shots, "sky-2.jpg")
	p.tries = triesMost // it failed that often
	p.path = filepath.Join(dir, "locked")
	w.must(p)
	n := w.frames(2)
	if !slices.ContainsFunc(n.view.Frames, func(f answer.FrameJSON) bool { return f.File == "sky-2.jpg" && !f.Used && f.WhyNot != "" }) {
		t.Errorf("told %s", n.json)
	}
}

// A synced folder may hold years of other pictures: they come after all that is of this evening, and let it in first.
func TestPicturesOfOtherEveningsWait(t *testing.T) {
	dir := t.TempDir()
	now := time.Now()
	for name, age := range map[string]time.Duration{"summer.jpg": 2000 * time.Hour, "spring.jpg": 4000 * time.Hour, "b.jpg": time.Minute, "a.jpg": time.Hour} {
		file(t, filepath.Join(dir, name), []byte(name))
		os.Chtimes(filepath.Join(dir, name), now, now.Add(-age))
	}
	x := newInbox()
	w := newWatcher(dir, time.Second)
	w.still, w.offer, w.knows = 0, x.put, func(stamp) bool { return false }
	w.look(now, nil)
	x.put(picture{name: "sent.jpg", spooled: true})
	if got, want := names(x.take(9, none)), []string{"a.jpg", "b.jpg", "sent.jpg", "spring.jpg", "summer.jpg"}; !slices.Equal(got, want) {
		t.Errorf("measured in the order %q, want %q", got, want)
	}
	for range oldMost {
		if err := x.put(picture{name: "old", old: true}); err != nil {
			t.Fatal(err)
		}
	}
	if err := x.put(picture{name: "old", old: true}); err != errFull {
		t.Errorf("one too many of other evenings: %v", err)
	}
	if err := x.put(picture{name: "new"}); err != nil {
		t.Error(err)
	}
	if got := names(x.take(2, none)); !slices.Equal(got, []string{"new", "old"}) {
		t.Errorf("next are %q", got)
	}
}

func none(picture) bool { return false }
