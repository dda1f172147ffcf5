package face

import (
	"bytes"
	"io"
	"os"

	"trueturn/drift"
)

// openFile is what is asked of a file on the disk.
type openFile interface {
	io.ReadSeekCloser
	Stat() (os.FileInfo, error)
}

// wholeMost is the size in bytes up to which a file is read at once, so that its header and its pixels are of one moment: photographs
// and most raw files. Larger ones are read as they are decoded.
const wholeMost = 32 << 20

// steadyFile is a picture that tells, when closed, whether it was written to since it was opened. A file put in its place
// under the same name is another file, and no matter.
type steadyFile struct {
	io.ReadSeeker
	file openFile
	was  os.FileInfo
}

// steady begins to read a file; what is no larger than whole at once.
func steady(f openFile, whole int64) (*steadyFile, error) {
	was, err := f.Stat()
	if err != nil {
		return nil, err
	}
	if was.Size() > whole {
		return &steadyFile{f, f, was}, nil
	}
	text := make([]byte, was.Size())
	n, err := io.ReadFull(f, text)
	if err != nil && err != io.EOF && err != io.ErrUnexpectedEOF { // shorter now: Close will tell
		return nil, err
	}
	return &steadyFile{bytes.NewReader(text[:n]), f, was}, nil
}

// Close returns an error that is drift.ErrChanged where what was read may be of two pictures.
func (s *steadyFile) Close() error {
	now, err := s.file.Stat()
	if bad := s.file.Close(); err == nil {
		err = bad
	}
	if err == nil && (now.Size() != s.was.Size() || !now.ModTime().Equal(s.was.ModTime())) {
		err = failed("the file changed while it was read", "let the copying end, then run this again", drift.ErrChanged)
	}
	return err
}
