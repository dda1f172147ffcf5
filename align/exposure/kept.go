package exposure

import (
	"encoding/json"
	"strconv"

	"github.com/soniakeys/unit"

	"trueturn/drift/wobble"
)

// keptWobble is a Wobble on disk: seconds and seconds of arc.
type keptWobble struct {
	PeriodS          float64      `json:"period_s"`
	PeakToPeakArcsec float64      `json:"peak_to_peak_arcsec"`
	SigmaArcsec      float64      `json:"sigma_arcsec"`
	Harmonics        [][2]float64 `json:"harmonics_arcsec"`      // cosine and sine of the fundamental, the second, …
	SizeFactor       float64      `json:"size_factor,omitempty"` // to which the size is known, where to no more
	PeriodFactor     float64      `json:"period_factor,omitempty"`
	Source           Source       `json:"source,omitempty"` // files written before it was kept have none
}

// MarshalJSON writes what UnmarshalJSON reads.
func (w Wobble) MarshalJSON() ([]byte, error) {
	k := keptWobble{PeriodS: w.PeriodS, PeakToPeakArcsec: arcsec(w.PeakToPeak), SigmaArcsec: arcsec(w.Sigma), SizeFactor: w.SizeFactor, PeriodFactor: w.PeriodFactor, Source: w.Source}
	for _, h := range w.Harmonics {
		k.Harmonics = append(k.Harmonics, [2]float64{arcsec(h.Cos), arcsec(h.Sin)})
	}
	return json.Marshal(k)
}

// arcsec is an angle in seconds of arc to twelve figures, so that what is read and written again stays the same.
func arcsec(a unit.Angle) float64 {
	v, err := strconv.ParseFloat(strconv.FormatFloat(a.Sec(), 'g', 12, 64), 64)
	if err != nil {
		return a.Sec()
	}
	return v
}

// UnmarshalJSON reads what MarshalJSON wrote.
func (w *Wobble) UnmarshalJSON(text []byte) error {
	var k keptWobble
	if err := json.Unmarshal(text, &k); err != nil {
		return err
	}
	*w = Wobble{PeriodS: k.PeriodS, PeakToPeak: unit.AngleFromSec(k.PeakToPeakArcsec), Sigma: unit.AngleFromSec(k.SigmaArcsec), SizeFactor: k.SizeFactor, PeriodFactor: k.PeriodFactor, Source: k.Source}
	for _, h := range k.Harmonics {
		w.Harmonics = append(w.Harmonics, wobble.Harmonic{Cos: unit.AngleFromSec(h[0]), Sin: unit.AngleFromSec(h[1])})
	}
	return nil
}
