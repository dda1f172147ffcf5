package page

import (
	"bufio"
	"crypto/rand"
	"encoding/base64"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"time"
	"unicode"
	"unicode/utf8"

	"trueturn/cmd/trueturn/files"
	"trueturn/ephem/amiss"
)

const (
	spoolFolder = "inbox"
	spoolEnding = ".sent"
	partEnding  = ".part"
	spoolBytes  = 4 << 30   // that may wait
	spareBytes  = 512 << 20 // of the disk that stay free for the rest of the machine
	spareEvery  = 16 << 20  // how often the disk is looked at while a picture comes in
	nameBytes   = 120
	nameless    = "picture"
)

// spool is where pictures sent by browsers lie until they are measured. Their names are none of
// theirs: each file is called by a number, chance and, coded, what it is to be shown as.
type spool struct {
	dir  string
	left []picture // found there at the start
	most int64     // bytes of a picture

	mu    sync.Mutex
	names map[string]bool // given so far
}

// newSpool opens the spool of a session folder. What was cut off by a crash is removed.
func newSpool(session string, most int64) (*spool, error) {
	s := &spool{dir: filepath.Join(session, spoolFolder), most: most, names: map[string]bool{}}
	if err := os.MkdirAll(s.dir, 0o700); err != nil {
		return nil, cannotSpool(err)
	}
	entries, err := os.ReadDir(s.dir) // sorted, so by the time of arrival
	if err != nil {
		return nil, cannotSpool(err)
	}
	for _, e := range entries {
		path := filepath.Join(s.dir, e.Name())
		if strings.HasSuffix(e.Name(), partEnding) {
			os.Remove(path)
			continue
		}
		info, err := e.Info()
		name, known := shownName(e.Name())
		if err == nil && known && info.Mode().IsRegular() {
			s.names[name] = true
			s.left = append(s.left, picture{name: name, path: path, size: info.Size(), mod: info.ModTime(), spooled: true})
		}
	}
	return s, nil
}

func cannotSpool(err error) error {
	return &amiss.Error{Text: "there is no place to put pictures sent to the page: " + plain(err).Error(), Ways: elsewhere(err), From: err}
}

// spoolName is what a file is called that is shown as name.
func spoolName(at time.Time, name string) string {
	return fmt.Sprintf("%d-%s-%s%s", at.UnixNano(), rand.Text()[:8], base64.RawURLEncoding.EncodeToString([]byte(name)), spoolEnding)
}

// shownName is the reverse.
func shownName(file string) (string, bool) {
	rest, ours := strings.CutSuffix(file, spoolEnding)
	parts := strings.SplitN(rest, "-", 3)
	if !ours || len(parts) != 3 {
		return "", false
	}
	name, err := base64.RawURLEncoding.DecodeString(parts[2])
	return cleanName(string(name)), err == nil
}

// cleanName is what a name somebody sent is shown as: no folders, nothing unprintable, nothing that
// turns the writing round, not too long.
func cleanName(sent string) string {
	sent = strings.ToValidUTF8(sent[strings.LastIndexAny(sent, `/\`)+1:], "")
	name := strings.Map(func(r rune) rune {
		switch {
		case unicode.IsSpace(r):
			return ' '
		case !unicode.IsPrint(r):
			return -1
		}
		return r
	}, sent)
	name = strings.TrimLeft(strings.Join(strings.Fields(name), " "), ". ")
	if name == "" {
		return nameless
	}
	return shorten(name, nameBytes)
}

// shorten leaves a name's ending on.
func shorten(name string, most int) string {
	if len(name) <= most {
		return name
	}
	ending := filepath.Ext(name)
	if len(ending) > 10 {
		ending = ""
	}
	keep := most - len(ending) - len("…")
	for keep > 0 && !utf8.RuneStart(name[keep]) {
		keep--
	}
	return name[:keep] + "…" + ending
}

// claim gives a picture a name nothing else in the session has: phones call all they take alike.
func (s *spool) claim(sent string, b *board) string {
	s.mu.Lock()
	defer s.mu.Unlock()
	taken := func(name string) bool { return s.names[name] }
	if n, _ := b.look(); n != nil {
		shown := map[string]bool{}
		for _, f := range n.view.Frames {
			shown[f.File] = true
		}
		taken = func(name string) bool { return s.names[name] || shown[name] }
	}
	name := cleanName(sent)
	ending := filepath.Ext(name)
	for i, base := 2, shorten(strings.TrimSuffix(name, ending), nameBytes-len(ending)-8); taken(name); i++ {
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
	picture
	f *os.File
}

// settle puts the picture on the disk for good, beyond a battery that dies.
func (k kept) settle() {
	k.f.Sync() // if that fails the picture is still being measured; nothing better could be done
	k.f.Close()
	files.SyncFolder(filepath.Dir(k.path))
}

// keep writes a picture to the spool. What cannot be kept leaves nothing behind.
func (s *spool) keep(name string, content io.Reader) (kept, error) {
	room, err := s.room()
	if err != nil {
		return kept{}, err
	}
	at := time.Now()
	path := filepath.Join(s.dir, spoolName(at, name))
	f, err := os.OpenFile(path+partEnding, os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return kept{}, notKept(err)
	}
	size, err := s.copy(f, content, room)
	if err == nil {
		err = notKept(os.Rename(path+partEnding, path))
	}
	if err != nil {
		f.Close()
		os.Remove(path + partEnding)
		return kept{}, err
	}
	return kept{picture{name: name, path: path, size: size, mod: at, spooled: true}, f}, nil
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
		return 0, errFull
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
