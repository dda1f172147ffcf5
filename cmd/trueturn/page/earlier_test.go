package page_test

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"trueturn/align/answer"
	"trueturn/ephem"
)

// earlierFiles holds a session folder as an earlier version left it; its README says how it was made.
const earlierFiles = "../../face/testdata/earlier"

// movedSigmas is how far the axis of an earlier session may move, in its own stated errors, before the journal was not
// understood: a better fit moves it by a part of them, a field misread by hundreds.
const movedSigmas = 1

// TestEarlierSessions: a session folder of an earlier version goes on where it was, and from its journal alone every picture is
// known.
func TestEarlierSessions(t *testing.T) {
	t.Parallel()
	var was account
	text, err := os.ReadFile(filepath.Join(earlierFiles, "state.json"))
	if err == nil {
		err = json.Unmarshal(text, &was)
	}
	if err != nil {
		t.Fatal(err)
	}
	for _, journalAlone := range []bool{false, true} {
		dir := t.TempDir()
		if err := os.CopyFS(dir, os.DirFS(filepath.Join(earlierFiles, "session"))); err != nil {
			t.Fatal(err)
		}
		if journalAlone {
			os.Remove(filepath.Join(dir, "session.json"))
		}
		site, err := ephem.NewSite(46.02, 7.75, 1620)
		if err != nil {
			t.Fatal(err)
		}
		o := wanting(2 * time.Minute)
		o.SessionDir, o.Guide.Answer.Site = dir, &site
		s := serve(t, o)
		is := s.state()
		s.stop()
		if got, want := filesIn(is.Frames), filesIn(was.Frames); !slices.Equal(got, want) {
			t.Errorf("journal alone %v: pictures %v, were %v", journalAlone, got, want)
		}
		for _, f := range is.Frames {
			if (f.RADeg == nil) != (f.File == "letter.jpg") {
				t.Errorf("journal alone %v: %s has no place in the sky, or a letter has: %s", journalAlone, f.File, f.WhyNot)
			}
		}
		if journalAlone {
			t.Log(summary(is), is.Axis)
			continue
		}
		a, b := is.Axis, was.Axis
		if a == nil || math.Abs(a.AltitudeDeg-b.AltitudeDeg)*60 > movedSigmas*b.AltitudeSigmaArcmin ||
			math.Abs(a.AzimuthDeg-b.AzimuthDeg)*60 > movedSigmas*b.AzimuthSigmaArcmin {
			t.Errorf("the axis is %+v, was %+v", a, b)
		}
		if is.Live.Phase != was.Live.Phase {
			t.Errorf("%s, was %s", is.Live.Phase, was.Live.Phase)
		}
	}
}

func filesIn(frames []answer.FrameJSON) (list []string) {
	for _, f := range frames {
		list = append(list, f.File)
	}
	return list
}
