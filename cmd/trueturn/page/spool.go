package page

import (
	"bufio"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"time"

	"trueturn/cmd/session"
	"trueturn/cmd/session/store"
	"trueturn/cmd/trueturn/files"
	"trueturn/cmd/trueturn/page/disk"
)

const (
	spoolBytes = 4 << 30   // that may wait
	spareBytes = 512 << 20 // of the disk that stay free for the rest of the machine
	spareEvery = 16 << 20  // how often the disk is looked at while a picture comes in
)

// spool is where pictures sent by browsers lie until they are measured.
type spool struct {
	dir  string
	most int64 // bytes of a picture

	mu    sync.Mutex
	names map[string]bool // given so far
}

// newSpool is the inbox of a session folder.
func newSpool(f *disk.Folder, most int64) *spool {
	s := &spool{dir: f.Inbox(), most: most, names: map[string]bool{}}
	for _, p := range f.Waiting() {
		s.names[p.Name] = true
	}
	return s
}

// claim gives a picture a name nothing else in the session has: phones call all they take alike.
func (s *spool) claim(sent string, w *session.Word) string {
	s.mu.Lock()
	defer s.mu.Unlock()
	taken := func(name string) bool { return s.names[name] }
	if w != nil {
		shown := map[string]bool{}
		for _, f := range w.View.Frames {
			shown[f.File] = true
		}
		taken = func(name string) bool { return s.names[name] || shown[name] }
	}
	name := disk.CleanName(sent)
	ending := filepath.Ext(name)
	for i, base := 2, disk.Shorten(strings.TrimSuffix(name, ending), disk.NameBytes-len(ending)-8); taken(name); i++ {
		name = fmt.Sprintf("%s (%d)%s", base, i, ending)
	}
	s.names[name] = true
	return name
}

// release gives a name back that was not used.
func (s *spool) release(name string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	delete(s.names, name)
}

// sendError: the picture stopped coming.
type sendError struct{ cause error }

func (e *sendError) Error() string { return e.cause.Error() }
func (e *sendError) Unwrap() error { return e.cause }

// kept is a picture in the spool.
type kept struct {
	store.Picture
	f *os.File
}

// settle puts the picture on the disk for good, beyond a battery that dies.
func (k kept) settle() {
	k.f.Sync() // if that fails the picture is still being measured; nothing better could be done
	k.f.Close()
	files.SyncFolder(filepath.Dir(k.At))
}

// keep writes a picture to the spool. What cannot be kept leaves nothing behind.
func (s *spool) keep(name string, content io.Reader) (kept, error) {
	room, err := s.room()
	if err != nil {
		return kept{}, err
	}
	at := time.Now()
	path := filepath.Join(s.dir, disk.SentName(at, name))
	f, err := os.OpenFile(path+disk.PartEnding, os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return kept{}, notKept(err)
	}
	size, err := s.copy(f, content, room)
	if err == nil {
		err = notKept(os.Rename(path+disk.PartEnding, path))
	}
	if err != nil {
		f.Close()
		os.Remove(path + disk.PartEnding)
		return kept{}, err
	}
	return kept{store.Picture{Name: name, At: path, Size: size, Mod: at, Sent: true}, f}, nil
}

// room is how many bytes the next picture may have.
func (s *spool) room() (int64, error) {
	entries, err := os.ReadDir(s.dir)
	if err != nil {
		return 0, notKept(err)
	}
	left := int64(spoolBytes)
	for _, e := range entries {
		if info, err := e.Info(); err == nil {
			left -= info.Size()
		}
	}
	if left <= 0 {
		return 0, store.ErrFull
	}
	return min(left, s.most), s.spare()
}

// copy writes what comes, in pieces so large that a picture costs few writes.
func (s *spool) copy(f *os.File, content io.Reader, most int64) (int64, error) {
	in := &faithful{r: content}
	out := bufio.NewWriterSize(f, bodyReadAtOnce)
	var size int64
	for {
		n, err := io.CopyN(out, in, min(spareEvery, most+1-size))
		size += n
		switch {
		case in.err != nil:
			return size, &sendError{in.err}
		case err == io.EOF:
			return size, notKept(out.Flush())
		case err != nil:
			return size, notKept(err)
		case size > most:
			io.Copy(io.Discard, in) // the others in the upload may still be taken
			return size, refuse(http.StatusRequestEntityTooLarge, fmt.Sprintf("larger than %d MB", most>>20), "save it smaller, or as JPEG")
		}
		if err := s.spare(); err != nil {
			return size, err
		}
	}
}

// faithful remembers whether it was the reading that failed.
type faithful struct {
	r   io.Reader
	err error
}

func (f *faithful) Read(b []byte) (int, error) {
	n, err := f.r.Read(b)
	if err != nil && err != io.EOF {
		f.err = err
	}
	return n, err
}

// spare is whether the disk has room left for more than this.
func (s *spool) spare() error {
	if free, known := freeBytes(s.dir); known && free < spareBytes {
		return notKept(syscall.ENOSPC)
	}
	return nil
}

// notKept is why the machine could not keep a picture; nil for nil.
func notKept(err error) error {
	switch {
	case err == nil:
		return nil
	case files.Full(err):
		return refuse(http.StatusInsufficientStorage, "the disk of the machine that measures is full", "make room there, and send it again")
	}
	return refuse(http.StatusInternalServerError, "the machine that measures could not keep it", "look at its disk, and send it again")
}
