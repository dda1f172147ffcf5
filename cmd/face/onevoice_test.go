package face

import (
	"bytes"
	"context"
	"html"
	"math/rand/v2"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/align/answer"
	"trueturn/align/guide"
	"trueturn/align/policy"
	"trueturn/align/simulate"
	"trueturn/cmd/report"
	"trueturn/cmd/words"
	"trueturn/drift"
	"trueturn/drift/solve"
	"trueturn/drift/star"
	"trueturn/ephem"
)

// evenings is an evening's sequence from its exact star places with noise, in place of pictures.
func evenings(t *testing.T, latitude float64, set func(*simulate.Evening)) (drift.Sequence, ephem.Site) {
	t.Helper()
	site, err := ephem.NewSite(latitude, 7.75, 1620)
	if err != nil {
		t.Fatal(err)
	}
	e, err := simulate.Practice(site, time.Date(2026, 11, 25, 21, 30, 0, 0, time.UTC))
	if err != nil {
		t.Fatal(err)
	}
	set(&e)
	run, err := e.Begin()
	if err != nil {
		t.Fatal(err)
	}
	const noisePx, fwhmPx = 0.05, 3
	r := rand.New(rand.NewPCG(1, 2))
	var q drift.Sequence
	for i := range e.Count {
		lit, err := run.Stars(i)
		if err != nil {
			t.Fatal(err)
		}
		c := run.Clock(i)
		s := drift.Shot{File: e.File(i), Clock: &c, Width: e.Camera.Width, Height: e.Camera.Height,
			Field: star.Field{Width: e.Camera.Width, Height: e.Camera.Height, FWHM: fwhmPx, Elongation: 1.02}}
		for _, l := range lit[:min(80, len(lit))] {
			s.Field.Stars = append(s.Field.Stars, star.Star{X: l.MeanX + noisePx*r.NormFloat64(), Y: l.MeanY + noisePx*r.NormFloat64(),
				XErr: noisePx, YErr: noisePx, Flux: l.Electrons, FWHM: fwhmPx, Elongation: 1.02})
		}
		sol, err := solve.Solve(context.Background(), s.Field, solve.Hint{FocalPx: e.Camera.FocalPx})
		if err != nil {
			t.Fatal(err)
		}
		s.Solution = &sol
		q.Shots = append(q.Shots, s)
	}
	return q, site
}

var (
	tags   = regexp.MustCompile(`(?s)<style.*?</style>|<script.*?</script>|<[^>]*>`)
	blanks = regexp.MustCompile(`\s+`)
)

// asRead is a text as it is read: without marks, each blank one.
func asRead(text string) string {
	return blanks.ReplaceAllString(html.UnescapeString(tags.ReplaceAllString(text, " ")), " ")
}

// TestOneVoice: what the terminal, the report and the page tell of one session is the same: the step, how far off either knob is, and how long
// an exposure may be, in the same figures.
func TestOneVoice(t *testing.T) {
	t.Parallel()
	min, deg := unit.AngleFromMin, unit.AngleFromDeg
	swings := []unit.Angle{0, deg(24), deg(0), deg(18), deg(-39), 0, 0, 0}
	for name, set := range map[string]func(*simulate.Evening){
		"far off, swung": func(e *simulate.Evening) {
			e.Count, e.Mount.Swings, e.Mount.AltitudeError, e.Mount.AzimuthError = len(swings), swings, min(25), min(-48)
		},
		"good, swung": func(e *simulate.Evening) {
			e.Count, e.Mount.Swings, e.Mount.AltitudeError, e.Mount.AzimuthError = len(swings), swings, min(1.5), min(-1)
		},
		"known badly": func(e *simulate.Evening) {
			e.Count, e.Mount.AltitudeError, e.Mount.AzimuthError = 4, min(12), min(-20)
		},
		"followed for ten minutes": func(e *simulate.Evening) {
			e.Count, e.Every, e.Mount.AltitudeError, e.Mount.AzimuthError = 10, time.Minute, min(40), min(30)
		},
	} {
		for _, latitude := range []float64{46.02, -33.9} {
			t.Run(name, func(t *testing.T) {
				t.Parallel()
				seq, site := evenings(t, latitude, set)
				a := answer.New(seq, answer.Options{Site: &site, Voice: words.ForTerminal})
				if a.Err != nil {
					t.Fatal(a.Err)
				}
				var screen, page bytes.Buffer
				(&face{out: &screen, err: &screen}).sayBrief(a)
				if err := report.HTML(&page, report.Of(seq, a)); err != nil {
					t.Fatal(err)
				}
				g := guide.New(guide.Options{Answer: answer.Options{Site: &site, Voice: words.ForPage}})
				if err := g.Add(context.Background(), seq.Shots...); err != nil {
					t.Fatal(err)
				}
				sameVoice(t, a, asRead(screen.String()), asRead(page.String()), g.View())
			})
		}
	}
}

func within(arcmin, sigma float64) string { return words.Quantity(words.OffBy(arcmin, sigma)) }

func sameVoice(t *testing.T, a answer.Answer, screen, page string, v guide.View) {
	t.Helper()
	longest := words.Longest(*a.Exposure.LongestS)
	tilt, base := within(a.Error.AltitudeArcmin, a.Axis.AltitudeSigmaArcmin), within(a.Error.AzimuthArcmin, a.Axis.AzimuthSigmaArcmin)
	for _, said := range []string{longest, tilt, base} {
		if !strings.Contains(screen, said) || !strings.Contains(page, said) {
			t.Errorf("%q is not on both terminal and report:\n%s\n%s", said, screen, page)
		}
	}
	if !strings.Contains(v.Live.Headline, longest) {
		t.Errorf("terminal: round for %s; page: %s", longest, v.Live.Headline)
	}
	if l := v.Live.Level; within(l.AltitudeArcmin, l.AltitudeSigmaArcmin) != tilt || within(l.AzimuthArcmin, l.AzimuthSigmaArcmin) != base {
		t.Errorf("terminal: %s, %s; page: %+v", tilt, base, l)
	}
	steps := map[string]bool{policy.Done: *a.Advice.Next == string(policy.Shoot), policy.Turning: *a.Advice.Next == string(policy.Turn)}
	if same, ok := steps[v.Live.Phase]; ok && !same {
		t.Errorf("terminal: %s; page: %s: %s", *a.Advice.Next, v.Live.Phase, v.Live.Instruction)
	}
	if *a.Advice.Next == string(policy.Shoot) != (v.Live.Phase == policy.Done) {
		t.Errorf("terminal: %s: %s; page: %s: %s", *a.Advice.Next, a.Advice.NextText, v.Live.Phase, v.Live.Instruction)
	}
}
