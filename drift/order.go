package drift

import (
	"cmp"
	"math"
	"path"
	"slices"
	"strconv"
	"strings"
	"time"

	"trueturn/drift/frame"
)

// # File numbers and stamps
//
// Cameras number their files in the order taken. Where the stamps of one camera's pictures grow with the numbers, fall back once, by
// twenty minutes or more, and grow again, somebody set its clock back in between. How far is known only as well as the
// pause there: a clock set back by whole half hours is one of a handful of shifts, and the one that leaves a pause like the others
// is meant. A clock set forward looks like a pause: where the numbers go on one by one and the pause is the interval of a timer but for
// whole half hours, it was set, for honest pauses end so near to a half hour once in a hundred times.
//
// Nothing is said where numbers are no proof: several cameras or names mixed, numbers that begin anew (9999 to 0001, another
// card), copies, fewer than three pictures on the better side.

// Limits of the proof (common practice, no source).
const (
	SetLeast   = 20 * time.Minute // what somebody sets on purpose; less may be a drift corrected, and turns the axis found about the pole by under 5°
	setMost    = 14 * time.Hour   // of zones, from UTC
	SetStep    = 30 * time.Minute // hands and summer time go by whole hours, some zones by halves
	sideLeast  = 3                // pictures on the better side
	numberGap  = 3                // numbers, at most, from the last before to the first after: what was deleted between
	pauseTimes = 3                // the pause at the setting is at most so many usual ones,
	pauseLeast = 2 * time.Minute  // or so long
	// regular is by how much an interval timer's pauses differ, in all and as a share.
	regular      = 3 * time.Second
	regularShare = 0.1
)

// ClockSet is a camera's clock that was set between two pictures.
type ClockSet struct {
	After []string      // the pictures taken since, in the order of their numbers
	By    time.Duration // how far it was set forward; negative: back, where not Mended to no better than the pause
	// Mended: what was moved, and Moved names it, is of one clock with the others now: the earlier clock's, or where GPS times agree
	// with the later alone, that one's. Else the smaller part is left out.
	Mended    bool
	Moved     []string
	Later     bool // the clock kept is the later one
	Confirmed bool // by GPS times
}

// beforeSet and afterSet say why pictures of another clock are left out.
const (
	beforeSet = "taken before the camera's clock was set"
	afterSet  = "taken after the camera's clock was set"
)

// keepOneClock looks for a clock that was set, and brings all pictures to one; nil where it finds none.
func keepOneClock(shots []Shot) *ClockSet {
	for _, run := range numbered(shots) {
		if at, ok := run.fallsBack(shots); ok {
			return run.setRight(shots, at)
		}
		if at, ok := run.leapsForward(shots); ok {
			return run.setRight(shots, at)
		}
	}
	return nil
}

// run are shots of one camera, by their indices in the order of their files' numbers, which follow.
type run struct {
	shots   []int
	numbers []int
}

// numbered lists the runs of shots whose names have the same letters and as many digits, the longest first.
func numbered(shots []Shot) []run {
	type key struct {
		name, camera string
		digits       int
	}
	runs, keys := map[key]*run{}, []key{}
	for i, s := range shots {
		stem, number, digits, ok := FileNumber(s.File)
		if !ok || s.Clock == nil || s.Clock.Told.Zone == frame.ZoneTable { // a table's times are meant
			continue
		}
		k := key{stem, s.Lens.Make + s.Lens.Model, digits}
		if runs[k] == nil {
			runs[k], keys = &run{}, append(keys, k)
		}
		runs[k].shots, runs[k].numbers = append(runs[k].shots, i), append(runs[k].numbers, number)
	}
	var list []run
	for _, k := range keys {
		list = append(list, runs[k].sorted(shots))
	}
	slices.SortStableFunc(list, func(a, b run) int { return cmp.Compare(len(b.shots), len(a.shots)) })
	return list
}

// FileNumber is the last number in a file's name, less its ending, how many digits it has, and the rest of the name.
func FileNumber(file string) (stem string, number, digits int, ok bool) {
	name := strings.TrimSuffix(file, path.Ext(file))
	end := strings.LastIndexAny(name, "0123456789") + 1
	begin := len(strings.TrimRight(name[:end], "0123456789"))
	digits = end - begin
	number, err := strconv.Atoi(name[begin:end])
	return name[:begin] + "#" + name[end:], number, digits, err == nil
}

func (r run) sorted(shots []Shot) run {
	order := make([]int, len(r.shots))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		return cmp.Or(cmp.Compare(r.numbers[a], r.numbers[b]), shots[r.shots[a]].Clock.Start.Compare(shots[r.shots[b]].Clock.Start))
	})
	var out run
	for _, i := range order {
		out.shots, out.numbers = append(out.shots, r.shots[i]), append(out.numbers, r.numbers[i])
	}
	return out
}

// fallsBack is the place in the run before which the clock was set; false where the proof is wanting.
func (r run) fallsBack(shots []Shot) (at int, ok bool) {
	for i := 1; i < len(r.shots); i++ {
		if r.step(shots, i) < 0 {
			if at != 0 {
				return 0, false
			}
			at = i
		}
	}
	before, after := at, len(r.shots)-at
	if at == 0 || max(before, after) < sideLeast || r.usual(shots, at)-r.step(shots, at) < SetLeast {
		return 0, false
	}
	gap, most := r.numbers[at]-r.numbers[at-1], numberGap
	if min(before, after) < sideLeast { // then one by one
		most = 1
	}
	return at, gap >= 1 && gap <= most
}

// leapsForward is the place in the run before which the clock was set forward; false where it may have been a pause.
func (r run) leapsForward(shots []Shot) (at int, ok bool) {
	for i := 1; i < len(r.shots); i++ {
		if r.step(shots, i) >= SetLeast {
			if at != 0 {
				return 0, false
			}
			at = i
		}
	}
	if at == 0 || len(r.shots) <= sideLeast || r.fixes(shots, 0, at) == fixAgrees && r.fixes(shots, at, len(r.shots)) == fixAgrees || r.numbers[at]-r.numbers[at-1] != 1 || r.step(shots, at) > setMost {
		return 0, false
	}
	var steps []time.Duration
	for i := 1; i < len(r.shots); i++ {
		if i != at {
			steps = append(steps, r.step(shots, i))
		}
	}
	by, pause := WholeSteps(r.step(shots, at))
	return at, by > 0 && Usual(pause, steps)
}

// Usual is whether a pause is the interval of a timer: the same as all those given, two at least.
func Usual(pause time.Duration, intervals []time.Duration) bool {
	for _, usual := range intervals {
		if (pause - usual).Abs() > max(regular, time.Duration(regularShare*float64(usual))) {
			return false
		}
	}
	return len(intervals) > 1
}

// step is the time from the picture before place i to the one at it.
func (r run) step(shots []Shot, i int) time.Duration {
	return shots[r.shots[i]].Clock.Start.Sub(shots[r.shots[i-1]].Clock.Start)
}

// usual is the median of the steps but for that at a place.
func (r run) usual(shots []Shot, but int) time.Duration {
	var steps []time.Duration
	for i := 1; i < len(r.shots); i++ {
		if i != but {
			steps = append(steps, r.step(shots, i))
		}
	}
	slices.Sort(steps)
	return steps[len(steps)/2]
}

// setRight brings the run to one clock.
func (r run) setRight(shots []Shot, at int) *ClockSet {
	step, usual := r.step(shots, at), r.usual(shots, at)
	set := &ClockSet{After: r.files(shots, at, len(r.shots)), By: step - usual}
	before, after := r.fixes(shots, 0, at), r.fixes(shots, at, len(r.shots))
	set.Confirmed = before != after && (before == fixAgrees || after == fixAgrees)
	set.Later = set.Confirmed && after == fixAgrees
	by, _ := WholeSteps(step - max(shots[r.shots[at-1]].Clock.Exposure, 1))
	if set.Mended = by.Abs() <= setMost && step-by <= max(pauseTimes*usual, pauseLeast); !set.Mended {
		r.leaveOut(shots, at, set)
		return set
	}
	set.By = by
	from, to, on := at, len(r.shots), -by
	if set.Later {
		from, to, on = 0, at, by
	}
	set.Moved = r.files(shots, from, to)
	for _, i := range r.shots[from:to] {
		c := shots[i].Clock.MovedBy(on)
		shots[i].Clock = &c
	}
	return set
}

// WholeSteps parts the time between two stamps into what the clock was set by, in whole steps, and the shortest pause.
func WholeSteps(d time.Duration) (by, pause time.Duration) {
	by = time.Duration(math.Floor(float64(d)/float64(SetStep))) * SetStep
	return by, d - by
}

// leaveOut leaves out the pictures of one clock: the earlier ones unless the later are too few to settle an axis.
func (r run) leaveOut(shots []Shot, at int, set *ClockSet) {
	if !set.Confirmed {
		solved := 0
		for _, i := range r.shots[at:] {
			if shots[i].Solution != nil {
				solved++
			}
		}
		set.Later = solved >= sideLeast
	}
	out, why := r.shots[at:], afterSet
	if set.Later {
		out, why = r.shots[:at], beforeSet
	}
	for _, i := range out {
		shots[i].LeftOut = why
	}
}

func (r run) files(shots []Shot, from, to int) (names []string) {
	for _, i := range r.shots[from:to] {
		names = append(names, shots[i].File)
	}
	return names
}

// What GPS times say of a clock.
type fixed int

const (
	fixSilent fixed = iota
	fixAgrees
	fixDiffers
)

// fixes is what most of the GPS times of pictures say.
func (r run) fixes(shots []Shot, from, to int) fixed {
	agree, differ := 0, 0
	for _, i := range r.shots[from:to] {
		switch t := shots[i].Clock.Told; {
		case t.Confirmed():
			agree++
		case t.HasFix && t.Ahead.Abs() >= SetLeast:
			differ++
		}
	}
	switch {
	case agree > differ:
		return fixAgrees
	case differ > agree:
		return fixDiffers
	}
	return fixSilent
}
