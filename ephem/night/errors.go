package night

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/ephem/amiss"
)

// ErrOption: an option out of range.
var ErrOption = errors.New("option out of range")

func (o Options) check() error {
	switch deg := o.MinAltitude.Deg(); {
	case !(math.Abs(deg) <= 90):
		return amiss.New(ErrOption, fmt.Sprintf("least altitude %g° is not within ±90°", deg), "25° is usual; above 90° there is no sky")
	case o.Exposure < 0:
		return amiss.New(ErrOption, fmt.Sprintf("an exposure of %v is not possible", o.Exposure), "give a time above zero")
	case o.Pause < 0:
		return amiss.New(ErrOption, fmt.Sprintf("a pause of %v is not possible", o.Pause), "give the time between two exposures, or zero")
	}
	if o.Target != nil && !(math.Abs(r3.Norm(*o.Target)-1) <= unitSlack) {
		return amiss.New(ErrOption, "the target is not a direction", "give a unit vector, as ephem.Direction makes it")
	}
	return nil
}

// unitSlack is how far from one the length of a unit vector may round.
const unitSlack = 1e-9
