package align

import (
	"cmp"
	"math"
	"slices"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/drift"
	"trueturn/drift/frame"
	"trueturn/ephem"
	"trueturn/ephem/amiss"
	"trueturn/ephem/say"
)

// farKM is how far apart two places must be to be two: less turns an axis a degree from the pole by under half a minute of arc, and
// no one who names a town instead of the field beside it shall be asked.
const farKM = 50

// PlaceRests says what a site rests on.
type PlaceRests uint8

// What it may rest on.
const (
	PlaceUnknown PlaceRests = iota
	PlaceGiven
	PlacePictures
	PlaceBoth // each confirms the other
)

// Place is where the pictures were taken.
type Place struct {
	Site   ephem.Site
	Rests  PlaceRests
	Doubts []Doubt
}

// PlaceOf settles where pictures were taken from the site given, if one was, and the places in the pictures; false where neither
// tells. sunk is whether from a site the recognised pictures would have been below the horizon.
//
// Where both differ by more than farKM the site given counts, for a place in pictures may be an old one: unless a sign or an
// exchange makes it the pictures' place, which chance does in one of ten thousand, or the sky rules it out.
func PlaceOf(given *ephem.Site, shots []drift.Shot, sunk func(ephem.Site) bool) (Place, bool) {
	seen := seenPlaces(shots)
	switch {
	case given == nil && len(seen) == 0:
		return Place{}, false
	case len(seen) == 0:
		return Place{Site: *given, Rests: PlaceGiven, Doubts: zoneSlips(*given, shots)}, true
	}
	middle := middlePlace(seen)
	p := Place{Site: middle.site, Rests: PlacePictures, Doubts: strays(seen, middle.site, given)}
	switch {
	case given == nil:
	case apartKM(*given, middle.site) > farKM:
		p.choose(*given, seen, middle.site, sunk)
	default:
		p.Site, p.Rests = *given, PlaceBoth
	}
	return p, true
}

// seenPlace is where one picture says it was taken.
type seenPlace struct {
	file string
	site ephem.Site
}

func seenPlaces(shots []drift.Shot) (list []seenPlace) {
	for _, s := range shots {
		if s.Place != nil {
			list = append(list, seenPlace{s.File, *s.Place})
		}
	}
	return list
}

// middlePlace is the middle one by latitude where all agree, else the one most of the pictures agree with.
func middlePlace(seen []seenPlace) seenPlace {
	seen = slices.Clone(seen)
	slices.SortStableFunc(seen, func(a, b seenPlace) int { return cmp.Compare(a.site.Latitude, b.site.Latitude) })
	best, least := seen[len(seen)/2], math.Inf(1)
	if !slices.ContainsFunc(seen, func(p seenPlace) bool { return apartKM(p.site, best.site) > farKM }) {
		return best
	}
	for _, p := range seen {
		sum := 0.0
		for _, q := range seen {
			sum += min(apartKM(p.site, q.site), farKM)
		}
		if sum < least {
			best, least = p, sum
		}
	}
	return best
}

// strays names pictures that were taken elsewhere than most, by their own account.
func strays(seen []seenPlace, middle ephem.Site, given *ephem.Site) []Doubt {
	var files []string
	var other ephem.Site
	for _, p := range seen {
		if apartKM(p.site, middle) > farKM {
			files, other = append(files, p.file), p.site
		}
	}
	if len(files) == 0 {
		return nil
	}
	d := Doubt{Kind: KindSite, Files: files, Other: Other{Name: say.Of("that place"), Site: &other}}
	apart := say.Kilometres(apartKM(other, middle))
	d.Says = say.Of("some taken elsewhere", say.Pictures(len(files)), toldPlace(other), apart, toldPlace(middle))
	switch {
	case given != nil && apartKM(*given, middle) <= farKM:
		d.Says = say.All(d.Says, say.Of("site given agrees with the others"))
	case given == nil:
		d.Says = say.All(d.Says, say.Of("others' place used"))
		d.Ways = []amiss.Way{{When: "to settle it", Thing: amiss.SiteAnew}}
		d.Other.Ask = say.Of("most or the rest?", toldPlace(middle), toldPlace(other), apart)
		d.Other.If = say.Of("if that of most is right")
	}
	return []Doubt{d}
}

// choose settles a contradiction between the site given and the pictures' place.
func (p *Place) choose(given ephem.Site, seen []seenPlace, pictures ephem.Site, sunk func(ephem.Site) bool) {
	d := Doubt{Kind: KindSite}
	for _, s := range seen {
		d.Files = append(d.Files, s.file)
	}
	apart := say.Kilometres(apartKM(given, pictures))
	slip, slipped := slipOf(given, pictures)
	told := []say.Line{say.Of("site given and pictures apart", toldPlace(given), apart, toldPlace(pictures)), slip}
	usePictures, ruled := slipped, sunk(given) != sunk(pictures)
	if ruled {
		usePictures = sunk(given)
	}
	if usePictures {
		p.Site, p.Rests = pictures, PlacePictures
		d.Other = Other{Name: say.Of("site given"), Site: &given}
		told = append(told, say.Of("pictures' place used"))
	} else {
		p.Site, p.Rests = given, PlaceGiven
		d.Other = Other{Name: say.Of("pictures' place"), Site: &pictures}
		told = append(told, say.Of("site given used"))
	}
	switch {
	case ruled:
		told = append(told, say.Of("other is ruled out"))
	case slipped:
		d.Other.Ask = say.Of("as the pictures say, not as given?", toldPlace(pictures), toldPlace(given))
		d.Other.If = say.Of("if so")
	default:
		told = append(told, say.Of("place in pictures may be old"))
		d.Ways = []amiss.Way{{When: "if the pictures are right", Thing: amiss.NoSite}}
		d.Other.Ask = say.Of("as given or as the pictures say?", toldPlace(given), toldPlace(pictures), apart)
		d.Other.If = say.Of("if the one given is right")
	}
	d.Says = say.All(told...)
	p.Doubts = append(p.Doubts, d)
}

// slipOf says by which slip of the pen a site became the one given, where one does it.
func slipOf(given, meant ephem.Site) (slip say.Line, ok bool) {
	for _, exchanged := range []bool{false, true} {
		for _, signs := range [][2]float64{{-1, 1}, {1, -1}, {-1, -1}, {1, 1}} {
			lat, lon := given.Latitude.Mul(signs[0]), given.Longitude.Mul(signs[1])
			if exchanged {
				lat, lon = lon, lat
			}
			at, err := ephem.NewSite(lat.Deg(), lon.Deg(), 0)
			if err != nil || apartKM(at, meant) > farKM {
				continue
			}
			return slipBy(signs, exchanged), true
		}
	}
	return slip, false
}

// Zones follow the Sun but for what borders and summer time add: their clocks are from two hours behind it to four ahead (western
// China, summer time in western Alaska); from memory, to the half hour.
const (
	zoneBehind = -2.0
	zoneAhead  = 4.0
	livedIn    = 70 * ephem.Degree // few photograph nearer to a pole
)

// suits is whether a zone may be in use at a longitude.
func suits(offset time.Duration, lon unit.Angle) bool {
	ahead := math.Remainder(offset.Hours()-lon.Deg()/15, 24)
	return ahead > zoneBehind && ahead < zoneAhead
}

// zoneSlips asks after a longitude's sign, or an exchange, where the zone of the pictures' clock is one of that place and of none near the one
// given. A camera that kept the zone of its home on a journey is seldom asked after: no slip leads there but by chance.
func zoneSlips(given ephem.Site, shots []drift.Shot) []Doubt {
	told := clocksOf(shots).those(func(t frame.Told) bool { return t.Zone == frame.ZoneInFile || t.Zone == frame.ZoneAsGiven })
	if len(told) == 0 || suits(told[0].Clock.Told.Offset, given.Longitude) {
		return nil
	}
	offset := told[0].Clock.Told.Offset
	for _, other := range [][2]unit.Angle{{given.Latitude, -given.Longitude}, {given.Longitude, given.Latitude}} {
		site, err := ephem.NewSite(other[0].Deg(), other[1].Deg(), given.HeightM)
		if err != nil || !suits(offset, site.Longitude) || math.Abs(site.Latitude.Rad()) > livedIn.Rad() {
			continue
		}
		d := Doubt{Kind: KindSite, Files: told.files(), Other: Other{Name: say.Of("that place"), Site: &site}}
		d.Says = say.All(say.Of("zone of another place", say.Offset(offset), toldPlace(given), toldPlace(site)), say.Of("site given used"))
		d.Other.Ask = say.Of("as given or where the zone is?", toldPlace(given), toldPlace(site), say.Offset(offset))
		d.Other.If = say.Of("if it is right")
		return []Doubt{d}
	}
	return nil
}

// slipBy says which slip it is.
func slipBy(signs [2]float64, exchanged bool) say.Line {
	switch north, east := signs[0] > 0, signs[1] > 0; {
	case exchanged && north && east:
		return say.Of("exchanged")
	case exchanged:
		return say.Of("exchanged and a sign")
	case north:
		return say.Of("longitude's sign")
	case east:
		return say.Of("latitude's sign")
	}
	return say.Of("both signs")
}

// toldPlace is a site as it is told.
func toldPlace(s ephem.Site) say.Place {
	return say.Place{LatitudeDeg: s.Latitude.Deg(), LongitudeDeg: s.Longitude.Deg()}
}
