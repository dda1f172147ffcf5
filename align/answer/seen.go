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
	"trueturn/ephem/amiss"
)

// Seen is what the pictures of a sequence show from a site, fitted once. All that is found in them comes from it; nothing fits them
// again.
type Seen struct {
	Shots []drift.Shot // the sequence's, marked with what was left out before the fit
	*fit
}

// fit is what is made of the pictures once, whoever asks.
type fit struct {
	Horizon drift.Horizon
	Input   align.Input
	axis    func() (align.Axis, error)
}

func newFit(h drift.Horizon) *fit {
	f := &fit{Horizon: h, Input: align.FromHorizon(h)}
	f.axis = sync.OnceValues(func() (align.Axis, error) { return align.Estimate(f.Input) })
	return f
}

// Axis is what [align.Estimate] makes of the input, once.
func (s Seen) Axis() (align.Axis, error) { return s.fit.axis() }

// See fits a sequence as a finding would from the place and under the air of this one; [ErrNoSite] without a place. The sequence's shots
// are not changed.
func (f Finding) See(seq drift.Sequence, m *Memory) (Seen, error) {
	if f.Site == nil {
		return Seen{}, &amiss.Error{Kind: ErrNoSite, Text: "the site is not known", Ways: []amiss.Way{{Thing: amiss.Site}}}
	}
	b := &builder{seq: seq, site: *f.Site, air: f.air, o: Options{Memory: m}}
	b.seq.Shots = slices.Clone(seq.Shots)
	b.leaveOutSunk()
	return b.see()
}

// see fits the sequence, unless the memory has it.
func (b *builder) see() (Seen, error) {
	f, err := b.o.Memory.fit(b.seq, b.site, b.air)
	return Seen{b.seq.Shots, f}, err
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
	of   []taking
	site ephem.Site
	air  ephem.Air
	fit  *fit
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

// fit is the sequence fitted, or remembered. What stars were followed stands in the sequence, so that such a one is fitted each time.
func (m *Memory) fit(q drift.Sequence, site ephem.Site, air ephem.Air) (*fit, error) {
	if m == nil || q.Followed != nil {
		h, err := q.Horizon(site, air)
		return newFit(h), err
	}
	of := make([]taking, len(q.Shots))
	for i, s := range q.Shots {
		of[i] = taking{solution: weak.Make(s.Solution), counts: s.LeftOut == "" && s.Clock != nil}
		if s.Clock != nil {
			of[i].mid = s.Clock.Mid()
		}
	}
	if f := m.known(of, site, air); f != nil {
		return f, nil
	}
	h, err := q.Horizon(site, air)
	f := newFit(h)
	m.mu.Lock()
	defer m.mu.Unlock()
	m.fits++
	if err == nil {
		m.seen = append(m.seen, remembered{of, site, air, f})
		m.seen = slices.Clone(m.seen[max(0, len(m.seen)-seenMost):])
	}
	return f, err
}

// known is the fit of just these pictures; nil if there is none.
func (m *Memory) known(of []taking, site ephem.Site, air ephem.Air) *fit {
	m.mu.Lock()
	defer m.mu.Unlock()
	for _, r := range m.seen {
		if r.site == site && r.air == air && slices.Equal(r.of, of) {
			return r.fit
		}
	}
	return nil
}
