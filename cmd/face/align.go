package face

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"github.com/soniakeys/unit"
	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"trueturn/align"
	"trueturn/align/answer"
	"trueturn/align/exposure"
	"trueturn/cmd/report"
	"trueturn/cmd/trueturn/heic"
	"trueturn/cmd/words"
	"trueturn/drift"
	"trueturn/ephem"
	"trueturn/ephem/say"
)

const alignText = `Measures where the axis points from pictures taken on the running mount, and says
what to turn. FRAMES are pictures (JPEG, PNG, TIFF, DNG, FITS, cameras' raw files) or
folders of them.

Three pictures will do if you swing the axis by hand between them, by unequal angles
of 20 to 50 degrees; without swings take ten or more over some minutes. Any patch of
sky will do; the pole need not be in view.

Fields under 5 degrees hold too few known stars: add --at RA,Dec, where they look,
and the lens. At the end take two more pictures of some seconds with the motor off,
half a minute apart, which show which way is up; or give --roll.`

const alignExample = `  trueturn align --site 46.02,7.75,1620 evening/
  trueturn align --site 46.02,7.75 --tz +02:00 --equivalent 115 sky-*.jpg`

// measuring is what the flags of align ask for.
type measuring struct {
	lens    lensFlags
	clock   clockFlags
	aim     align.AimKind
	target  *align.Target
	planned time.Duration
	air     *ephem.Air
	fNumber float64
	periodS float64
	round   roundness
	keep    keeping

	positions string    // a table in place of pictures
	stdin     io.Reader // where - takes it from

	pictures bool // the table of them, and asides, are to be printed

	at      *align.Target // where a field too narrow to recognise lies
	rollDeg *float64
}

func newMeasuring() *measuring {
	return &measuring{planned: 30 * time.Second, aim: align.AimRefracted, round: newRoundness()}
}

func (f *face) alignCommand() *cobra.Command {
	m := newMeasuring()
	c := &cobra.Command{
		Use:     "align FRAMES…",
		Short:   "measure the axis and say what to turn",
		Long:    alignText + positionsText,
		Example: alignExample,
		Args:    m.framesOrTable,
		PreRunE: func(*cobra.Command, []string) error { return m.check() },
		RunE: func(c *cobra.Command, args []string) error {
			r, err := f.measure(c.Context(), args, m)
			if err != nil {
				return err
			}
			why := f.showAnswer(r, m)
			if err := m.store(r, titleOf(args)); err != nil && why == nil {
				return err
			}
			return why
		},
	}
	fs := c.Flags()
	fs.SortFlags = false
	m.lens.register(fs)
	m.clock.register(fs)
	m.flags(fs)
	return c
}

// flags adds those that belong to align alone.
func (m *measuring) flags(fs *pflag.FlagSet) {
	m.wishes(fs)
	m.narrowFlags(fs)
	fs.StringVar(&m.positions, "positions", "", "table `FILE.csv` of positions measured elsewhere, in place of pictures; - is the standard input")
	fs.BoolVar(&m.pictures, "pictures", false, "print the table of the pictures and what else is worth knowing; else only where something is wrong with a picture")
	m.keep.registerSave(fs)
	m.keep.register(fs)
}

// narrowFlags adds what is known of a field too narrow to be recognised.
func (m *measuring) narrowFlags(fs *pflag.FlagSet) {
	fs.Var(target(&m.at), "at", "where the pictures look, for fields too narrow to be recognised (under 5°); needs the scale; "+placeWords)
	fs.Var(given("DEG", &m.rollDeg, -360, 360), "roll", "position angle of the picture's upper edge, north through east, with --at; else a picture taken with the motor off shows it")
}

// wishes adds what is wanted and known besides the pictures; live asks the same.
func (m *measuring) wishes(fs *pflag.FlagSet) {
	fs.Var(&value{kind: "refracted|true|field", text: "refracted", set: func(s string) (err error) {
		m.aim, err = align.ParseAimKind(s)
		return err
	}}, "aim", "where the axis should point: at the pole as seen, at the true pole, or where --target drifts least")
	fs.Var(target(&m.target), "target", "the picture planned, for --aim field: "+placeWords)
	fs.Var(seconds(&m.planned, 0.001, 3600), "planned", "exposure you plan")
	fs.Var(air(&m.air), "air", "temperature and pressure at the site; else typical for its height")
	m.round.register(fs)
	fs.Var(between("S", &m.periodS, 1, 1e5), "period", "of the gear's wobble, where you know it")
	fs.Var(fNumber(&m.fNumber), "f-number", "of the lens, for a rule of thumb in the report")
}

// question is what flags and kit ask of the pictures; without a site the place is left to them.
func (f *face) question(m *measuring) answer.Options {
	return answer.Options{
		Site: f.site, Air: m.air, Aim: m.aim, Target: m.target, Planned: m.planned,
		MaxElongation: m.round.elongation, Share: m.round.share, PeriodS: m.periodS,
		Gear: f.gear.wobble(m.periodS), Play: f.gear.knobs().Play, Voice: words.ForTerminal,
	}
}

func needFrames(c *cobra.Command, args []string) error {
	if len(args) == 0 {
		return usage(c.Name()+" needs pictures", "name them, or the folder they are in, as in: trueturn "+c.Name()+" evening/", nil)
	}
	return nil
}

func (m *measuring) check() error {
	if m.aim == align.AimField && m.target == nil {
		return usage("--aim field needs a target", "add --target, as RA,Dec or by name", nil)
	}
	if m.aim != align.AimField && m.target != nil {
		return usage(fmt.Sprintf("--target changes nothing with --aim %s: the axis then points at the pole whatever is photographed", m.aim), "add --aim field, or leave --target out", nil)
	}
	if m.rollDeg != nil && m.at == nil {
		return usage("--roll works only with --at", "add --at RA,Dec: where the pictures look", nil)
	}
	if err := m.lens.check(); err != nil {
		return err
	}
	return m.keep.check()
}

// store writes the files that were asked for, all that can be. Without a picture there is nothing to write.
func (m *measuring) store(r result, title string) error {
	if r.read == 0 {
		return nil
	}
	err := errors.Join(m.keep.session(r), m.keep.table(func(w io.Writer) error { return report.CSV(w, r.Answer) }))
	if m.keep.report == "" {
		return err
	}
	if m.positions != "" { // no exposure was seen: nothing is to be said of whether it was round
		d := report.Of(r.seq, r.Answer)
		d.Title = title
		return errors.Join(err, m.keep.page(d))
	}
	v, bad := r.judge(exposure.Question{MaxElongation: m.round.elongation, Share: m.round.share})
	if bad == nil {
		bad = m.keep.page(r.page(v, title))
	}
	return errors.Join(err, bad)
}

// result is an answer and what it was made from.
type result struct {
	answer.Answer
	seq  drift.Sequence
	read int // pictures that could be read
}

// page is all there is to draw.
func (r result) page(v exposure.Verdict, title string) report.Data {
	d := report.Of(r.seq, r.Answer)
	d.Title, d.Judged = title, &v
	return d
}

// judge looks at the pictures as exposures, with the axis if it is known.
func (r result) judge(q exposure.Question) (exposure.Verdict, error) {
	q.Axis, q.Forecast = r.KnownAxis(), r.Forecast
	readable := drift.Sequence{}
	var damaged []string
	for _, s := range r.seq.Shots {
		switch {
		case s.Unread():
			damaged = append(damaged, s.File)
		case !s.MotorOff:
			readable.Shots = append(readable.Shots, s)
		}
	}
	v, err := exposure.Judge(exposure.Shots(readable), q)
	return withDamaged(v, damaged), err
}

// withDamaged lists pictures that could not be read in a verdict on the others; they say nothing of the stars.
func withDamaged(v exposure.Verdict, files []string) exposure.Verdict {
	if len(files) == 0 {
		return v
	}
	v.Of += len(files)
	v.LeaveOut = append(v.LeaveOut, files...)
	for _, name := range files {
		v.Frames = append(v.Frames, exposure.Judged{File: name, Cause: exposure.CauseUnexplained})
	}
	v.Advice = say.All(v.Advice, say.Text(few(files, 3)+" could not be read."))
	return v
}

// tell fills in what the user said of the lens where the pictures are silent.
func (r *result) tell(l drift.LensFlags, fNumber float64) {
	for i := range r.seq.Shots {
		p := &r.seq.Shots[i].Lens
		if l.FocalLengthMM > 0 {
			p.FocalLengthMM, p.PixelPitchUM = l.FocalLengthMM, l.PixelPitchUM
		}
		if fNumber > 0 {
			p.FNumber = fNumber
		}
	}
}

// measure turns files and folders into the answer.
func (f *face) measure(ctx context.Context, args []string, m *measuring) (result, error) {
	if m.positions != "" {
		return f.measureTable(ctx, m)
	}
	g, err := gather(args)
	if err != nil {
		return result{}, err
	}
	if n := len(g.skipped); n > 0 {
		f.note("ignored, not pictures by their endings: " + few(g.skipped, 3))
	}
	fo, err := m.clock.options()
	if err != nil {
		return result{}, err
	}
	fo.Show = heic.Shower(ctx)
	p := f.progress("measured picture", len(g.sources))
	seq, err := drift.Measure(ctx, g.sources, drift.Options{
		Frame: fo, Lens: m.lens.LensFlags, Narrow: m.narrow(), Numbered: true, Progress: func(drift.Shot) { p.step() },
	})
	p.end()
	if err != nil {
		return result{}, err
	}
	if m.at != nil && seq.Followed == nil && seq.FollowErr == nil {
		f.note("the stars were recognised; --at was not needed")
	}
	return f.answered(seq, m), nil
}

// answered is the answer to a sequence measured.
func (f *face) answered(seq drift.Sequence, m *measuring) result {
	r := result{Answer: answer.New(seq, f.question(m)), seq: seq}
	r.tell(m.lens.LensFlags, m.fNumber)
	for _, s := range seq.Shots {
		if !s.Unread() {
			r.read++
		}
	}
	return r
}

// narrow is what was said of a field too narrow to be recognised.
func (m *measuring) narrow() *drift.Narrow {
	if m.at == nil {
		return nil
	}
	n := &drift.Narrow{RA: m.at.RA, Dec: m.at.Dec}
	if m.rollDeg != nil {
		roll := unit.AngleFromDeg(*m.rollDeg)
		n.Roll = &roll
	}
	return n
}

// showAnswer prints an answer; its error is why there is no axis.
func (f *face) showAnswer(r result, m *measuring) error {
	switch {
	case r.read == 0:
	case f.json:
		if err := writeJSON(f.out, r.Answer); err != nil {
			return err
		}
	default:
		f.say(r.Answer, m.clock.zone, m.pictures)
		fmt.Fprintln(f.out, mind)
	}
	return r.Err
}
