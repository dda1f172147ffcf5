package main

import (
	"context"
	"math"
	"math/rand/v2"

	"trueturn/cmd/study/scene"
	"trueturn/drift/frame"
	"trueturn/drift/star"
)

// starKind is one way stars can look in a picture.
type starKind struct {
	moffat bool
	fwhm   float64 // px, before the pixels' own width
	trail  float64 // px; 0 = round
	sky    float64 // electrons a pixel
	apart  float64 // of a neighbour, in FWHM; 0 = none
	ratio  float64 // light of the neighbour over the star's
}

// starBeta: wings as wide as many lenses and airs have them (common practice, no source).
const starBeta = 3

func (k starKind) profile() scene.Profile {
	if k.moffat {
		return scene.Moffat(k.fwhm, starBeta)
	}
	return scene.Gaussian(k.fwhm)
}

// starSensor: nothing clips, nothing is rounded.
var starSensor = scene.Sensor{ReadNoise: 5, FullScale: 20000}

// spacing keeps stars so far apart that none reaches into another's window.
func (k starKind) spacing() int {
	return int(math.Max(40, 8*k.fwhm+1.5*k.trail+16+k.apart*k.fwhm))
}

// starSide is how many slots a plane has along each side; the stars' signal-to-noise ratios take turns in them.
const starSide = 10

// starPose is one way a star of a kind can stand on the pixels: its light there, its neighbour's, and what its place can be
// known to.
type starPose struct {
	x, y, direction float64 // of the middle about a slot's pixel, −½…½; of the trail or toward the neighbour, radians
	light, near     scene.Stamp
	electrons       []float64 // by level
	bound           []scene.Placing
}

// starPhases is how many poses a kind has.
const starPhases = 16

// starPoses are phases of one kind: spread evenly over the pixel by the additive sequence of the plastic number (M. Roberts,
// 2018, from memory), from a start drawn at random. All trails of a picture have one direction, pairs have their own.
func starPoses(k starKind, n int, rng *rand.Rand) []starPose {
	const g = 1.32471795724474602596
	poses := make([]starPose, n)
	x, y, direction := rng.Float64(), rng.Float64(), math.Pi*rng.Float64()
	for i := range poses {
		x, y = math.Mod(x+1/g, 1), math.Mod(y+1/(g*g), 1)
		switch {
		case k.apart > 0:
			direction = 2 * math.Pi * rng.Float64()
		case k.trail == 0:
			direction = 0
		}
		poses[i] = starPose{x: x - 0.5, y: y - 0.5, direction: direction}
	}
	return poses
}

// draw fills in the light and what its place can be known to.
func (p *starPose) draw(k starKind, levels []float64) {
	psf := k.profile()
	main := scene.Source{Profile: psf, Path: scene.Straight(p.x, p.y, k.trail, p.direction, k.fwhm/4)}
	sources := []scene.Source{main}
	p.light = scene.NewStamp(psf, main.Path, starWings)
	if k.apart > 0 {
		s, c := math.Sincos(p.direction)
		near := scene.Source{Profile: psf, Path: main.Path.Moved(k.apart*k.fwhm*c, k.apart*k.fwhm*s)}
		sources = append(sources, near)
		p.near = scene.NewStamp(psf, near.Path, starWings)
	}
	prospect := scene.NewProspect(sources...)
	for _, snr := range levels {
		e := prospect.Electrons(snr, k.sky, starSensor)
		p.electrons = append(p.electrons, e)
		p.bound = append(p.bound, prospect.Bound([]float64{e, e * k.ratio}, k.sky, starSensor))
	}
}

// starWings: a star is drawn to a millionth of its middle's brightness.
const starWings = 1e-6

// starTruth is one star of a plane.
type starTruth struct {
	x, y   float64
	level  int // −1: drawn for the picture's sake, not measured
	pose   *starPose
	near   bool // the neighbour itself
	paired bool
}

// starPlane draws one picture of a kind: poses in random order over the slots, levels in turns. Where there are neighbours a
// third of the slots have none, so that the picture tells what a star looks like.
func starPlane(k starKind, poses []starPose, levels int, rng *rand.Rand) (frame.Plane, []starTruth) {
	step := k.spacing()
	side := starSide * step
	c := scene.NewCanvas(side, side, k.sky)
	var truth []starTruth
	first := rng.IntN(levels)
	for i, slot := range rng.Perm(starSide * starSide) {
		p := &poses[rng.IntN(len(poses))]
		x, y := slot%starSide*step+step/2+rng.IntN(5)-2, slot/starSide*step+step/2+rng.IntN(5)-2
		t := starTruth{x: float64(x) + p.x, y: float64(y) + p.y, level: (first + i) % levels, pose: p}
		t.paired = k.apart > 0 && i%3 != 0
		if k.apart > 0 && !t.paired {
			t.level = -1
		}
		e := p.electrons[(first+i)%levels]
		c.Add(p.light.Moved(x, y), e)
		truth = append(truth, t)
		if t.paired {
			c.Add(p.near.Moved(x, y), e*k.ratio)
			s, cos := math.Sincos(p.direction)
			truth = append(truth, starTruth{x: t.x + k.apart*k.fwhm*cos, y: t.y + k.apart*k.fwhm*s, level: t.level, pose: p, near: true})
		}
	}
	return c.Develop(starSensor, rng), truth
}

// starFound is what came of one star of a plane: nil where it was missed.
type starFound struct {
	truth starTruth
	star  *star.Star
}

// starMeasure finds the stars of a plane and gives each to the truth nearest to it. The rest are false.
func starMeasure(ctx context.Context, k starKind, p frame.Plane, truth []starTruth) (found []starFound, wrong int, err error) {
	f, err := star.Find(ctx, p, star.Options{Workers: 1})
	if err != nil {
		return nil, 0, err
	}
	near := k.fwhm + 1 + k.trail/4
	found = make([]starFound, len(truth))
	for i := range truth {
		found[i].truth = truth[i]
	}
	for i := range f.Stars {
		s := &f.Stars[i]
		best, at := near, -1
		for j, t := range truth {
			if d := math.Hypot(s.X-t.x, s.Y-t.y); d < best {
				best, at = d, j
			}
		}
		switch {
		case at < 0:
			wrong++
		case found[at].star == nil:
			found[at].star = s
		default: // two stars for one: the nearer is it, the other is false
			wrong++
			o := found[at].star
			if math.Hypot(o.X-truth[at].x, o.Y-truth[at].y) > best {
				found[at].star = s
			}
		}
	}
	return found, wrong, nil
}
