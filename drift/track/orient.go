package track

import (
	"fmt"
	"math"
	"slices"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/drift/solve"
	"trueturn/drift/star"
	"trueturn/ephem"
	"trueturn/ephem/amiss"
)

// A standing camera sees the sky move by ω cos δ; so much less or more, as a share, still counts (a lens flag
// may be off by 5 %). A tracked one sees a tenth of it at worst (an axis 6° off).
const standingShare = 0.2

// leastWayPx is the shortest way among the stars that gives a direction worth having.
const leastWayPx = 6.0

// rollFloor is what refraction, which lifts a star while it moves, turns its way by at 20° height
// (common practice, no source).
const rollFloor = 0.2 * ephem.Degree

// way is a direction in which the sky was seen to move through the standing camera. The pole keeps its place in the
// camera whether the motor runs or stands, so a pixel of any picture will do.
type way struct {
	x, y  float64    // where, pixels
	angle unit.Angle // from +x toward +y; of the westward motion once signed
	sigma unit.Angle
}

// orient fills in the roll: told, or shown by the pictures taken with the motor off.
func (f *follower) orient(out *Followed, ways []way, untracked []int) error {
	if 2*len(untracked) < len(f.pics) { // else the motor never ran, and that is the news
		out.Untracked = untracked
	}
	if len(ways) == 0 && f.given.Roll != nil {
		out.Roll, out.RollSigma = f.given.Roll.Mod1(), rollToldSigma
		return nil
	}
	if len(ways) == 0 {
		return &amiss.Error{Kind: ErrNoRoll, Text: "nothing says which way is up in these pictures", Ways: f.askForTrail()}
	}
	roll := ways[0].angle // where the middle of the picture lies on the equator, west is at +x for a roll of 0
	for range 4 {
		step, sigma := f.turnedBy(f.pose(roll), ways)
		roll += step
		out.RollSigma = unit.Angle(math.Hypot(sigma.Rad(), rollFloor.Rad()))
	}
	out.Roll, out.RollShown = roll.Mod1(), true
	return nil
}

// askForTrail says how to take the picture that shows the roll.
func (f *follower) askForTrail() []amiss.Way {
	const wantedPx = 25
	perS := f.skyPxPerS()
	if perS < 0.02 { // beside the pole nothing moves
		return []amiss.Way{{Thing: amiss.Roll}}
	}
	trail := fmt.Sprintf("take two more pictures with the motor off, exposed for about %.0f s, at the end, half a minute apart (bright stars must show as trails)", max(1, math.Ceil(wantedPx/perS)))
	return []amiss.Way{{Act: trail}, {Thing: amiss.Roll}}
}

// skyPxPerS is how fast the sky moves through a standing camera.
func (f *follower) skyPxPerS() float64 {
	return ephem.SiderealRadPerS * math.Cos(f.given.Dec.Rad()) * f.given.FocalPx
}

// ways gathers what the standing camera saw: trails within pictures, shifts between them.
func (f *follower) ways() (list []way, untracked []int) {
	for i := range f.pics {
		if f.links[i].err != nil {
			continue
		}
		seen := f.trails(i)
		before, after := f.neighbours(i)
		if sign := f.sign(i, before, after, seen); len(seen) > 0 && sign != 0 {
			for k := range seen {
				if sign < 0 {
					seen[k].angle += math.Pi
				}
			}
			list = append(list, seen...)
			untracked = append(untracked, i)
		}
		if after < 0 {
			continue
		}
		if w, ok := f.shift(i, after); ok {
			list = append(list, w)
			for _, k := range [...]int{i, after} {
				if !f.roundThough(k) {
					untracked = append(untracked, k)
				}
			}
		}
	}
	slices.Sort(untracked)
	return list, slices.Compact(untracked)
}

// neighbours are the connected pictures before and after picture i, −1 where there is none.
func (f *follower) neighbours(i int) (before, after int) {
	before, after = i-1, i+1
	for before >= 0 && f.links[before].err != nil {
		before--
	}
	for after < len(f.pics) && f.links[after].err != nil {
		after++
	}
	if after == len(f.pics) {
		after = -1
	}
	return before, after
}

// roundThough is whether picture i was exposed so long that a trail would show, and shows none: the motor ran.
func (f *follower) roundThough(i int) bool {
	p := f.pics[i]
	if f.skyPxPerS()*p.Exposure.Seconds() < leastWayPx || len(f.trails(i)) > 0 {
		return false
	}
	for _, s := range p.Field.Stars {
		if s.TrailPxErr > 0 { // tables do not tell
			return true
		}
	}
	return false
}

// trails are the directions of picture i's trails, where most are as long as the sky's way in the exposure.
func (f *follower) trails(i int) (list []way) {
	p := f.pics[i]
	want := f.skyPxPerS() * p.Exposure.Seconds()
	if want < leastWayPx {
		return nil
	}
	good := 0
	for _, k := range usable(p.Field) {
		s := p.Field.Stars[k]
		if math.Abs(s.TrailPx/want-1) > standingShare || s.TrailPx < 4*s.TrailPxErr {
			continue
		}
		good++
		w := way{s.X, s.Y, s.Angle, max(s.AngleErr, 1e-4)}
		if len(list) > 0 && math.Abs(angleBetween(w.angle, list[0].angle)) > math.Pi/2 { // all toward one side
			w.angle += math.Pi
		}
		list = append(list, w)
	}
	if 2*good < countWhole(p.Field) {
		return nil
	}
	return list
}

func countWhole(field star.Field) (n int) {
	for _, s := range field.Stars {
		if s.Flags&(star.Edge|star.Hot|star.Saturated|star.Blend) == 0 {
			n++
		}
	}
	return n
}

// sign is which way along its trails picture i's sky went: +1 along the angles as measured, −1 against, 0
// unknown. On the way from the picture before to the one after the sky went westward.
func (f *follower) sign(i, before, after int, seen []way) float64 {
	if len(seen) == 0 {
		return 0
	}
	sin, cos := math.Sincos(seen[0].angle.Rad())
	var best float64
	for _, pair := range [...][2]int{{before, i}, {i, after}, {before, after}} {
		if pair[0] < 0 || pair[1] < 0 {
			continue
		}
		dx, dy := f.went(pair[0], pair[1])
		if along := dx*cos + dy*sin; math.Abs(along) > math.Abs(best) {
			best = along
		}
	}
	if math.Abs(best) < leastWayPx/2 {
		return 0
	}
	return math.Copysign(1, best)
}

// went is how far the stars of picture a moved until picture b, in the reference's pixels, at the middle.
func (f *follower) went(a, b int) (dx, dy float64) {
	cx, cy := float64(f.pics[a].Field.Width-1)/2, float64(f.pics[a].Field.Height-1)/2
	// A spot of the sky at the middle of a stands on the map at m; in b it stands where b's link carries to m.
	mx, my := f.links[a].apply(cx, cy)
	bx, by := f.links[b].apply(cx, cy)
	return mx - bx, my - by
}

// shift is the way between two pictures where it is the whole that a standing camera sees.
func (f *follower) shift(a, b int) (way, bool) {
	want := f.skyPxPerS() * f.pics[b].Mid.Sub(f.pics[a].Mid).Seconds()
	dx, dy := f.went(a, b)
	seen := math.Hypot(dx, dy)
	if want < leastWayPx || math.Abs(seen/want-1) > standingShare {
		return way{}, false
	}
	cx, cy := float64(f.pics[a].Field.Width-1)/2, float64(f.pics[a].Field.Height-1)/2
	const linkPx = 0.5 // what a link may be off by
	return way{cx + dx/2, cy + dy/2, unit.Angle(math.Atan2(dy, dx)), unit.Angle(linkPx / seen)}, true
}

// turnedBy is the mean angle by which the ways seen differ from those a pose foretells, and its error: of the ways
// themselves, scaled by their scatter.
func (f *follower) turnedBy(p solve.Pose, ways []way) (step, sigma unit.Angle) {
	var sum, weight, chi2 float64
	for _, w := range ways {
		v := 1 / (w.sigma * w.sigma).Rad()
		d := angleBetween(w.angle, f.foretold(p, w.x, w.y))
		sum += v * d
		weight += v
		chi2 += v * d * d
	}
	mean := sum / weight
	chi2 -= weight * mean * mean
	n := float64(len(ways))
	scale := math.Sqrt(max(1, (chi2+3)/(n-1+3)))
	return unit.Angle(mean), unit.Angle(scale / math.Sqrt(weight))
}

// angleBetween is a − b between −π and π.
func angleBetween(a, b unit.Angle) float64 {
	return math.Remainder((a - b).Rad(), 2*math.Pi)
}

// foretold is the direction in which the sky passes the reference's pixel x, y of a standing camera: a star in direction s
// moves by −ω p × s about the pole of date p.
func (f *follower) foretold(p solve.Pose, x, y float64) unit.Angle {
	pole, err := ephem.PoleOfDate(f.pics[f.reference].Mid)
	if err != nil {
		pole = r3.Vec{Z: 1}
	}
	d := p.Lens.Direction(x, y)
	v := r3.Cross(d, p.Attitude.Apply(pole)) // −p × s
	return unit.Angle(math.Atan2(v.Y*d.Z-d.Y*v.Z, v.X*d.Z-d.X*v.Z))
}
