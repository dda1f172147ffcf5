package face

import (
	"bufio"
	"os"
	"runtime/debug"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/spf13/cobra"

	"trueturn/align/exposure"
	"trueturn/cmd/kit"
)

// asking answers questions with lines.
func asking(answers string) (*asker, *strings.Builder) {
	var asked strings.Builder
	return &asker{in: bufio.NewReader(strings.NewReader(answers)), out: &asked}, &asked
}

// TestAskKit: what is answered is kept, and what will not do is asked again at once, with the reason, and never kept.
func TestAskKit(t *testing.T) {
	hut := kit.Site{LatitudeDeg: 46.02, LongitudeDeg: 7.75, HeightM: 1620}
	inZone := hut
	inZone.TZ = "Europe/Zurich"
	for _, row := range []struct {
		name, answers string
		want          kit.Kit
		told          []string // reasons, in their order
	}{
		{"one of each, the mount left out", "hut\n46.02,7.75,1620\nEurope/Zurich\ngrey\n3.9\n6000x4000\n\nphone\n\n115\n1.8\n\n", kit.Kit{
			Sites:   map[string]kit.Site{"hut": inZone},
			Cameras: map[string]kit.Camera{"grey": {PixelPitchUM: 3.9, WidthPx: 6000, HeightPx: 4000}},
			Lenses:  map[string]kit.Lens{"phone": {EquivalentMM: 115, FNumber: 1.8}},
		}, nil},
		{"an impossible place", "hut\n46.02,200\n46.02,7.75,1620\n\n\n\n\n", kit.Kit{Sites: map[string]kit.Site{"hut": hut}}, []string{"longitude 200°"}},
		{"a zone that is none is not kept", "hut\n46.02,7.75,1620\n25 o'clock\n\n\n\n\n", kit.Kit{Sites: map[string]kit.Site{"hut": hut}}, []string{"not a time zone: write the clock's offset"}},
		{"figures that are none", "\ngrey\nfour\n-4\n3.9\n6000\n6000x4000\nNaN\n\n\n\n", kit.Kit{Cameras: map[string]kit.Camera{"grey": {PixelPitchUM: 3.9, WidthPx: 6000, HeightPx: 4000}}},
			[]string{"not a number", "out of range: choose a value from 0.2 to 200", "not a size", "not a number"}},
		{"a name that is none", "\n\n\x1b[31m\nfifty\n50\n\n\n", kit.Kit{Lenses: map[string]kit.Lens{"fifty": {FocalLengthMM: 50}}}, []string{"no name: give it a name you can type"}},
		{"a lens given up", "\n\nfifty\n\n\n\n\ncrank\n480\n\n\n\n3\n", kit.Kit{Mounts: map[string]kit.Mount{"crank": {PeriodS: 480, PlayArcmin: 3}}}, []string{"a lens has a focal length", "another empty answer leaves it out"}},
		{"a place given up", "hut\n\n\ngrey\n\n\n\n\n\n", kit.Kit{Cameras: map[string]kit.Camera{"grey": {}}}, []string{"a place has a latitude"}},
	} {
		t.Run(row.name, func(t *testing.T) {
			a, asked := asking(row.answers)
			got, err := askKit(a)
			if err != nil {
				t.Fatalf("%v\n%s", err, asked)
			}
			if d := cmp.Diff(row.want, got); d != "" {
				t.Error(d)
			}
			if err := got.Sound(); err != nil {
				t.Errorf("answers were taken that will not do: %v", err)
			}
			rest := asked.String()
			for _, reason := range row.told {
				_, after, found := strings.Cut(rest, reason)
				if !found {
					t.Fatalf("%q was not said:\n%s", reason, asked)
				}
				rest = after
			}
		})
	}
	for _, row := range []struct{ name, answers string }{
		{"they end too soon", "hut\n"},
		{"nothing told", "\n\n\n\n"},
		{"none", ""},
	} {
		t.Run(row.name, func(t *testing.T) {
			a, _ := asking(row.answers)
			if k, err := askKit(a); err == nil || hint(err) == "" {
				t.Errorf("got %v, %v, want an error with a way out", k, err)
			}
		})
	}
}

func TestVersionOf(t *testing.T) {
	set := func(kv ...string) (s []debug.BuildSetting) {
		for i := 0; i < len(kv); i += 2 {
			s = append(s, debug.BuildSetting{Key: kv[i], Value: kv[i+1]})
		}
		return s
	}
	for _, row := range []struct {
		name, version string
		settings      []debug.BuildSetting
		noted         string // by the linker
		want          string
	}{
		{"run from source", "(devel)", nil, "", "devel, commit not noted by this build"},
		{"built in a checkout", "v1.2.0", set("vcs.revision", "0123456789abcdef", "vcs.time", "2026-11-25T10:00:00Z", "vcs.modified", "false"),
			"", "v1.2.0, commit 0123456789ab of 2026-11-25"},
		{"changed since", "", set("vcs.revision", "0123", "vcs.modified", "true"), "", "devel, commit 0123, with changes since"},
		{"noted by the linker", "(devel)", nil, "vcs.revision=0123456789abcdef vcs.time=2026-11-25T10:00:00Z vcs.modified=true",
			"devel, commit 0123456789ab of 2026-11-25, with changes since"},
	} {
		t.Run(row.name, func(t *testing.T) {
			if got := versionOf(&debug.BuildInfo{Main: debug.Module{Version: row.version}, Settings: row.settings}, row.noted); got != row.want {
				t.Errorf("got %q, want %q", got, row.want)
			}
		})
	}
}

// TestHelp: every command explains itself, and every example is a line it would take.
func TestHelp(t *testing.T) {
	root := newFace(os.Stdout, os.Stderr).rootCommand()
	var look func(*cobra.Command)
	look = func(c *cobra.Command) {
		for _, sub := range c.Commands() {
			if sub.Name() != "help" {
				look(sub)
			}
		}
		if c.Short == "" || len(c.Long) < 40 || c.Example == "" {
			t.Errorf("%s: short %q, long %q, example %q", c.CommandPath(), c.Short, c.Long, c.Example)
		}
		for line := range strings.Lines(c.Example) {
			words := strings.Fields(strings.TrimSpace(line))
			if len(words) == 0 || words[0] != "trueturn" {
				continue
			}
			// Quoting and pipes are the shell's.
			if i := strings.IndexAny(line, "|>'\""); i > 0 {
				words = strings.Fields(line[:i])
			}
			fresh := newFace(os.Stdout, os.Stderr).rootCommand()
			fresh.InitDefaultHelpCmd()
			found, rest, err := fresh.Find(words[1:])
			if err != nil || found == fresh {
				t.Errorf("%s: example %q: %v", c.CommandPath(), line, err)
			} else if err := found.ParseFlags(rest); err != nil {
				t.Errorf("%s: example %q: %v", c.CommandPath(), line, err)
			}
		}
	}
	look(root)
}

// TestKitTellsTheGear: with the period the command goes by, which a typed --period replaces.
func TestKitTellsTheGear(t *testing.T) {
	e := equipment{mount: kit.Mount{PeriodS: 480, PeakToPeakArcsec: 44}}
	if w := e.wobble(500); w == nil || w.PeriodS != 500 || w.PeakToPeak.Sec() < 43.999 || w.PeakToPeak.Sec() > 44.001 || w.Source != exposure.GearTold {
		t.Errorf("%+v", w)
	}
	if w := (&equipment{mount: kit.Mount{PeriodS: 480}}).wobble(480); w != nil {
		t.Errorf("a gear of no size: %+v", w)
	}
}

// TestKitFeedsKnobs: what no flag tells reaches the page beside the tripod.
func TestKitFeedsKnobs(t *testing.T) {
	e := equipment{mount: kit.Mount{PlayArcmin: 3, AltitudeArcminPerTurn: 60, AzimuthArcminPerTurn: 90, RimMM: 40, LegMM: 500}}
	o := e.knobs()
	if o.Play.Min() < 2.999 || o.Play.Min() > 3.001 || o.ArcminPerTurnAltitude != 60 || o.ArcminPerTurnAzimuth != 90 || o.RimMM != 40 || o.LegMM != 500 {
		t.Errorf("%+v", o)
	}
}
