// Package night tells what a night brings over one site: when the Sun sets, how
// dark it gets, what the Moon does, when a target stands high in the dark, and how
// many exposures fit.
//
// Start with [Of]:
//
//	n, err := night.Of(site, ephem.StandardAir(site.HeightM), 2026, time.November, 25,
//		night.Options{Target: &direction, MinAltitude: unit.AngleFromDeg(25), Exposure: 30 * time.Second})
//
// # What is meant
//
// The night of a date runs from the Sun's upper crossing of the meridian on that date
// (mean solar time of the site) to the next. In it the Sun's altitude falls and rises
// once, so every event of the Sun happens at most once. (Within some degrees of the poles,
// where the Sun climbs with the days as fast as with the hours, it may pass a limit again:
// then the first fall counts, and the first rise after it.) The Moon's are looked for in
// the same span.
//
// Sunset and sunrise: the Sun's middle truly at −50′, which is 34′ of refraction and
// 16′ of radius, over a level horizon, no dip for height. Twilights end, and begin, at
// −6°, −12° and −18°. Moonrise and moonset: its upper edge truly at −34′, as seen from
// the site (Meeus, ch. 15, p. 102, puts that as the middle at 0.7275 π − 34′ as seen from
// the middle of the Earth). All these are conventions and leave the air of the day aside; at
// the horizon it shifts them by minutes in cold and at high latitudes.
//
// The target's altitude is that at which it is seen, lifted by the air given.
//
// # How events are found
//
// Altitudes are worked out every [Step]. Where they cross a limit between two of them,
// or come near and turn back so that the highest or lowest point between could be beyond
// it, that point is looked for and each side halved until the time is known to 10 ms. No
// formula for the hour angle is used, which would fail where a body grazes its limit.
package night
