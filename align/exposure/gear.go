package exposure

// Source is where the figures of a [Wobble] come from: a forecast is worth no more than they are.
type Source string

// The sources, the surest first. A wobble without one counts as told.
const (
	GearMeasured Source = "measured" // in the pictures, over a whole period and more
	GearTold     Source = "told"     // by the user or the kit
	GearBounded  Source = "bounded"  // the pictures set a limit, but saw too little for more
	GearUsual    Source = "usual"    // nobody has seen this gear: what small mounts usually do
)

// Seen is whether anything is known of the gear itself.
func (s Source) Seen() bool { return s != GearUsual }
