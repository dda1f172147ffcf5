package words

import (
	"testing"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/ephem/say"
)

// TestPutTogether: sentences with lines in them read as one.
func TestPutTogether(t *testing.T) {
	arc := unit.AngleFromMin
	hut, town := say.Place{LatitudeDeg: 46.02, LongitudeDeg: 7.75}, say.Place{LatitudeDeg: 52.5, LongitudeDeg: 13.4}
	for _, row := range []struct {
		line say.Line
		want string
	}{
		{say.Of("axis turned", "sky-004.jpg", say.Of("both ways", say.Of("down", arc(-12)), say.Of("clockwise by", arc(30)))),
			"The axis was turned before sky-004.jpg, 12′ down and 30′ clockwise seen from above. Only the pictures after it say where it points now."},
		{say.All(say.Of("motor's rate", say.Ratio{Value: 0.5, Sigma: 0.01}, say.Rate(unit.AngleFromSec(7.52))), say.Of("switch to the star rate", say.Of("half rate"))),
			"The motor runs at 0.500 ± 0.010 of the star rate, so stars trail by 7.5″ a second. That is the half rate: switch to the star (sidereal) rate."},
		{say.All(say.Of("weak direction", say.Of("mostly tilt"), arc(5), arc(0.9)), say.Of("other patch or swing", say.Of("pictures toward", say.Wind(unit.AngleFromDeg(95)), 40))),
			"One direction (mostly tilt) is known only to ± 5.0′, the other to ± 0.9′. Take some pictures toward the east, about 40° up, or swing the axis 30° by hand: either cures it."},
		{say.Of("turned too little", say.Degrees(unit.AngleFromDeg(0.24)), arc(40), say.Wait(5*time.Minute)),
			"The mount turned only 0.2° during the pictures, so the axis is known only to ± 40′. Swing it 20–60° by hand between pictures, or go on for about 5 minutes more."},
		{say.Of("other moves the axis", say.Of("zone given"), arc(25), say.Of("toward west", say.Of("anticlockwise by", arc(-48))), say.Of("up", arc(12))),
			"With the zone given the axis would be 25′ away, and the turns would be: base 48′ anticlockwise seen from above (toward west); tilt 12′ up."},
		{say.All(say.Of("clock set back", say.Of("back by", say.Of("about", say.Span(-42*time.Minute))), "sky-004.jpg"), say.Of("some by one clock", say.Of("later clock"))),
			"The camera's clock was set back by about 42 min before sky-004.jpg: by their numbers these pictures came after the others, by their times before. By exactly how much cannot be told, so only the pictures by the later clock count."},
		{say.Of("some taken elsewhere", say.Pictures(1), town, say.Kilometres(828.4), hut),
			"In one picture the place is 52.50° N, 13.40° E, 830 km from that in the others, 46.02° N, 7.75° E."},
	} {
		if got := Line(row.line); got != row.want {
			t.Errorf("%q, want %q", got, row.want)
		}
	}
}
