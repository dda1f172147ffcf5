package face

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"time"

	"github.com/soniakeys/unit"
	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
	"golang.org/x/sync/errgroup"

	"trueturn/align"
	"trueturn/align/simulate"
	"trueturn/cmd/trueturn/files"
	"trueturn/cmd/words"
	"trueturn/drift/frame"
	"trueturn/ephem"
)

const simulateText = `Writes pictures of the night sky as a camera takes them on a mount whose faults
you choose, and beside them truth.json with what was put in. Use it to practise,
and to see what align says of a fault before you meet it in the dark.

Without --target the camera looks half way up the sky, away from the pole; without
--start it is ten in the evening (mean solar time at the site) of 25 November 2026.
--altitude-error is positive when the axis points too high, --azimuth-error when it
points too far clockwise seen from above.`

const simulateExample = `  trueturn simulate --site 46.02,7.75,1620 --altitude-error 25 \
    --azimuth-error -48 --out evening
  trueturn simulate --site -33.9,18.4 --swing 0,0,25,0,18,-38 --count 6 \
    --out swung`

// staging is what the flags of simulate ask for.
type staging struct {
	altitudeArcmin, azimuthArcmin float64
	wobbleArcsec                  float64
	wobblePeriod                  time.Duration
	rate                          float64
	swingsDeg                     []float64
	tripod                        bool
	wanderPx, breathing           float64
	flexureArcmin, baseTiltDeg    float64
	stampStep                     time.Duration

	target          *align.Target
	start           time.Time
	every, exposure time.Duration
	count           float64
	rollDeg         *float64

	lens       lensFlags
	megapixels float64
	fwhmPx     float64
	format     frame.Format

	zone             *time.Location
	geotag, noOffset bool
	seed             uint64
	out              string
}

func newStaging() *staging {
	return &staging{
		rate: 1, every: 20 * time.Second, exposure: 15 * time.Second, count: 10,
		megapixels: 12, format: frame.JPEG, seed: 1, stampStep: time.Millisecond,
	}
}

func (f *face) simulateCommand() *cobra.Command {
	s := newStaging()
	c := &cobra.Command{
		Use:     "simulate --site LAT,LON --out DIR",
		Short:   "write pictures of a mount with known faults",
		Long:    simulateText,
		Example: simulateExample,
		Args:    noArguments,
		RunE: func(c *cobra.Command, _ []string) error {
			e, err := s.evening(f.site)
			if err != nil {
				return err
			}
			truth, err := f.render(c.Context(), e, s.out, s.noOffset)
			if err != nil {
				return err
			}
			return f.showTruth(truth, s.out, s.zone)
		},
	}
	fs := c.Flags()
	fs.SortFlags = false
	s.mountFlags(fs)
	s.skyFlags(fs)
	s.cameraFlags(fs)
	fs.StringVar(&s.out, "out", "", "folder `DIR` to write to; pictures of an earlier simulation there are replaced")
	fs.Uint64Var(&s.seed, "seed", s.seed, "number `N` that picks what is left to chance")
	return c
}

func noArguments(c *cobra.Command, args []string) error {
	if len(args) == 0 {
		return nil
	}
	return usage(fmt.Sprintf("%s takes no %s", c.Name(), quote(args[0])), "see trueturn "+c.Name()+" --help", nil)
}

func (s *staging) mountFlags(fs *pflag.FlagSet) {
	fs.Var(between("ARCMIN", &s.altitudeArcmin, -89*60, 89*60), "altitude-error", "by how much the axis points too high")
	fs.Var(between("ARCMIN", &s.azimuthArcmin, -180*60, 180*60), "azimuth-error", "by how much it points too far clockwise, seen from above")
	fs.Var(&value{kind: "P2P,PERIOD", set: s.setWobble}, "periodic-error", "unevenness of the gear: arcseconds peak to peak, seconds")
	fs.Var(between("RATIO", &s.rate, -100, 100), "rate", "speed of the motor against the stars; -1 is the wrong hemisphere, 0 is off")
	fs.Var(&value{kind: "DEG,DEG,…", set: s.setSwings}, "swing", "turns about the axis by hand, one before each picture")
	fs.BoolVar(&s.tripod, "tripod", false, "no mount: the camera stands still")
	fs.Var(between("PX", &s.wanderPx, 0, 1000), "wander", "how far the optical centre jumps from picture to picture, rms")
	fs.Var(between("SHARE", &s.breathing, -0.2, 0.2), "breathing", "by how much the scale grows over the run, as in 0.0005")
	fs.Var(between("ARCMIN", &s.flexureArcmin, -600, 600), "flexure", "how far the holder bends over the run")
	fs.Var(between("DEG", &s.baseTiltDeg, 0, 45), "base-tilt", "how far the base is off level")
}

func (s *staging) setWobble(text string) (err error) {
	s.wobbleArcsec, s.wobblePeriod, err = parseWobble(text)
	return err
}

func (s *staging) setSwings(text string) (err error) {
	s.swingsDeg, err = numbers(text)
	return err
}

func (s *staging) skyFlags(fs *pflag.FlagSet) {
	fs.Var(target(&s.target), "target", "place in the sky to aim at: "+placeWords)
	fs.Var(instant(&s.start), "start", "start of the first picture, as in 2026-11-25T21:30:00Z")
	fs.Var(seconds(&s.every, 0.001, 86400), "every", "from the start of one picture to that of the next")
	fs.Var(between("N", &s.count, 1, 10000), "count", "number of pictures")
	fs.Var(seconds(&s.exposure, 0.001, 3600), "exposure", "length of each exposure")
	fs.Var(&value{kind: "DEG", set: func(t string) error {
		x, err := parseNumber(t)
		s.rollDeg = &x
		return err
	}}, "roll", "position angle of the picture's up, from north through east; else the camera is held upright")
}

func (s *staging) cameraFlags(fs *pflag.FlagSet) {
	s.lens.equivalent(fs, "focal length of a phone as its 35 mm equivalent; 115 if no lens is given")
	s.lens.focal(fs, "focal length of a small camera")
	fs.Var(between("N", &s.megapixels, 0.01, 200), "megapixels", "size of the pictures")
	fs.Var(between("PX", &s.fwhmPx, 0.5, 60), "fwhm", "width of a star before the pixels blur it")
	fs.Var(&value{kind: "jpeg|png|tiff|fits", text: "jpeg", set: func(t string) (err error) {
		s.format, err = frame.ParseFormat(t)
		return err
	}}, "format", "kind of file")
	fs.Var(seconds(&s.stampStep, 0.001, 3600), "stamp-resolution", "step of the camera's clock: 1 for whole seconds")
	fs.Var(zone(&s.zone), "tz", "zone the camera's clock is set to, and of the times printed: +02:00, UTC, or a name like Europe/Lisbon; else UTC")
	fs.BoolVar(&s.noOffset, "no-offset", false, "leave the zone out of the pictures, as many cameras do")
	fs.BoolVar(&s.geotag, "geotag", false, "write the site into the pictures")
}

// evening is the simulation the flags ask for.
func (s *staging) evening(site *ephem.Site) (simulate.Evening, error) {
	if err := s.check(site); err != nil {
		return simulate.Evening{}, err
	}
	if s.start.IsZero() {
		s.start = tenInTheEvening(*site)
	}
	e, err := simulate.Practice(*site, s.start)
	if err != nil {
		return e, usage(err.Error(), hint(err), err)
	}
	e.Count, e.Every, e.Exposure, e.Seed = int(s.count), s.every, s.exposure, s.seed
	e.Zone, e.Geotag, e.Suffix = s.zone, s.geotag, s.format.Extension()
	e.Camera = s.camera()
	e.Handling.Wander, e.Handling.Breathing, e.Handling.StampStep = s.wanderPx, s.breathing, s.stampStep
	s.mount(&e.Mount)
	if s.target != nil {
		e.Target = simulate.Target(*s.target)
		e.Roll = 0
	}
	if s.rollDeg != nil {
		e.Roll = unit.AngleFromDeg(*s.rollDeg)
	}
	return e, nil
}

// tenInTheEvening is mean solar time at the site on a November night.
func tenInTheEvening(site ephem.Site) time.Time {
	solar := time.Duration(site.Longitude.Deg() / 15 * float64(time.Hour))
	return time.Date(2026, 11, 25, 22, 0, 0, 0, time.UTC).Add(-solar).Truncate(time.Minute)
}

func (s *staging) check(site *ephem.Site) error {
	switch {
	case site == nil:
		return usage("simulate needs a place on Earth", "give --site LAT,LON, as in --site 46.02,7.75", nil)
	case s.out == "":
		return usage("simulate needs a folder to write to", "give --out DIR", nil)
	case s.count != math.Trunc(s.count):
		return usage("--count is not a whole number", "write how many pictures to take, as in --count 10", nil)
	case s.count > 1 && s.every < s.exposure:
		return usage(fmt.Sprintf("pictures of %v cannot follow each other every %v", s.exposure, s.every),
			"make --every at least as long as --exposure", nil)
	case len(s.swingsDeg) > int(s.count):
		return usage(fmt.Sprintf("--swing has %d turns for %d pictures", len(s.swingsDeg), int(s.count)),
			"give one turn for each picture, 0 where the hand stays away", nil)
	}
	return s.lens.check()
}

func (s *staging) mount(m *simulate.Mount) {
	m.AltitudeError, m.AzimuthError = unit.AngleFromMin(s.altitudeArcmin), unit.AngleFromMin(s.azimuthArcmin)
	m.Wobble = simulate.Wobble{PeakToPeak: unit.AngleFromSec(s.wobbleArcsec), Period: s.wobblePeriod}
	m.Rate, m.Tripod = s.rate, s.tripod
	m.Flexure, m.BaseTilt = unit.AngleFromMin(s.flexureArcmin), unit.AngleFromDeg(s.baseTiltDeg)
	m.BaseTiltToward = unit.AngleFromDeg(65) // neither along the axis nor across it
	for _, deg := range s.swingsDeg {
		m.Swings = append(m.Swings, unit.AngleFromDeg(deg))
	}
}

func (s *staging) camera() simulate.Camera {
	c := simulate.Phone(115, s.megapixels)
	switch {
	case s.lens.EquivalentMM > 0:
		c = simulate.Phone(s.lens.EquivalentMM, s.megapixels)
	case s.lens.FocalLengthMM > 0:
		// Small cameras take pictures of 3:2.
		height := math.Round(math.Sqrt(s.megapixels * 1e6 * 2 / 3))
		c = simulate.Small(s.lens.FocalLengthMM, 2.8, s.lens.PixelPitchUM, int(1.5*height), int(height))
	}
	if s.fwhmPx > 0 {
		c.FWHM = s.fwhmPx
	}
	return c
}

const truthFile = "truth.json"

// render writes an evening's pictures into a folder, and the truth beside them.
func (f *face) render(ctx context.Context, e simulate.Evening, dir string, noOffset bool) (simulate.Truth, error) {
	run, err := e.Begin()
	if err != nil {
		return simulate.Truth{}, usage(err.Error(), hint(err), err)
	}
	truth, err := run.Truth()
	if err != nil {
		return truth, err
	}
	if err := makeRoom(dir, truth); err != nil {
		return truth, err
	}
	// The truth comes first: however this ends, it tells the next simulation here which pictures it may replace.
	if err := writeTruth(dir, truth); err != nil {
		return truth, err
	}
	if err := f.renderFrames(ctx, run, dir, noOffset); err != nil {
		cutTruth(dir, truth)
		return truth, err
	}
	return truth, nil
}

func writeTruth(dir string, truth simulate.Truth) error {
	return writeFile(filepath.Join(dir, truthFile), func(w io.Writer) error { return writeJSON(w, truth) })
}

// cutTruth leaves in the truth of a simulation that broke off the pictures that are there; where that cannot be
// written the whole of it stays.
func cutTruth(dir string, truth simulate.Truth) {
	truth.Frames = slices.DeleteFunc(slices.Clone(truth.Frames), func(fr simulate.TruthFrame) bool {
		_, err := os.Lstat(filepath.Join(dir, fr.File))
		return err != nil
	})
	if len(truth.Frames) == 0 {
		os.Remove(filepath.Join(dir, truthFile))
		return
	}
	writeTruth(dir, truth)
}

// renderFrames draws pictures two at a time, so that one is packed while the
// next is drawn – unless they are so large that two would crowd the memory.
func (f *face) renderFrames(ctx context.Context, run *simulate.Run, dir string, noOffset bool) error {
	e := run.Evening()
	p := f.progress("drawing picture", e.Count)
	defer p.end()
	g, ctx := errgroup.WithContext(ctx)
	g.SetLimit(2)
	const crowded = 40e6 // pixels
	if e.Camera.Width*e.Camera.Height > crowded {
		g.SetLimit(1)
	}
	for i := range e.Count {
		g.Go(func() error {
			if err := renderFrame(ctx, run, i, dir, noOffset); err != nil {
				return err
			}
			p.step()
			return nil
		})
	}
	return g.Wait()
}

func renderFrame(ctx context.Context, run *simulate.Run, i int, dir string, noOffset bool) error {
	plane, meta, err := run.Frame(ctx, i)
	if err != nil {
		return err
	}
	meta.NoOffset = noOffset
	name := run.Evening().File(i)
	format := frame.JPEG
	for _, f := range []frame.Format{frame.PNG, frame.TIFF, frame.FITS} {
		if f.Extension() == filepath.Ext(name) {
			format = f
		}
	}
	return writeFile(filepath.Join(dir, name), func(w io.Writer) error {
		return frame.Encode(interruptible{ctx, w}, plane, meta, format)
	})
}

// interruptible is a writer that stops when its context ends.
type interruptible struct {
	ctx context.Context
	w   io.Writer
}

func (i interruptible) Write(p []byte) (int, error) {
	if err := i.ctx.Err(); err != nil {
		return 0, err
	}
	return i.w.Write(p)
}

// makeRoom takes away the pictures of an earlier simulation, which would mix
// with the new ones, and refuses to overwrite anything else.
func makeRoom(dir string, truth simulate.Truth) error {
	if err := files.MakeFolder(dir, 0o755); err != nil {
		return cannotWrite(dir, err)
	}
	old := earlier(dir)
	wanted := []string{truthFile}
	for _, fr := range truth.Frames {
		wanted = append(wanted, fr.File)
	}
	for _, name := range wanted { // look at all before anything is taken away
		if _, err := os.Lstat(filepath.Join(dir, name)); err == nil && !slices.Contains(old, name) {
			return failed(fmt.Sprintf("%s is there already, and no simulation wrote it", quote(filepath.Join(dir, name))),
				"choose another folder with --out", nil)
		}
	}
	for _, name := range old {
		if err := os.Remove(filepath.Join(dir, name)); err != nil && !os.IsNotExist(err) {
			return cannotWrite(filepath.Join(dir, name), err)
		}
	}
	return nil
}

// earlier lists what the truth.json of an earlier simulation says it wrote,
// itself last.
func earlier(dir string) []string {
	raw, err := os.ReadFile(filepath.Join(dir, truthFile))
	if err != nil {
		return nil
	}
	var old simulate.Truth
	if json.Unmarshal(raw, &old) != nil || len(old.Frames) == 0 {
		return nil
	}
	var names []string
	for _, fr := range old.Frames {
		if fr.StartUTC == "" || fr.MidUTC == "" { // not the form a simulation writes
			return nil
		}
		if fr.File == filepath.Base(fr.File) && fr.File != "." && fr.File != ".." {
			names = append(names, fr.File)
		}
	}
	return append(names, truthFile)
}

// showTruth says what was written, by a zone's clock.
func (f *face) showTruth(t simulate.Truth, dir string, zone *time.Location) error {
	if f.json {
		return writeJSON(f.out, t)
	}
	first, last := t.Frames[0], t.Frames[len(t.Frames)-1]
	f.paragraph(words.Say("pictures written", len(t.Frames), dir, first.File, last.File))
	f.paragraph(words.Say("taken from, to", startedAt(first, zone), startedAt(last, zone)))
	if t.SiderealRatio == 0 {
		f.paragraph(words.Say("the camera stood"))
		return nil
	}
	f.paragraph(words.Say("the axis pointed", words.TiltOff(t.Error.AltitudeArcmin, unit.AngleFromMin(t.Error.AltitudeArcmin)), words.BaseOff(t.Error.AzimuthArcmin, unit.AngleFromMin(t.Error.AzimuthArcmin)), truthFile))
	return nil
}

// startedAt is the true start of a picture; its offset tells the zone.
func startedAt(fr simulate.TruthFrame, zone *time.Location) string {
	t, err := time.Parse(time.RFC3339Nano, fr.StartUTC)
	if err != nil {
		return fr.StartUTC
	}
	return in(t, zone).Format(time.RFC3339Nano)
}
