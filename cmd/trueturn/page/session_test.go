package page_test

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"mime/multipart"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"testing"
	"time"

	"trueturn/align/guide"
	"trueturn/cmd/trueturn/page"
)

// served is a page being served.
type served struct {
	t    testing.TB
	url  string
	stop func() // ends it and waits until it has; may be called twice
}

// serve opens a page and serves it until the test ends or stops it.
func serve(t testing.TB, o page.Options) *served {
	t.Helper()
	if o.SessionDir == "" {
		o.SessionDir = filepath.Join(t.TempDir(), "session")
	}
	p, err := page.Open(o)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- p.Serve(ctx) }()
	s := &served{t: t, url: p.URL()}
	stopped := false
	s.stop = func() {
		if stopped {
			return
		}
		stopped = true
		cancel()
		select {
		case err := <-done:
			if err != nil {
				t.Errorf("the page ended with: %v", err)
			}
		case <-time.After(patience):
			t.Error("the page does not end")
		}
	}
	t.Cleanup(s.stop)
	return s
}

// account is the state as programs read it.
type account struct {
	guide.View
	Live liveAccount `json:"live"`
}

// liveAccount is "live" of the state.
type liveAccount struct {
	guide.Live
	Waiting int    `json:"waiting"`
	Working string `json:"working"`
}

// flag is how a flag of the command line looks: who has a page before him has no use for one.
var flag = regexp.MustCompile(`(^|[^-\w])--[a-z]`)

// state asks for the state.
func (s *served) state() account {
	s.t.Helper()
	var v account
	body := s.get("state")
	if at := flag.FindIndex(body); at != nil {
		s.t.Errorf("the page names a flag: %s", body[max(0, at[0]-100):at[1]+20])
	}
	if err := json.Unmarshal(body, &v); err != nil {
		s.t.Fatal(err)
	}
	return v
}

// get fetches a part of the page.
func (s *served) get(part string) []byte {
	s.t.Helper()
	r, err := http.Get(s.url + part)
	if err != nil {
		s.t.Fatal(err)
	}
	defer r.Body.Close()
	body, err := io.ReadAll(r.Body)
	if err != nil {
		s.t.Fatal(err)
	}
	if r.StatusCode != http.StatusOK {
		s.t.Fatalf("%s: %s", part, r.Status)
	}
	return body
}

// until waits for a state.
func (s *served) until(what string, ok func(account) bool) account {
	s.t.Helper()
	for end := time.Now().Add(patience); ; time.Sleep(20 * time.Millisecond) {
		v := s.state()
		if ok(v) {
			return v
		}
		if time.Now().After(end) {
			s.t.Fatalf("waited in vain: %s; the state is %s", what, summary(v))
		}
	}
}

// summary is a state in a line.
func summary(v account) string {
	used := 0
	for _, f := range v.Frames {
		if f.Used {
			used++
		}
	}
	return fmt.Sprintf("%s (%s %s): %q %q, %d of %d pictures used, %d waiting", v.Live.Phase, v.Live.Kind, v.Live.Knob,
		v.Live.Headline, v.Live.Instruction, used, len(v.Frames), v.Live.Waiting)
}

// post sends pictures in one go, as a program does.
func post(t testing.TB, s *served, paths ...string) {
	t.Helper()
	var body bytes.Buffer
	form := multipart.NewWriter(&body)
	for _, path := range paths {
		content, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		part, err := form.CreateFormFile("picture", filepath.Base(path))
		if err != nil {
			t.Fatal(err)
		}
		part.Write(content)
	}
	form.Close()
	r, err := http.Post(s.url+"upload", form.FormDataContentType(), &body)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	if r.StatusCode != http.StatusOK {
		said, _ := io.ReadAll(r.Body)
		t.Fatalf("upload: %s %s", r.Status, said)
	}
}
