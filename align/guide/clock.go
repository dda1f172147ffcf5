package guide

import (
	"slices"
	"strings"
	"time"

	"trueturn/align"
	"trueturn/drift"
	"trueturn/ephem/say"
)

// # A clock that was set
//
// Summer time ends, a phone finds a network, somebody puts right what stood wrong: from one picture to the next the camera's
// clock is set by s, most often a whole or half hour. Taken at their word the later stamps turn the axis about the pole by
// ωs, 15° an hour, against the earlier ones: the next picture shows a knock, or the turn of a knob that nobody made, or seems to
// have come late. The pictures alone can hardly tell, for on a mount that runs the stars stand still in them. With d from the
// newest stamp to this one, g the time that really went by and a that between the two arrivals, d = g + s, and
//
//	d ≤ −setLeast   the clock was set, or the picture arrives late: the files' numbers tell, which go on or go back; where
//	                they say nothing the order of arrival counts
//	d ≥ setLeast    the clock was set, or nobody took pictures for so long: arrivals tell, a ≪ d, provided they kept pace with
//	                the stamps before (a folder copied at once does not); else numbers that go on one by one and a g that is the
//	                interval of before, for honest pauses end so near to a half hour once in a hundred times
//
// The shift is plain where d − s leaves a pause g as a session has, or g ≈ a. It is taken out of the later stamps: which setting was
// right nobody here can say, and the axis was measured by the first. Where it is not plain measuring begins afresh.
// The limits are common practice, no source.
const (
	setLeast = drift.SetLeast
	// setPause is the longest g that is taken as a pause between two pictures where nothing else tells it.
	setPause = 5 * time.Minute
	// setSlack is how far arrivals may be off the stamps: sending and measuring take their time.
	setSlack = 3 * time.Minute
	// setMost is as far as zones lie apart; beyond that it is another evening.
	setMost = 26 * time.Hour
	// stampsKept is how many of the newest stamps tell the interval and the pace.
	stampsKept = 4
)

// Setting is a clock found set.
type Setting struct {
	File  string        `json:"file"`     // the first picture since
	By    time.Duration `json:"by_ns"`    // how far it was set forward; negative: back
	Shift time.Duration `json:"shift_ns"` // what takes the stamps since back to the clock of the first picture
	Plain bool          `json:"plain"`    // By is sure, and taken out
}

// Stamp is when a picture was taken by the clock of the first picture, and when it arrived; zero: not known.
type Stamp struct {
	File    string    `json:"file"`
	Mid     time.Time `json:"mid"`
	Arrived time.Time `json:"arrived"`
}

// retime puts a shot on the clock of the session's first picture.
func (g *Guide) retime(s drift.Shot) drift.Shot {
	if s.Clock == nil {
		return s
	}
	shift := g.shiftOf(s.File)
	if last, ok := g.newestStamp(); ok && usable(s) && g.sameCamera(s) {
		now := Stamp{File: s.File, Mid: s.Clock.Mid().Add(shift), Arrived: g.arrived(s.File)}
		if set, found := g.wasSet(last, now); found {
			set.Shift = shift
			if set.Plain {
				set.Shift -= set.By
			}
			g.clockSet(set)
			shift = set.Shift
		}
	}
	if shift != 0 {
		if g.s.Moved == nil {
			g.s.Moved = map[string]time.Duration{}
		}
		g.s.Moved[s.File] = shift
		s = moved(s, shift)
	}
	g.stampOf(s)
	return s
}

// moved is a shot with its stamp shifted.
func moved(s drift.Shot, by time.Duration) drift.Shot {
	if s.Clock == nil || by == 0 {
		return s
	}
	c := s.Clock.MovedBy(by)
	s.Clock = &c
	return s
}

// shiftOf is what the clock's settings before a picture make up; the files' numbers tell where a picture that arrives late belongs.
func (g *Guide) shiftOf(file string) time.Duration {
	for i := len(g.s.Settings) - 1; i >= 0; i-- {
		if step, ok := numbersBetween(g.s.Settings[i].File, file); !ok || step >= 0 {
			return g.s.Settings[i].Shift
		}
	}
	return 0
}

func (g *Guide) arrived(file string) time.Time {
	if g.o.Arrived == nil {
		return time.Time{}
	}
	at, _ := g.o.Arrived(file)
	return at
}

func (g *Guide) newestStamp() (Stamp, bool) {
	if len(g.s.Stamps) == 0 {
		return Stamp{}, false
	}
	return g.s.Stamps[len(g.s.Stamps)-1], true
}

// sameCamera is whether a shot may be held against the newest stamp.
func (g *Guide) sameCamera(s drift.Shot) bool {
	_, last, any := g.span()
	return any && sameLens(last, s)
}

// stampOf remembers the newest stamps.
func (g *Guide) stampOf(s drift.Shot) {
	last, any := g.newestStamp()
	if !usable(s) {
		return
	}
	if g.s.Late = any && !s.Clock.Mid().After(last.Mid); g.s.Late {
		return
	}
	all := append(slices.Clone(g.s.Stamps), Stamp{s.File, s.Clock.Mid(), g.arrived(s.File)})
	g.s.Stamps = all[max(0, len(all)-stampsKept):]
}

// wasSet is whether the clock was set between the newest picture and one that arrives.
func (g *Guide) wasSet(last, now Stamp) (Setting, bool) {
	d := now.Mid.Sub(last.Mid)
	step, numbered := numbersBetween(last.File, now.File)
	waited, live := g.waited(last, now)
	set := Setting{File: now.File}
	switch {
	case d > -setLeast && d < setLeast, d > setMost, d < -setMost, numbered && step <= 0:
		return set, false
	case d < 0 && !numbered && (g.s.Late || d < -longGap): // one of several that come late, or of another evening
		return set, false
	case live && (d-waited).Abs() < setLeast:
		return set, false
	case live && (d > 0 || numbered):
		set.By = (d - waited).Round(drift.SetStep)
		set.Plain = (d - waited - set.By).Abs() < setSlack
		return set, true
	case d < 0:
		by, pause := drift.WholeSteps(d)
		set.By, set.Plain = by, pause <= setPause || live && (pause-waited).Abs() < setSlack
		return set, numbered || set.Plain
	}
	by, pause := drift.WholeSteps(d)
	set.By, set.Plain = by, true
	return set, numbered && step == 1 && d < longGap && g.usualPause(pause)
}

// usualPause is whether a pause is the interval the newest pictures were taken in.
func (g *Guide) usualPause(pause time.Duration) bool {
	var intervals []time.Duration
	for i := 1; i < len(g.s.Stamps); i++ {
		intervals = append(intervals, g.s.Stamps[i].Mid.Sub(g.s.Stamps[i-1].Mid))
	}
	return drift.Usual(pause, intervals)
}

// waited is how long after the newest picture one arrived; false where that is not known, or where pictures did not arrive
// at the pace they were taken at.
func (g *Guide) waited(last, now Stamp) (time.Duration, bool) {
	first := g.s.Stamps[0]
	took, came := last.Mid.Sub(first.Mid), last.Arrived.Sub(first.Arrived)
	if first.Arrived.IsZero() || last.Arrived.IsZero() || now.Arrived.IsZero() || now.Arrived.Before(last.Arrived) {
		return 0, false
	}
	return now.Arrived.Sub(last.Arrived), took > 0 && came > took/2 && came < took+setSlack
}

// clockSet takes note of a setting.
func (g *Guide) clockSet(set Setting) {
	g.s.Settings = append(slices.Clone(g.s.Settings), set)
	g.hear(set.says())
	if !set.Plain {
		for _, file := range append(g.window.files(), g.fresh.files()...) {
			g.unused(file, say.Of("before the clock was set"))
		}
		g.s.Stamps, g.s.Knobs, g.s.Learned = nil, nil, false
		g.restart(set.says())
		g.s.News = say.Line{} // the remark says it
	}
}

// hear has something told once, before what is to be done.
func (g *Guide) hear(news say.Line) { g.s.News = say.All(g.s.News, news) }

// says what happened and what was done about it.
func (set Setting) says() say.Line {
	by := say.Span(set.By)
	switch back := set.By < 0; {
	case back && !set.Plain:
		return say.Of("clock set back, not plain", set.File)
	case !set.Plain:
		return say.Of("clock set forward, not plain", set.File)
	case back:
		return say.Of("clock set back, taken out", by, set.File)
	}
	return say.Of("clock set forward, taken out", by, set.File)
}

// clocks are the situations of the camera's clock: each setting, and what the knobs' tracks tell.
func (g *Guide) clocks() (list []align.Situation) {
	for _, set := range g.s.Settings {
		list = append(list, align.Situation{Kind: align.KindClock, Files: []string{set.File}, Says: set.says()})
	}
	if k := g.s.Knobs; k != nil && k.Clock().Sure {
		list = append(list, align.Situation{Kind: align.KindClock, Files: []string{}, Says: k.Clock().Says()})
	}
	return list
}

// numbersBetween is by how much the number in one file's name exceeds that in another's; false where the names say nothing:
// they differ in more, or hold a time of day, or a number this program or a browser gave.
func numbersBetween(a, b string) (int, bool) {
	stem, x, ok := counted(a)
	other, y, also := counted(b)
	step := y - x
	if !ok || !also || stem != other || step > numbersApart || step < -numbersApart { // or they began again at 1
		return 0, false
	}
	return step, true
}

const (
	numbersApart = 1000
	// countDigits: cameras count with fewer digits than a time of day has.
	countDigits = 5
)

// counted is a file's number as a camera counts, and the rest of its name.
func counted(file string) (stem string, number int, ok bool) {
	stem, number, digits, ok := drift.FileNumber(file)
	return stem, number, ok && digits <= countDigits && !strings.HasSuffix(stem, "#)")
}

// InOrder puts shots in the order in which they were taken: by their clocks, unless the files' numbers show that the clock was
// set back between them.
func InOrder(shots []drift.Shot) []drift.Shot {
	shots = slices.Clone(shots)
	slices.SortStableFunc(shots, byTime)
	clocks := slices.IndexFunc(shots, func(s drift.Shot) bool { return s.Clock == nil })
	if clocks < 0 {
		clocks = len(shots)
	}
	timed, set := slices.Clone(shots[:clocks]), false
	for i := range timed {
		if _, ok := numbersBetween(timed[0].File, timed[i].File); !ok {
			return shots
		}
	}
	slices.SortStableFunc(timed, func(a, b drift.Shot) int {
		_, x, _ := counted(a.File)
		_, y, _ := counted(b.File)
		return x - y
	})
	for i := 1; i < len(timed); i++ {
		set = set || timed[i].Clock.Mid().Sub(timed[i-1].Clock.Mid()) < -setLeast
	}
	if !set {
		return shots
	}
	return append(timed, shots[clocks:]...)
}
