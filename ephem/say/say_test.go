package say

import (
	"encoding/json"
	"math"
	"reflect"
	"testing"
	"time"

	"github.com/soniakeys/unit"
)

// TestJSON: a line comes back as it was, a kept text of earlier versions as that text.
func TestJSON(t *testing.T) {
	every := Of("all of them", unit.AngleFromMin(3), 90*time.Second, time.Date(2026, 11, 25, 21, 4, 0, 0, time.UTC), 4, "a.jpg", []string{"a", "b"}, Of("part", Times(2)), []Line{Text("x")},
		Off{1, 2}, Moons(1), Times(3), Pictures(4), Arcsec{1, 0.1}, Period{480, 2}, Share(0.5), Rate(1e-6), Ratio{1, 0.1}, Pixels(2), Millimetres(3), Kilometres(4), Degrees(1), Wind(2),
		Offset(time.Hour), Number(2.5), Hundredths(1.25), Place{50, -3}, Wait(time.Minute), Span(1), Longest(2), Files{"a", "b"}, Sentence("x"), Hours{1, 2}, Tenths(3), Clause(Of("within", 3)))
	if got := len(every.With); got != len(types) {
		t.Fatalf("%d quantities here, %d there are", got, len(types))
	}
	for _, l := range []Line{{}, Text("as it was"), every} {
		text, err := json.Marshal(l)
		if err != nil {
			t.Fatal(err)
		}
		var back Line
		if err := json.Unmarshal(text, &back); err != nil || !reflect.DeepEqual(l, back) {
			t.Errorf("%s: %v, %v", text, back, err)
		}
	}
	text, err := json.Marshal(Of("off", unit.Angle(math.NaN())))
	var back Line
	if err != nil || json.Unmarshal(text, &back) != nil || !reflect.DeepEqual(back, Of("off", "?")) {
		t.Errorf("of a number that is none: %s, %v, %v", text, back, err)
	}
	var old Line
	if err := json.Unmarshal([]byte(`"The wrong way."`), &old); err != nil || !reflect.DeepEqual(old, Text("The wrong way.")) {
		t.Errorf("%v, %v", old, err)
	}
	for _, bad := range []string{`{"key":"x","with":[{"weight":1}]}`, `{"key":"x","with":[{"count":"a"}]}`, `3`} {
		if json.Unmarshal([]byte(bad), &old) == nil {
			t.Errorf("%s is a line", bad)
		}
	}
	if _, err := json.Marshal(Of("x", struct{}{})); err == nil {
		t.Error("anything is a quantity")
	}
}
