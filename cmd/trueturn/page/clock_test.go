package page_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"trueturn/align"
)

// TestClockSetOnThePage: the camera's clock is set back after a turn that was made as asked. The turn is not asked for again, the
// clock is named once, and the journal alone tells the same.
func TestClockSetOnThePage(t *testing.T) {
	t.Parallel()
	s := newScene(t, 46)
	o := wanting(30 * time.Second)
	o.SessionDir = filepath.Join(t.TempDir(), "session")
	srv := serve(t, o)
	send := func(paths ...string) account {
		before := len(srv.state().Frames)
		post(t, srv, paths...)
		return srv.until("the pictures are measured", func(v account) bool {
			return len(v.Frames) == before+len(paths) && v.Live.Waiting == 0 && v.Live.Working == ""
		})
	}
	v := send(s.measured()...)
	altitude, azimuth, ok := obeyed(v.Live.Instruction)
	if !ok {
		t.Fatalf("no turn is asked: %s", summary(v))
	}
	knob := v.Live.Knob
	s.turn(altitude, azimuth)
	s.e.Handling.ClockError -= time.Hour
	v = send(s.take())
	if !strings.HasPrefix(v.Live.Instruction, "The camera's clock was set back by an hour before sky-005.jpg") || v.Live.Knob == knob && v.Live.Kind == "turn" {
		t.Errorf("after the turn: %s", summary(v))
	}
	v = send(s.take())
	if strings.Contains(v.Live.Instruction, "clock") || named(v) != 1 || v.Live.Phase == "measuring" {
		t.Errorf("named %d times: %s", named(v), summary(v))
	}
	srv.stop()
	os.Remove(filepath.Join(o.SessionDir, "session.json"))
	srv = serve(t, o)
	if w := srv.state(); named(w) != 1 || len(w.Frames) != len(v.Frames) || *w.Frames[5].MidUTC != *v.Frames[5].MidUTC {
		t.Errorf("from the journal: %s; it was %s", summary(w), summary(v))
	}
}

// named counts how often the clock is.
func named(v account) (n int) {
	for _, x := range v.Situations {
		if x.Kind == string(align.KindClock) {
			n++
		}
	}
	return n
}
