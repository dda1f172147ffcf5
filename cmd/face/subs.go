package face

import (
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"trueturn/align/answer"
	"trueturn/align/exposure"
	"trueturn/cmd/legible"
	"trueturn/cmd/report"
	"trueturn/cmd/words"
	"trueturn/drift"
	"trueturn/drift/frame"
	"trueturn/ephem/amiss"
)

const subsText = `Looks at exposures that were taken: which are round, which are not, and why. FRAMES are
pictures (JPEG, PNG, TIFF, DNG, FITS, cameras' raw files) or folders of them; it needs neither a
place nor a clock.
Pictures of one night and one lens tell most together: the gear, the axis, the lens and
the wind each leave a pattern of their own. With a place and a clock the axis is measured
too, and told apart from the gear. For pictures too narrow to be recognised, say where they
look with --at RA,Dec.`

const subsExample = `  trueturn subs evening/
  trueturn subs --list not-round evening/ | sed 's|^|evening/|' |
    xargs -d '\n' ls -l`

// judging is what the flags of subs ask for.
type judging struct {
	measuring
	list string
}

func (f *face) subsCommand() *cobra.Command {
	j := &judging{measuring: *newMeasuring()}
	c := &cobra.Command{
		Use:     "subs FRAMES…",
		Aliases: []string{"check"},
		Short:   "were these exposures round; which not, and why",
		Long:    subsText,
		Example: subsExample,
		Args:    needFrames,
		PreRunE: func(*cobra.Command, []string) error { return j.check(f.json) },
		RunE:    func(c *cobra.Command, args []string) error { return f.subs(c.Context(), args, j) },
	}
	fs := c.Flags()
	fs.SortFlags = false
	j.round.register(fs)
	j.lens.register(fs)
	fs.Var(fNumber(&j.fNumber), "f-number", "of the lens, for a rule of thumb in the report")
	j.clock.register(fs)
	fs.Var(air(&j.air), "air", "temperature and pressure at the site; else typical for its height")
	j.narrowFlags(fs)
	j.listFlag(fs)
	j.keep.register(fs)
	return c
}

const listRound, listNotRound = "round", "not-round"

func (j *judging) listFlag(fs *pflag.FlagSet) {
	fs.Var(&value{kind: "round|not-round", set: func(s string) error {
		if s != listRound && s != listNotRound {
			return amiss.New(nil, "neither round nor not-round", "choose round or not-round")
		}
		j.list = s
		return nil
	}}, "list", "print only file names, one a line; what cannot be judged counts as not round")
}

func (j *judging) check(json bool) error {
	if json && j.list != "" {
		return usage("--list prints bare names, --json an object", "leave one of them out", nil)
	}
	return j.measuring.check()
}

// subs judges, prints and writes.
func (f *face) subs(ctx context.Context, args []string, j *judging) error {
	r, err := f.measure(ctx, args, &j.measuring)
	if err != nil {
		return err
	}
	if r.read == 0 {
		return r.firstCause()
	}
	v, err := r.judge(exposure.Question{MaxElongation: j.round.elongation, Share: j.round.share, Sky: j.at != nil})
	if err != nil {
		return err
	}
	if err := f.showVerdict(v, j); err != nil {
		return err
	}
	if err := j.store(r, v, titleOf(args)); err != nil {
		return err
	}
	switch {
	case v.Unsure != exposure.DoubtNone:
		return whyUnsure(v)
	case blind(v):
		return r.whyBlind()
	}
	return nil
}

// whyUnsure is why nothing was judged of pictures with spots that may be anything.
func whyUnsure(v exposure.Verdict) error {
	way := "if they are stars, say where the pictures look with --at RA,Dec, and give the lens (--focal-length with --pixel-pitch, --equivalent or --scale)"
	if v.Unsure == exposure.DoubtBlack {
		way = "take the cap off, and expose for some seconds"
	}
	text := strings.TrimSuffix(words.Line(v.Unsure.Says()), ".")
	return failed(strings.ToLower(text[:1])+text[1:], way, nil)
}

// firstCause is what was amiss with the first picture that could not be used.
func (r result) firstCause() error {
	for _, s := range r.seq.Shots {
		if s.Err != nil {
			return s.NamedErr()
		}
	}
	return nil
}

// blind is whether not one picture had stars whose shape can be told.
func blind(v exposure.Verdict) bool {
	for _, f := range v.Frames {
		if f.Elongation > 0 {
			return false
		}
	}
	return true
}

func (r result) whyBlind() error {
	const look = "look at the pictures: a dozen stars must stand clear of the noise, and in focus"
	first := r.firstCause()
	if first == nil {
		return failed("no picture has stars whose shape can be told", look, nil)
	}
	way := hint(first)
	if way == "" {
		way = look
	}
	return failed("no picture has stars whose shape can be told; the first: "+first.Error(), way, first)
}

// store writes the files that were asked for.
func (j *judging) store(r result, v exposure.Verdict, title string) error {
	if err := j.keep.table(func(w io.Writer) error { return writeVerdict(w, v) }); err != nil {
		return err
	}
	if j.keep.report == "" {
		return nil
	}
	d := r.withoutAxis().page(v, title)
	if f := report.FieldOf(r.longest(v)); f != nil {
		d.Field = f
	}
	return j.keep.page(d)
}

// withoutAxis is a result that does not complain of an axis nobody asked for: subs needs neither place nor clock.
func (r result) withoutAxis() result {
	if !errors.Is(r.Err, answer.ErrNoSite) && !errors.Is(r.Err, frame.ErrNoClock) {
		return r
	}
	r.Err = errors.New("without a place and a clock no axis was measured")
	r.Advice.Notes = nil
	r.Frames = slices.Clone(r.Frames)
	for i := range r.Frames {
		if r.Frames[i].RADeg != nil {
			r.Frames[i].WhyNot = ""
		}
	}
	return r
}

// longest is the picture whose stars are longest, to be drawn.
func (r result) longest(v exposure.Verdict) (q drift.Sequence) {
	most := 0.0
	for _, f := range v.Frames {
		i := slices.IndexFunc(r.seq.Shots, func(s drift.Shot) bool { return s.File == f.File })
		if i >= 0 && f.Elongation > most {
			most, q.Shots = f.Elongation, r.seq.Shots[i:i+1]
		}
	}
	return q
}

func (f *face) showVerdict(v exposure.Verdict, j *judging) error {
	switch {
	case j.list != "":
		return f.list(v, j.list == listRound)
	case f.json:
		return writeJSON(f.out, v.JSON(words.ForTerminal))
	}
	f.sayVerdict(v, j.round.elongation)
	return nil
}

// list prints bare names for other programs, which must find the files by them: to the letter, but for a terminal. A name
// they would take for two is refused.
func (f *face) list(v exposure.Verdict, round bool) error {
	var names []string
	for _, fr := range v.Frames {
		if fr.Round != round {
			continue
		}
		if strings.ContainsAny(fr.File, "\r\n") {
			return failed("a list of one name a line cannot hold "+quote(fr.File), "rename the picture, or take --json", nil)
		}
		names = append(names, fr.File)
	}
	for _, name := range names {
		if f.outScreen {
			name = legible.Line(name)
		}
		fmt.Fprintln(f.out, name)
	}
	return nil
}

// writeVerdict writes one row a picture under the names of the JSON's keys; what is not known is empty.
func writeVerdict(w io.Writer, v exposure.Verdict) error {
	c := csv.NewWriter(w)
	if err := c.Write(strings.Split("file,stars,fwhm_px,elongation,elongation_sigma,angle_deg,angle_sigma_deg,trail_px,trail_sigma_px,round,cause", ",")); err != nil {
		return err
	}
	exact := func(x *float64) string {
		if x == nil {
			return ""
		}
		return strconv.FormatFloat(*x, 'g', -1, 64)
	}
	for _, f := range v.JSON(words.ForTerminal).Frames {
		row := []string{legible.Cell(f.File), strconv.Itoa(f.Stars)}
		for _, x := range []*float64{f.FWHMPx, f.Elongation, f.ElongationSigma, f.AngleDeg, f.AngleSigmaDeg, f.TrailPx, f.TrailSigmaPx} {
			row = append(row, exact(x))
		}
		if err := c.Write(append(row, strconv.FormatBool(f.Round), f.Cause)); err != nil {
			return err
		}
	}
	c.Flush()
	return c.Error()
}
