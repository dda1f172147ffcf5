package frame

import (
	"errors"
	"io"

	"trueturn/ephem/amiss"
)

// The kinds of failure, for errors.Is. Every error returned is an
// [amiss.Error] of one of them.
var (
	ErrNotPicture  = errors.New("not a picture")
	ErrUnsupported = errors.New("a kind of picture that is not supported")
	ErrBroken      = errors.New("the picture is damaged")
	ErrTooLarge    = errors.New("the picture is too large")
	ErrNoClock     = errors.New("no usable clock")
	ErrTimes       = errors.New("the table of times is faulty")
)

// Own is whether an error is of one of these kinds: what is amiss is in the file.
func Own(err error) bool {
	for _, kind := range []error{ErrNotPicture, ErrUnsupported, ErrBroken, ErrTooLarge, ErrNoClock, ErrTimes} {
		if errors.Is(err, kind) {
			return true
		}
	}
	return false
}

const (
	hintCopy   = "copy the file again from the camera; if it stays the same, leave this picture out"
	hintLarge  = "pictures up to 200 megapixels are read, of some kinds fewer: save it smaller; if the camera has fewer, the file is damaged"
	hintExport = "export it as JPEG, 16-bit TIFF or FITS and use that file"
)

// broken makes an error of kind ErrBroken from what a reader said.
func broken(err error, cause string) error {
	if Own(err) {
		return err
	}
	if errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, io.EOF) {
		cause = "the file ends too early: " + cause
	}
	return &amiss.Error{Kind: ErrBroken, Text: cause, Ways: amiss.Do(hintCopy), From: err}
}

func unsupported(cause, act string) error { return amiss.New(ErrUnsupported, cause, act) }

func noClock(cause string, way amiss.Thing) error {
	return &amiss.Error{Kind: ErrNoClock, Text: cause, Ways: []amiss.Way{{Thing: way}}}
}
