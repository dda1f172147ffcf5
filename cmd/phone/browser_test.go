//go:build !js

package main

import (
	"context"
	"encoding/json"
	"fmt"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	cdppage "github.com/chromedp/cdproto/page"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"

	"trueturn/cmd/session/evening"
	"trueturn/cmd/trueturn/browsertest"
)

// built is the page, built once for all tests.
var built = sync.OnceValues(func() (map[string][]byte, error) { return build(context.Background()) })

func page(t *testing.T) map[string][]byte {
	t.Helper()
	files, err := built()
	if err != nil {
		t.Fatal(err)
	}
	return files
}

// host serves the page from an address that stays the same; it can be closed and opened again.
type host struct {
	t    *testing.T
	addr string
	s    *http.Server
}

func newHost(t *testing.T, files map[string][]byte) *host {
	t.Helper()
	h := &host{t: t, addr: "127.0.0.1:0"}
	h.open(files)
	t.Cleanup(h.close)
	return h
}

func (h *host) open(files map[string][]byte) {
	h.t.Helper()
	l, err := net.Listen("tcp", h.addr)
	if err != nil {
		h.t.Fatal(err)
	}
	h.addr = l.Addr().String()
	h.s = &http.Server{Handler: folder(files), ReadHeaderTimeout: time.Minute}
	go h.s.Serve(l)
}

func (h *host) close() { h.s.Close() }

func (h *host) url() string { return "http://" + h.addr + "/" }

// browser is Chromium with a profile that outlives it.
type browser struct {
	t       *testing.T
	profile string
	ctx     context.Context
	stop    func()
}

func start(t *testing.T, profile string) *browser {
	t.Helper()
	options := []chromedp.ExecAllocatorOption{chromedp.ExecPath(browsertest.Find(t)), chromedp.UserDataDir(profile), chromedp.Flag("disable-dev-shm-usage", true)}
	for _, f := range browsertest.Flags() {
		options = append(options, chromedp.Flag(f, true))
	}
	ctx, stop := chromedp.NewExecAllocator(context.Background(), options...)
	ctx, closeTab := chromedp.NewContext(ctx)
	if err := chromedp.Do(ctx); err != nil {
		t.Fatalf("Chromium does not start: %v", err)
	}
	b := &browser{t: t, profile: profile, ctx: ctx}
	b.stop = sync.OnceFunc(func() { closeTab(); stop() })
	t.Cleanup(b.stop)
	return b
}

// kill ends the browser as a system short of memory does.
func (b *browser) kill() {
	b.t.Helper()
	found := 0
	all, _ := filepath.Glob("/proc/[0-9]*/cmdline")
	for _, path := range all {
		line, err := os.ReadFile(path)
		if err != nil || !strings.Contains(string(line), "--user-data-dir="+b.profile) || strings.Contains(string(line), "--type=") {
			continue
		}
		var pid int
		if _, err := fmt.Sscanf(filepath.Base(filepath.Dir(path)), "%d", &pid); err == nil {
			if p, err := os.FindProcess(pid); err == nil && p.Kill() == nil {
				found++
			}
		}
	}
	if found == 0 {
		b.t.Fatal("no browser to kill")
	}
	b.stop()
	os.Remove(filepath.Join(b.profile, "SingletonLock"))
}

// tab is one window, and what was heard from it.
type tab struct {
	t   *testing.T
	ctx context.Context

	mu    sync.Mutex
	said  []string
	asked []string
}

func (b *browser) tab(width, height int64) *tab {
	b.t.Helper()
	p := &tab{t: b.t}
	ctx, stop := chromedp.NewContext(b.ctx, chromedp.WithListener(p.hear))
	b.t.Cleanup(stop)
	p.ctx = ctx
	p.do(func(ctx context.Context, t *chromedp.Target) (chromedp.Void, error) {
		if _, err := cdp.Call(ctx, t, network.Enable, network.EnableParams{}); err != nil {
			return chromedp.Void{}, err
		}
		if _, err := cdp.Call(ctx, t, log.Enable, cdp.Empty{}); err != nil {
			return chromedp.Void{}, err
		}
		const watchful = `addEventListener('securitypolicyviolation', e => console.error('policy: ' + e.violatedDirective + ' ' + e.blockedURI), true)`
		_, err := cdp.Call(ctx, t, cdppage.AddScriptToEvaluateOnNewDocument, cdppage.AddScriptToEvaluateOnNewDocumentParams{Source: watchful})
		return chromedp.Void{}, err
	}, chromedp.EmulateViewport(width, height, chromedp.EmulateMobile, chromedp.EmulateTouch, chromedp.EmulatePortrait))
	return p
}

func (p *tab) hear(ev any) {
	p.mu.Lock()
	defer p.mu.Unlock()
	switch ev := ev.(type) {
	case *network.EventRequestWillBeSent:
		p.asked = append(p.asked, ev.Request.URL)
	case *log.EventEntryAdded:
		p.said = append(p.said, fmt.Sprintf("%s: %s (%s)", ev.Entry.Level, ev.Entry.Text, ev.Entry.URL))
	case *runtime.EventConsoleAPICalled:
		for _, a := range ev.Args {
			p.said = append(p.said, fmt.Sprintf("console.%s: %s%s", ev.Type, a.Value, a.Description))
		}
	case *runtime.EventExceptionThrown:
		p.said = append(p.said, "exception: "+ev.ExceptionDetails.Text+" "+ev.ExceptionDetails.Exception.Description)
	}
}

func (p *tab) heard() string {
	p.mu.Lock()
	defer p.mu.Unlock()
	return strings.Join(p.said, "\n")
}

// quiet is whether nothing was complained of, and nothing asked of another host than those.
func (p *tab) quiet(allowed ...string) {
	p.t.Helper()
	if said := p.heard(); said != "" {
		p.t.Errorf("heard: %s", said)
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, url := range p.asked {
		if !slices.ContainsFunc(append(allowed, "data:", "blob:"), func(a string) bool { return strings.HasPrefix(url, a) }) {
			p.t.Errorf("asked for %s", url)
		}
	}
}

func (p *tab) do(steps ...chromedp.Action[chromedp.Void]) {
	p.t.Helper()
	if err := chromedp.Do(p.ctx); err != nil { // a tab is made without a deadline, which would be its own
		p.t.Fatal(err)
	}
	ctx, stop := context.WithTimeout(p.ctx, evening.Patience)
	defer stop()
	if err := chromedp.Do(ctx, steps...); err != nil {
		p.t.Fatalf("browser: %v\n%s", err, p.heard())
	}
}

func eval[T any](p *tab, expression string) T {
	p.t.Helper()
	ctx, stop := context.WithTimeout(p.ctx, evening.Patience)
	defer stop()
	v, err := chromedp.Run(ctx, chromedp.Evaluate[T](expression, chromedp.EvalAwaitPromise))
	if err != nil {
		p.t.Fatalf("%s: %v\n%s", expression, err, p.heard())
	}
	return v
}

func (p *tab) until(what, expression string) {
	p.t.Helper()
	for late := time.Now().Add(evening.Patience); ; time.Sleep(50 * time.Millisecond) {
		if eval[bool](p, `Promise.resolve(`+expression+`).then(Boolean)`) {
			return
		}
		if time.Now().After(late) {
			p.t.Fatalf("waited in vain: %s\nheard: %s\nthe page says: %s", what, p.heard(), eval[string](p, `document.body.innerText.slice(0, 2000)`))
		}
	}
}

// open goes to an address and waits for the engine's first word.
func (p *tab) open(url string) {
	p.t.Helper()
	p.do(chromedp.Navigate(url))
	p.until("the engine speaks", `window.trueturn && window.trueturn.state()`)
	p.choose("aim")
}

// choose takes one of the five questions, as a finger does.
func (p *tab) choose(job string) {
	p.t.Helper()
	eval[any](p, `(() => { if (!document.querySelector('#back').hidden) document.querySelector('#back').click(); document.querySelector('#jobs [data-job=`+job+`]').click(); })()`)
}

// send chooses files as a hand does.
func (p *tab) send(paths ...string) {
	p.t.Helper()
	p.do(chromedp.SetUploadFiles(chromedp.CSS("#pick"), paths))
}

// measured waits until so many pictures are listed and nothing waits, and is the state then.
func (p *tab) measured(count int) state {
	p.t.Helper()
	p.until(fmt.Sprintf("%d pictures are measured", count), fmt.Sprintf(`(s => s && s.frames.length >= %d && !s.live.working && !s.live.waiting)(window.trueturn.state())`, count))
	return p.state()
}

func (p *tab) state() state {
	p.t.Helper()
	var s state
	if err := json.Unmarshal([]byte(eval[string](p, `JSON.stringify(window.trueturn.state())`)), &s); err != nil {
		p.t.Fatal(err)
	}
	return s
}

func (p *tab) shoot(name string) {
	dir := os.Getenv("TRUETURN_SHOTS")
	if dir == "" {
		return
	}
	ctx, stop := context.WithTimeout(p.ctx, evening.Patience)
	defer stop()
	data, err := chromedp.Run(ctx, chromedp.CaptureScreenshot())
	if err == nil {
		err = os.WriteFile(filepath.Join(dir, name+".png"), data, 0o644)
	}
	if err != nil {
		p.t.Error(err)
	}
}
