package face

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"time"

	"github.com/soniakeys/unit"
	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/align"
	"trueturn/align/answer"
	"trueturn/align/exposure"
	"trueturn/cmd/words"
	"trueturn/ephem"
	"trueturn/ephem/amiss"
)

const exposeText = `Says how long one exposure may be before stars stop being round, what limits it, and what
would help most: for a lens and a mount you describe, for a camera on a bare tripod, or
for the mount, the lens and the stars that "align --save" has measured. What is typed
beside --session replaces what the session holds.

Where no declination is given, the celestial equator is taken, where stars run fastest;
where no hour is given, the meridian. An axis error has no direction here: the worst is
taken. A gear not described or measured is taken to be like those of most small mounts;
--periodic-error 0,480 is one that runs evenly.`

const exposeExample = `  trueturn expose --equivalent 115 --size 4032x3024 --axis-error 20 \
    --periodic-error 44,480
  trueturn expose --focal-length 50 --pixel-pitch 3.9 --size 6000x4000 \
    --f-number 2.8 --tripod
  trueturn expose --session tonight.json --target 83.8,-5.4`

// roundness is what counts as round.
type roundness struct {
	elongation, share float64
}

func newRoundness() roundness {
	return roundness{exposure.DefaultElongation, exposure.DefaultShare}
}

func (r *roundness) register(fs *pflag.FlagSet) {
	fs.Var(between("RATIO", &r.elongation, 1.001, 10), "max-elongation", "how many times as long as wide a star may be and still count as round")
	fs.Var(between("SHARE", &r.share, 0.01, 1), "share", "of the exposures that must be round, 0 to 1")
}

// wondering is what the flags of expose ask.
type wondering struct {
	lens          lensFlags
	fNumber       float64
	width, height int

	declinationDeg *float64
	target         *align.Target
	at             time.Time
	site           *ephem.Site
	air            *ephem.Air

	axisError *unit.Angle
	wobble    *exposure.Wobble
	tripod    bool

	fwhmPx  float64
	round   roundness
	session string
}

func (f *face) exposeCommand() *cobra.Command {
	w := &wondering{round: newRoundness()}
	c := &cobra.Command{
		Use:     "expose",
		Short:   "how long an exposure may be before stars stop being round",
		Long:    exposeText,
		Example: exposeExample,
		Args:    noArguments,
		PreRunE: func(*cobra.Command, []string) error { w.site = f.site; return w.check() },
		RunE: func(*cobra.Command, []string) error {
			err := f.expose(w)
			if isQuestion(err) {
				return usage(err.Error(), hint(err), err)
			}
			return err
		},
	}
	fs := c.Flags()
	fs.SortFlags = false
	w.lens.register(fs)
	fs.Var(&value{kind: "WIDTHxHEIGHT", set: w.setSize}, "size", "of the picture in pixels, as in 4032x3024; needed with --equivalent")
	fs.Var(fNumber(&w.fNumber), "f-number", "of the lens, for a rule of thumb")
	w.skyFlags(fs)
	fs.Var(&value{kind: "ARCMIN", set: w.setAxisError}, "axis-error", "how far the axis is off, in the worst direction")
	fs.Var(&value{kind: "P2P_ARCSEC,PERIOD_S", set: w.setWobble}, "periodic-error", "unevenness of the gear: arcseconds peak to peak about the axis, seconds")
	fs.BoolVar(&w.tripod, "tripod", false, "no mount: the camera stands still")
	fs.Var(between("PX", &w.fwhmPx, 0.3, 100), "fwhm", "width of a round star in your pictures, at half its height, as subs shows it; else 2.5")
	w.round.register(fs)
	fs.StringVar(&w.session, "session", "", "what align --save wrote, `FILE.json`")
	return c
}

func (w *wondering) skyFlags(fs *pflag.FlagSet) {
	fs.Var(&value{kind: "DEG", set: w.setDeclination}, "declination", "declination the camera looks at")
	fs.Var(target(&w.target), "target", "place in the sky it looks at: "+placeWords)
	fs.Var(instant(&w.at), "time", "middle of the exposure, with --target and --site, as in 2026-11-25T21:30:00Z")
	fs.Var(air(&w.air), "air", "temperature and pressure at the site; else typical for its height")
}

func (w *wondering) setSize(s string) error {
	var over string
	width, height := 0, 0
	plain := strings.NewReplacer("×", "x", "X", "x", " ", "").Replace(s)
	n, _ := fmt.Sscanf(plain+" .", "%dx%d %s", &width, &height, &over)
	if n != 3 || over != "." || width < 1 || height < 1 {
		return amiss.New(nil, "not a size", "write width and height in pixels, as in 4032x3024")
	}
	if float64(width)*float64(height) > 200e6 {
		return amiss.New(nil, "too large", "pictures have at most 200 megapixels")
	}
	w.width, w.height = width, height
	return nil
}

func (w *wondering) setDeclination(s string) error {
	var deg float64
	err := between("", &deg, -90, 90).set(s)
	w.declinationDeg = &deg
	return err
}

func (w *wondering) setAxisError(s string) error {
	var arcmin float64
	err := between("", &arcmin, 0, 90*60).set(s)
	size := unit.AngleFromMin(arcmin)
	w.axisError = &size
	return err
}

func (w *wondering) setWobble(s string) error {
	arcsec, period, err := parseWobble(s)
	w.wobble = &exposure.Wobble{PeriodS: period.Seconds(), PeakToPeak: unit.AngleFromSec(arcsec), Source: exposure.GearTold}
	return err
}

// check refuses what does not go together.
func (w *wondering) check() error {
	switch {
	case w.declinationDeg != nil && w.target != nil:
		return usage("the place in the sky is given twice", "give --declination or --target", nil)
	case !w.at.IsZero() && w.target == nil && w.session == "":
		return usage("--time alone does not say what the camera looks at", "add --target RA,Dec", nil)
	case !w.at.IsZero() && w.site == nil && w.session == "":
		return usage("--time needs a place on Earth, to know the hour angle", "add --site LAT,LON, or leave --time out", nil)
	case w.site != nil && w.session != "":
		return usage("the session says where it was measured, and its axis means nothing elsewhere", "leave out --site or --session", nil)
	case w.air != nil && w.at.IsZero() && w.session == "":
		return usage("--air matters only for a place in the sky at a given time", "add --site, --target and --time, or leave --air out", nil)
	case w.tripod && w.axisError != nil:
		return usage("a tripod has no axis", "leave out --tripod or --axis-error", nil)
	case w.tripod && w.wobble != nil:
		return usage("a tripod has no gear", "leave out --tripod or --periodic-error", nil)
	case w.session == "" && !w.lens.given():
		return usage("the lens is not known", "give --focal-length with --pixel-pitch, --equivalent with --size, or --scale; or a --session", nil)
	case w.session == "" && w.lens.EquivalentMM > 0 && w.width == 0:
		return usage("--equivalent alone does not tell how many pixels a star moves by", "add the picture's size, as in --size 4032x3024", nil)
	}
	return w.lens.check()
}

// asked is the question of expose, made whole.
type asked struct {
	plan   exposure.Plan
	optics exposure.Optics
	taken  [][2]string // what nobody said, and is taken to be so, with the flag that says otherwise

}

// usualFWHM is the width of a star where none was measured: sampled well enough by the
// pixels and drawn by a lens in focus (common practice, no source).
const usualFWHM = 2.5

// assume notes what was taken for granted, and how it is told otherwise where there are flags.
func (a *asked) assume(text, flag string) { a.taken = append(a.taken, [2]string{text, flag}) }

// assumed is what was taken for granted, with the flags or without.
func (a *asked) assumed(flags bool) []string {
	list := []string{}
	for _, t := range a.taken {
		text := t[0]
		if flags {
			text += " (" + t[1] + ")"
		}
		list = append(list, text)
	}
	return list
}

// ask makes the question whole, from a session and from what was typed.
func (w *wondering) ask(open opener) (a asked, err error) {
	a.plan = exposure.Plan{FWHM: usualFWHM}
	var s *answer.Session
	if w.session != "" {
		if s, err = readSession(w.session, open); err != nil {
			return a, err
		}
		if a.plan, err = s.Plan(); err != nil {
			return a, failed("the session cannot be used: "+err.Error(), "make it again with align --save FILE.json", nil)
		}
	} else if w.fwhmPx == 0 {
		a.assume(fmt.Sprintf("round stars %g px wide", usualFWHM), "--fwhm; subs shows yours")
	}
	lens, err := a.setLens(w, s)
	if err != nil {
		return a, err
	}
	if err = a.look(w, s, lens); err != nil {
		return a, err
	}
	a.setMount(w, s)
	if w.fwhmPx > 0 {
		a.plan.FWHM = w.fwhmPx
	}
	a.plan.MaxElongation, a.plan.Share = w.round.elongation, w.round.share
	return a, nil
}

func readSession(name string, open opener) (*answer.Session, error) {
	f, err := open(name)
	if err != nil {
		return nil, cannotOpen(name, err)
	}
	defer f.Close()
	s, err := answer.ReadSession(f)
	if err != nil {
		return nil, failed(quote(name)+": "+err.Error(), hint(err), err)
	}
	return &s, nil
}

// setLens settles the optics: a lens that was typed replaces the session's, on the same picture size
// unless that was typed too.
func (a *asked) setLens(w *wondering, s *answer.Session) (exposure.Lens, error) {
	o := exposure.Optics{FNumber: w.fNumber, Width: w.width, Height: w.height, FocalLengthMM: w.lens.FocalLengthMM,
		PixelPitchUM: w.lens.PixelPitchUM, EquivalentMM: w.lens.EquivalentMM, ScaleArcsecPerPx: w.lens.ScaleArcsecPerPx}
	if s != nil {
		if o.Width == 0 {
			o.Width, o.Height = s.View.Width, s.View.Height
		}
		if !w.lens.given() {
			o.ScaleArcsecPerPx = unit.Angle(math.Atan(1 / s.View.FocalPx)).Sec()
		}
	}
	a.optics = o
	return o.Lens()
}

// look points the camera.
func (a *asked) look(w *wondering, s *answer.Session, lens exposure.Lens) (err error) {
	switch {
	case s != nil && w.target == nil && w.declinationDeg == nil && w.at.IsZero():
		a.plan.View.Lens = lens
		return nil
	case w.site != nil && !w.at.IsZero() || s != nil:
		return a.lookAbove(w, s, lens)
	}
	declination := unit.Angle(0)
	switch {
	case w.target != nil:
		declination = w.target.Dec
	case w.declinationDeg != nil:
		declination = unit.AngleFromDeg(*w.declinationDeg)
	default:
		a.assume("the celestial equator, where stars run fastest", "--declination")
	}
	a.plan.View, err = exposure.Toward(lens, declination, 0, 0)
	return err
}

// lookAbove points the camera at a site and an hour, the session's where nothing else was typed.
func (a *asked) lookAbove(w *wondering, s *answer.Session, lens exposure.Lens) error {
	var where align.Target
	at, air := w.at, w.air
	if s != nil {
		if at.IsZero() {
			at, _ = time.Parse(time.RFC3339Nano, s.View.MidUTC) // ReadSession has seen to it
		}
		if air == nil {
			air = &s.Air
		}
	}
	site, err := siteOf(w, s)
	if err != nil {
		return err
	}
	if air == nil {
		usual := ephem.StandardAir(site.HeightM)
		air = &usual
	}
	roll := unit.Angle(0)
	if s != nil {
		roll = unit.AngleFromDeg(s.View.RollDeg)
	}
	if w.target != nil {
		where = *w.target
	} else if w.declinationDeg == nil {
		where = align.Target{RA: unit.RAFromDeg(s.View.RADeg), Dec: unit.AngleFromDeg(s.View.DecDeg)}
	} else if where, err = onMeridian(site, *air, at, unit.AngleFromDeg(*w.declinationDeg)); err != nil {
		return err
	}
	measured := a.plan.View
	if a.plan.View, err = exposure.Above(lens, site, *air, at, where, roll); err != nil {
		return err
	}
	if s != nil && s.Mount != nil {
		a.plan.Mount.Axis = s.AxisAt(measured, a.plan.View)
	}
	return nil
}

// siteOf is the session's site, else the one typed.
func siteOf(w *wondering, s *answer.Session) (ephem.Site, error) {
	if s == nil {
		return *w.site, nil
	}
	return ephem.NewSite(s.Site.LatitudeDeg, s.Site.LongitudeDeg, s.Site.HeightM)
}

// onMeridian is the place of a declination on the upper meridian.
func onMeridian(site ephem.Site, air ephem.Air, at time.Time, declination unit.Angle) (align.Target, error) {
	sky, err := ephem.NewSky(site, air, at)
	if err != nil {
		return align.Target{}, err
	}
	pole := sky.TruePole().Direction()
	if site.Latitude < 0 {
		pole = r3.Scale(-1, pole)
	}
	up := r3.Vec{Z: 1}
	equator := r3.Sub(up, r3.Scale(r3.Dot(up, pole), pole)) // where the meridian crosses it
	if r3.Norm(equator) < 1e-9 {
		equator = r3.Vec{Y: -1} // from a pole of the Earth every direction is on a meridian
	}
	sin, cos := declination.Sincos()
	ra, dec := ephem.RADec(sky.ICRS(r3.Add(r3.Scale(sin, pole), r3.Scale(cos, r3.Unit(equator)))))
	return align.Target{RA: ra, Dec: dec}, nil
}

// setMount lays what was typed of the mount over what the session holds.
func (a *asked) setMount(w *wondering, s *answer.Session) {
	m := &a.plan.Mount
	if w.tripod {
		*m = exposure.Mount{Tripod: true}
		return
	}
	if w.axisError != nil || w.wobble != nil {
		m.Tripod = false
	}
	if w.axisError != nil {
		m.Axis = exposure.Axis{Size: *w.axisError}
	}
	if w.wobble != nil {
		m.Wobble = w.wobble
	}
	if s == nil && w.axisError == nil {
		a.assume("an axis exactly at the pole", "--axis-error")
	}
	if m.Tripod {
		return
	}
	if m.Wobble = exposure.Reckoned(m.Wobble); m.Wobble.Source == exposure.GearUsual {
		a.assume("a typical gear", "--periodic-error")
	}
}

// zooms are the lenses asked about beside the one given.
var zooms = [...]float64{0.5, 1, 2, 4}

// zoomed is the answer for another lens.
type zoomed struct {
	Factor   float64 `json:"factor"`
	LongestS float64 `json:"longest_s"`
}

// rulesJSON are the rules of thumb, and why they differ from ours.
type rulesJSON struct {
	exposure.Rules
	Why string `json:"why"`
}

// exposeReport is the JSON of expose.
type exposeReport struct {
	LongestS       float64          `json:"longest_s"`
	LowS           float64          `json:"low_s"`
	HighS          float64          `json:"high_s"`
	Gear           exposure.Source  `json:"gear,omitempty"` // who says how the gear runs
	LimitedBy      *exposure.Limit  `json:"limited_by"`     // null where stars stay round for an hour and more
	Curve          []exposure.Point `json:"curve"`
	RulesOfThumb   rulesJSON        `json:"rules_of_thumb"`
	Advice         string           `json:"advice"`
	Lenses         []zoomed         `json:"lenses"` // focal length times factor
	TripodLongestS float64          `json:"tripod_longest_s"`
	DeclinationDeg float64          `json:"declination_deg"`
	FWHMPx         float64          `json:"fwhm_px"`
	TakenAs        []string         `json:"taken_as"` // what was not told
}

// expose answers.
func (f *face) expose(w *wondering) error {
	a, err := w.ask(f.open)
	if err != nil {
		return err
	}
	forecast, err := exposure.Longest(a.plan)
	if err != nil {
		return err
	}
	rules, err := exposure.RulesOfThumb(a.optics, a.plan.View.LeastDeclination())
	if err != nil {
		return err
	}
	r := exposeReport{LongestS: forecast.LongestS, LowS: forecast.LowS, HighS: forecast.HighS, Gear: forecast.Gear, Curve: forecast.Curve, RulesOfThumb: rulesJSON{rules, words.RulesDiffer}, Advice: words.Line(forecast.Advice),
		DeclinationDeg: a.plan.View.Declination().Deg(), FWHMPx: a.plan.FWHM, TakenAs: a.assumed(true)}
	if forecast.LimitedBy != exposure.LimitNone {
		r.LimitedBy = &forecast.LimitedBy
	}
	if err := r.compare(a.plan, forecast); err != nil {
		return err
	}
	if f.json {
		return writeJSON(f.out, r)
	}
	f.sayForecast(a, forecast)
	f.sayCurve(a, forecast)
	f.sayLenses(a, r)
	f.sayRules(r)
	return nil
}

// compare asks for other lenses and for a tripod.
func (r *exposeReport) compare(p exposure.Plan, as exposure.Forecast) error {
	for _, z := range zooms {
		f := as
		if z != 1 {
			var err error
			if f, err = exposure.Longest(p.Zoomed(z)); err != nil {
				return err
			}
		}
		r.Lenses = append(r.Lenses, zoomed{z, f.LongestS})
	}
	p.Mount = exposure.Mount{Tripod: true}
	f, err := exposure.Longest(p)
	r.TripodLongestS = f.LongestS
	return err
}

// isQuestion is whether an exposure was asked for that makes no sense.
func isQuestion(err error) bool {
	for _, kind := range []error{exposure.ErrLens, exposure.ErrPlace, exposure.ErrWidth, exposure.ErrMount, exposure.ErrAsked} {
		if errors.Is(err, kind) {
			return true
		}
	}
	return false
}
