package page_test

import (
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
)

// leakyPage: a page that breaks the policy, throws and asks another host is heard by what the other tests listen with.
func leakyPage(t *testing.T, p *tab) {
	s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		switch r.URL.Path {
		case "/":
			w.Header().Set("Content-Security-Policy", "default-src 'none'; script-src 'self'")
			w.Write([]byte(`<!DOCTYPE html><script src="s.js"></script><script>"inline"</script><img alt="" src="http://elsewhere.test/spy.png">`))
		case "/s.js":
			w.Header().Set("Content-Type", "text/javascript")
			w.Write([]byte(`addEventListener('load', () => { document.title = 'ran'; throw new Error('thrown') })`))
		}
	}))
	defer s.Close()
	p.Do(chromedp.Navigate(s.URL + "/"))
	p.Until("the script of the leaky page", `document.title === 'ran'`)
	p.Until("all was heard", `true`)
	for _, word := range []string{"policy: script-src-elem inline", "policy: img-src http://elsewhere.test/spy.png", "exception: Uncaught Error: thrown"} {
		if !strings.Contains(p.Heard(), word) {
			t.Errorf("not heard: %q\n%s", word, p.Heard())
		}
	}
	if asked := p.Asked(); !strings.Contains(strings.Join(asked, " "), "http://elsewhere.test/spy.png") {
		t.Errorf("a request to another host was not seen: %q", asked)
	}
}
