package face

import (
	"errors"
	"fmt"
	"strings"

	"github.com/soniakeys/unit"
	"github.com/spf13/cobra"

	"trueturn/align/exposure"
	"trueturn/align/knobs"
	"trueturn/cmd/kit"
)

const kitText = `Keeps your equipment in one file, so that no evening starts with typing figures: the places
you stand at, cameras, lenses and mounts, each under a name, and what you usually
ask for. Every command then takes --at-site, --camera, --lens and --mount.

The file is TOML, and you may edit it by hand. Every figure may be left out except
a site's latitude and longitude; a lens has a focal length or a 35 mm equivalent:

  [sites.hut]
  latitude_deg = 46.02             # north positive
  longitude_deg = 7.75             # east positive
  height_m = 1620
  tz = "Europe/Lisbon"             # the camera's clock there, or "+01:00"
  [cameras.grey]
  pixel_pitch_um = 3.9
  width_px = 6000
  height_px = 4000
  read_noise_e = 1.8               # electrons
  wander_px = 0.2                  # of the optical centre, on a standing tripod
  [lenses.fifty]
  focal_length_mm = 50             # or equivalent_mm
  f_number = 2.8
  [mounts.crank]
  period_s = 480                   # one turn of the worm
  peak_to_peak_arcsec = 44         # of its wobble
  altitude_arcmin_per_turn = 60    # what one turn of the knob does
  azimuth_arcmin_per_turn = 90
  play_arcmin = 3                  # or rim_mm and leg_mm without knobs
  [defaults]
  max_elongation = 1.25
  share = 0.9
  planned_s = 60`

const kitExample = `  trueturn kit init --at-site hut --site 46.02,7.75,1620 \
    --mount crank --period 480
  trueturn kit add lens fifty --focal-length 50 --f-number 2.8
  trueturn kit check
  trueturn expose --camera grey --lens fifty --mount crank`

func (f *face) kitCommand() *cobra.Command {
	c := &cobra.Command{
		Use:       "kit init|add|show|check",
		Short:     "create, add to, show and check the equipment file (TOML)",
		Long:      kitText,
		Example:   kitExample,
		ValidArgs: []string{"init", "add", "show", "check"},
		RunE:      oneOf,
	}
	c.AddCommand(f.kitInitCommand(), f.kitAddCommand(), f.kitShowCommand(), f.kitCheckCommand())
	return c
}

// oneOf runs a command that does nothing by itself.
func oneOf(c *cobra.Command, args []string) error {
	if len(args) == 0 {
		return c.Help()
	}
	way := c.CommandPath() + " --help lists them"
	if near := nearest(args[0], c.ValidArgs); near != "" {
		way = "did you mean " + near + "?"
	}
	return usage(strings.TrimPrefix(c.CommandPath(), "trueturn ")+" has no "+quote(args[0]), way, nil)
}

func (f *face) kitShowCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "show",
		Short:   "show what the kit holds",
		Long:    "Shows what the kit holds, as a kit file without comments, or as JSON with --json.",
		Example: "  trueturn kit show\n  trueturn kit show --kit other.toml --json",
		Args:    noArguments,
		RunE: func(*cobra.Command, []string) error {
			k, err := f.gear.load()
			if err != nil {
				return err
			}
			if f.json {
				return writeJSON(f.out, k)
			}
			if path, err := f.gear.file(); err == nil {
				fmt.Fprintf(f.out, "# %s\n", path)
			}
			return k.Write(f.out)
		},
	}
}

// kitChecked is the JSON of kit check.
type kitChecked struct {
	File     string        `json:"file"`
	Mistakes []kit.Mistake `json:"mistakes"`
}

func (f *face) kitCheckCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "check",
		Short:   "list every mistake in the kit, with its line and what to do",
		Long:    "Reads the kit and lists every mistake: line, column, what is wrong and what to do.\nExit code 1 when there is any.",
		Example: "  trueturn kit check\n  trueturn kit check --kit other.toml --json",
		Args:    noArguments,
		RunE:    func(*cobra.Command, []string) error { return f.kitCheck() },
	}
}

func (f *face) kitCheck() error {
	path, err := f.gear.file()
	if err != nil {
		return err
	}
	k, err := f.gear.load()
	var wrong *kit.FileError
	if err != nil && !errors.As(err, &wrong) {
		return err
	}
	r := kitChecked{File: path, Mistakes: []kit.Mistake{}}
	if wrong != nil {
		r.Mistakes = wrong.Mistakes
	}
	if f.json {
		if err := writeJSON(f.out, r); err != nil {
			return err
		}
	} else {
		f.sayChecked(k, r)
	}
	if wrong != nil {
		return errSaid
	}
	return nil
}

// sayChecked prints the mistakes, or what is well.
func (f *face) sayChecked(k kit.Kit, r kitChecked) {
	for _, m := range r.Mistakes {
		fmt.Fprintf(f.out, "%s:%d:%d: %s\n  %s\n", r.File, m.Line, m.Column, m.Text, m.Way)
	}
	if len(r.Mistakes) == 0 {
		fmt.Fprintf(f.out, "%s has no mistakes: %s, %s, %s, %s\n", r.File, counted(len(k.Sites), "site"), counted(len(k.Cameras), "camera"),
			counted(len(k.Lenses), "lens"), counted(len(k.Mounts), "mount"))
	}
}

func counted(n int, one string) string {
	switch {
	case n == 1:
		return "1 " + one
	case one == "lens":
		return fmt.Sprintf("%d lenses", n)
	}
	return fmt.Sprintf("%d %ss", n, one)
}

const kitInitText = `Writes a kit. With flags it takes what they say: --at-site, --camera, --lens and --mount
name what the other flags describe. Without any it asks, on a terminal; an empty answer
leaves a figure out. A kit that is there already stays as it is: kit add puts more into it.
With --force it is replaced, and the old one is kept beside it.`

const kitInitExample = `  trueturn kit init
  trueturn kit init --at-site hut --site 46.02,7.75,1620 --tz Europe/Lisbon \
    --camera grey --pixel-pitch 3.9 --size 6000x4000
  trueturn kit init --force --lens fifty --focal-length 50 --f-number 2.8 \
    --mount crank --period 480`

func (f *face) kitInitCommand() *cobra.Command {
	d := &describing{}
	c := &cobra.Command{
		Use:     "init",
		Short:   "write a kit, from flags or by asking",
		Long:    kitInitText,
		Example: kitInitExample,
		Args:    noArguments,
		RunE:    func(c *cobra.Command, _ []string) error { return f.kitInit(c, d) },
	}
	d.register(c.Flags())
	return c
}

// kitInit writes the kit.
func (f *face) kitInit(c *cobra.Command, d *describing) error {
	path, old, err := f.kitFile()
	if err != nil {
		return err
	}
	if old != nil && !d.force {
		return failed("there is a kit already: "+quote(path), "put more into it with trueturn kit add, write it anew with --force, or name another with --kit FILE", nil)
	}
	k, err := d.kit(f)
	if err != nil {
		return err
	}
	asked := k == nil
	if asked {
		told, err := f.ask(c.Context(), "give flags, as in trueturn kit init --at-site hut --site 46.02,7.75", askKit)
		if err != nil {
			f.tellLost(told)
			return err
		}
		k = &told
	}
	if err := k.Sound(); err != nil {
		return usage("this kit would not do: "+err.Error(), hint(err), err)
	}
	if err := f.keepKit(path, old, k.Write); err != nil {
		if asked {
			f.tellLost(*k)
		}
		return err
	}
	return f.sayKept(path, "the kit is in "+path, *k)
}

// knobs is what the mount of the kit tells of its knobs.
func (e *equipment) knobs() knobs.Options {
	m := e.mount
	return knobs.Options{
		Play:                  unit.AngleFromMin(m.PlayArcmin),
		ArcminPerTurnAltitude: m.AltitudeArcminPerTurn,
		ArcminPerTurnAzimuth:  m.AzimuthArcminPerTurn,
		RimMM:                 m.RimMM,
		LegMM:                 m.LegMM,
	}
}

// wobble is what the mount of the kit tells of its gear, with the period the command goes by; nil where it tells no size.
func (e *equipment) wobble(periodS float64) *exposure.Wobble {
	if e.mount.PeakToPeakArcsec == 0 || periodS == 0 {
		return nil
	}
	return &exposure.Wobble{PeriodS: periodS, PeakToPeak: unit.AngleFromSec(e.mount.PeakToPeakArcsec), Source: exposure.GearTold}
}
