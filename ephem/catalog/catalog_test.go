package catalog

import (
	"encoding/csv"
	"math"
	"os"
	"sort"
	"strconv"
	"sync"
	"testing"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"
)

// roundingArcsec is the most that rounding to 0.0001° moves a star in one
// coordinate.
const roundingArcsec = 0.18

// direction is a place given in degrees.
func direction(raDeg, decDeg float64) r3.Vec {
	sa, ca := math.Sincos(raDeg * math.Pi / 180)
	sd, cd := math.Sincos(decDeg * math.Pi / 180)
	return r3.Vec{X: ca * cd, Y: sa * cd, Z: sd}
}

// separation is the angle between two unit vectors in radians, good at all
// angles; it shares nothing with the chords of Near.
func separation(a, b r3.Vec) float64 {
	return math.Atan2(r3.Norm(r3.Cross(a, b)), r3.Dot(a, b))
}

// offset is where s stands from a place: arc seconds to the east and north.
func offset(s Star, raDeg, decDeg float64) (east, north float64) {
	ra := math.Atan2(s.Direction.Y, s.Direction.X) * 180 / math.Pi
	dec := math.Asin(s.Direction.Z) * 180 / math.Pi
	dra := math.Remainder(ra-raDeg, 360)
	return dra * 3600 * math.Cos(decDeg*math.Pi/180), (dec - decDeg) * 3600
}

func star(t *testing.T, hip int32) Star {
	t.Helper()
	i, ok := Index(hip)
	if !ok {
		t.Fatalf("HIP %d is not in the catalogue", hip)
	}
	return Stars()[i]
}

// The counts are the package's own, d3-celestial 0.7.35, taken from its JSON
// with a few lines of Python; the catalogue as published has 118 218 entries
// (ESA SP-1200).
func TestCountsByMagnitude(t *testing.T) {
	for _, row := range []struct {
		magnitude float32
		want      int
	}{
		{-2, 0}, {-1, 1}, {0, 4}, {1, 15}, {2, 49}, {3, 172}, {4, 516}, {5, 1608}, {6, 4995},
		{7, 15404}, {8, 41074}, {9, 83037}, {10, 107871}, {12, 117672}, {14, 118216},
		{float32(math.Inf(1)), 118216},
	} {
		// Stars come brightest first.
		got := sort.Search(len(Stars()), func(i int) bool { return Stars()[i].Magnitude >= row.magnitude })
		if got != row.want {
			t.Errorf("brighter than %v: %d stars, want %d", row.magnitude, got, row.want)
		}
	}
}

func TestOrder(t *testing.T) {
	stars := Stars()
	for i, s := range stars {
		if n := r3.Norm(s.Direction); math.Abs(n-1) > 1e-15 {
			t.Fatalf("HIP %d: direction of length 1%+g", s.HIP, n-1)
		}
		if j, ok := Index(s.HIP); !ok || j != i {
			t.Fatalf("Index(%d) = %d, %v, want %d", s.HIP, j, ok, i)
		}
		if i == 0 {
			continue
		}
		p := stars[i-1]
		if p.Magnitude > s.Magnitude || p.Magnitude == s.Magnitude && p.HIP >= s.HIP {
			t.Fatalf("HIP %d (%v) stands before HIP %d (%v)", p.HIP, p.Magnitude, s.HIP, s.Magnitude)
		}
	}
}

func TestIndexMissing(t *testing.T) {
	// 672 has no entry in the package; the rest cannot be HIP numbers.
	for _, hip := range []int32{672, 0, -1, math.MinInt32, 120417, math.MaxInt32} {
		if i, ok := Index(hip); ok {
			t.Errorf("Index(%d) = %d, want none", hip, i)
		}
	}
}

// Positions for J2000, magnitudes and colours of well-known stars.
//
//   - Meeus: J. Meeus, Astronomical Algorithms, 2nd ed. (FK5 J2000; the frame is
//     within 0.05″ of the ICRS).
//   - memory: the Hipparcos values as remembered, carried to J2000.
func TestKnownStars(t *testing.T) {
	const (
		second = 1.0  // places printed to 1″ or 0.1 s
		fine   = 0.35 // rounding in both coordinates, the frames, the old and new reductions
	)
	for _, row := range []struct {
		name          string
		hip           int32
		ra, dec       float64
		magnitude, bv float32
		arcsec        float64
		source        string
	}{
		{"Arcturus", 69673, hms(14, 15, 39.7), dms(19, 10, 57), -0.05, 1.239, second, "Meeus example 17.a, p. 110; memory"},
		{"Spica", 65474, hms(13, 25, 11.6), -dms(11, 9, 41), 0.98, -0.235, second, "Meeus example 17.a, p. 110; memory"},
		{"Aldebaran", 21421, hms(4, 35, 55.2), dms(16, 30, 33), 0.87, 1.538, second, "Meeus exercise, p. 110; memory"},
		{"θ Per", 12777, hms(2, 44, 11.986), dms(49, 13, 42.48), 4.10, 0.514, fine, "Meeus example 21.b, p. 135; memory"},
		{"Polaris", 11767, hms(2, 31, 48.704), dms(89, 15, 50.72), 1.97, 0.636, fine, "Meeus exercise, p. 136; memory"},
		{"Sirius", 32349, hms(6, 45, 8.917), -dms(16, 42, 58.02), -1.44, 0.009, fine, "memory"},
		{"Vega", 91262, hms(18, 36, 56.336), dms(38, 47, 1.28), 0.03, -0.001, fine, "memory"},
		{"σ Oct", 104382, hms(21, 8, 46.86), -dms(88, 57, 23.4), 5.45, 0.283, fine, "memory"},
		{"Acrux", 60718, hms(12, 26, 35.90), -dms(63, 5, 56.7), 0.77, -0.243, fine, "memory"},
		{"Barnard's Star", 87937, hms(17, 57, 48.498), dms(4, 41, 36.21), 9.54, 1.570, fine, "memory"},
		{"61 Cyg A", 104214, hms(21, 6, 53.940), dms(38, 44, 57.90), 5.20, 1.069, fine, "memory"},
	} {
		t.Run(row.name, func(t *testing.T) {
			s := star(t, row.hip)
			if e, n := offset(s, row.ra, row.dec); math.Hypot(e, n) > row.arcsec {
				t.Errorf("stands %+.2f″ east, %+.2f″ north of its place (%s)", e, n, row.source)
			}
			if s.Magnitude != row.magnitude || s.BV != row.bv {
				t.Errorf("magnitude %v, B−V %v, want %v, %v (%s)", s.Magnitude, s.BV, row.magnitude, row.bv, row.source)
			}
		})
	}
}

func hms(h, m, s float64) float64 { return unit.RAFromHour(h + m/60 + s/3600).Deg() }
func dms(d, m, s float64) float64 { return d + m/60 + s/3600 }

// A published is a star of testdata/bright.csv: Hipparcos, independently carried
// to J2000 by the library named in testdata/bright.py.
type published struct {
	name                            string
	ra, dec, east, north, magnitude float64 // degrees; motions in ″ a year
}

func readPublished(t *testing.T) []published {
	f, err := os.Open("testdata/bright.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []published
	for _, r := range rows[1:] {
		var v [5]float64
		for i := range v {
			if v[i], err = strconv.ParseFloat(r[i+1], 64); err != nil {
				t.Fatal(err)
			}
		}
		out = append(out, published{r[0], v[0], v[1], v[2] / 1000, v[3] / 1000, v[4]})
	}
	return out
}

// match is the star of this magnitude nearest to the place, within 3″.
func match(t *testing.T, p published) Star {
	for _, i := range Near(nil, direction(p.ra, p.dec), unit.AngleFromSec(3), 10) {
		if s := Stars()[i]; math.Abs(float64(s.Magnitude)-p.magnitude) < 0.005 {
			return s
		}
	}
	t.Errorf("%s: no star of magnitude %v within 3″ of its place", p.name, p.magnitude)
	return Star{Direction: direction(p.ra, p.dec)}
}

// The stars' own motions date the positions: moving each star of the list to
// the epoch t, the sum of squares of what is left is least at
//
//	t = 2000 + Σ (offset · motion) / Σ motion²
//
// and the rounding of the catalogue, 0.0001°/√12 = 0.104″ in each coordinate,
// leaves an uncertainty of 0.104″ / √Σ motion².
func TestEpoch(t *testing.T) {
	const sigmaArcsec = 0.36 / 3.4641
	var along, motion2 float64
	for _, p := range readPublished(t) {
		e, n := offset(match(t, p), p.ra, p.dec)
		if p.name == "Rigil Kentaurus" {
			continue // its orbit moves it by arc seconds between reductions
		}
		along += e*p.east + n*p.north
		motion2 += p.east*p.east + p.north*p.north
	}
	epoch, sigma := 2000+along/motion2, sigmaArcsec/math.Sqrt(motion2)
	t.Logf("epoch %.3f ± %.3f", epoch, sigma)
	if math.Abs(epoch-Epoch) > 3*sigma {
		t.Errorf("the positions are for %.3f ± %.3f, want %v", epoch, sigma, Epoch)
	}
}

// Every star of the list stands where it should, to the rounding.
func TestPublishedPositions(t *testing.T) {
	const reductions = 0.05 // ″, between the two reductions of Hipparcos, over 8.75 years
	for _, p := range readPublished(t) {
		e, n := offset(match(t, p), p.ra, p.dec)
		if math.Abs(e) > roundingArcsec+reductions || math.Abs(n) > roundingArcsec+reductions {
			t.Errorf("%s stands %+.2f″ east, %+.2f″ north of its place", p.name, e, n)
		}
	}
}

// Stars the package gives no colour must not get one: HIP 45 has none, HIP 1
// has 0.482 (both in the JSON).
func TestColourMissing(t *testing.T) {
	if bv := star(t, 45).BV; bv == bv {
		t.Errorf("B−V of HIP 45 = %v, want NaN", bv)
	}
	if bv := star(t, 1).BV; bv != 0.482 {
		t.Errorf("B−V of HIP 1 = %v, want 0.482", bv)
	}
	missing := 0
	for _, s := range Stars() {
		if s.BV != s.BV {
			missing++
		}
	}
	if missing != 1279 {
		t.Errorf("%d stars without a colour, want 1279", missing)
	}
}

// The first call may come from anywhere, from many goroutines at once (run with
// -race).
func TestConcurrent(t *testing.T) {
	var wg sync.WaitGroup
	for g := range 8 {
		wg.Go(func() {
			got := Near(nil, direction(float64(45*g), 80), unit.AngleFromDeg(15), 20)
			if i, ok := ByName("Polaris"); len(got) == 0 || !ok || Name(Stars()[i].HIP) != "Polaris" {
				t.Error("no stars, or no Polaris")
			}
		})
	}
	wg.Wait()
}

func TestUnpackBroken(t *testing.T) {
	for name, b := range map[string]string{
		"empty": "", "cut": packed[:len(packed)/2], "not deflated": "\xff\xff\xff\xff",
	} {
		if _, err := unpack(b); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
	for name, b := range map[string][]byte{
		"empty": nil, "none": {0}, "too many": {0xff, 0xff, 0xff, 0xff, 0x0f}, "no columns": {9}, "short": {1, 1, 2, 0, 0},
	} {
		if _, err := decode(b); err == nil {
			t.Errorf("payload %s: no error", name)
		}
	}
}

func BenchmarkUnpack(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		if _, err := unpack(packed); err != nil {
			b.Fatal(err)
		}
	}
}
