package face

import (
	"errors"
	"fmt"
	"io"
	"math"
	"time"
	"trueturn/cmd/markup"

	"github.com/soniakeys/unit"
	"github.com/spf13/cobra"

	"trueturn/cmd/kit"
	"trueturn/cmd/plot"
	"trueturn/cmd/words"
	"trueturn/ephem"
	"trueturn/ephem/compass"
	"trueturn/ephem/pole"
)

const poleText = `Says where the celestial pole is: how far up to look, how high to set the wedge,
which way true north lies on a compass, and on which side of the pole its guide star is:
Polaris in the north, σ Octantis in the south. It draws that star as the eye sees it
and as an inverting finder shows it, now, and lists the coming hour.

Heights and directions are as seen, lifted by the air, except "true_pole" in the JSON.
Distance and hour angle (0–24 h, westward from above the pole) of the star are without air. Offsets from the pole are counted along the sky as seen, in widths of the Moon
(31.1′) or, in the JSON, minutes of arc: to the right and up as you face it.

Times are UTC, unless --tz says otherwise; JSON is always UTC.
The compass goes by IGRF-14, which holds from 1900 to the end of 2029. It needs no
network, and asks the clock only when --time is not given.`

const poleExample = `  trueturn pole --site 46.02,7.75,1620
  trueturn pole --site -33.9,18.4 --time 2026-11-25T21:30:00Z --svg pole.svg
  trueturn pole --site 46.02,7.75,1620 --air -12,832 --json`

// steps of the coming hour.
const (
	poleStep  = 10 * time.Minute
	poleSteps = 7
)

// seeking is what the flags of pole ask.
type seeking struct {
	at   time.Time
	zone *time.Location
	air  *ephem.Air
	svg  string
}

func (f *face) poleCommand() *cobra.Command {
	s := &seeking{}
	c := &cobra.Command{
		Use:     "pole --site LAT,LON",
		Short:   "where the pole is now, and the bright star nearest it",
		Long:    poleText,
		Example: poleExample,
		Args:    noArguments,
		RunE:    func(*cobra.Command, []string) error { return f.pole(s) },
	}
	fs := c.Flags()
	fs.SortFlags = false
	fs.Var(instant(&s.at), "time", "date and time, as in 2026-11-25T21:30:00Z or 2026-11-25T22:30:00+01:00; else now")
	fs.Var(zone(&s.zone), "tz", "zone of the times in text and drawing, as +02:00, UTC, or a name like Europe/Lisbon; UTC where none is given")
	fs.Var(air(&s.air), "air", "temperature and pressure at the site; else typical for its height")
	fs.StringVar(&s.svg, "svg", "", "draw it into `FILE.svg` too; - prints the drawing alone")
	return c
}

// found is the answer of pole.
type found struct {
	site  ephem.Site
	zone  *time.Location
	views []pole.View // now and the steps of the coming hour
	field compass.Field
	mute  error // why the compass says nothing
}

// atEarthsPole is whether north has no meaning here.
func (p found) atEarthsPole() bool { return errors.Is(p.mute, compass.ErrNoNorth) }

func (p found) now() pole.View { return p.views[0] }

// pole answers.
func (f *face) pole(s *seeking) error {
	p, err := s.find(f.site)
	if err != nil {
		return err
	}
	if s.svg == toStdout {
		return p.draw(f.out)
	}
	if s.svg != "" {
		if err := writeFile(s.svg, p.draw); err != nil {
			return err
		}
	}
	if f.json {
		return writeJSON(f.out, p.report())
	}
	f.sayPole(p)
	if s.svg != "" {
		f.paragraph("The drawing is in " + s.svg + ".")
	}
	return nil
}

// find looks.
func (s *seeking) find(site *ephem.Site) (found, error) {
	if site == nil {
		return found{}, usage("where the mount stands is not known", "give --site LAT,LON in decimal degrees, north and east positive, as in --site 46.02,7.75", nil)
	}
	if s.at.IsZero() {
		s.at = time.Now().UTC().Truncate(time.Second)
	}
	a := ephem.StandardAir(site.HeightM)
	if s.air != nil {
		a = *s.air
	}
	views, err := pole.Series(*site, a, s.at, poleStep, poleSteps)
	if err != nil {
		return found{}, err
	}
	p := found{site: *site, zone: s.zone, views: views}
	p.field, p.mute = compass.At(*site, s.at)
	return p, nil
}

// draw writes the drawing, by eye and in a finder.
func (p found) draw(w io.Writer) error {
	v := p.now()
	eye := plot.Plumb{Name: "By eye", Star: v.Star.Name, Right: v.Star.Right, Up: v.Star.Up, Facing: p.facing(), Pole: v.Seen.Altitude,
		Words: words.Line(beside(v.Star.Right, v.Star.Up))}
	for i := 2; i < len(p.views); i += 2 { // dots of every step would touch
		later := p.views[i]
		eye.Later = append(eye.Later, plot.Offset{Right: later.Star.Right, Up: later.Star.Up})
		eye.Then = "in " + minutesLater(later.At.Sub(v.At))
	}
	finder := eye
	finder.Name, finder.Inverted, finder.Words = "In an inverting finder", true, words.Line(beside(-v.Star.Right, -v.Star.Up))
	_, err := w.Write(plot.File(fmt.Sprintf("%s and the pole, %s %s", v.Star.Name, in(v.At, p.zone).Format("2006-01-02 15:04"), kit.ZoneWords(p.zone, v.At, v.At)),
		[]markup.Safe{eye.SVG(), finder.SVG()}...))
	return err
}

// poleReport is the JSON of pole.
type poleReport struct {
	UTC       string        `json:"utc"`
	TruePole  horizontal    `json:"true_pole"`
	Refracted horizontal    `json:"refracted_pole"`
	Star      starReport    `json:"star"`
	Wedge     wedgeReport   `json:"wedge"`
	Next      []stepReport  `json:"next"`
	Compass   compassReport `json:"compass"`
	Notes     []string      `json:"notes"`
}

type horizontal struct {
	AltitudeDeg float64 `json:"altitude_deg"`
	AzimuthDeg  float64 `json:"azimuth_deg"`
}

// besideReport is the star's place beside the pole.
type besideReport struct {
	RightArcmin float64 `json:"right_arcmin"`
	UpArcmin    float64 `json:"up_arcmin"`
	RightMoons  float64 `json:"right_moon_widths"`
	UpMoons     float64 `json:"up_moon_widths"`
	Words       string  `json:"words"`
	InFinder    string  `json:"words_inverted"`
}

type starReport struct {
	Name           string  `json:"name"`
	Designation    string  `json:"designation"`
	Magnitude      float64 `json:"magnitude"`
	HourAngleH     float64 `json:"hour_angle_h"`
	DistanceArcmin float64 `json:"distance_arcmin"`
	horizontal
	besideReport
	AboveHorizon bool `json:"above_horizon"`
}

// wedgeReport is how high to set the wedge, with what is not known of the air.
type wedgeReport struct {
	AltitudeDeg float64  `json:"altitude_deg"`
	SigmaArcmin *float64 `json:"sigma_arcmin"`
}

type stepReport struct {
	UTC        string  `json:"utc"`
	HourAngleH float64 `json:"hour_angle_h"`
	horizontal
	besideReport
}

// compassReport is null where nothing can be said, and says why.
type compassReport struct {
	DeclinationDeg  *float64 `json:"declination_deg"` // positive east
	SigmaDeg        *float64 `json:"sigma_deg"`
	TrueNorthDeg    *float64 `json:"true_north_bearing_deg"` // what the compass shows there
	PolewardDeg     *float64 `json:"pole_bearing_deg"`       // and toward the pole
	ChangeDegPerYr  *float64 `json:"change_deg_per_year"`
	HorizontalNT    *float64 `json:"horizontal_nt"`
	Usable          bool     `json:"usable"`
	Model           string   `json:"model"`
	ValidFrom       string   `json:"valid_from"`
	ValidUntil      string   `json:"valid_until"`
	Note            string   `json:"note"`
	SteelAndMagnets string   `json:"warning"`
}

func (p found) report() poleReport {
	v := p.now()
	r := poleReport{
		UTC:       stamped(v.At),
		TruePole:  horizontalOf(v.True),
		Refracted: horizontalOf(v.Seen),
		Star: starReport{Name: v.Star.Name, Designation: v.Star.Designation, Magnitude: v.Star.Magnitude,
			HourAngleH: toPlaces(v.Star.HourAngle.Hour()), DistanceArcmin: toPlaces(v.Star.Distance.Min()),
			horizontal: horizontalOf(v.Star.Seen), besideReport: besideOf(v), AboveHorizon: v.Star.Seen.Altitude > 0},
		Wedge:   wedgeReport{toPlaces(v.Seen.Altitude.Deg()), liftSigma(v)},
		Next:    []stepReport{},
		Compass: p.compassReport(),
		Notes:   p.notes(),
	}
	for _, n := range p.views {
		r.Next = append(r.Next, stepReport{stamped(n.At), toPlaces(n.Star.HourAngle.Hour()), horizontalOf(n.Star.Seen), besideOf(n)})
	}
	return r
}

func (p found) compassReport() compassReport {
	r := compassReport{
		Model:           compass.Model,
		ValidFrom:       fmt.Sprintf("%d-01-01", compass.FirstYear),
		ValidUntil:      fmt.Sprintf("%d-12-31", compass.EndYear-1),
		Note:            p.compassNote(),
		SteelAndMagnets: words.Say("steel and magnets"),
	}
	if p.mute != nil {
		return r
	}
	number := func(x float64) *float64 { x = toPlaces(x); return &x }
	r.DeclinationDeg, r.SigmaDeg = number(p.field.Declination.Deg()), number(p.field.Sigma.Deg())
	r.ChangeDegPerYr, r.HorizontalNT = number(p.field.PerYear.Deg()), number(math.Round(p.field.HorizontalNT))
	if r.Usable = p.field.Trust() != compass.Fails; r.Usable {
		r.TrueNorthDeg = number(p.field.Reading(0).Deg())
		r.PolewardDeg = number(p.field.Reading(p.now().Seen.Azimuth).Deg())
	}
	return r
}

// liftSigma is what 5 % of refraction make (design of package ephem: what one usually does not know of the air), in minutes of arc;
// nil under 5°, where nights differ by more than anything one could compute.
func liftSigma(v pole.View) *float64 {
	if v.Seen.Altitude.Deg() < murkyDeg {
		return nil
	}
	s := toPlaces(0.05 * (v.Seen.Altitude - v.True.Altitude).Min())
	return &s
}

// murkyDeg is the altitude under which refraction is not known to a minute of arc.
const murkyDeg = 5

func horizontalOf(h ephem.Horizontal) horizontal {
	return horizontal{toPlaces(h.Altitude.Deg()), toPlaces(h.Azimuth.Deg())}
}

func besideOf(v pole.View) besideReport {
	right, up := v.Star.Right, v.Star.Up
	return besideReport{toPlaces(right.Min()), toPlaces(up.Min()), inMoons(right), inMoons(up), words.Line(beside(right, up)), words.Line(beside(-right, -up))}
}

// moonWidthArcmin is the same as in package plot: the Moon's mean diameter, Meeus, chapter 55.
const moonWidthArcmin = 31.1

// inMoons to a hundredth, finer than an eye can tell.
func inMoons(a unit.Angle) float64 { return math.Round(a.Min()/moonWidthArcmin*100) / 100 }

// toPlaces rounds to what is worth printing, so that machines that compute a last digit differently print the same. The sum takes
// the sign off a zero.
func toPlaces(x float64) float64 { return math.Round(x*1e6)/1e6 + 0 }

func stamped(t time.Time) string { return t.UTC().Format(time.RFC3339Nano) }
