package page

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
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
	o, _ := options(t, "", session)
	n, err := newBench(o, newBoard())
	if err != nil {
		t.Fatal(err)
	}
	s, err := newSpool(session, 1<<30)
	if err != nil {
		t.Fatal(err)
	}
	n.journal.mu.Lock() // measuring stops at the first question to the journal
	for _, p := range s.left {
		if err := n.offer(p); err != nil {
			t.Fatal(err)
		}
	}
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

// sent leaves pictures in the inbox of a session.
func sent(t *testing.T, session string, names ...string) {
	t.Helper()
	e := anEvening(t)
	if err := os.MkdirAll(filepath.Join(session, spoolFolder), 0o700); err != nil {
		t.Fatal(err)
	}
	for i, name := range names {
		at := time.Date(2026, 11, 25, 22, i, 0, 0, time.UTC)
		file(t, filepath.Join(session, spoolFolder, spoolName(at, name)), e.cache[i])
	}
}

// workOnSent is a bench with what is in the inbox.
func workOnSent(t *testing.T, session string) *working {
	t.Helper()
	w := work(t, "", session, quick)
	s, err := newSpool(session, 1<<30)
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range s.left {
		w.must(p)
	}
	return w
}

func inInbox(t *testing.T, session string) int {
	t.Helper()
	entries, err := os.ReadDir(filepath.Join(session, spoolFolder))
	if err != nil {
		t.Fatal(err)
	}
	return len(entries)
}

func idle(n *notice) bool { return n.waiting == 0 && n.working == "" }

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
	aside := func(n *notice) bool {
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
	p := &Page{bench: w.bench}
	ask := func(file string) int {
		r := httptest.NewRequest(http.MethodPost, "/again", strings.NewReader(url.Values{"file": {file}}.Encode()))
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		answer := httptest.NewRecorder()
		p.again(answer, r)
		return answer.Code
	}
	if got := ask("other.jpg"); got != http.StatusNotFound {
		t.Errorf("another name: status %d", got)
	}
	if got := ask("heavy.jpg"); got != http.StatusNoContent {
		t.Errorf("try again: status %d", got)
	}
	w.until("it is measured", func(n *notice) bool {
		f := readTold(t, n)
		return idle(n) && len(f.Frames) == 1 && f.Frames[0].Used && len(f.Live.SetAside) == 0
	})
	if got := ask("heavy.jpg"); got != http.StatusNotFound {
		t.Errorf("try again once more: status %d", got)
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
	w := work(t, "", session, quick)
	if err := w.tryAgain("heavy.jpg"); err != nil {
		t.Fatal(err)
	}
	s, err := newSpool(session, 1<<30)
	if err != nil {
		t.Fatal(err)
	}
	w.must(s.left[0])
	w.until("it is measured", func(n *notice) bool {
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
	n := openTrials(session, "")
	if _, ok := n.change("heavy.jpg", true, deathsMost-1); !ok {
		t.Fatal("it is not set aside")
	}
	n.mark(nil)
	dies(t, session)
	if list, _ := openTrials(session, "").setAside(); !slices.Equal(list, []string{"heavy.jpg"}) {
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
	w.until("two are measured, and the one is set aside", func(n *notice) bool {
		f := readTold(t, n)
		return idle(n) && len(f.Frames) == 3 && f.Frames[0].Used && f.Frames[1].Used && slices.Equal(f.Live.SetAside, []string{"a.jpg"})
	})
}

// An end on purpose is no death, even where a picture is still being measured.
func TestEndOnPurposeBlamesNone(t *testing.T) {
	dir := t.TempDir()
	session := filepath.Join(dir, "session")
	o, _ := options(t, "", session)
	n, err := newBench(o, newBoard())
	if err != nil {
		t.Fatal(err)
	}
	quick(n)
	n.busy = true // for ever
	n.begun([]picture{anEvening(t).write(t, 0, dir, "slow.jpg")})
	watched := make(chan struct{})
	close(watched)
	if err := n.finish(watched); err != nil {
		t.Fatal(err)
	}
	if n := openTrials(session, dir); len(n.doubted) != 0 {
		t.Errorf("doubted: %v", n.doubted)
	}
}

// In the watched folder the very file counts, and another evening's session knows of it too.
func TestTrialsOfFolder(t *testing.T) {
	dir := t.TempDir()
	session := filepath.Join(dir, "session")
	p := anEvening(t).write(t, 0, dir, "sky.jpg")
	o, _ := options(t, dir, session)
	killed := func() {
		n, err := newBench(o, newBoard())
		if err != nil {
			t.Fatal(err)
		}
		n.begun([]picture{p}) // and no more: what the disk holds is what a kill leaves
		n.journal.close()
		n.unlock()
	}
	killed()
	killed()
	if list, _ := openTrials(session, dir).setAside(); !slices.Equal(list, []string{"sky.jpg"}) {
		t.Fatalf("set aside: %q", list)
	}
	next := filepath.Join(dir, "next")
	if err := os.Mkdir(next, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := leaveBehind(session, next); err != nil {
		t.Fatal(err)
	}
	if list, _ := openTrials(next, dir).setAside(); !slices.Equal(list, []string{"sky.jpg"}) {
		t.Errorf("in the next session set aside: %q", list)
	}
	w := work(t, dir, session, quick)
	w.until("it is listed", func(n *notice) bool { return len(readTold(t, n).Live.SetAside) == 1 })
	w.stop()

	p = file(t, p.path, append(slices.Clone(anEvening(t).cache[1]), 0)) // the same name, saved anew
	w = work(t, dir, session, quick)
	w.until("the new one is measured", func(n *notice) bool {
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
			file(t, filepath.Join(session, trialsFile), []byte(text))
			n := openTrials(session, session)
			if list, _ := n.setAside(); len(list) != 0 || len(n.doubted) != 0 {
				t.Errorf("%q doubts %v", text, n.doubted)
			}
		})
	}
}
