package answer

import (
	"math"
	"strings"
	"time"

	"trueturn/align/exposure"
	"trueturn/align/policy"
	"trueturn/drift"
	"trueturn/drift/wobble"
	"trueturn/ephem/say"
)

// Version of the JSON written. Keys are only ever added within a version.
const Version = 1

// Answer is the contract of `align --json`: what is not known is null there and nil here. [Finding.Answer] makes it, and keeps what it was made
// of for faces that draw.
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

	Finding `json:"-"` // what it was made of; zero in an answer read from a file
}

// Answer is the finding as JSON has it.
func (f Finding) Answer() Answer {
	a := Answer{Finding: f, Advice: adviceOf(f.Advice, f.Measured != nil, f.Voice), Situations: []Situation{}, Frames: f.Lines}
	if f.Aim != nil {
		a.Aim = &AimJSON{Kind: string(f.Aim.Kind), AltitudeDeg: f.Aim.Altitude().Deg(), AzimuthDeg: f.Aim.Azimuth().Deg()}
	}
	if m := f.Measured; m != nil {
		x, d := m.Axis, m.Deviation
		a.Axis = &AxisJSON{AltitudeDeg: x.Altitude().Deg(), AzimuthDeg: x.Azimuth().Deg(),
			AltitudeSigmaArcmin: x.AltitudeSigma().Min(), AzimuthSigmaArcmin: x.AzimuthSigma().Min(), Correlation: x.Correlation()}
		a.Error = &ErrorJSON{AltitudeArcmin: d.Altitude.Min(), AzimuthArcmin: d.Azimuth.Min(),
			TotalArcmin: d.Total.Min(), TotalSigmaArcmin: d.TotalSigma.Min()}
	}
	for _, x := range f.Faults {
		a.Situations = append(a.Situations, Situation{Kind: string(x.Kind), Files: append([]string{}, x.Files...), Text: x.Told(f.Voice)})
	}
	if r := f.Rate; r != nil {
		a.Rate = &RateJSON{SiderealRatio: r.SiderealRatio, Sigma: r.Sigma}
	}
	if g := f.Gear; g != nil {
		a.PeriodicError = periodicOf(*g, f.Voice)
	}
	if x := f.Forecast; x != nil {
		a.Exposure = exposureOf(*x, f.Plan.PlannedS)
	}
	return a
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

// RestsOn is, behind the longest exposure, what it rests on where nobody has seen the gear.
func (e ExposureJSON) RestsOn() say.Line { return exposure.RestsOn(e.Gear, e.LowS, e.HighS) }

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
	b.out.Lines = make([]FrameJSON, 0, len(b.seq.Shots))
	forms := b.forms()
	for i, s := range b.seq.Shots {
		b.out.Lines = append(b.out.Lines, b.frame(s, forms[i]))
	}
}

// Line is what an answer says of a picture by itself: whether it can take part, and what it shows.
func Line(s drift.Shot, o Options) FrameJSON {
	b := &builder{seq: drift.Sequence{Shots: []drift.Shot{s}}, o: o, out: &Finding{}}
	if b.findSite() == nil {
		b.leaveOutSunk()
	}
	return b.frame(b.seq.Shots[0], formsOf(b.seq, o.Memory)()[0])
}

// noteInstead says once what was measured in place of pictures' own data.
func (b *builder) noteInstead() {
	said := map[string]bool{}
	for _, s := range b.seq.Shots {
		if s.Instead != "" && !said[s.Instead] {
			said[s.Instead] = true
			b.note(say.Text(strings.ToUpper(s.Instead[:1]) + s.Instead[1:] + "."))
		}
	}
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

// adviceOf is the advice; without an axis there is nothing to turn.
func adviceOf(ad policy.Advice, axis bool, v say.Voice) AdviceJSON {
	j := AdviceJSON{NextText: v.Say(ad.Says), Altitude: v.Say(ad.Altitude), Azimuth: v.Say(ad.Azimuth), Trustworthy: ad.Trustworthy, Notes: []string{}}
	for _, n := range ad.Notes {
		j.Notes = append(j.Notes, v.Say(n.Says))
	}
	if next := string(ad.Next); next != "" {
		j.Next = &next
	}
	if axis {
		j.TurnAltitudeArcmin, j.TurnAzimuthArcmin = number(ad.TurnAltitude.Min()), number(ad.TurnAzimuth.Min())
	}
	return j
}

// periodicOf is what is said of a gear.
func periodicOf(g wobble.Result, v say.Voice) *PeriodicJSON {
	p := &PeriodicJSON{State: string(g.State), Note: v.Say(g.Note)}
	if g.State != wobble.Unseen {
		p.PeriodS, p.PeakToPeakArcsec, p.MaxRateArcsecPerSec = known(g.PeriodS), known(g.PeakToPeak.Sec()), known(g.MaxRateArcsecPerS)
	}
	return p
}

// exposureOf is what the answer says of a forecast.
func exposureOf(f exposure.Forecast, plannedS float64) *ExposureJSON {
	e := &ExposureJSON{LongestS: number(f.LongestS), LowS: f.LowS, HighS: f.HighS, Gear: f.Gear, PlannedS: plannedS}
	if f.Planned != nil {
		e.PlannedStaysRound, e.ShareRound = &f.Rounded, number(f.Planned.ShareRound)
	}
	return e
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
