package session

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"trueturn/align/guide"
	"trueturn/cmd/session/store"
	"trueturn/drift"
	"trueturn/ephem/amiss"
)

// A session keeps in its store
//
//	the journal     a line for every picture measured and every question answered, kept before it is used
//	session.json    what the guide made of them, replaced as a whole now and then
//	mount.json      the mount as measured, for expose --session
//	report.html     everything with drawings
//	trials.json     what is being decoded, and what the program died over
//
// Of these the journal alone must survive: the rest is made from it. It begins with a line that says what it is; a line
// that was cut off by a crash is dropped.

// journalHead is the journal's first line. Version counts the form of the lines.
type journalHead struct {
	Kind    string `json:"kind"`
	Version int    `json:"version"`
}

var head = journalHead{"trueturn journal", 1}

// record is a line of the journal: a picture and what was measured.
type record = recordOf[drift.Shot]

// glance is a record whose shot is looked at no closer than the tables need.
type glance = recordOf[struct {
	Clock    *passedOver `json:"clock"`
	Solution *passedOver `json:"solution"`
}]

// passedOver is a value that matters only by being there.
type passedOver struct{}

func (*passedOver) UnmarshalJSON([]byte) error { return nil }

type recordOf[S any] struct {
	File     string    `json:"file"` // what the picture goes by; no two go by the same
	Sum      string    `json:"sha256,omitempty"`
	Base     string    `json:"base,omitempty"` // the file's name in the watched folder; empty: sent by a browser
	Size     int64     `json:"size"`
	Mod      time.Time `json:"mod_utc"`
	Measured time.Time `json:"measured_utc"`
	Asked    string    `json:"asked"` // what was said of lens and clock, see asked
	Shot     S         `json:"shot"`

	// Lines of their own, of no picture.
	Answered *guide.Asked `json:"answered,omitempty"`
	Thrown   string       `json:"thrown,omitempty"`
	Back     bool         `json:"back,omitempty"`
	Afresh   bool         `json:"afresh,omitempty"`
}

// thrown is a line that says a picture was thrown out, or taken back.
type thrown struct {
	Thrown string `json:"thrown"`
	Back   bool   `json:"back"`
}

// afresh is a line before which pictures count no more.
type afresh struct {
	Afresh bool `json:"afresh"`
}

// answered is such a line.
type answered struct {
	Asked    string       `json:"asked"`
	Answered *guide.Asked `json:"answered"`
}

// entry is a line and what the tables know of it.
type entry struct {
	filed
	text []byte // with its end
}

// entryOf is the record on paper. What cannot be written, a clock beyond the year 9999 say, makes the picture one
// that cannot be used.
func entryOf(r *record) entry {
	text, err := json.Marshal(r)
	if err != nil {
		r.Shot = drift.Shot{File: r.File, Err: &amiss.Error{Text: "its measurement cannot be written down: " + amiss.Plain(err).Error(), Ways: amiss.Do("leave this picture out"), From: err}}
		text, _ = json.Marshal(r) // words and plain numbers only
	}
	return entry{filedAs(*r, r.Shot.Solution != nil && r.Shot.Clock != nil), append(text, '\n')}
}

func filedAs[S any](r recordOf[S], usable bool) filed {
	f := filed{file: r.File, sum: r.Sum, asked: r.Asked, usable: usable, measured: r.Measured}
	if r.Base != "" {
		f.stamp = stampOf(r.Base, r.Size, r.Mod)
	}
	return f
}

// stamp tells an unchanged file of the watched folder without reading it.
type stamp struct {
	base string
	size int64
	mod  int64 // Unix nanoseconds
}

func stampOf(base string, size int64, mod time.Time) stamp {
	return stamp{base, size, mod.UnixNano()}
}

// filed is a record without its shot, and where to find that.
type filed struct {
	file, sum, asked string

	stamp    stamp
	measured time.Time // by this machine's clock
	usable   bool      // it was recognised and has a clock
	at       int64
	length   int
}

// journal is the file and what is in it. What it says of pictures may be asked by several goroutines;
// writing is for one.
type journal struct {
	f    store.Lines
	size int64 // of what is whole

	answers []answered      // as they stand in the file; of the one who writes
	thrown  map[string]bool // pictures thrown out; of the one who writes

	mu     sync.Mutex
	order  []filed
	byFile map[string]int // index into order, −1 for a name given to a picture that is being measured
	sums   map[string]string
	stamps map[stamp]bool
}

// readJournal reads or begins a journal on its disk.
func readJournal(f store.Lines) (*journal, []string, error) {
	j := &journal{f: f, thrown: map[string]bool{}}
	j.forget()
	notes, err := j.read()
	return j, notes, err
}

func (j *journal) forget() {
	j.order, j.byFile, j.sums, j.stamps = nil, map[string]int{}, map[string]string{}, map[stamp]bool{}
}

// read goes through the lines once, and cuts off what follows the last whole one.
func (j *journal) read() (notes []string, err error) {
	lines := store.NewLineReader(io.NewSectionReader(j.f, 0, math.MaxInt64))
	first, err := lines.Next()
	if err == io.EOF { // new, or cut off within its very first line
		return nil, j.begin()
	}
	if err != nil {
		return nil, err
	}
	if err := checkHead(first); err != nil {
		return nil, err
	}
	damaged := 0
	for {
		at := lines.At
		line, err := lines.Next()
		if err != nil && err != io.EOF {
			return nil, err
		}
		if err == io.EOF {
			break
		}
		if !j.takeLine(line, at) {
			damaged++
		}
	}
	j.size = lines.At
	if damaged > 0 {
		notes = append(notes, fmt.Sprintf("%d damaged lines of the session's journal are passed over; pictures still in the folder are measured again", damaged))
	}
	if lines.Torn > 0 {
		notes = append(notes, "the session's last line was cut off and is dropped; its picture is measured again if it is still there")
		if err := j.f.Truncate(j.size); err != nil {
			return nil, err
		}
	}
	return notes, nil
}

// takeLine files one line; false if it cannot be used.
func (j *journal) takeLine(line []byte, at int64) bool {
	var r glance
	switch {
	case json.Unmarshal(line, &r) != nil:
		return false
	case r.Answered != nil:
		j.answers = append(j.answers, answered{r.Asked, r.Answered})
		return true
	case r.Thrown != "":
		j.thrown[r.Thrown] = !r.Back
		return true
	case r.Afresh:
		j.setAside()
		return true
	case r.File == "":
		return false
	}
	f := filedAs(r, r.Shot.Solution != nil && r.Shot.Clock != nil)
	f.at, f.length = at, len(line)
	j.mu.Lock()
	defer j.mu.Unlock()
	j.file(f)
	return true
}

// begin writes the first line into an empty file.
func (j *journal) begin() error {
	text, err := json.Marshal(head)
	if err != nil {
		return err
	}
	if err := j.f.Truncate(0); err != nil {
		return err
	}
	if err := j.write(append(text, '\n')); err != nil {
		return err
	}
	return nil
}

func checkHead(line []byte) error {
	var h journalHead
	text := ""
	switch {
	case json.Unmarshal(line, &h) != nil || h.Kind != head.Kind:
		text = "the journal of the session is not one of this program"
	case h.Version != head.Version:
		text = fmt.Sprintf("the session is of version %d; this program reads version %d", h.Version, head.Version)
	default:
		return nil
	}
	return &amiss.Error{Text: text, Ways: []amiss.Way{{Thing: amiss.SessionPlace}}}
}

// append writes lines and returns once they are on the disk. After an error nothing of them is left.
func (j *journal) append(lines []entry) error {
	var text []byte
	for i := range lines {
		lines[i].at, lines[i].length = j.size+int64(len(text)), len(lines[i].text)-1
		text = append(text, lines[i].text...)
	}
	if err := j.write(text); err != nil {
		return err
	}
	j.mu.Lock()
	defer j.mu.Unlock()
	for _, l := range lines {
		j.file(l.filed)
	}
	return nil
}

// answer writes down that a question was answered.
func (j *journal) answer(a answered) error {
	j.answers = append(j.answers, a)
	return j.put(a)
}

// put writes a line of no picture.
func (j *journal) put(line any) error {
	text, err := json.Marshal(line)
	if err != nil {
		return err
	}
	return j.write(append(text, '\n'))
}

// note writes down what a hand did, and knows it from then on.
func (j *journal) note(line any) error {
	if err := j.put(line); err != nil {
		return err
	}
	switch l := line.(type) {
	case thrown:
		j.thrown[l.Thrown] = !l.Back
	case afresh:
		j.setAside()
	}
	return nil
}

// setAside has the pictures so far count no more. Files of the watched folder stay known; what a browser sends once more
// is meant to count.
func (j *journal) setAside() {
	j.mu.Lock()
	defer j.mu.Unlock()
	stamps := j.stamps
	j.forget()
	j.stamps, j.answers = stamps, nil
	clear(j.thrown)
}

// thrownOut are the pictures thrown out, by name.
func (j *journal) thrownOut() []string {
	list := []string{}
	for file, out := range j.thrown {
		if out {
			list = append(list, file)
		}
	}
	slices.Sort(list)
	return list
}

// holds is whether there is such a picture.
func (j *journal) holds(file string) bool {
	j.mu.Lock()
	defer j.mu.Unlock()
	i, ok := j.byFile[file]
	return ok && i >= 0
}

// answeredUnder are the questions answered while lens and clock were told as they are now.
func (j *journal) answeredUnder(asked string) (list []guide.Asked) {
	for _, a := range j.answers {
		if a.Asked == asked {
			list = append(list, *a.Answered)
		}
	}
	return list
}

// write adds whole lines at the end of what is whole.
func (j *journal) write(text []byte) error {
	_, err := j.f.WriteAt(text, j.size)
	if err == nil {
		err = j.f.Sync()
	}
	if err != nil {
		j.f.Truncate(j.size) // if that fails too, the next line is written over the torn one
		return err
	}
	j.size += int64(len(text))
	return nil
}

// file takes a line into the tables. A later one for the same picture stands for the earlier. j.mu is held.
func (j *journal) file(f filed) {
	if f.stamp.base != "" {
		j.stamps[f.stamp] = true
	}
	if f.sum != "" {
		j.sums[f.sum] = f.file
	}
	if i, again := j.byFile[f.file]; again && i >= 0 {
		j.order[i] = f
		return
	}
	j.byFile[f.file] = len(j.order)
	j.order = append(j.order, f)
}

// shot reads a shot back.
func (j *journal) shot(file string) (drift.Shot, bool) {
	j.mu.Lock()
	i, ok := j.byFile[file]
	if !ok || i < 0 {
		j.mu.Unlock()
		return drift.Shot{}, false
	}
	f := j.order[i]
	j.mu.Unlock()
	line := make([]byte, f.length)
	if _, err := j.f.ReadAt(line, f.at); err != nil {
		return drift.Shot{}, false
	}
	var r record
	if json.Unmarshal(line, &r) != nil {
		return drift.Shot{}, false
	}
	r.Shot.File = f.file
	return r.Shot, true
}

// arrived is when a picture came in; false where the journal does not hold it.
func (j *journal) arrived(file string) (time.Time, bool) {
	j.mu.Lock()
	defer j.mu.Unlock()
	i, ok := j.byFile[file]
	if !ok || i < 0 {
		return time.Time{}, false
	}
	return j.order[i].measured, true
}

// claim reserves a picture by its content and gives it a name no other goes by. Where there is one
// with the same content, other is its name.
func (j *journal) claim(sum, name string) (file, other string) {
	j.mu.Lock()
	defer j.mu.Unlock()
	if other, taken := j.sums[sum]; taken {
		return "", other
	}
	file = j.freeName(name)
	if sum != "" {
		j.sums[sum] = file
	}
	j.byFile[file] = -1
	return file, ""
}

// release gives a claim up.
func (j *journal) release(sum, file string) {
	j.mu.Lock()
	defer j.mu.Unlock()
	if i, claimed := j.byFile[file]; claimed && i < 0 {
		delete(j.byFile, file)
		delete(j.sums, sum)
	}
}

// knows is whether an unchanged file of the watched folder was measured.
func (j *journal) knows(s stamp) bool {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.stamps[s]
}

// freeName is the name itself, or one with a number that no picture goes by. j.mu is held.
func (j *journal) freeName(name string) string {
	ending := filepath.Ext(name)
	base := strings.TrimSuffix(name, ending)
	free := name
	for i := 2; ; i++ {
		if _, taken := j.byFile[free]; !taken {
			return free
		}
		free = fmt.Sprintf("%s (%d)%s", base, i, ending)
	}
}

// files are the names of all pictures, in the order they were measured.
func (j *journal) files() []string {
	j.mu.Lock()
	defer j.mu.Unlock()
	names := make([]string, len(j.order))
	for i, f := range j.order {
		names[i] = f.file
	}
	return names
}

// drop forgets records, not their lines, and tells which files of the watched folder they were of.
func (j *journal) drop(unwanted func(filed) bool) (dropped []store.Picture) {
	j.mu.Lock()
	defer j.mu.Unlock()
	all, stamps := j.order, j.stamps
	j.forget()
	for _, f := range all {
		if unwanted(f) {
			dropped = append(dropped, store.Picture{Name: f.stamp.base, Size: f.stamp.size})
			delete(stamps, f.stamp)
			continue
		}
		j.file(f)
	}
	j.stamps = stamps // of sessions begun afresh since as well
	return dropped
}

func (j *journal) close() error { return j.f.Close() }
