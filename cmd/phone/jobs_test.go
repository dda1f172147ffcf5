//go:build !js

package main

import (
	"context"
	"encoding/json"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"trueturn/cmd/trueturn/browsertest"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/deviceorientation"

	"github.com/chromedp/chromedp"
	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
)

// commandLine is trueturn as a computer has it.
func commandLine(t *testing.T) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "trueturn")
	if text, err := exec.CommandContext(t.Context(), "go", "build", "-o", path, "trueturn/cmd/trueturn").CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, text)
	}
	return path
}

// TestJobsInChromium: offline, each of the five questions is one tap from the first screen, and what it says is the
// command's, figure for figure.
func TestJobsInChromium(t *testing.T) {
	t.Parallel()
	program := commandLine(t)
	paths, _ := written(t)
	h := newHost(t, page(t))
	p := start(t, t.TempDir()).tab(390, 664)
	p.Do(chromedp.Navigate(h.url()))
	p.Until("the engine speaks", `window.trueturn && window.trueturn.state()`)
	p.Until("the page is kept for offline", `navigator.serviceWorker.ready.then(() => true)`)
	h.close()
	p.Until("the first screen asks", `document.querySelectorAll('#jobs button').length === 5 && [...document.querySelectorAll('#jobs button')].every(b => b.checkVisibility()) && !document.querySelector('#now').checkVisibility()`)
	p.shoot("jobs-first")
	browsertest.Eval[any](p, `document.querySelector('#care-read').click()`)
	if below := browsertest.Eval[float64](p, `document.querySelector('#jobs button:last-of-type').getBoundingClientRect().bottom - innerHeight`); below > 0 {
		t.Errorf("the fifth question is %g px below the first screen", below)
	}
	for _, c := range []struct {
		job, site string
		args      []string
	}{
		{"pole", "46.02, 7.75", []string{"pole", "--site=46.02,7.75", "--time=2026-11-25T21:30:00Z"}},
		{"tonight", "-33.9, 18.4", []string{"tonight", "--site=-33.9,18.4", "--date=2026-11-25"}},
		{"expose", "", []string{"expose", "--tripod", "--equivalent=26", "--size=4032x3024"}},
	} {
		p.choose(c.job)
		if c.site != "" {
			browsertest.Eval[any](p, `(() => { document.querySelector('#ask-site').value = '`+c.site+`'; document.querySelector('#ask').requestSubmit(); })()`)
		} else {
			browsertest.Eval[any](p, `(() => { document.querySelector('#ask-tripod').checked = true; document.querySelector('#ask-lens').value = '26'; document.querySelector('#ask').requestSubmit(); })()`)
		}
		p.Until("it answers "+c.job, `document.querySelector('#asked-why').textContent === '' && document.querySelectorAll('#answer p').length > 0`)
		if c.job != "expose" {
			p.Until("and draws", `document.querySelector('#answer svg')`)
		}
		p.shoot("jobs-" + c.job)
		if wide := browsertest.Eval[int](p, `document.documentElement.scrollWidth - innerWidth`); wide > 0 {
			t.Errorf("%s: %d px too wide", c.job, wide)
		}
		args, _ := json.Marshal(append(c.args, "--json"))
		got := browsertest.Eval[string](p, `window.trueturnLine.run(`+string(args)+`).then(r => r.text)`)
		want, err := exec.CommandContext(t.Context(), program, append(c.args, "--json")...).Output()
		if err != nil {
			t.Fatal(err)
		}
		var a, b any
		if json.Unmarshal([]byte(got), &a) != nil || json.Unmarshal(want, &b) != nil {
			t.Fatalf("%s: %s", c.job, got)
		}
		if d := cmp.Diff(b, a, cmpopts.EquateApprox(samePart, sameDeg)); d != "" {
			t.Errorf("%s: − the command, + the page\n%s", c.job, d)
		}
	}

	p.choose("round")
	p.Until("nothing can be said yet", `document.querySelector('#asked-why').textContent.includes('send pictures')`)
	p.choose("aim")
	for i, path := range paths {
		p.send(path)
		p.measured(i + 1)
	}
	p.choose("round")
	p.Until("it judges", `document.querySelectorAll('#answer p').length > 0`)
	p.shoot("jobs-round")
	p.choose("expose")
	browsertest.Eval[any](p, `(() => { document.querySelector('#ask-tripod').checked = false; document.querySelector('#ask-lens').value = ''; })()`)
	p.Until("the mount is known", `window.trueturnLine.run(['expose', '--session=mount.json']).then(r => r.code === 0)`)
	browsertest.Eval[any](p, `document.querySelector('#ask').requestSubmit()`)
	p.Until("it answers by the session", `document.querySelector('#answer').textContent.includes('round') && document.querySelector('#asked-why').textContent === ''`)

	// The phone as a level: read twice, a degree and a half too low.
	p.choose("pole")
	browsertest.Eval[any](p, `(() => { document.querySelector('#ask-site').value = '46.02, 7.75'; document.querySelector('#ask').requestSubmit(); })()`)
	lie := func(alpha, beta float64, button string) {
		t.Helper()
		p.Do(func(ctx context.Context, target *chromedp.Target) (v chromedp.Void, err error) {
			_, err = cdp.Call(ctx, target, deviceorientation.SetDeviceOrientationOverride, deviceorientation.SetDeviceOrientationOverrideParams{Alpha: alpha, Beta: beta})
			return v, err
		})
		browsertest.Eval[any](p, `(() => { document.querySelector('#rough-says').textContent = ''; document.querySelector('`+button+`').click(); })()`)
		p.Until("it is read", `/tilt/.test(document.querySelector('#rough-says').textContent)`)
	}
	lie(0, 44.5+1, "#read-one") // a degree of bump and zero
	lie(180, -44.5+1, "#read-two")
	if said := browsertest.Eval[string](p, `document.querySelector('#rough-says').textContent`); !strings.Contains(said, "1.5° ± 0.3° too low: raise the tilt") {
		t.Errorf("the phone as a level says %q", said)
	}
	if n := browsertest.Eval[int](p, `document.querySelectorAll('#rough-tubes svg').length`); n < 1 {
		t.Error("no tube is drawn")
	}
	browsertest.Eval[any](p, `document.querySelector('#rough').scrollIntoView()`)
	p.shoot("jobs-rough")

	// What is amiss is said with a way out.
	p.choose("pole")
	browsertest.Eval[any](p, `(() => { document.querySelector('#ask-site').value = 'here'; document.querySelector('#ask').requestSubmit(); })()`)
	p.Until("it says what is amiss", `document.querySelector('#asked-why').textContent.length > 20 && document.querySelector('#answer').children.length === 0`)
	for _, said := range strings.Split(p.Heard(), "\n") {
		if said != "" && !strings.HasPrefix(said, "info: A reload is required") { // Chromium's word on its own emulation
			t.Errorf("heard: %s", said)
		}
	}
}
