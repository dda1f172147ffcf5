package page_test

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"trueturn/cmd/trueturn/browsertest"
)

// many files and how many the page lists unasked.
const (
	many   = 1000
	listed = 50
)

// TestThousandInChromium: a session of a thousand files is told and shown; the list stays short until it is asked for
// all, and the next picture is measured and shown as if it were the first.
func TestThousandInChromium(t *testing.T) {
	t.Parallel()
	b := chromium(t)
	s := newScene(t, 46, nearer)
	srv := serve(t, wanting(0))
	dir := t.TempDir()
	const lot = 200 // no more may wait than some two hundred
	for i := 0; i < many; i += lot {
		var paths []string
		for k := i; k < i+lot; k++ {
			path := filepath.Join(dir, fmt.Sprintf("note-%04d.jpg", k))
			if err := os.WriteFile(path, fmt.Appendf(nil, "This is note %d and no picture.\n", k), 0o600); err != nil {
				t.Fatal(err)
			}
			paths = append(paths, path)
		}
		post(t, srv, paths...)
		srv.until("a lot is measured", func(v account) bool { return len(v.Frames) == i+lot && v.Live.Waiting == 0 && v.Live.Working == "" })
	}
	p := newTab(t, b, phone, 844)
	visit(t, srv, p)
	rows := `document.querySelectorAll('#pictures li').length`
	p.Until("the newest are listed", fmt.Sprintf(`%s === %d`, rows, listed))
	p.Until("all can be asked for", `!document.querySelector('#all').hidden`)
	browsertest.Eval[any](p, `document.querySelector('#all').click()`)
	p.Until("all are listed", fmt.Sprintf(`%s === %d`, rows, many))
	v := p.send(srv, s.measured()...)
	if v.Axis == nil || v.Live.Phase != "turning" {
		t.Errorf("after a thousand files: %s", summary(v))
	}
	p.Until("they are on top of the list", `document.querySelector('#pictures li .name').textContent === 'sky-004.jpg'`)
	p.quiet(srv.url)
}
