package session

import (
	"encoding/json"
	"io"
	"path/filepath"
	"slices"
	"sync"
	"time"

	"trueturn/align/answer"
	"trueturn/cmd/session/store"
	"trueturn/ephem/amiss"
)

// trialsFile says what is being decoded, and what was when the program died. A picture may take more memory than the
// machine has, whatever its limits, and then every start would end like the last one.
//
// What is begun is written down before, and taken back after. If it stands there at the next start the program died
// over it. Of several at once none can be blamed: each is then decoded alone. One that was alone is blamed; the first
// time it may have been the power, or a hand, and it is tried again, alone. After the second it is set aside until
// somebody wants it tried.
const trialsFile = "trials.json"

// deathsMost is how many deaths over a picture alone set it aside.
const deathsMost = 2

// HandedOn is the name of what the next session in the same place is to be begun with.
const HandedOn = trialsFile

const trialsKind, trialsVersion = "trueturn trials", 1

type trialsJSON struct {
	Kind     string  `json:"kind"`
	Version  int     `json:"version"`
	Decoding []trial `json:"decoding"`
	Doubted  []trial `json:"doubted"`
}

// trial is a picture and how often the program died over it alone.
type trial struct {
	File    string    `json:"file"` // as shown
	Base    string    `json:"base"` // the file's name in the watched folder, or in the inbox
	Spooled bool      `json:"sent"` // by a browser
	Size    int64     `json:"size"`
	Mod     time.Time `json:"mod_utc"` // of a file in the watched folder
	Deaths  int       `json:"deaths"`

	offered bool // since the start, and kept back
}

func trialOf(p store.Picture) trial {
	t := trial{File: p.Name, Base: filepath.Base(p.At), Spooled: p.Sent, Size: p.Size}
	if !p.Sent {
		t.Mod = p.Mod.UTC()
	}
	return t
}

// is tells the very file; another by the same name is tried anew.
func (t trial) is(p store.Picture) bool {
	o := trialOf(p)
	return t.Base == o.Base && t.Spooled == o.Spooled && t.Size == o.Size && t.Mod.Equal(o.Mod)
}

func (t trial) aside() bool { return t.Deaths >= deathsMost }

// trials is the file, and the store it and the pictures lie in. It may be asked by several goroutines.
type trials struct {
	store store.Store

	mu       sync.Mutex
	decoding []trial
	doubted  []trial
	written  bool   // the file is as the values are
	serial   uint64 // counts changes of what is set aside
}

// openTrials reads the file and counts the death it may tell of. One that cannot be read tells nothing.
func openTrials(s store.Store) *trials {
	t := &trials{store: s, written: true}
	text, err := get(s, trialsFile)
	var f trialsJSON
	if err != nil || json.Unmarshal(text, &f) != nil || f.Kind != trialsKind || f.Version != trialsVersion {
		return t
	}
	t.doubted = f.Doubted
	for _, d := range f.Decoding {
		at := slices.IndexFunc(t.doubted, func(o trial) bool { return o.is(t.picture(d)) })
		if at < 0 {
			at, t.doubted = len(t.doubted), append(t.doubted, d)
		}
		if len(f.Decoding) == 1 {
			t.doubted[at].Deaths++
		}
	}
	t.doubted = slices.DeleteFunc(t.doubted, func(d trial) bool { return !t.there(d) })
	t.written = len(f.Decoding) == 0
	return t
}

func (t *trials) picture(d trial) store.Picture {
	return store.Picture{Name: d.File, At: t.store.At(d.Base, d.Spooled), Size: d.Size, Mod: d.Mod, Sent: d.Spooled}
}

// there is whether the very file still is.
func (t *trials) there(d trial) bool {
	p := t.picture(d)
	return p.At != "" && t.store.Holds(p)
}

// mark writes down what is decoded from now on; without pictures, that nothing is. Once it returns that outlives the
// machine.
func (t *trials) mark(ps []store.Picture) error {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.written && len(ps) == 0 && len(t.decoding) == 0 {
		return nil
	}
	t.decoding = make([]trial, len(ps))
	for i, p := range ps {
		t.decoding[i] = trialOf(p)
	}
	f := trialsJSON{trialsKind, trialsVersion, t.decoding, append([]trial{}, t.doubted...)}
	err := t.store.Put(trialsFile, func(w io.Writer) error { return json.NewEncoder(w).Encode(f) })
	t.written = err == nil
	return err
}

// passed: the picture was decoded, or is no picture.
func (t *trials) passed(p store.Picture) {
	t.mu.Lock()
	defer t.mu.Unlock()
	before := len(t.doubted)
	t.doubted = slices.DeleteFunc(t.doubted, func(d trial) bool { return d.is(p) })
	t.written = t.written && len(t.doubted) == before
}

// doubts is whether a picture is to be decoded alone.
func (t *trials) doubts(p store.Picture) bool {
	t.mu.Lock()
	defer t.mu.Unlock()
	return slices.ContainsFunc(t.doubted, func(d trial) bool { return d.is(p) })
}

// keepBack is whether a picture that is offered is set aside.
func (t *trials) keepBack(p store.Picture) bool {
	t.mu.Lock()
	defer t.mu.Unlock()
	i := slices.IndexFunc(t.doubted, func(d trial) bool { return d.is(p) && d.aside() })
	if i >= 0 {
		t.doubted[i].offered = true
	}
	return i >= 0
}

// setAside lists what is set aside, and counts its changes.
func (t *trials) setAside() (list []string, serial uint64) {
	t.mu.Lock()
	defer t.mu.Unlock()
	list = []string{}
	for _, d := range t.doubted {
		if d.aside() {
			list = append(list, d.File)
		}
	}
	return list, t.serial
}

// change sets how many deaths a picture has to answer for, if it is set aside or not as said.
func (t *trials) change(file string, aside bool, deaths int) (trial, bool) {
	t.mu.Lock()
	defer t.mu.Unlock()
	i := slices.IndexFunc(t.doubted, func(d trial) bool { return d.File == file && d.aside() == aside })
	if i < 0 {
		return trial{}, false
	}
	t.doubted[i].Deaths = deaths
	t.written = false
	t.serial++
	return t.doubted[i], true
}

// ErrNotAside: another device was quicker, or the name is wrong.
var ErrNotAside error = amiss.New(nil, "no picture of this name is set aside", "load the page again")

// TryAgain has a picture that was set aside decoded once more; one more death sets it aside again.
func (n *Session) TryAgain(file string) error {
	d, ok := n.trials.change(file, true, deathsMost-1)
	if !ok {
		return ErrNotAside
	}
	defer n.tellNews()
	if !d.offered { // it will be, and twice were once too often
		return nil
	}
	err := n.Offer(n.trials.picture(d))
	if err != nil {
		n.trials.change(file, false, deathsMost)
	}
	return err
}

// asideWhy is what the page says of a picture set aside.
const asideWhy = "the program died twice while reading it, perhaps for want of memory, so it was set aside; try it again, or save it smaller"

func asideFrames(files []string) []answer.FrameJSON {
	list := make([]answer.FrameJSON, len(files))
	for i, file := range files {
		list[i] = answer.FrameJSON{File: file, WhyNot: asideWhy}
	}
	return list
}

// begun writes down what is begun. Where the disk does not take it the evening goes on without.
func (n *Session) begun(ps []store.Picture) {
	err := n.trials.mark(ps)
	if err != nil && !n.unmarked {
		n.note("what is being read cannot be written down (%v): if a picture ends the program, the next start will not know which", amiss.Plain(err))
	}
	n.unmarked = err != nil
}
