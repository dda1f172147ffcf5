package answer

import (
	"fmt"
	"math"

	"trueturn/align"
	"trueturn/drift/solve"
	"trueturn/ephem/amiss"
	"trueturn/ephem/say"
)

// What a table of positions does not say is not known; what was taken for granted of it is told.

// leaveUnsaid takes away what an attitude measured elsewhere has no value for.
func (f *FrameJSON) leaveUnsaid(sol *solve.Solution) {
	f.RMSPx, f.ScaleArcsecPx = nil, nil
	if math.Sqrt(sol.Covariance.At(2, 2)) > align.RollKnown.Rad() {
		f.RollDeg = nil
	}
}

// moreScatter, in the errors a table states: from here on a word is due.
const moreScatter = 1.0

// noteTable adds what was taken for granted of a table, and what it cannot tell.
func (b *builder) noteTable() {
	for _, n := range b.seq.Notes {
		b.note(n)
	}
	if len(b.seq.Shots) == 0 || !b.seq.Shots[0].Table {
		return
	}
	m, listed := b.out.Measured, b.seq.Shots[0].Solution != nil && b.seq.Shots[0].Solution.Listed()
	if listed && m != nil && m.Axis.WanderPx > moreScatter {
		b.note(say.Of("directions scatter", say.Number(math.Hypot(1, m.Axis.WanderPx))))
	}
	if m != nil && b.out.Forecast == nil && b.out.Advice.Trustworthy {
		says := say.Of("table tells no width")
		if listed {
			says = say.Of("table tells no lens and no width")
		}
		b.note(say.Text(b.o.Voice.Sentences(b.o.Voice.Say(says), []amiss.Way{{Thing: amiss.Forecast, Value: fmt.Sprintf("%.0f", math.Ceil(m.Deviation.Total.Min()))}})))
	}
}
