// Package knobs guides the hands at a mount's two knobs: from one measured axis
// and every further picture it tells where the axis is now and what to turn.
//
// Start with [Start], after a trustworthy measurement; feed each picture to
// [State.Next], fitted together with the measurement's pictures and with what that fit
// makes of the picture taken at State.Reference.Mid; after the clamps are tightened and the axis is measured once
// more, go on with [State.Renew], which keeps what was learnt of the knobs. It is
// all values: no clock, no files, and a [State] survives a trip through JSON.
//
// # The model
//
// The measurement tells where the axis lies in the camera's frame, u = C·â: a direction
// that neither tracking nor a swing about the axis nor a turn of the knobs
// changes, for all of them carry the camera along. A single further attitude C'
// therefore shows the axis at once,
//
//	â' = C'⁻¹ u
//
// with the error of u, which tracking has turned about the axis, and that of C'. Only
// a camera that moves on its holder breaks this.
//
// What moved is read off the turn between two attitudes. With K the turn
// of the head over the ground, Δθ what the motor did by the clock and τ what the
// camera turned about the axis besides (an uneven gear, a hand on the clutch)
//
//	C' = C · Rot(â, Δθ+τ) · K⁻¹        K = Rot(h', y) · Rot(v, −x)
//
// x is the turn of the azimuth knob, clockwise seen from above, about its real axis v;
// y that of the altitude knob about its hinge h, which the azimuth carries to h'. No level is
// taken for granted: v and h start as the plumb line and the horizontal square to
// axis and plumb line, some degrees uncertain, and every turn of one knob alone
// tells more of them. Three equations for x, y and τ always have a solution. What
// really happened is therefore chosen among
//
//	nothing · one knob · both knobs     with τ no more than the gear explains
//	nothing · one knob                  with a hand on the clutch (τ free)
//	anything else
//
// by the probability each gives the picture, its own unknowns integrated out. An axis
// more than 75° high lies so close to v that a hand on the clutch looks like a
// turn of the azimuth knob: there τ is held at the clock.
//
// # What cannot be told
//
// A camera that slips by a turn about h, or about v, or about the axis itself
// looks exactly like a knob or the clutch. The last is harmless; the
// others are noticed only where nobody was asked to turn that knob and the clock does not
// fit. Of simulated slips by 30′ in chance directions, two pictures tell five in six (TestSlip); of
// single pictures taken under a pressing hand all but one in twenty are set aside (TestTouch).
// Hence the last step is always to measure once more, untouched.
//
// A clock or a longitude that is wrong turns all that is found about the pole, and a base that leans sideways does the same to
// the knobs' tracks: what both knobs' turns tell of it, and when it is named, is in clock.go.
//
// Within 2.5° of the zenith the two knobs cannot be told apart, and [Start] refuses.
package knobs
