package page

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"trueturn/drift"
	"trueturn/drift/frame"
)

// shotNamed is a shot that needs no picture.
func shotNamed(name string) drift.Shot {
	return drift.Shot{File: name, Width: 10, Height: 10, Clock: &frame.Clock{Start: time.Date(2026, 11, 25, 21, 0, 0, 0, time.UTC)}}
}

func entryNamed(name, sum string) entry {
	r := record{File: name, Sum: sum, Measured: time.Date(2026, 11, 25, 21, 0, 0, 0, time.UTC), Shot: shotNamed(name)}
	return entryOf(&r)
}

func lineNamed(name, sum string) []byte { return entryNamed(name, sum).text }

const headLine = `{"kind":"trueturn journal","version":1}` + "\n"

// journals are files as crashes, other programs and tired disks leave them.
var journals = []struct {
	name, text string
	files      []string
	fails      bool
	note       string // a part of what the reader is told
}{
	{"new", "", nil, false, ""},
	{"only begun", headLine, nil, false, ""},
	{"two pictures", headLine + string(lineNamed("a.jpg", "1")) + string(lineNamed("b.jpg", "2")), []string{"a.jpg", "b.jpg"}, false, ""},
	{"cut off within the first line", headLine[:20], nil, false, ""},
	{"cut off within the last line", headLine + string(lineNamed("a.jpg", "1")) + string(lineNamed("b.jpg", "2")[:50]), []string{"a.jpg"}, false, "cut off"},
	{"cut off before the last line's end", headLine + string(lineNamed("a.jpg", "1")) + strings.TrimSpace(string(lineNamed("b.jpg", "2"))), []string{"a.jpg"}, false, "cut off"},
	{"blocks the disk never wrote", headLine + string(lineNamed("a.jpg", "1")) + strings.Repeat("\x00", 4096), []string{"a.jpg"}, false, "cut off"},
	{"a damaged line among others", headLine + string(lineNamed("a.jpg", "1")) + "{\"file\":\x00\xff}\n" + string(lineNamed("b.jpg", "2")), []string{"a.jpg", "b.jpg"}, false, "1 damaged"},
	{"a line without a name", headLine + "{}\n" + string(lineNamed("b.jpg", "2")), []string{"b.jpg"}, false, "1 damaged"},
	{"measured twice", headLine + string(lineNamed("a.jpg", "1")) + string(lineNamed("b.jpg", "2")) + string(lineNamed("a.jpg", "3")), []string{"a.jpg", "b.jpg"}, false, ""},
	{"another program's", "a diary\n", nil, true, ""},
	{"another version", `{"kind":"trueturn journal","version":2}` + "\n", nil, true, ""},
}

func TestJournalIsReadAsItWasLeft(t *testing.T) {
	for _, c := range journals {
		t.Run(c.name, func(t *testing.T) {
			dir := t.TempDir()
			path := filepath.Join(dir, journalFile)
			if err := os.WriteFile(path, []byte(c.text), 0o644); err != nil {
				t.Fatal(err)
			}
			j, notes, err := openJournal(dir)
			if c.fails {
				if err == nil || hintOf(err) == "" {
					t.Fatalf("error %v with hint %q", err, hintOf(err))
				}
				if left, _ := os.ReadFile(path); string(left) != c.text {
					t.Error("a stranger's file was changed")
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			if got := j.files(); !slices.Equal(got, c.files) {
				t.Errorf("pictures %q, want %q", got, c.files)
			}
			if told := strings.Join(notes, "\n"); !strings.Contains(told, c.note) || (c.note == "") != (told == "") {
				t.Errorf("notes %q, want %q", told, c.note)
			}
			goesOn(t, j, dir, c.files)
		})
	}
}

// goesOn is whether a line added to a journal is there when it is opened again, with all the others.
func goesOn(t *testing.T, j *journal, dir string, before []string) {
	t.Helper()
	if err := j.append([]entry{entryNamed("next.jpg", "next"), entryNamed("last.jpg", "last")}); err != nil {
		t.Fatal(err)
	}
	j.close()
	j, notes, err := openJournal(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer j.close()
	want := append(slices.Clone(before), "next.jpg", "last.jpg")
	if got := j.files(); !slices.Equal(got, want) || strings.Contains(strings.Join(notes, ""), "cut off") {
		t.Errorf("opened again it holds %q, want %q; %q", got, want, notes)
	}
	for _, name := range want {
		if s, ok := j.shot(name); !ok || s.File != name || s.Clock == nil {
			t.Errorf("%s reads back as %+v, %v", name, s, ok)
		}
	}
	if _, ok := j.shot("never.jpg"); ok {
		t.Error("a picture nobody took was read back")
	}
}

// Whatever the file holds, nothing but a refusal keeps the journal from going on. No file: runs are a hundred times as many.
func FuzzJournal(f *testing.F) {
	for _, c := range journals {
		f.Add([]byte(c.text))
	}
	next := []entry{entryNamed("fuzz-next.jpg", "")}
	f.Fuzz(func(t *testing.T, text []byte) {
		d := &memory{bytes.Clone(text)}
		j, _, err := readJournal(d)
		if err != nil {
			if hintOf(err) == "" || string(d.b) != string(text) {
				t.Errorf("refused by %v (hint %q), leaving %d bytes", err, hintOf(err), len(d.b))
			}
			return
		}
		before := len(j.files())
		if err := j.append(next); err != nil {
			t.Fatal(err)
		}
		if j, _, err = readJournal(d); err != nil {
			t.Fatal(err)
		}
		after := j.files()
		if _, ok := j.shot("fuzz-next.jpg"); !ok || len(after) < before {
			t.Fatalf("%d pictures, then %q", before, after)
		}
	})
}

// memory is a disk that forgets all when the program ends.
type memory struct{ b []byte }

func (m *memory) ReadAt(p []byte, at int64) (int, error) { return bytes.NewReader(m.b).ReadAt(p, at) }

func (m *memory) WriteAt(p []byte, at int64) (int, error) {
	if end := int(at) + len(p); end > len(m.b) {
		m.b = append(m.b, make([]byte, end-len(m.b))...)
	}
	return copy(m.b[at:], p), nil
}

func (m *memory) Truncate(size int64) error {
	m.b = m.b[:size] // a journal is only ever cut
	return nil
}

func (m *memory) Sync() error  { return nil }
func (m *memory) Close() error { return nil }

// A line longer than any picture's is not held in memory.
func TestEndlessLineIsPassedOver(t *testing.T) {
	dir := t.TempDir()
	text := append([]byte(headLine), bytes.Repeat([]byte{'x'}, lineMost+1)...)
	text = append(append(text, '\n'), lineNamed("a.jpg", "1")...)
	if err := os.WriteFile(filepath.Join(dir, journalFile), text, 0o644); err != nil {
		t.Fatal(err)
	}
	j, notes, err := openJournal(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer j.close()
	if got := j.files(); !slices.Equal(got, []string{"a.jpg"}) || len(notes) != 1 {
		t.Errorf("pictures %q, notes %q", got, notes)
	}
}

// faulty is a disk that fails when told to, having written a part.
type faulty struct {
	disk
	why   func() error
	syncs int
}

func (f *faulty) WriteAt(b []byte, at int64) (int, error) {
	if err := f.why(); err != nil {
		n, _ := f.disk.WriteAt(b[:len(b)/2], at)
		return n, err
	}
	return f.disk.WriteAt(b, at)
}

func (f *faulty) Sync() error {
	f.syncs++
	return f.disk.Sync()
}

func TestFailedLineLeavesNothing(t *testing.T) {
	dir := t.TempDir()
	j, _, err := openJournal(dir)
	if err != nil {
		t.Fatal(err)
	}
	var why error
	disk := &faulty{disk: j.f, why: func() error { return why }}
	j.f = disk
	if err := j.append([]entry{entryNamed("a.jpg", "1")}); err != nil || disk.syncs != 1 {
		t.Fatalf("%v, %d syncs", err, disk.syncs)
	}
	why = syscall.ENOSPC
	if err := j.append([]entry{entryNamed("b.jpg", "2"), entryNamed("c.jpg", "3")}); !errors.Is(err, syscall.ENOSPC) {
		t.Fatalf("error %v", err)
	}
	if got := j.files(); !slices.Equal(got, []string{"a.jpg"}) {
		t.Errorf("pictures %q", got)
	}
	why = nil
	goesOn(t, j, dir, []string{"a.jpg"})
}

// Two pictures measured at once cannot get one name, and the same content is taken once.
func TestClaims(t *testing.T) {
	j, _, err := openJournal(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	defer j.close()
	for _, c := range []struct{ sum, name, file, other string }{
		{"1", "IMG.jpg", "IMG.jpg", ""},
		{"2", "IMG.jpg", "IMG (2).jpg", ""},
		{"3", "IMG.jpg", "IMG (3).jpg", ""},
		{"1", "copy.jpg", "", "IMG.jpg"},
		{"", "unread", "unread", ""},
		{"", "unread", "unread (2)", ""},
	} {
		if file, other := j.claim(c.sum, c.name); file != c.file || other != c.other {
			t.Errorf("%s as %s: got %q and %q, want %q and %q", c.sum, c.name, file, other, c.file, c.other)
		}
	}
	j.release("2", "IMG (2).jpg")
	if file, _ := j.claim("2", "IMG.jpg"); file != "IMG (2).jpg" {
		t.Errorf("what was given up is now called %q", file)
	}
	j.append([]entry{entryNamed("IMG.jpg", "1")})
	j.release("1", "IMG.jpg")
	if _, other := j.claim("1", "x.jpg"); other != "IMG.jpg" {
		t.Error("what is in the journal was given up")
	}
}

// What cannot be written down makes the picture one that cannot be used, not a hole in the journal.
func TestUnspeakableMeasurement(t *testing.T) {
	r := record{File: "a.jpg", Shot: shotNamed("a.jpg")}
	r.Shot.Clock.Start = time.Date(10000, 1, 1, 0, 0, 0, 0, time.UTC) // RFC 3339 has four digits for the year
	text := entryOf(&r).text
	if !bytes.HasSuffix(text, []byte("\n")) || !bytes.Contains(text, []byte("cannot be written down")) || r.Shot.Err == nil {
		t.Errorf("%s, shot %+v", text, r.Shot)
	}
}

func TestSessionFolderIsForOne(t *testing.T) {
	dir := t.TempDir()
	release, err := lock(dir)
	if err != nil {
		t.Fatal(err)
	}
	o, _ := options(t, "", dir)
	if _, err := newBench(o, newBoard()); !errors.Is(err, errInUse) || hintOf(err) == "" {
		t.Errorf("a second program got %v", err)
	}
	release()
	n, err := newBench(o, newBoard())
	if err != nil {
		t.Fatal(err)
	}
	n.finish(n.watchFolder(t.Context()))
}

func TestSessionsAreSetAsideAfterTwelveHours(t *testing.T) {
	last := time.Date(2026, 11, 25, 21, 0, 0, 0, time.UTC) // as lineNamed has it
	day := last.Local().Format("2006-01-02")
	for _, c := range []struct {
		name  string
		lines string
		after time.Duration
		to    string
	}{
		{"the same evening", headLine + string(lineNamed("a.jpg", "1")), 11 * time.Hour, ""},
		{"the next evening", headLine + string(lineNamed("a.jpg", "1")), 24 * time.Hour, "session-" + day + "-2"},
		{"nothing taken", headLine, 24 * time.Hour, ""},
		{"no session", "", 24 * time.Hour, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			parent := t.TempDir()
			dir := filepath.Join(parent, "session")
			os.Mkdir(filepath.Join(parent, "session-"+day), 0o755) // one of that day is there already
			if c.lines != "" {
				os.Mkdir(dir, 0o755)
				os.WriteFile(filepath.Join(dir, journalFile), []byte(c.lines), 0o644)
			}
			to, err := setAside(dir, last.Add(c.after))
			if err != nil {
				t.Fatal(err)
			}
			if to != "" {
				to, _ = filepath.Rel(parent, to)
			}
			if to != c.to {
				t.Errorf("set aside as %q, want %q", to, c.to)
			}
			if c.to != "" {
				if _, err := os.Stat(filepath.Join(parent, to, journalFile)); err != nil {
					t.Error(err)
				}
			}
		})
	}
}

// What an evening measured is not measured once more the next, nor the one after.
func TestNextEveningLeavesPicturesAlone(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "session")
	evening := time.Date(2026, 11, 25, 21, 0, 0, 0, time.UTC)
	stamps := []stamp{}
	for i, name := range []string{"a.jpg", "b.jpg"} {
		os.MkdirAll(dir, 0o755)
		j, _, err := openJournal(dir)
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range stamps {
			if !j.knows(s) {
				t.Errorf("on evening %d %s is taken for new", i, s.base)
			}
		}
		if len(j.files()) != 0 {
			t.Errorf("a new evening begins with %q", j.files())
		}
		r := record{File: name, Sum: name, Base: name, Size: int64(i), Mod: evening, Measured: evening.AddDate(0, 0, i), Shot: shotNamed(name)}
		if err := j.append([]entry{entryOf(&r)}); err != nil {
			t.Fatal(err)
		}
		j.close()
		stamps = append(stamps, stampOf(name, int64(i), evening))
		if _, err := setAside(dir, evening.AddDate(0, 0, i+1)); err != nil {
			t.Fatal(err)
		}
	}
	j, _, err := openJournal(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer j.close()
	if !j.knows(stamps[0]) || !j.knows(stamps[1]) || j.knows(stampOf("a.jpg", 7, evening)) {
		t.Error("the third evening does not know the pictures of the first two")
	}
}
