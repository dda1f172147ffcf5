package main

import (
	"bufio"
	"io"
	"os"
	"runtime/debug"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/spf13/cobra"

	"trueturn/cmd/trueturn/kit"
)

func TestAskKit(t *testing.T) {
	answers := "hut\n46.02,200\n46.02,7.75,1620\n\ngrey\n3.9\n6000x4000\n\nphone\n\n115\n1.8\n\n"
	var asked strings.Builder
	got, err := askKit(bufio.NewReader(strings.NewReader(answers)), &asked)
	if err != nil {
		t.Fatalf("%v\n%s", err, asked.String())
	}
	want := &kit.Kit{
		Sites:   map[string]kit.Site{"hut": {LatitudeDeg: 46.02, LongitudeDeg: 7.75, HeightM: 1620}},
		Cameras: map[string]kit.Camera{"grey": {PixelPitchUM: 3.9, WidthPx: 6000, HeightPx: 4000}},
		Lenses:  map[string]kit.Lens{"phone": {EquivalentMM: 115, FNumber: 1.8}},
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
	if !strings.Contains(asked.String(), "longitude 200°") {
		t.Errorf("the impossible place was not refused:\n%s", asked.String())
	}
	for _, row := range []struct{ name, answers string }{
		{"they end too soon", "hut\n"},
		{"nothing told", "\n\n\n\n"},
		{"none", ""},
	} {
		t.Run(row.name, func(t *testing.T) {
			if k, err := askKit(bufio.NewReader(strings.NewReader(row.answers)), io.Discard); err == nil || hint(err) == "" {
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
		want          string
	}{
		{"run from source", "(devel)", nil, "devel, commit not noted by this build"},
		{"built in a checkout", "v1.2.0", set("vcs.revision", "0123456789abcdef", "vcs.time", "2026-11-25T10:00:00Z", "vcs.modified", "false"),
			"v1.2.0, commit 0123456789ab of 2026-11-25"},
		{"changed since", "", set("vcs.revision", "0123", "vcs.modified", "true"), "devel, commit 0123, with changes since"},
	} {
		t.Run(row.name, func(t *testing.T) {
			if got := versionOf(&debug.BuildInfo{Main: debug.Module{Version: row.version}, Settings: row.settings}); got != row.want {
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

// TestKitFeedsKnobs: what no flag tells reaches the page beside the tripod.
func TestKitFeedsKnobs(t *testing.T) {
	e := equipment{mount: kit.Mount{PlayArcmin: 3, AltitudeArcminPerTurn: 60, AzimuthArcminPerTurn: 90, RimMM: 40, LegMM: 500}}
	o := e.knobs()
	if o.Play.Min() < 2.999 || o.Play.Min() > 3.001 || o.ArcminPerTurnAltitude != 60 || o.ArcminPerTurnAzimuth != 90 || o.RimMM != 40 || o.LegMM != 500 {
		t.Errorf("%+v", o)
	}
}
