package exposure

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"trueturn/ephem/amiss"
)

// A star of magnitude 0 sends about as many photons as an AB magnitude of 0 means at V's wavelength: 3631 Jy by definition
// (Oke and Gunn, Astrophys. J. 266, 1983), in photons F/(hλ). The two scales differ by 0.02 magnitude there.
func TestPhotonsOfAStar(t *testing.T) {
	const hergs = 6.62607015e-27
	ab := 3.631e-20 / (hergs * 5450) // per Å: dν = c dλ/λ², over hν
	if r := photonsPerAngstrom / ab; math.Abs(r-1) > 0.03 {
		t.Errorf("%.0f photons, %.0f by the AB scale", photonsPerAngstrom, ab)
	}
}

// By hand: p/N = 3.9 µm/2.8 = 1.3929e-4 cm; its square times π/4 is 1.5237e-8 cm² sr, times 206264.8² arcsec² a steradian
// 648.3 cm² arcsec². Light of magnitude 0 makes 996.2 · 900 · 0.4 = 358 640 e/s cm²; 10^(−0.4·21.3) is 3.0200e-9. Product:
// 0.7022 electrons a second.
func TestSkyRateByHand(t *testing.T) {
	s := Sensor{FNumber: 2.8, PixelPitchUM: 3.9, ReadNoiseE: 3}
	if got := s.SkyRate(21.3); math.Abs(got/0.7022-1) > 1e-3 {
		t.Errorf("%.4f electrons a second, by hand 0.7022", got)
	}
	// b + R²/t by hand: 9/2.5 = 3.6 beside 9/60 = 0.15, so 4.3022/0.8522 = 5.048.
	sky := measured(21.3)
	r, err := s.Longer(Way{sky, 2.5}, Way{sky, 60})
	if err != nil || math.Abs(r.Is-5.048) > 0.002 {
		t.Errorf("%.3f times as long (%v), by hand 5.048", r.Is, err)
	}
	if got := s.LongEnough(sky); math.Abs(got-10*9/0.7022) > 0.2 {
		t.Errorf("long enough from %.1f s, by hand 128.2", got)
	}
}

// Without read noise only the skies count, as the magnitude is defined (N. R. Pogson, 1856: 100 in 5 magnitudes).
func TestSkiesAlone(t *testing.T) {
	s := Sensor{FNumber: 4, PixelPitchUM: 5}
	for _, row := range []struct{ here, there, want float64 }{
		{16.8, 21.8, 100}, {21.8, 21.8, 1}, {19.3, 21.8, 10}, {21.8, 19.3, 0.1},
	} {
		r, err := s.Longer(Way{measured(row.here), 30}, Way{measured(row.there), 60})
		if err != nil || math.Abs(r.Is/row.want-1) > 1e-9 {
			t.Errorf("%g against %g: %v times as long (%v), want %g", row.here, row.there, r.Is, err, row.want)
		}
		// Two meters of ±0.1 magnitude: √2 · 0.1 magnitude, 13.9 %.
		if row.here != row.there && math.Abs(r.High/r.Is-math.Pow(10, 0.4*0.1*math.Sqrt2)) > 1e-3 {
			t.Errorf("%g against %g: high end %v of %v", row.here, row.there, r.High, r.Is)
		}
	}
}

// The model against pixels drawn one by one: exposures of a faint target under a sky, photons Poisson, reading Gauss, summed;
// as many more seconds of short ones as Longer says give the signal-to-noise of the long ones.
func TestLongerAgainstDrawnPixels(t *testing.T) {
	const (
		target = 0.01 // electrons a second: much fainter than the sky
		long   = 60.0
		short  = 3.0
		n      = 10 // long exposures
		pixels = 40000
	)
	s := Sensor{FNumber: 2.8, PixelPitchUM: 3.9, ReadNoiseE: 2.5}
	sky := measured(21)
	r, err := s.Longer(Way{sky, short}, Way{sky, long})
	if err != nil {
		t.Fatal(err)
	}
	rng := rand.New(rand.NewPCG(5, 7))
	snr := func(exposure float64, count int) float64 {
		light := distuv.Poisson{Lambda: (target + s.SkyRate(sky.Mag)) * exposure * float64(count), Src: rng}
		reading := distuv.Normal{Sigma: s.ReadNoiseE * math.Sqrt(float64(count)), Src: rng}
		sum, squares := 0.0, 0.0
		for range pixels {
			v := light.Rand() + reading.Rand()
			sum, squares = sum+v, squares+v*v
		}
		mean := sum / pixels
		return target * exposure * float64(count) / math.Sqrt(squares/pixels-mean*mean)
	}
	// A spread from 40 000 draws is good to 1/√(2·40000), 0.35 %; two of them and the target's own light 0.5 % and 1.1 %.
	const drawn = 0.02
	want, got := snr(long, n), snr(short, int(math.Round(n*long*r.Is/short)))
	if math.Abs(got/want-1) > drawn {
		t.Errorf("signal-to-noise %.4f in short exposures, %.4f in long ones", got, want)
	}
}

// The range: a class is wide, and the same sky on both sides matters by read noise alone.
func TestLongerRange(t *testing.T) {
	s := Sensor{FNumber: 2.8, PixelPitchUM: 3.9, ReadNoiseE: 3}
	four, err := OfBortle(4)
	if err != nil {
		t.Fatal(err)
	}
	byClass, _ := s.Longer(Way{four, 60}, Way{DarkSky(), 60})
	byMeter, _ := s.Longer(Way{measured(four.Mag), 60}, Way{DarkSky(), 60})
	if byClass.High/byClass.Low <= 1.5*byMeter.High/byMeter.Low {
		t.Errorf("a class as wide as %v, a meter's reading %v", byClass, byMeter)
	}
	same, _ := s.Longer(Way{four, 60}, Way{four, 60})
	if same != (Ratio{1, 1, 1}) {
		t.Errorf("the same way twice: %v", same)
	}
}

func TestParseSky(t *testing.T) {
	for _, row := range []struct {
		text   string
		mag    float64
		bortle int
	}{
		{"21.3", 21.3, 0}, {" 18 ", 18, 0}, {"B4", 20.8, 4}, {"b4", 20.8, 4}, {"bortle 4", 20.8, 4}, {"Bortle-4", 20.8, 4}, {"bortle4", 20.8, 4},
		{"class 1", 21.875, 1}, {"B9", 16.5, 9}, {"22", 22, 0},
	} {
		got, err := ParseSky(row.text)
		if err != nil || math.Abs(got.Mag-row.mag) > 1e-9 || got.Bortle != row.bortle {
			t.Errorf("ParseSky(%q) = %+v, %v", row.text, got, err)
		}
		if !(got.Darkest >= got.Mag && got.Mag > got.Brightest) {
			t.Errorf("ParseSky(%q): range %v to %v about %v", row.text, got.Darkest, got.Brightest, got.Mag)
		}
	}
	for _, text := range []string{"", "NaN", "inf", "0x15", "4", "30", "-21", "B0", "B10", "bortle", "bortle x", "dark", "21,3", "B4.5"} {
		_, err := ParseSky(text)
		if !errors.Is(err, ErrSky) || amiss.Ways(err) == nil {
			t.Errorf("ParseSky(%q): %v", text, err)
		}
	}
	if _, err := ParseSky("4"); !strings.Contains(fmt.Sprint(amiss.Ways(err)), "write B4") {
		t.Errorf("a class without its letter: hint %v", amiss.Ways(err))
	}
}

func TestLongerRefuses(t *testing.T) {
	good, sky := Sensor{2.8, 3.9, 3}, DarkSky()
	for name, row := range map[string]struct {
		s Sensor
		a Way
	}{
		"no exposure": {good, Way{sky, 0}}, "NaN exposure": {good, Way{sky, math.NaN()}}, "no aperture": {Sensor{0, 4, 3}, Way{sky, 1}},
		"NaN pixel": {Sensor{2, math.NaN(), 3}, Way{sky, 1}}, "read noise": {Sensor{2, 4, -1}, Way{sky, 1}}, "pixel": {Sensor{2, 0, 3}, Way{sky, 1}},
	} {
		if _, err := row.s.Longer(row.a, Way{sky, 60}); !errors.Is(err, ErrSky) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func FuzzParseSky(f *testing.F) {
	for _, s := range []string{"21.3", "B4", "bortle 4", "", "b", "nan"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		sky, err := ParseSky(s)
		if err != nil && (!errors.Is(err, ErrSky) || amiss.Ways(err) == nil) {
			t.Errorf("%q: error %v is no ErrSky with a hint", s, err)
		}
		if err == nil && !(sky.Mag >= brightestMag && sky.Mag <= darkestMag) {
			t.Errorf("ParseSky(%q) = %v", s, sky)
		}
	})
}
