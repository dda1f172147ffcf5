package page_test

import (
	"context"
	"net/url"
	"slices"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"trueturn/cmd/trueturn/browsertest"
)

const patience = browsertest.Patience

// chromium is one browser for all tabs of a test.
func chromium(t *testing.T) context.Context {
	t.Helper()
	ctx, _ := browsertest.Start(t, t.TempDir())
	return ctx
}

// tab is one window of the browser, with cookies and memory of its own.
type tab struct{ *browsertest.Tab }

func newTab(t *testing.T, browser context.Context, width, height int64) *tab {
	t.Helper()
	return &tab{browsertest.Open(t, browser, width, height, chromedp.WithNewBrowserContext())}
}

// heldBy is the tab with another test to report to, a part of the one that opened it.
func (p *tab) heldBy(t *testing.T) *tab {
	p.T = t
	return p
}

// quiet fails for every complaint and every request that left the page's own host.
func (p *tab) quiet(address string, allowed ...string) {
	p.T.Helper()
	own, err := url.Parse(address)
	if err != nil {
		p.T.Fatal(err)
	}
	for _, s := range p.Said() {
		if !slices.ContainsFunc(allowed, func(a string) bool { return strings.Contains(s, a) }) {
			p.T.Errorf("the browser complains: %s", s)
		}
	}
	asked := p.Asked()
	for _, a := range asked {
		u, err := url.Parse(a)
		if err != nil || (u.Host != own.Host && u.Scheme != "data") {
			p.T.Errorf("the page asked elsewhere: %s", a)
		}
	}
	if len(asked) == 0 {
		p.T.Error("no request heard of: the test is deaf")
	}
}

// shoot keeps a picture of the whole page.
func (p *tab) shoot(name string) { p.Shoot(name, true) }
