package page_test

import (
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"trueturn/cmd/trueturn/browsertest"
	"trueturn/cmd/trueturn/page"
)

// visit opens the page in a tab and waits until it has heard from the session.
func visit(t *testing.T, s *served, p *tab) {
	t.Helper()
	p.Do(chromedp.Navigate(s.url))
	p.Until("the first word from the session", `document.querySelector('#say').textContent.trim() !== ''`)
}

// send hands pictures to the page as a hand does, and waits until they are measured and the page says so.
func (p *tab) send(s *served, paths ...string) account {
	p.T.Helper()
	before := len(s.state().Frames)
	p.Do(chromedp.SetUploadFiles(chromedp.CSS("#pick"), paths))
	v := s.until("the pictures sent are measured", func(v account) bool {
		return len(v.Frames) >= before+len(paths) && v.Live.Waiting == 0 && v.Live.Working == ""
	})
	p.shows(v)
	want := "Not used"
	for _, f := range v.Frames {
		if f.Used && f.File == filepath.Base(paths[len(paths)-1]) {
			want = "Used"
		}
	}
	if len(paths) == 1 {
		p.Until("the button pressed says what became of the picture", squeezed("#pick-says")+` === `+browsertest.Quoted(want))
	}
	return v
}

// shows waits until the page says what the session says.
func (p *tab) shows(v account) {
	p.T.Helper()
	if n := len(strings.Fields(v.Live.Act)); n == 0 || n > glance {
		p.T.Errorf("the act has %d words: %q", n, v.Live.Act)
	}
	figure := v.Live.Headline
	if v.Live.Question != nil {
		figure = "" // the act says it
	}
	p.Until("the page shows act, sentence and figure", squeezed("#act")+` === `+browsertest.Quoted(squeeze(v.Live.Act))+` && `+squeezed("#stage")+` === `+browsertest.Quoted(squeeze(v.Live.Stage))+` && `+squeezed("#say")+` === `+browsertest.Quoted(squeeze(v.Live.Instruction))+` && `+
		squeezed("#headline")+`.includes(`+browsertest.Quoted(squeeze(figure))+`)`)
}

// glance is how many words the act may have.
const glance = 9

// squeezed is the text of an element with single spaces, as a script.
func squeezed(selector string) string {
	return `document.querySelector(` + browsertest.Quoted(selector) + `).textContent.replace(/\s+/g, ' ').trim()`
}

func squeeze(s string) string { return strings.Join(strings.Fields(s), " ") }

// sentence is the one sentence that says what to do, as the page shows it.
func (p *tab) sentence() string { return browsertest.Eval[string](p, squeezed("#say")) }

// TestInChromium looks at the page through a real browser.
func TestInChromium(t *testing.T) {
	t.Parallel()
	b := chromium(t)
	t.Run("the watch on the browser is awake", func(t *testing.T) { leakyPage(t, newTab(t, b, phone, 844)) })
	t.Run("the whole loop, north", func(t *testing.T) { wholeLoop(t, newTab(t, b, phone, 844), newScene(t, 46)) })
	t.Run("the whole loop, south", func(t *testing.T) { wholeLoop(t, newTab(t, b, phone, 844), newScene(t, -33)) })
	t.Run("hostile uploads", func(t *testing.T) { hostileUploads(t, newTab(t, b, phone, 844)) })
	t.Run("the wrong way", func(t *testing.T) { wrongWay(t, newTab(t, b, phone, 844)) })
}

// turnsMost is how many turns of a knob an evening may take: two knobs, each done over once for the base that is
// not level and the hand that is not exact, and one for chance.
const turnsMost = 5

// wholeLoop: pictures go up by the page's own button, the axis appears, the sentence is followed to the letter, and the planned 30 s become round.
func wholeLoop(t *testing.T, p *tab, s *scene) {
	srv := serve(t, page.Options{})
	visit(t, srv, p)
	p.shoot("waiting-" + s.half())
	v := p.send(srv, s.measured()...)
	if v.Live.Phase != "turning" {
		t.Fatalf("after four pictures: %s", summary(v))
	}
	if v.Exposure == nil || v.Exposure.PlannedStaysRound == nil || *v.Exposure.PlannedStaysRound {
		t.Fatalf("the evening is to begin with 30 s that are not round: %s", summary(v))
	}
	p.shoot("turning-" + s.half())
	turns, pictures := 0, 0
	for ; v.Live.Phase != "done"; pictures++ {
		if pictures == 20 {
			t.Fatalf("not done after %d more pictures: %s", pictures, summary(v))
		}
		said := p.sentence()
		if altitude, azimuth, ok := obeyed(said); ok && v.Live.Phase == "turning" {
			if turns++; turns > turnsMost {
				t.Fatalf("a turn more than %d: %s", turnsMost, summary(v))
			}
			s.turn(altitude, azimuth)
		}
		v = p.send(srv, s.take())
		t.Logf("%.0f′ off after %q: %s", s.off().Min(), said, summary(v))
	}
	round(t, p, s, v)
	p.shoot("done-" + s.half())
	p.quiet(srv.url)
}

// round: at the end of the loop the page says that the planned 30 s stay round, and they do.
func round(t *testing.T, p *tab, s *scene, v account) {
	t.Helper()
	if v.Exposure.PlannedStaysRound == nil || !*v.Exposure.PlannedStaysRound {
		t.Errorf("done, and 30 s are not round: %s", summary(v))
	}
	if h := browsertest.Eval[string](p, squeezed("#headline")); !strings.HasPrefix(h, "Round for ") {
		t.Errorf("the headline is %q", h)
	}
	if v.Live.Level == nil {
		t.Fatal("done, and no level")
	}
	limits := 0 // sentences on what limits exposures: one, of the answer shown
	for i, n := range v.Advice.Notes {
		if slices.Contains(v.Advice.Notes[:i], n) {
			t.Errorf("said twice: %q", n)
		}
		if strings.HasPrefix(n, "Exposures are limited to ") {
			limits++
		}
	}
	if limits > 1 {
		t.Errorf("exposures are limited %d times: %q", limits, v.Advice.Notes)
	}
	if off := s.off().Min(); off > v.Live.Level.StandsArcmin {
		t.Errorf("the axis is really %.1f′ off, more than the %.1f′ that 30 s stand", off, v.Live.Level.StandsArcmin)
	}
}

// wrongWay: a knob turned against what was asked is noticed on the very next picture.
func wrongWay(t *testing.T, p *tab) {
	s := newScene(t, 46, nearer)
	srv := serve(t, wanting(5*time.Minute))
	visit(t, srv, p)
	v := p.send(srv, s.measured()...)
	altitude, azimuth, ok := obeyed(p.sentence())
	if !ok {
		t.Fatalf("no turn is asked: %s", summary(v))
	}
	s.turn(-altitude, -azimuth)
	v = p.send(srv, s.take())
	if v.Live.Kind != "wrong way" || !strings.HasPrefix(p.sentence(), "The wrong way: ") {
		t.Errorf("turned the wrong way, and the page says: %s", summary(v))
	}
	p.shoot("wrong-way")
	// What it asks now undoes the harm.
	before := s.off()
	altitude, azimuth, ok = obeyed(p.sentence())
	if !ok {
		t.Fatalf("no way back: %s", summary(v))
	}
	s.turn(altitude, azimuth)
	v = p.send(srv, s.take())
	if v.Live.Kind == "wrong way" || s.off() > before/2 {
		t.Errorf("turned back as asked: %.0f′ off, %s", s.off().Min(), summary(v))
	}
	p.quiet(srv.url)
}
