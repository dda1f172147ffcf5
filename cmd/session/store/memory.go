package store

import (
	"bytes"
	"io"
	"io/fs"
	"path"
	"sync"
)

// Memory keeps a session as long as the program runs: where a browser lets nothing be kept. The zero value is an empty
// one.
type Memory struct {
	lines MemoryLines

	mu       sync.Mutex
	values   map[string][]byte
	pictures map[string][]byte // by where they lie
	order    []Picture
}

func (m *Memory) Journal() (Lines, error) { return &m.lines, nil }

func (m *Memory) Get(name string) (io.ReadCloser, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	value, ok := m.values[name]
	if !ok {
		return nil, fs.ErrNotExist
	}
	return io.NopCloser(bytes.NewReader(value)), nil
}

func (m *Memory) Put(name string, write func(io.Writer) error) error {
	var b bytes.Buffer
	if err := write(&b); err != nil {
		return err
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.values == nil {
		m.values = map[string][]byte{}
	}
	m.values[name] = b.Bytes()
	return nil
}

// Send puts a picture into the inbox.
func (m *Memory) Send(p Picture, content []byte) Picture {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.pictures == nil {
		m.pictures = map[string][]byte{}
	}
	p.Sent, p.Size = true, int64(len(content))
	m.pictures[p.At] = content
	m.order = append(m.order, p)
	return p
}

func (m *Memory) Waiting() (list []Picture) {
	m.mu.Lock()
	defer m.mu.Unlock()
	for _, p := range m.order {
		if _, there := m.pictures[p.At]; there {
			list = append(list, p)
		}
	}
	return list
}

func (m *Memory) Open(p Picture) (io.ReadSeekCloser, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	content, ok := m.pictures[p.At]
	if !ok {
		return nil, fs.ErrNotExist
	}
	return opened{bytes.NewReader(content)}, nil
}

// opened is a picture read from memory.
type opened struct{ *bytes.Reader }

func (opened) Close() error { return nil }

func (m *Memory) Holds(p Picture) bool {
	m.mu.Lock()
	defer m.mu.Unlock()
	content, ok := m.pictures[p.At]
	return ok && int64(len(content)) == p.Size
}

func (m *Memory) Drop(p Picture) {
	m.mu.Lock()
	defer m.mu.Unlock()
	delete(m.pictures, p.At)
}

func (m *Memory) At(base string, _ bool) string { return path.Base(base) }
func (m *Memory) Close() error                  { return nil }

// MemoryLines are lines in memory. The zero value is empty.
type MemoryLines struct {
	mu sync.Mutex
	b  []byte
}

// Bytes are all of them; nobody may change them.
func (m *MemoryLines) Bytes() []byte {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.b
}

func (m *MemoryLines) ReadAt(p []byte, at int64) (int, error) {
	return bytes.NewReader(m.Bytes()).ReadAt(p, at)
}

func (m *MemoryLines) WriteAt(p []byte, at int64) (int, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if end := int(at) + len(p); end > len(m.b) {
		m.b = append(m.b, make([]byte, end-len(m.b))...)
	}
	return copy(m.b[at:], p), nil
}

func (m *MemoryLines) Truncate(size int64) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.b = m.b[:min(size, int64(len(m.b)))]
	return nil
}

func (m *MemoryLines) Sync() error  { return nil }
func (m *MemoryLines) Close() error { return nil }
