package disk

import (
	"bytes"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"
	"trueturn/cmd/session/evening"
	"trueturn/cmd/session/store"
)

// catcher takes what a watcher offers.
type catcher struct {
	*Watcher
	mu      sync.Mutex
	caught  []store.Picture
	said    evening.Notebook
	trouble []string
}

func (c *catcher) files() []string {
	c.mu.Lock()
	defer c.mu.Unlock()
	return names(c.caught)
}

// watching watches a folder as quickly as a test wishes.
func watching(t *testing.T, dir string, set ...func(*Watcher)) *catcher {
	t.Helper()
	c := &catcher{Watcher: NewWatcher(dir, 40*time.Millisecond, Eyes{})}
	c.Still = 150 * time.Millisecond
	c.to.Knows = func(store.Picture) bool { return false }
	c.to.Say = func(format string, a ...any) { c.said.Write([]byte(format + "\n")) }
	c.to.Trouble = func(text string) {
		c.mu.Lock()
		defer c.mu.Unlock()
		c.trouble = append(c.trouble, text)
	}
	c.to.Offer = func(p store.Picture) error {
		c.mu.Lock()
		defer c.mu.Unlock()
		c.caught = append(c.caught, p)
		return nil
	}
	for _, f := range set {
		f(c.Watcher)
	}
	done := make(chan struct{})
	ctx := t.Context()
	go func() {
		defer close(done)
		c.Run(ctx)
	}()
	t.Cleanup(func() { <-done }) // the test's context has ended by then
	return c
}

// catches waits until the watcher has offered just these, in any order.
func (c *catcher) catches(t *testing.T, want ...string) {
	t.Helper()
	slices.Sort(want)
	for late := time.Now().Add(evening.Patience); time.Now().Before(late); time.Sleep(10 * time.Millisecond) {
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
	set  func(*Watcher)
}{
	{"by events alone", func(w *Watcher) { w.Poll = time.Hour }},
	{"by looking alone", func(w *Watcher) { w.Quiet = true }},
}

func TestWatcherOffersWholePictures(t *testing.T) {
	for _, way := range ways {
		t.Run(way.name, func(t *testing.T) {
			t.Parallel()
			dir := t.TempDir()
			evening.File(t, filepath.Join(dir, "before.jpg"), []byte("there before"))
			os.Mkdir(filepath.Join(dir, "sub"), 0o755)
			evening.File(t, filepath.Join(dir, "sub", "deep.jpg"), []byte("not searched"))
			os.Mkdir(filepath.Join(dir, "folder.jpg"), 0o755)
			c := watching(t, dir, way.set)
			for _, name := range []string{"new.JPG", "frame.fits", "phone.heic", ".hidden.jpg", "notes.csv", "half.jpg.part", "half.jpg~", "raw.cr9", "more.cr9",
				"new.nef", "alone.nef", "zipped.fits.gz", "tiled.fits.fz"} {
				evening.File(t, filepath.Join(dir, name), []byte(name))
			}
			evening.File(t, filepath.Join(dir, ".moving.jpg.tmp"), []byte("all of it"))
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
		var offered []store.Picture
		w := NewWatcher(dir, time.Hour, Eyes{})
		w.to.Knows = func(store.Picture) bool { return false }
		w.to.Offer = func(p store.Picture) error {
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
			now = now.Add(w.Still - time.Millisecond)
			if w.look(now, nil); len(offered) > 0 {
				t.Fatalf("offered at %d bytes, while it grows", offered[0].Size)
			}
		}
		for range 3 {
			now = now.Add(w.Still)
			w.look(now, nil)
		}
		if len(offered) != 1 || offered[0].Size != int64(size) {
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
			old := evening.File(t, filepath.Join(dir, "old.jpg"), []byte("measured before"))
			c := watching(t, dir, way.set, func(w *Watcher) {
				w.to.Knows = func(p store.Picture) bool { return p.Name == old.Name && p.Size == old.Size && p.Mod.Equal(old.Mod) }
			})
			evening.File(t, filepath.Join(dir, "a.jpg"), []byte("one"))
			c.catches(t, "a.jpg")
			evening.File(t, filepath.Join(dir, "a.jpg"), []byte("another"))
			c.catches(t, "a.jpg", "a.jpg")
			evening.File(t, filepath.Join(dir, "old.jpg"), []byte("written anew"))
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
			a := evening.File(t, filepath.Join(dir, "a.jpg"), []byte("a"))
			c := watching(t, dir, way.set, func(w *Watcher) { w.Poll = 40 * time.Millisecond }) // nothing tells that it is back
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
			evening.File(t, filepath.Join(dir, "b.jpg"), []byte("b"))
			c.catches(t, "a.jpg", "b.jpg")

			os.RemoveAll(dir) // and another takes its place
			c.troubles(t, 3)
			os.Mkdir(dir, 0o755)
			evening.File(t, a.At, []byte("a"))
			os.Chtimes(a.At, a.Mod, a.Mod)
			evening.File(t, filepath.Join(dir, "c.jpg"), []byte("c"))
			c.catches(t, "a.jpg", "b.jpg", "c.jpg")
			if c.trouble[0] == "" || c.trouble[1] != "" || !strings.Contains(c.trouble[2], "not there") {
				t.Errorf("told of trouble: %q", c.trouble)
			}
		})
	}
}

func (c *catcher) troubles(t *testing.T, count int) {
	t.Helper()
	for late := time.Now().Add(evening.Patience); time.Now().Before(late); time.Sleep(5 * time.Millisecond) {
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
		evening.File(t, filepath.Join(dir, name), []byte(name))
		os.Chtimes(filepath.Join(dir, name), time.Time{}, time.Unix(1000, 0))
	}
	offered := map[string]int{}
	w := NewWatcher(dir, time.Second, Eyes{})
	w.Still, w.to.Knows = 0, func(store.Picture) bool { return false }
	room := 1
	w.to.Offer = func(p store.Picture) error {
		if room == 0 {
			return store.ErrFull
		}
		room--
		offered[p.Name]++
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
	w.Again("2.jpg", false)
	w.look(time.Now().Add(time.Hour), nil)
	if offered["2.jpg"] != 2 || offered["1.jpg"] != 1 {
		t.Errorf("offered %v", offered)
	}
}

func names(ps []store.Picture) (list []string) {
	for _, p := range ps {
		list = append(list, p.Name)
	}
	return list
}
