// Package evening is an invented evening for tests of the session and of the page: eight small pictures with swings between
// them, and the notebook of the one at the keyboard.
package evening

import (
	"bytes"
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/align/simulate"
	"trueturn/cmd/session/store"
	"trueturn/drift/frame"
	"trueturn/ephem"
)

// Patience is how long a test waits for what must come, however busy the machine; only a failing one waits so long.
const Patience = 2 * time.Minute

// Pictures are the evening's, written to files when a test asks for them.
type Pictures struct {
	JPEG [][]byte
	run  *simulate.Run
}

var made = sync.OnceValues(render)

// Eight are the pictures, rendered once for all tests.
func Eight(t testing.TB) *Pictures {
	t.Helper()
	p, err := made()
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// Site is where they were taken.
func Site() (ephem.Site, error) { return ephem.NewSite(46.02, 7.75, 1620) }

func render() (*Pictures, error) {
	site, err := Site()
	if err != nil {
		return nil, err
	}
	e, err := simulate.Practice(site, time.Date(2026, 11, 25, 21, 29, 0, 0, time.UTC))
	if err != nil {
		return nil, err
	}
	e.Camera = simulate.Phone(115, 0.5)
	e.Count, e.Geotag = 8, true
	e.Mount.AltitudeError, e.Mount.AzimuthError = unit.AngleFromMin(25), unit.AngleFromMin(-48)
	run, err := e.Begin()
	if err != nil {
		return nil, err
	}
	p := &Pictures{run: run}
	for i := range e.Count {
		content, err := encoded(context.Background(), run, i, func(*frame.Metadata) {})
		if err != nil {
			return nil, err
		}
		p.JPEG = append(p.JPEG, content)
	}
	return p, nil
}

func encoded(ctx context.Context, run *simulate.Run, i int, set func(*frame.Metadata)) ([]byte, error) {
	plane, meta, err := run.Frame(ctx, i)
	if err != nil {
		return nil, err
	}
	set(&meta)
	var buf bytes.Buffer
	err = frame.Encode(&buf, plane, meta, frame.JPEG)
	return buf.Bytes(), err
}

// Write writes picture i into a folder, under the name given.
func (p *Pictures) Write(t testing.TB, i int, dir, name string) store.Picture {
	t.Helper()
	return File(t, filepath.Join(dir, name), p.JPEG[i])
}

// WriteWithoutZone writes a picture as a camera does that does not know its time zone.
func (p *Pictures) WriteWithoutZone(t testing.TB, i int, dir, name string) store.Picture {
	t.Helper()
	content, err := encoded(t.Context(), p.run, i, func(m *frame.Metadata) { m.NoOffset, m.GPSTime, m.Place = true, false, nil })
	if err != nil {
		t.Fatal(err)
	}
	return File(t, filepath.Join(dir, name), content)
}

// File writes a file, and is it as a folder watched would offer it.
func File(t testing.TB, path string, content []byte) store.Picture {
	t.Helper()
	if err := os.WriteFile(path, content, 0o644); err != nil {
		t.Fatal(err)
	}
	info, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}
	return store.Picture{Name: filepath.Base(path), At: path, Size: info.Size(), Mod: info.ModTime()}
}

// Notebook keeps what the one at the keyboard is told.
type Notebook struct {
	mu   sync.Mutex
	text strings.Builder
}

func (n *Notebook) Write(b []byte) (int, error) {
	n.mu.Lock()
	defer n.mu.Unlock()
	return n.text.Write(b)
}

func (n *Notebook) String() string {
	n.mu.Lock()
	defer n.mu.Unlock()
	return n.text.String()
}

// Copied is a session folder as a crash would leave it: whatever is in it now.
func Copied(t testing.TB, from string) string {
	t.Helper()
	for tries := 0; ; tries++ {
		to := filepath.Join(t.TempDir(), "session")
		err := os.CopyFS(to, os.DirFS(from))
		if errors.Is(err, os.ErrNotExist) && tries < 10 { // a file was replaced as a whole meanwhile: what it was written to first is gone
			continue
		}
		if err != nil {
			t.Fatal(err)
		}
		return to
	}
}
