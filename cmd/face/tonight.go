package face

import (
	"errors"
	"fmt"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"trueturn/align"
	"trueturn/align/exposure"
	"trueturn/ephem"
	"trueturn/ephem/amiss"
	"trueturn/ephem/catalog"
)

const tonightText = `Plans a night: when it is dark, what the Moon does, when the target is highest and when
it is above the limit in the dark, how many exposures fit, and in which part of the sky the axis
is measured soonest.

Targets go by name (Messier's list, well-known objects, stars) or by right ascension and
declination. With --sky it says how much longer the same picture takes here than under
another sky, and with many short exposures on a bare tripod.

Sunset and sunrise are the Sun's middle at −50′ with a level horizon; dark is the Sun
18° below it. The night is the one that begins on the afternoon of --date, by the mean
solar time of the site. Times are UTC, unless --tz says otherwise; JSON is always UTC.`

const tonightExample = `  trueturn tonight --site 46.02,7.75,1620 --target orion-nebula \
    --exposure 30 --pause 2
  trueturn tonight --site 46.02,7.75 --date 2026-11-25 --target M31 \
    --tz +01:00 --svg night.svg
  trueturn tonight --site -33.9,18.4 --target 5:35:17,-5:23:28 --sky B4 \
    --focal-length 50 --pixel-pitch 3.9 --f-number 2.8`

// outing is what the flags of tonight ask.
type outing struct {
	site *ephem.Site
	air  *ephem.Air
	date time.Time // midnight UTC of the calendar date; zero: today
	zone *time.Location

	target         *catalog.Showpiece
	exposure       time.Duration
	pause          time.Duration
	minAltitudeDeg float64

	lens      lensFlags
	fNumber   float64
	readNoise *float64 // nil: nobody said
	short     time.Duration
	sky       *exposure.SkyBrightness
	other     exposure.SkyBrightness
	typed     map[string]bool // flags that were given

	svg string
}

// What is taken where nobody says otherwise (common practice, no source).
const (
	usualExposure    = 30 * time.Second
	usualPause       = 2 * time.Second
	usualAltitudeDeg = 25
	usualFNumber     = 2.8
	usualPitchUM     = 3.9
	usualReadNoise   = 3
	usualShort       = 2 * time.Second
)

func (f *face) tonightCommand() *cobra.Command {
	o := &outing{exposure: usualExposure, pause: usualPause, minAltitudeDeg: usualAltitudeDeg, zone: time.UTC,
		other: exposure.DarkSky()}
	c := &cobra.Command{
		Use:     "tonight",
		Short:   "darkness, Moon, height of the target, how many exposures fit",
		Long:    tonightText,
		Example: tonightExample,
		Args:    noArguments,
		PreRunE: func(c *cobra.Command, _ []string) error {
			o.typed = map[string]bool{}
			c.Flags().Visit(func(p *pflag.Flag) { o.typed[p.Name] = true })
			o.site = f.site
			return o.check()
		},
		RunE: func(*cobra.Command, []string) error { return f.tonight(o, time.Now()) },
	}
	fs := c.Flags()
	fs.SortFlags = false
	o.nightFlags(fs)
	o.skyFlags(fs)
	fs.StringVar(&o.svg, "svg", "", "draw the heights through the night into `FILE.svg`; - prints the drawing alone")
	return c
}

func (o *outing) nightFlags(fs *pflag.FlagSet) {
	fs.Var(&value{kind: "YYYY-MM-DD", set: o.setDate}, "date", "of the afternoon before the night; else tonight")
	fs.Var(&value{kind: "RA,Dec|NAME", set: o.setTarget}, "target", "place in the sky: "+placeWords)
	fs.Var(seconds(&o.exposure, 0.001, 7200), "exposure", "of each picture")
	fs.Var(seconds(&o.pause, 0, 3600), "pause", "from the end of one exposure to the start of the next")
	fs.Var(between("DEG", &o.minAltitudeDeg, 0, 89), "min-altitude", "lowest height of the target worth a picture")
	fs.Var(air(&o.air), "air", "temperature and pressure at the site; else typical for its height")
	fs.Var(zone(&o.zone), "tz", "zone of the times in text and drawing, as +02:00, UTC, or a name like Europe/Lisbon; UTC where none is given")
}

func (o *outing) skyFlags(fs *pflag.FlagSet) {
	fs.Var(&value{kind: "MAG", set: o.setSky}, "sky", "brightness of the sky here: magnitudes a square arcsecond as 21.3, or Bortle's class as B4")
	fs.Var(&value{kind: "MAG", text: "21.8", set: o.setOther}, "other-sky", "a sky to compare with, in the same form")
	o.lens.focal(fs, "focal length of the lens, for exposures on a bare tripod")
	fs.Var(fNumber(&o.fNumber), "f-number", "of the lens; else 2.8")
	fs.Var(&value{kind: "ELECTRONS", set: o.setReadNoise}, "read-noise", "of the sensor; else 3")
	fs.Var(seconds(&o.short, 0.01, 600), "short", "exposure on a bare tripod; else what the lens allows")
}

func (o *outing) setDate(s string) error {
	d, err := time.Parse(time.DateOnly, s)
	if err != nil {
		return amiss.New(nil, "not a date", "write it as 2026-11-25")
	}
	if d.Year() < 1900 || d.Year() > 2100 {
		return amiss.New(nil, "out of range", "choose a date from 1900 to 2100")
	}
	o.date = d
	return nil
}

func (o *outing) setTarget(s string) error {
	p, err := place(s)
	if err != nil {
		return err
	}
	o.target = &p
	return nil
}

func (o *outing) setReadNoise(s string) error {
	var electrons float64
	err := between("", &electrons, 0, 200).set(s)
	o.readNoise = &electrons
	return err
}

func (o *outing) setSky(s string) error {
	sky, err := exposure.ParseSky(s)
	o.sky = &sky
	return err
}

func (o *outing) setOther(s string) (err error) {
	o.other, err = exposure.ParseSky(s)
	return err
}

// check refuses what does not go together.
func (o *outing) check() error {
	switch {
	case o.site == nil:
		return usage("where the mount stands is not known", "add --site LAT,LON, as in --site 46.02,7.75", nil)
	case o.typed["other-sky"] && o.sky == nil:
		return usage("--other-sky has nothing to compare with", "add --sky, the brightness of the sky here", nil)
	case o.sky == nil && (o.typed["f-number"] || o.typed["read-noise"] || o.typed["short"]):
		return usage("f-number, read noise and short exposures count under a sky of known brightness", "add --sky, as 21.3 or B4", nil)
	case o.typed["focal-length"] && o.short > 0:
		return usage("the exposure on the tripod is given twice", "give --short, or the lens", nil)
	case o.typed["focal-length"] && o.lens.PixelPitchUM == 0:
		return o.lens.check()
	}
	return nil
}

// declination of the target; the equator's where there is none.
func (o *outing) place() align.Target {
	if o.target == nil {
		return align.Target{}
	}
	ra, dec := ephem.RADec(o.target.Direction)
	return align.Target{RA: ra, Dec: dec}
}

// skies compares the sky here with another, and the tripod with the mount.
type skies struct {
	Here           string  `json:"here"`
	Other          string  `json:"other"`
	Longer         times3  `json:"longer_than_there"` // total exposure for the same signal-to-noise, this sky over the other
	ShortS         float64 `json:"short_s"`
	ShortLonger    times3  `json:"short_longer"`    // the same for short exposures over those planned, here
	ShortExposures int     `json:"short_exposures"` // to equal what fits into the night; 0 where nothing does
	LongEnoughS    float64 `json:"long_enough_s"`
	takenAs        []string
}

// skyWords are a sky as people name it.
func skyWords(s exposure.SkyBrightness) string {
	if s.Bortle > 0 {
		return fmt.Sprintf("Bortle class %d (about magnitude %.1f a square arcsecond)", s.Bortle, s.Mag)
	}
	return fmt.Sprintf("magnitude %.1f a square arcsecond", s.Mag)
}

// times3 is a ratio with its range.
type times3 struct {
	Is   float64 `json:"times"`
	Low  float64 `json:"low"`
	High float64 `json:"high"`
}

// compare fills it in; integration is what fits into the night, in seconds.
func (o *outing) compare(integrationS float64) (*skies, error) {
	if o.sky == nil {
		return nil, nil
	}
	s := &skies{Here: skyWords(*o.sky), Other: skyWords(o.other)}
	sensor := o.sensor(s)
	planned := exposure.Way{Sky: *o.sky, ExposureS: o.exposure.Seconds()}
	there := exposure.Way{Sky: o.other, ExposureS: o.exposure.Seconds()}
	longer, err := sensor.Longer(planned, there)
	if err != nil {
		return nil, err
	}
	if s.ShortS, err = o.shortS(s); err != nil {
		return nil, err
	}
	short, err := sensor.Longer(exposure.Way{Sky: *o.sky, ExposureS: s.ShortS}, planned)
	if err != nil {
		return nil, err
	}
	s.Longer, s.ShortLonger = times3(longer), times3(short)
	s.ShortExposures = int(integrationS*short.Is/s.ShortS + 0.5)
	s.LongEnoughS = sensor.LongEnough(*o.sky)
	return s, nil
}

// sensor is the camera's, with usual figures where nobody gave them, which is noted.
func (o *outing) sensor(s *skies) exposure.Sensor {
	c := exposure.Sensor{FNumber: o.fNumber, PixelPitchUM: o.lens.PixelPitchUM, ReadNoiseE: usualReadNoise}
	if c.FNumber == 0 {
		c.FNumber = usualFNumber
		s.takenAs = append(s.takenAs, fmt.Sprintf("a lens of f/%g (--f-number)", usualFNumber))
	}
	if c.PixelPitchUM == 0 {
		c.PixelPitchUM = usualPitchUM
		s.takenAs = append(s.takenAs, fmt.Sprintf("pixels of %g µm (--pixel-pitch)", usualPitchUM))
	}
	if o.readNoise != nil {
		c.ReadNoiseE = *o.readNoise
	} else {
		s.takenAs = append(s.takenAs, fmt.Sprintf("a read noise of %d electrons (--read-noise)", usualReadNoise))
	}
	return c
}

// shortS is the exposure on a bare tripod: what was typed, else what the lens stands at the target's declination.
func (o *outing) shortS(s *skies) (float64, error) {
	switch {
	case o.short > 0:
		return o.short.Seconds(), nil
	case o.lens.FocalLengthMM == 0 || o.lens.PixelPitchUM == 0:
		s.takenAs = append(s.takenAs, "exposures of 2 s on the tripod (--short, or --focal-length with --pixel-pitch)")
		return usualShort.Seconds(), nil
	}
	lens, err := exposure.Optics{FocalLengthMM: o.lens.FocalLengthMM, PixelPitchUM: o.lens.PixelPitchUM}.Lens()
	if err != nil {
		return 0, err
	}
	view, err := exposure.Toward(lens, o.place().Dec, 0, 0)
	if err != nil {
		return 0, err
	}
	p, err := exposure.Longest(exposure.Plan{View: view, Mount: exposure.Mount{Tripod: true}, FWHM: usualFWHM})
	if err != nil {
		return 0, err
	}
	return max(p.LongestS, exposure.ShortestS), nil
}

// isNightQuestion is whether a night was asked for that cannot be.
func isNightQuestion(err error) bool {
	return errors.Is(err, exposure.ErrSky) || isQuestion(err)
}
