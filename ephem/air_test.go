package ephem

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"trueturn/ephem/amiss"
)

// U.S. Standard Atmosphere 1976, table I (geopotential heights): values from
// memory.
func TestStandardAir(t *testing.T) {
	for _, c := range []struct{ heightM, celsius, hPa float64 }{
		{0, 15, 1013.25}, {1000, 8.5, 898.75}, {2000, 2, 794.95}, {5000, -17.5, 540.20},
	} {
		got := StandardAir(c.heightM)
		if math.Abs(got.TemperatureC-c.celsius) > 0.01 || math.Abs(got.PressureHPa-c.hPa) > 0.05 {
			t.Errorf("%g m: %+v, want %g °C, %g hPa", c.heightM, got, c.celsius, c.hPa)
		}
	}
	for _, h := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), 1e300} {
		if err := StandardAir(h).check(); err != nil {
			t.Errorf("%g m: %v", h, err)
		}
	}
}

// airLines seed TestParseAir and FuzzParseAir.
var airLines = []struct {
	name, line string
	want       Air
	because    string // part of the error, "" when the line is good
}{
	{"plain", "-5,835", Air{-5, 835}, ""},
	{"decimals and spaces", " 12.5 , 1013.25 ", Air{12.5, 1013.25}, ""},
	{"vacuum", "0,0", Air{}, ""},
	{"swapped", "1013,10", Air{}, "temperature 1013"},
	{"sea level in inches", "10,29.92", Air{10, 29.92}, ""},
	{"pressure in pascals", "10,101325", Air{}, "pressure 101325"},
	{"kelvin", "283,1010", Air{}, "temperature 283"},
	{"one number", "10", Air{}, "2 numbers"},
	{"three numbers", "10,1010,5", Air{}, "2 numbers"},
	{"empty", "", Air{}, "2 numbers"},
	{"not a number", "nan,1010", Air{}, "decimal number"},
	{"infinite", "10,+Inf", Air{}, "decimal number"},
	{"too large for a number", "10,1e999", Air{}, "decimal number"},
	{"negative pressure", "10,-1", Air{}, "pressure -1"},
	{"with units", "10C,1010hPa", Air{}, "decimal number"},
}

func TestParseAir(t *testing.T) {
	for _, c := range airLines {
		t.Run(c.name, func(t *testing.T) {
			got, err := ParseAir(c.line)
			checkParsed(t, got == c.want, err, ErrAir, c.because)
		})
	}
}

// checkParsed holds an error against the cause it must name and its hint.
func checkParsed(t *testing.T, right bool, err error, kind error, because string) {
	t.Helper()
	switch {
	case because == "" && (err != nil || !right):
		t.Errorf("misread, error %v", err)
	case because == "":
	case err == nil:
		t.Error("accepted")
	case !errors.Is(err, kind) || !strings.Contains(err.Error(), because):
		t.Errorf("error %q does not name %q", err, because)
	case !strings.Contains(fmt.Sprint(amiss.Ways(err)), " "):
		t.Error("no hint")
	}
}

func FuzzParseAir(f *testing.F) {
	for _, c := range airLines {
		f.Add(c.line)
	}
	f.Fuzz(func(t *testing.T, line string) {
		a, err := ParseAir(line)
		if err != nil {
			if a != (Air{}) || len(err.Error()) > 300 || amiss.Ways(err) == nil {
				t.Errorf("%+v with %v", a, err)
			}
			return
		}
		r := a.Refraction()
		if x := r.True(0.5); math.IsNaN(x.Rad()) || x > 0.5 {
			t.Errorf("%+v lowers 0.5 rad to %v", a, x)
		}
	})
}
