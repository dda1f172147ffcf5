package page

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
	"trueturn/cmd/session/evening"
	"trueturn/cmd/session/store"
	"trueturn/cmd/trueturn/page/disk"
	"unicode"
	"unicode/utf8"
)

// send uploads a form and reads the answer.
func (s *served) send(parts ...sentPart) (int, uploadJSON) {
	s.t.Helper()
	body, kind := form(parts...)
	return s.sendBody(body, kind)
}

func (s *served) sendBody(body io.Reader, kind string) (int, uploadJSON) {
	s.t.Helper()
	resp, text := s.do("POST", "upload", body, "Content-Type", kind)
	return resp.StatusCode, s.uploaded(text)
}

func (s *served) uploaded(text string) uploadJSON {
	s.t.Helper()
	var a uploadJSON
	d := json.NewDecoder(strings.NewReader(text))
	d.DisallowUnknownFields()
	if err := d.Decode(&a); err != nil {
		s.t.Fatalf("answer %q: %v", text, err)
	}
	if a.Files == nil {
		s.t.Errorf("files is null in %q", text)
	}
	return a
}

// names are what the pictures in an answer are called, those not taken with a dash before.
func (a uploadJSON) names() []string {
	var all []string
	for _, f := range a.Files {
		name := f.File
		if !f.Taken {
			name = "-" + name
		}
		all = append(all, name)
	}
	return all
}

// listed is the picture of that name as the state lists it.
func (s *served) listed(name string) (used bool, whyNot string, there bool) {
	n, _ := s.page.session.Board().Look()
	for _, f := range n.View.Frames {
		if f.File == name {
			return f.Used, f.WhyNot, true
		}
	}
	return false, "", false
}

// inbox are the files in the spool.
func (s *served) inbox() []string {
	found, err := filepath.Glob(filepath.Join(s.page.o.SessionDir, "inbox", "*"))
	if err != nil {
		s.t.Fatal(err)
	}
	return found
}

// TestUpload is what browsers and others may send, and what becomes of it.
func TestUpload(t *testing.T) {
	long := strings.Repeat("ä", 300) + ".jpg"
	many := make([]sentPart, picturesMost+1)
	for i := range many {
		many[i] = sentPart{pictureField, fmt.Sprintf("%03d.jpg", i), ""}
	}
	for _, row := range []struct {
		name   string
		parts  []sentPart
		status int
		files  []string
	}{
		{"one", []sentPart{{pictureField, "sky.jpg", "no picture"}}, 200, []string{"sky.jpg"}},
		{"several", []sentPart{{pictureField, "a.jpg", "1"}, {pictureField, "b.jpg", "2"}}, 200, []string{"a.jpg", "b.jpg"}},
		{"all called alike, as a phone's camera does", []sentPart{{pictureField, "image.jpg", "1"}, {pictureField, "image.jpg", "2"}, {pictureField, "image.jpg", "3"}},
			200, []string{"image.jpg", "image (2).jpg", "image (3).jpg"}},
		{"empty file", []sentPart{{pictureField, "empty.jpg", ""}}, 200, []string{"empty.jpg"}},
		{"other fields beside", []sentPart{{"comment", "", "hello"}, {pictureField, "a.jpg", "1"}, {"other", "b.jpg", "2"}}, 200, []string{"a.jpg"}},
		{"other fields alone", []sentPart{{"file", "a.jpg", "1"}}, 400, nil},
		{"nothing", nil, 400, nil},
		{"nothing chosen", []sentPart{{pictureField, "", ""}}, 400, nil},
		{"no name", []sentPart{{pictureField, "", "content"}}, 200, []string{"picture"}},
		{"path", []sentPart{{pictureField, "../../../etc/passwd", "1"}}, 200, []string{"passwd"}},
		{"full path", []sentPart{{pictureField, "/etc/passwd", "1"}}, 200, []string{"passwd"}},
		{"path with other slashes", []sentPart{{pictureField, `C:\Users\me\sky.jpg`, "1"}}, 200, []string{"sky.jpg"}},
		{"folder only", []sentPart{{pictureField, "../", "1"}}, 200, []string{"picture"}},
		{"dots only", []sentPart{{pictureField, "..", "1"}}, 200, []string{"picture"}},
		{"hidden", []sentPart{{pictureField, ".htaccess", "1"}}, 200, []string{"htaccess"}},
		{"HTML", []sentPart{{pictureField, "<img src=x onerror=alert(1)>.jpg", "1"}}, 200, []string{"<img src=x onerror=alert(1)>.jpg"}},
		{"turned round", []sentPart{{pictureField, "sky\u202egpj.exe", "1"}}, 200, []string{"skygpj.exe"}},
		{"not UTF-8", []sentPart{{pictureField, "sky\xff\xfe.jpg", "1"}}, 200, []string{"sky.jpg"}},
		{"end of a C string", []sentPart{{pictureField, "sky.jpg\x00.exe", "1"}}, 400, nil},
		{"other writing", []sentPart{{pictureField, "夜空 ★.jpg", "1"}}, 200, []string{"夜空 ★.jpg"}},
		{"long", []sentPart{{pictureField, long, "1"}}, 200, []string{strings.Repeat("ä", 56) + "….jpg"}},
		{"device of another system", []sentPart{{pictureField, "CON", "1"}}, 200, []string{"CON"}},
		{"too many", many, 413, nil},
	} {
		t.Run(row.name, func(t *testing.T) {
			t.Parallel()
			s := serve(t)
			status, a := s.send(row.parts...)
			if status != row.status || (a.WhyNot == "") != (status == 200) || (a.Hint == "") != (status == 200) {
				t.Errorf("answered %d, %q, hint %q; want %d", status, a.WhyNot, a.Hint, row.status)
			}
			if got := a.names(); row.files != nil && !slices.Equal(got, row.files) {
				t.Errorf("took %q, want %q", got, row.files)
			}
			if row.status != 200 {
				return
			}
			for _, name := range row.files {
				// A broken picture is taken, and listed with the reason.
				eventually(t, name+" is listed", func() bool { _, _, there := s.listed(name); return there })
				if used, why, _ := s.listed(name); used || why == "" {
					t.Errorf("%s: used %v, why not %q", name, used, why)
				}
			}
			eventually(t, "the inbox is empty", func() bool { return len(s.inbox()) == 0 })
		})
	}
}

// TestUploadRaw is what no browser sends.
func TestUploadRaw(t *testing.T) {
	t.Parallel()
	s := serve(t)
	part := "--b\r\nContent-Disposition: form-data; name=\"picture\"; filename=\"a.jpg\"\r\n\r\n"
	const multi = "multipart/form-data; boundary=b"
	for _, row := range []struct {
		name, kind, body string
		header           string
		status           int
	}{
		{"no form", "image/jpeg", "content", "", 415},
		{"form without files", "application/x-www-form-urlencoded", "picture=a", "", 415},
		{"no kind", "", "content", "", 415},
		{"no boundary", "multipart/form-data", part + "1\r\n--b--\r\n", "", 415},
		{"boundary never comes", multi, "hello", "", 400},
		{"ends in a part", multi, part + "half a pic", "", 400},
		{"ends in a part's head", multi, "--b\r\nContent-Disp", "", 400},
		{"no end", multi, part + "1\r\n--b", "", 400},
		{"head without end", multi, "--b\r\n" + strings.Repeat("X-More: more\r\n", 20000), "", 400},
		{"after the end", multi, part + "1\r\n--b--\r\nmore", "", 200},
		{"expectation", multi, part + "1\r\n--b--\r\n", "Expect: 100-continue\r\n", 200},
	} {
		t.Run(row.name, func(t *testing.T) {
			head := fmt.Sprintf("POST %supload HTTP/1.1\r\nHost: %s\r\nConnection: close\r\nContent-Length: %d\r\n%s", s.path, s.host, len(row.body), row.header)
			if row.kind != "" {
				head += "Content-Type: " + row.kind + "\r\n"
			}
			answer := strings.TrimPrefix(s.raw(head+"\r\n"+row.body), "HTTP/1.1 100 Continue\r\n\r\n")
			if !strings.HasPrefix(answer, fmt.Sprintf("HTTP/1.1 %d ", row.status)) {
				t.Errorf("answered %.60q, want %d", answer, row.status)
			}
			_, text, _ := strings.Cut(answer, "\r\n\r\n")
			if a := s.uploaded(text); (a.WhyNot == "") != (row.status == 200) || (a.Hint == "") != (row.status == 200) {
				t.Errorf("why not %q, hint %q", a.WhyNot, a.Hint)
			}
		})
	}
	eventually(t, "the inbox is empty", func() bool { return len(s.inbox()) == 0 })
}

// TestUploadLies: a length that is not true, and a length that is too much.
func TestUploadLies(t *testing.T) {
	t.Parallel()
	s := serve(t)
	begin := "POST " + s.path + "upload HTTP/1.1\r\nHost: " + s.host + "\r\nContent-Type: multipart/form-data; boundary=b\r\n"
	part := "--b\r\nContent-Disposition: form-data; name=\"picture\"; filename=\"a.jpg\"\r\n\r\nhalf"

	c := s.dial() // says more than it sends, and goes
	fmt.Fprintf(c, "%sContent-Length: 1000000\r\n\r\n%s", begin, part)
	eventually(t, "it is being taken", func() bool { return len(s.inbox()) == 1 })
	c.Close()
	eventually(t, "nothing is left of it", func() bool { return len(s.inbox()) == 0 && len(s.page.uploads) == 0 })

	answer := s.raw(fmt.Sprintf("%sContent-Length: %d\r\n\r\n", begin, s.page.limits.request+1))
	if !strings.HasPrefix(answer, "HTTP/1.1 413 ") {
		t.Errorf("announced too much: %.60q", answer)
	}
	for _, length := range []string{"-1", "1e3", "99999999999999999999", "5, 6"} {
		if answer := s.raw(begin + "Content-Length: " + length + "\r\n\r\n"); !strings.HasPrefix(answer, "HTTP/1.1 400 ") {
			t.Errorf("length %s: %.60q", length, answer)
		}
	}
	if answer := s.raw(begin + "Transfer-Encoding: chunked\r\n\r\nZZ\r\n"); !strings.HasPrefix(answer, "HTTP/1.1 400 ") {
		t.Errorf("not chunked: %.60q", answer)
	}
	if resp, _ := s.do("GET", "state", nil); resp.StatusCode != http.StatusOK {
		t.Errorf("state afterwards: %s", resp.Status)
	}
}

// endless is a picture without end.
type endless struct{ sent int64 }

func (e *endless) Read(b []byte) (int, error) {
	clear(b)
	e.sent += int64(len(b))
	return len(b), nil
}

// TestUploadTooLarge: a picture that is too large is not kept, others sent with it are.
func TestUploadTooLarge(t *testing.T) {
	t.Parallel()
	p, err := Open(Options{SessionDir: filepath.Join(t.TempDir(), "session")})
	if err != nil {
		t.Fatal(err)
	}
	const most = 1 << 20
	p.limits.request, p.spool.most = 3*most, most
	s := start(t, p)
	whole, kind := form(sentPart{pictureField, "large.fits", "@"}, sentPart{pictureField, "small.jpg", "1"})
	before, after, _ := bytes.Cut(whole.Bytes(), []byte("@"))
	body := io.MultiReader(bytes.NewReader(before), io.LimitReader(&endless{}, most+1), bytes.NewReader(after))
	status, a := s.sendBody(body, kind)
	if status != 200 || !slices.Equal(a.names(), []string{"-large.fits", "small.jpg"}) || a.Files[0].WhyNot == "" || a.Files[0].Hint == "" {
		t.Errorf("answered %d, %+v", status, a)
	}
	for _, told := range []bool{true, false} {
		body, kind := form(sentPart{pictureField, "a.jpg", strings.Repeat("a", most)}, sentPart{pictureField, "b.jpg", strings.Repeat("b", 3*most)})
		from := io.Reader(body)
		if !told {
			from = io.MultiReader(body)
		}
		if status, a := s.sendBody(from, kind); status != http.StatusRequestEntityTooLarge || a.WhyNot == "" || a.Hint == "" {
			t.Errorf("too much at once, told of beforehand %v: %d, %+v", told, status, a)
		}
	}
	eventually(t, "the inbox is empty", func() bool { return len(s.inbox()) == 0 })
}

// TestUploadTrickle: who sends too slowly, or stops, is cut off and leaves nothing behind.
func TestUploadTrickle(t *testing.T) {
	t.Parallel()
	p, err := Open(Options{SessionDir: filepath.Join(t.TempDir(), "session")})
	if err != nil {
		t.Fatal(err)
	}
	p.limits.pause, p.limits.grace = 300*time.Millisecond, time.Second
	s := start(t, p)
	for _, row := range []struct {
		name  string
		every time.Duration // 0: nothing more comes
	}{{"stops", 0}, {"letter by letter", 100 * time.Millisecond}} {
		t.Run(row.name, func(t *testing.T) {
			c := s.dial()
			defer c.Close()
			fmt.Fprintf(c, "POST %supload HTTP/1.1\r\nHost: %s\r\nContent-Type: multipart/form-data; boundary=b\r\nContent-Length: 1000000\r\n\r\n"+
				"--b\r\nContent-Disposition: form-data; name=\"picture\"; filename=\"a.jpg\"\r\n\r\nhalf", s.path, s.host)
			answered := make(chan string, 1)
			go func() {
				c.SetReadDeadline(time.Now().Add(evening.Patience))
				all, _ := io.ReadAll(c)
				answered <- string(all)
			}()
			var answer string
			for answer == "" {
				select {
				case answer = <-answered:
				case <-time.After(max(row.every, 20*time.Millisecond)):
					if row.every > 0 {
						io.WriteString(c, "a")
					}
				}
			}
			if !strings.HasPrefix(answer, "HTTP/1.1 408 ") {
				t.Errorf("answered %.80q", answer)
			}
			eventually(t, "nothing is left of it", func() bool { return len(s.inbox()) == 0 && len(p.uploads) == 0 })
		})
	}
}

// TestUploadsAtOnce: so many and no more.
func TestUploadsAtOnce(t *testing.T) {
	t.Parallel()
	s := serve(t)
	for range uploadsAtOnce {
		c := s.dial()
		defer c.Close()
		fmt.Fprintf(c, "POST %supload HTTP/1.1\r\nHost: %s\r\nContent-Type: multipart/form-data; boundary=b\r\nContent-Length: 1000\r\n\r\n--b\r\n", s.path, s.host)
	}
	eventually(t, "all places are taken", func() bool { return len(s.page.uploads) == uploadsAtOnce })
	body, kind := form(sentPart{pictureField, "a.jpg", "1"})
	resp, text := s.do("POST", "upload", body, "Content-Type", kind)
	if a := s.uploaded(text); resp.StatusCode != 503 || resp.Header.Get("Retry-After") == "" || a.Hint == "" || len(a.Files) != 0 {
		t.Errorf("one too many: %s %+v", resp.Status, a)
	}
	if resp, _ := s.do("GET", "state", nil); resp.StatusCode != 200 {
		t.Errorf("state meanwhile: %s", resp.Status)
	}
}

// TestUploadUnkept: where the machine cannot keep a picture it says so and nothing is left; the name is free again.
func TestUploadUnkept(t *testing.T) {
	s := serve(t)
	dir := filepath.Join(s.page.o.SessionDir, "inbox")
	if err := os.RemoveAll(dir); err != nil {
		t.Fatal(err)
	}
	if status, a := s.send(sentPart{pictureField, "a.jpg", "1"}); status != 500 || !slices.Equal(a.names(), []string{"-a.jpg"}) || a.Files[0].Hint == "" {
		t.Errorf("answered %d, %+v", status, a)
	}
	if err := os.Mkdir(dir, 0o700); err != nil {
		t.Fatal(err)
	}
	if status, a := s.send(sentPart{pictureField, "a.jpg", "1"}); status != 200 || !slices.Equal(a.names(), []string{"a.jpg"}) {
		t.Errorf("answered %d, %+v", status, a)
	}
}

// TestUploadFull: when too many pictures wait the browser is told to come later, and nothing is kept of what was sent.
func TestUploadFull(t *testing.T) {
	p, err := Open(Options{SessionDir: filepath.Join(t.TempDir(), "session")}) // and nobody measures
	if err != nil {
		t.Fatal(err)
	}
	defer p.listener.Close()
	defer p.folder.Close()
	for err = nil; err == nil; {
		err = p.session.Offer(store.Picture{})
	}
	s := &served{t: t, page: p}
	u := &receiving{p: s.page}
	if err := u.picture("a.jpg", strings.NewReader("1")); err != nil {
		t.Fatal(err)
	}
	if u.status != 503 || u.files[0].Taken || u.files[0].Hint == "" || len(s.inbox()) != 0 {
		t.Errorf("status %d, %+v, %q in the inbox", u.status, u.files, s.inbox())
	}
}

// TestReadmit: what was sent and not measured before the page stopped is measured when it starts again, under the
// name it was told; what a crash cut off is gone.
func TestReadmit(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "session")
	folder, err := disk.Open(dir, "")
	if err != nil {
		t.Fatal(err)
	}
	spooled := newSpool(folder, usualLimits.picture)
	const name = "sky <b>夜.jpg"
	k, err := spooled.keep(name, strings.NewReader("no picture"))
	if err != nil {
		t.Fatal(err)
	}
	k.settle()
	folder.Close()
	for _, other := range []string{"1-ABCDEFGH-YQ" + ".sent" + disk.PartEnding, "notes.txt", "1-2.sent"} {
		if err := os.WriteFile(filepath.Join(dir, "inbox", other), nil, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	s := serve(t, func(o *Options) { o.SessionDir = dir })
	eventually(t, "it is listed", func() bool { _, _, there := s.listed(name); return there })
	eventually(t, "only what is not ours is left", func() bool { return len(s.inbox()) == 2 })
	if status, a := s.send(sentPart{pictureField, name, "other"}); status != 200 || a.Files[0].File == name {
		t.Errorf("another of that name: %d, %+v", status, a)
	}
}

// nameRows are names as sent and as shown.
var nameRows = []struct{ sent, shown string }{
	{"sky.jpg", "sky.jpg"},
	{"two words.jpg", "two words.jpg"},
	{"", "picture"}, {".", "picture"}, {"..", "picture"}, {"/", "picture"}, {`\`, "picture"}, {"\u202e", "picture"}, {" \t\n", "picture"},
	{"a/b", "b"}, {`a\b`, "b"}, {`../..\c`, "c"},
	{"line\nbreak.jpg", "line break.jpg"}, {"bell\a.jpg", "bell.jpg"}, {"\x1b[31mred.jpg", "[31mred.jpg"},
	{"...dots.jpg", "dots.jpg"}, {". 0000", "0000"}, {". . .jpg", "jpg"}, {"zero\u200bwidth.jpg", "zerowidth.jpg"},
}

func TestCleanName(t *testing.T) {
	for _, row := range nameRows {
		if got := disk.CleanName(row.sent); got != row.shown {
			t.Errorf("%q is shown as %q, want %q", row.sent, got, row.shown)
		}
	}
}

// FuzzNames: whatever a name is, it is shown in one short printable line without folders, and the file it is kept in has
// a name of our own that fits any disk and leads back to it.
func FuzzNames(f *testing.F) {
	for _, row := range nameRows {
		f.Add(row.sent)
	}
	f.Add(strings.Repeat("ä", 300) + ".jpg")
	f.Fuzz(func(t *testing.T, sent string) {
		name := disk.CleanName(sent)
		if name == "" || len(name) > disk.NameBytes || !utf8.ValidString(name) || strings.ContainsAny(name, `/\`) || name[0] == '.' {
			t.Errorf("%q is shown as %q", sent, name)
		}
		for _, r := range name {
			if !unicode.IsPrint(r) {
				t.Errorf("%q is shown as %q", sent, name)
			}
		}
		if again := disk.CleanName(name); again != name {
			t.Errorf("%q cleaned again is %q", name, again)
		}
		file := disk.SentName(time.Unix(1764000000, 123456789), name)
		const longestFile = 255 // bytes, of the usual file systems
		if len(file)+len(disk.PartEnding) > longestFile || filepath.Base(file) != file {
			t.Errorf("kept in %q", file)
		}
		if back, ours := disk.ShownName(file); back != name || !ours {
			t.Errorf("%q leads back to %q", name, back)
		}
	})
}
