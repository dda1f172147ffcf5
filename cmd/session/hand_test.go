package session

import (
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"trueturn/align/guide"
	"trueturn/cmd/session/evening"
	"trueturn/cmd/words"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
)

// TestThrownOut: a picture thrown out by hand takes no part any more, in the answer and after a restart, until it is taken back.
func TestThrownOut(t *testing.T) {
	dir, e := t.TempDir(), evening.Eight(t)
	session := filepath.Join(dir, "session")
	w := work(t, "", session, quick)
	name := func(i int) string { return fmt.Sprintf("sky-%d.jpg", i) }
	for i := range 6 {
		w.must(e.Write(t, i, dir, name(i)))
	}
	whole := w.frames(6)
	without := work(t, "", filepath.Join(dir, "without"), quick)
	for i := range 6 {
		if i != 2 {
			without.must(e.Write(t, i, dir, name(i)))
		}
	}
	five := without.frames(5)

	if err := w.ThrowOut(t.Context(), "nothing.jpg", false); !errors.Is(err, ErrNoPicture) {
		t.Errorf("a picture nobody sent: %v", err)
	}
	for range 2 { // twice is once
		if err := w.ThrowOut(t.Context(), name(2), false); err != nil {
			t.Fatal(err)
		}
	}
	out := func(w *working) {
		t.Helper()
		n := w.frames(6)
		told := readTold(t, n)
		for _, f := range n.View.Frames {
			if f.Used == (f.File == name(2)) || f.File == name(2) && f.WhyNot != errThrownOut.Error() {
				t.Errorf("%s: used %v, %s", f.File, f.Used, f.WhyNot)
			}
		}
		if !slices.Equal(told.Live.Thrown, []string{name(2)}) {
			t.Errorf("thrown out: %q", told.Live.Thrown)
		}
		if got, want := n.View.Axis, five.View.Axis; !cmp.Equal(got, want, cmpopts.EquateApprox(1e-6, 0)) { // neighbours hint
			t.Errorf("the axis is %+v, without the picture %+v", got, want)
		}
	}
	out(w)
	crashed := evening.Copied(t, session)
	w.stop()
	out(work(t, "", session, quick))
	again := work(t, "", crashed, quick)
	out(again)
	if err := again.ThrowOut(t.Context(), name(2), true); err != nil {
		t.Fatal(err)
	}
	n := again.frames(6)
	sameAnswer(t, n, whole)
	if n.View.Live.Serial <= whole.View.Live.Serial {
		t.Error("its serial went back")
	}
}

// TestAfresh: begun afresh, a session knows nothing of the pictures before, and goes on with those that come; what a
// browser sends once more counts.
func TestAfresh(t *testing.T) {
	dir, e := t.TempDir(), evening.Eight(t)
	session := filepath.Join(dir, "session")
	w := work(t, "", session, quick)
	for i := range 4 {
		w.must(e.Write(t, i, dir, fmt.Sprintf("sky-%d.jpg", i)))
	}
	w.frames(4)
	if err := w.Afresh(t.Context()); err != nil {
		t.Fatal(err)
	}
	n := w.until("it is empty", func(n *Word) bool { return len(n.View.Frames) == 0 })
	if n.View.Live.Phase != guide.Waiting || n.View.Axis != nil {
		t.Errorf("afresh: %+v", n.View.Live)
	}
	crashed := evening.Copied(t, session)
	for i := 3; i < 6; i++ {
		w.must(e.Write(t, i, dir, fmt.Sprintf("sky-%d.jpg", i)))
	}
	if n := w.frames(3); len(n.View.Frames) != 3 {
		t.Errorf("listed: %s", n.JSON)
	}
	w.stop()
	for dir, count := range map[string]int{session: 3, crashed: 0} {
		again := work(t, "", dir, quick)
		if n, _ := again.board.Look(); len(n.View.Frames) != count {
			t.Errorf("started again: %d pictures, want %d", len(n.View.Frames), count)
		}
	}
}

// TestDescribed: what the pictures do not say can be said at the page; those in the folder are measured again by themselves, a
// browser's are taken when sent again, and the next start knows.
func TestDescribed(t *testing.T) {
	dir, e := t.TempDir(), evening.Eight(t)
	session, shots := filepath.Join(dir, "session"), t.TempDir()
	o := options(t, shots, session)
	o.Guide.Answer.Site = nil
	w := workWith(t, o, quick)
	e.WriteWithoutZone(t, 0, shots, "sky-0.jpg")
	sent := func() {
		p := e.WriteWithoutZone(t, 1, dir, "sent.jpg")
		p.Sent = true
		w.must(p)
	}
	sent()
	n := w.frames(2)
	if told := readTold(t, n); !slices.Contains(told.Live.Wants, "zone") {
		t.Errorf("it wants %q", told.Live.Wants)
	}
	for _, bad := range []Told{{Zone: "somewhere"}, {Zone: "+99:00"}, {Site: "91,0"}, {Site: "here"}, {Equivalent: "wide"}, {Equivalent: "0"}, {Equivalent: "NaN"}} {
		if err := w.Describe(t.Context(), bad); err == nil || words.PageHint(err) == "" {
			t.Errorf("%+v: %v without a way out", bad, err)
		}
	}
	if err := w.Describe(t.Context(), Told{Zone: " +00:00 "}); err != nil {
		t.Fatal(err)
	}
	sent()
	w.until("both are used", func(n *Word) bool {
		return len(n.View.Frames) == 2 && n.View.Frames[0].MidUTC != nil && n.View.Frames[1].MidUTC != nil
	})
	n = w.until("the place is wanted", func(n *Word) bool { return slices.Contains(readTold(t, n).Live.Wants, "site") })
	if !strings.Contains(n.View.Live.Instruction, "place") {
		t.Errorf("it says %q", n.View.Live.Instruction)
	}
	if err := w.Describe(t.Context(), Told{Site: "46.02, 7.75, 1620", Equivalent: "28 mm"}); err != nil {
		t.Fatal(err)
	}
	used := func(n *Word) bool {
		return len(n.View.Frames) == 2 && n.View.Frames[0].Used && n.View.Frames[1].Used && n.View.Axis != nil
	}
	w.until("there is an axis", used)
	w.stop()
	if err := finds(workWith(t, o, quick), used); err != nil {
		t.Error(err)
	}
}

func finds(w *working, used func(*Word) bool) error {
	if n, _ := w.board.Look(); !used(n) {
		return fmt.Errorf("started again it says %s", n.JSON)
	}
	return nil
}
