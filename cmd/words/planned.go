package words

import (
	"fmt"

	"trueturn/align/answer"
)

// Planned says what becomes of the exposure planned; "" where the forecast does not tell.
func Planned(x *answer.ExposureJSON) string {
	if x == nil || x.LongestS == nil {
		return ""
	}
	planned, rests := Exposure(x.PlannedS), Line(x.RestsOn())
	longest := Longest(*x.LongestS) + rests
	share := ""
	if x.ShareRound != nil && *x.ShareRound > 0.005 && *x.ShareRound < 0.995 {
		share = fmt.Sprintf(" %.0f of 100 such exposures are round.", 100**x.ShareRound)
	}
	switch round := x.PlannedStaysRound; {
	case round == nil:
		return fmt.Sprintf("As it stands, stars stay round for %s.", longest)
	case *round && *x.LongestS <= x.PlannedS:
		return fmt.Sprintf("%s is fine: stars stay round%s.%s", planned, rests, share)
	case *round:
		return fmt.Sprintf("%s is fine: stars stay round for up to %s.%s", planned, longest, share)
	case *x.LongestS == 0:
		return fmt.Sprintf("%s is too long, and as it stands so is any shorter exposure.", planned)
	}
	return fmt.Sprintf("%s is too long: as it stands, stars stay round for %s.%s", planned, longest, share)
}
