//go:build js && wasm

package main

import (
	"bytes"
	"errors"
	"io"
	"io/fs"
	"path"
	"slices"
	"syscall/js"
	"time"

	"trueturn/cmd/session/store"
)

// kept is the browser's store, by the promises of web/store.js.
type kept struct {
	host    js.Value
	waiting []store.Picture
}

// await waits for a promise, and lets the browser work meanwhile. Nothing may wait so within a call from the browser.
func await(promise js.Value) (js.Value, error) {
	type outcome struct {
		value js.Value
		err   error
	}
	done := make(chan outcome, 1)
	kept := js.FuncOf(func(_ js.Value, args []js.Value) any { done <- outcome{value: args[0]}; return nil })
	broken := js.FuncOf(func(_ js.Value, args []js.Value) any {
		done <- outcome{err: errors.New(args[0].Call("toString").String())}
		return nil
	})
	defer kept.Release()
	defer broken.Release()
	promise.Call("then", kept, broken)
	o := <-done
	return o.value, o.err
}

// toBytes copies what JavaScript holds.
func toBytes(v js.Value) []byte {
	b := make([]byte, v.Get("length").Int())
	js.CopyBytesToGo(b, v)
	return b
}

func fromBytes(b []byte) js.Value {
	v := js.Global().Get("Uint8Array").New(len(b))
	js.CopyBytesToJS(v, b)
	return v
}

// openKept lists what waits.
func openKept(host js.Value) (*kept, error) {
	k := &kept{host: host}
	all, err := await(host.Call("list"))
	if err != nil {
		return nil, err
	}
	for i := range all.Length() {
		k.waiting = append(k.waiting, pictureOf(all.Index(i)))
	}
	return k, nil
}

func pictureOf(v js.Value) store.Picture {
	return store.Picture{Name: v.Get("name").String(), At: v.Get("key").String(), Size: int64(v.Get("size").Float()),
		Mod: time.UnixMilli(int64(v.Get("mod").Float())), Sent: true}
}

func (k *kept) Journal() (store.Lines, error) { return lines{k.host}, nil }

func (k *kept) Get(name string) (io.ReadCloser, error) {
	v, err := await(k.host.Call("get", name))
	if err != nil {
		return nil, err
	}
	if v.IsUndefined() {
		return nil, fs.ErrNotExist
	}
	return io.NopCloser(bytes.NewReader(toBytes(v))), nil
}

func (k *kept) Put(name string, write func(io.Writer) error) error {
	var b bytes.Buffer
	if err := write(&b); err != nil {
		return err
	}
	_, err := await(k.host.Call("put", name, fromBytes(b.Bytes())))
	return err
}

func (k *kept) Waiting() []store.Picture { return k.waiting }

// lists is whether a picture waited when the store was opened.
func (k *kept) lists(key string) bool {
	return slices.ContainsFunc(k.waiting, func(p store.Picture) bool { return p.At == key })
}

func (k *kept) Open(p store.Picture) (io.ReadSeekCloser, error) {
	v, err := await(k.host.Call("open", p.At))
	if err != nil {
		return nil, err
	}
	if v.IsUndefined() {
		return nil, fs.ErrNotExist
	}
	return opened{bytes.NewReader(toBytes(v))}, nil
}

type opened struct{ *bytes.Reader }

func (opened) Close() error { return nil }

func (k *kept) Holds(p store.Picture) bool {
	v, err := await(k.host.Call("open", p.At))
	return err == nil && !v.IsUndefined() && int64(v.Get("length").Int()) == p.Size
}

func (k *kept) Drop(p store.Picture) { await(k.host.Call("drop", p.At)) }

func (k *kept) At(base string, _ bool) string { return path.Base(base) }
func (k *kept) Close() error                  { return nil }

// lines are the journal's.
type lines struct{ host js.Value }

func (l lines) ReadAt(p []byte, at int64) (int, error) {
	v, err := await(l.host.Call("read", at, len(p)))
	if err != nil {
		return 0, err
	}
	n := js.CopyBytesToGo(p, v)
	if n < len(p) {
		return n, io.EOF
	}
	return n, nil
}

func (l lines) WriteAt(p []byte, at int64) (int, error) {
	if _, err := await(l.host.Call("write", at, fromBytes(p))); err != nil {
		return 0, err
	}
	return len(p), nil
}

func (l lines) Truncate(size int64) error {
	_, err := await(l.host.Call("cut", size))
	return err
}

func (l lines) Sync() error  { return nil } // a write is on the disk when its promise is kept
func (l lines) Close() error { return nil }
