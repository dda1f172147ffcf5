// Package disk keeps a live session in a folder: the store a computer has.
//
//	journal.jsonl  the session's lines
//	…              each value under its own name, replaced as a whole
//	inbox/         pictures sent by browsers, until their line is in the journal
//	past.json      files of the watched folder that sessions set aside had measured
//	lock           held by the one program that may write here
package disk

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"trueturn/cmd/session/store"
	"trueturn/cmd/trueturn/files"
	"trueturn/ephem/amiss"
)

const (
	// JournalFile is the session's lines.
	JournalFile = "journal.jsonl"
	// PictureMost bounds what is read of a picture, in bytes: as much as package frame takes.
	PictureMost = 2 << 30

	lockFile = "lock"
)

// Folder is a session folder that this program alone may write to, and the folder watched for pictures, if there is one.
type Folder struct {
	dir, watched string
	waiting      []store.Picture
	unlock       func() error
	past         map[pastFile]bool
}

// Open opens or begins a session folder, with what lies in its inbox. The error says the way out.
func Open(dir, watched string) (*Folder, error) {
	if err := needFolder(watched); err != nil {
		return nil, err
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return nil, CannotKeep(err)
	}
	unlock, err := lock(dir)
	if err != nil {
		return nil, err
	}
	f := &Folder{dir: dir, watched: watched, unlock: unlock, past: map[pastFile]bool{}}
	for _, p := range readPast(dir) {
		f.past[p.plain()] = true
	}
	if f.waiting, err = readInbox(f.Inbox()); err != nil {
		unlock()
		return nil, err
	}
	return f, nil
}

// needFolder is why the folder to watch cannot be watched now.
func needFolder(dir string) error {
	if dir == "" {
		return nil
	}
	info, err := os.Stat(dir)
	switch {
	case errors.Is(err, os.ErrNotExist):
		return &amiss.Error{Text: fmt.Sprintf("there is no folder %q", dir), Ways: amiss.Do("check the name; the shell's Tab key completes it"), From: err}
	case err != nil:
		return &amiss.Error{Text: fmt.Sprintf("the folder %q cannot be opened: %v", dir, amiss.Plain(err)), Ways: amiss.Do("check that you may read it"), From: err}
	case !info.IsDir():
		return &amiss.Error{Text: fmt.Sprintf("%q is a file, not a folder", dir), Ways: amiss.Do("name the folder the pictures arrive in")}
	}
	return nil
}

// Journal opens the lines, and puts their name and the folder's, which may be new, on the disk: synced lines are lost with
// them.
func (f *Folder) Journal() (store.Lines, error) {
	j, err := os.OpenFile(filepath.Join(f.dir, JournalFile), os.O_RDWR|os.O_CREATE, 0o644)
	if err != nil {
		return nil, CannotKeep(err)
	}
	for _, d := range []string{f.dir, filepath.Dir(filepath.Clean(f.dir))} {
		if err := files.SyncFolder(d); err != nil {
			j.Close()
			return nil, CannotKeep(err)
		}
	}
	return j, nil
}

func (f *Folder) Get(name string) (io.ReadCloser, error) { return os.Open(filepath.Join(f.dir, name)) }

func (f *Folder) Put(name string, write func(io.Writer) error) error {
	return files.Write(filepath.Join(f.dir, name), 0o644, write)
}

// Inbox is the folder pictures sent by browsers lie in.
func (f *Folder) Inbox() string { return filepath.Join(f.dir, inboxFolder) }

func (f *Folder) Waiting() []store.Picture { return f.waiting }

// Open opens what is a file and not too large.
func (f *Folder) Open(p store.Picture) (io.ReadSeekCloser, error) {
	info, err := os.Stat(p.At)
	if err != nil {
		return nil, err
	}
	if !info.Mode().IsRegular() { // opening a pipe would wait for somebody to write
		return nil, errors.New("it is not a file")
	}
	if info.Size() > PictureMost {
		return nil, fmt.Errorf("it is larger than %d GB", PictureMost>>30)
	}
	return os.Open(p.At)
}

// Holds goes by size and, outside the inbox, by the time of the last change.
func (f *Folder) Holds(p store.Picture) bool {
	info, err := os.Stat(p.At)
	return err == nil && info.Size() == p.Size && (p.Sent || info.ModTime().Equal(p.Mod))
}

func (f *Folder) Drop(p store.Picture) {
	if p.Sent {
		os.Remove(p.At)
	}
}

// At is empty for a file of the watched folder where none is watched, and for what is no plain name.
func (f *Folder) At(base string, sent bool) string {
	switch {
	case base != filepath.Base(base):
		return ""
	case sent:
		return filepath.Join(f.Inbox(), base)
	case f.watched == "":
		return ""
	}
	return filepath.Join(f.watched, base)
}

// Past is whether a file of the watched folder was measured in a session that was set aside.
func (f *Folder) Past(base string, size int64, mod time.Time) bool {
	return f.past[pastFile{base, size, mod.UnixNano()}]
}

func (f *Folder) Close() error { return f.unlock() }

// CannotKeep is why a session cannot be kept.
func CannotKeep(err error) error {
	if amiss.Ways(err) != nil && !errors.Is(err, files.ErrDisk) {
		return err
	}
	return &amiss.Error{Text: "the session folder cannot be written to: " + amiss.Plain(err).Error(), Ways: Elsewhere(err), From: err}
}

// Elsewhere is the way out when the session folder takes nothing.
func Elsewhere(err error) []amiss.Way {
	if files.Full(err) {
		return []amiss.Way{{Act: "make room on that disk"}, {Thing: amiss.SessionDisk}}
	}
	return []amiss.Way{{Act: "check your rights there and the space left"}, {Thing: amiss.SessionPlace}}
}

// RestAfter: a session nobody added to for so long is another evening's.
const RestAfter = 12 * time.Hour

// SetAside gives the session in dir, if its last picture was measured more than RestAfter before now, the name of
// that day, so that a new one begins with the values carried on. The answer is the new name, empty where nothing was done.
func SetAside(dir string, now time.Time, carried ...string) (string, error) {
	last, err := lastMeasured(dir)
	if err != nil || last.IsZero() || now.Sub(last) <= RestAfter {
		return "", err
	}
	release, err := lock(dir) // it may be another's, still at work
	if err != nil {
		return "", err
	}
	release()
	to := dir + last.Local().Format("-2006-01-02")
	for i := 2; ; i++ {
		if _, err := os.Lstat(to); errors.Is(err, os.ErrNotExist) {
			break
		}
		to = fmt.Sprintf("%s%s-%d", dir, last.Local().Format("-2006-01-02"), i)
	}
	if err := os.Rename(dir, to); err != nil {
		return "", CannotKeep(err)
	}
	return to, leaveBehind(to, dir, carried)
}

// pastFile lists files of the watched folder that sessions set aside had measured, so that the new one leaves them alone.
const pastName = "past.json"

// pastMost bounds it: some dozens of long evenings.
const pastMost = 50000

// pastJSON is such a file, by its stamp.
type pastJSON struct {
	Base string    `json:"base"`
	Size int64     `json:"size"`
	Mod  time.Time `json:"mod_utc"`
}

// pastFile is the same, to be compared.
type pastFile struct {
	base string
	size int64
	mod  int64 // Unix nanoseconds
}

func (p pastJSON) plain() pastFile { return pastFile{p.Base, p.Size, p.Mod.UnixNano()} }

// leaveBehind begins a session in dir with what the one now in from need not hand on.
func leaveBehind(from, dir string, carried []string) error {
	past := readPast(from)
	f, err := os.Open(filepath.Join(from, JournalFile))
	if err != nil {
		return CannotKeep(err)
	}
	defer f.Close()
	lines := store.NewLineReader(f)
	for line, err := lines.Next(); err == nil; line, err = lines.Next() {
		var p pastJSON
		if json.Unmarshal(line, &p) == nil && p.Base != "" {
			past = append(past, p)
		}
	}
	past = past[max(0, len(past)-pastMost):]
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return CannotKeep(err)
	}
	if err := files.Write(filepath.Join(dir, pastName), 0o644, func(w io.Writer) error { return json.NewEncoder(w).Encode(past) }); err != nil {
		return CannotKeep(err)
	}
	return handOn(from, dir, carried)
}

// handOn: what ended the program in that session, say, would end it in this one.
func handOn(from, dir string, carried []string) error {
	for _, name := range carried {
		text, err := os.ReadFile(filepath.Join(from, name))
		if err != nil {
			continue // there is none
		}
		if err := files.Write(filepath.Join(dir, name), 0o644, func(w io.Writer) error { _, err := w.Write(text); return err }); err != nil {
			return CannotKeep(err)
		}
	}
	return nil
}

// readPast is what leaveBehind wrote; nothing where there is none.
func readPast(dir string) (past []pastJSON) {
	text, err := os.ReadFile(filepath.Join(dir, pastName))
	if err == nil {
		json.Unmarshal(text, &past) // what cannot be read is measured again
	}
	return past
}

// lastMeasured is when the last picture of a session was measured; zero where there is none.
func lastMeasured(dir string) (time.Time, error) {
	f, err := os.Open(filepath.Join(dir, JournalFile))
	if errors.Is(err, os.ErrNotExist) {
		return time.Time{}, nil
	}
	if err != nil {
		return time.Time{}, CannotKeep(err)
	}
	defer f.Close()
	var last time.Time
	lines := store.NewLineReader(f)
	for {
		line, err := lines.Next()
		if err == io.EOF {
			return last, nil
		}
		if err != nil {
			return time.Time{}, CannotKeep(err)
		}
		var r struct {
			Measured time.Time `json:"measured_utc"`
		}
		if json.Unmarshal(line, &r) == nil && r.Measured.After(last) {
			last = r.Measured
		}
	}
}

// ErrInUse: two programs would mix up their lines.
var ErrInUse error = amiss.New(nil, "the session folder is in use by another trueturn", "end that one first, or name another folder with --session-dir")
