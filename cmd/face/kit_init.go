package face

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"strings"

	"github.com/spf13/pflag"

	"trueturn/cmd/kit"
	"trueturn/ephem"
	"trueturn/ephem/amiss"
)

// describing is what the flags of kit init and kit add tell.
type describing struct {
	camera kit.Camera
	lens   kit.Lens
	mount  kit.Mount
	usual  kit.Defaults
	tz     string
	force  bool
}

func (d *describing) register(fs *pflag.FlagSet) {
	fs.SortFlags = false
	fs.BoolVar(&d.force, "force", false, "replace a kit that is there already; it is kept as a backup")
	d.siteFlags(fs)
	d.cameraFlags(fs)
	d.lensFlags(fs)
	d.mountFlags(fs)
	fs.Var(between("RATIO", &d.usual.MaxElongation, 1.001, 10), "max-elongation", "what you usually call round")
	fs.Var(between("SHARE", &d.usual.Share, 0.01, 1), "share", "of the exposures that must usually be round, 0 to 1")
	fs.Var(between("SECONDS", &d.usual.PlannedS, 0.001, 3600), "planned", "exposure you usually plan")
}

func (d *describing) siteFlags(fs *pflag.FlagSet) {
	fs.Var(&value{kind: "+HH:MM|NAME", set: d.setZone}, "tz", "zone of the camera's clock at the site: +02:00, UTC, or a name like Europe/Lisbon")
}

// setZone keeps a zone as it was written.
func (d *describing) setZone(s string) error {
	if _, err := kit.Zone(s); err != nil {
		return err
	}
	d.tz = s
	return nil
}

func (d *describing) cameraFlags(fs *pflag.FlagSet) {
	fs.Var(between("UM", &d.camera.PixelPitchUM, 0.2, 200), "pixel-pitch", "distance of the camera's pixels in micrometres")
	fs.Var(&value{kind: "WIDTHxHEIGHT", set: d.setSize}, "size", "of the camera's pictures in pixels, as in 6000x4000")
	fs.Var(between("ELECTRONS", &d.camera.ReadNoiseE, 0.01, 1000), "read-noise", "of the camera's sensor")
	fs.Var(between("PX", &d.camera.WanderPx, 0.001, 100), "wander", "of the camera's optical centre, rms, as measured on a standing tripod")
}

func (d *describing) setSize(s string) error {
	w := wondering{}
	if err := w.setSize(s); err != nil {
		return err
	}
	d.camera.WidthPx, d.camera.HeightPx = w.width, w.height
	return nil
}

func (d *describing) lensFlags(fs *pflag.FlagSet) {
	fs.Var(between("MM", &d.lens.FocalLengthMM, 0.5, 10000), "focal-length", "of the lens")
	fs.Var(between("MM", &d.lens.EquivalentMM, 4, 20000), "equivalent", "focal length of the lens as its 35 mm equivalent, instead")
	fs.Var(fNumber(&d.lens.FNumber), "f-number", "of the lens")
}

func (d *describing) mountFlags(fs *pflag.FlagSet) {
	m := &d.mount
	fs.Var(between("S", &m.PeriodS, 1, 1e5), "period", "of the mount's worm, one turn")
	fs.Var(between("ARCSEC", &m.PeakToPeakArcsec, 0.001, 36000), "peak-to-peak", "of the mount's wobble")
	fs.Var(between("ARCMIN", &m.AltitudeArcminPerTurn, 0.01, 21600), "altitude-per-turn", "what a turn of the tilt knob does")
	fs.Var(between("ARCMIN", &m.AzimuthArcminPerTurn, 0.01, 21600), "azimuth-per-turn", "what a turn of the base knob does")
	fs.Var(between("ARCMIN", &m.PlayArcmin, 0.001, 600), "play", "of the knobs")
	fs.Var(between("MM", &m.RimMM, 1, 10000), "rim", "radius of the head's rim, where there are no knobs")
	fs.Var(between("MM", &m.LegMM, 1, 100000), "leg", "how far the leg that is lengthened stands from the line through the others")
}

// kit is what was told; nil when nothing was.
func (d *describing) kit(f *face) (*kit.Kit, error) {
	k := &kit.Kit{}
	name := func(s kit.Section) string { return *f.gear.names[s] }
	told := []struct {
		what, flag, name string
		figures          bool
	}{
		{"--site", "at-site", name(kit.Sites), f.site != nil},
		{"the camera", "camera", name(kit.Cameras), d.camera != kit.Camera{}},
		{"the lens", "lens", name(kit.Lenses), d.lens != kit.Lens{}},
		{"the mount", "mount", name(kit.Mounts), d.mount != kit.Mount{}},
	}
	nothing := d.usual == kit.Defaults{}
	for _, t := range told {
		if t.figures && t.name == "" {
			return nil, usage(t.what+" is given without a name", "add --"+t.flag+" NAME", nil)
		}
		nothing = nothing && t.name == ""
	}
	switch {
	case nothing:
		return nil, nil
	case name(kit.Sites) != "" && f.site == nil:
		return nil, usage("the site has a name and no place", "add --site LAT,LON[,HEIGHT_M]", nil)
	case name(kit.Sites) == "" && d.tz != "":
		return nil, usage("--tz needs a site whose clock it is", "add --at-site NAME and --site LAT,LON", nil)
	}
	if f.site != nil {
		k.Sites = map[string]kit.Site{name(kit.Sites): siteFigures(*f.site, d.tz)}
	}
	if n := name(kit.Cameras); n != "" {
		k.Cameras = map[string]kit.Camera{n: d.camera}
	}
	if n := name(kit.Lenses); n != "" {
		k.Lenses = map[string]kit.Lens{n: d.lens}
	}
	if n := name(kit.Mounts); n != "" {
		k.Mounts = map[string]kit.Mount{n: d.mount}
	}
	if d.usual != (kit.Defaults{}) {
		k.Defaults = &d.usual
	}
	return k, nil
}

// siteFigures undoes the turn into radians, which leaves a last digit behind.
func siteFigures(s ephem.Site, tz string) kit.Site {
	return kit.Site{LatitudeDeg: roundTo(s.Latitude.Deg(), 1e9), LongitudeDeg: roundTo(s.Longitude.Deg(), 1e9), HeightM: s.HeightM, TZ: tz}
}

// asker puts questions, one a line.
type asker struct {
	in  *bufio.Reader
	out io.Writer
	err error // the answers have ended
}

// text asks until the answer does, and says at once why one does not; empty leaves it out.
func (a *asker) text(question string, take func(string) error) {
	for a.err == nil {
		fmt.Fprintf(a.out, "%s: ", question)
		line, err := a.in.ReadString('\n')
		line = strings.TrimSpace(line)
		if err != nil && line == "" {
			fmt.Fprintln(a.out)
			a.err = failed("the answers ended before the questions did", "nothing was written; start again, or give flags", nil)
			return
		}
		if line == "" {
			return
		}
		if err := take(line); err != nil {
			fmt.Fprintf(a.out, "  %v: %s\n", err, hint(err))
			continue
		}
		return
	}
}

// figure asks for a number.
func (a *asker) figure(question string, p *float64, low, high float64) {
	a.text(question, between("", p, low, high).Set)
}

// name asks what something is called; "" means there is none.
func (a *asker) name(question string) (name string) {
	a.text(question, func(s string) error {
		if err := checkName(s); err != nil {
			return err
		}
		name = s
		return nil
	})
	return name
}

func checkName(s string) error {
	if !kit.GoodName(s) {
		return amiss.New(nil, "no name", "give it a name you can type")
	}
	return nil
}

// must asks again for what a thing is nothing without, and gives the thing up when the answer is empty twice.
func (a *asker) must(what string, ask func() (told bool)) bool {
	if ask() {
		return true
	}
	if a.err == nil {
		fmt.Fprintf(a.out, "  %s; another empty answer leaves it out\n", what)
	}
	return a.err == nil && ask()
}

// askKit asks for one of each. With an error too it is what was answered.
func askKit(a *asker) (kit.Kit, error) {
	fmt.Fprintln(a.out, "An empty answer leaves a thing out.")
	var k kit.Kit
	for _, q := range []struct {
		question string
		ask      func(name string) kit.Kit
	}{
		{"Name of the place you stand at, as in hut", a.site}, {"Name of the camera", a.camera},
		{"Name of the lens", a.lens}, {"Name of the mount", a.mount},
	} {
		if n := a.name(q.question); n != "" {
			k = k.With(q.ask(n))
		}
	}
	switch {
	case a.err != nil:
		return k, a.err
	case k.Empty():
		return kit.Kit{}, failed("nothing was given, so nothing was written", "give at least one name", nil)
	}
	return k, nil
}

// site asks for the figures of a place; the kit is empty where none were given. So are those of the others.
func (a *asker) site(name string) kit.Kit {
	var site *ephem.Site
	if !a.must("a place has a latitude and a longitude", func() bool {
		a.text("  Where it is, LAT,LON or LAT,LON,HEIGHT_M, north and east positive, as in 46.02,7.75,1620", func(s string) error {
			x, err := ephem.ParseSite(s)
			if err == nil {
				site = &x
			}
			return err
		})
		return site != nil
	}) {
		return kit.Kit{}
	}
	d := describing{}
	a.text("  Zone of the camera's clock there, as in +01:00 or Europe/Lisbon", d.setZone)
	return kit.Kit{Sites: map[string]kit.Site{name: siteFigures(*site, d.tz)}}
}

func (a *asker) camera(name string) kit.Kit {
	d := describing{}
	a.figure("  Distance of its pixels, micrometres", &d.camera.PixelPitchUM, 0.2, 200)
	a.text("  Size of its pictures, pixels, as in 6000x4000", d.setSize)
	a.figure("  Read noise, electrons", &d.camera.ReadNoiseE, 0.01, 1000)
	return kit.Kit{Cameras: map[string]kit.Camera{name: d.camera}}
}

func (a *asker) lens(name string) kit.Kit {
	l := kit.Lens{}
	if !a.must("a lens has a focal length, its own or the equivalent", func() bool {
		a.figure("  Focal length, mm (empty: its 35 mm equivalent is asked for)", &l.FocalLengthMM, 0.5, 10000)
		if l.FocalLengthMM == 0 {
			a.figure("  Focal length as its 35 mm equivalent, mm", &l.EquivalentMM, 4, 20000)
		}
		return l.FocalLengthMM > 0 || l.EquivalentMM > 0
	}) {
		return kit.Kit{}
	}
	a.figure("  f-number", &l.FNumber, 0.3, 128)
	return kit.Kit{Lenses: map[string]kit.Lens{name: l}}
}

func (a *asker) mount(name string) kit.Kit {
	m := kit.Mount{}
	a.figure("  Time of one turn of its worm, seconds", &m.PeriodS, 1, 1e5)
	if m.PeriodS > 0 {
		a.figure("  Wobble of its gear, arcseconds peak to peak", &m.PeakToPeakArcsec, 0.001, 36000)
	}
	a.figure("  What a turn of the tilt knob does, minutes of arc", &m.AltitudeArcminPerTurn, 0.01, 21600)
	a.figure("  What a turn of the base knob does, minutes of arc", &m.AzimuthArcminPerTurn, 0.01, 21600)
	a.figure("  Play of the knobs, minutes of arc", &m.PlayArcmin, 0.001, 600)
	return kit.Kit{Mounts: map[string]kit.Mount{name: m}}
}

// roundTo leaves so many steps in one.
func roundTo(x, steps float64) float64 { return math.Round(x*steps) / steps }
