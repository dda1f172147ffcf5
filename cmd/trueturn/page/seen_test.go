package page_test

import (
	"bytes"
	"context"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/accessibility"
	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/network"
	cdppage "github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"trueturn/cmd/report"
	"trueturn/cmd/trueturn/browsertest"
)

// Widths of a phone and of a desk, and the narrowest a page must flow in (WCAG 2.2, criterion 1.4.10).
const (
	phone  = 390
	desk   = 1280
	narrow = 320
)

// turning is a session in the middle of its evening: an axis is known, and a knob is to be turned.
func turning(t *testing.T) (*served, *scene) {
	t.Helper()
	s := newScene(t, 46, nearer)
	srv := serve(t, wanting(5*time.Minute))
	for i, path := range append(s.measured(), hostile{name: "letter.jpg", content: []byte("Dear Sir or Madam,\n")}.write(t, t.TempDir())) {
		post(t, srv, path)
		srv.until("a picture is measured", func(v account) bool { return len(v.Frames) > i && v.Live.Waiting == 0 && v.Live.Working == "" })
	}
	return srv, s
}

// TestLookInChromium: how the page looks, reads aloud and is worked without a mouse.
func TestLookInChromium(t *testing.T) {
	t.Parallel()
	b := chromium(t)
	srv, s := turning(t)
	t.Run("cautions on the first screen", func(t *testing.T) { cautionsFirst(t, newTab(t, b, phone, 844), srv) })
	for _, width := range []int64{phone, desk} {
		t.Run(fmt.Sprintf("at %d px", width), func(t *testing.T) { looks(t, newTab(t, b, width, 844), srv) })
	}
	t.Run("in the narrowest window", func(t *testing.T) { within(t, newTab(t, b, narrow, 800), srv) })
	t.Run("night before the style sheet has come", func(t *testing.T) { unstyled(t, newTab(t, b, phone, 844), srv) })
	// These two send a picture, so they come last.
	t.Run("motion", func(t *testing.T) { motion(t, newTab(t, b, phone, 844), srv, s, "no-preference") })
	t.Run("reduced motion", func(t *testing.T) { motion(t, newTab(t, b, phone, 844), srv, s, "reduce") })
}

// looks goes through one window: what it costs is opening it.
func looks(t *testing.T, p *tab, srv *served) {
	light(p) // a device set to bright pages gets no bright page
	visit(t, srv, p)
	for _, part := range []struct {
		name  string
		check func(*testing.T, *tab, *served)
	}{
		{"by keyboard", byKeyboard},
		{"read aloud", readAloud},
		{"night", night},
		{"nothing beyond the window", within},
	} {
		t.Run(part.name, func(t *testing.T) { part.check(t, p.heldBy(t), srv) })
	}
	p.quiet(srv.url)
}

// cautionsFirst: whoever opens the page on a phone reads all cautions without scrolling.
func cautionsFirst(t *testing.T, p *tab, srv *served) {
	visit(t, srv, p)
	for _, c := range report.Cautions() {
		seen := browsertest.Eval[bool](p, `[...document.querySelectorAll('#care li')].some(e => e.textContent === `+browsertest.Quoted(c)+
			` && e.getBoundingClientRect().height > 10 && e.getBoundingClientRect().bottom <= innerHeight)`)
		if !seen {
			t.Errorf("not on the first screen: %q", c)
		}
	}
	p.shoot("first-visit")
}

// painted is how words came out.
type painted struct {
	Words         string
	Ratio, Size   float64
	Color, Ground string
}

// contrasts are the words of the page with their contrast against what lies behind them (WCAG 2.2: relative luminance,
// contrast ratio).
const contrasts = `(() => {
  const number = c => { const m = c.match(/[\d.]+/g).map(Number); return m.length < 4 ? [...m, 1] : m; };
  const linear = v => (v /= 255, v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
  const light = c => 0.2126 * linear(c[0]) + 0.7152 * linear(c[1]) + 0.0722 * linear(c[2]);
  const over = (a, b) => [0, 1, 2].map(i => a[i] * a[3] + b[i] * (1 - a[3])).concat(1);
  const ground = e => {
    let c = [0, 0, 0, 1], way = [];
    for (; e; e = e.parentElement) way.push(number(getComputedStyle(e).backgroundColor));
    for (const g of way.reverse()) c = over(g, c);
    return c;
  };
  const out = [], walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const n = walk.currentNode, e = n.parentElement, s = getComputedStyle(e);
    const words = n.textContent.trim();
    if (!words || !e.checkVisibility({visibilityProperty: true}) || e.closest('script, style, noscript, title, desc')) continue;
    const drawn = e.closest('svg');
    let c = number(drawn ? s.fill : s.color);
    for (let a = e; a; a = a.parentElement) c[3] *= Number(getComputedStyle(a).opacity);
    const g = ground(e), p = over(c, g), l = [light(p), light(g)].sort((a, b) => b - a);
    const scale = drawn ? drawn.getBoundingClientRect().width / drawn.viewBox.baseVal.width : 1;
    out.push({Words: words.slice(0, 60), Ratio: (l[0] + 0.05) / (l[1] + 0.05), Size: parseFloat(s.fontSize) * scale, Color: p.map(Math.round).join(), Ground: g.map(Math.round).join()});
  }
  return out;
})()`

// What eyes in the dark can read.
const (
	leastContrast = 4.5  // WCAG 2.2, criterion 1.4.3, level AA
	smallestPx    = 13.5 // as in the report: type that can be read beside a tripod
)

// night: every word can be read, and every point of the page is black or red.
func night(t *testing.T, p *tab, _ *served) {
	p.Until("the level is drawn", `document.querySelector('#base-tube svg') && document.querySelector('#tilt-tube svg')`)
	unfold(p)
	words := browsertest.Eval[[]painted](p, contrasts)
	if len(words) < 60 {
		t.Errorf("only %d pieces of text looked at", len(words))
	}
	for _, w := range words {
		if w.Ratio < leastContrast {
			t.Errorf("%q has a contrast of %.2f: %s on %s", w.Words, w.Ratio, w.Color, w.Ground)
		}
		if w.Size < smallestPx {
			t.Errorf("%q is only %.1f px high", w.Words, w.Size)
		}
	}
	redOnly(t, p.screenshot())
	p.shoot(fmt.Sprintf("turning-%d", browsertest.Eval[int](p, "innerWidth")))
}

// light tells the page that its reader likes bright pages.
func light(p *tab) { prefer(p, "prefers-color-scheme", "light") }

func prefer(p *tab, feature, value string) {
	p.Do(func(ctx context.Context, t *chromedp.Target) (chromedp.Void, error) {
		_, err := cdp.Call(ctx, t, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: feature, Value: value}}})
		return chromedp.Void{}, err
	})
}

// unfold opens everything that can be, and waits for the drawings.
func unfold(p *tab) {
	browsertest.Eval[any](p, `document.querySelectorAll('details').forEach(d => d.open = true)`)
	p.Until("the drawings have come", `document.querySelectorAll('#drawings svg').length > 0`)
}

// screenshot is the whole page.
func (p *tab) screenshot() image.Image {
	p.T.Helper()
	m, err := png.Decode(bytes.NewReader(p.Whole()))
	if err != nil {
		p.T.Fatal(err)
	}
	return m
}

// greenOrBlueMost is how much of green or blue a red may hold, of its own amount: what the eye's adaptation
// stands is a matter of the wavelength, and a screen's green and blue are what undoes it. The ink of the drawings has 0.22.
const greenOrBlueMost = 0.25

// redOnly fails for points that are neither black nor red. Edges are mixtures of the two.
func redOnly(t *testing.T, m image.Image) {
	t.Helper()
	bad, lit, where := strangers(m)
	if bad > 0 || lit < 1000 {
		t.Errorf("%d points of %v are neither black nor red, %v; %d are lit", bad, m.Bounds().Size(), where, lit)
	}
}

// strangers counts the points that are neither black nor red, and those that are lit at all.
func strangers(m image.Image) (bad, lit int, where []string) {
	b := m.Bounds()
	for y := b.Min.Y; y < b.Max.Y; y++ {
		for x := b.Min.X; x < b.Max.X; x++ {
			c := color.NRGBAModel.Convert(m.At(x, y)).(color.NRGBA)
			if c.R > 100 {
				lit++
			}
			if float64(max(c.G, c.B)) > greenOrBlueMost*float64(c.R)+2 {
				if bad++; bad <= 3 {
					where = append(where, fmt.Sprintf("%d,%d is %v", x, y, c))
				}
			}
		}
	}
	return bad, lit, where
}

// barePart: of a page without its style sheet one point in so many may be grey, for the browser draws its own buttons; ground and
// words are black and red.
const barePart = 20

// unstyled: a style sheet that does not come leaves the page dark all the same.
func unstyled(t *testing.T, p *tab, srv *served) {
	light(p)
	p.Do(func(ctx context.Context, t *chromedp.Target) (chromedp.Void, error) {
		_, err := cdp.Call(ctx, t, network.SetBlockedURLs, network.SetBlockedURLsParams{URLPatterns: []*network.BlockPattern{{URLPattern: "*://*:*/*/page.css", Block: true}}})
		return chromedp.Void{}, err
	})
	visit(t, srv, p)
	if n := browsertest.Eval[int](p, `document.styleSheets.length && [...document.styleSheets].filter(s => { try { return s.cssRules.length } catch { return 0 } }).length`); n != 0 {
		t.Fatalf("%d style sheets came", n)
	}
	m := p.screenshot()
	bad, lit, where := strangers(m)
	if all := m.Bounds().Dx() * m.Bounds().Dy(); bad > all/barePart || lit < 1000 {
		t.Errorf("%d points of %d are neither black nor red, %v; %d are lit", bad, all, where, lit)
	}
	p.shoot("unstyled")
}

// within: at no width of window is there anything to its right.
func within(t *testing.T, p *tab, srv *served) {
	if browsertest.Eval[string](p, "location.href") != srv.url {
		visit(t, srv, p)
	}
	unfold(p)
	if over := browsertest.Eval[[]string](p, `[...document.body.querySelectorAll('*')].filter(e => !e.closest('svg svg') && e.getBoundingClientRect().width && e.getBoundingClientRect().right > innerWidth + 1).map(e => e.tagName + ' ' + e.id + ' ' + e.textContent.slice(0, 40))`); len(over) > 0 {
		t.Errorf("beyond the window: %q", over)
	}
	if wide := browsertest.Eval[int](p, `document.documentElement.scrollWidth - innerWidth`); wide > 0 {
		t.Errorf("%d px too wide", wide)
	}
	small := browsertest.Eval[[]string](p, `[...document.querySelectorAll('button, summary, a, label, input[type=checkbox]')].filter(e => e.checkVisibility()).map(e => [e, e.getBoundingClientRect()]).filter(([e, r]) => (r.height < 24 || r.width < 24) && getComputedStyle(e).display !== 'inline').map(([e, r]) => e.tagName + ' ' + e.textContent.trim().slice(0, 30) + ' ' + r.width + '×' + r.height)`)
	if len(small) > 0 { // WCAG 2.2, criterion 2.5.8; links within a sentence are excepted
		t.Errorf("too small for a cold finger: %q", small)
	}
}

// worked are the roles of what a person works (WAI-ARIA 1.2, section 5.3.1 and others).
var worked = []string{"button", "link", "checkbox", "textbox", "combobox", "DisclosureTriangle", "summary", "slider", "switch", "radio"}

// heardNode is a node of what a screen reader is account.
type heardNode struct {
	role, name string
	properties map[string]string
}

// tree is what a screen reader is account of the page.
func (p *tab) tree() (nodes []heardNode) {
	p.T.Helper()
	var got accessibility.GetFullAXTreeResult
	p.Do(func(ctx context.Context, t *chromedp.Target) (v chromedp.Void, err error) {
		got, err = cdp.Call(ctx, t, accessibility.GetFullAXTree, accessibility.GetFullAXTreeParams{})
		return v, err
	})
	text := func(v *accessibility.Value) string {
		if v == nil {
			return ""
		}
		return strings.Trim(string(v.Value), `"`)
	}
	for _, n := range got.Nodes {
		if n.Ignored {
			continue
		}
		h := heardNode{role: text(n.Role), name: text(n.Name), properties: map[string]string{}}
		for _, q := range n.Properties {
			h.properties[string(q.Name)] = text(q.Value)
		}
		nodes = append(nodes, h)
	}
	return nodes
}

// readAloud: everything that can be worked has a name, drawings say what they show, and act, step and headline are read out when they
// change.
func readAloud(t *testing.T, p *tab, srv *served) {
	unfold(p)
	v := srv.state()
	roles := map[string]int{}
	for _, n := range p.tree() {
		roles[n.role]++
		if (slices.Contains(worked, n.role) || n.role == "image" || n.role == "img" || n.role == "region") && n.name == "" {
			t.Errorf("a %s has no name: %v", n.role, n.properties)
		}
	}
	for role, least := range map[string]int{"main": 1, "heading": 3, "status": 1, "button": 3, "checkbox": 2, "list": 1, "link": 1} {
		if roles[role] < least {
			t.Errorf("%d of role %s, want %d at least: %v", roles[role], role, least, roles)
		}
	}
	if roles["image"]+roles["img"] < 2 {
		t.Errorf("the two tubes are no pictures: %v", roles)
	}
	// Act, step and headline are each read out when they change, and once: in regions of their own, none within another.
	for _, id := range []string{"act", "stage", "headline"} {
		if within := browsertest.Eval[[]string](p, `(() => { const all = []; for (let e = document.querySelector('#`+id+`'); e; e = e.parentElement) if (e.ariaLive || e.role === 'status') all.push(e.id + ' ' + e.ariaLive); return all })()`); !slices.Equal(within, []string{id + " polite"}) {
			t.Errorf("%s is in the live regions %q", id, within)
		}
	}
	if got := browsertest.Eval[string](p, `document.documentElement.lang`); got != "en" {
		t.Errorf("the language is %q", got)
	}
	if got := browsertest.Eval[string](p, `document.title`); !strings.Contains(got, v.Live.Act) {
		t.Errorf("the window is called %q", got)
	}
	if got := browsertest.Eval[int](p, `document.querySelectorAll('h1').length`); got != 1 {
		t.Errorf("%d first headings", got)
	}
	if twice := browsertest.Eval[[]string](p, `[...document.querySelectorAll('[id]')].map(e => e.id).filter((id, i, all) => all.indexOf(id) !== i)`); len(twice) > 0 {
		t.Errorf("identifiers given twice: %q", twice)
	}
}

// focused is where the keyboard is.
type focused struct {
	Key     string // where it is, for messages
	At      int    // its place among all elements
	Shown   bool   // it can be seen that it is there
	Outside bool   // of the page: the browser's own
}

const focusedNow = `(() => {
  const e = document.activeElement;
  if (!e || e === document.body) return {Outside: true};
  const marked = x => { if (!x) return false; const s = getComputedStyle(x); return s.outlineStyle !== 'none' && parseFloat(s.outlineWidth) >= 2 && x.getBoundingClientRect().height > 10; };
  return {Key: e.tagName + '#' + e.id + ' ' + e.textContent.trim().slice(0, 20), At: [...document.querySelectorAll('*')].indexOf(e),
    Shown: marked(e) || [...(e.labels ?? [])].some(marked), Outside: false};
})()`

// byKeyboard: the tabulator reaches everything there is to work, in the order of reading, shows where it is and gets out
// again; the cautions fold by it.
func byKeyboard(t *testing.T, p *tab, _ *served) {
	want := browsertest.Eval[int](p, `[...document.querySelectorAll('a[href], button, input, summary')].filter(e => e.checkVisibility({visibilityProperty: true}) && !e.disabled).length`)
	var way []focused
	for range want + 5 {
		p.Do(chromedp.KeyEvent(kb.Tab))
		f := browsertest.Eval[focused](p, focusedNow)
		if f.Outside {
			break
		}
		way = append(way, f)
	}
	if len(way) != want {
		t.Errorf("the tabulator stops %d times, want %d: %v", len(way), want, way)
	}
	for i, f := range way {
		if !f.Shown {
			t.Errorf("it cannot be seen that the keyboard is at %s", f.Key)
		}
		if i > 0 && f.At <= way[i-1].At {
			t.Errorf("the keyboard goes back from %s to %s", way[i-1].Key, f.Key)
		}
	}
	browsertest.Eval[any](p, `document.querySelector('#care-read').focus()`)
	for _, expanded := range []string{"false", "true"} {
		p.Do(chromedp.KeyEvent(kb.Enter))
		p.Until("the cautions fold by keyboard", `document.querySelector('#care-read').getAttribute('aria-expanded') === '`+expanded+`'`)
	}
}

// motion: the bubbles glide, but not for a reader who wants no motion.
func motion(t *testing.T, p *tab, srv *served, s *scene, preference string) {
	prefer(p, "prefers-reduced-motion", preference)
	p.Do(func(ctx context.Context, t *chromedp.Target) (chromedp.Void, error) {
		_, err := cdp.Call(ctx, t, cdppage.AddScriptToEvaluateOnNewDocument, cdppage.AddScriptToEvaluateOnNewDocumentParams{
			Source: `window.glides = 0; const animate = Element.prototype.animate; Element.prototype.animate = function (...a) { window.glides++; return animate.apply(this, a); }`})
		return chromedp.Void{}, err
	})
	visit(t, srv, p)
	before := browsertest.Eval[string](p, `document.querySelector('#base-tube').innerHTML`)
	s.turn(0, angle("4", "′", true))
	p.send(srv, s.take())
	p.Until("the bubble has moved", `document.querySelector('#base-tube').innerHTML !== `+browsertest.Quoted(before))
	glides, transitions := browsertest.Eval[int](p, `window.glides`), browsertest.Eval[int](p, `[...document.querySelectorAll('*')].filter(e => parseFloat(getComputedStyle(e).transitionDuration) > 0 || parseFloat(getComputedStyle(e).animationDuration) > 0).length`)
	if preference == "reduce" && glides+transitions > 0 {
		t.Errorf("for a reader who wants no motion %d parts glide and %d change gradually", glides, transitions)
	}
	if preference != "reduce" && glides == 0 {
		t.Error("the bubble jumps: the test of reduced motion sees nothing")
	}
}
