package align

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/drift"
	"trueturn/drift/frame"
	"trueturn/ephem"
	"trueturn/ephem/amiss"
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
	d := Doubt{Kind: KindSite, Files: files, Other: Other{Name: "that place", Site: &other}}
	d.Text = fmt.Sprintf("By their own account %s taken at %s, %s from the others, at %s.", wasWere(len(files)), placeWords(other), kilometres(other, middle), placeWords(middle))
	switch {
	case given != nil && apartKM(*given, middle) <= farKM:
		d.Text += " The site given is used, and agrees with the others."
	case given == nil:
		d.Text += " The others' place is used."
		d.Ways = []amiss.Way{{When: "to settle it", Thing: amiss.SiteAnew}}
		d.Other.Ask = fmt.Sprintf("Which place is right: %s, as most of the pictures say, or %s, as the rest do, %s away?", placeWords(middle), placeWords(other), kilometres(other, middle))
		d.Other.If = "If that of most is right"
	}
	return []Doubt{d}
}

func wasWere(n int) string {
	if n == 1 {
		return "one picture was"
	}
	return fmt.Sprintf("%d pictures were", n)
}

// choose settles a contradiction between the site given and the pictures' place.
func (p *Place) choose(given ephem.Site, seen []seenPlace, pictures ephem.Site, sunk func(ephem.Site) bool) {
	d := Doubt{Kind: KindSite}
	for _, s := range seen {
		d.Files = append(d.Files, s.file)
	}
	d.Text = fmt.Sprintf("The site given, %s, lies %s from where the pictures say they were taken, %s", placeWords(given), kilometres(given, pictures), placeWords(pictures))
	slip, slipped := slipOf(given, pictures)
	if slipped {
		d.Text += ": " + slip
	}
	d.Text += "."
	usePictures, ruled := slipped, sunk(given) != sunk(pictures)
	if ruled {
		usePictures = sunk(given)
	}
	if usePictures {
		p.Site, p.Rests = pictures, PlacePictures
		d.Other = Other{Name: "the site given", Site: &given}
		d.Text += " The pictures' own place is used"
	} else {
		p.Site, p.Rests = given, PlaceGiven
		d.Other = Other{Name: "the pictures' place", Site: &pictures}
		d.Text += " The site given is used"
	}
	switch {
	case ruled:
		d.Text += ", for from the other the stars in them stood below the horizon then."
	case slipped:
		d.Text += "."
		d.Other.Ask = fmt.Sprintf("Were these pictures taken at %s, as they say, and not at %s, as given?", placeWords(pictures), placeWords(given))
		d.Other.If = "If so"
	default:
		d.Text += ", for a place in pictures may be an old one."
		d.Ways = []amiss.Way{{When: "if the pictures are right", Thing: amiss.NoSite}}
		d.Other.Ask = fmt.Sprintf("Which place is right: %s, as given, or %s, as the pictures say, %s away?", placeWords(given), placeWords(pictures), kilometres(given, pictures))
		d.Other.If = "If the one given is right"
	}
	p.Doubts = append(p.Doubts, d)
}

// slipOf says by which slip of the pen a site became the one given, where one does it.
func slipOf(given, meant ephem.Site) (words string, ok bool) {
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
			return slipWords(given, signs, exchanged), true
		}
	}
	return "", false
}

// Zones follow the Sun but for what borders and summer time add: their clocks are from two hours behind it to four ahead (western
// China, summer time in western Alaska); from memory, to the half hour.
const (
	zoneBehind = -2.0
	zoneAhead  = 4.0
	livedIn    = unit.Angle(70 * math.Pi / 180) // few photograph nearer to a pole
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
		d := Doubt{Kind: KindSite, Files: told.files(), Other: Other{Name: "that place", Site: &site}}
		d.Text = fmt.Sprintf("The zone of the pictures' clock, UTC%s, is in use nowhere near %s, the site given; it is at %s. The site given is used.", offsetWords(offset), placeWords(given), placeWords(site))
		d.Other.Ask = fmt.Sprintf("Is the site right: %s, as given, or should it be %s, where the zone of the pictures' clock, UTC%s, is in use?", placeWords(given), placeWords(site), offsetWords(offset))
		d.Other.If = "If it is right"
		return []Doubt{d}
	}
	return nil
}

func slipWords(given ephem.Site, signs [2]float64, exchanged bool) string {
	var was, is []string
	if signs[0] < 0 {
		was, is = append(was, latitude(given.Latitude)), append(is, latitude(-given.Latitude))
	}
	if signs[1] < 0 {
		was, is = append(was, longitude(given.Longitude)), append(is, longitude(-given.Longitude))
	}
	switch {
	case exchanged && len(was) > 0:
		return "latitude and longitude look exchanged, and a sign is wrong"
	case exchanged:
		return "latitude and longitude look exchanged"
	}
	return fmt.Sprintf("it looks like %s for %s", strings.Join(was, ", "), strings.Join(is, ", "))
}

// placeWords writes a place to a hundredth of a degree: no more of it may leave the device.
func placeWords(s ephem.Site) string { return latitude(s.Latitude) + ", " + longitude(s.Longitude) }

func latitude(a unit.Angle) string  { return hundredths(a, "N", "S") }
func longitude(a unit.Angle) string { return hundredths(a, "E", "W") }

func hundredths(a unit.Angle, positive, negative string) string {
	letter := positive
	if a < 0 {
		letter = negative
	}
	return fmt.Sprintf("%.2f° %s", math.Abs(a.Deg()), letter)
}

// kilometres is how far two places are apart, to two digits.
func kilometres(a, b ephem.Site) string {
	km := apartKM(a, b)
	unit := math.Pow(10, math.Floor(math.Log10(max(km, 10)))-1)
	return fmt.Sprintf("%.0f km", math.Round(km/unit)*unit)
}
