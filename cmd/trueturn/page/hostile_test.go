package page_test

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"io/fs"
	"mime/multipart"
	"net/http"
	"net/textproto"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"trueturn/cmd/legible"
	"trueturn/cmd/trueturn/browsertest"
)

// hostile is something sent to the page that is no picture of the sky.
type hostile struct {
	name    string // as its sender calls it
	content []byte
	large   int64 // grown with nothing to this size
	refused bool  // by the upload; else taken, and listed as not used
}

// largestBytes is what a single picture may have.
const largestBytes = 256 << 20

// scriptName would run a script wherever names are written into the page as HTML.
const scriptName = `<img src=x onerror=window.bitten=1><script>window.bitten=2</script>.jpg`

// hostiles are made of a sound picture.
func hostiles(sound []byte) []hostile {
	return []hostile{
		{name: "bomb.png", content: pngBomb(60_000, 60_000)},
		{name: "cut.jpg", content: sound[:len(sound)/2]},
		{name: "empty.jpg"},
		{name: "letter.jpg", content: []byte("Dear Sir or Madam,\n")},
		{name: "page.jpg", content: []byte(`<!DOCTYPE html><script>window.bitten=3</script>`)},
		{name: "drawing.svg", content: []byte(`<svg xmlns="http://www.w3.org/2000/svg" onload="window.bitten=4"/>`)},
		{name: scriptName, content: []byte("not a picture")},
		{name: "hu\u202ege\u009b.jpg", content: sound, large: largestBytes + 1, refused: true},
	}
}

// pngBomb is a picture of a few bytes that says it has so many pixels (W3C, Portable Network Graphics Specification, 3rd
// ed., sections 5.3 and 11.2.1: length, type, data and CRC-32 of a chunk; IHDR).
func pngBomb(width, height uint32) []byte {
	var b bytes.Buffer
	b.WriteString("\x89PNG\r\n\x1a\n")
	chunk := func(kind string, data []byte) {
		binary.Write(&b, binary.BigEndian, uint32(len(data)))
		typed := append([]byte(kind), data...)
		b.Write(typed)
		binary.Write(&b, binary.BigEndian, crc32.ChecksumIEEE(typed))
	}
	head := binary.BigEndian.AppendUint32(binary.BigEndian.AppendUint32(nil, width), height)
	chunk("IHDR", append(head, 8, 0, 0, 0, 0))
	chunk("IDAT", []byte{0x78, 0x9c, 0x03, 0, 0, 0, 0, 1}) // zlib, empty
	chunk("IEND", nil)
	return b.Bytes()
}

// write puts it on the disk, where the browser takes it from.
func (h hostile) write(t *testing.T, dir string) string {
	t.Helper()
	path := filepath.Join(dir, strings.ReplaceAll(h.name, "/", "∕")) // a slash cannot be in a file's name; its look-alike can
	if err := os.WriteFile(path, h.content, 0o600); err != nil {
		t.Fatal(err)
	}
	if h.large > 0 {
		if err := os.Truncate(path, h.large); err != nil {
			t.Fatal(err)
		}
	}
	return path
}

// hostileUploads: what is sent with bad intent, or broken, is refused or listed with the way out, runs no script, writes nothing outside the session, and the
// evening goes on.
func hostileUploads(t *testing.T, p *tab) {
	s := newScene(t, 46, nearer)
	around := t.TempDir()
	o := wanting(0)
	o.SessionDir = filepath.Join(around, "deep", "session")
	srv := serve(t, o)
	visit(t, srv, p)
	first := s.take()
	sound, err := os.ReadFile(first)
	if err != nil {
		t.Fatal(err)
	}
	var taken []string
	for _, h := range hostiles(sound) {
		path := h.write(t, t.TempDir())
		p.Do(chromedp.SetUploadFiles(chromedp.CSS("#pick"), []string{path}))
		name := filepath.Base(path)
		if h.refused {
			name = legible.Line(name)
			p.Until("the page says that "+name+" was refused", `[...document.querySelectorAll('#ways li')].some(e => e.textContent.includes(`+browsertest.Quoted(name)+`) && /larger|MB/.test(e.textContent))`)
			continue
		}
		taken = append(taken, name)
		p.Until("the page lists "+name, `document.querySelector('#pictures').textContent.includes(`+browsertest.Quoted(name)+`)`)
	}
	taken = append(taken, sendPaths(t, srv)...)
	v := srv.until("all are listed", func(v account) bool {
		return len(v.Frames) == len(taken) && v.Live.Waiting == 0 && v.Live.Working == ""
	})
	for _, f := range v.Frames {
		if f.Used || f.WhyNot == "" {
			t.Errorf("%q is used %v, why not: %q", f.File, f.Used, f.WhyNot)
		}
		if !slices.Contains(taken, f.File) {
			t.Errorf("a picture is called %q", f.File)
		}
		p.Until("the page says why "+f.File+" was not used", `[...document.querySelectorAll('#pictures li')].some(e => e.textContent.includes(`+browsertest.Quoted(f.File)+`) && e.textContent.includes(`+browsertest.Quoted(f.WhyNot)+`))`)
	}
	p.shoot("hostile")
	onlyIn(t, around, o.SessionDir)
	if v = p.send(srv, append([]string{first}, s.measured()...)...); v.Axis == nil {
		t.Errorf("after hostile uploads the evening does not go on: %s", summary(v))
	}
	if bitten := browsertest.Eval[any](p, `window.bitten ?? null`); bitten != nil {
		t.Errorf("a script of a stranger ran: %v", bitten)
	}
	p.quiet(srv.url, "413 (Request Entity Too Large)")
}

// sendPaths sends names no browser would, and returns what they are to be called.
func sendPaths(t *testing.T, srv *served) (shown []string) {
	t.Helper()
	for i, sent := range []string{"../../../../escape-%d.jpg", "/etc/escape-%d.jpg", `..\..\escape-%d.jpg`, "inbox/../../escape-%d.jpg"} {
		sent = fmt.Sprintf(sent, i)
		var body bytes.Buffer
		form := multipart.NewWriter(&body)
		head := textproto.MIMEHeader{}
		head.Set("Content-Disposition", `form-data; name="picture"; filename="`+strings.ReplaceAll(sent, `\`, `\\`)+`"`)
		part, err := form.CreatePart(head)
		if err != nil {
			t.Fatal(err)
		}
		part.Write([]byte("not a picture either " + sent))
		form.Close()
		r, err := http.Post(srv.url+"upload", form.FormDataContentType(), &body)
		if err != nil {
			t.Fatal(err)
		}
		r.Body.Close()
		if r.StatusCode != http.StatusOK {
			t.Errorf("%q: %s", sent, r.Status)
		}
		shown = append(shown, fmt.Sprintf("escape-%d.jpg", i))
	}
	return shown
}

// onlyIn fails for files outside a folder.
func onlyIn(t *testing.T, around, folder string) {
	t.Helper()
	filepath.WalkDir(around, func(path string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() && !strings.HasPrefix(path, folder+string(filepath.Separator)) {
			t.Errorf("written outside the session: %s", path)
		}
		return nil
	})
}
