package answer

import (
	"slices"
	"sync"
	"time"
	"weak"

	"trueturn/align"
	"trueturn/align/exposure"
	"trueturn/drift"
	"trueturn/drift/solve"
	"trueturn/ephem"
)

// Seen is what the pictures of a sequence show from a site, fitted once. All that is found in them comes from it; nothing fits them
// again.
type Seen struct {
	Shots   []drift.Shot // the sequence's, marked with what was left out before the fit
	Horizon drift.Horizon
	Input   align.Input
}

// See fits a sequence as an answer would from the place and under the air of this one; [ErrNoSite] without a place. The sequence's shots
// are not changed.
func (a Answer) See(seq drift.Sequence, m *Memory) (Seen, error) {
	if a.Site == nil {
		return Seen{}, failure{ErrNoSite, "the site is not known", "give the site"}
	}
	b := &builder{seq: seq, site: *a.Site, air: a.air, o: Options{Memory: m}}
	b.seq.Shots = slices.Clone(seq.Shots)
	b.leaveOutSunk()
	return b.see()
}

// see fits the sequence, unless the memory has it.
func (b *builder) see() (Seen, error) {
	h, err := b.o.Memory.horizon(b.seq, b.site, b.air)
	if err != nil {
		return Seen{}, err
	}
	return Seen{Shots: b.seq.Shots, Horizon: h, Input: align.FromHorizon(h)}, nil
}

// Memory keeps what was read of single pictures and the newest fits, for a face that asks again with one picture more. It is safe for
// use by several goroutines, and keeps no picture alive. The nil Memory remembers nothing.
type Memory struct {
	mu    sync.Mutex
	forms map[weak.Pointer[solve.Solution]]exposure.Form
	seen  []remembered
	fits  int
}

// Bounds of a memory: of a long night's pictures, then it begins anew, and of fits: that with the newest picture, which is asked again when the
// picture joins, and those of a measurement and of the pictures since it was tightened.
const (
	memoryMost = 1024
	seenMost   = 3
)

// remembered is a fit and what it was made of.
type remembered struct {
	of      []taking
	site    ephem.Site
	air     ephem.Air
	horizon drift.Horizon
}

// taking is one picture's part in a fit.
type taking struct {
	solution weak.Pointer[solve.Solution]
	mid      time.Time
	counts   bool
}

// Fits counts the fits made.
func (m *Memory) Fits() int {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.fits
}

// horizon is the sequence fitted, or remembered. What stars were followed stands in the sequence, so that such a one is fitted each time.
func (m *Memory) horizon(q drift.Sequence, site ephem.Site, air ephem.Air) (drift.Horizon, error) {
	if m == nil || q.Followed != nil {
		return q.Horizon(site, air)
	}
	of := make([]taking, len(q.Shots))
	for i, s := range q.Shots {
		of[i] = taking{solution: weak.Make(s.Solution), counts: s.LeftOut == "" && s.Clock != nil}
		if s.Clock != nil {
			of[i].mid = s.Clock.Mid()
		}
	}
	if h, ok := m.known(of, site, air); ok {
		return h, nil
	}
	h, err := q.Horizon(site, air)
	m.mu.Lock()
	defer m.mu.Unlock()
	m.fits++
	if err == nil {
		m.seen = append(m.seen, remembered{of, site, air, h})
		m.seen = slices.Clone(m.seen[max(0, len(m.seen)-seenMost):])
	}
	return h, err
}

// known is the fit of just these pictures.
func (m *Memory) known(of []taking, site ephem.Site, air ephem.Air) (h drift.Horizon, ok bool) {
	m.mu.Lock()
	defer m.mu.Unlock()
	for _, r := range m.seen {
		if r.site == site && r.air == air && slices.Equal(r.of, of) {
			return r.horizon, true
		}
	}
	return h, false
}
