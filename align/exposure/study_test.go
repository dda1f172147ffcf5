package exposure

import (
	"os"
	"strings"
	"testing"
)

// TestStudyCauses counts, with TRUETURN_STUDY set (to 1, or to a word of the names wanted), how often each trouble of the table is named over many draws of noise and wind.
func TestStudyCauses(t *testing.T) {
	if os.Getenv("TRUETURN_STUDY") == "" {
		t.Skip("TRUETURN_STUDY is not set")
	}
	const sets = 40
	for _, c := range troubles() {
		if only := os.Getenv("TRUETURN_STUDY"); only != "1" && !strings.Contains(c.name, only) {
			continue
		}
		right := 0
		named := map[Cause]int{}
		for seed := range uint64(sets) {
			v, _ := c.judged(t, seed+10)
			got := CauseNone
			if len(v.Causes) > 0 {
				got = v.Causes[0].Cause
			}
			named[got]++
			if got == c.want {
				right++
			}
		}
		t.Logf("%-60s %d of %d %v", c.name, right, sets, named)
	}
}
