package report_test

import (
	"fmt"
	"os"
	"strings"

	"trueturn/align/answer"
	"trueturn/cmd/report"
)

// The table of a picture that could not be used: what is not known is empty.
func ExampleCSV() {
	a := answer.Answer{Frames: []answer.FrameJSON{{File: "sky-01.jpg", WhyNot: "no stars: cloud, or the lens capped"}}}
	if err := report.CSV(os.Stdout, a); err != nil {
		fmt.Println(err)
	}
	// Output:
	// file,mid_utc,exposure_s,used,why_not,stars,matched,rms_px,ra_deg,dec_deg,roll_deg,scale_arcsec_px,fwhm_px,elongation,mirrored,signal
	// sky-01.jpg,,,false,"no stars: cloud, or the lens capped",0,0,,,,,,,,false,
}

// A report needs an answer, and shows what else there is.
func ExampleHTML() {
	longest := 41.0
	d := report.Data{Title: "First night", Answer: answer.Answer{Exposure: &answer.ExposureJSON{LongestS: &longest, PlannedS: 30}}}
	var page strings.Builder
	if err := report.HTML(&page, d); err != nil {
		fmt.Println(err)
	}
	fmt.Println(strings.Contains(page.String(), "<h1>Round for 41 s</h1>"))
	// Output: true
}
