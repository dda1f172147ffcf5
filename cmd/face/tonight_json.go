package face

import "time"

// tonightReport is the JSON of tonight. A time that does not happen is null, and a note says why.
type tonightReport struct {
	Date         string        `json:"date"` // of the afternoon
	SunsetUTC    *utc          `json:"sunset_utc"`
	CivilUTC     *utc          `json:"civil_twilight_ends_utc"`
	NauticalUTC  *utc          `json:"nautical_twilight_ends_utc"`
	DarkFromUTC  *utc          `json:"dark_from_utc"`
	DarkToUTC    *utc          `json:"dark_to_utc"`
	SunriseUTC   *utc          `json:"sunrise_utc"`
	Moon         moonReport    `json:"moon"`
	Target       *targetReport `json:"target"` // null where none was named
	Exposures    int           `json:"exposures"`
	IntegrationS float64       `json:"integration_s"`
	NextDate     *string       `json:"next_date"`    // of the first night after this one that does, where this one does not; null where none within a year does
	Sky          *skies        `json:"sky"`          // null without --sky
	Axis         []patchReport `json:"axis_patches"` // for the next measurement, the soonest first
	AimForTarget *fieldReport  `json:"aim_for_target"`
	Notes        []string      `json:"notes"`
}

type moonReport struct {
	Illuminated float64 `json:"illuminated"` // share of the disc, in the middle of the night
	RiseUTC     *utc    `json:"rise_utc"`
	SetUTC      *utc    `json:"set_utc"`
}

type targetReport struct {
	Name            string   `json:"name"`
	RADeg           float64  `json:"ra_deg"`
	DecDeg          float64  `json:"dec_deg"`
	BestUTC         *utc     `json:"best_utc"`
	BestAltitudeDeg *float64 `json:"best_altitude_deg"`
	Window          []utc    `json:"window"` // null where there is none, else two times
	MeridianUTC     *utc     `json:"meridian_utc"`
	MoonDistanceDeg float64  `json:"moon_distance_deg"`
}

// patchReport is a part of the sky for measuring the axis.
type patchReport struct {
	Toward      string  `json:"toward"`
	AzimuthDeg  float64 `json:"azimuth_deg"`
	AltitudeDeg float64 `json:"altitude_deg"`
	SigmaArcmin float64 `json:"three_minutes_sigma_arcmin"`
	SwungArcmin float64 `json:"swung_sigma_arcmin"`
}

// fieldReport is where the axis best points for one target, beside the refracted pole.
type fieldReport struct {
	AltitudeDeg          float64 `json:"altitude_deg"`
	AzimuthDeg           float64 `json:"azimuth_deg"`
	AboveRefractedArcmin float64 `json:"above_refracted_pole_arcmin"`
	ClockwiseArcmin      float64 `json:"clockwise_of_pole_arcmin"` // as a turn about the vertical
}

// utc is an instant as JSON has it: whole seconds, ending in Z.
type utc time.Time

func (u utc) MarshalText() ([]byte, error) {
	return []byte(time.Time(u).UTC().Round(time.Second).Format(time.RFC3339)), nil
}
