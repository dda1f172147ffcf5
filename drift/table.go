package drift

import (
	"context"
	"math"
	"slices"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/drift/frame"
	"trueturn/drift/solve"
	"trueturn/drift/star"
	"trueturn/drift/track"
	"trueturn/ephem"
	"trueturn/ephem/say"
)

// FromTable makes a sequence of positions measured elsewhere. Stars are recognised as those of pictures are; o.Lens
// hints the scale. Directions become attitudes at once. Of o the clock's offset, the lens and Narrow count. A picture
// that cannot be used is a Shot with Err set; the error is the context's.
//
// # Directions without a roll
//
// Such a row tells two of an attitude's three numbers. The third, the turn about the line of sight, is taken to be
// 0: celestial north is up. That is what a mount makes of a camera once put up so, tracking or swung by hand, if its axis
// points at the pole: turning about the pole leaves the position angle alone. With an axis off by ε
// the position angle changes by up to ε/cos δ, so that each roll counts as 0 ± 6°/cos δ (57° at most), independent
// of the others: an axis rarely starts farther off (common practice, no source). Over n pictures the estimator learns from such rolls
// that the axis lies within some 6°/√n of the pole divided by the angle turned, next to nothing; all else it
// takes from the circle about the axis on which the directions move, whose middle they settle only if they turned
// far enough, and its covariance says so.
func FromTable(ctx context.Context, t track.Table, o Options) (Sequence, error) {
	if len(t.Directions) > 0 {
		return fromDirections(t, o), ctx.Err()
	}
	shots, notes, err := tableShots(ctx, t, o)
	if err != nil {
		return Sequence{}, err
	}
	seq, err := arrange(ctx, shots)
	if err != nil {
		return seq, err
	}
	seq.Notes = notes
	return seq, seq.follow(ctx, o)
}

// rollGuess and rollMost bound the roll that is not known.
const (
	rollGuess = 6 * ephem.Degree
	rollMost  = unit.Angle(1)
)

// fromDirections needs no catalogue.
func fromDirections(t track.Table, o Options) Sequence {
	t = t.WithErrors()
	q := Sequence{Notes: t.Notes}
	pixel := usualError(t.Directions)
	for _, d := range t.Directions {
		g := solve.Given{Look: ephem.Direction(d.RA, d.Dec), Pixel: pixel}
		g.Up = upAt(d)
		g.Across, g.About = d.Sigma, d.RollSigma
		if !d.HasRoll {
			g.About = min(rollMost, unit.Angle(rollGuess.Rad()/max(d.Dec.Cos(), 1e-3)))
		}
		sol := g.Solution()
		q.Shots = append(q.Shots, Shot{File: d.Label, Clock: offsetBy(d.Clock, o), Solution: &sol, Table: true})
	}
	return q
}

// usualError is the median standard error.
func usualError(list []track.TableDirection) unit.Angle {
	sigmas := make([]unit.Angle, 0, len(list))
	for _, d := range list {
		sigmas = append(sigmas, d.Sigma)
	}
	slices.Sort(sigmas)
	return sigmas[len(sigmas)/2]
}

// upAt is the direction across the view that is up in the picture: the roll from north through east.
func upAt(d track.TableDirection) r3.Vec {
	ra, dec := d.RA.Rad(), d.Dec.Rad()
	east := r3.Vec{X: -math.Sin(ra), Y: math.Cos(ra)}
	north := r3.Vec{X: -math.Sin(dec) * math.Cos(ra), Y: -math.Sin(dec) * math.Sin(ra), Z: math.Cos(dec)}
	sn, cs := math.Sincos(d.Roll.Rad())
	return r3.Add(r3.Scale(cs, north), r3.Scale(sn, east))
}

func offsetBy(c frame.Clock, o Options) *frame.Clock {
	c.Start = c.Start.Add(o.Frame.ClockOffset)
	return &c
}

// listedSigmaPx is taken for the error of a star's place where the table states none: what common programs reach on
// bright stars (common practice, no source). The fit widens or narrows it by what the stars' residuals say.
const listedSigmaPx = 0.2

// tableShots recognises the pictures of a table of stars.
func tableShots(ctx context.Context, t track.Table, o Options) (shots []Shot, notes []say.Line, err error) {
	notes = append(slices.Clone(t.Notes), missing(t)...)
	width, height := guessedSize(t)
	for _, f := range t.Fields {
		s := Shot{File: f.Label, Clock: offsetBy(f.Clock, o), Width: f.Width, Height: f.Height, Table: true}
		if s.Width == 0 {
			s.Width, s.Height = width, height
		}
		s.Field = fieldOf(f, s.Width, s.Height)
		h := s.hint(o.Lens)
		h.NeighbourOnly = o.Narrow != nil && s.narrow(h)
		if s.solve(ctx, h); ctx.Err() != nil {
			return nil, nil, ctx.Err()
		}
		shots = append(shots, s)
		if o.Progress != nil {
			o.Progress(s)
		}
	}
	return shots, notes, nil
}

// missing says what a table of stars leaves open.
func missing(t track.Table) (notes []say.Line) {
	var size, flux, sigma bool
	for _, f := range t.Fields {
		size = size || f.Width == 0
		for _, s := range f.Stars {
			flux = flux || s.Flux == 0
			sigma = sigma || s.SigmaPx == 0
		}
	}
	if size {
		notes = append(notes, say.Of("the table does not say how large pictures are"))
	}
	if flux {
		notes = append(notes, say.Of("the table does not say how bright stars are"))
	}
	if sigma {
		notes = append(notes, say.Of("the table does not state the stars' errors"))
	}
	return notes
}

// guessedSize is a picture that holds all stars of those without a size, with the same margins on either side.
func guessedSize(t track.Table) (width, height int) {
	lowX, lowY, highX, highY := math.Inf(1), math.Inf(1), 1.0, 1.0
	for _, f := range t.Fields {
		if f.Width > 0 {
			continue
		}
		for _, s := range f.Stars {
			lowX, highX = min(lowX, s.X), max(highX, s.X)
			lowY, highY = min(lowY, s.Y), max(highY, s.Y)
		}
	}
	side := func(low, high float64) int { return int(math.Ceil(max(high+0.5, high+min(low, 0.1*high)))) + 1 }
	return side(lowX, highX), side(lowY, highY)
}

// fieldOf is a table's picture as one measured here.
func fieldOf(f track.TableField, width, height int) star.Field {
	field := star.Field{Width: width, Height: height}
	var widths []float64
	for _, s := range f.Stars {
		sigma := s.SigmaPx
		if sigma == 0 {
			sigma = listedSigmaPx
		}
		sigma = math.Hypot(sigma, float64(s.ResolutionPx)/math.Sqrt(12))
		field.Stars = append(field.Stars, star.Star{X: s.X, Y: s.Y, XErr: sigma, YErr: sigma, Flux: s.Flux, FWHM: s.FWHMPx})
		if s.FWHMPx > 0 {
			widths = append(widths, s.FWHMPx)
		}
	}
	if len(widths) > 0 {
		slices.Sort(widths)
		field.FWHM = widths[len(widths)/2]
	}
	return field
}
