package session

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
	"trueturn/cmd/session/evening"
	"trueturn/cmd/session/store"
	"trueturn/cmd/trueturn/page/disk"
)

// diesIn names the session folder to the test below, when it is run as a program of its own.
const diesIn = "TRUETURN_TEST_DIES_IN"

// TestBenchUntilKilled is no test but a bench in a process of its own. It takes what lies in the inbox, and never gets done
// with it: others kill it.
func TestBenchUntilKilled(t *testing.T) {
	session := os.Getenv(diesIn)
	if session == "" {
		t.Skip("only run by tests of deaths")
	}
	o := options(t, "", session)
	n, err := newBench(o)
	if err != nil {
		t.Fatal(err)
	}
	n.journal.mu.Lock() // measuring stops at the first question to the journal
	t.Fatal(n.run(context.Background()))
}

// dies has a program begin with what is in the inbox, and kills it as a system short of memory does. What it was at, as the
// disk says, is returned.
func dies(t *testing.T, session string) []string {
	t.Helper()
	before, _ := os.ReadFile(filepath.Join(session, trialsFile))
	c := exec.Command(os.Args[0], "-test.run=^TestBenchUntilKilled$")
	c.Env = append(os.Environ(), diesIn+"="+session)
	var said strings.Builder
	c.Stdout, c.Stderr = &said, &said
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	ended := make(chan struct{})
	go func() { c.Wait(); close(ended) }()
	defer func() { c.Process.Kill(); <-ended }()
	for {
		var f trialsJSON
		text, _ := os.ReadFile(filepath.Join(session, trialsFile))
		if string(text) != string(before) && json.Unmarshal(text, &f) == nil && len(f.Decoding) > 0 {
			var at []string
			for _, d := range f.Decoding {
				at = append(at, d.File)
			}
			return at
		}
		select {
		case <-ended:
			t.Fatalf("the program ended by itself: %s", &said)
		case <-time.After(5 * time.Millisecond):
		}
	}
}

// stored is a session folder at rest.
func stored(t *testing.T, session, dir string) store.Store {
	t.Helper()
	f, err := disk.Open(session, dir)
	if err != nil {
		t.Fatal(err)
	}
	f.Close()
	return f
}

// sent leaves pictures in the inbox of a session.
func sent(t *testing.T, session string, names ...string) {
	t.Helper()
	e := evening.Eight(t)
	if err := os.MkdirAll(filepath.Join(session, "inbox"), 0o700); err != nil {
		t.Fatal(err)
	}
	for i, name := range names {
		at := time.Date(2026, 11, 25, 22, i, 0, 0, time.UTC)
		evening.File(t, filepath.Join(session, "inbox", disk.SentName(at, name)), e.JPEG[i])
	}
}

// workOnSent is a bench with what is in the inbox.
func workOnSent(t *testing.T, session string) *working { return work(t, "", session, quick) }

func inInbox(t *testing.T, session string) int {
	t.Helper()
	entries, err := os.ReadDir(filepath.Join(session, "inbox"))
	if err != nil {
		t.Fatal(err)
	}
	return len(entries)
}

func idle(n *Word) bool { return n.Waiting == 0 && n.Working == "" }

// A picture that met one kill may be a good one: it is measured again, and the kill forgotten.
func TestOneDeathIsForgiven(t *testing.T) {
	session := filepath.Join(t.TempDir(), "session")
	sent(t, session, "good.jpg")
	if at := dies(t, session); !slices.Equal(at, []string{"good.jpg"}) {
		t.Fatalf("it died at %q", at)
	}
	w := workOnSent(t, session)
	told := readTold(t, w.frames(1))
	if f := told.Frames[0]; !f.Used || f.File != "good.jpg" || len(told.Live.SetAside) != 0 {
		t.Errorf("after one death: %+v, set aside %q", f, told.Live.SetAside)
	}
	w.stop()
	if text, _ := os.ReadFile(filepath.Join(session, trialsFile)); strings.Contains(string(text), "good.jpg") {
		t.Errorf("not forgotten: %s", text)
	}
}

// A picture over which the program died twice, alone, is set aside: kept, listed, and tried when somebody wants it.
func TestTwoDeathsSetAside(t *testing.T) {
	session := filepath.Join(t.TempDir(), "session")
	sent(t, session, "heavy.jpg")
	dies(t, session)
	dies(t, session)
	w := workOnSent(t, session)
	aside := func(n *Word) bool {
		f := readTold(t, n)
		return idle(n) && len(f.Frames) == 1 && !f.Frames[0].Used && f.Frames[0].WhyNot == asideWhy && slices.Equal(f.Live.SetAside, []string{"heavy.jpg"})
	}
	w.until("it is set aside", aside)
	if !strings.Contains(w.notes.String(), "heavy.jpg") {
		t.Errorf("the one at the keyboard is told %q", w.notes)
	}
	w.stop()
	if left := inInbox(t, session); left != 1 {
		t.Errorf("%d pictures in the inbox", left)
	}

	w = workOnSent(t, session) // it stays aside
	w.until("it is still set aside", aside)
	if err := w.TryAgain("other.jpg"); !errors.Is(err, ErrNotAside) {
		t.Errorf("another name: %v", err)
	}
	if err := w.TryAgain("heavy.jpg"); err != nil {
		t.Errorf("try again: %v", err)
	}
	w.until("it is measured", func(n *Word) bool {
		f := readTold(t, n)
		return idle(n) && len(f.Frames) == 1 && f.Frames[0].Used && len(f.Live.SetAside) == 0
	})
	if err := w.TryAgain("heavy.jpg"); !errors.Is(err, ErrNotAside) {
		t.Errorf("try again once more: %v", err)
	}
	w.stop()
	if left := inInbox(t, session); left != 0 {
		t.Errorf("%d pictures in the inbox", left)
	}
}

// Wanted again before the start has come to it, it is measured once all the same.
func TestTriedAgainBeforeItIsOffered(t *testing.T) {
	session := filepath.Join(t.TempDir(), "session")
	sent(t, session, "heavy.jpg")
	dies(t, session)
	dies(t, session)
	w := work(t, "", session, quick, func(n *bench) {
		if err := n.TryAgain("heavy.jpg"); err != nil {
			t.Fatal(err)
		}
	})
	w.until("it is measured", func(n *Word) bool {
		f := readTold(t, n)
		return len(f.Frames) == 1 && f.Frames[0].Used && len(f.Live.SetAside) == 0
	})
	w.stop()
	if got := w.journal.files(); len(got) != 1 {
		t.Errorf("measured: %q", got)
	}
}

// Tried again and dead again, it is set aside at once.
func TestTriedAgainInVain(t *testing.T) {
	session := filepath.Join(t.TempDir(), "session")
	sent(t, session, "heavy.jpg")
	dies(t, session)
	dies(t, session)
	n := openTrials(stored(t, session, ""))
	if _, ok := n.change("heavy.jpg", true, deathsMost-1); !ok {
		t.Fatal("it is not set aside")
	}
	n.mark(nil)
	dies(t, session)
	if list, _ := openTrials(stored(t, session, "")).setAside(); !slices.Equal(list, []string{"heavy.jpg"}) {
		t.Errorf("set aside: %q", list)
	}
}

// Of several being decoded when the program died none is blamed: the next time each is alone.
func TestDeathOfSeveralBlamesNone(t *testing.T) {
	session := filepath.Join(t.TempDir(), "session")
	sent(t, session, "a.jpg", "b.jpg", "c.jpg")
	for i, want := range [][]string{{"a.jpg", "b.jpg", "c.jpg"}, {"a.jpg"}, {"a.jpg"}, {"b.jpg"}} {
		if at := dies(t, session); !slices.Equal(at, want) {
			t.Errorf("death %d was at %q, want %q", i+1, at, want)
		}
	}
	w := workOnSent(t, session)
	w.until("two are measured, and the one is set aside", func(n *Word) bool {
		f := readTold(t, n)
		return idle(n) && len(f.Frames) == 3 && f.Frames[0].Used && f.Frames[1].Used && slices.Equal(f.Live.SetAside, []string{"a.jpg"})
	})
}

// An end on purpose is no death, even where a picture is still being measured.
func TestEndOnPurposeBlamesNone(t *testing.T) {
	dir := t.TempDir()
	session := filepath.Join(dir, "session")
	o := options(t, "", session)
	n, err := newBench(o)
	if err != nil {
		t.Fatal(err)
	}
	quick(n)
	n.busy = true // for ever
	n.begun([]store.Picture{evening.Eight(t).Write(t, 0, dir, "slow.jpg")})
	if err := n.end(); err != nil {
		t.Fatal(err)
	}
	if n := openTrials(stored(t, session, dir)); len(n.doubted) != 0 {
		t.Errorf("doubted: %v", n.doubted)
	}
}

// In the watched folder the very file counts, and another evening's session knows of it too.
func TestTrialsOfFolder(t *testing.T) {
	dir := t.TempDir()
	session := filepath.Join(dir, "session")
	p := evening.Eight(t).Write(t, 0, dir, "sky.jpg")
	o := options(t, dir, session)
	killed := func() {
		n, err := newBench(o)
		if err != nil {
			t.Fatal(err)
		}
		n.begun([]store.Picture{p}) // and no more: what the disk holds is what a kill leaves
		n.journal.close()
		n.folder.Close()
	}
	killed()
	killed()
	if list, _ := openTrials(stored(t, session, dir)).setAside(); !slices.Equal(list, []string{"sky.jpg"}) {
		t.Fatalf("set aside: %q", list)
	}
	next := filepath.Join(dir, "next")
	if err := os.CopyFS(next, os.DirFS(session)); err != nil {
		t.Fatal(err)
	}
	if list, _ := openTrials(stored(t, next, dir)).setAside(); !slices.Equal(list, []string{"sky.jpg"}) {
		t.Errorf("in the next session set aside: %q", list)
	}
	w := work(t, dir, session, quick)
	w.until("it is listed", func(n *Word) bool { return len(readTold(t, n).Live.SetAside) == 1 })
	w.stop()

	p = evening.File(t, p.At, append(slices.Clone(evening.Eight(t).JPEG[1]), 0)) // the same name, saved anew
	w = work(t, dir, session, quick)
	w.until("the new one is measured", func(n *Word) bool {
		f := readTold(t, n)
		return len(f.Frames) == 1 && f.Frames[0].Used && len(f.Live.SetAside) == 0
	})
}

// What the file says may be anything.
func TestTrialsDamaged(t *testing.T) {
	for i, text := range []string{"", "{", `{"kind":"other"}`, `{"kind":"trueturn trials","version":1,"decoding":[{"file":"x","base":"../../etc/passwd","deaths":-5}]}`,
		`{"kind":"trueturn trials","version":1,"doubted":[{"file":"x","base":"gone.jpg","deaths":9}]}`} {
		t.Run(fmt.Sprint(i), func(t *testing.T) {
			session := t.TempDir()
			evening.File(t, filepath.Join(session, trialsFile), []byte(text))
			n := openTrials(stored(t, session, session))
			if list, _ := n.setAside(); len(list) != 0 || len(n.doubted) != 0 {
				t.Errorf("%q doubts %v", text, n.doubted)
			}
		})
	}
}
