package face

import (
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
	"unicode/utf8"
)

var updateHeights = flag.Bool("update-heights", false, "write the golden drawings of a night anew")

// A night made up: the Sun goes down at 18:00 and up at 06:00, it is dark from 20:00 to 04:00, a target crosses the
// meridian at 50° at midnight, and the Moon rises at 23:00.
func madeUpNight() heights {
	h := heights{name: "M 42, Orion Nebula", limitDeg: 25, zone: time.UTC}
	start := time.Date(2026, 11, 25, 16, 0, 0, 0, time.UTC)
	h.darkFrom, h.darkTo = start.Add(4*time.Hour), start.Add(12*time.Hour)
	h.windowFrom, h.windowTo = start.Add(5*time.Hour), start.Add(11*time.Hour)
	for m := 0; m <= 16*60; m += 10 {
		hour := float64(m) / 60
		h.at = append(h.at, start.Add(time.Duration(m)*time.Minute))
		h.target = append(h.target, 50-1.2*(hour-8)*(hour-8))
		h.moon = append(h.moon, 8*(hour-7))
		h.sun = append(h.sun, -36+9*math.Abs(hour-8))
	}
	return h
}

func TestTerminalHeights(t *testing.T) {
	for _, columns := range []int{78, 40} {
		lines := madeUpNight().terminal(columns)
		got := strings.Join(lines, "\n") + "\n"
		for _, l := range lines {
			if n := utf8.RuneCountInString(l); n > columns {
				t.Errorf("%d columns: a line of %d: %s", columns, n, l)
			}
			if strings.TrimRight(l, " ") != l || strings.Contains(l, "\x1b") {
				t.Errorf("%d columns: colours or blanks at the end of %q", columns, l)
			}
		}
		golden := filepath.Join("testdata", fmt.Sprintf("heights-%d.golden", columns))
		if *updateHeights {
			if err := os.WriteFile(golden, []byte(got), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		want, err := os.ReadFile(golden)
		if err != nil {
			t.Fatal(err)
		}
		if got != string(want) {
			t.Errorf("%d columns:\n%swant\n%s", columns, got, want)
		}
	}
}

// The signs stand where the hours written beneath say, whatever the width.
func TestTerminalHeightsReadOut(t *testing.T) {
	for columns := 30; columns <= 100; columns++ {
		h := madeUpNight()
		lines := h.terminal(columns)
		strip, hours := []rune(lines[plotRows]), []rune(lines[plotRows+1])
		for c := plotMargin; c+1 < len(hours); c++ {
			if hours[c] == ' ' || hours[c-1] != ' ' {
				continue
			}
			var hour float64
			fmt.Sscanf(string(hours[c:c+2]), "%f", &hour)
			after := math.Mod(hour-16+24, 24) // hours from the start
			sun := -36 + 9*math.Abs(after-8)
			want := ' '
			switch {
			case sun <= darkDeg:
				want = signDark
			case sun <= sunDownDeg:
				want = signTwilit
			}
			// At the limits a column may fall either way.
			if near := math.Min(math.Abs(sun-darkDeg), math.Abs(sun-sunDownDeg)); near > 9*16.0/float64(columns-plotMargin-1) {
				if c >= len(strip) && want != ' ' || c < len(strip) && strip[c] != want {
					t.Errorf("%d columns, %v o'clock: %q, want %q", columns, hour, strip[min(c, len(strip)-1)], want)
				}
			}
		}
		highest := -1
		for r, l := range lines[:plotRows] {
			if strings.ContainsRune(l, signTarget) {
				highest = r
				break
			}
		}
		if want := plotRow(50 - 0.01); highest != want {
			t.Errorf("%d columns: the target's top is in line %d, want %d", columns, highest, want)
		}
	}
}

// Nights without darkness, without a target, of one instant, with what is not known: nothing fails.
func TestTerminalHeightsOfLittle(t *testing.T) {
	h := madeUpNight()
	h.target, h.name, h.darkFrom, h.windowFrom = nil, "", time.Time{}, time.Time{}
	all := strings.Join(h.terminal(20), "\n")
	if strings.ContainsRune(all, signTarget) || strings.ContainsRune(all, signLimit) {
		t.Errorf("a target where there is none:\n%s", all)
	}
	for i := range h.moon {
		h.moon[i] = math.NaN()
	}
	h.terminal(80)
	h.chart("")
	h.at = h.at[:1]
	if h.terminal(80) != nil {
		t.Error("a drawing of one instant")
	}
}
