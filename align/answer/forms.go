package answer

import (
	"runtime"
	"sync"
	"sync/atomic"
	"weak"

	"trueturn/align/exposure"
	"trueturn/drift"
	"trueturn/drift/solve"
	"trueturn/drift/star"
)

// formOf is the form of a shot's stars, remembered or read; m may be nil. A shot's stars do not change once it has a solution.
func (m *Memory) formOf(s *drift.Shot) exposure.Form {
	if m == nil {
		return exposure.FormOf(recognised(s))
	}
	key := weak.Make(s.Solution)
	m.mu.Lock()
	form, known := m.forms[key]
	m.mu.Unlock()
	if known {
		return form
	}
	form = exposure.FormOf(recognised(s))
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.forms == nil || len(m.forms) >= memoryMost {
		m.forms = map[weak.Pointer[solve.Solution]]exposure.Form{}
	}
	m.forms[key] = form
	return form
}

// formsOf reads the form of the stars of every recognised shot. It is begun at once, beside the search for the axis, which
// does not need it; the result waits for its end.
func formsOf(seq drift.Sequence, m *Memory) func() []exposure.Form {
	forms := make([]exposure.Form, len(seq.Shots))
	var next atomic.Int64
	var done sync.WaitGroup
	for range min(len(forms), runtime.GOMAXPROCS(0)) {
		done.Go(func() {
			for i := next.Add(1) - 1; i < int64(len(forms)); i = next.Add(1) - 1 {
				if s := &seq.Shots[i]; s.Solution != nil {
					forms[i] = m.formOf(s)
				}
			}
		})
	}
	return func() []exposure.Form {
		done.Wait()
		return forms
	}
}

// recognised are the stars of a picture that are known to be stars.
func recognised(s *drift.Shot) []star.Star {
	stars := make([]star.Star, 0, len(s.Solution.Sightings))
	for _, g := range s.Solution.Sightings {
		if g.Star < len(s.Field.Stars) {
			stars = append(stars, s.Field.Stars[g.Star])
		}
	}
	return stars
}
