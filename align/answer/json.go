package answer

import (
	"math"
	"time"

	"trueturn/align"
	"trueturn/align/exposure"
	"trueturn/drift"
	"trueturn/drift/wobble"
	"trueturn/ephem"
)

// Version of the JSON written. Keys are only ever added within a version.
const Version = 1

// Answer is all there is to say of a sequence. Its JSON is the contract of
// `align --json`; what is not known is null there and nil here.
type Answer struct {
	Aim           *AimJSON      `json:"aim"`
	Axis          *AxisJSON     `json:"axis"`
	Error         *ErrorJSON    `json:"error"` // axis less aim
	Advice        AdviceJSON    `json:"advice"`
	Situations    []Situation   `json:"situations"`
	Rate          *RateJSON     `json:"rate"`
	PeriodicError *PeriodicJSON `json:"periodic_error"`
	Exposure      *ExposureJSON `json:"exposure"`
	Frames        []FrameJSON   `json:"frames"`

	Err      error       `json:"-"` // why there is no axis
	Site     *ephem.Site `json:"-"`
	Measured *Measured   `json:"-"` // nil without an axis
	// Plan is what the exposure forecast was asked, for faces that ask again; nil without one.
	Plan *exposure.Plan `json:"-"`

	aim      align.Aim
	air      ephem.Air
	seen     *Seen
	lastView SessionView
}

// Seen is what was fitted; nil where nothing could be.
func (a Answer) Seen() *Seen { return a.seen }

// Measured is what the numbers were made of, for faces that draw.
type Measured struct {
	Axis      align.Axis
	Deviation align.Deviation
	Question  align.Question
	Queries   []align.Query      // of place and clock, to be put before a turn, the first one first
	Gear      *wobble.Result     // nil where the angles about the axis follow no rate
	Exposure  *exposure.Forecast // nil where the pictures do not say how wide a star is
}

// QuestionFirst stands in place of a figure that rests on the answer to a query.
const QuestionFirst = "A question first"

// Forecast is how long stars stay round with the mount as measured, or with a camera that stood; nil where that is not known.
func (a Answer) Forecast() *exposure.Forecast {
	if a.Measured != nil {
		return a.Measured.Exposure
	}
	if a.Plan == nil {
		return nil
	}
	f, err := exposure.Longest(*a.Plan)
	if err != nil {
		return nil
	}
	return &f
}

// AimJSON is where the axis should point.
type AimJSON struct {
	Kind        string  `json:"kind"`
	AltitudeDeg float64 `json:"altitude_deg"`
	AzimuthDeg  float64 `json:"azimuth_deg"`
}

// AxisJSON is where the elevated end of the axis points.
type AxisJSON struct {
	AltitudeDeg         float64 `json:"altitude_deg"`
	AzimuthDeg          float64 `json:"azimuth_deg"`
	AltitudeSigmaArcmin float64 `json:"altitude_sigma_arcmin"`
	AzimuthSigmaArcmin  float64 `json:"azimuth_sigma_arcmin"` // as a turn about the vertical
	Correlation         float64 `json:"correlation"`
}

// ErrorJSON is axis less aim.
type ErrorJSON struct {
	AltitudeArcmin   float64 `json:"altitude_arcmin"`
	AzimuthArcmin    float64 `json:"azimuth_arcmin"`
	TotalArcmin      float64 `json:"total_arcmin"`
	TotalSigmaArcmin float64 `json:"total_sigma_arcmin"`
}

// AdviceJSON is what to do.
type AdviceJSON struct {
	Next               *string  `json:"next"`
	NextText           string   `json:"next_text"`
	Altitude           string   `json:"altitude"`
	Azimuth            string   `json:"azimuth"`
	TurnAltitudeArcmin *float64 `json:"turn_altitude_arcmin"`
	TurnAzimuthArcmin  *float64 `json:"turn_azimuth_arcmin"`
	Trustworthy        bool     `json:"trustworthy"`
	Notes              []string `json:"notes"`
}

// Situation is something amiss, by name.
type Situation struct {
	Kind  string   `json:"kind"`
	Files []string `json:"files"`
	Text  string   `json:"text"`
}

// RateJSON is how fast the mount turns.
type RateJSON struct {
	SiderealRatio float64 `json:"sidereal_ratio"`
	Sigma         float64 `json:"sigma"`
}

// PeriodicJSON is the unevenness of the gear.
type PeriodicJSON struct {
	State               string   `json:"state"`
	PeriodS             *float64 `json:"period_s"`
	PeakToPeakArcsec    *float64 `json:"peak_to_peak_arcsec"`
	MaxRateArcsecPerSec *float64 `json:"max_rate_arcsec_per_s"`
	Note                string   `json:"note"`
}

// ExposureJSON is how long stars stay round.
type ExposureJSON struct {
	LongestS          *float64 `json:"longest_s"`
	PlannedS          float64  `json:"planned_s"`
	PlannedStaysRound *bool    `json:"planned_stays_round"`
	ShareRound        *float64 `json:"share_round"`
	// LowS and HighS hold the longest exposure two times in three, as the mount may be.
	LowS  float64         `json:"low_s,omitempty"`
	HighS float64         `json:"high_s,omitempty"`
	Gear  exposure.Source `json:"gear,omitempty"` // who says how the gear runs
}

// Rests says, behind the longest exposure, what it rests on where nobody has seen the gear.
func (e ExposureJSON) Rests() string { return exposure.Rests(e.Gear, e.LowS, e.HighS) }

// FrameJSON is one picture.
type FrameJSON struct {
	File          string   `json:"file"`
	MidUTC        *string  `json:"mid_utc"`
	ExposureS     *float64 `json:"exposure_s"`
	Used          bool     `json:"used"`
	WhyNot        string   `json:"why_not"`
	Stars         int      `json:"stars"`
	Matched       int      `json:"matched"`
	RMSPx         *float64 `json:"rms_px"`
	RADeg         *float64 `json:"ra_deg"`
	DecDeg        *float64 `json:"dec_deg"`
	RollDeg       *float64 `json:"roll_deg"`
	ScaleArcsecPx *float64 `json:"scale_arcsec_px"`
	FWHMPx        *float64 `json:"fwhm_px"`
	Elongation    *float64 `json:"elongation"`
	Mirrored      bool     `json:"mirrored,omitempty"`
	Signal        string   `json:"signal,omitempty"` // which of the picture's colours was measured
}

// frames lists every picture, whether used or not.
func (b *builder) frames() {
	b.out.Frames = make([]FrameJSON, 0, len(b.seq.Shots))
	forms := b.forms()
	for i, s := range b.seq.Shots {
		b.out.Frames = append(b.out.Frames, b.frame(s, forms[i]))
	}
}

// Line is what an answer says of a picture by itself: whether it can take part, and what it shows.
func Line(s drift.Shot, o Options) FrameJSON {
	b := &builder{seq: drift.Sequence{Shots: []drift.Shot{s}}, o: o, out: &Answer{}}
	if b.findSite() == nil {
		b.leaveOutSunk()
	}
	return b.frame(b.seq.Shots[0], formsOf(b.seq, o.Memory)()[0])
}

func (b *builder) frame(s drift.Shot, form exposure.Form) FrameJSON {
	f := FrameJSON{File: s.File, Signal: s.Signal, Stars: len(s.Field.Stars), FWHMPx: known(s.Field.FWHM), Elongation: known(s.Field.Elongation)}
	f.Used, f.WhyNot = b.used(s)
	if s.Clock != nil {
		utc := s.Clock.Mid().UTC().Format(time.RFC3339Nano)
		f.MidUTC = &utc
		if s.Clock.Exposure > 0 {
			f.ExposureS = number(s.Clock.Exposure.Seconds())
		}
	}
	if sol := s.Solution; sol != nil {
		if form.FWHM > 0 && form.Elongation > 0 { // free of what noise adds to faint stars
			f.FWHMPx, f.Elongation = number(form.FWHM), number(form.Elongation)
		}
		ra, dec := sol.RADec()
		f.Matched, f.Mirrored, f.RMSPx = len(sol.Sightings), sol.Mirrored, number(sol.RMSPx)
		f.RADeg, f.DecDeg = number(ra.Deg()), number(dec.Deg())
		f.RollDeg, f.ScaleArcsecPx = number(sol.Roll().Deg()), number(sol.Lens.Scale().Sec())
		if sol.Listed() {
			f.leaveUnsaid(sol)
		}
	}
	return f
}

// used is whether a picture took part in the axis, and why not.
func (b *builder) used(s drift.Shot) (bool, string) {
	switch {
	case s.Err != nil:
		return false, s.Err.Error()
	case s.Solution == nil:
		return false, "not recognised"
	case s.Clock == nil && s.ClockErr != nil:
		return false, s.ClockErr.Error()
	case s.Clock == nil:
		return false, "no usable clock"
	case s.LeftOut != "":
		return false, s.LeftOut
	case b.out.Site == nil:
		return false, "the site is not known"
	}
	return true, ""
}

// setAdvice copies the advice over.
func (a *Answer) setAdvice(ad align.Advice) {
	next := string(ad.Next)
	a.Advice = AdviceJSON{Next: &next, NextText: ad.NextText, Altitude: ad.Altitude, Azimuth: ad.Azimuth,
		TurnAltitudeArcmin: number(ad.TurnAltitude.Min()), TurnAzimuthArcmin: number(ad.TurnAzimuth.Min()),
		Trustworthy: ad.Trustworthy, Notes: append(a.Advice.Notes, ad.Notes...)}
}

// known is a number that is unknown where 0.
func known(v float64) *float64 {
	if v == 0 {
		return nil
	}
	return number(v)
}

// number is a finite number, else unknown.
func number(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}
