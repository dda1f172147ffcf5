package ephem

import (
	"time"

	"github.com/soniakeys/meeus/v3/base"
	"github.com/soniakeys/meeus/v3/deltat"
	"github.com/soniakeys/meeus/v3/julian"
	"github.com/soniakeys/unit"
)

// JulianDates gives the Julian date in universal time (UTC taken as UT1) and in
// the even time of the theories (terrestrial time), to 0.05 ms. ΔT between them
// is Meeus' polynomials (chapter 10): good to 1 s until 1997 and about half a
// minute too large in 2026, which moves no direction by 0.001″. The error is a
// [ErrDate] outside 1900 to 2100.
func JulianDates(t time.Time) (ut, tt float64, err error) {
	if y := t.UTC().Year(); y < 1900 || y > 2100 {
		return 0, 0, badDate(t)
	}
	ut = julian.TimeToJD(t)
	return ut, ut + deltaT(ut).Day(), nil
}

func deltaT(jd float64) unit.Time {
	if year := base.JDEToJulianYear(jd); year >= 1997 {
		return deltat.PolyAfter2000(year)
	}
	return deltat.Poly1900to1997(jd)
}
