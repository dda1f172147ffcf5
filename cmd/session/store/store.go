// Package store is what a session asks of the place it is kept in: a folder on a computer, a browser's own database on a
// phone, or memory where nothing can be kept. A session knows no other way to a file.
package store

import (
	"errors"
	"io"
	"time"

	"trueturn/ephem/amiss"
)

// Picture is one that waits to be measured.
type Picture struct {
	Name  string    // to show; not a path
	At    string    // where it lies, as its store understands that
	Size  int64     // bytes
	Mod   time.Time // when it was last changed, or came in
	Sent  bool      // lies in the inbox, and is dropped once its result is kept
	Tries int       // reads of it that failed
	Old   bool      // of another evening, by its file: it may wait until nothing else does
}

// Store keeps a session. All its methods may be called from several goroutines; what fails is said in plain words, a
// place with no room left with its way out (package amiss).
type Store interface {
	// Journal is the session's lines. It is asked for once.
	Journal() (Lines, error)
	// Get reads what Put kept under a name; [io/fs.ErrNotExist] where there is none.
	Get(name string) (io.ReadCloser, error)
	// Put keeps what is written as a whole, or leaves what was there.
	Put(name string, write func(io.Writer) error) error

	// Waiting lists the inbox as it was found, in the order the pictures came.
	Waiting() []Picture
	// Open opens a picture; [io/fs.ErrNotExist] where it is gone.
	Open(Picture) (io.ReadSeekCloser, error)
	// Holds is whether a picture still lies where it did, unchanged.
	Holds(Picture) bool
	// Drop removes a picture from the inbox. Where that fails it is offered again at the next start, and found to be known.
	Drop(Picture)
	// At is where a picture of that base name lies, in the inbox or else among those watched.
	At(base string, sent bool) string

	// Close lets go of it.
	Close() error
}

// Lines are bytes that only ever grow at the end, or are cut there.
type Lines interface {
	io.ReaderAt
	io.WriterAt
	Truncate(size int64) error
	Sync() error // returns once what was written outlives the machine
	Close() error
}

// ErrFull: too many pictures wait.
var ErrFull error = amiss.New(nil, "too many pictures are waiting to be measured", "wait until some are done, and send the others again")

// ErrClosed: the session takes nothing any more.
var ErrClosed = errors.New("the session is being closed")
