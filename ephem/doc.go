// Package ephem tells where the sky is: the apparent direction of a star over
// one site at one instant, and where the celestial pole stands.
//
// Start with [NewSite] (or [ParseSite]) and [StandardAir], make a [Sky] with
// [NewSky], and ask it: [Sky.Apparent] takes a catalogue direction to the one
// in which the star is seen, [Sky.ICRS] goes back, [Sky.TruePole] and
// [Sky.RefractedPole] say where the site's pole stands, [Sky.Sun] and [Sky.Moon] where
// those are.
//
//	site, err := ephem.NewSite(46.02, 7.75, 1620)
//	…
//	sky, err := ephem.NewSky(site, ephem.StandardAir(site.HeightM), mid)
//	…
//	up := sky.Apparent(ephem.Direction(ra, dec)).Z
//
// # Frames and signs
//
// Directions are unit vectors. ICRS: x toward right ascension and declination
// zero, z toward the north pole of J2000.0. Horizon (ENU): east, north, up,
// right-handed. Azimuth runs from true north through east, 0–360°. Longitude is
// positive east, latitude positive north and geodetic, as maps and satellite
// receivers give it; the plumb line departs from it by a few seconds of arc,
// in mountains by up to about one minute, and so does a level.
//
// The underlying library (github.com/soniakeys/meeus) counts longitude west and
// azimuth from the south. None of its functions with those conventions is
// called: the step from equator to horizon is the one matrix made in
// horizonTurn, and there alone an east longitude meets a sidereal time. Tests
// hold that matrix against the library's own formulas in both hemispheres.
//
// # Theories
//
// Precession, nutation and sidereal time are those of the IAU of 1976, 1980 and
// 1982 (Meeus, Astronomical Algorithms, 2nd ed., chapters 12, 21 and 22).
// Against today's (IAU 2006/2000A, by ERFA) directions over a site differ by at
// most 0.15″ from 1905 to 2095, 0.08″ from 1950 to 2050; sidereal time by itself
// by 0.26″, most of which an equal shift of right ascensions takes back. The frame
// bias between the ICRS and J2000.0 (0.02″) is inside these figures, which the
// tests measure on testdata/authorities/ephem_stars.csv and ephem_theory.csv.
//
// The Sun is that of VSOP87, cut at 0.04″ a term, the Moon that of Meeus' chapter 47 (10″).
//
// # Time
//
// UTC is used as UT1. They differ by up to 0.9 s of time since 1972 by
// convention, so the whole sky, pole excepted, is turned about the pole by up to
// 13.5″; an axis measured against the pole feels none of it beyond its own
// error times 7·10⁻⁵. Before 1972, instants are read as UT. Should leap seconds
// be abandoned, the difference may outgrow 0.9 s.
//
// # What is left out
//
// Parallax (0.8″ for the nearest star, under 0.1″ for all but a few hundred),
// bending of light by the Sun (under 0.02″ beyond 30° from it), motion of the
// pole in the Earth (0.3″), proper motion other than that of the two pole stars
// ([ProperMotion]).
package ephem
