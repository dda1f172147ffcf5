package answer

import (
	"reflect"
	"testing"

	"trueturn/align/simulate"
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
	for range 2 {
		if got, want := New(q, Options{Site: &site, Memory: m}), New(q, Options{Site: &site}); !reflect.DeepEqual(got, want) {
			t.Error("the answer is another one with a memory")
		}
		if got, want := New(other, Options{Site: &site, Memory: m}), New(other, Options{Site: &site}); !reflect.DeepEqual(got, want) {
			t.Error("pictures of the same names: the answer is another one with a memory")
		}
	}
	if want := len(q.Shots) + len(other.Shots); len(m.forms) != want {
		t.Errorf("%d pictures are remembered, want %d", len(m.forms), want)
	}
}
