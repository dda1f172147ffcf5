package face

import (
	"context"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"time"

	"github.com/soniakeys/unit"
	"github.com/spf13/cobra"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/align/answer"
	"trueturn/align/policy"
	"trueturn/align/simulate"
	"trueturn/cmd/kit"
	"trueturn/cmd/words"
	"trueturn/ephem"
	"trueturn/ephem/say"
)

const demoText = `Draws the pictures of an invented evening, measures them as it would yours, turns
the knobs by its own advice, draws and measures again, and only then lays the
truth beside the answers. Takes half a minute or so.`

const demoExample = `  trueturn demo
  trueturn demo --out practice
  trueturn demo --json`

func (f *face) demoCommand() *cobra.Command {
	var out string
	c := &cobra.Command{
		Use:     "demo",
		Short:   "simulate an evening and run the whole job on it",
		Long:    demoText,
		Example: demoExample,
		Args:    noArguments,
		RunE: func(c *cobra.Command, _ []string) error {
			e, err := f.demoEvening()
			if err != nil {
				return err
			}
			return f.demo(c.Context(), e, out)
		},
	}
	c.Flags().StringVar(&out, "out", "", "folder `DIR` to keep the pictures in; else they are deleted")
	return c
}

// demoReport is the JSON of demo.
type demoReport struct {
	Truth  demoTruth      `json:"truth"`
	Before answer.Answer  `json:"before"`
	After  *answer.Answer `json:"after"` // null when nothing was to be turned
}

// demoTruth is the truth before the knobs were turned, with the axis as it was
// after.
type demoTruth struct {
	simulate.Truth
	After *simulate.Truth `json:"after"`
}

// demo is the whole job on an evening that never was.
func (f *face) demo(ctx context.Context, e simulate.Evening, out string) error {
	if out == "" {
		dir, err := os.MkdirTemp("", "trueturn-demo-")
		if err != nil {
			return cannotWrite(os.TempDir(), err)
		}
		defer os.RemoveAll(dir)
		out = dir
	}
	f.tell("An invented evening at %s. A phone (%.0f mm equivalent, %.0f megapixels) sits on a small "+
		"mount whose gear is uneven, whose base is not quite level, and which somebody pointed roughly at the pole.",
		demoPlace(e.Site, f.site != nil), e.Camera.EquivalentMM, float64(e.Camera.Width*e.Camera.Height)/1e6)
	f.heading("Six pictures, the axis swung by hand between them")
	r, err := demoReport{}, error(nil)
	if r.Before, r.Truth.Truth, err = f.demoRound(ctx, e, filepath.Join(out, "before")); err != nil {
		return err
	}
	f.unlessJSON(func() { f.sayBrief(r.Before) })
	if next := r.Before.Advice.Next; next != nil && *next == string(policy.Turn) {
		if err := f.demoTurn(ctx, e, out, &r); err != nil {
			return err
		}
	}
	return f.demoEnd(r)
}

// demoTurn follows the advice and measures again.
func (f *face) demoTurn(ctx context.Context, e simulate.Evening, out string, r *demoReport) error {
	ad := r.Before.Advice
	is := r.Before.Finding.Advice
	altitude, azimuth := handful(is.AltitudeIs, ad.TurnAltitudeArcmin), handful(is.AzimuthIs, ad.TurnAzimuthArcmin)
	f.heading("The knobs are turned as it says")
	f.tell("A hand turns the base by %.1f′ and the tilt by %.1f′: to the nearest half minute of arc, no better.",
		math.Abs(azimuth.Min()), math.Abs(altitude.Min()))
	f.heading("Six more pictures")
	after, truth, err := f.demoRound(ctx, demoAfter(e, altitude, azimuth), filepath.Join(out, "after"))
	if err != nil {
		return err
	}
	r.After, r.Truth.After = &after, &truth
	f.unlessJSON(func() { f.sayBrief(after) })
	return nil
}

// demoEvening is the scenario: an invented place, camera and mount. With --site
// it is played under the user's own sky.
func (f *face) demoEvening() (simulate.Evening, error) {
	site, err := ephem.NewSite(47.2118, 9.3467, 1180)
	if err != nil {
		return simulate.Evening{}, err
	}
	if f.site != nil {
		site = *f.site
	}
	e, err := simulate.Practice(site, tenInTheEvening(site))
	if err != nil {
		return e, err
	}
	e.Count, e.Every, e.Exposure = 6, 25*time.Second, 10*time.Second
	e.Mount = simulate.Mount{
		AltitudeError: unit.AngleFromMin(-25), AzimuthError: unit.AngleFromMin(48),
		Rate:     simulate.RateSidereal,
		Wobble:   simulate.Wobble{PeakToPeak: unit.AngleFromSec(70), Period: 480 * time.Second, Phase: 1, Third: 0.15},
		Play:     2 * time.Second,
		BaseTilt: unit.AngleFromDeg(1.5), BaseTiltToward: unit.AngleFromDeg(65),
		Swings: swings(0),
	}
	e.Handling.Wander, e.Handling.StampStep = 0.1, 10*time.Millisecond
	e.Seed = 20261125
	return e, nil
}

// swings are the turns by hand before each of six pictures: unequal ones, and
// one back near the start, which shows whether anything slipped. They begin with
// what the mount is turned back by.
func swings(first float64) []unit.Angle {
	var list []unit.Angle
	for _, deg := range [...]float64{first, 22, 0, 17, 0, -36} {
		list = append(list, unit.AngleFromDeg(deg))
	}
	return list
}

// demoAfter is the evening after the knobs were turned: the axis is swung back
// to where it began, and out again between the pictures.
func demoAfter(e simulate.Evening, altitude, azimuth unit.Angle) simulate.Evening {
	next := e.Turned(altitude, azimuth, 90*time.Second)
	next.Mount.Swings = swings(0)
	return next
}

func demoPlace(s ephem.Site, own bool) string {
	if own {
		return s.String()
	}
	return "Larkfell, which is on no map (" + s.String() + ")"
}

// handful is a turn as a hand makes it, to half a minute of arc.
func handful(is policy.KnobIs, arcmin *float64) unit.Angle {
	if arcmin == nil || is != policy.KnobTurns {
		return 0
	}
	return unit.AngleFromMin(math.Round(*arcmin*2) / 2)
}

// demoRound draws one set of pictures and measures the files.
func (f *face) demoRound(ctx context.Context, e simulate.Evening, dir string) (answer.Answer, simulate.Truth, error) {
	truth, err := f.render(ctx, e, dir, false)
	if err != nil {
		return answer.Answer{}, truth, err
	}
	asked := *f
	asked.site, asked.gear.mount = &e.Site, kit.Mount{} // the evening's own
	r, err := asked.measure(ctx, []string{dir}, newMeasuring())
	if err == nil && r.Axis == nil {
		err = r.Err
	}
	return r.Answer, truth, err
}

// demoEnd lays the truth beside the answers.
func (f *face) demoEnd(r demoReport) error {
	if f.json {
		return writeJSON(f.out, r)
	}
	f.heading("What was true")
	t := f.table()
	fmt.Fprint(t, "axis minus pole\ttilt, measured\ttrue\tbase, measured\ttrue\tmissed the axis by\n")
	compare(t, "before", r.Before, r.Truth.Truth)
	if r.After != nil {
		compare(t, "after", *r.After, *r.Truth.After)
	}
	t.Flush()
	fmt.Fprintln(f.out)
	if r.After != nil {
		f.tell("%s", words.Say("the knobs brought", unit.AngleFromMin(r.Truth.Error.TotalArcmin), unit.AngleFromMin(r.Truth.After.Error.TotalArcmin)))
	}
	if longer := longerWords(r.Before.Exposure, r.After); longer != "" {
		f.tell("%s", longer)
	}
	f.tell("Your own pictures: trueturn align --site LAT,LON FOLDER")
	fmt.Fprint(f.out, cautions())
	return nil
}

// longerWords are what the turn did to the exposures; nothing where it did little.
func longerWords(before *answer.ExposureJSON, after *answer.Answer) string {
	if before == nil || before.LongestS == nil || after == nil || after.Exposure == nil || after.Exposure.LongestS == nil {
		return ""
	}
	from, to := *before.LongestS, *after.Exposure.LongestS
	if to < 1.1*from {
		return ""
	}
	return words.Say("longer than before", say.LongestOf(to), after.Exposure.RestsOn(), say.Seconds(from))
}

func compare(t io.Writer, name string, a answer.Answer, truth simulate.Truth) {
	measured := ephem.Horizontal{Azimuth: unit.AngleFromDeg(a.Axis.AzimuthDeg), Altitude: unit.AngleFromDeg(a.Axis.AltitudeDeg)}.Direction()
	real := ephem.Horizontal{Azimuth: unit.AngleFromDeg(truth.AxisAzimuthDeg), Altitude: unit.AngleFromDeg(truth.AxisAltitudeDeg)}.Direction()
	fmt.Fprintf(t, "%s\t%+.2f′ ± %.2f′\t%+.2f′\t%+.2f′ ± %.2f′\t%+.2f′\t%s\n", name,
		a.Error.AltitudeArcmin, a.Axis.AltitudeSigmaArcmin, truth.Error.AltitudeArcmin,
		a.Error.AzimuthArcmin, a.Axis.AzimuthSigmaArcmin, truth.Error.AzimuthArcmin,
		words.Arc(unit.Angle(2*math.Asin(r3.Norm(r3.Sub(measured, real))/2))))
}

func (f *face) unlessJSON(show func()) {
	if !f.json {
		show()
	}
}

func (f *face) heading(text string) {
	f.unlessJSON(func() { fmt.Fprintf(f.out, "%s\n\n", f.bold("— "+text)) })
}

func (f *face) tell(format string, a ...any) {
	f.unlessJSON(func() { f.paragraph(fmt.Sprintf(format, a...)); fmt.Fprintln(f.out) })
}
