package browsertest

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
)

// Patience is how long anything in the browser may take before the test gives up. It is no
// measure of speed: machines that build many things at once are slow.
const Patience = 3 * time.Minute

// Start starts Chromium with a profile of that folder: it takes seconds. It ends with stop, and with the test.
func Start(t *testing.T, profile string) (ctx context.Context, stop func()) {
	t.Helper()
	options := []chromedp.ExecAllocatorOption{chromedp.ExecPath(Find(t)), chromedp.UserDataDir(profile),
		chromedp.Flag("disable-dev-shm-usage", true), chromedp.Flag("force-color-profile", "srgb")}
	for _, f := range Flags() {
		options = append(options, chromedp.Flag(f, true))
	}
	ctx, end := chromedp.NewExecAllocator(context.Background(), options...)
	ctx, closeTab := chromedp.NewContext(ctx)
	if err := chromedp.Do(ctx); err != nil {
		t.Fatalf("Chromium does not start: %v", err)
	}
	stop = sync.OnceFunc(func() {
		closeTab()
		if err := chromedp.Cancel(ctx); err != nil && !strings.Contains(err.Error(), "context canceled") {
			t.Logf("closing Chromium: %v", err)
		}
		end()
	})
	t.Cleanup(stop)
	return ctx, stop
}

// Tab is one window of the browser, and all that was heard from it.
type Tab struct {
	T   *testing.T
	Ctx context.Context

	mu    sync.Mutex
	said  []string // console, exceptions, log
	asked []string // addresses requested
}

// watchful runs in the page before its own scripts: a breach of the content policy is said aloud, whatever becomes of
// the element that made it.
const watchful = `addEventListener('securitypolicyviolation', e => console.error('policy: ' + e.violatedDirective + ' ' + e.blockedURI), true)`

// Open opens a window of that size.
func Open(t *testing.T, browser context.Context, width, height int64, more ...chromedp.ContextOption) *Tab {
	t.Helper()
	p := &Tab{T: t}
	ctx, stop := chromedp.NewContext(browser, append(more, chromedp.WithListener(p.hear))...)
	t.Cleanup(stop)
	p.Ctx = ctx
	p.Do(func(ctx context.Context, t *chromedp.Target) (chromedp.Void, error) {
		if _, err := cdp.Call(ctx, t, network.Enable, network.EnableParams{}); err != nil {
			return chromedp.Void{}, err
		}
		if _, err := cdp.Call(ctx, t, log.Enable, cdp.Empty{}); err != nil {
			return chromedp.Void{}, err
		}
		_, err := cdp.Call(ctx, t, page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{Source: watchful})
		return chromedp.Void{}, err
	}, chromedp.EmulateViewport(width, height, Device(width)...))
	return p
}

// Page is the tab itself, for those that embed it.
func (p *Tab) Page() *Tab { return p }

// Device is a phone where the window is narrow: a finger, no mouse.
func Device(width int64) []chromedp.EmulateViewportOption {
	if width < 600 {
		return []chromedp.EmulateViewportOption{chromedp.EmulateMobile, chromedp.EmulateTouch, chromedp.EmulatePortrait}
	}
	return nil
}

// hear notes what comes from the browser, on the goroutine that reads it.
func (p *Tab) hear(ev any) {
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

// Said is what the browser complained of, Asked which addresses it asked for.
func (p *Tab) Said() []string { p.mu.Lock(); defer p.mu.Unlock(); return append([]string{}, p.said...) }
func (p *Tab) Asked() []string {
	p.mu.Lock()
	defer p.mu.Unlock()
	return append([]string{}, p.asked...)
}

// Forget forgets what was asked for.
func (p *Tab) Forget() { p.mu.Lock(); defer p.mu.Unlock(); p.asked = nil }

// Heard is what was said, for messages.
func (p *Tab) Heard() string { return strings.Join(p.Said(), "\n") }

// Do runs steps with patience, and not after it.
func (p *Tab) Do(steps ...chromedp.Action[chromedp.Void]) {
	p.T.Helper()
	if err := chromedp.Do(p.Ctx); err != nil { // a tab is made without a deadline, which would be its own
		p.T.Fatal(err)
	}
	ctx, stop := context.WithTimeout(p.Ctx, Patience)
	defer stop()
	if err := chromedp.Do(ctx, steps...); err != nil {
		p.T.Fatalf("browser: %v\n%s", err, p.Heard())
	}
}

// Eval is what an expression, or the promise it is, comes to in the page. Policies do not bind it.
func Eval[T any](p interface{ Page() *Tab }, expression string) T {
	tab := p.Page()
	tab.T.Helper()
	v, err := TryEval[T](p, expression)
	if err != nil {
		tab.T.Fatalf("%s: %v\n%s", expression, err, tab.Heard())
	}
	return v
}

// TryEval is Eval where it may fail.
func TryEval[T any](p interface{ Page() *Tab }, expression string) (T, error) {
	ctx, stop := context.WithTimeout(p.Page().Ctx, Patience)
	defer stop()
	return chromedp.Run(ctx, chromedp.Evaluate[T](expression, chromedp.EvalAwaitPromise))
}

// Until waits for an expression, or the promise it is, to hold in the page. The browser library's own polling builds
// functions from text, which the page's policy forbids.
func (p *Tab) Until(what, expression string) {
	p.T.Helper()
	for end := time.Now().Add(Patience); ; time.Sleep(30 * time.Millisecond) {
		ok, err := TryEval[bool](p, "Promise.resolve("+expression+").then(Boolean)")
		if ok {
			return
		}
		if time.Now().After(end) {
			p.T.Fatalf("waited in vain: %s (%v)\nthe page says: %s\n%s", what, err, Eval[string](p, "document.body.innerText"), p.Heard())
		}
	}
}

// Shoot keeps a picture of the page in the folder TRUETURN_SHOTS, for people to look at: of what the window shows, or of the
// whole page.
func (p *Tab) Shoot(name string, whole bool) {
	p.T.Helper()
	dir := os.Getenv("TRUETURN_SHOTS")
	if dir == "" {
		return
	}
	data := p.Window
	if whole {
		data = p.Whole
	}
	path := filepath.Join(dir, name+".png")
	if err := os.WriteFile(path, data(), 0o644); err != nil {
		p.T.Fatal(err)
	}
	p.T.Log(path)
}

// Window is a screenshot of what the window shows.
func (p *Tab) Window() []byte {
	p.T.Helper()
	ctx, stop := context.WithTimeout(p.Ctx, Patience)
	defer stop()
	data, err := chromedp.Run(ctx, chromedp.CaptureScreenshot())
	if err != nil {
		p.T.Fatal(err)
	}
	return data
}

// Whole is a screenshot of the whole page, as a window tall enough for it shows it.
func (p *Tab) Whole() []byte {
	p.T.Helper()
	size := Eval[[]int64](p, `[innerWidth, innerHeight, document.documentElement.scrollHeight]`)
	width, height := size[0], size[1]
	p.Do(chromedp.EmulateViewport(width, max(height, size[2]), Device(width)...))
	p.Until("the window is tall", fmt.Sprintf("innerHeight >= %d", size[2]))
	data := p.Window()
	p.Do(chromedp.EmulateViewport(width, height, Device(width)...))
	return data
}

// Quoted is a Go string as a script writes it.
func Quoted(s string) string {
	b, _ := json.Marshal(s)
	return string(b)
}
