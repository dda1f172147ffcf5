package answer

import (
	"reflect"
	"testing"

	"trueturn/align/simulate"
	"trueturn/drift"
)

// What is remembered must be what would have been read, for the pictures asked about and no others.
func TestMemoryChangesNothing(t *testing.T) {
	_, q, site := practice(t, 46, func(e *simulate.Evening) {})
	_, other, _ := practice(t, 46, func(e *simulate.Evening) { e.Seed += 5 })
	for i := range other.Shots { // wider stars under the same names
		for k := range other.Shots[i].Field.Stars {
			other.Shots[i].Field.Stars[k].FWHM = 4
		}
	}
	m := &Memory{}
	same := func(q drift.Sequence) bool {
		got, want := New(q, Options{Site: &site, Memory: m}), New(q, Options{Site: &site})
		got.Seen, want.Seen = nil, nil // they hold functions
		return reflect.DeepEqual(got, want)
	}
	for range 2 {
		if !same(q) {
			t.Error("the answer is another one with a memory")
		}
		if !same(other) {
			t.Error("pictures of the same names: the answer is another one with a memory")
		}
	}
	if m.Fits() != 2 {
		t.Errorf("%d fits for two sequences", m.Fits())
	}
	if want := len(q.Shots) + len(other.Shots); len(m.forms) != want {
		t.Errorf("%d pictures are remembered, want %d", len(m.forms), want)
	}
}
