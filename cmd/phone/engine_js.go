//go:build js && wasm

package main

import (
	"context"
	"encoding/json"
	"errors"
	"io"
	"math"
	"runtime/debug"
	"strings"
	"sync"
	"syscall/js"
	"time"

	"trueturn/cmd/face"
	"trueturn/cmd/session"
	"trueturn/cmd/session/store"
	"trueturn/cmd/words"
	"trueturn/drift/frame"
	"trueturn/ephem/amiss"
)

// The worker's memory never shrinks: what is thrown away is collected early.
const (
	gcPercent   = 30
	memoryBytes = 200 << 20
)

func main() {
	debug.SetGCPercent(gcPercent)
	debug.SetMemoryLimit(memoryBytes)
	e := &engine{host: js.Global().Get("trueturnHost")}
	e.host.Call("ready", js.FuncOf(func(_ js.Value, args []js.Value) any {
		id, name, text := args[0].Int(), args[1].String(), args[2].String()
		go e.answer(id, name, text)
		return nil
	}))
	select {}
}

// engine is a session in a worker.
type engine struct {
	host    js.Value
	mu      sync.Mutex // of starting and ending
	store   *kept
	session *session.Session
	gallery session.Gallery
	end     context.CancelFunc
	ended   chan error
}

// asked is what the page asks with: each name takes what it needs.
type asked struct {
	Key, Name, File, Back, Text string
	Size                        int64
	Mod                         float64
	Question                    json.Number
	Zone, Site, Lens            string
	Args                        []string
	Pole                        string // the JSON of pole
	Tilt                        float64
	Bearing, Turned             *float64
}

// said is what the page is answered.
type said struct {
	OK      bool    `json:"ok"`
	Taken   bool    `json:"taken"`
	Gone    bool    `json:"gone,omitempty"`
	LaterMS float64 `json:"laterMS,omitempty"`
	Why     string  `json:"why,omitempty"`
	Hint    string  `json:"hint,omitempty"`
	HTML    *string `json:"html,omitempty"`
	Name    string  `json:"name,omitempty"`
	Text    string  `json:"text,omitempty"`
	Beside  string  `json:"beside,omitempty"` // what a command says on the other stream
	Code    int     `json:"code"`
}

func (e *engine) answer(id int, name, text string) {
	var a asked
	s := said{Why: "a fault of the page"}
	if err := json.Unmarshal([]byte(text), &a); err == nil {
		s = e.do(name, a)
	}
	out, err := json.Marshal(s)
	if err != nil {
		out = []byte(`{}`)
	}
	e.host.Call("answer", id, string(out))
}

func (e *engine) do(name string, a asked) said {
	ctx := context.Background()
	switch name {
	case "start":
		return told(e.start())
	case "end":
		return told(e.stop())
	case "offer":
		if e.store.lists(a.Key) { // it was found waiting when the engine began
			return offered(nil)
		}
		return offered(e.session.Offer(store.Picture{Name: a.Name, At: a.Key, Size: a.Size, Mod: time.UnixMilli(int64(a.Mod)), Sent: true}))
	case "again":
		return told(e.session.TryAgain(a.File))
	case "throw":
		return told(e.session.ThrowOut(ctx, a.File, a.Back != ""))
	case "afresh":
		return told(e.session.Afresh(ctx))
	case "describe":
		return told(e.session.Describe(ctx, session.Told{Zone: a.Zone, Site: a.Site, Equivalent: a.Lens}))
	case "settle":
		return e.settle(ctx, a)
	}
	return e.show(name, a)
}

// show yields what is to be looked at or saved.
func (e *engine) show(name string, a asked) said {
	switch name {
	case "drawings":
		word, _ := e.session.Board().Look()
		html := string(e.gallery.Drawings(word))
		return said{OK: true, HTML: &html}
	case "report":
		text, err := e.session.Report()
		html := string(text)
		s := told(err)
		s.HTML = &html
		return s
	case "export":
		text, err := io.ReadAll(io.NewSectionReader(lines{e.store.host}, 0, math.MaxInt64))
		s := told(err)
		s.Name, s.Text = "journal.jsonl", string(text)
		return s
	case "run":
		s := said{OK: true}
		s.Text, s.Beside, s.Code = face.Answer(context.Background(), a.Args, e.files())
		return s
	case "judge":
		return e.judge()
	case "rough":
		return rough(a)
	case "import":
		return told(e.replace(a.Text))
	}
	return said{Why: "a fault of the page: it asked for " + name}
}

// usualTolerance is the elongation a round star stays below, where nobody says otherwise.
const usualTolerance = 1.25

// judge says which pictures were round, as subs does, and its JSON.
func (e *engine) judge() said {
	word, _ := e.session.Board().Look()
	v := e.session.Judge(word)
	if v == nil || v.Of == 0 {
		return said{Why: "nothing can be said of the exposures yet", Hint: "send pictures first"}
	}
	text, err := json.Marshal(v.JSON(words.ForPage))
	s := told(err)
	s.Text, s.Beside = face.Judged(*v, usualTolerance), string(text)
	return s
}

// files are those a command may open: the mount as the session measured it.
func (e *engine) files() map[string]string {
	f, err := e.store.Get(session.MountFile)
	if err != nil {
		return nil
	}
	text, err := io.ReadAll(f)
	if err != nil {
		return nil
	}
	return map[string]string{session.MountFile: string(text)}
}

func (e *engine) settle(ctx context.Context, a asked) said {
	number, err := a.Question.Int64()
	if err != nil {
		return told(err)
	}
	stood, err := e.session.Settle(ctx, int(number))
	s := told(err)
	s.Gone = !stood
	return s
}

// told is what became of something asked.
func told(err error) said {
	if err == nil {
		return said{OK: true}
	}
	return said{Gone: errors.Is(err, session.ErrNotAside) || errors.Is(err, session.ErrNoPicture), Why: err.Error(), Hint: words.PageHint(err)}
}

// offered is what became of a picture: where too many wait it comes again.
func offered(err error) said {
	s := told(err)
	s.Taken = err == nil
	if errors.Is(err, store.ErrFull) {
		s.LaterMS, s.Why = 3000, "there is enough to measure for now: taken up by itself"
	}
	return s
}

// start opens the session in the store, and tells each word.
func (e *engine) start() error {
	e.mu.Lock()
	defer e.mu.Unlock()
	if e.session != nil {
		return nil
	}
	k, err := openKept(e.host.Get("store"))
	if err != nil {
		return err
	}
	o := session.Options{Store: k, Version: version()}
	o.Measure.Frame.Show = e.decode
	s, err := session.New(o)
	if err != nil {
		return err
	}
	ctx, end := context.WithCancel(context.Background())
	e.store, e.session, e.end, e.ended = k, s, end, make(chan error, 1)
	go func() { e.ended <- s.Run(ctx) }()
	go e.follow(ctx, s.Board())
	return nil
}

// decode lends the browser's own decoder, for HEIC where it has one.
func (e *engine) decode(file io.Reader, _, _ int) (frame.Shown, error) {
	content, err := io.ReadAll(io.LimitReader(file, heicMost))
	if err != nil {
		return frame.Shown{}, err
	}
	v, err := await(e.host.Call("show", fromBytes(content)))
	if err != nil {
		return frame.Shown{}, &amiss.Error{Kind: frame.ErrUnsupported, Text: "the file is a HEIC picture, which this browser cannot decode", Ways: amiss.Do("set the camera to JPEG"), From: err}
	}
	return frame.Shown{Width: v.Get("width").Int(), Height: v.Get("height").Int(), Luma: toBytes(v.Get("luma")), By: "this browser"}, nil
}

const heicMost = 64 << 20 // bytes of such a file

// follow tells the page each word there is time for.
func (e *engine) follow(ctx context.Context, b *session.Board) {
	for {
		word, changed := b.Look()
		e.host.Call("word", string(word.JSON))
		select {
		case <-changed:
		case <-ctx.Done():
			return
		}
	}
}

// stop ends the session whole: after it the store is all there is.
func (e *engine) stop() error {
	e.mu.Lock()
	defer e.mu.Unlock()
	if e.session == nil {
		return nil
	}
	e.end()
	err := <-e.ended
	e.session = nil
	return err
}

// errNotSession: what was chosen to be opened.
var errNotSession error = amiss.New(nil, "that is no session of this program", "choose a journal.jsonl saved here or kept by trueturn live")

// replace puts a session saved elsewhere in the place of this one.
func (e *engine) replace(text string) error {
	if !strings.HasPrefix(text, `{"kind":"trueturn journal"`) {
		return errNotSession
	}
	if err := e.stop(); err != nil {
		return err
	}
	l := lines{e.store.host}
	if err := l.Truncate(0); err != nil {
		return err
	}
	if _, err := l.WriteAt([]byte(text), 0); err != nil {
		return err
	}
	return e.start()
}

func version() string {
	if info, ok := debug.ReadBuildInfo(); ok && info.Main.Version != "" {
		return info.Main.Version
	}
	return "(devel)"
}

// rough is the aim by the phone's own sensors, against the pole as the command says it is.
func rough(a asked) said {
	var pole struct {
		Wedge struct {
			AltitudeDeg float64 `json:"altitude_deg"`
		} `json:"wedge"`
		Compass struct {
			PolewardDeg *float64 `json:"pole_bearing_deg"`
		} `json:"compass"`
	}
	if err := json.Unmarshal([]byte(a.Pole), &pole); err != nil {
		return told(err)
	}
	l := laid{tiltDeg: a.Tilt, turnedDeg: a.Turned, bearing: a.Bearing, poleDeg: pole.Wedge.AltitudeDeg, poleBearing: pole.Compass.PolewardDeg}
	s := said{OK: true}
	var html string
	s.Text, html = l.says()
	s.HTML = &html
	return s
}
