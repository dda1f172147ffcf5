package align

import (
	"math"
	"testing"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/ephem"
)

// A phone's long lens looking 90° from the pole, ten pictures in three minutes, against a line through them by hand. With the
// angle about the axis free in every picture, the weaker part of an axis error e shows only as the picture turning about the line
// of sight, by e ω t; the slope of n values of error σ at times t has the error σ/√Σ(t−mean)², and n times d apart
// have Σ = d² n(n²−1)/12.
func TestSurveyAgainstTheSlope(t *testing.T) {
	site, _ := ephem.NewSite(0.001, 0, 0) // the pole on the northern horizon: all of the east is 90° from it
	eye := PhoneEye()
	eye.WanderPx = 0
	o := outlook(site, eye, ephem.Horizontal{Azimuth: math.Pi / 2, Altitude: unit.AngleFromDeg(45)})
	const n, every = 10.0, 20.0
	slope := every * math.Sqrt(n*(n*n-1)/12) // of the times about their mean
	roll := math.Sqrt(12) * eye.NoisePx / (math.Sqrt(float64(eye.Stars)) * eye.SizePx)
	want := roll / (ephem.SiderealRadPerS * slope)
	// The pictures turn about the axis by 0.7° meanwhile; a hundredth covers it.
	if got := o.Tracked.Rad(); math.Abs(got/want-1) > 0.01 {
		t.Errorf("%.2f′, by hand %.2f′", unit.Angle(got).Min(), unit.Angle(want).Min())
	}
}

// The bounds kept with the design (../shared/bounds.md: phone, 115 mm equivalent, 0.1 pixels of wander, ψ 45°) say 3.1′ for ten
// pictures in three minutes and 0.11′ with a swing; they were computed apart from this code.
func TestSurveyAgainstTheBounds(t *testing.T) {
	site, _ := ephem.NewSite(45, 7, 0)
	o := outlook(site, PhoneEye(), ephem.Horizontal{Azimuth: 0, Altitude: unit.AngleFromDeg(89.9)}) // 45° from the pole
	const share = 0.1                                                                               // the bounds fit scale and distortion too
	if got := o.Tracked.Min(); math.Abs(got/3.1-1) > share {
		t.Errorf("tracked: %.2f′, the bound is 3.1′", got)
	}
	// The bounds' pictures stand at 0°, 15° and 30°, ours at 0°, 30° and −20°: squares about their mean 450 and 1267.
	want := 0.11 * math.Sqrt(450.0/1267)
	if got := o.Swung.Min(); math.Abs(got/want-1) > share {
		t.Errorf("swung: %.3f′, the bound is %.3f′", got, want)
	}
}

func TestSurvey(t *testing.T) {
	for _, lat := range []float64{-78, -33, 0, 46, 80} {
		site, _ := ephem.NewSite(lat, 7, 0)
		all := Survey(site, PhoneEye())
		if len(all) != 4 {
			t.Fatalf("latitude %g: %d patches, want one in each quarter", lat, len(all))
		}
		for i, o := range all {
			if !(o.Tracked > 0) || math.IsInf(o.Tracked.Rad(), 0) || !(o.Swung < o.Tracked) {
				t.Errorf("latitude %g: %v", lat, o)
			}
			if i > 0 && o.Tracked < all[i-1].Tracked {
				t.Errorf("latitude %g: the best patch does not come first", lat)
			}
		}
		// Near the pole tells most (bounds.md): 15° off beats 90° off.
		toPole := "north"
		if lat < 0 {
			toPole = "south"
		}
		if math.Abs(lat) > 20 && math.Abs(lat) < 70 && all[0].Name != toPole {
			t.Errorf("latitude %g: best in the %s", lat, all[0].Name)
		}
		moon := all[0].At.Direction()
		for _, o := range Survey(site, PhoneEye(), moon) {
			if r3.Dot(o.At.Direction(), moon) > math.Cos(clearOfMoonsDeg*math.Pi/180) {
				t.Errorf("latitude %g: %s is beside the Moon", lat, o.Name)
			}
		}
	}
}
