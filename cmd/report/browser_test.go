package report

import (
	"context"
	"encoding/json"
	"fmt"
	"html"
	"maps"
	"net/http"
	"net/http/httptest"
	"os/exec"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"trueturn/cmd/trueturn/browsertest"
)

// web is all the web there is for the browser: a proxy that answers for every host, so that nothing leaves the machine,
// whatever a page or the browser itself may ask for.
type web map[string]string

func (w web) ServeHTTP(out http.ResponseWriter, r *http.Request) {
	text, ok := w[strings.TrimPrefix(r.URL.Path, "/")]
	if r.Method != http.MethodGet || r.URL.Host != "night.test" || !ok {
		http.Error(out, "there is nothing here", http.StatusNotFound)
		return
	}
	out.Header().Set("Content-Type", "text/html; charset=utf-8")
	fmt.Fprint(out, text)
}

// open loads a page, lets its scripts run and returns what became of it.
func (w web) open(t *testing.T, name string) string {
	t.Helper()
	server := httptest.NewServer(w)
	t.Cleanup(server.Close)
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Minute)
	defer cancel()
	var flags []string
	for _, f := range browsertest.Flags() {
		flags = append(flags, "--"+f)
	}
	flags = append(flags, "--user-data-dir="+t.TempDir(), "--proxy-server="+server.URL, "--proxy-bypass-list=<-loopback>",
		"--window-size=1400,1000", "--virtual-time-budget=2000", "--dump-dom", "http://night.test/"+name)
	c := exec.CommandContext(ctx, browsertest.Find(t), flags...)
	c.WaitDelay = 2 * time.Second
	text, err := c.Output()
	if err != nil {
		t.Fatalf("Chromium: %v", err)
	}
	return string(text)
}

// frame shows pages in windows as wide as a phone and as a desk, and writes down how they come out.
const frame = `<!DOCTYPE html><title>frame</title><body>
<script>
const out = [], names = %s, widths = [390, 1280];
let left = names.length * widths.length;
for (const name of names) for (const width of widths) {
  const f = document.createElement('iframe');
  f.style.width = width + 'px'; f.style.height = '800px'; f.style.border = 0;
  f.onload = () => {
    const d = f.contentDocument, w = f.contentWindow;
    const box = d.querySelector('.scroll'), table = box && box.firstElementChild;
    const r = {name, width, slides: !box || table.offsetWidth <= box.clientWidth || (box.scrollLeft = 50, box.scrollLeft === 50), scroll: d.documentElement.scrollWidth, background: w.getComputedStyle(d.documentElement).backgroundColor, over: [], loads: w.performance.getEntriesByType('resource').map(e => e.name), small: 99, words: ''};
    for (const e of d.body.querySelectorAll('*')) {
      if (e.closest('.scroll table')) continue;
      const b = e.getBoundingClientRect();
      if (!e.closest('svg svg') && b.right > width + 1) r.over.push(e.tagName + ' ' + e.textContent.slice(0, 40));
      if (e.textContent && !e.children.length && b.width) {
        const plot = e.closest('svg.plot');
        const scale = plot ? plot.getBoundingClientRect().width / plot.viewBox.baseVal.width : 1;
        const size = parseFloat(w.getComputedStyle(e).fontSize) * scale;
        if (size < r.small) { r.small = size; r.words = e.textContent; }
      }
    }
    out.push(r);
    if (--left === 0) { const p = document.createElement('pre'); p.id = 'out'; p.textContent = JSON.stringify(out); document.body.append(p); }
  };
  f.src = '/' + name;
  document.body.append(f);
}
</script>`

// shown is how a page came out.
type shown struct {
	Name       string
	Width      float64
	Scroll     float64
	Background string
	Over       []string
	Small      float64
	Words      string
	Slides     bool     // whether a table wider than its frame can be moved in it
	Loads      []string // what the page asked for, as the browser itself counts it
}

// smallestType in CSS pixels that can be read beside a tripod; drawings shrink a little on a phone.
const smallestType = 13.5

// leaky is a page that asks for something: the net must catch it.
const leaky = `<!DOCTYPE html><style>html { background: #000 }</style><img alt="" src="http://elsewhere.test/spy.png"><p>x`

// display opens all pages in one browser, which takes seconds to start.
func display(t *testing.T, ps map[string]string) []shown {
	t.Helper()
	names := slices.Sorted(maps.Keys(ps))
	list, err := json.Marshal(names)
	if err != nil {
		t.Fatal(err)
	}
	w := web(maps.Clone(ps))
	w["frame"] = fmt.Sprintf(frame, list)
	m := regexp.MustCompile(`(?s)<pre id="out">(.*?)</pre>`).FindStringSubmatch(w.open(t, "frame"))
	if m == nil {
		t.Fatal("the frame was not finished")
	}
	var out []shown
	if err := json.Unmarshal([]byte(html.UnescapeString(m[1])), &out); err != nil {
		t.Fatal(err)
	}
	if len(out) != 2*len(names) {
		t.Fatalf("%d windows, want %d", len(out), 2*len(names))
	}
	return out
}

func TestInTheBrowser(t *testing.T) {
	browsertest.Find(t)
	ps := pages(t)
	ps["leaky"] = leaky
	for _, s := range display(t, ps) {
		if s.Name == "leaky" {
			if !slices.Equal(s.Loads, []string{"http://elsewhere.test/spy.png"}) {
				t.Errorf("the net did not catch a request, only %q", s.Loads)
			}
			continue
		}
		if len(s.Loads) > 0 {
			t.Errorf("%s asked for %q", s.Name, s.Loads)
		}
		if s.Scroll > s.Width || len(s.Over) > 0 {
			t.Errorf("%s at %.0f px: %.0f px wide, beyond the window: %q", s.Name, s.Width, s.Scroll, s.Over)
		}
		if !s.Slides {
			t.Errorf("%s at %.0f px: the table is cut off", s.Name, s.Width)
		}
		if s.Background != "rgb(0, 0, 0)" {
			t.Errorf("%s: the background is %s, want black", s.Name, s.Background)
		}
		if s.Small < smallestType {
			t.Errorf("%s at %.0f px: type of %.1f px in %q", s.Name, s.Width, s.Small, s.Words)
		}
	}
}
