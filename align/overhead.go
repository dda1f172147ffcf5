package align

import (
	"cmp"
	"math"
	"slices"
	"time"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/ephem"
	"trueturn/ephem/amiss"
	"trueturn/ephem/say"
)

// # What the sky can say of place and clock
//
// A wrong clock, or a wrong place, turns the whole sky over the ground: the attitudes of all pictures are turned alike,
// and the axis found with them. Nothing of that is left over in the fit but the air, which lifts what stands
// low by more than what stands high, and lifts it toward the zenith, whose place in the picture is another one. Let z be
// the zenith in the sky of a picture, p the pole, both among the stars. Another place (φ, λ) and a clock slow by δ have
//
//	z' = p sin φ + e(λ − λ₀ + ωδ) cos φ
//
// with e where the local meridian crosses the equator. The attitude as it would have come out differs by the small turn
// d = lift' (z' × v)/|z' × v| − lift (z × v)/|z × v| in the camera's frame, v its view; so r + d are the residuals that
// place would have had, and one solution of the normal equations gives its χ². What is beyond doubt besides: a field
// stands above the horizon, and stars are not photographed under the Sun.

// alternative is another place, or another clock.
type alternative struct {
	site    ephem.Site
	shift   time.Duration // the clock is slow by so much
	gain    float64       // by how much χ² falls; negative where it grows
	fits    bool          // what is then left over is no more than the errors
	lowest  unit.Angle    // of the pictures' middles
	sun     unit.Angle    // height of the Sun, at most
	changed say.Line      // of the place
}

// possible is whether such pictures could have been taken there and then.
func (a alternative) possible() bool { return a.lowest > 0 && a.sun < darkEnough }

// darkEnough: above, no star field is recognised (common practice, no source: civil twilight ends at −6°).
const darkEnough = -4 * ephem.Degree

// overhead is the sky of one picture: pole, meridian's crossing of the equator, Sun and view among the stars.
type overhead struct {
	pole, meridian, east, sun, view r3.Vec
	toCamera                        func(r3.Vec) r3.Vec
}

// overheads are the skies of the samples.
func (s *session) overheads() ([]overhead, error) {
	list := make([]overhead, len(s.in.Samples))
	for i, x := range s.in.Samples {
		sky, err := ephem.NewSky(s.in.Site, s.in.Air, x.Mid)
		if err != nil {
			return nil, err
		}
		face := s.skyAttitude(s.h.Sights[i].Shot)
		o := &list[i]
		o.pole = sky.ICRS(sky.RefractedPole().Direction())
		if s.in.Site.Latitude < 0 {
			o.pole = r3.Scale(-1, o.pole)
		}
		zenith := sky.ICRS(r3.Vec{Z: 1})
		o.meridian = r3.Unit(r3.Sub(zenith, r3.Scale(r3.Dot(zenith, o.pole), o.pole)))
		o.east = r3.Cross(o.pole, o.meridian)
		o.sun = sky.ICRS(sky.Sun().Direction)
		o.view = face.Inverse().Apply(r3.Vec{Z: 1})
		o.toCamera = face.Apply
	}
	return list, nil
}

// zenith of another place and clock, among the stars.
func (o overhead) zenith(here ephem.Site, a alternative) r3.Vec {
	turned := (a.site.Longitude - here.Longitude).Rad() + ephem.SiderealRadPerS*a.shift.Seconds()
	st, ct := math.Sincos(turned)
	sp, cp := a.site.Latitude.Sincos()
	e := r3.Add(r3.Scale(ct, o.meridian), r3.Scale(st, o.east))
	return r3.Add(r3.Scale(sp, o.pole), r3.Scale(cp, e))
}

// raised is the small turn of the camera's attitude that the air makes, and how high the view stands.
func (s *session) raised(o overhead, zenith r3.Vec) (by r3.Vec, height unit.Angle) {
	height = unit.Angle(math.Asin(max(-1, min(1, r3.Dot(zenith, o.view)))))
	level := r3.Cross(o.toCamera(zenith), r3.Vec{Z: 1})
	if n := r3.Norm(level); n > 1e-9 && height > 0 {
		lift := lifted(s.in.Air, height+lifted(s.in.Air, height))
		by = r3.Scale(lift.Rad()/n, level)
	}
	return by, height
}

// alternatives lists what may be mistaken: the clock by half hours up to twelve, signs of the place, its two numbers
// exchanged.
func (s *session) alternatives() []alternative {
	here := s.in.Site
	var list []alternative
	add := func(changed say.Line, lat, lon unit.Angle) {
		site := here
		site.Latitude, site.Longitude = lat, lon
		list = append(list, alternative{site: site, changed: changed})
	}
	add(say.Of("with latitude's sign changed"), -here.Latitude, here.Longitude)
	add(say.Of("with longitude's sign changed"), here.Latitude, -here.Longitude)
	add(say.Of("with both signs changed"), -here.Latitude, -here.Longitude)
	if math.Abs(here.Longitude.Rad()) < math.Pi/2 {
		add(say.Of("with both exchanged"), here.Longitude, here.Latitude)
	}
	for k := 1; k <= 24; k++ {
		for _, sign := range []time.Duration{1, -1} {
			list = append(list, alternative{site: here, shift: sign * time.Duration(k) * 30 * time.Minute})
		}
	}
	return list
}

// weigh scores the alternatives and the place as given, first, in the equations of one rigid fit.
func (s *session) weigh() (given alternative, others []alternative, ok bool) {
	skies, err := s.overheads()
	if err != nil {
		return given, nil, false
	}
	in := s.in
	m := newModel(in, observe(in.Samples, s.a.WanderPx), segmentation{s.a.Breaks, s.a.Stray})
	e, ok := m.converge()
	var chol mat.Cholesky
	if !ok || !chol.Factorize(e.n) {
		return given, nil, false
	}
	given = alternative{site: in.Site}
	base := make([]r3.Vec, len(skies))
	for i, o := range skies {
		base[i], _ = s.raised(o, o.zenith(in.Site, given))
	}
	least := m.score(&chol, func(int) r3.Vec { return r3.Vec{} })
	others = s.alternatives()
	for k := range others {
		s.look(&others[k], skies)
		if others[k].possible() {
			chi2 := m.score(&chol, func(i int) r3.Vec {
				by, _ := s.raised(skies[i], skies[i].zenith(in.Site, others[k]))
				return r3.Sub(by, base[i])
			})
			others[k].gain, others[k].fits = least-chi2, Axis{Chi2: chi2, DOF: s.a.DOF}.Sound()
		}
	}
	s.look(&given, skies)
	return given, others, true
}

// look works out the heights of the pictures' middles and of the Sun.
func (s *session) look(a *alternative, skies []overhead) {
	a.lowest, a.sun = math.Pi/2, -math.Pi/2
	for _, o := range skies {
		z := o.zenith(s.in.Site, *a)
		_, height := s.raised(o, z)
		a.lowest = min(a.lowest, height)
		a.sun = max(a.sun, unit.Angle(math.Asin(max(-1, min(1, r3.Dot(z, o.sun))))))
	}
}

// score is the least χ² with residuals moved by d.
func (m *model) score(chol *mat.Cholesky, d func(i int) r3.Vec) float64 {
	e := m.normal(func(b *block, i int) r3.Vec { return r3.Add(m.residual(b, i), d(i)) })
	x := mat.NewVecDense(m.size(), nil)
	if chol.SolveVecTo(x, e.b) != nil {
		return math.Inf(1)
	}
	return e.chi2 - mat.Dot(x, e.b)
}

// surePlace is by how much an alternative must beat another in χ² for that one to be out of the question.
const surePlace = 25

// maybePlace is by how much an alternative must beat what was given, in χ², to be put beside a bending holder (our choice: it adds a
// question to what is named, and takes nothing away).
const maybePlace = 12

// placeAndClock names what the sky itself says of place and clock: that they cannot be, or that others fit far better. A
// bending holder follows gravity as the air does: where one shows as well, the question comes before it.
func (s *session) placeAndClock() []Situation {
	if s.a == nil || s.in.followed() {
		return nil
	}
	given, others, ok := s.weigh()
	if !ok {
		return nil
	}
	s.elsewhere = slices.ContainsFunc(others, func(a alternative) bool { return a.possible() && a.fits && a.gain > maybePlace })
	files := s.files(0, len(s.in.Samples)-1)
	if !given.possible() {
		return []Situation{s.impossible(given, others, files)}
	}
	list := contenders(others)
	if len(list) == 0 {
		return nil
	}
	best, sure := list[0], true
	name := func(k Kind, says say.Line, check amiss.Thing) []Situation {
		return []Situation{{Kind: k, Files: files, Size: best.size(), Sure: sure, Says: says,
			Ways: []amiss.Way{{When: "before you turn anything", Thing: check}}}}
	}
	switch {
	case !s.a.Gave.Held() && s.a.Gave.How != GaveBending:
		return nil
	case !s.a.Gave.Held():
		sure = false
		return name(list.kind(), say.Of("place or clock, or the holder bends", best.says()), amiss.CheckSiteAndClock)
	case len(list) == 1 && best.shift == 0:
		return name(KindSite, say.Of("air as at another site", best.says()), amiss.CheckSite)
	case len(list) == 1:
		return name(KindClock, say.Of("air as at another time", best.says()), amiss.CheckClock)
	case list.kind() == KindClock:
		return name(KindClock, say.Of("air not as at the time given", best.says()), amiss.CheckClock)
	default:
		sure = false
		return name(KindSite, say.Of("air not as at place and time given", best.says()), amiss.CheckSiteAndClock)
	}
}

// contenders are the possible alternatives that beat what was given for certain and none of which is out of the question
// against the best, the best first.
func contenders(others []alternative) (list rivals) {
	var best float64
	for _, a := range others {
		if a.possible() && a.fits {
			best = max(best, a.gain)
		}
	}
	if best < surePlace {
		return nil
	}
	for _, a := range others {
		if a.possible() && a.fits && a.gain > best-surePlace {
			list = append(list, a)
		}
	}
	slices.SortStableFunc(list, func(a, b alternative) int { return cmp.Compare(b.gain, a.gain) })
	return list
}

// rivals are alternatives none of which is out of the question.
type rivals []alternative

// kind is the clock where none of them is another place.
func (r rivals) kind() Kind {
	if slices.ContainsFunc(r, func(a alternative) bool { return a.shift == 0 }) {
		return KindSite
	}
	return KindClock
}

// size is how far a clock would have to be wrong; nothing for a place.
func (a alternative) size() Size {
	if a.shift == 0 {
		return Size{}
	}
	return Size{Value: a.shift.Seconds(), Unit: Seconds}
}

// says is what would have to be otherwise.
func (a alternative) says() say.Line {
	switch {
	case a.shift > 0:
		return say.Of("with the clock slow", say.Span(a.shift))
	case a.shift < 0:
		return say.Of("with the clock fast", say.Span(a.shift))
	}
	return a.changed
}

// impossible says that no such pictures could be taken there and then, and which single mistake would explain it.
func (s *session) impossible(given alternative, others []alternative, files []string) Situation {
	says := say.Of("no stars by day")
	if given.lowest <= 0 {
		says = say.Of("below the horizon")
	}
	kind := KindClock
	for _, a := range others {
		if a.shift == 0 && a.possible() {
			says, kind = say.All(says, say.Of("could be with", a.says())), KindSite
			break
		}
	}
	return Situation{Kind: kind, Files: files, Says: says, Ways: []amiss.Way{{Thing: amiss.CheckSiteAndClock}}}
}
