package ephem

import (
	"errors"
	"math"
	"strings"
	"testing"

	"github.com/soniakeys/unit"

	"trueturn/ephem/amiss"
)

func site(latDeg, lonDeg, heightM float64) Site {
	return Site{unit.AngleFromDeg(latDeg), unit.AngleFromDeg(lonDeg), heightM}
}

// siteLines seed TestParseSite and FuzzParseSite.
var siteLines = []struct {
	name, line string
	want       Site
	because    string // part of the error, "" when the line is good
}{
	{"north east", "46.02,7.75", site(46.02, 7.75, 0), ""},
	{"with height", "46.02,7.75,1620", site(46.02, 7.75, 1620), ""},
	{"south west", "-33.5,-70.8,2400", site(-33.5, -70.8, 2400), ""},
	{"spaces", " 46.02 ,\t7.75 , 1620 ", site(46.02, 7.75, 1620), ""},
	{"signs", "+46,+7", site(46, 7, 0), ""},
	{"poles and date line", "-90,180,2800", site(-90, 180, 2800), ""},
	{"below the sea", "31.5,35.5,-430", site(31.5, 35.5, -430), ""},
	{"exponent", "4.6e1,7", site(46, 7, 0), ""},
	{"beyond the pole", "90.01,0", Site{}, "latitude 90.01"},
	{"swapped", "151.2,-33.9", Site{}, "latitude 151.2"},
	{"beyond the date line", "46,180.5", Site{}, "longitude 180.5"},
	{"both impossible", "400,400", Site{}, "latitude 400"},
	{"in space", "46,7,36000000", Site{}, "height 3.6e+07"},
	{"not a number", "NaN,7", Site{}, "decimal number"},
	{"infinite", "46,Inf", Site{}, "decimal number"},
	{"too large for a number", "46,1e400", Site{}, "decimal number"},
	{"hexadecimal", "0x2e,7", Site{}, "decimal number"},
	{"letters", "46N,7E", Site{}, "decimal number"},
	{"sexagesimal", "46:01:12,7:45", Site{}, "decimal number"},
	{"decimal commas", "46,02,7,75", Site{}, "2 or 3 numbers"},
	{"one number", "46", Site{}, "2 or 3 numbers"},
	{"empty", "", Site{}, "2 or 3 numbers"},
	{"empty field", "46,", Site{}, "decimal number"},
	{"typographic minus", "−33,151", Site{}, "decimal number"},
	{"semicolon", "46;7", Site{}, "2 or 3 numbers"},
}

func TestParseSite(t *testing.T) {
	for _, c := range siteLines {
		t.Run(c.name, func(t *testing.T) {
			got, err := ParseSite(c.line)
			checkParsed(t, got == c.want, err, ErrSite, c.because)
		})
	}
}

func FuzzParseSite(f *testing.F) {
	for _, c := range siteLines {
		f.Add(c.line)
	}
	f.Fuzz(func(t *testing.T, line string) {
		s, err := ParseSite(line)
		if err != nil {
			if s != (Site{}) || len(err.Error()) > 300 || amiss.Ways(err) == nil {
				t.Errorf("%v with %v", s, err)
			}
			return
		}
		if err := s.check(); err != nil {
			t.Errorf("%q passed and then: %v", line, err)
		}
	})
}

func TestNewSiteRefusesWhatIsNoNumber(t *testing.T) {
	for _, bad := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		for i, v := range [][3]float64{{bad, 7, 0}, {46, bad, 0}, {46, 7, bad}} {
			_, err := NewSite(v[0], v[1], v[2])
			if !errors.Is(err, ErrSite) || amiss.Ways(err) == nil {
				t.Errorf("%g as number %d: %v", bad, i+1, err)
			}
		}
	}
}

func TestSwappedSiteGetsThatHint(t *testing.T) {
	_, err := NewSite(151.2, -33.9, 0)
	if !errors.Is(err, ErrSite) || !strings.HasPrefix(amiss.Ways(err)[0].Act, "latitude comes first") {
		t.Errorf("%v", err)
	}
}

// The ends of the allowed range stay allowed after degrees became radians.
func TestTheEndsOfTheEarthAreOnIt(t *testing.T) {
	for _, lat := range []float64{-90, 90} {
		for _, lon := range []float64{-180, 180} {
			s, err := NewSite(lat, lon, 0)
			if err != nil || s.check() != nil {
				t.Errorf("%g, %g: %v, %v", lat, lon, err, s.check())
			}
		}
	}
}
