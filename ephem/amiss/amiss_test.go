package amiss

import (
	"errors"
	"fmt"
	"io"
	"testing"
)

// TestError: kind and cause are found from outside, and of several errors the outermost says the ways out.
func TestError(t *testing.T) {
	kind := errors.New("no clock")
	inner := New(kind, "the file says no time", "look at the file")
	outer := fmt.Errorf("a.jpg: %w", &Error{Text: "nothing can be used", Ways: []Way{{Act: "wait"}, {Thing: Zone}}, From: errors.Join(inner, io.EOF)})
	for _, row := range []struct {
		name string
		err  error
		is   []error
		want string
	}{
		{"of a kind", inner, []error{kind}, "the file says no time: look at the file"},
		{"of no kind, from others", outer, []error{kind, io.EOF}, "a.jpg: nothing can be used: wait, or zone"},
		{"no way out", New(kind, "too late", ""), []error{kind}, "too late"},
		{"another's", io.EOF, []error{io.EOF}, "EOF"},
	} {
		for _, is := range row.is {
			if !errors.Is(row.err, is) {
				t.Errorf("%s: no %v in %v", row.name, is, row.err)
			}
		}
		if got := Voice(nil).Reason(row.err); got != row.want {
			t.Errorf("%s: %q, want %q", row.name, got, row.want)
		}
	}
}
