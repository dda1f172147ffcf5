package align_test

import (
	"slices"
	"testing"

	"trueturn/align"
	"trueturn/align/answer"
	"trueturn/align/exposure"
	"trueturn/align/simulate"
	"trueturn/drift"
)

// TestOneFinding holds what the list of troubles and the judgement of the exposures say of the same pictures to one another: the same
// are clouded, and the motor does the same wrong.
func TestOneFinding(t *testing.T) {
	align.EachFault(t, func(t *testing.T, e simulate.Evening, q drift.Sequence) {
		f := answer.Find(q, answer.Options{Site: &e.Site, Air: &e.Air})
		v, err := exposure.Judge(exposure.Shots(q), exposure.Question{Axis: f.KnownAxis(), Forecast: f.Forecast})
		if err != nil {
			t.Fatal(err)
		}
		agree(t, f.Faults, v)
	})
}

// agree compares a list of troubles with a verdict.
func agree(t *testing.T, faults []align.Situation, v exposure.Verdict) {
	var clouded []string
	for _, f := range v.Frames {
		if f.Cause == exposure.CauseCloud {
			clouded = append(clouded, f.File)
		}
	}
	if want := filesOf(faults, align.KindCloud); !slices.Equal(clouded, want) {
		t.Errorf("clouded are %v for subs, %v for align", clouded, want)
	}
	t.Logf("%d of %d round, %v; %v", v.Round, v.Of, v.Causes, kindsOf(faults))
	if len(v.Causes) == 0 || named(faults, align.KindStacked) { // of pictures put together the stars say nothing
		return
	}
	behind := v.Causes[0].Behind
	says := func(o exposure.Origin) bool { return slices.Contains(behind, o) }
	if drawn := v.Causes[0].Cause == exposure.CauseRA || v.Causes[0].Cause == exposure.CauseShake; says(exposure.OriginStill) != (named(faults, align.KindNotTurning) || named(faults, align.KindPlay)) ||
		says(exposure.OriginWrong) != named(faults, align.KindWrongHemisphere) ||
		named(faults, align.KindWrongRate) && !says(exposure.OriginRate) ||
		says(exposure.OriginGives) != named(faults, align.KindSlipping) && drawn {
		t.Errorf("subs names %v, align %v", behind, kindsOf(faults))
	}
}

func named(faults []align.Situation, k align.Kind) bool {
	return slices.ContainsFunc(faults, func(s align.Situation) bool { return s.Kind == k })
}

func kindsOf(faults []align.Situation) (kinds []align.Kind) {
	for _, f := range faults {
		kinds = append(kinds, f.Kind)
	}
	return kinds
}

func filesOf(faults []align.Situation, k align.Kind) (files []string) {
	for _, f := range faults {
		if f.Kind == k {
			files = append(files, f.Files...)
		}
	}
	return files
}
