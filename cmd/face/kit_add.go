package face

import (
	"context"
	"io"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"trueturn/cmd/kit"
)

const kitAddText = `With flags it takes what they say; without any it asks, on a terminal. A name that is taken already is replaced only with --force. The rest of the file,
your comments included, is left alone, and the old file is kept beside it.`

// addable is a thing that kit add puts into the kit.
type addable struct {
	section kit.Section
	holds   string // what is told of it
	example string // its flags
	flags   func(*describing, *pflag.FlagSet)
	told    func(*describing, *face, string) (kit.Kit, error) // by flags; empty where there are none
	ask     func(*asker, string) kit.Kit
}

var addables = [...]addable{
	{kit.Cameras, "its pixels", "camera grey --pixel-pitch 3.9 --size 6000x4000 --read-noise 1.8", (*describing).cameraFlags, (*describing).oneCamera, (*asker).camera},
	{kit.Lenses, "its focal length, or the 35 mm equivalent", "lens fifty --focal-length 50 --f-number 2.8", (*describing).lensFlags, (*describing).oneLens, (*asker).lens},
	{kit.Mounts, "its gear and its knobs", "mount crank --period 480 --peak-to-peak 44 --altitude-per-turn 60", (*describing).mountFlags, (*describing).oneMount, (*asker).mount},
	{kit.Sites, "where you stand, and the zone of the camera's clock there", "site hut --site 46.02,7.75,1620 --tz Europe/Lisbon", (*describing).siteFlags, (*describing).oneSite, (*asker).site},
}

func (f *face) kitAddCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "add camera|lens|mount|site NAME",
		Short: "put one more thing into the kit",
		Long:  "Adds one thing to the kit. " + kitAddText,
		RunE:  oneOf,
	}
	for _, a := range addables {
		one := f.kitAddOne(a)
		c.Example += one.Example + "\n"
		c.ValidArgs = append(c.ValidArgs, one.Name())
		c.AddCommand(one)
	}
	c.Example = strings.TrimSuffix(c.Example, "\n")
	return c
}

func (f *face) kitAddOne(a addable) *cobra.Command {
	d := &describing{}
	word := a.section.One()
	c := &cobra.Command{
		Use:     word + " NAME",
		Short:   a.holds,
		Long:    "Adds a " + word + " to the kit: " + a.holds + ".\n\n" + kitAddText,
		Example: broken("  trueturn kit add " + a.example),
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 1 {
				return usage("kit add "+word+" needs one name", "as in trueturn kit add "+a.example, nil)
			}
			if err := checkName(args[0]); err != nil {
				return usage(quote(args[0])+" is "+err.Error(), hint(err), err)
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error { return f.kitAdd(c.Context(), a, d, args[0]) },
	}
	c.Flags().SortFlags = false
	a.flags(d, c.Flags())
	c.Flags().BoolVar(&d.force, "force", false, "replace the one of this name")
	return c
}

// kitAdd puts one thing into the kit.
func (f *face) kitAdd(ctx context.Context, a addable, d *describing, name string) error {
	if f.gear.named() {
		return usage("kit add takes the name as a word, not by a flag", "as in trueturn kit add "+a.example, nil)
	}
	path, old, err := f.kitFile()
	if err != nil {
		return err
	}
	k := kit.Kit{}
	if old != nil {
		if k, err = f.gear.load(); err != nil {
			return err
		}
	}
	word := a.section.One()
	if k.Has(a.section, name) == nil && !d.force {
		return failed("the kit has a "+word+" "+quote(name)+" already", "replace it with --force, or give another name", nil)
	}
	one, err := a.told(d, f, name)
	if err != nil {
		return err
	}
	asked := one.Empty()
	if asked {
		if one, err = f.ask(ctx, "give flags, as in trueturn kit add "+a.example, func(q *asker) (kit.Kit, error) { return a.asked(q, name) }); err != nil {
			return err
		}
	}
	if err := one.Sound(); err != nil {
		return usage("this "+word+" would not do: "+err.Error(), hint(err), err)
	}
	text, anew, err := kit.Append(string(old), one)
	if err == nil {
		err = f.keepKit(path, old, func(w io.Writer) error { _, err := io.WriteString(w, text); return err })
	}
	if err != nil {
		if asked {
			f.tellLost(one)
		}
		return err
	}
	if anew && strings.Contains(string(old), "#") {
		f.note("comments are lost where a thing is replaced; the backup has them")
	}
	return f.sayKept(path, "the "+word+" "+quote(name)+" is in "+path, k.With(one))
}

// asked asks for the figures of one thing.
func (a addable) asked(q *asker, name string) (kit.Kit, error) {
	one := a.ask(q, name)
	if q.err == nil && figureless(one) {
		return kit.Kit{}, failed("nothing was given, so nothing was written", "give at least one figure", nil)
	}
	return one, q.err
}

// figureless is whether a kit holds nothing but names.
func figureless(k kit.Kit) bool {
	for _, c := range k.Cameras {
		if c != (kit.Camera{}) {
			return false
		}
	}
	for _, m := range k.Mounts {
		if m != (kit.Mount{}) {
			return false
		}
	}
	return len(k.Lenses)+len(k.Sites) == 0
}

func (d *describing) oneCamera(_ *face, name string) (kit.Kit, error) {
	if d.camera == (kit.Camera{}) {
		return kit.Kit{}, nil
	}
	return kit.Kit{Cameras: map[string]kit.Camera{name: d.camera}}, nil
}

func (d *describing) oneLens(_ *face, name string) (kit.Kit, error) {
	if d.lens == (kit.Lens{}) {
		return kit.Kit{}, nil
	}
	return kit.Kit{Lenses: map[string]kit.Lens{name: d.lens}}, nil
}

func (d *describing) oneMount(_ *face, name string) (kit.Kit, error) {
	if d.mount == (kit.Mount{}) {
		return kit.Kit{}, nil
	}
	return kit.Kit{Mounts: map[string]kit.Mount{name: d.mount}}, nil
}

func (d *describing) oneSite(f *face, name string) (kit.Kit, error) {
	switch {
	case f.site != nil:
		return kit.Kit{Sites: map[string]kit.Site{name: siteFigures(*f.site, d.tz)}}, nil
	case d.tz != "":
		return kit.Kit{}, usage("the site has a zone and no place", "add --site LAT,LON[,HEIGHT_M]", nil)
	}
	return kit.Kit{}, nil
}

// broken is an example within helpColumns: what is too long goes on below.
func broken(example string) string {
	lines := wrap(example, helpColumns-6)
	return "  " + strings.Join(lines, " \\\n    ")
}
