package page

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"trueturn/align/guide"
	"trueturn/cmd/trueturn/files"
	"trueturn/drift"
	"trueturn/ephem/amiss"
)

// The session folder holds
//
//	journal.jsonl   a line for every picture measured and every question answered, on the disk before it is used
//	session.json    what the guide made of them, replaced as a whole now and then
//	mount.json      the mount as measured, for expose --session
//	report.html     everything with drawings
//	trials.json     what is being decoded, and what the program died over
//	lock            held by the one program that may write here
//
// and what other files of this package say. Of these the journal alone must survive: the rest is made
// from it. It begins with a line that says what it is; a line that was cut off by a crash is dropped.

const (
	journalFile = "journal.jsonl"
	lineMost    = 32 << 20 // bytes; a picture of six hundred stars takes 130 kB
)

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

	Answered *guide.Asked `json:"answered,omitempty"` // a line of its own, of no picture
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
		r.Shot = drift.Shot{File: r.File, Err: &amiss.Error{Text: "its measurement cannot be written down: " + plain(err).Error(), Ways: amiss.Do("leave this picture out"), From: err}}
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

// disk is what a journal asks of its file.
type disk interface {
	io.ReaderAt
	io.WriterAt
	Truncate(size int64) error
	Sync() error
	Close() error
}

// journal is the file and what is in it. What it says of pictures may be asked by several goroutines;
// writing is for one.
type journal struct {
	f    disk
	size int64 // of what is whole

	answers []answered // as they stand in the file; of the one who writes

	mu     sync.Mutex
	order  []filed
	byFile map[string]int // index into order, −1 for a name given to a picture that is being measured
	sums   map[string]string
	stamps map[stamp]bool
	past   map[stamp]bool // of sessions set aside; never written to
}

// openJournal opens or begins a journal; notes are what its reader should know. The error says the way out.
func openJournal(dir string) (j *journal, notes []string, err error) {
	f, err := os.OpenFile(filepath.Join(dir, journalFile), os.O_RDWR|os.O_CREATE, 0o644)
	if err != nil {
		return nil, nil, cannotKeep(err)
	}
	if j, notes, err = readJournal(f); err == nil {
		err = nameForGood(dir)
	}
	if err != nil {
		f.Close()
		return nil, nil, err
	}
	for _, p := range readPast(dir) {
		j.past[stampOf(p.Base, p.Size, p.Mod)] = true
	}
	return j, notes, nil
}

// nameForGood puts the journal's name and its folder's, which may be new, on the disk: synced lines are lost with them.
func nameForGood(dir string) error {
	for _, d := range []string{dir, filepath.Dir(filepath.Clean(dir))} {
		if err := files.SyncFolder(d); err != nil {
			return cannotKeep(err)
		}
	}
	return nil
}

// readJournal reads or begins a journal on its disk.
func readJournal(f disk) (*journal, []string, error) {
	j := &journal{f: f, past: map[stamp]bool{}}
	j.forget()
	notes, err := j.read()
	return j, notes, err
}

func (j *journal) forget() {
	j.order, j.byFile, j.sums, j.stamps = nil, map[string]int{}, map[string]string{}, map[stamp]bool{}
}

// read goes through the lines once, and cuts off what follows the last whole one.
func (j *journal) read() (notes []string, err error) {
	lines := &lineReader{r: bufio.NewReaderSize(io.NewSectionReader(j.f, 0, math.MaxInt64), 1<<20)}
	first, err := lines.next()
	if err == io.EOF { // new, or cut off within its very first line
		return nil, j.begin()
	}
	if err != nil {
		return nil, cannotKeep(err)
	}
	if err := checkHead(first); err != nil {
		return nil, err
	}
	damaged := 0
	for {
		at := lines.at
		line, err := lines.next()
		if err != nil && err != io.EOF {
			return nil, cannotKeep(err)
		}
		if err == io.EOF {
			break
		}
		if !j.takeLine(line, at) {
			damaged++
		}
	}
	j.size = lines.at
	if damaged > 0 {
		notes = append(notes, fmt.Sprintf("%d damaged lines of the session's journal are passed over; pictures still in the folder are measured again", damaged))
	}
	if lines.torn > 0 {
		notes = append(notes, "the session's last line was cut off and is dropped; its picture is measured again if it is still there")
		if err := j.f.Truncate(j.size); err != nil {
			return nil, cannotKeep(err)
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
		return cannotKeep(err)
	}
	if err := j.write(append(text, '\n')); err != nil {
		return cannotKeep(err)
	}
	return nil
}

func checkHead(line []byte) error {
	var h journalHead
	const hint = "name another folder with --session-dir, or move this one away"
	switch {
	case json.Unmarshal(line, &h) != nil || h.Kind != head.Kind:
		return amiss.New(nil, journalFile+" in the session folder is not a journal of this program", hint)
	case h.Version != head.Version:
		return amiss.New(nil, fmt.Sprintf("the session folder is of version %d; this program reads version %d", h.Version, head.Version), hint)
	}
	return nil
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
	text, err := json.Marshal(a)
	if err != nil {
		return err
	}
	return j.write(append(text, '\n'))
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

// knows is whether an unchanged file of the watched folder was measured, in this session or in one set aside.
func (j *journal) knows(s stamp) bool {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.stamps[s] || j.past[s]
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

// drop forgets records, not their lines.
func (j *journal) drop(unwanted func(filed) bool) (dropped int) {
	j.mu.Lock()
	defer j.mu.Unlock()
	all := j.order
	j.forget()
	for _, f := range all {
		if unwanted(f) {
			dropped++
			continue
		}
		j.file(f)
	}
	return dropped
}

func (j *journal) close() error { return j.f.Close() }

// lineReader reads lines and keeps count of the bytes. A last line without an end is torn.
type lineReader struct {
	r    *bufio.Reader
	at   int64 // of the next line
	torn int
}

// next is the next whole line without its end; io.EOF after the last. A line beyond all measure is
// passed over as an empty one.
func (l *lineReader) next() ([]byte, error) {
	var line []byte
	var length int64
	for {
		part, err := l.r.ReadSlice('\n')
		length += int64(len(part))
		if length <= lineMost {
			line = append(line, part...)
		}
		switch {
		case err == bufio.ErrBufferFull:
			continue
		case err == io.EOF:
			l.torn = int(length)
			return nil, io.EOF
		case err != nil:
			return nil, err
		}
		l.at += length
		if length > lineMost {
			return nil, nil
		}
		return line[:len(line)-1], nil
	}
}

// cannotKeep is why a session cannot be kept.
func cannotKeep(err error) error {
	if amiss.Ways(err) != nil && !errors.Is(err, files.ErrDisk) {
		return err
	}
	return &amiss.Error{Text: "the session folder cannot be written to: " + plain(err).Error(), Ways: elsewhere(err), From: err}
}

// elsewhere is the way out when the session folder takes nothing.
func elsewhere(err error) []amiss.Way {
	if files.Full(err) {
		return []amiss.Way{{Act: "make room on that disk"}, {Thing: amiss.SessionDisk}}
	}
	return []amiss.Way{{Act: "check your rights there and the space left"}, {Thing: amiss.SessionPlace}}
}

func plain(err error) error { return files.Plain(err) }

// restAfter: a session nobody added to for so long is another evening's.
const restAfter = 12 * time.Hour

// setAside gives the session in dir, if its last picture was measured more than restAfter before now, the name of
// that day, so that a new one begins. The answer is the new name, empty where nothing was done.
func setAside(dir string, now time.Time) (string, error) {
	last, err := lastMeasured(dir)
	if err != nil || last.IsZero() || now.Sub(last) <= restAfter {
		return "", err
	}
	release, err := lock(dir) // it may be another's, still at work
	if err != nil {
		return "", err
	}
	release()
	to := dir + last.Local().Format("-2006-01-02")
	for i := 2; ; i++ {
		if _, err := os.Lstat(to); errors.Is(err, os.ErrNotExist) {
			break
		}
		to = fmt.Sprintf("%s%s-%d", dir, last.Local().Format("-2006-01-02"), i)
	}
	if err := os.Rename(dir, to); err != nil {
		return "", cannotKeep(err)
	}
	return to, leaveBehind(to, dir)
}

// pastFile lists files of the watched folder that sessions set aside had measured, so that the new one leaves them alone.
const pastFile = "past.json"

// pastMost bounds it: some dozens of long evenings.
const pastMost = 50000

// pastJSON is such a file, by its stamp.
type pastJSON struct {
	Base string    `json:"base"`
	Size int64     `json:"size"`
	Mod  time.Time `json:"mod_utc"`
}

// leaveBehind begins a session in dir with what the one now in from need not hand on.
func leaveBehind(from, dir string) error {
	past := readPast(from)
	f, err := os.Open(filepath.Join(from, journalFile))
	if err != nil {
		return cannotKeep(err)
	}
	defer f.Close()
	lines := &lineReader{r: bufio.NewReaderSize(f, 1<<20)}
	for line, err := lines.next(); err == nil; line, err = lines.next() {
		var p pastJSON
		if json.Unmarshal(line, &p) == nil && p.Base != "" {
			past = append(past, p)
		}
	}
	past = past[max(0, len(past)-pastMost):]
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return cannotKeep(err)
	}
	if err := files.Write(filepath.Join(dir, pastFile), 0o644, func(w io.Writer) error { return json.NewEncoder(w).Encode(past) }); err != nil {
		return cannotKeep(err)
	}
	return handOn(from, dir)
}

// handOn: what ended the program in that session would end it in this one, as long as it lies in the folder watched.
func handOn(from, dir string) error {
	text, err := os.ReadFile(filepath.Join(from, trialsFile))
	if err != nil {
		return nil // there is none
	}
	err = files.Write(filepath.Join(dir, trialsFile), 0o644, func(w io.Writer) error { _, err := w.Write(text); return err })
	if err != nil {
		return cannotKeep(err)
	}
	return nil
}

// readPast is what leaveBehind wrote; nothing where there is none.
func readPast(dir string) (past []pastJSON) {
	text, err := os.ReadFile(filepath.Join(dir, pastFile))
	if err == nil {
		json.Unmarshal(text, &past) // what cannot be read is measured again
	}
	return past
}

// lastMeasured is when the last picture of a session was measured; zero where there is none.
func lastMeasured(dir string) (time.Time, error) {
	f, err := os.Open(filepath.Join(dir, journalFile))
	if errors.Is(err, os.ErrNotExist) {
		return time.Time{}, nil
	}
	if err != nil {
		return time.Time{}, cannotKeep(err)
	}
	defer f.Close()
	var last time.Time
	lines := &lineReader{r: bufio.NewReaderSize(f, 1<<20)}
	for {
		line, err := lines.next()
		if err == io.EOF {
			return last, nil
		}
		if err != nil {
			return time.Time{}, cannotKeep(err)
		}
		var r struct {
			Measured time.Time `json:"measured_utc"`
		}
		if json.Unmarshal(line, &r) == nil && r.Measured.After(last) {
			last = r.Measured
		}
	}
}

const lockFile = "lock"

// errInUse: two programs would mix up their lines.
var errInUse error = amiss.New(nil, "the session folder is in use by another trueturn", "end that one first, or name another folder with --session-dir")
