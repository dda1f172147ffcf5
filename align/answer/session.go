package answer

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/align"
	"trueturn/align/exposure"
	"trueturn/drift/wobble"
	"trueturn/ephem"
	"trueturn/ephem/amiss"
)

// ErrSession: a session file that cannot be used.
var ErrSession = errors.New("the session file cannot be used")

// sessionKind marks the file.
const sessionKind = "trueturn session"

// sessionLimit bounds what is read of a session file.
const sessionLimit = 64 << 20

// Session is what a later forecast needs of a measurement, and the answer itself.
// It is a JSON object; Version counts its form.
type Session struct {
	Kind    string        `json:"kind"`
	Version int           `json:"version"`
	Site    ephem.Place   `json:"site"`
	Air     ephem.Air     `json:"air"`
	View    SessionView   `json:"view"`
	Mount   *SessionMount `json:"mount"` // null where no axis was found
	FWHMPx  float64       `json:"fwhm_px"`
	// Elongation of a star before the mount moves it, where that is too long to be called round.
	Elongation float64 `json:"elongation,omitempty"`
	Answer     Answer  `json:"answer"`
}

// SessionView is the last picture's: where its middle looked, when, and its lens.
type SessionView struct {
	MidUTC  string  `json:"mid_utc"`
	RADeg   float64 `json:"ra_deg"`
	DecDeg  float64 `json:"dec_deg"`
	RollDeg float64 `json:"roll_deg"`
	FocalPx float64 `json:"focal_px"`
	Width   int     `json:"width"`
	Height  int     `json:"height"`
}

// SessionMount is the mount as measured: what a forecast reckons with.
type SessionMount struct {
	AxisAltitudeDeg float64          `json:"axis_altitude_deg"`
	AxisAzimuthDeg  float64          `json:"axis_azimuth_deg"`
	CovarianceRad2  [2][2]float64    `json:"covariance_rad2"` // across (toward growing azimuth) and up, on the sky
	RateError       float64          `json:"rate_error"`      // sidereal ratio less 1
	RateSigma       float64          `json:"rate_sigma"`
	Wobble          *exposure.Wobble `json:"wobble"`
	Bend            *align.Bend      `json:"bend,omitempty"` // where the holder was seen to bend
}

// Session gathers what [Answer.Plan] was asked; an error of kind [ErrSession] where there is
// none. It may leave the device, see [Answer.Abroad].
func (a Answer) Session() (Session, error) {
	if a.Plan == nil || a.Site == nil {
		return Session{}, amiss.New(ErrSession, "there is nothing to save: it takes a picture recognised at a known site, and the width of its stars", "mend what the error says first")
	}
	_, over := rounded(*a.Site)
	s := Session{Kind: sessionKind, Version: Version, FWHMPx: a.Plan.FWHM, Elongation: a.Plan.Elongation, Answer: a.Abroad(), View: a.lastView}
	s.Site = ephem.Place{LatitudeDeg: hundredths(a.Site.Latitude), LongitudeDeg: hundredths(a.Site.Longitude), HeightM: a.Site.HeightM}
	s.Air = a.air
	if m := a.Plan.Mount; !m.Tripod {
		at := ephem.HorizontalOf(over.Apply(m.Axis.Direction))
		s.Mount = &SessionMount{AxisAltitudeDeg: at.Altitude.Deg(), AxisAzimuthDeg: at.Azimuth.Deg(),
			CovarianceRad2: m.Axis.Covariance, RateError: m.RateError, RateSigma: m.RateSigma}
		if d := a.Measured; d != nil && d.Axis.Gave.Shown() && d.Axis.Gave.How == align.GaveBending {
			bend := d.Axis.Bend
			bend.Own = over.Apply(bend.Own)
			s.Mount.Bend = &bend
		}
		s.Mount.Wobble = m.Wobble
	}
	return s, nil
}

// Write writes the session as JSON.
func (s Session) Write(w io.Writer) error {
	e := json.NewEncoder(w)
	e.SetIndent("", " ")
	return e.Encode(s)
}

// ReadSession reads what [Session.Write] wrote. Errors are of kind [ErrSession], with the way out.
func ReadSession(r io.Reader) (Session, error) {
	var s Session
	bad := func(why string) (Session, error) {
		return Session{}, &amiss.Error{Kind: ErrSession, Text: "the session file " + why, Ways: []amiss.Way{{Thing: amiss.Saved}}}
	}
	text, err := io.ReadAll(io.LimitReader(r, sessionLimit+1))
	if err != nil {
		return bad("cannot be read: " + err.Error())
	}
	if len(text) > sessionLimit {
		return bad("is too large to be one")
	}
	var head struct {
		Kind    string `json:"kind"`
		Version int    `json:"version"`
	}
	if err := json.Unmarshal(text, &head); err != nil {
		return bad("is no JSON, or was cut off")
	}
	if head.Kind != sessionKind {
		return bad("is JSON, but no session")
	}
	if head.Version != Version {
		return bad(fmt.Sprintf("is of version %d; this program reads version %d", head.Version, Version))
	}
	if err := json.Unmarshal(text, &s); err != nil {
		return bad("does not hold what it should: " + err.Error())
	}
	if why := s.fault(); why != "" {
		return bad(why)
	}
	return s, nil
}

// fault is what makes a session unusable, empty if nothing does.
func (s Session) fault() string {
	if _, err := s.Site.Site(); err != nil {
		return "names an impossible site: " + err.Error()
	}
	if _, err := time.Parse(time.RFC3339Nano, s.View.MidUTC); err != nil {
		return "has no time of the measurement"
	}
	if !(s.View.FocalPx > 0) || s.View.Width <= 0 || s.View.Height <= 0 || !(s.FWHMPx > 0) {
		return "says nothing of lens and stars"
	}
	if m := s.Mount; m != nil && (math.Abs(m.AxisAltitudeDeg) > 90 || m.CovarianceRad2[0][0] < 0 || m.CovarianceRad2[1][1] < 0) {
		return "holds an impossible axis"
	}
	if m := s.Mount; m != nil && m.Bend != nil && !m.Bend.Sound() {
		return "holds an impossible bend"
	}
	return ""
}

// Plan is the forecast's question again: the session's mount over the session's view.
func (s Session) Plan() (exposure.Plan, error) {
	site, err := s.Site.Site()
	if err != nil {
		return exposure.Plan{}, err
	}
	mid, err := time.Parse(time.RFC3339Nano, s.View.MidUTC)
	if err != nil {
		return exposure.Plan{}, &amiss.Error{Kind: ErrSession, Text: "the session file has no time of the measurement", Ways: []amiss.Way{{Thing: amiss.Saved}}}
	}
	lens := exposure.Lens{FocalPx: s.View.FocalPx, Width: s.View.Width, Height: s.View.Height}
	target := align.Target{RA: unit.RAFromDeg(s.View.RADeg), Dec: unit.AngleFromDeg(s.View.DecDeg)}
	view, err := exposure.Above(lens, site, s.Air, mid, target, unit.AngleFromDeg(s.View.RollDeg))
	if err != nil {
		return exposure.Plan{}, err
	}
	return exposure.Plan{View: view, Mount: s.mount(), FWHM: s.FWHMPx, Elongation: s.Elongation}, nil
}

// mount is the mount as measured; without an axis the camera stood still.
func (s Session) mount() exposure.Mount {
	m := s.Mount
	if m == nil {
		return exposure.Mount{Tripod: true}
	}
	at := ephem.Horizontal{Altitude: unit.AngleFromDeg(m.AxisAltitudeDeg), Azimuth: unit.AngleFromDeg(m.AxisAzimuthDeg)}
	out := exposure.Mount{Axis: exposure.Axis{Direction: at.Direction(), Covariance: m.CovarianceRad2}, RateError: m.RateError, RateSigma: m.RateSigma}
	if w := m.Wobble; w != nil && s.gearSource() == exposure.GearUsual && w.SizeFactor == 0 {
		out.Wobble = exposure.Reckoned(nil) // of a file from before the range was kept
	} else if w != nil {
		known := *w
		known.Source = s.gearSource()
		out.Wobble = &known
	}
	return out
}

// AxisAt is the axis in another view than the measured one: moved as the holder was seen to bend, else less sure by what
// holders usually do.
func (s Session) AxisAt(measured, view exposure.View) exposure.Axis {
	a := s.mount().Axis
	if b := s.Mount.Bend; b != nil {
		a.Direction, a.Covariance = b.At(view.Attitude, s.Site.LatitudeDeg < 0)
		return a
	}
	e := align.Elsewhere(measured.Attitude, view.Attitude).Rad()
	a.Covariance[0][0] += e * e
	a.Covariance[1][1] += e * e
	return a
}

// gearSource is where the session's gear comes from.
func (s Session) gearSource() exposure.Source {
	p := s.Answer.PeriodicError
	switch source := s.Mount.Wobble.Source; {
	case source != "":
		return source
	case p != nil && p.State == string(wobble.Measured):
		return exposure.GearMeasured
	case p != nil && p.State == string(wobble.Bounded):
		return exposure.GearBounded
	}
	return exposure.GearUsual
}
