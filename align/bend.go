package align

import (
	"math"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/ephem/turn"
)

// bendSize: the mount's own axis across and up, and the nine unknowns of an elastic holder.
const bendSize = 2 + elasticUnknowns

// Bend is what the pictures tell of the mount's own axis and of how its holder bends, jointly: with one patch of sky
// neither is known, while what the two make of the axis about which the camera turns is.
type Bend struct {
	Own r3.Vec                      `json:"own_north"`  // the mount's own axis, its end toward the north pole, east-north-up
	K   [elasticUnknowns]float64    `json:"k_rad"`      // column by column: turn of the camera about its axes per unit of gravity along each of them
	Cov [bendSize][bendSize]float64 `json:"covariance"` // of Own across and up, and of K; radians²
}

// leastShare: stories less probable change no figure.
const leastShare = 1e-6

// bendOf averages over the stories, each worth its share.
func bendOf(tells []told, share []float64, best *told) Bend {
	m := &best.at.model
	b := Bend{Own: m.axis[len(m.axis)-1]}
	across, up := turn.Tangent(b.Own)
	means := make([][bendSize]float64, len(tells))
	var mean [bendSize]float64
	for i := range tells {
		if share[i] < leastShare {
			continue
		}
		means[i] = tells[i].mean(b)
		cov := tells[i].covariance()
		for r := range bendSize {
			mean[r] += share[i] * means[i][r]
			for c := range bendSize {
				b.Cov[r][c] += share[i] * cov[r][c]
			}
		}
	}
	for i := range tells {
		if share[i] < leastShare {
			continue
		}
		for r := range bendSize {
			for c := range bendSize {
				b.Cov[r][c] += share[i] * (means[i][r] - mean[r]) * (means[i][c] - mean[c])
			}
		}
	}
	b.Own = r3.Unit(r3.Add(b.Own, r3.Add(r3.Scale(mean[0], across), r3.Scale(mean[1], up))))
	copy(b.K[:], mean[2:])
	return b
}

// places are where the unknowns of a bend stand among those of the story; a rigid story has no more than the axis.
func (t *told) places() []int {
	m := &t.at.model
	last := len(m.axis) - 1
	list := []int{2 * last, 2*last + 1}
	if _, elastic := t.story.sizes[part{kind: elastic}]; elastic {
		for k := range elasticUnknowns {
			list = append(list, m.atGiving()+k)
		}
	}
	return list
}

// mean is the story's axis, as steps from b's, and its K.
func (t *told) mean(b Bend) (v [bendSize]float64) {
	m := &t.at.model
	across, up := turn.Tangent(b.Own)
	off := r3.Sub(m.axis[len(m.axis)-1], b.Own)
	v[0], v[1] = r3.Dot(off, across), r3.Dot(off, up)
	for r, place := range t.places() {
		v[r] += t.x.AtVec(place)
		if r >= 2 {
			v[r] += m.giving.coef[r-2]
		}
	}
	return v
}

func (t *told) covariance() (cov [bendSize][bendSize]float64) {
	places := t.places()
	for c, place := range places {
		y := t.reply(place)
		for r := range places {
			cov[r][c] = y.AtVec(places[r])
		}
	}
	return cov
}

// reply is how every unknown answers to the right-hand side of one.
func (t *told) reply(place int) *mat.VecDense {
	y := mat.NewVecDense(len(t.index), nil)
	y.SetVec(place, 1)
	t.root.solve(y)
	return y
}

// shifted is what attitudes that are all off by moved do to the unknowns of a bend.
func (t *told) shifted(moved func(*block, int) r3.Vec) (off [bendSize]float64) {
	b := t.at.model.answering(moved)
	for r, place := range t.places() {
		y := t.reply(place)
		for k, i := range t.index {
			off[r] += y.AtVec(k) * b[i]
		}
	}
	return off
}

// turning is how the axis about which a camera in attitude c turns answers to K, across and up: while θ grows, gravity
// turns through the camera's frame by u × g, and the camera by K·(u × g) besides u.
func (b Bend) turning(c turn.Turn) (rows [2][elasticUnknowns]float64) {
	across, up := turn.Tangent(b.Own)
	d := r3.Cross(c.Apply(b.Own), down(c))
	for col, by := range [3]float64{d.X, d.Y, d.Z} {
		for row, e := range axes3 {
			v := r3.Scale(by, c.Inverse().Apply(e))
			rows[0][3*col+row], rows[1][3*col+row] = r3.Dot(v, across), r3.Dot(v, up)
		}
	}
	return rows
}

// rows are how the axis about which a camera turns that was in the attitudes cs, their mean, answers to a bend's unknowns.
func (b Bend) rows(cs []turn.Turn) (rows [2][bendSize]float64) {
	rows[0][0], rows[1][1] = 1, 1
	for _, c := range cs {
		for r, row := range b.turning(c) {
			for k, v := range row {
				rows[r][2+k] += v / float64(len(cs))
			}
		}
	}
	return rows
}

// about is that axis, its end toward the north pole, and its covariance, across and up.
func (b Bend) about(cs []turn.Turn) (axis r3.Vec, cov [2][2]float64) {
	rows := b.rows(cs)
	var off [2]float64
	for r := range rows {
		for k, v := range b.K {
			off[r] += rows[r][2+k] * v
		}
		for c := range rows {
			for i := range bendSize {
				for j := range bendSize {
					cov[r][c] += rows[r][i] * b.Cov[i][j] * rows[c][j]
				}
			}
		}
	}
	across, up := turn.Tangent(b.Own)
	return r3.Unit(r3.Add(b.Own, r3.Add(r3.Scale(off[0], across), r3.Scale(off[1], up)))), cov
}

// At is the axis about which the camera turns while its attitude (horizon frame to camera frame) is c: the end toward the
// elevated pole, and its covariance across and up, radians². It assumes that the camera sits on its holder as it did.
func (b Bend) At(c turn.Turn, south bool) (direction r3.Vec, covariance [2][2]float64) {
	var a Axis
	var north r3.Vec
	north, a.Covariance = b.about([]turn.Turn{c})
	a.elevate(south, north)
	return a.Direction, a.Covariance
}

// Sound is whether a bend that was kept is one: an axis of unit length, and no negative variance.
func (b Bend) Sound() bool {
	for i := range bendSize {
		if !(b.Cov[i][i] >= 0) {
			return false
		}
	}
	const rounding = 1e-6
	return math.Abs(r3.Norm(b.Own)-1) < rounding
}

// OwnAxis is how far the mount's own axis lies from the one about which the camera turns; differs is whether by more than
// its error.
func (a Axis) OwnAxis() (off, sigma unit.Angle, differs bool) {
	if a.Gave.How != GaveBending || !a.Gave.Shown() {
		return 0, 0, false
	}
	b := a.Bend
	north, _ := b.about(a.stood)
	off = unit.Angle(r3.Norm(r3.Sub(north, b.Own)))
	sigma = Axis{Covariance: [2][2]float64{{b.Cov[0][0], b.Cov[0][1]}, {b.Cov[1][0], b.Cov[1][1]}}}.WorstSigma()
	return off, sigma, off > sigma && off > a.WorstSigma()
}

// Apart is the angle between two axes.
func (a Axis) Apart(b Axis) unit.Angle { return unit.Angle(r3.Norm(r3.Sub(a.Direction, b.Direction))) }

// rms is how far the camera turns for a change of gravity's direction in its frame by one unit, root mean square over
// all directions.
func (b Bend) rms() unit.Angle {
	var sum float64
	for _, k := range b.K {
		sum += k * k / 3
	}
	return unit.Angle(math.Sqrt(sum))
}

// stood are the attitudes of the pictures in use.
func (m *model) stood() (cs []turn.Turn) {
	for bi := range m.blocks {
		b := &m.blocks[bi]
		for _, i := range b.members {
			if m.used[i] {
				cs = append(cs, m.obs[i].c)
			}
		}
	}
	return cs
}
