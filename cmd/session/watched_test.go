package session

import (
	"context"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
	"trueturn/align/answer"
	"trueturn/align/guide"
	"trueturn/cmd/session/evening"
	"trueturn/cmd/session/store"
	"trueturn/cmd/trueturn/page/disk"
)

// ways are how a folder is watched: with the system's word, and by looking alone, as on a network's disk.
var ways = []struct {
	name string
	set  func(*disk.Watcher)
}{
	{"by events alone", func(w *disk.Watcher) { w.Poll = time.Hour }},
	{"by looking alone", func(w *disk.Watcher) { w.Quiet = true }},
}

// The whole way from a folder to the page: pictures arrive in pieces, in halves with a long pause, under other names and
// once more.
func TestFolderToPage(t *testing.T) {
	e := evening.Eight(t)
	for _, way := range ways {
		t.Run(way.name, func(t *testing.T) {
			dir := t.TempDir()
			session := filepath.Join(dir, "trueturn-session")
			w := work(t, dir, session, quick, func(n *bench) { way.set(n.watch); n.patience = time.Hour }) // the rest comes when the machine has time
			e.Write(t, 0, dir, "sky-0.jpg")
			e.Write(t, 0, dir, "copy of sky-0.jpg")
			e.Write(t, 1, dir, "sky-1.jpg.part")
			os.Rename(filepath.Join(dir, "sky-1.jpg.part"), filepath.Join(dir, "sky-1.jpg"))
			whole := e.JPEG[2]
			evening.File(t, filepath.Join(dir, "sky-2.jpg"), whole[:len(whole)/2])
			w.until("the rest is awaited", func(n *Word) bool { return strings.Contains(n.Working, "awaited") })
			evening.File(t, filepath.Join(dir, "sky-2.jpg"), whole)
			n := w.frames(3)
			for _, f := range n.View.Frames {
				if !f.Used {
					t.Errorf("%+v", f)
				}
			}
			w.stop()
			w = work(t, dir, session, quick, func(n *bench) { way.set(n.watch) }) // all are known, and no rest comes
			evening.File(t, filepath.Join(dir, "cut.jpg"), e.JPEG[3][:1000])
			n = w.frames(4)
			if f := n.View.Frames[3]; f.File != "cut.jpg" || f.Used || f.WhyNot == "" {
				t.Errorf("%+v", f)
			}
			e.Write(t, 4, dir, "sky-4.jpg")
			w.frames(5)
			w.until("nothing waits", func(n *Word) bool { return n.Waiting == 0 && n.Working == "" })
			if n, _ := w.board.Look(); len(n.View.Frames) != 5 || n.View.Live.Phase == guide.Waiting {
				t.Errorf("told %s", n.JSON)
			}
		})
	}
}

// A file the disk would not give is tried again; one that is gone is forgotten.
func TestUnreadableFilesAreTriedAgain(t *testing.T) {
	e := evening.Eight(t)
	dir := t.TempDir()
	shots := filepath.Join(dir, "shots")
	os.Mkdir(shots, 0o755)
	w := work(t, shots, filepath.Join(dir, "session"), quick)
	gone := e.Write(t, 0, dir, "elsewhere.jpg")
	os.Remove(gone.At)
	w.must(gone)
	os.Symlink(filepath.Join(dir, "locked"), filepath.Join(shots, "loop.jpg"))
	os.Mkdir(filepath.Join(dir, "locked"), 0o755)
	e.Write(t, 1, shots, "sky-1.jpg")
	w.frames(1)
	w.until("nothing waits", func(n *Word) bool { return n.Waiting == 0 && n.Working == "" })
	if n, _ := w.board.Look(); len(n.View.Frames) != 1 {
		t.Errorf("told %s", n.JSON)
	}
	p := e.Write(t, 2, shots, "sky-2.jpg")
	p.Tries = triesMost // it failed that often
	p.At = filepath.Join(dir, "locked")
	w.must(p)
	n := w.frames(2)
	if !slices.ContainsFunc(n.View.Frames, func(f answer.FrameJSON) bool { return f.File == "sky-2.jpg" && !f.Used && f.WhyNot != "" }) {
		t.Errorf("told %s", n.JSON)
	}
}

// A synced folder may hold years of other pictures: they come after all that is of this evening, and let it in first.
func TestPicturesOfOtherEveningsWait(t *testing.T) {
	dir := t.TempDir()
	now := time.Now()
	for name, age := range map[string]time.Duration{"summer.jpg": 2000 * time.Hour, "spring.jpg": 4000 * time.Hour, "b.jpg": time.Minute, "a.jpg": time.Hour} {
		evening.File(t, filepath.Join(dir, name), []byte(name))
		os.Chtimes(filepath.Join(dir, name), now, now.Add(-age))
	}
	x := newInbox()
	offered := make(chan error, 9)
	w := disk.NewWatcher(dir, time.Second, disk.Eyes{Offer: func(p store.Picture) error { offered <- x.put(p); return nil }, Knows: none})
	w.Still = 0
	ctx, stop := context.WithCancel(t.Context())
	go w.Run(ctx)
	for range 4 {
		if err := <-offered; err != nil {
			t.Fatal(err)
		}
	}
	stop()
	x.put(store.Picture{Name: "sent.jpg", Sent: true})
	if got, want := names(x.take(9, none)), []string{"a.jpg", "b.jpg", "sent.jpg", "spring.jpg", "summer.jpg"}; !slices.Equal(got, want) {
		t.Errorf("measured in the order %q, want %q", got, want)
	}
	for range oldMost {
		if err := x.put(store.Picture{Name: "old", Old: true}); err != nil {
			t.Fatal(err)
		}
	}
	if err := x.put(store.Picture{Name: "old", Old: true}); err != store.ErrFull {
		t.Errorf("one too many of other evenings: %v", err)
	}
	if err := x.put(store.Picture{Name: "new"}); err != nil {
		t.Error(err)
	}
	if got := names(x.take(2, none)); !slices.Equal(got, []string{"new", "old"}) {
		t.Errorf("next are %q", got)
	}
}

func none(store.Picture) bool { return false }
