package page_test

import (
	"strings"
	"testing"

	"github.com/soniakeys/unit"

	"trueturn/cmd/trueturn/browsertest"
	"trueturn/cmd/trueturn/page"
)

// TestQuestionInChromium: where place or clock are contradicted the page asks before it orders, below the sentence is a button to answer by,
// and once it was pressed the order stands there, on every device and after a reload.
func TestQuestionInChromium(t *testing.T) {
	t.Parallel()
	b := chromium(t)
	s := newScene(t, 46)
	site := s.e.Site
	site.Longitude += unit.AngleFromDeg(20)
	o := page.Options{}
	o.Guide.Answer.Site = &site
	srv := serve(t, o)
	p := newTab(t, b, phone, 844)
	visit(t, srv, p)
	browsertest.Eval[any](p, `document.querySelector('#care-read').click()`)
	const button = `document.querySelector('#settle')`
	if !browsertest.Eval[bool](p, button+`.hidden`) {
		t.Error("something is to be answered before there is a question")
	}
	paths := s.measured()
	v := p.send(srv, paths...)
	if v.Live.Question == nil || !strings.HasPrefix(p.sentence(), "Which place is right: ") {
		t.Fatalf("no question: %s", summary(v))
	}
	p.Until("the button is there, on the first screen", `!`+button+`.hidden && `+button+`.getBoundingClientRect().bottom <= innerHeight && `+squeezed("#settle")+` === 'The place is right: go on'`)
	p.shoot("question")
	other := newTab(t, b, phone, 844)
	visit(t, srv, other)
	browsertest.Eval[any](p, button+`.click()`)
	after := srv.until("the answer is taken", func(v account) bool { return v.Live.Question == nil })
	if _, _, ok := obeyed(after.Live.Instruction); !ok || after.Live.Phase != "turning" {
		t.Errorf("answered, and no turn is ordered: %s", summary(after))
	}
	for _, tab := range []*tab{p, other} {
		tab.shows(after)
		tab.Until("the button is gone", button+`.hidden`)
		tab.Until("what contradicts is still named", `document.querySelector('#troubles').textContent.startsWith('site')`)
	}
	p.shoot("answered")
	visit(t, srv, p)
	p.shows(after)
	within(t, p, srv)
	p.quiet(srv.url)
}
