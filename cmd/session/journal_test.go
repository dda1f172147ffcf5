package session

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

	"trueturn/cmd/session/store"
	"trueturn/cmd/trueturn/page/disk"
	"trueturn/cmd/words"
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
			path := filepath.Join(dir, disk.JournalFile)
			if err := os.WriteFile(path, []byte(c.text), 0o644); err != nil {
				t.Fatal(err)
			}
			j, notes, err := openJournal(t, dir)
			if c.fails {
				if err == nil || words.PageHint(err) == "" {
					t.Fatalf("error %v with hint %q", err, words.PageHint(err))
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

// openJournal reads a folder's journal.
func openJournal(t *testing.T, dir string) (*journal, []string, error) {
	t.Helper()
	f, err := os.OpenFile(filepath.Join(dir, disk.JournalFile), os.O_RDWR|os.O_CREATE, 0o644)
	if err != nil {
		t.Fatal(err)
	}
	j, notes, err := readJournal(f)
	if err != nil {
		f.Close()
	}
	return j, notes, err
}

// goesOn is whether a line added to a journal is there when it is opened again, with all the others.
func goesOn(t *testing.T, j *journal, dir string, before []string) {
	t.Helper()
	if err := j.append([]entry{entryNamed("next.jpg", "next"), entryNamed("last.jpg", "last")}); err != nil {
		t.Fatal(err)
	}
	j.close()
	j, notes, err := openJournal(t, dir)
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
		d := &store.MemoryLines{}
		d.WriteAt(text, 0)
		j, _, err := readJournal(d)
		if err != nil {
			if words.PageHint(err) == "" || string(d.Bytes()) != string(text) {
				t.Errorf("refused by %v (hint %q), leaving %d bytes", err, words.PageHint(err), len(d.Bytes()))
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

// A line longer than any picture's is not held in memory.
func TestEndlessLineIsPassedOver(t *testing.T) {
	dir := t.TempDir()
	text := append([]byte(headLine), bytes.Repeat([]byte{'x'}, store.LineMost+1)...)
	text = append(append(text, '\n'), lineNamed("a.jpg", "1")...)
	if err := os.WriteFile(filepath.Join(dir, disk.JournalFile), text, 0o644); err != nil {
		t.Fatal(err)
	}
	j, notes, err := openJournal(t, dir)
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
	store.Lines
	why   func() error
	syncs int
}

func (f *faulty) WriteAt(b []byte, at int64) (int, error) {
	if err := f.why(); err != nil {
		n, _ := f.Lines.WriteAt(b[:len(b)/2], at)
		return n, err
	}
	return f.Lines.WriteAt(b, at)
}

func (f *faulty) Sync() error {
	f.syncs++
	return f.Lines.Sync()
}

func TestFailedLineLeavesNothing(t *testing.T) {
	dir := t.TempDir()
	j, _, err := openJournal(t, dir)
	if err != nil {
		t.Fatal(err)
	}
	var why error
	lines := &faulty{Lines: j.f, why: func() error { return why }}
	j.f = lines
	if err := j.append([]entry{entryNamed("a.jpg", "1")}); err != nil || lines.syncs != 1 {
		t.Fatalf("%v, %d syncs", err, lines.syncs)
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
	j, _, err := openJournal(t, t.TempDir())
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
	o := options(t, "", t.TempDir())
	n, err := newBench(o)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := newBench(o); !errors.Is(err, disk.ErrInUse) || words.PageHint(err) == "" {
		t.Errorf("a second program got %v", err)
	}
	if err := n.end(); err != nil {
		t.Error(err)
	}
	if n, err = newBench(o); err != nil {
		t.Fatal(err)
	}
	n.end()
}
