package store

import (
	"bufio"
	"io"
)

// LineMost bounds a line in bytes; a picture of six hundred stars takes 130 kB.
const LineMost = 32 << 20

// LineReader reads lines and keeps count of the bytes. A last line without an end is torn.
type LineReader struct {
	r    *bufio.Reader
	At   int64 // of the next line
	Torn int   // bytes after the last whole line, once Next has said [io.EOF]
}

// NewLineReader reads lines from their beginning.
func NewLineReader(r io.Reader) *LineReader { return &LineReader{r: bufio.NewReaderSize(r, 1<<20)} }

// Next is the next whole line without its end; [io.EOF] after the last. A line beyond all measure is passed over as an
// empty one.
func (l *LineReader) Next() ([]byte, error) {
	var line []byte
	var length int64
	for {
		part, err := l.r.ReadSlice('\n')
		length += int64(len(part))
		if length <= LineMost {
			line = append(line, part...)
		}
		switch {
		case err == bufio.ErrBufferFull:
			continue
		case err == io.EOF:
			l.Torn = int(length)
			return nil, io.EOF
		case err != nil:
			return nil, err
		}
		l.At += length
		if length > LineMost {
			return nil, nil
		}
		return line[:len(line)-1], nil
	}
}
