// Package catalog holds the stars: the Hipparcos catalogue, packed into the
// program.
//
// Start with [Stars] for all of them, brightest first, or with [Near] for the
// brightest around a direction. [Name] and [ByName] go between HIP numbers and
// what people call a star; [Place] finds what people photograph, stars or
// [Showpieces], by name.
//
// # What is in it
//
// 118 216 of the 118 218 entries of the Hipparcos catalogue (ESA, 1997, The
// Hipparcos and Tycho Catalogues, ESA SP-1200), by way of the Extended
// Hipparcos Compilation (Anderson and Francis, 2012, CDS V/137D) and the npm
// package d3-celestial 0.7.35 (Olaf Frohn, BSD-3-Clause; the licence is in
// LICENSE-d3-celestial). 4 995 stars are brighter than magnitude 6.0 and 41 074
// brighter than 8.0; the survey is complete to about 7.3 to 9.0, depending on
// galactic latitude and colour (ESA SP-1200, volume 1, section 1.1), and thins
// out down to 13.78.
//
// # What to beware of
//
//   - Positions are for epoch [Epoch], J2000, in the ICRS, and there are no
//     proper motions. Of the 108 bright stars in testdata/bright.csv half move
//     by more than 0.067″ a year, a tenth by more than 0.42″: by 2026 they are
//     out by 1.7″ and 11″, Arcturus by 1′. Parallax is left out too (at most
//     0.8″), and so is the orbit of a double star.
//   - Positions are rounded to 0.0001°, an error of up to 0.18″ in declination
//     and 0.18″ times the cosine of the declination in right ascension.
//   - Close doubles are one entry with their joint light (Castor, Acrux), wider
//     ones two (α Centauri, 61 Cygni): a picture may well merge such a pair.
//   - Magnitudes are Johnson's V, to 0.01; variable stars have one value of
//     many. 1279 stars, all but 52 of them fainter than 8, have no colour:
//     [Star.BV] is NaN. 182 have 0.000, thrice as many as 0.001 or −0.001: for
//     some of them that will mean that it is not known.
package catalog

//go:generate go run ./pack -o .

import (
	_ "embed"
	"sync"

	"gonum.org/v1/gonum/spatial/r3"
)

// Epoch is the Julian year that the positions are for. The package the
// catalogue comes from says J2000, not Hipparcos' own J1991.25, and the stars
// that move fastest bear it out: Barnard's star, by 10.33″ a year, stands
// within the rounding of its place at J2000 and 90″ from that at J1991.25 (see
// the tests).
const Epoch = 2000.0

// A Star is an entry of the catalogue.
type Star struct {
	Direction r3.Vec  // unit vector, ICRS: x to right ascension 0 on the equator, z to the north pole
	Magnitude float32 // V
	BV        float32 // colour B−V in magnitudes; NaN where the catalogue has none
	HIP       int32   // number in the Hipparcos catalogue
}

//go:embed stars.bin
var packed string

// A sky is the catalogue ready for use.
type sky struct {
	stars  []Star
	byHIP  []int32 // index into stars by HIP number, −1 where there is no such star
	layers []layer
}

// load unpacks the catalogue when it is first asked for.
var load = sync.OnceValue(func() *sky {
	s, err := unpack(packed)
	if err != nil {
		// The bytes are part of the program: it was built from a broken file.
		panic("catalog: stars.bin: " + err.Error())
	}
	return s
})

// Stars gives all stars, brightest first, and those of one magnitude in order
// of HIP number. The slice is shared: do not write to it. The first call (of
// any function of this package) unpacks the catalogue, in some tens of
// milliseconds; all functions may be called from several goroutines.
func Stars() []Star { return load().stars }

// Index finds a star by its HIP number: Stars()[i] is the star.
func Index(hip int32) (i int, ok bool) {
	byHIP := load().byHIP
	if hip < 0 || int(hip) >= len(byHIP) || byHIP[hip] < 0 {
		return 0, false
	}
	return int(byHIP[hip]), true
}
