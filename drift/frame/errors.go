package frame

import (
	"errors"
	"io"
)

// The kinds of failure, for errors.Is. The errors returned carry more: their
// text names the cause, and Hint (see [Error]) the way out.
var (
	ErrNotPicture  = errors.New("not a picture")
	ErrUnsupported = errors.New("a kind of picture that is not supported")
	ErrBroken      = errors.New("the picture is damaged")
	ErrTooLarge    = errors.New("the picture is too large")
	ErrNoClock     = errors.New("no usable clock")
	ErrTimes       = errors.New("the table of times is faulty")
)

// Error is what this package returns: a kind, the cause in words and the way
// out.
type Error struct {
	Kind  error  // one of the Err… values
	Cause string // lower case, complete in itself
	hint  string
	err   error // what a library said, may be nil
}

func (e *Error) Error() string { return e.Cause }

// Hint says what the user can do about it.
func (e *Error) Hint() string { return e.hint }

// Unwrap yields the kind and the underlying error for errors.Is and errors.As.
func (e *Error) Unwrap() []error {
	if e.err == nil {
		return []error{e.Kind}
	}
	return []error{e.Kind, e.err}
}

const (
	hintCopy   = "copy the file again from the camera; if it stays the same, leave this picture out"
	hintLarge  = "pictures up to 200 megapixels are read, of some kinds fewer: save it smaller; if the camera has fewer, the file is damaged"
	hintExport = "export it as JPEG, 16-bit TIFF or FITS and use that file"
)

// broken makes an error of kind ErrBroken from what a reader said.
func broken(err error, cause string) error {
	var own *Error
	if errors.As(err, &own) {
		return err
	}
	if errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, io.EOF) {
		cause = "the file ends too early: " + cause
	}
	return &Error{Kind: ErrBroken, Cause: cause, hint: hintCopy, err: err}
}

func unsupported(cause, hint string) error {
	return &Error{Kind: ErrUnsupported, Cause: cause, hint: hint}
}

func noClock(cause, hint string) error {
	return &Error{Kind: ErrNoClock, Cause: cause, hint: hint}
}
