package disk

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"trueturn/cmd/words"
)

// headLine and lineNamed are as package session writes them.
const (
	headLine  = `{"kind":"trueturn journal","version":1}` + "\n"
	lineNamed = `{"file":"a.jpg","sha256":"1","base":"a.jpg","size":1,"mod_utc":"2026-11-25T21:00:00Z","measured_utc":"2026-11-25T21:00:00Z","asked":"","shot":{}}` + "\n"
)

func TestSessionsAreSetAsideAfterTwelveHours(t *testing.T) {
	last := time.Date(2026, 11, 25, 21, 0, 0, 0, time.UTC) // as lineNamed has it
	day := last.Local().Format("2006-01-02")
	for _, c := range []struct {
		name  string
		lines string
		after time.Duration
		to    string
	}{
		{"the same evening", headLine + lineNamed, 11 * time.Hour, ""},
		{"the next evening", headLine + lineNamed, 24 * time.Hour, "session-" + day + "-2"},
		{"nothing taken", headLine, 24 * time.Hour, ""},
		{"no session", "", 24 * time.Hour, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			parent := t.TempDir()
			dir := filepath.Join(parent, "session")
			os.Mkdir(filepath.Join(parent, "session-"+day), 0o755) // one of that day is there already
			if c.lines != "" {
				os.Mkdir(dir, 0o755)
				os.WriteFile(filepath.Join(dir, JournalFile), []byte(c.lines), 0o644)
			}
			to, err := SetAside(dir, last.Add(c.after))
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
				if _, err := os.Stat(filepath.Join(parent, to, JournalFile)); err != nil {
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
	names := []string{"a.jpg", "b.jpg"}
	for i, name := range names {
		os.MkdirAll(dir, 0o755)
		known(t, dir, evening, names[:i]...)
		line := fmt.Sprintf(`{"file":%q,"base":%q,"size":%d,"mod_utc":%q,"measured_utc":%q}`+"\n", name, name, len(name), evening.Format(time.RFC3339), evening.AddDate(0, 0, i).Format(time.RFC3339))
		if err := os.WriteFile(filepath.Join(dir, JournalFile), []byte(headLine+line), 0o644); err != nil {
			t.Fatal(err)
		}
		os.WriteFile(filepath.Join(dir, "trials"), []byte(name), 0o644)
		if _, err := SetAside(dir, evening.AddDate(0, 0, i+1), "trials", "nothing"); err != nil {
			t.Fatal(err)
		}
		if text, _ := os.ReadFile(filepath.Join(dir, "trials")); string(text) != name {
			t.Errorf("handed on: %q", text)
		}
	}
	known(t, dir, evening, names...)
}

func known(t *testing.T, dir string, mod time.Time, names ...string) {
	t.Helper()
	f, err := Open(dir, "")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	for _, name := range names {
		if !f.Past(name, int64(len(name)), mod) {
			t.Errorf("%s is taken for new", name)
		}
	}
	if f.Past("a.jpg", 77, mod) {
		t.Error("another file of that name is known")
	}
}

// TestFullDiskIsTold: a full disk and a used-up share of one are told as such, with the way out.
func TestFullDiskIsTold(t *testing.T) {
	for _, cause := range []error{syscall.ENOSPC, syscall.EDQUOT} {
		err := &os.PathError{Op: "write", Path: "x", Err: cause}
		for _, told := range []error{CannotKeep(err), cannotReceive(err)} {
			if got, want := words.PageHint(told), "make room on that disk, or have the session kept on another, at the computer"; got != want {
				t.Errorf("%v: hint %q, want %q", told, got, want)
			}
			if strings.Contains(told.Error(), "write x") || !errors.Is(told, cause) {
				t.Errorf("it says %q", told)
			}
		}
	}
}
