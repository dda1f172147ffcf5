package drift

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/drift/frame"
	"trueturn/drift/solve"
	"trueturn/drift/star"
	"trueturn/ephem"
	"trueturn/ephem/amiss"
	"trueturn/ephem/turn"
)

// A Shot's JSON keeps what a measurement made of a picture, so that the picture need not be measured
// again. Stars the solution recognised are kept to the last digit, the others to seven digits, which is
// finer than any star is measured; suspects are left out. Of errors the text, the ways out and the kind are kept
// (errors.Is with the kinds of frame, solve and this package, and Unread hold for what is read back).
// Rows of numbers stand in the order of the struct's fields. What is read is checked: indices,
// counts and numbers on which reckoning would fail are an error.

// shotJSON is a Shot on paper.
type shotJSON struct {
	File         string        `json:"file"`
	Clock        *clockJSON    `json:"clock,omitempty"`
	ClockErr     *errorJSON    `json:"clock_error,omitempty"`
	Lens         lensJSON      `json:"lens"`
	Place        *ephem.Place  `json:"place,omitempty"`
	Width        int           `json:"width,omitempty"`
	Height       int           `json:"height,omitempty"`
	RowOrderFree bool          `json:"row_order_free,omitempty"`
	Notes        []string      `json:"notes,omitempty"`
	Signal       string        `json:"signal,omitempty"`
	Altered      string        `json:"altered,omitempty"`
	Instead      string        `json:"instead,omitempty"`
	Field        *fieldJSON    `json:"field,omitempty"`
	Solution     *solutionJSON `json:"solution,omitempty"`
	Err          *errorJSON    `json:"error,omitempty"`
	LeftOut      string        `json:"left_out,omitempty"`
}

type clockJSON struct {
	Start      time.Time     `json:"start_utc"`
	ExposureNS time.Duration `json:"exposure_ns,omitempty"`
	StepNS     time.Duration `json:"step_ns,omitempty"`
	Source     string        `json:"source,omitempty"`
	Told       *toldJSON     `json:"told,omitempty"`
}

// toldJSON is a frame.Told; files written before it was kept have none.
type toldJSON struct {
	Zone     string         `json:"zone,omitempty"`
	OffsetNS time.Duration  `json:"offset_ns,omitempty"`
	GivenNS  *time.Duration `json:"given_ns,omitempty"` // of a zone that was not used
	OtherNS  *time.Duration `json:"other_ns,omitempty"` // beyond a change of the clocks
	AheadNS  *time.Duration `json:"ahead_ns,omitempty"` // of a GPS fix
}

func toldOnPaper(t frame.Told) *toldJSON {
	if t == (frame.Told{}) {
		return nil
	}
	where := func(is bool, d time.Duration) *time.Duration {
		if !is {
			return nil
		}
		return &d
	}
	return &toldJSON{string(t.Zone), t.Offset, where(t.Against, t.Given), where(t.Changed, t.Other), where(t.HasFix, t.Ahead)}
}

func (j *toldJSON) told() (t frame.Told) {
	if j == nil {
		return t
	}
	t = frame.Told{Zone: frame.Zone(j.Zone), Offset: j.OffsetNS}
	if t.Against = j.GivenNS != nil; t.Against {
		t.Given = *j.GivenNS
	}
	if t.Changed = j.OtherNS != nil; t.Changed {
		t.Other = *j.OtherNS
	}
	if t.HasFix = j.AheadNS != nil; t.HasFix {
		t.Ahead = *j.AheadNS
	}
	return t
}

type lensJSON struct {
	Numbers numbers `json:"numbers"` // focal length, equivalent, pixel pitch, f-number, scale
	Make    string  `json:"make,omitempty"`
	Model   string  `json:"model,omitempty"`
}

type fieldJSON struct {
	Width     int            `json:"width"`
	Height    int            `json:"height"`
	Numbers   numbers        `json:"numbers"` // background, noise, FWHM, elongation
	Condition star.Condition `json:"condition"`
	Stars     []numbers      `json:"stars"`
}

type solutionJSON struct {
	Rotation   numbers   `json:"rotation"` // rotation vector of the attitude, ICRS to camera
	Width      int       `json:"width"`
	Height     int       `json:"height"`
	Lens       numbers   `json:"lens"`       // focal length in pixels, K1, K2, P1, P2, centre
	Covariance numbers   `json:"covariance"` // xx, xy, xz, yy, yz, zz
	Numbers    numbers   `json:"numbers"`    // focal sigma, rms, log odds
	Mirrored   bool      `json:"mirrored,omitempty"`
	Flipped    bool      `json:"rows_flipped,omitempty"`
	Blind      bool      `json:"blind,omitempty"`
	Sightings  []numbers `json:"sightings"`
}

// errorJSON is an error that survives on paper.
type errorJSON struct {
	Text   string      `json:"text"`
	Ways   []amiss.Way `json:"ways,omitempty"`
	Kinds  []string    `json:"kinds,omitempty"`
	Unread bool        `json:"unread,omitempty"`
	// Earlier versions wrote the way out in words, and what a picture without stars was.
	Hint      string          `json:"hint,omitempty"`
	Condition *star.Condition `json:"condition,omitempty"`
}

// errShotJSON: what was read is no shot.
var errShotJSON = errors.New("this is no measured picture")

func noShot(what string) error { return fmt.Errorf("%w: %s", errShotJSON, what) }

// MarshalJSON writes the shot as described above.
func (s Shot) MarshalJSON() ([]byte, error) {
	j := shotJSON{File: s.File, ClockErr: onPaper(s.ClockErr), Width: s.Width, Height: s.Height, RowOrderFree: s.RowOrderFree,
		Notes: s.Notes, Signal: s.Signal, Altered: s.Altered, Instead: s.Instead, Err: onPaper(s.Err), LeftOut: s.LeftOut}
	l := s.Lens
	j.Lens = lensJSON{numbers{v: []float64{l.FocalLengthMM, l.EquivalentMM, l.PixelPitchUM, l.FNumber, l.ScaleArcsecPerPx}}, l.Make, l.Model}
	if c := s.Clock; c != nil {
		j.Clock = &clockJSON{c.Start.UTC(), c.Exposure, c.Step, c.Source, toldOnPaper(c.Told)}
	}
	if p := s.Place; p != nil {
		place := ephem.PlaceOf(*p)
		j.Place = &place
	}
	if f := s.Field; f.Width > 0 {
		j.Field = &fieldJSON{f.Width, f.Height, exactly(f.Background, f.Noise, f.FWHM, f.Elongation), f.Condition, s.starRows()}
	}
	if s.Solution != nil {
		j.Solution = solutionOnPaper(s.Solution)
	}
	return json.Marshal(j)
}

func (s Shot) starRows() []numbers {
	matched := s.matched()
	rows := make([]numbers, len(s.Field.Stars))
	for i, t := range s.Field.Stars {
		rows[i] = numbers{v: []float64{t.X, t.Y, t.XErr, t.YErr, t.XYCov, t.Flux, t.FluxErr, t.Peak, t.FWHM, t.FWHMErr,
			t.Elongation, t.ElongationErr, t.Angle.Rad(), t.AngleErr.Rad(), t.TrailPx, t.TrailPxErr, float64(t.Flags)}, short: !matched[i]}
	}
	return rows
}

func solutionOnPaper(s *solve.Solution) *solutionJSON {
	w, l := s.Attitude.Log(), s.Lens
	j := &solutionJSON{Rotation: exactly(w.X, w.Y, w.Z), Width: l.Width, Height: l.Height,
		Lens:    exactly(l.FocalPx, l.K1, l.K2, l.P1, l.P2, l.CentreX, l.CentreY),
		Numbers: exactly(s.FocalSigma, s.RMSPx, s.LogOdds), Mirrored: s.Mirrored, Flipped: s.RowsFlipped, Blind: s.Blind}
	if c := s.Covariance; c != nil {
		j.Covariance = exactly(c.At(0, 0), c.At(0, 1), c.At(0, 2), c.At(1, 1), c.At(1, 2), c.At(2, 2))
	}
	j.Sightings = make([]numbers, len(s.Sightings))
	for i, g := range s.Sightings {
		d := g.Direction
		j.Sightings[i] = exactly(g.X, g.Y, g.VarX, g.VarY, g.CovXY, d.X, d.Y, d.Z, float64(g.Catalog), float64(g.Star))
	}
	return j
}

// UnmarshalJSON reads what MarshalJSON wrote.
func (s *Shot) UnmarshalJSON(text []byte) error {
	var j shotJSON
	if err := json.Unmarshal(text, &j); err != nil {
		return err
	}
	if j.Width < 0 || j.Height < 0 {
		return noShot("its size")
	}
	n := Shot{File: j.File, ClockErr: j.ClockErr.error(), Width: j.Width, Height: j.Height, RowOrderFree: j.RowOrderFree,
		Notes: j.Notes, Signal: j.Signal, Altered: j.Altered, Instead: j.Instead, Err: j.Err.error(), LeftOut: j.LeftOut}
	if l, ok := j.Lens.Numbers.these(5); ok {
		n.Lens = frame.Lens{FocalLengthMM: l[0], EquivalentMM: l[1], PixelPitchUM: l[2], FNumber: l[3], ScaleArcsecPerPx: l[4]}
	}
	n.Lens.Make, n.Lens.Model = j.Lens.Make, j.Lens.Model
	if c := j.Clock; c != nil {
		n.Clock = &frame.Clock{Start: c.Start, Exposure: c.ExposureNS, Step: c.StepNS, Source: c.Source, Told: c.Told.told()}
	}
	if err := j.rest(&n); err != nil {
		return err
	}
	*s = n
	return nil
}

// rest reads the parts that may be wrong.
func (j shotJSON) rest(n *Shot) error {
	if p := j.Place; p != nil {
		site, err := p.Site()
		if err != nil {
			return noShot(err.Error())
		}
		n.Place = &site
	}
	if j.Field != nil {
		f, err := j.Field.field()
		if err != nil {
			return err
		}
		n.Field = f
	}
	if j.Solution != nil {
		sol, err := j.Solution.solution(len(n.Field.Stars))
		if err != nil {
			return err
		}
		n.Solution = sol
	}
	return nil
}

func (j fieldJSON) field() (star.Field, error) {
	v, ok := j.Numbers.these(4)
	if !ok || j.Width <= 0 || j.Height <= 0 {
		return star.Field{}, noShot("its field")
	}
	f := star.Field{Width: j.Width, Height: j.Height, Background: v[0], Noise: v[1], FWHM: v[2], Elongation: v[3],
		Condition: j.Condition, Stars: make([]star.Star, len(j.Stars))}
	for i, row := range j.Stars {
		r, ok := row.these(17)
		if !ok || !finite(r[0], r[1]) {
			return star.Field{}, noShot("its stars")
		}
		f.Stars[i] = star.Star{X: r[0], Y: r[1], XErr: r[2], YErr: r[3], XYCov: r[4], Flux: r[5], FluxErr: r[6], Peak: r[7],
			FWHM: r[8], FWHMErr: r[9], Elongation: r[10], ElongationErr: r[11], Angle: unit.Angle(r[12]), AngleErr: unit.Angle(r[13]),
			TrailPx: r[14], TrailPxErr: r[15], Flags: star.Flag(r[16])}
	}
	return f, nil
}

func (j solutionJSON) solution(stars int) (*solve.Solution, error) {
	w, ok1 := j.Rotation.these(3)
	l, ok2 := j.Lens.these(7)
	v, ok3 := j.Numbers.these(3)
	if !ok1 || !ok2 || !ok3 || !finite(w...) || !finite(l...) || !(l[0] > 0) || j.Width <= 0 || j.Height <= 0 {
		return nil, noShot("its attitude")
	}
	s := &solve.Solution{FocalSigma: v[0], RMSPx: v[1], LogOdds: v[2], Mirrored: j.Mirrored, RowsFlipped: j.Flipped, Blind: j.Blind}
	s.Attitude = turn.Exp(r3.Vec{X: w[0], Y: w[1], Z: w[2]})
	s.Lens = solve.Lens{Width: j.Width, Height: j.Height, FocalPx: l[0], K1: l[1], K2: l[2], P1: l[3], P2: l[4], CentreX: l[5], CentreY: l[6]}
	if c, ok := j.Covariance.these(6); ok {
		s.Covariance = mat.NewSymDense(3, []float64{c[0], c[1], c[2], c[1], c[3], c[4], c[2], c[4], c[5]})
	}
	for _, row := range j.Sightings {
		g, ok := sightingOf(row, stars)
		if !ok {
			return nil, noShot("its sightings")
		}
		s.Sightings = append(s.Sightings, g)
	}
	return s, nil
}

func sightingOf(row numbers, stars int) (solve.Sighting, bool) {
	r, ok := row.these(10)
	if !ok || !finite(r...) || r[8] < 0 || r[8] > math.MaxInt32 || r[9] < 0 || r[9] >= float64(stars) {
		return solve.Sighting{}, false
	}
	return solve.Sighting{X: r[0], Y: r[1], VarX: r[2], VarY: r[3], CovXY: r[4], Direction: r3.Vec{X: r[5], Y: r[6], Z: r[7]},
		Catalog: int32(r[8]), Star: int(r[9])}, true
}

// kinds are the causes an error keeps, by name.
var kinds = []struct {
	name string
	kind error
}{
	{"not a picture", frame.ErrNotPicture}, {"unsupported", frame.ErrUnsupported}, {"broken", frame.ErrBroken},
	{"too large", frame.ErrTooLarge}, {"no clock", frame.ErrNoClock}, {"times", frame.ErrTimes},
	{"few stars", solve.ErrFewStars}, {"no match", solve.ErrNoMatch}, {"no stars", ErrNoStars},
}

func onPaper(err error) *errorJSON {
	if err == nil {
		return nil
	}
	j := &errorJSON{Text: err.Error(), Ways: amiss.Ways(err), Unread: errors.Is(err, errUnread)}
	for _, k := range kinds {
		if errors.Is(err, k.kind) {
			j.Kinds = append(j.Kinds, k.name)
		}
	}
	return j
}

func (j *errorJSON) error() error {
	if j == nil {
		return nil
	}
	var causes []error
	for _, k := range kinds {
		if slices.Contains(j.Kinds, k.name) || k.kind == ErrNoStars && j.Condition != nil {
			causes = append(causes, k.kind)
		}
	}
	e := &amiss.Error{Kind: errors.Join(causes...), Text: j.Text, Ways: j.Ways}
	if j.Hint != "" {
		e.Ways = amiss.Do(j.Hint)
	}
	if j.Unread {
		return unreadError{e}
	}
	return e
}
