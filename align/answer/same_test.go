package answer

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"runtime"
	"testing"

	"trueturn/align/simulate"
	"trueturn/drift"
	"trueturn/drift/frame"
)

// alike asks for the same JSON to the last digit, run after run, with one core and with more. It changes GOMAXPROCS: no test
// that calls it runs beside others.
func alike(t *testing.T, times int, answer func() Answer) {
	t.Helper()
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(0))
	var first []byte
	for _, cores := range []int{1, 2, 4} {
		runtime.GOMAXPROCS(cores)
		for k := range times {
			text, err := json.Marshal(answer())
			if err != nil {
				t.Fatal(err)
			}
			if first == nil {
				first = text
			}
			if !bytes.Equal(text, first) {
				t.Fatalf("%d cores, run %d: another answer than at first:\n%s\n%s", cores, k, text, first)
			}
		}
	}
}

// Four fields through one lens on one mount that is swung: each has an unknown of its own in the estimate, and they must stand in one order.
func fourFields(e *simulate.Evening) {
	*e = swung(*e, 0, 0, 0, 25, 0, 0, -45, 0, 0, 10, 0, 0)
}

func TestAnswerIsTheSameToTheLastDigit(t *testing.T) {
	run, _, site := practice(t, 46, fourFields)
	alike(t, 5, func() Answer {
		a := New(placed(t, run, 0.1), Options{Site: &site})
		if a.Axis == nil {
			t.Fatal(a.Err)
		}
		return a
	})
}

// The same from the pictures' bytes: decoded, measured and solved by however many cores there are.
func TestAnswerFromPicturesIsTheSameToTheLastDigit(t *testing.T) {
	if testing.Short() {
		t.Skip("renders 12-megapixel pictures; not in -short")
	}
	var e simulate.Evening
	run, _, site := practice(t, 46, func(p *simulate.Evening) { *p = swung(p.Clean(), 0, 30, -40); e = *p })
	var sources []drift.Source
	for i := range e.Count {
		plane, meta, err := run.Frame(context.Background(), i)
		if err != nil {
			t.Fatal(err)
		}
		var file bytes.Buffer
		if err := frame.Encode(&file, plane, meta, frame.JPEG); err != nil {
			t.Fatal(err)
		}
		sources = append(sources, drift.Source{Name: e.File(i), Open: func() (io.ReadSeekCloser, error) { return memory{bytes.NewReader(file.Bytes())}, nil }})
	}
	alike(t, 2, func() Answer {
		q, err := drift.Measure(context.Background(), sources, drift.Options{})
		if err != nil {
			t.Fatal(err)
		}
		a := New(q, Options{Site: &site, Air: &e.Air})
		if a.Axis == nil {
			t.Fatal(a.Err)
		}
		return a
	})
}
