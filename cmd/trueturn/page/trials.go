package page

import (
	"encoding/json"
	"io"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"time"

	"trueturn/align/answer"
	"trueturn/cmd/trueturn/files"
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

func trialOf(p picture) trial {
	t := trial{File: p.name, Base: filepath.Base(p.path), Spooled: p.spooled, Size: p.size}
	if !p.spooled {
		t.Mod = p.mod.UTC()
	}
	return t
}

// is tells the very file; another by the same name is tried anew.
func (t trial) is(p picture) bool {
	o := trialOf(p)
	return t.Base == o.Base && t.Spooled == o.Spooled && t.Size == o.Size && t.Mod.Equal(o.Mod)
}

func (t trial) aside() bool { return t.Deaths >= deathsMost }

// trials is the file, and where the pictures lie. It may be asked by several goroutines.
type trials struct {
	session, dir string

	mu       sync.Mutex
	decoding []trial
	doubted  []trial
	written  bool   // the file is as the values are
	serial   uint64 // counts changes of what is set aside
}

// openTrials reads the file and counts the death it may tell of. One that cannot be read tells nothing.
func openTrials(session, dir string) *trials {
	t := &trials{session: session, dir: dir, written: true}
	text, err := os.ReadFile(filepath.Join(session, trialsFile))
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

func (t *trials) picture(d trial) picture {
	p := picture{name: d.File, path: filepath.Join(t.dir, d.Base), size: d.Size, mod: d.Mod, spooled: d.Spooled}
	if d.Spooled {
		p.path = filepath.Join(t.session, spoolFolder, d.Base)
	}
	return p
}

// there is whether the very file still is.
func (t *trials) there(d trial) bool {
	if !d.Spooled && t.dir == "" || d.Base != filepath.Base(d.Base) {
		return false
	}
	p := t.picture(d)
	info, err := os.Stat(p.path)
	return err == nil && info.Size() == p.size && (p.spooled || info.ModTime().Equal(p.mod))
}

// mark writes down what is decoded from now on; without pictures, that nothing is. Once it returns that outlives the
// machine.
func (t *trials) mark(ps []picture) error {
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
	err := files.Write(filepath.Join(t.session, trialsFile), 0o644, func(w io.Writer) error { return json.NewEncoder(w).Encode(f) })
	t.written = err == nil
	return err
}

// passed: the picture was decoded, or is no picture.
func (t *trials) passed(p picture) {
	t.mu.Lock()
	defer t.mu.Unlock()
	before := len(t.doubted)
	t.doubted = slices.DeleteFunc(t.doubted, func(d trial) bool { return d.is(p) })
	t.written = t.written && len(t.doubted) == before
}

// doubts is whether a picture is to be decoded alone.
func (t *trials) doubts(p picture) bool {
	t.mu.Lock()
	defer t.mu.Unlock()
	return slices.ContainsFunc(t.doubted, func(d trial) bool { return d.is(p) })
}

// keepBack is whether a picture that is offered is set aside.
func (t *trials) keepBack(p picture) bool {
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

// errNotAside: another device was quicker, or the name is wrong.
var errNotAside error = amiss.New(nil, "no picture of this name is set aside", "load the page again")

// tryAgain has a picture that was set aside decoded once more; one more death sets it aside again.
func (n *bench) tryAgain(file string) error {
	d, ok := n.trials.change(file, true, deathsMost-1)
	if !ok {
		return errNotAside
	}
	defer n.tellNews()
	if !d.offered { // it will be, and twice were once too often
		return nil
	}
	err := n.offer(n.trials.picture(d))
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
func (n *bench) begun(ps []picture) {
	err := n.trials.mark(ps)
	if err != nil && !n.unmarked {
		n.note("what is being read cannot be written down (%v): if a picture ends the program, the next start will not know which", plain(err))
	}
	n.unmarked = err != nil
}
