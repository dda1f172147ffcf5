package drift

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"trueturn/drift/frame"
	"trueturn/drift/solve"
)

// taken is a row of pictures: their names and stamps, in seconds after nine in the evening.
type taken struct {
	file  string
	after float64
	ahead time.Duration // of GPS time; 0: none
}

// series are pictures of one camera, twenty seconds apart, the numbers from first on.
func series(pattern string, first, n int, after float64) (list []taken) {
	for i := range n {
		list = append(list, taken{file: fmt.Sprintf(pattern, first+i), after: after + 20*float64(i)})
	}
	return list
}

func withFix(list []taken, ahead time.Duration) []taken {
	for i := range list {
		list[i].ahead = ahead
	}
	return list
}

func shotsOf(list []taken) (shots []Shot) {
	for _, p := range list {
		c := frame.Clock{Start: time.Date(2026, 11, 25, 21, 0, 0, 0, time.UTC).Add(time.Duration(p.after * 1e9)), Exposure: 15 * time.Second, Step: time.Second}
		c.Told = frame.Told{Zone: frame.ZoneInFile, HasFix: p.ahead != 0, Ahead: p.ahead}
		shots = append(shots, Shot{File: p.file, Clock: &c, Solution: &solve.Solution{}})
	}
	return shots
}

const second = time.Second

// A clock set back shows where numbers and stamps part; nothing is said where they are no proof.
func TestClockSetBetweenPictures(t *testing.T) {
	for _, row := range []struct {
		name  string
		taken []taken
		by    time.Duration // 0: nothing is said
		first string        // after the setting
		moved string        // the first moved; empty: none
		out   []string      // left out
	}{
		{"in order", series("sky-%03d.jpg", 1, 8, 0), 0, "", "", nil},
		{"an hour's pause", slices.Concat(series("sky-%03d.jpg", 1, 4, 0), series("sky-%03d.jpg", 5, 4, 3700)), 0, "", "", nil},
		{"set forward by an hour", slices.Concat(series("sky-%03d.jpg", 1, 4, 0), series("sky-%03d.jpg", 5, 4, 80+3600)), time.Hour, "sky-005.jpg", "sky-005.jpg", nil},
		{"set forward by half an hour before the last", slices.Concat(series("sky-%03d.jpg", 1, 4, 0), series("sky-%03d.jpg", 5, 1, 80+1800)), 30 * time.Minute, "sky-005.jpg", "sky-005.jpg", nil},
		{"the same, one deleted between", slices.Concat(series("sky-%03d.jpg", 1, 4, 0), series("sky-%03d.jpg", 6, 4, 100+3600)), 0, "", "", nil},
		{"an hour's pause, GPS times agree throughout", slices.Concat(withFix(series("sky-%03d.jpg", 1, 4, 0), second), withFix(series("sky-%03d.jpg", 5, 4, 80+3600), second)), 0, "", "", nil},
		{"set forward, GPS times agree with the later clock", slices.Concat(withFix(series("sky-%03d.jpg", 1, 4, 0), -time.Hour), withFix(series("sky-%03d.jpg", 5, 4, 80+3600), second)), time.Hour, "sky-005.jpg", "sky-001.jpg", nil},
		{"set back by an hour", slices.Concat(series("sky-%03d.jpg", 1, 4, 0), series("sky-%03d.jpg", 5, 4, 80-3600)), -time.Hour, "sky-005.jpg", "sky-005.jpg", nil},
		{"set back by half an hour", slices.Concat(series("sky-%03d.jpg", 1, 4, 0), series("sky-%03d.jpg", 5, 4, 80-1800)), -30 * time.Minute, "sky-005.jpg", "sky-005.jpg", nil},
		{"set back by two hours, after a minute", slices.Concat(series("IMG_%04d.JPG", 12, 4, 0), series("IMG_%04d.JPG", 16, 4, 140-7200)), -2 * time.Hour, "IMG_0016.JPG", "IMG_0016.JPG", nil},
		{"one picture before", slices.Concat(series("sky-%03d.jpg", 1, 1, 0), series("sky-%03d.jpg", 2, 4, 20-3600)), -time.Hour, "sky-002.jpg", "sky-002.jpg", nil},
		{"one picture after", slices.Concat(series("sky-%03d.jpg", 1, 4, 0), series("sky-%03d.jpg", 5, 1, 80-3600)), -time.Hour, "sky-005.jpg", "sky-005.jpg", nil},
		{"one picture after, another deleted", slices.Concat(series("sky-%03d.jpg", 1, 4, 0), series("sky-%03d.jpg", 6, 1, 80-3600)), 0, "", "", nil},
		{"two and two", slices.Concat(series("sky-%03d.jpg", 1, 2, 0), series("sky-%03d.jpg", 3, 2, 40-3600)), 0, "", "", nil},
		{"one deleted between", slices.Concat(series("sky-%03d.jpg", 1, 4, 0), series("sky-%03d.jpg", 6, 4, 100-3600)), -time.Hour, "sky-006.jpg", "sky-006.jpg", nil},
		{"by no whole half hour: the later count", slices.Concat(series("sky-%03d.jpg", 1, 4, 0), series("sky-%03d.jpg", 5, 4, 80-2500)), -2500 * second, "sky-005.jpg", "",
			[]string{"sky-001.jpg", "sky-002.jpg", "sky-003.jpg", "sky-004.jpg"}},
		{"the same, the later too few", slices.Concat(series("sky-%03d.jpg", 1, 4, 0), series("sky-%03d.jpg", 5, 1, 80-2500)), -2500 * second, "sky-005.jpg", "", []string{"sky-005.jpg"}},
		{"an hour, but a long pause", slices.Concat(series("sky-%03d.jpg", 1, 4, 0), series("sky-%03d.jpg", 5, 4, 80+600-3600)), -3000 * second, "sky-005.jpg", "",
			[]string{"sky-001.jpg", "sky-002.jpg", "sky-003.jpg", "sky-004.jpg"}},
		{"GPS times agree with the later clock", slices.Concat(withFix(series("sky-%03d.jpg", 1, 4, 0), time.Hour), withFix(series("sky-%03d.jpg", 5, 4, 80-3600), second)), -time.Hour, "sky-005.jpg", "sky-001.jpg", nil},
		{"GPS times agree with the earlier clock", slices.Concat(withFix(series("sky-%03d.jpg", 1, 4, 0), second), withFix(series("sky-%03d.jpg", 5, 4, 80-3600), -time.Hour)), -time.Hour, "sky-005.jpg", "sky-005.jpg", nil},
		{"ten minutes are a drift put right", slices.Concat(series("sky-%03d.jpg", 1, 4, 0), series("sky-%03d.jpg", 5, 4, 80-600)), 0, "", "", nil},
		{"numbers begin anew", slices.Concat(series("IMG_%04d.jpg", 9996, 4, 0), series("IMG_%04d.jpg", 1, 4, 80)), 0, "", "", nil},
		{"another card", slices.Concat(series("IMG_%04d.jpg", 101, 4, 0), series("IMG_%04d.jpg", 1, 4, 3600)), 0, "", "", nil},
		{"two cameras, each in order", slices.Concat(series("a-%03d.jpg", 1, 4, 3600), series("b-%03d.jpg", 1, 4, 0)), 0, "", "", nil},
		{"numbers of several lengths", slices.Concat(series("sky%d.jpg", 7, 3, 0), series("sky%d.jpg", 10, 4, 60-3600)), 0, "", "", nil},
		{"names without numbers", []taken{{"c.jpg", 0, 0}, {"d.jpg", 20, 0}, {"a.jpg", 40, 0}, {"b.jpg", 60, 0}}, 0, "", "", nil},
		{"backwards all along", []taken{{"s4.jpg", 0, 0}, {"s3.jpg", 2000, 0}, {"s2.jpg", 4000, 0}, {"s1.jpg", 6000, 0}}, 0, "", "", nil},
		{"names that are the stamps", []taken{{"IMG_20261125_210000.jpg", 0, 0}, {"IMG_20261125_210020.jpg", 20, 0}, {"IMG_20261125_210040.jpg", 40, 0},
			{"IMG_20261125_200100.jpg", -3540, 0}, {"IMG_20261125_200120.jpg", -3520, 0}}, 0, "", "", nil},
	} {
		t.Run(row.name, func(t *testing.T) {
			shots := shotsOf(row.taken)
			set := keepOneClock(shots)
			if (set != nil) != (row.by != 0) {
				t.Fatalf("found %+v, want %v", set, row.by)
			}
			var out []string
			for i, s := range shots {
				if s.LeftOut != "" {
					out = append(out, s.File)
				}
				if i > 0 && set != nil && set.Mended && !s.Clock.Start.After(shots[i-1].Clock.Start) {
					t.Errorf("%s is not after %s", s.File, shots[i-1].File)
				}
			}
			if !slices.Equal(out, row.out) {
				t.Errorf("left out %v, want %v", out, row.out)
			}
			if set == nil {
				return
			}
			if set.By != row.by || set.After[0] != row.first || set.Mended != (row.moved != "") || set.Mended && set.Moved[0] != row.moved {
				t.Errorf("%+v, want %v from %s, moved from %q", set, row.by, row.first, row.moved)
			}
		})
	}
}

// A camera's clock is its own: another camera beside it keeps its times, and tables are taken at their word.
func TestClockSetOfOneCamera(t *testing.T) {
	list := slices.Concat(series("sky-%03d.jpg", 1, 4, 0), series("sky-%03d.jpg", 5, 4, 80-3600))
	both := append(shotsOf(list), shotsOf(series("other-%03d.jpg", 1, 3, 10))...)
	if set := keepOneClock(both); set == nil || len(set.Moved) != 4 || both[8].Clock.Start.Minute() != 0 {
		t.Errorf("%+v", set)
	}
	tabled := shotsOf(list)
	for i := range tabled {
		tabled[i].Clock.Told.Zone = frame.ZoneTable
	}
	if set := keepOneClock(tabled); set != nil {
		t.Errorf("%+v of times from a table", set)
	}
}
