package answer

import (
	"fmt"
	"math"

	"trueturn/align"
	"trueturn/drift/solve"
	"trueturn/ephem/amiss"
)

// What a table of positions does not say is not known; what was taken for granted of it is told.

// rollSaid, radians: a roll less sure than this was guessed.
const rollSaid = 3 * math.Pi / 180

// leaveUnsaid takes away what an attitude measured elsewhere has no value for.
func (f *FrameJSON) leaveUnsaid(sol *solve.Solution) {
	f.RMSPx, f.ScaleArcsecPx = nil, nil
	if sol.Covariance.At(2, 2) > rollSaid*rollSaid {
		f.RollDeg = nil
	}
}

// moreScatter, in the errors a table states: from here on a word is due.
const moreScatter = 1.0

// noteTable adds what was taken for granted of a table, and what it cannot tell.
func (b *builder) noteTable() {
	for _, n := range b.seq.Notes {
		b.out.Advice.Notes = append(b.out.Advice.Notes, align.Note{Says: n})
	}
	if len(b.seq.Shots) == 0 || !b.seq.Shots[0].Table {
		return
	}
	m, listed := b.out.Measured, b.seq.Shots[0].Solution != nil && b.seq.Shots[0].Solution.Listed()
	if listed && m != nil && m.Axis.WanderPx > moreScatter {
		b.note(fmt.Sprintf("The directions scatter more than the errors stated: %.1f times as much. That is reckoned with.", math.Hypot(1, m.Axis.WanderPx)))
	}
	if m != nil && b.out.Forecast == nil && b.out.Advice.Trustworthy {
		b.note(b.o.Voice.Sentences(fmt.Sprintf("How long stars stay round the table cannot say: it tells %s.", unsaid(listed)),
			[]amiss.Way{{Thing: amiss.Forecast, Value: fmt.Sprintf("%.0f", math.Ceil(m.Deviation.Total.Min()))}}))
	}
}

func unsaid(listed bool) string {
	if listed {
		return "no lens and no width of stars"
	}
	return "no width of stars (fwhm_px)"
}
