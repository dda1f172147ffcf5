package page

import (
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"trueturn/align/guide"
	"trueturn/cmd/session"
	"trueturn/cmd/session/evening"
	"trueturn/ephem"
)

// astray has a page reckon with a place nearly three thousand kilometres from where the pictures say they were taken.
func astray(t *testing.T, session string, notes *evening.Notebook) func(*Options) {
	t.Helper()
	site, err := ephem.NewSite(46.02, 45, 1620)
	if err != nil {
		t.Fatal(err)
	}
	return func(o *Options) {
		o.SessionDir, o.Notes = session, notes
		o.Guide.Answer.Site = &site
	}
}

// sendAll sends the evening's pictures and waits until they are measured.
func (s *served) sendAll(e *evening.Pictures) *session.Word {
	s.t.Helper()
	for i := range e.JPEG {
		body, kind := form(sentPart{"picture", fmt.Sprintf("sky-%d.jpg", i), string(e.JPEG[i])})
		if resp, text := s.do(http.MethodPost, "upload", body, "Content-Type", kind); resp.StatusCode != http.StatusOK {
			s.t.Fatalf("%s: %s", resp.Status, text)
		}
	}
	eventually(s.t, "all is measured", func() bool {
		n, _ := s.page.session.Board().Look()
		return len(n.View.Frames) == len(e.JPEG) && n.Waiting == 0 && n.Working == ""
	})
	return s.word()
}

func (s *served) word() *session.Word {
	n, _ := s.page.session.Board().Look()
	return n
}

// answer sends the answer to a question.
func (s *served) answer(question string) int {
	s.t.Helper()
	resp, text := s.do(http.MethodPost, "settle", strings.NewReader("question="+question), "Content-Type", "application/x-www-form-urlencoded")
	if text != "" {
		s.t.Errorf("answered %q with %s: %q", question, resp.Status, text)
	}
	return resp.StatusCode
}

// TestSettle: a question of place and clock is answered from the page, once, and the answer outlives whatever ends the program.
func TestSettle(t *testing.T) {
	session, notes := filepath.Join(t.TempDir(), "session"), &evening.Notebook{}
	s := serve(t, astray(t, session, notes))
	e := evening.Eight(t)
	if code := s.answer("1"); code != http.StatusNotFound {
		t.Errorf("an answer before any question: %d", code)
	}
	n := s.sendAll(e)
	if q := n.View.Live.Question; q == nil || q.Number != 1 || !strings.Contains(string(n.JSON), `"question":{"number":1,"about":"site"}`) {
		t.Fatalf("no question is put: %+v", n.View.Live)
	}
	if !strings.Contains(notes.String(), n.View.Live.Instruction) || !strings.Contains(notes.String(), "--place-and-clock-right") {
		t.Errorf("at the keyboard: %s", notes)
	}
	for _, c := range []struct {
		question string
		code     int
	}{{"", 400}, {"one", 400}, {"0", 404}, {"2", 404}, {"99999999999999999999", 400}, {"-1", 404}, {strings.Repeat("1", 1<<16), 400}} {
		if code := s.answer(c.question); code != c.code {
			t.Errorf("an answer to question %.20q: %d, want %d", c.question, code, c.code)
		}
	}
	if got := s.word().View.Live; got.Question == nil {
		t.Fatalf("gone unanswered: %+v", got)
	}
	if code := s.answer("1"); code != http.StatusNoContent {
		t.Fatalf("the answer: %d", code)
	}
	crashed := evening.Copied(t, session)
	if code := s.answer("1"); code != http.StatusNoContent {
		t.Errorf("the answer, by another hand: %d", code)
	}
	after := s.word().View
	if after.Live.Question != nil || after.Live.Serial <= n.View.Live.Serial || after.Live.Instruction == n.View.Live.Instruction {
		t.Fatalf("answered: %+v", after.Live)
	}
	s.end()
	alone := evening.Copied(t, session)
	if err := os.Remove(filepath.Join(alone, "session.json")); err != nil {
		t.Fatal(err)
	}
	for name, dir := range map[string]string{"ended": session, "died at once": crashed, "journal alone": alone} {
		again := &evening.Notebook{}
		s := serve(t, astray(t, dir, again))
		if got := s.word().View.Live; got.Question != nil || got.Phase != after.Live.Phase || got.Instruction != after.Live.Instruction {
			t.Errorf("%s, started again: %s: %s\nbefore %s: %s", name, got.Phase, got.Instruction, after.Live.Phase, after.Live.Instruction)
		}
		if strings.Contains(again.String(), "damaged") {
			t.Errorf("%s: %s", name, again)
		}
		s.end()
	}
}

// TestSettledBeforehand: who says at the start that place and clock are right is not asked, and reads what was passed over.
func TestSettledBeforehand(t *testing.T) {
	notes := &evening.Notebook{}
	s := serve(t, astray(t, filepath.Join(t.TempDir(), "session"), notes), func(o *Options) { o.PlaceAndClockRight = true })
	n := s.sendAll(evening.Eight(t))
	if l := n.View.Live; l.Question != nil || l.Phase == guide.Waiting || strings.Contains(l.Instruction, "?") {
		t.Errorf("%s: %s", l.Phase, l.Instruction)
	}
	if c := strings.Count(notes.String(), "taken as right, as --place-and-clock-right says: Which place is right: "); c != 1 {
		t.Errorf("told %d times at the keyboard: %s", c, notes)
	}
}
