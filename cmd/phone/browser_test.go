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

	"github.com/chromedp/chromedp"

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
	ctx, stop := browsertest.Start(t, profile)
	return &browser{t, profile, ctx, stop}
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

// tab is one window.
type tab struct{ *browsertest.Tab }

func (b *browser) tab(width, height int64) *tab {
	b.t.Helper()
	return &tab{browsertest.Open(b.t, b.ctx, width, height)}
}

// quiet is whether nothing was complained of, and nothing asked of another host than those.
func (p *tab) quiet(allowed ...string) {
	p.T.Helper()
	if said := p.Heard(); said != "" {
		p.T.Errorf("heard: %s", said)
	}
	for _, url := range p.Asked() {
		if !slices.ContainsFunc(append(allowed, "data:", "blob:"), func(a string) bool { return strings.HasPrefix(url, a) }) {
			p.T.Errorf("asked for %s", url)
		}
	}
}

// open goes to an address and waits for the engine's first word.
func (p *tab) open(url string) {
	p.T.Helper()
	p.Do(chromedp.Navigate(url))
	p.Until("the engine speaks", `window.trueturn && window.trueturn.state()`)
	p.choose("aim")
}

// choose takes one of the five questions, as a finger does.
func (p *tab) choose(job string) {
	p.T.Helper()
	browsertest.Eval[any](p, `(() => { if (!document.querySelector('#back').hidden) document.querySelector('#back').click(); document.querySelector('#jobs [data-job=`+job+`]').click(); })()`)
}

// send chooses files as a hand does.
func (p *tab) send(paths ...string) {
	p.T.Helper()
	p.Do(chromedp.SetUploadFiles(chromedp.CSS("#pick"), paths))
}

// measured waits until so many pictures are listed and nothing waits, and is the state then.
func (p *tab) measured(count int) state {
	p.T.Helper()
	p.Until(fmt.Sprintf("%d pictures are measured", count), fmt.Sprintf(`(s => s && s.frames.length >= %d && !s.live.working && !s.live.waiting)(window.trueturn.state())`, count))
	return p.state()
}

func (p *tab) state() state {
	p.T.Helper()
	var s state
	if err := json.Unmarshal([]byte(browsertest.Eval[string](p, `JSON.stringify(window.trueturn.state())`)), &s); err != nil {
		p.T.Fatal(err)
	}
	return s
}

// shoot keeps a picture of what the window shows.
func (p *tab) shoot(name string) { p.Shoot(name, false) }
