package page_test

import (
	"context"
	"encoding/json"
	"fmt"
	"net/url"
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

	"trueturn/cmd/trueturn/browsertest"
)

// patience is how long anything in the browser may take before the test gives up. It is no
// measure of speed: machines that build many things at once are slow.
const patience = 3 * time.Minute

// chromium is one browser for all tabs of a test: it takes seconds to start.
func chromium(t *testing.T) context.Context {
	t.Helper()
	options := []chromedp.ExecAllocatorOption{chromedp.ExecPath(browsertest.Find(t)), chromedp.UserDataDir(t.TempDir()),
		chromedp.Flag("disable-dev-shm-usage", true), chromedp.Flag("force-color-profile", "srgb")}
	for _, f := range browsertest.Flags() {
		options = append(options, chromedp.Flag(f, true))
	}
	ctx, stop := chromedp.NewExecAllocator(context.Background(), options...)
	t.Cleanup(stop)
	ctx, closeTab := chromedp.NewContext(ctx)
	if err := chromedp.Do(ctx); err != nil {
		t.Fatalf("Chromium does not start: %v", err)
	}
	t.Cleanup(func() {
		closeTab()
		if err := chromedp.Cancel(ctx); err != nil && !strings.Contains(err.Error(), "context canceled") {
			t.Logf("closing Chromium: %v", err)
		}
	})
	return ctx
}

// tab is one window of the browser, with cookies and memory of its own, and all that was heard from it.
type tab struct {
	t   *testing.T
	ctx context.Context

	mu    sync.Mutex
	said  []string // console, exceptions, log
	asked []string // addresses requested
}

// watchful runs in the page before its own scripts: a breach of the content policy is said aloud, whatever becomes of
// the element that made it.
const watchful = `addEventListener('securitypolicyviolation', e => console.error('policy: ' + e.violatedDirective + ' ' + e.blockedURI), true)`

func newTab(t *testing.T, browser context.Context, width, height int64) *tab {
	t.Helper()
	p := &tab{t: t}
	ctx, stop := chromedp.NewContext(browser, chromedp.WithNewBrowserContext(), chromedp.WithListener(p.hear))
	t.Cleanup(stop)
	p.ctx = ctx
	p.do(func(ctx context.Context, t *chromedp.Target) (chromedp.Void, error) {
		if _, err := cdp.Call(ctx, t, network.Enable, network.EnableParams{}); err != nil {
			return chromedp.Void{}, err
		}
		if _, err := cdp.Call(ctx, t, log.Enable, cdp.Empty{}); err != nil {
			return chromedp.Void{}, err
		}
		_, err := cdp.Call(ctx, t, cdppage.AddScriptToEvaluateOnNewDocument, cdppage.AddScriptToEvaluateOnNewDocumentParams{Source: watchful})
		return chromedp.Void{}, err
	}, chromedp.EmulateViewport(width, height, device(width)...))
	return p
}

// heldBy is the tab with another test to report to, a part of the one that opened it.
func (p *tab) heldBy(t *testing.T) *tab {
	p.t = t
	return p
}

// device is a phone where the window is narrow: a finger, no mouse.
func device(width int64) []chromedp.EmulateViewportOption {
	if width < 600 {
		return []chromedp.EmulateViewportOption{chromedp.EmulateMobile, chromedp.EmulateTouch, chromedp.EmulatePortrait}
	}
	return nil
}

// hear notes what comes from the browser, on the goroutine that reads it.
func (p *tab) hear(ev any) {
	p.mu.Lock()
	defer p.mu.Unlock()
	switch ev := ev.(type) {
	case *network.EventRequestWillBeSent:
		p.asked = append(p.asked, ev.Request.URL)
	case *log.EventEntryAdded:
		p.said = append(p.said, fmt.Sprintf("%s: %s (%s)", ev.Entry.Level, ev.Entry.Text, ev.Entry.URL))
	case *runtime.EventConsoleAPICalled:
		var words []string
		for _, a := range ev.Args {
			words = append(words, string(a.Value)+a.Description)
		}
		p.said = append(p.said, fmt.Sprintf("console.%s: %s", ev.Type, strings.Join(words, " ")))
	case *runtime.EventExceptionThrown:
		p.said = append(p.said, "exception: "+ev.ExceptionDetails.Text+" "+ev.ExceptionDetails.Exception.Description)
	}
}

// do runs steps with patience, and not after it.
func (p *tab) do(steps ...chromedp.Action[chromedp.Void]) {
	p.t.Helper()
	if err := chromedp.Do(p.ctx); err != nil { // a tab is made without a deadline, which would be its own
		p.t.Fatal(err)
	}
	ctx, stop := context.WithTimeout(p.ctx, patience)
	defer stop()
	if err := chromedp.Do(ctx, steps...); err != nil {
		p.t.Fatalf("browser: %v\n%s", err, p.heard())
	}
}

func (p *tab) heard() string {
	p.mu.Lock()
	defer p.mu.Unlock()
	return strings.Join(p.said, "\n")
}

// eval is what an expression comes to in the page. Policies do not bind it.
func eval[T any](p *tab, expression string) T {
	p.t.Helper()
	v, err := tryEval[T](p, expression)
	if err != nil {
		p.t.Fatalf("%s: %v", expression, err)
	}
	return v
}

func tryEval[T any](p *tab, expression string) (T, error) {
	ctx, stop := context.WithTimeout(p.ctx, patience)
	defer stop()
	return chromedp.Run(ctx, chromedp.Evaluate[T](expression, chromedp.EvalAwaitPromise))
}

// until waits for an expression to hold in the page. The browser library's own polling builds functions from text, which
// the page's policy forbids.
func (p *tab) until(what, expression string) {
	p.t.Helper()
	for end := time.Now().Add(patience); ; time.Sleep(30 * time.Millisecond) {
		ok, err := tryEval[bool](p, "!!("+expression+")")
		if ok {
			return
		}
		if time.Now().After(end) {
			p.t.Fatalf("waited in vain: %s (%v)\nthe page says: %s\n%s", what, err, eval[string](p, "document.body.innerText"), p.heard())
		}
	}
}

// quiet fails for every complaint and every request that left the page's own host.
func (p *tab) quiet(address string, allowed ...string) {
	p.t.Helper()
	own, err := url.Parse(address)
	if err != nil {
		p.t.Fatal(err)
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, s := range p.said {
		if !slices.ContainsFunc(allowed, func(a string) bool { return strings.Contains(s, a) }) {
			p.t.Errorf("the browser complains: %s", s)
		}
	}
	for _, a := range p.asked {
		u, err := url.Parse(a)
		if err != nil || (u.Host != own.Host && u.Scheme != "data") {
			p.t.Errorf("the page asked elsewhere: %s", a)
		}
	}
	if len(p.asked) == 0 {
		p.t.Error("no request heard of: the test is deaf")
	}
}

// shoot keeps a picture of the whole page in the folder TRUETURN_SHOTS, for people to look at.
func (p *tab) shoot(name string) {
	p.t.Helper()
	dir := os.Getenv("TRUETURN_SHOTS")
	if dir == "" {
		return
	}
	data := p.whole()
	path := filepath.Join(dir, name+".png")
	if err := os.WriteFile(path, data, 0o644); err != nil {
		p.t.Fatal(err)
	}
	p.t.Log(path)
}

// whole is a screenshot of the whole page, as a window tall enough for it shows it.
func (p *tab) whole() []byte {
	p.t.Helper()
	size := eval[[]int64](p, `[innerWidth, innerHeight, document.documentElement.scrollHeight]`)
	width, height := size[0], size[1]
	p.do(chromedp.EmulateViewport(width, max(height, size[2]), device(width)...))
	p.until("the window is tall", fmt.Sprintf("innerHeight >= %d", size[2]))
	ctx, stop := context.WithTimeout(p.ctx, patience)
	defer stop()
	data, err := chromedp.Run(ctx, chromedp.CaptureScreenshot())
	if err != nil {
		p.t.Fatal(err)
	}
	p.do(chromedp.EmulateViewport(width, height, device(width)...))
	return data
}

// quoted is a Go string as a script writes it.
func quoted(s string) string {
	b, _ := json.Marshal(s)
	return string(b)
}
