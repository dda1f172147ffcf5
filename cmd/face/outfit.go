package face

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strconv"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"trueturn/cmd/kit"
	"trueturn/ephem"
	"trueturn/ephem/amiss"
)

// equipment is what the command line says of the kit.
type equipment struct {
	path  string // of --kit; "" is the usual one
	names map[kit.Section]*string
	mount kit.Mount // the one named, for what no flag tells
}

// sections and the flags their names are given by, in the order of the help.
var sections = []struct {
	section    kit.Section
	flag, text string
}{
	{kit.Sites, "at-site", "stand at the site of this `NAME` in the kit"},
	{kit.Cameras, "camera", "use the camera of this `NAME` in the kit"},
	{kit.Lenses, "lens", "use the lens of this `NAME` in the kit"},
	{kit.Mounts, "mount", "use the mount of this `NAME` in the kit"},
}

func (e *equipment) register(fs *pflag.FlagSet) {
	fs.StringVar(&e.path, "kit", "", "read the kit from `FILE.toml`; else trueturn/kit.toml in your folder for settings")
	e.names = map[kit.Section]*string{}
	for _, s := range sections {
		e.names[s.section] = fs.String(s.flag, "", s.text)
	}
}

// named is whether anything of the kit was asked for by name.
func (e *equipment) named() bool {
	for _, s := range sections {
		if *e.names[s.section] != "" {
			return true
		}
	}
	return false
}

// file is where the kit is.
func (e *equipment) file() (string, error) {
	if e.path != "" {
		return e.path, nil
	}
	path, err := kit.Path()
	if err != nil {
		return "", failed("no folder for settings is known: "+err.Error(), "name the kit, as in --kit kit.toml", err)
	}
	return path, nil
}

// load reads the kit.
func (e *equipment) load() (kit.Kit, error) {
	path, err := e.file()
	if err != nil {
		return kit.Kit{}, err
	}
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return kit.Kit{}, failed("there is no kit "+quote(path), "make one with trueturn kit init, or name another with --kit FILE", err)
	}
	if err != nil {
		return kit.Kit{}, cannotOpen(path, err)
	}
	defer f.Close()
	k, err := kit.Parse(f)
	var wrong *kit.FileError
	switch {
	case errors.As(err, &wrong):
		return k, failed("the kit "+quote(path)+", "+wrong.Error(), hint(wrong)+"; trueturn kit check tells every mistake", err)
	case err != nil:
		return k, failed("the kit "+quote(path)+" cannot be read: "+amiss.Plain(err).Error(), "name a file, and one you may read", err)
	}
	return k, nil
}

// ofKit are the flags a kit has a word for even where nothing of it is named.
var ofKit = []string{"max-elongation", "share", "planned"}

// outfit fills in from the kit the flags that were not typed, so that a name means neither more
// nor less than its figures by hand: through the flags' own Set, so that the same limits hold, and
// without Changed, so that a typed flag wins. What no flag tells goes past them: the gear's size to
// answer.Options.Gear, its play to answer.Options.Play, what a turn of a knob does to
// guide.Options.Knobs. A kit nothing was asked of is allowed to be broken.
func (f *face) outfit(c *cobra.Command) error {
	if keepsKit(c) {
		return nil
	}
	asked := f.gear.path != "" || f.gear.named()
	wants := false
	for _, name := range ofKit {
		wants = wants || c.Flags().Lookup(name) != nil
	}
	if !asked && !wants {
		return nil
	}
	k, err := f.gear.load()
	switch {
	case err == nil:
	case asked:
		return err
	case errors.Is(err, fs.ErrNotExist):
		return nil
	default:
		f.note(err.Error() + "; it is ignored")
		return nil
	}
	for _, s := range sections {
		if name := *f.gear.names[s.section]; name != "" {
			if err := k.Has(s.section, name); err != nil {
				return usage(fmt.Sprintf("--%s: %v", s.flag, err), hint(err), err)
			}
		}
	}
	return f.fill(filling{c.Flags()}, k)
}

// keepsKit is whether a command is about the kit file itself, or the shell's.
func keepsKit(c *cobra.Command) bool {
	for p := c; p != nil; p = p.Parent() {
		switch p.Name() {
		case "kit", "completion", "help", cobra.ShellCompRequestCmd, cobra.ShellCompNoDescRequestCmd:
			return true
		}
	}
	return false
}

// filling is a command's flags, filled from the kit.
type filling struct{ flags *pflag.FlagSet }

// typed is whether one of these flags was given by hand.
func (f filling) typed(names ...string) bool {
	for _, name := range names {
		if flag := f.flags.Lookup(name); flag != nil && flag.Changed {
			return true
		}
	}
	return false
}

// set fills a flag the command has, unless it was typed; "" is unknown.
func (f filling) set(name, text string) error {
	flag := f.flags.Lookup(name)
	if flag == nil || flag.Changed || text == "" {
		return nil
	}
	if err := flag.Value.Set(text); err != nil {
		return usage(fmt.Sprintf("--%s %s, from the kit: %v", name, quote(text), err), hint(err), err)
	}
	return nil
}

// figure is a number as one types it; "" where it is not known.
func figure(x float64) string {
	if x == 0 {
		return ""
	}
	return strconv.FormatFloat(x, 'g', -1, 64)
}

// fill goes through what was named.
func (f *face) fill(in filling, k kit.Kit) error {
	site, atSite := k.Sites[*f.gear.names[kit.Sites]]
	camera := k.Cameras[*f.gear.names[kit.Cameras]]
	lens := k.Lenses[*f.gear.names[kit.Lenses]]
	mount, onMount := k.Mounts[*f.gear.names[kit.Mounts]]
	f.gear.mount = mount
	if onMount && in.typed("tripod") {
		return usage("a tripod is no mount", "leave out --tripod or --mount", nil)
	}
	if atSite {
		if err := f.stand(in, site); err != nil {
			return err
		}
	}
	pairs := append(in.lens(camera, lens),
		[2]string{"f-number", figure(lens.FNumber)}, [2]string{"read-noise", figure(camera.ReadNoiseE)}, [2]string{"period", figure(mount.PeriodS)})
	if camera.WidthPx > 0 {
		pairs = append(pairs, [2]string{"size", fmt.Sprintf("%dx%d", camera.WidthPx, camera.HeightPx)})
	}
	if mount.PeakToPeakArcsec > 0 {
		pairs = append(pairs, [2]string{"periodic-error", figure(mount.PeakToPeakArcsec) + "," + figure(mount.PeriodS)})
	}
	if d := k.Defaults; d != nil {
		pairs = append(pairs, [2]string{"max-elongation", figure(d.MaxElongation)}, [2]string{"share", figure(d.Share)}, [2]string{"planned", figure(d.PlannedS)})
	}
	for _, p := range pairs {
		if err := in.set(p[0], p[1]); err != nil {
			return err
		}
	}
	return nil
}

// stand is the named site, unless --site tells another.
func (f *face) stand(in filling, s kit.Site) error {
	if f.site != nil {
		return nil
	}
	site, err := ephem.NewSite(s.LatitudeDeg, s.LongitudeDeg, s.HeightM)
	if err != nil {
		return err
	}
	f.site = &site
	return in.set("tz", s.TZ)
}

// lens is how a named camera and lens tell the scale: in one way, and in none where --scale or
// --equivalent was typed. Either half of focal length and pixel pitch may be typed beside a name.
func (f filling) lens(camera kit.Camera, lens kit.Lens) [][2]string {
	switch {
	case f.typed("scale", "equivalent"):
		return nil
	case lens.EquivalentMM > 0 && !f.typed("focal-length", "pixel-pitch"):
		return [][2]string{{"equivalent", figure(lens.EquivalentMM)}}
	case lens.FocalLengthMM == 0 && !f.typed("focal-length"):
		return nil // the pixels alone tell no scale, and the pictures may know the rest
	}
	return [][2]string{{"focal-length", figure(lens.FocalLengthMM)}, {"pixel-pitch", figure(camera.PixelPitchUM)}}
}
