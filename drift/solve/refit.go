package solve

import (
	"trueturn/ephem/amiss"
)

// Refit turns a pose so that it fits sightings whose directions the caller knows, for pictures that
// no catalogue recognises: three small turns and a scale that breathes by a part in a thousand, the
// rest of the lens as it is. Stars that fit nothing are dropped.
//
// The errors stated are those of the sightings; how true the directions are is the caller's to
// know. Error: [ErrFewStars] where fewer than three stars agree.
func Refit(p Pose, ss []Sighting) (Solution, error) {
	fit := fitter{unknowns: frameUnknowns, robust: true, iterations: 8, focalPx: p.Lens.FocalPx, focalSigma: breathing}
	few := amiss.New(ErrFewStars, "too few of the stars agree with those of the other pictures", "expose longer, or aim at a richer field")
	if len(ss) < 3 {
		return Solution{}, few
	}
	turned, ok := fit.fit(p, ss)
	if !ok {
		return Solution{}, few
	}
	sol, ok := Solution{}.refitted(turned, ss, fit)
	if !ok {
		return Solution{}, few
	}
	return sol, nil
}
