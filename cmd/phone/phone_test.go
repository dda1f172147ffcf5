//go:build !js

package main

import (
	"bytes"
	"context"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"image/color"
	"image/jpeg"
	"maps"
	"math"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/andybalholm/brotli"

	"github.com/chromedp/chromedp"
	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"trueturn/align/simulate"
	"trueturn/cmd/session"
	"trueturn/cmd/session/evening"
	"trueturn/cmd/session/store"
	"trueturn/cmd/trueturn/browsertest"
	"trueturn/drift/frame"
)

// state is what the page tells, as far as it is compared.
type state map[string]any

// sameness: two builds of one program reckon sines of their own, and round differently on different processors. Angles may
// differ by so many degrees, other numbers by so large a part.
const (
	sameDeg  = 6e-7 // 10⁻⁸ rad
	samePart = 1e-6
	// A star at the very limit of detection may fall on either side of it.
	sameStars = 1
)

// compared is a state without what counts words: how many are told depends on how fast they come.
func compared(s state) state {
	live := map[string]any{}
	for k, v := range s["live"].(map[string]any) {
		if k != "serial" && k != "drawings" {
			live[k] = v
		}
	}
	out := state{}
	for k, v := range s {
		out[k] = v
	}
	out["live"] = live
	return out
}

// starsAlike compares the counts of stars.
var starsAlike = cmp.FilterPath(func(p cmp.Path) bool {
	at, ok := p.Last().(cmp.MapIndex)
	return ok && at.Key().String() == "stars"
}, cmp.Comparer(func(a, b any) bool {
	x, isX := a.(float64)
	y, isY := b.(float64)
	return isX && isY && math.Abs(x-y) <= sameStars
}))

func same(t *testing.T, what string, got, want state) {
	t.Helper()
	if d := cmp.Diff(compared(want), compared(got), cmpopts.EquateApprox(samePart, sameDeg), starsAlike); d != "" {
		t.Errorf("%s: − as on the computer, + in the browser\n%s", what, d)
	}
}

// native is what the same session says on this computer after each picture.
func native(t *testing.T, pictures [][]byte) (states []state) {
	t.Helper()
	m := &store.Memory{}
	n, err := session.New(session.Options{Store: m})
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- n.Run(ctx) }()
	defer func() { stop(); <-ended }()
	for i, content := range pictures {
		if err := n.Offer(m.Send(store.Picture{Name: name(i), At: name(i)}, content)); err != nil {
			t.Fatal(err)
		}
		for {
			w, changed := n.Board().Look()
			if len(w.View.Frames) == i+1 && w.Waiting == 0 && w.Working == "" {
				var s state
				if err := json.Unmarshal(w.JSON, &s); err != nil {
					t.Fatal(err)
				}
				states = append(states, s)
				break
			}
			<-changed
		}
	}
	return states
}

func name(i int) string { return fmt.Sprintf("sky-%d.jpg", i) }

// written are the evening's pictures as files.
func written(t *testing.T) (paths []string, e *evening.Pictures) {
	t.Helper()
	e = evening.Eight(t)
	dir := t.TempDir()
	for i := range e.JPEG {
		paths = append(paths, e.Write(t, i, dir, name(i)).At)
	}
	return paths, e
}

// TestPhoneInChromium: on the folder's page, offline from its second sight on, a session says after each picture what it says on a
// computer.
func TestPhoneInChromium(t *testing.T) {
	t.Parallel()
	files := page(t)
	paths, e := written(t)
	want := native(t, e.JPEG)
	h := newHost(t, files)
	b := start(t, t.TempDir())
	p := b.tab(390, 664)
	p.open(h.url())
	p.Until("the page is kept for offline", `navigator.serviceWorker.ready.then(() => true)`)
	h.close() // nobody answers any more
	p.Forget()
	p.shoot("phone-empty")
	for i, path := range paths {
		p.send(path)
		same(t, fmt.Sprintf("after picture %d", i+1), p.measured(i+1), want[i])
	}
	p.shoot("phone-turning")
	p.quiet()
	if asked := p.Asked(); len(asked) > 0 {
		t.Errorf("asked for while offline: %q", asked)
	}
	p.open(h.url()) // and loaded anew without a network
	same(t, "loaded again", p.measured(8), want[7])
	if text := browsertest.Eval[string](p, `document.querySelector('#link').textContent`); text != "on this phone alone" {
		t.Errorf("the line says %q", text)
	}
	browsertest.Eval[any](p, `document.querySelector('#pictures button').click()`)
	p.Until("one is thrown out", `window.trueturn.state().live.thrown.length === 1`)

	other := b.tab(390, 664)
	other.Do(chromedp.Navigate(h.url()))
	other.Until("the second tab refuses", `document.querySelector('#link').textContent.startsWith('Another tab')`)
}

// TestPhoneKilledInChromium: killed with pictures waiting, the browser has lost none of them, nor a word.
func TestPhoneKilledInChromium(t *testing.T) {
	t.Parallel()
	files := page(t)
	paths, e := written(t)
	want := native(t, e.JPEG)
	h := newHost(t, files)
	profile := t.TempDir()
	b := start(t, profile)
	p := b.tab(390, 844)
	p.open(h.url())
	p.Until("the page is kept for offline", `navigator.serviceWorker.ready.then(() => true)`)
	p.send(paths[:3]...)
	p.measured(3)
	// The engine has other things to do for a while, so that pictures wait.
	browsertest.Eval[any](p, `(() => { for (let i = 0; i < 60; i++) window.trueturnLine.run(['tonight', '--site=46.02,7.75', '--target=M42']); })()`)
	p.send(paths[3:]...)
	p.Until("all are kept, and wait", `openTrueturnStore().then(s => s.list()).then(l => l.length === 5)`)
	if n := browsertest.Eval[int](p, `window.trueturn.state().frames.length`); n != 3 {
		t.Errorf("%d are measured: none was to be waiting", n)
	}
	b.kill()
	h.close()

	b = start(t, profile)
	p = b.tab(390, 844)
	p.open(h.url())
	got := p.measured(8)
	same(t, "after the kill", got, want[7])
}

// TestPhoneFileInChromium: the one file works from a disk, and in a frame that may keep nothing.
func TestPhoneFileInChromium(t *testing.T) {
	t.Parallel()
	files := page(t)
	paths, e := written(t)
	want := native(t, e.JPEG[:3])
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, onePage), files[onePage], 0o644); err != nil {
		t.Fatal(err)
	}
	b := start(t, t.TempDir())
	p := b.tab(390, 844)
	p.open("file://" + filepath.Join(dir, onePage))
	for i, path := range paths[:3] {
		p.send(path)
		same(t, fmt.Sprintf("from a file, after picture %d", i+1), p.measured(i+1), want[i])
	}
	p.open("file://" + filepath.Join(dir, onePage))
	same(t, "from a file, loaded again", p.measured(3), want[2])
	p.quiet("file://")

	// An opaque origin, as in a sandboxed frame or a mail program's preview (HTML Living Standard, 7.1.1).
	h := &http.Server{ReadHeaderTimeout: time.Minute, Handler: http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		w.Header().Set("Content-Security-Policy", "sandbox allow-scripts")
		w.Write(files[onePage])
	})}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	go h.Serve(l)
	defer h.Close()
	p = b.tab(390, 844)
	p.open("http://" + l.Addr().String() + "/")
	p.Until("it says that nothing is kept", `document.querySelector('#link').textContent.includes('keeps nothing')`)
	p.send(paths[:3]...)
	p.measured(3)
	if got := browsertest.Eval[int](p, `window.trueturn.state().frames.filter(f => f.used).length`); got != 3 {
		t.Errorf("%d pictures used", got)
	}
}

// TestPhoneFilesInChromium: a session goes from a computer to the phone and back as its journal; what is no session is refused.
func TestPhoneFilesInChromium(t *testing.T) {
	t.Parallel()
	paths, e := written(t)
	want := native(t, e.JPEG[:4])
	m := &store.Memory{} // a computer's session of three
	n, err := session.New(session.Options{Store: m})
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- n.Run(ctx) }()
	for i := range 3 {
		n.Offer(m.Send(store.Picture{Name: name(i), At: name(i)}, e.JPEG[i]))
		for w, changed := n.Board().Look(); len(w.View.Frames) <= i || w.Working != ""; w, changed = n.Board().Look() {
			<-changed
		}
	}
	stop()
	<-ended
	dir := t.TempDir()
	kept, _ := m.Journal()
	journal := kept.(*store.MemoryLines).Bytes()
	for name, text := range map[string][]byte{"journal.jsonl": journal, "letter.jsonl": []byte("Dear Sir or Madam")} {
		if err := os.WriteFile(filepath.Join(dir, name), text, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	h := newHost(t, page(t))
	p := start(t, t.TempDir()).tab(390, 844)
	p.open(h.url())
	open := func(name, says string) {
		t.Helper()
		p.Do(chromedp.SetUploadFiles(chromedp.CSS("#open"), []string{filepath.Join(dir, name)}))
		p.Until("it says "+says, `document.querySelector('#saved').textContent.includes('`+says+`')`)
	}
	open("letter.jsonl", "no session of this program")
	open("journal.jsonl", "Opened")
	same(t, "opened", p.measured(3), want[2])
	p.send(paths[3])
	same(t, "and gone on with", p.measured(4), want[3])
	back := browsertest.Eval[string](p, `window.trueturnLine.export().then(f => fetch(f.address)).then(r => r.text())`)
	if !strings.HasPrefix(back, string(journal)) {
		t.Error("what is saved does not begin with what was opened")
	}
	home := &store.Memory{}
	l, _ := home.Journal()
	l.WriteAt([]byte(back), 0) // into memory
	n, err = session.New(session.Options{Store: home})
	if err != nil {
		t.Fatal(err)
	}
	w, _ := n.Board().Look()
	var got state
	if err := json.Unmarshal(w.JSON, &got); err != nil {
		t.Fatal(err)
	}
	same(t, "back on the computer", got, want[3])
	p.quiet(h.url())
}

// TestPhoneRestsInChromium: a worker that has nothing to do ends, for its memory never shrinks, and begins again when it is
// wanted; one that the browser ends begins again by itself. Nothing is lost by either.
func TestPhoneRestsInChromium(t *testing.T) {
	t.Parallel()
	files := maps.Clone(page(t))
	const rest = "const idleMS = 120000"
	if !strings.Contains(string(files["line.js"]), rest) {
		t.Fatal("the page's patience stands elsewhere")
	}
	files["line.js"] = []byte(strings.Replace(string(files["line.js"]), rest, "const idleMS = 1500", 1))
	paths, e := written(t)
	want := native(t, e.JPEG[:4])
	h := newHost(t, files)
	p := start(t, t.TempDir()).tab(390, 844)
	p.Do(chromedp.Navigate(h.url()))
	browsertest.Eval[any](p, `(() => { const Real = Worker; window.workers = []; window.Worker = function (...a) { const w = new Real(...a), end = w.terminate.bind(w); w.terminate = () => { w.ended = true; end(); }; workers.push(w); return w; }; })()`)
	p.Until("the engine speaks", `window.trueturn && window.trueturn.state()`)
	for i := range 2 {
		p.send(paths[i])
		p.measured(i + 1)
	}
	p.Until("it rests", `workers.length === 0 || workers.at(-1).ended`)
	p.send(paths[2])
	same(t, "after its rest", p.measured(3), want[2])
	p.Until("another has begun", `workers.length >= 1`)
	browsertest.Eval[any](p, `workers.at(-1).onerror({message: 'out of memory'})`)
	p.send(paths[3])
	same(t, "after its end", p.measured(4), want[3])
}

// TestPhoneUpdateInChromium: a new version of the page takes the old one's place, and the session goes on.
func TestPhoneUpdateInChromium(t *testing.T) {
	t.Parallel()
	files := page(t)
	paths, e := written(t)
	want := native(t, e.JPEG[:3])
	h := newHost(t, files)
	b := start(t, t.TempDir())
	p := b.tab(390, 844)
	p.open(h.url())
	p.Until("the page is kept for offline", `navigator.serviceWorker.ready.then(() => true)`)
	for i, path := range paths[:3] {
		p.send(path)
		p.measured(i + 1)
	}
	next := maps.Clone(files)
	delete(next, "sw.js")
	delete(next, onePage)
	next["page.css"] = append(slices.Clone(files["page.css"]), "\nhtml { --newer: 1; }\n"...)
	next["sw.js"] = service(next)
	h.close()
	h.open(next)
	p.open(h.url())
	p.Until("the new version has been fetched", `navigator.serviceWorker.getRegistration().then(r => r.update()).then(r => Boolean(r.waiting || r.active && r.active !== navigator.serviceWorker.controller))`)
	p.Do(chromedp.Navigate("about:blank")) // no tab shows the old one any more
	p.Until("it is in its place", `true`)
	for range 20 {
		p.open(h.url())
		if browsertest.Eval[string](p, `getComputedStyle(document.documentElement).getPropertyValue('--newer')`) != "" {
			break
		}
		p.Do(chromedp.Navigate("about:blank"))
		time.Sleep(200 * time.Millisecond)
	}
	if browsertest.Eval[string](p, `getComputedStyle(document.documentElement).getPropertyValue('--newer')`) == "" {
		t.Error("the old version is still shown")
	}
	same(t, "after the update", p.measured(3), want[2])
}

// TestPhoneMemory: twenty pictures of 12 megapixels, one after the other, in one worker. With TRUETURN_MEMORY=1: it takes minutes.
func TestPhoneMemory(t *testing.T) {
	if os.Getenv("TRUETURN_MEMORY") == "" {
		t.Skip("takes minutes: set TRUETURN_MEMORY=1")
	}
	const mostBytes, count = 250e6, 20
	site, err := evening.Site()
	if err != nil {
		t.Fatal(err)
	}
	e, err := simulate.Practice(site, time.Date(2026, 11, 25, 21, 29, 0, 0, time.UTC))
	if err != nil {
		t.Fatal(err)
	}
	e = e.Realistic()
	e.Camera = simulate.Phone(26, 12)
	e.Count, e.Geotag = count, true
	run, err := e.Begin()
	if err != nil {
		t.Fatal(err)
	}
	p := start(t, t.TempDir()).tab(390, 844)
	p.open(newHost(t, page(t)).url())
	began := time.Now()
	for i := range count {
		plane, meta, err := run.Frame(t.Context(), i)
		if err != nil {
			t.Fatal(err)
		}
		var buf bytes.Buffer
		if err := frame.Encode(&buf, plane, meta, frame.JPEG); err != nil {
			t.Fatal(err)
		}
		path := evening.File(t, filepath.Join(t.TempDir(), name(i)), buf.Bytes()).At
		sent := time.Now()
		p.send(path)
		p.measured(i + 1)
		bytes := browsertest.Eval[float64](p, `window.trueturnLine.act('memory', {}).then(m => m.bytes)`)
		t.Logf("picture %d of %d×%d: %.1f s, %.0f MB", i+1, plane.Width, plane.Height, time.Since(sent).Seconds(), bytes/1e6)
		if bytes > mostBytes {
			t.Errorf("the worker has %.0f MB after %d pictures", bytes/1e6, i+1)
		}
	}
	t.Logf("%v", time.Since(began))
}

// Budgets, bytes: of what is fetched, packed by brotli as hosts do, and of the one file.
const (
	transferMost = 3_500_000
	oneFileMost  = 6_500_000
)

// TestPhoneBudgets: how much a phone must fetch.
func TestPhoneBudgets(t *testing.T) {
	files := page(t)
	if n := len(files[onePage]); n > oneFileMost {
		t.Errorf("the one file has %d bytes", n)
	}
	transfer := 0
	for name, content := range files {
		if name == onePage || strings.HasPrefix(name, "licences") {
			continue
		}
		var packed bytes.Buffer
		w := brotli.NewWriterLevel(&packed, brotli.BestCompression)
		w.Write(content) // into memory
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
		transfer += packed.Len()
	}
	if transfer > transferMost {
		t.Errorf("%d bytes are fetched", transfer)
	}
	t.Logf("%d bytes fetched, %d of the one file", transfer, len(files[onePage]))
	again, err := build(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for name, content := range files {
		if string(again[name]) != string(content) {
			t.Errorf("%s is another when built again", name)
		}
	}
}

// TestPhoneHEICInChromium: the browser decodes what Go does not, where it can, into the light Go's own decoder sees; where it cannot,
// as Chromium with HEIC, the picture is listed with the way out.
func TestPhoneHEICInChromium(t *testing.T) {
	t.Parallel()
	e := evening.Eight(t)
	p := start(t, t.TempDir()).tab(390, 844)
	p.open(newHost(t, page(t)).url())
	heic, err := filepath.Abs("../../drift/frame/testdata/any_encoded.heic")
	if err != nil {
		t.Fatal(err)
	}
	p.send(heic)
	p.Until("it is refused with a way out", `(s => s && s.frames.length === 1 && !s.frames[0].used && /HEIC.*JPEG/.test(s.frames[0].why_not))(window.trueturn.state())`)

	// The same function on a JPEG, which both can decode: half a step of 255 is rounding; more where one clips what the other
	// does not (libraries.md: up to half a pixel's worth there).
	const clipped, rounding = 0.002, 1
	script := string(page(t)["worker.js"])
	show := script[strings.Index(script, "show: async bytes =>")+len("show: "):]
	show = show[:strings.Index(show, "\n  },")+len("\n  }")]
	got := browsertest.Eval[string](p, `(async () => { const show = `+show+`; const bytes = Uint8Array.from(atob('`+base64.StdEncoding.EncodeToString(e.JPEG[0])+`'), c => c.charCodeAt(0));
		const s = await show(bytes); let text = ''; for (const v of s.luma) text += String.fromCharCode(v); return s.width + ' ' + s.height + ' ' + btoa(text); })()`)
	var width, height int
	var coded string
	if _, err := fmt.Sscan(got, &width, &height, &coded); err != nil {
		t.Fatal(err)
	}
	luma, err := base64.StdEncoding.DecodeString(coded)
	if err != nil {
		t.Fatal(err)
	}
	m, err := jpeg.Decode(bytes.NewReader(e.JPEG[0]))
	if err != nil {
		t.Fatal(err)
	}
	if b := m.Bounds(); b.Dx() != width || b.Dy() != height || len(luma) != width*height {
		t.Fatalf("%d × %d and %d of luma, want %v", width, height, len(luma), b)
	}
	off := 0
	for y := range height {
		for x := range width {
			if want := color.GrayModel.Convert(m.At(x, y)).(color.Gray).Y; math.Abs(float64(want)-float64(luma[y*width+x])) > rounding {
				off++
			}
		}
	}
	if share := float64(off) / float64(len(luma)); share > clipped {
		t.Errorf("%.4f of the pixels differ by more than rounding", share)
	}
}
