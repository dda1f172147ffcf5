package main

import (
	"context"
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"trueturn/align"
	"trueturn/align/answer"
	"trueturn/drift"
	"trueturn/ephem"
)

const alignText = `Measures where the axis points from pictures taken on the running mount, and says
what to turn. FRAMES are pictures (JPEG, PNG, TIFF, FITS) or folders of them.

Three pictures do if the axis is swung by hand between them, by unequal angles of
20 to 50 degrees; without swings take ten or more over some minutes. Any patch of
sky will do, and nobody need see the pole.`

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
}

func newMeasuring() *measuring {
	return &measuring{planned: 30 * time.Second, aim: align.AimRefracted}
}

func (f *face) alignCommand() *cobra.Command {
	m := newMeasuring()
	c := &cobra.Command{
		Use:     "align FRAMES…",
		Short:   "measure the axis and say what to turn",
		Long:    alignText,
		Example: alignExample,
		Args:    needFrames,
		PreRunE: func(*cobra.Command, []string) error { return m.check() },
		RunE: func(c *cobra.Command, args []string) error {
			a, err := f.measure(c.Context(), args, m)
			if err != nil {
				return err
			}
			return f.showAnswer(a)
		},
	}
	fs := c.Flags()
	fs.SortFlags = false
	m.lens.register(fs)
	m.clock.register(fs)
	fs.Var(&value{kind: "refracted|true|field", text: "refracted", set: func(s string) (err error) {
		m.aim, err = align.ParseAimKind(s)
		return err
	}}, "aim", "where the axis should point: at the pole as seen, the true pole, or where --target drifts least")
	fs.Var(target(&m.target, "RA,Dec"), "target", "the picture planned, for --aim field: degrees, or h:m:s,d:m:s")
	fs.Var(seconds(&m.planned, 0.001, 3600), "planned", "exposure planned")
	fs.Var(air(&m.air), "air", "temperature and pressure at the site; else usual for its height")
	return c
}

func needFrames(_ *cobra.Command, args []string) error {
	if len(args) == 0 {
		return &usageError{"align needs pictures", "name them, or the folder they are in, as in: trueturn align evening/", nil}
	}
	return nil
}

func (m *measuring) check() error {
	if m.aim == align.AimField && m.target == nil {
		return &usageError{"--aim field needs to know the field", "add --target RA,Dec", nil}
	}
	return m.lens.check()
}

// result is an answer and what it was made from.
type result struct {
	answer.Answer
	read int // pictures that could be read
}

// measure turns files and folders into the answer.
func (f *face) measure(ctx context.Context, args []string, m *measuring) (result, error) {
	g, err := gather(args)
	if err != nil {
		return result{}, err
	}
	if n := len(g.skipped); n > 0 {
		fmt.Fprintf(f.err, "note: passed over, no picture by its ending: %s\n", few(g.skipped, 3))
	}
	fo, err := m.clock.options()
	if err != nil {
		return result{}, err
	}
	p := f.progress("measured picture", len(g.sources))
	seq, err := drift.Measure(ctx, g.sources, drift.Options{
		Frame: fo, Lens: m.lens.LensFlags, Progress: func(drift.Shot) { p.step() },
	})
	p.end()
	if err != nil {
		return result{}, err
	}
	r := result{Answer: answer.New(seq, answer.Options{
		Site: f.site, Air: m.air, Aim: m.aim, Target: m.target, Planned: m.planned,
	})}
	for _, s := range seq.Shots {
		if !s.Unread() {
			r.read++
		}
	}
	return r, nil
}

// showAnswer prints an answer; its error is why there is no axis.
func (f *face) showAnswer(r result) error {
	switch {
	case r.read == 0:
	case f.json:
		if err := writeJSON(f.out, r.Answer); err != nil {
			return err
		}
	default:
		f.say(r.Answer)
		f.caution()
	}
	return r.Err
}
